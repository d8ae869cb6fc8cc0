"""Whether an edit survives a program that is killed at a random moment, whole or not at all.

    python tests/benchmarks/kill_trials.py [trials]

A child process opens a job, edits it over and over and saves now and then; it is killed with
SIGKILL after a random time. Then the job file must be one of the texts that it had saved, and the
recovery file, if there is one, one of those that stood on the screen; both are read as TOML, and a
new session must be able to open the job and offer what was not saved.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))
JOB = (ROOT / "tests" / "browser" / "data" / "hut.toml").read_text("utf-8")
LONGEST_S = 1.5  # of an editing child after it has begun

CHILD = """
import sys
from pathlib import Path
from viewer.app.edits import edit
from viewer.app.protocol import SetKeys
from viewer.app.session import Session
session = Session(Path(sys.argv[1]))
print("begun", flush=True)
count = 0
while True:
    count += 1
    height = f"{2200 + count} mm"
    edit(session, SetKeys(table="space", row=0, id="hut", typed={"height": height}))
    if count % 7 == 0:
        session.save()
"""


def height_of(text: str) -> str:
    """What the one room's height is, where the text is a job."""
    return str(tomllib.loads(text)["space"][0]["height"])


def is_whole(text: str) -> bool:
    """Whether a text is the job with nothing changed but the height."""
    before = height_of(JOB)
    return text == JOB.replace(f'height = "{before}"', f'height = "{height_of(text)}"')


def one(folder: Path, seed: random.Random) -> tuple[bool, bool]:
    """Kill one child; whether the file is whole, and whether unsaved edits were offered."""
    from viewer.app.files import recovery_path
    from viewer.app.session import Session

    path = folder / "hut.toml"
    path.write_text(JOB, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "begun\n"
        time.sleep(seed.uniform(0.0, LONGEST_S))
        child.send_signal(signal.SIGKILL)
        child.wait()
    whole = is_whole(path.read_text("utf-8"))
    kept = recovery_path(path)
    if kept.exists():
        whole = whole and is_whole(kept.read_text("utf-8"))
    session = Session(path)
    offered = session.waiting is not None
    whole = whole and session.other_process is None  # the dead program's lock holds nobody
    session.take_up()
    whole = whole and session.job is not None and is_whole(session.text)
    session.close()
    for each in folder.iterdir():
        each.unlink()
    return whole, offered


def main() -> None:
    """Run the trials and print how many held."""
    trials = int(sys.argv[1]) if sys.argv[1:] else 50
    seed = random.Random(12)
    with tempfile.TemporaryDirectory() as folder:
        found = [one(Path(folder), seed) for _ in range(trials)]
    whole = sum(each for each, _ in found)
    offered = sum(each for _, each in found)
    said = f"{trials} programs killed: {whole} jobs whole, in {offered} unsaved edits were offered"
    sys.stdout.write(f"{said}\n")
    sys.exit(0 if whole == trials else 1)


if __name__ == "__main__":
    main()
