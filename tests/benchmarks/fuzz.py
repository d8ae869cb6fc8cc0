"""Broken project files, made by the thousand from the sample jobs, and what reading them does.

    python tests/benchmarks/fuzz.py --count 100000 --processes 2 --out findings.json

Whatever a file says, reading it ends in a job or in one `ProjectFileError` whose faults are plain
lines of text, within two seconds of processor time and 500 MB. Anything else is a finding, told
once for each place in the code where it comes from and cut down to the lines that it needs. A
number makes a file: the same one always makes the same.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from types import FrameType

from mutations import ROOT, mutated

if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from envelope.errors import ProjectFileError
from envelope.project.load import decode, load_text

try:
    import resource
except ImportError:  # not a Unix: time is judged all the same, memory is not
    resource = None

MOST_SECONDS = 2.0
MOST_BYTES = 500_000_000
STUCK_SECONDS = 20.0  # after which a file is given up
LONGEST_LINE = 600  # characters that a fault may have
BATCH = 250  # files that a process takes at a time


# ---- reading


class OverTimeError(BaseException):
    """Not an `Exception`, so that nothing under test can catch it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a broken file did that it must not."""

    kind: str  # "exception", "slow", "memory", "message"
    where: str  # one for each cause
    detail: str
    number: int = -1
    seconds: float = 0.0
    lines: str = ""  # of the file, cut down


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What reading a file came to."""

    refused: bool
    seconds: float  # of processor time
    finding: Finding | None = None


def _too_long(signum: int, frame: FrameType | None) -> None:
    raise OverTimeError


@contextmanager
def _given_up_when_stuck() -> Iterator[None]:
    if not hasattr(signal, "setitimer"):
        yield
        return
    earlier = signal.signal(signal.SIGPROF, _too_long)
    signal.setitimer(signal.ITIMER_PROF, STUCK_SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, earlier)


def _peak_bytes() -> int:
    """Most memory that this process has had; 0 where that is not told."""
    if resource is None:
        return 0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(peak) * (1 if sys.platform == "darwin" else 1024)


def examine(data: bytes, *, most_seconds: float = MOST_SECONDS) -> Outcome:
    """Read a file's bytes, warnings as errors, and judge what came of it."""
    refused = False
    finding = None
    before = _peak_bytes()
    start = time.process_time()
    try:
        with _given_up_when_stuck(), warnings.catch_warnings():
            warnings.simplefilter("error")
            load_text(decode(data, path="job.toml"), path="job.toml")
    except ProjectFileError as error:
        refused = True
        finding = _judged(error)
    except OverTimeError as error:
        finding = Finding(kind="slow", where=_place(error), detail=f"over {STUCK_SECONDS:g} s")
    except Exception as error:  # noqa: BLE001
        name = type(error).__name__
        where = f"{name} {_place(error)}"
        finding = Finding(kind="exception", where=where, detail=f"{name}: {error}"[:300])
    seconds = time.process_time() - start
    if finding is None and seconds > most_seconds:
        finding = Finding(kind="slow", where="slow", detail=f"{seconds:.1f} s")
    grown = _peak_bytes() - before
    if finding is None and grown > MOST_BYTES:
        finding = Finding(kind="memory", where="memory", detail=f"{grown / 1e6:.0f} MB")
    return Outcome(refused=refused, seconds=seconds, finding=finding)


def _judged(error: ProjectFileError) -> Finding | None:
    """Whether the faults of an error are plain lines of text, and at least one."""
    if not error.faults:
        return Finding(kind="message", where="no faults", detail="an error without a fault")
    for fault in error.faults:
        text = str(fault)
        if not text.isprintable():
            return Finding(kind="message", where="not printable", detail=repr(text)[:300])
        if len(text) > LONGEST_LINE:
            return Finding(kind="message", where="too long", detail=text[:300])
    return None


def _place(error: BaseException) -> str:
    """The innermost line of the package that an exception came through."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if f"{ROOT}/envelope" in frame.filename]
    if not ours:
        return "outside"
    last = ours[-1]
    return f"{Path(last.filename).relative_to(ROOT)}:{last.lineno} {last.name}"


def reduced(data: bytes, where: str) -> bytes:
    """The same finding in fewer lines: stretches are left out for as long as it stays."""
    lines = data.split(b"\n")
    step = max(len(lines) // 2, 1)
    tries = 400
    while tries > 0:
        place, shorter = 0, False
        while place < len(lines) and tries > 0:
            fewer = lines[:place] + lines[place + step :]
            tries -= 1
            found = examine(b"\n".join(fewer)).finding
            if found is not None and found.where == where:
                lines, shorter = fewer, True
            else:
                place += step
        if step == 1 and not shorter:
            break
        step = max(step // 2, 1)
    return b"\n".join(lines)


# ---- many


def say(text: str) -> None:
    """Tell what is going on, at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def _batch(span: tuple[int, int]) -> tuple[int, int, float, float, int, list[Finding]]:
    """Files read, refused, their seconds, the slowest's, the process's memory, and findings."""
    refused, seconds, slowest, found = 0, 0.0, 0.0, []
    for number in range(*span):
        outcome = examine(mutated(number))
        refused += outcome.refused
        seconds += outcome.seconds
        slowest = max(slowest, outcome.seconds)
        if outcome.finding is not None:
            told = asdict(outcome.finding) | {"number": number, "seconds": outcome.seconds}
            found.append(Finding(**told))
    return span[1] - span[0], refused, seconds, slowest, _peak_bytes(), found


def _spans(first: int, count: int) -> Iterator[tuple[int, int]]:
    for start in range(first, first + count, BATCH):
        yield start, min(start + BATCH, first + count)


def run(*, first: int, count: int, processes: int) -> dict[str, object]:
    """Read the broken files of `count` numbers; findings one a cause, cut down."""
    read = refused = 0
    seconds = slowest = 0.0
    most = 0
    causes: dict[str, Finding] = {}
    times: dict[str, int] = {}
    began = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for done, no, spent, worst, held, found in pool.imap_unordered(
            _batch, _spans(first, count)
        ):
            read, refused, seconds = read + done, refused + no, seconds + spent
            slowest, most = max(slowest, worst), max(most, held)
            for finding in found:
                times[finding.where] = times.get(finding.where, 0) + 1
                if finding.where not in causes:
                    causes[finding.where] = finding
                    say(f"{finding.number}: {finding.where}: {finding.detail}")
            if read % (40 * BATCH) == 0:
                say(f"{read} read, {refused} refused, {len(causes)} causes")
    told = []
    for finding in causes.values():
        lines = mutated(finding.number)
        if finding.kind in ("exception", "message"):
            lines = reduced(lines, finding.where)
        told.append(
            asdict(finding)
            | {"times": times[finding.where], "lines": lines.decode("utf-8", "backslashreplace")}
        )
    return {
        "read": read,
        "refused": refused,
        "seconds_of_processor": round(seconds, 1),
        "slowest_s": round(slowest, 3),
        "peak_mb": round(most / 1e6),
        "minutes": round((time.monotonic() - began) / 60, 1),
        "findings": told,
    }


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first file")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, help="where to write the findings as JSON")
    options = parser.parse_args()
    found = run(first=options.first, count=options.count, processes=options.processes)
    text = json.dumps(found, indent=1, ensure_ascii=True)
    if options.out is not None:
        options.out.write_text(text + "\n", encoding="utf-8")
    say(text)
    return 1 if found["findings"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
