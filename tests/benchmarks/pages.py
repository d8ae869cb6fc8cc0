"""What a picture and a hand-out take of the processor and of memory, beside an older copy.

    python tests/benchmarks/pages.py [FOLDER OF AN OLDER COPY]

Every command is run as a person runs it, warm (what it keeps is kept, everything is compiled), the
copies in turns; the least processor time of each counts, with that of the processes that it starts.
Memory is what a command and its processes hold at once, sampled, with what they share counted once.
Without a second copy `gapcast analyze` is what they are held against.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROUNDS = 3
PAGES = {"picture": "room.png", "handout": "room.html"}


def held_mb(process: int) -> float:
    """Memory of a process and those that it started, a part of what is shared. [MB]"""
    total = 0.0
    try:
        for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                total = int(line.split()[1]) / 1024
        for thread in Path(f"/proc/{process}/task").iterdir():
            total += sum(held_mb(int(each)) for each in (thread / "children").read_text().split())
    except OSError:  # it has just ended
        pass
    return total


def run(root: Path, folder: Path, *arguments: str) -> tuple[float, float]:
    """Processor time and most memory of one command. [s], [MB]"""
    environment = {
        **os.environ,
        "PYTHONPATH": str(root),
        "GAPCAST_CACHE": str(folder / root.name),
        "PYTHONPYCACHEPREFIX": str(folder / "compiled"),
    }
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    process = subprocess.Popen(
        [sys.executable, "-m", "envelope.cli", *arguments],
        cwd=folder,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    most = 0.0
    while True:
        ended, status, used = os.wait4(process.pid, os.WNOHANG)
        if ended:
            process.returncode = os.waitstatus_to_exitcode(status)
            break
        most = max(most, held_mb(process.pid))
        time.sleep(0.02)
    if process.returncode:
        raise SystemExit(f"{root}: {' '.join(arguments)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, most


def main() -> None:
    copies = [ROOT, *(Path(each).resolve() for each in sys.argv[1:])]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = folder / "house.toml"
        job.write_bytes((copies[-1] / "models" / "house.toml").read_bytes())
        for command, page in PAGES.items():
            asked = (command, str(job), "-o", str(folder / page))
            runs: dict[str, tuple[Path, tuple[str, ...]]] = {
                str(each): (each, asked) for each in copies
            }
            if len(copies) == 1:
                runs["analyze"] = (ROOT, ("analyze", str(job)))
            for root, words in runs.values():
                run(root, folder, *words)  # compiled, and kept
            found: dict[str, list[tuple[float, float]]] = {each: [] for each in runs}
            for _ in range(ROUNDS):
                for each, (root, words) in runs.items():
                    found[each].append(run(root, folder, *words))
            first, second = (min(each)[0] for each in found.values())
            memory = [max(most for _, most in each) for each in found.values()]
            sys.stdout.write(
                f"{command:8} {first:5.2f} s and {memory[0]:4.0f} MB, over "
                f"{second:5.2f} s and {memory[1]:4.0f} MB: {first / second:.2f}\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
