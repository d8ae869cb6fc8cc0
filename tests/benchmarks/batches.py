"""A batch of 400 rooms that is killed twenty times, and how busy it keeps its workers.

    python tests/benchmarks/batches.py [--rooms 400] [--kills 20]

Rooms by chance are analysed by two workers. At random moments a worker or the batch itself is
killed; a killed batch is begun again on the same folder. Afterwards every room must have its
result, whole and the same as by itself, and no more rooms may have been begun again than workers
were killed. Workers count as busy while they run or wait for a processor that others have, by
Linux's own account, so that other work on the machine does not count against them. What was seen
stands in DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from envelope.batch import Asked, analyze_file, digest_of, jobs_in, run_batch

WORKERS = 2
COMPARED = 12  # rooms that are analysed again by themselves

_ROOM = """
format = 1
name = "Room {number} of a street (invented)"
[construction]
exterior-wall = "shell"
slab = "shell"
roof = "shell"
window = "pane"
[[assembly]]
id = "shell"
layers = [{{ material = "brick", thickness = "{wall:.0f} mm" }}]
[[assembly]]
id = "pane"
layers = [{{ material = "glass", thickness = "6 mm" }}]
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "{wide:.2f} m x {deep:.2f} m"
height = "2.5 m"
[[opening]]
id = "W1"
on = "room/south"
kind = "window"
at = "0.6 m"
sill = "0.9 m"
size = "1.2 m x 1.2 m"
[[source]]
id = "mast"
azimuth = "{azimuth:.0f} deg"
elevation = "4 deg"
band = "1805-1880 MHz"
level = "{level:.0f} uW/m2"
scattered = 0.2
[[receiver]]
id = "bed"
space = "room"
at = "1, 1, 0.7 m"
"""


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def make_rooms(folder: Path, count: int) -> None:
    rng = np.random.default_rng(1)
    for number in range(count):
        text = _ROOM.format(
            number=number,
            wall=rng.uniform(90.0, 360.0),
            wide=rng.uniform(2.5, 6.0),
            deep=rng.uniform(2.5, 6.0),
            azimuth=rng.uniform(120.0, 240.0),
            level=rng.uniform(50.0, 2000.0),
        )
        (folder / f"room-{number:03d}.toml").write_text(text, "utf-8")


def children(parent: int) -> Iterator[int]:
    """Workers of a batch; the tracker of multiprocessing is none."""
    for place in Path("/proc").glob("[0-9]*"):
        try:
            status = (place / "stat").read_text().rpartition(")")[2].split()
            command = (place / "cmdline").read_bytes()
        except OSError:
            continue
        if int(status[1]) == parent and b"spawn_main" in command:
            yield int(place.name)


def wanted_s(process: int) -> float | None:
    """How long a process and its threads ran or waited for a processor. [s]"""
    total = 0
    try:
        for thread in Path(f"/proc/{process}/task").iterdir():
            ran, waited, _ = (thread / "schedstat").read_text().split()
            total += int(ran) + int(waited)
    except OSError:
        return None
    return total * 1e-9


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=400)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--run", nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.run:
        street, kept = map(Path, given.run)
        run_batch(jobs_in([street]), Asked(), folder=kept, workers=WORKERS)
        return
    with tempfile.TemporaryDirectory() as away:
        street, kept = Path(away) / "street", Path(away) / "kept"
        street.mkdir()
        make_rooms(street, given.rooms)
        analyze_file(street / "room-000.toml", Asked())  # compiles
        _disturbed(street, kept, given.kills)
        _judged(street, kept, given.kills)


def _disturbed(street: Path, kept: Path, kills: int) -> None:
    rng = np.random.default_rng(2)
    count = len(jobs_in([street]))
    # killed when so many results are there, and some moment later
    due = sorted(rng.integers(1, int(0.95 * count), kills).tolist())
    command = [sys.executable, __file__, "--run", str(street), str(kept)]
    batch = subprocess.Popen(command)
    start, shares = time.monotonic(), []
    seen: dict[int, tuple[float, float]] = {}
    last: dict[int, tuple[float, float]] = {}
    parents = workers = 0
    while batch.poll() is None:
        time.sleep(0.25)
        now = time.monotonic()
        alive = list(children(batch.pid))
        for worker in alive:
            wanted = wanted_s(worker)
            if wanted is not None:
                seen.setdefault(worker, (now, wanted))
                last[worker] = (now, wanted)
        done = len(list(kept.glob("*.json"))) if kept.is_dir() else 0
        if due and done >= due[0] and alive:
            time.sleep(float(rng.uniform(0.0, 0.5)))
            due.pop(0)
            if rng.random() < 0.25:
                os.kill(batch.pid, signal.SIGKILL)
                batch.wait()
                parents += 1
                while any(_is_alive(worker) for worker in alive):  # they end by themselves
                    time.sleep(0.05)
                batch = subprocess.Popen(command)
            else:
                os.kill(int(rng.choice(alive)), signal.SIGKILL)
                workers += 1
    for worker, (at, wanted) in seen.items():
        until, by_then = last[worker]
        if until - at > 1.0:
            shares.append((by_then - wanted, until - at))
    busy = sum(each for each, _ in shares) / sum(length for _, length in shares)
    say(
        f"{count} rooms in {time.monotonic() - start:.0f} s; {workers} workers and {parents} "
        f"batches killed; workers wanted a processor {busy:.0%} of their time"
    )


def _is_alive(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


def _judged(street: Path, kept: Path, kills: int) -> None:
    paths = jobs_in([street])
    digests = [digest_of(path, Asked()) for path in paths]
    results = [json.loads((kept / f"{digest}.json").read_text()) for digest in digests]
    assert not [result["error"] for result in results if result["error"]]
    assert len(list(kept.glob("*.json"))) == len(paths)
    begun = [(kept / f"{digest}.lock").stat().st_size for digest in digests]
    again = sum(begun) - len(paths)
    assert 0 <= again <= kills, again
    left = [path.name for path in kept.iterdir() if path.suffix not in (".json", ".lock")]
    for place in np.linspace(0, len(paths) - 1, COMPARED).astype(int).tolist():
        alone = analyze_file(paths[place], Asked())
        assert alone["rows"] == results[place]["rows"], paths[place]
    say(
        f"{len(results)} of {len(paths)} results, none lost; {again} rooms begun again after a "
        f"kill; {len(left)} files left over; {COMPARED} the same by themselves"
    )


if __name__ == "__main__":
    main()
