"""What a command does when it is stopped, killed, or has nowhere to write: counted.

    python tests/benchmarks/fault_trials.py interrupts [trials]
    python tests/benchmarks/fault_trials.py first-runs

`interrupts` sends SIGINT to `analyze` at moments spread over its run: it must end within two
seconds with exit code 130 and one line, or have finished. `first-runs` begins with nothing
compiled: one run is killed amid compiling, two go on at once beside it, one has a compiler's cache
and a folder for casts that cannot be written, one has its output closed after a line. All that end
by themselves must give the same answer.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ARGUMENTS = ("analyze", "bedroom.toml")
SOON_S = 2.0
INTERRUPTIBLE = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever starts us may ignore it
print("ready", flush=True)
from envelope.cli import main
sys.exit(main(sys.argv[1:]))
"""


def _environment(**changes: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), **changes}


def _started(*, environment: dict[str, str], code: str = INTERRUPTIBLE) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *ARGUMENTS],
        cwd=ROOT / "models",
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def interrupted_after(seconds: float, environment: dict[str, str]) -> str:
    """What is wrong with how a run ends that is interrupted then; nothing where all is well."""
    run = _started(environment=environment)
    assert run.stdout is not None
    run.stdout.readline()  # our own code has begun
    time.sleep(seconds)
    run.send_signal(signal.SIGINT)
    sent = time.monotonic()
    _, told = run.communicate(timeout=120)
    late = time.monotonic() - sent
    lines = [line for line in told.split("\n") if line and "casting" not in line]
    if run.returncode in (0, -signal.SIGINT) and not lines:
        return ""  # its work was done before, at the latest while the interpreter was ending
    if run.returncode != 130 or lines != ["stopped"]:
        return f"after {seconds:.2f} s: exit {run.returncode}, {told[-300:]!r}"
    return f"after {seconds:.2f} s: ended {late:.1f} s late" if late > SOON_S else ""


def interrupts(trials: int) -> list[str]:
    """Faults of runs that are interrupted at moments from their beginning to their end."""
    environment = _environment(GAPCAST_CACHE="")
    _started(environment=environment).communicate(timeout=600)  # compiles what is missing
    begun = time.monotonic()
    _started(environment=environment).communicate(timeout=600)
    whole = time.monotonic() - begun
    moments = [whole * (trial + 0.5) / trials for trial in range(trials)]
    return [fault for when in moments if (fault := interrupted_after(when, environment))]


def first_runs() -> list[str]:
    """Faults of runs that begin with nothing compiled."""
    faults = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shut = folder / "a-file"
        shut.write_text("no folder")
        empty = _environment(
            NUMBA_CACHE_DIR=str(folder / "compiled"), GAPCAST_CACHE=str(folder / "kept")
        )
        expected, _ = _started(environment=_environment(GAPCAST_CACHE="")).communicate()
        killed = _started(environment=empty)
        time.sleep(4.0)
        both = [_started(environment=empty) for _ in range(2)]
        time.sleep(1.0)
        killed.kill()
        killed.communicate()
        runs = {f"at once {number}": run for number, run in enumerate(both)}
        nowhere = _environment(NUMBA_CACHE_DIR=str(shut / "x"), GAPCAST_CACHE=str(shut / "y"))
        runs["caches that cannot be written"] = _started(environment=nowhere)
        for what, run in runs.items():
            out, told = run.communicate(timeout=600)
            if run.returncode != 0 or out != expected or "Traceback" in told:
                faults.append(f"{what}: exit {run.returncode}, {told[-300:]!r}")
        after, _ = _started(environment=empty).communicate(timeout=600)
        if after != expected:
            faults.append("a run after a killed one gives another answer")
        closed = _started(environment=empty)
        assert closed.stdout is not None
        closed.stdout.readline()
        closed.stdout.close()
        closed.wait(timeout=600)
        assert closed.stderr is not None
        told = closed.stderr.read()
        if closed.returncode != 0 or "Traceback" in told:
            faults.append(f"closed output: exit {closed.returncode}, {told[-300:]!r}")
    return faults


def main() -> int:
    """Run the trials asked for; 1 where any fault was found."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("what", choices=["interrupts", "first-runs"])
    parser.add_argument("trials", type=int, nargs="?", default=40)
    options = parser.parse_args()
    found = interrupts(options.trials) if options.what == "interrupts" else first_runs()
    for fault in found:
        print(fault)  # noqa: T201
    print(f"{len(found)} faults")  # noqa: T201
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
