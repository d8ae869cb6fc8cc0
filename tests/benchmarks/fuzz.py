"""Broken project files, made by the thousand from the sample jobs, and what reading them does.

    python tests/benchmarks/fuzz.py --count 100000 --processes 2 --out findings.json
    python tests/benchmarks/fuzz.py --count 30000 --analyze --out findings.json

Whatever a file says, reading it ends in a job or in one `ProjectFileError` whose faults are plain
lines of text, within two seconds of processor time and 500 MB. Anything else is a finding, told
once for each place in the code where it comes from and cut down to the lines that it needs. A
number makes a file: the same one always makes the same.

With `--analyze` a job that was read goes on through what `analyze` does, with few rays: readings
solved, casts, levels with their ranges, the first screen, every table, JSON without a nan. It may
be refused there too, in a sentence. One in six of those goes on through one other command too, each
in its turn, as it is typed: `decide`, `compare`, `survey`, the papers, a hand-out without pictures.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import io
import json
import multiprocessing
import os
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import FrameType

from mutations import ROOT, mutated

if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from envelope import cli
from envelope.building.job import Job
from envelope.commands.first_screen import print_first_screen
from envelope.commands.tables import print_analysis
from envelope.errors import EnvelopeError, FaultsError
from envelope.exposure import serialise
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project.load import decode, load_text
from envelope.rays import DEFAULT, Sampling
from envelope.rays.threads import limit_threads
from envelope.survey import levels

try:
    import resource
except ImportError:  # not a Unix: time is judged all the same, memory is not
    resource = None

MOST_SECONDS = 2.0
MOST_SECONDS_ANALYZED = 15.0
MOST_SECONDS_MORE = 45.0  # where another command follows, such as a decision
FEW = Sampling(points_per_panel=2**5, points=2**8)
MOST_BYTES = 500_000_000
MOST_BYTES_MORE = 500_000_000
STUCK_SECONDS = 20.0  # more than it may take, after which a file is given up
LONGEST_LINE = 600  # characters that a fault may have
BATCH = 250  # files that a process takes at a time
OTHERS = (  # commands, as typed; the job comes after the first word
    "decide", "compare", "decide --json", "takeoff", "workorder", "bond", "survey",
    "survey --sheet out.html", "offer -o out.html", "handover -o out.html", "export -o out.csv",
    "bed", "handout -o out.html", "check", "compare --json", "wiring",
)  # fmt: skip
EVERY = 6  # analysed jobs of which one goes on through one of them


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
    analyzed: bool = False


def _too_long(signum: int, frame: FrameType | None) -> None:
    raise OverTimeError


@contextmanager
def time_limit(most_seconds: float) -> Iterator[None]:
    """Give up what takes more time of the processor than this."""
    if not hasattr(signal, "setitimer"):
        yield
        return
    earlier = signal.signal(signal.SIGPROF, _too_long)
    signal.setitimer(signal.ITIMER_PROF, most_seconds)
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


def examine(
    data: bytes,
    *,
    most_seconds: float | None = None,
    through_analysis: bool = False,
    other: str | None = None,
) -> Outcome:
    """Read a file's bytes, warnings as errors, analyse the job if asked; judge what came of it.

    `other` is a command that takes the job after that.
    """
    if most_seconds is None:
        most_seconds = MOST_SECONDS_ANALYZED if through_analysis else MOST_SECONDS
        most_seconds += 0.0 if other is None else MOST_SECONDS_MORE
    refused = analyzed = False
    finding = None
    before = _peak_bytes()
    start = time.process_time()
    try:
        with time_limit(most_seconds + STUCK_SECONDS), warnings.catch_warnings():
            warnings.simplefilter("error")
            job = load_text(decode(data, path="job.toml"), path="job.toml")
            if through_analysis and job is not None:
                follow(job)
                analyzed = True
                if other is not None:
                    type_in(other, data)
    except EnvelopeError as error:
        refused = True
        finding = _judged(error)
    except OverTimeError as error:
        finding = Finding(
            kind="slow", where=_place(error), detail=f"over {most_seconds + STUCK_SECONDS:g} s"
        )
    except Exception as error:  # noqa: BLE001
        name = type(error).__name__
        where = f"{name} {_place(error)}"
        finding = Finding(kind="exception", where=where, detail=f"{name}: {error}"[:300])
    seconds = time.process_time() - start
    if finding is None and seconds > most_seconds:
        finding = Finding(kind="slow", where="slow", detail=f"{seconds:.1f} s")
    grown = _peak_bytes() - before
    most_bytes = MOST_BYTES + (0 if other is None else MOST_BYTES_MORE)
    if finding is None and grown > most_bytes:
        finding = Finding(kind="memory", where="memory", detail=f"{grown / 1e6:.0f} MB")
    return Outcome(refused=refused, seconds=seconds, finding=finding, analyzed=analyzed)


def follow(job: Job) -> None:
    """What `analyze` does with a job that has a receiver, all that it prints included."""
    if job.readings or job.unsolved:
        job = levels.solve_levels(job)
    if not job.receivers:
        return
    found = analyze(job=job, casts=cast_job(job, sampling=FEW), with_bands=True)
    with contextlib.redirect_stdout(io.StringIO()):
        print_first_screen(found, job)
        print_analysis(found, job)
    json.dumps(serialise.analysis_as_plain(found), allow_nan=False)
    serialise.gaps_as_csv(found)


class OddEndingError(Exception):
    """A command ended as none should: in `where` what it is known by."""

    def __init__(self, command: str, code: int, told: str) -> None:
        super().__init__(f"{command}: exit {code}, {told}")


def type_in(command: str, data: bytes) -> None:
    """Run a command on a job as from a terminal, with few rays and no pictures."""
    word, *rest = command.split()
    shown, told = io.StringIO(), io.StringIO()
    here = os.getcwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            Path("job.toml").write_bytes(data)
            with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(told):
                code = cli.main([word, "job.toml", *rest])
        finally:
            os.chdir(here)
    said = [line for line in told.getvalue().replace("\r", "\n").split("\n") if line]
    if code not in (0, 1, 2) or (code == 2 and not said) or "internal error" in told.getvalue():
        raise OddEndingError(command, code, told.getvalue()[-200:])


def lightly() -> None:
    """Let this process cast few rays, keep nothing, draw nothing, in one thread."""
    os.environ["GAPCAST_CACHE"] = ""
    limit_threads(1)
    for each in dataclasses.fields(FEW):
        object.__setattr__(DEFAULT, each.name, getattr(FEW, each.name))
    from viewer.pictures import gl

    gl.begin_trial = lambda: None
    gl.can_draw = lambda: False


def _judged(error: EnvelopeError) -> Finding | None:
    """Whether what an error says is plain lines of text, and at least one."""
    faults = list(error.faults) if isinstance(error, FaultsError) else [error]
    if not faults:
        return Finding(kind="message", where="no faults", detail="an error without a fault")
    for fault in faults:
        text = str(fault)
        if "internal error" in text:
            return Finding(kind="exception", where="internal error", detail=text[:300])
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


def reduced(
    data: bytes, where: str, *, through_analysis: bool = False, other: str | None = None
) -> bytes:
    """The same finding in fewer lines: stretches are left out for as long as it stays."""
    lines = data.split(b"\n")
    step = max(len(lines) // 2, 1)
    tries = 100 if through_analysis else 400
    while tries > 0:
        place, shorter = 0, False
        while place < len(lines) and tries > 0:
            fewer = lines[:place] + lines[place + step :]
            tries -= 1
            found = examine(
                b"\n".join(fewer), through_analysis=through_analysis, other=other
            ).finding
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


@dataclass(kw_only=True)
class Tally:
    """What came of many files."""

    read: int = 0
    refused: int = 0
    analyzed: int = 0
    seconds: float = 0.0
    slowest: float = 0.0
    most: int = 0  # bytes
    found: list[Finding] = field(default_factory=list)

    def add(self, number: int, outcome: Outcome) -> None:
        """One file more."""
        self.read += 1
        self.refused += outcome.refused
        self.analyzed += outcome.analyzed
        self.seconds += outcome.seconds
        self.slowest = max(self.slowest, outcome.seconds)
        if outcome.finding is not None:
            told = asdict(outcome.finding) | {"number": number, "seconds": outcome.seconds}
            self.found.append(Finding(**told))

    def join(self, other: Tally) -> None:
        """What another process found, too."""
        for name in ("read", "refused", "analyzed", "seconds", "found"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.slowest, self.most = max(self.slowest, other.slowest), max(self.most, other.most)


def _other(number: int) -> str | None:
    """The other command that a job of this number goes through, if any."""
    turn, rest = divmod(number, EVERY)
    return None if rest else OTHERS[turn % len(OTHERS)]


def _batch(task: tuple[int, int, bool]) -> Tally:
    """Files of some numbers."""
    first, last, through_analysis = task
    tally = Tally()
    if through_analysis:
        lightly()
    for number in range(first, last):
        chosen = _other(number) if through_analysis else None
        found = examine(mutated(number), through_analysis=through_analysis, other=chosen)
        tally.add(number, found)
    tally.most = _peak_bytes()
    return tally


def run(
    *, first: int, count: int, processes: int, through_analysis: bool = False
) -> dict[str, object]:
    """Read the broken files of `count` numbers; findings one a cause, cut down."""
    whole = Tally()
    causes: dict[str, Finding] = {}
    times: dict[str, int] = {}
    began = time.monotonic()
    tasks = [
        (start, min(start + BATCH, first + count), through_analysis)
        for start in range(first, first + count, BATCH)
    ]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for tally in pool.imap_unordered(_batch, tasks):
            whole.join(tally)
            for finding in tally.found:
                times[finding.where] = times.get(finding.where, 0) + 1
                if finding.where not in causes:
                    causes[finding.where] = finding
                    say(f"{finding.number}: {finding.where}: {finding.detail}")
            if whole.read % (4 * BATCH) == 0:
                say(f"{whole.read} read, {whole.refused} refused, {len(causes)} causes")
    told = []
    for finding in causes.values():
        lines = mutated(finding.number)
        if finding.kind in ("exception", "message"):
            lines = reduced(
                lines, finding.where, through_analysis=through_analysis,
                other=_other(finding.number) if through_analysis else None,
            )  # fmt: skip
        told.append(
            asdict(finding)
            | {"times": times[finding.where], "lines": lines.decode("utf-8", "backslashreplace")}
        )
    return {
        "read": whole.read,
        "refused": whole.refused,
        "analyzed": whole.analyzed,
        "seconds_of_processor": round(whole.seconds, 1),
        "slowest_s": round(whole.slowest, 3),
        "peak_mb": round(whole.most / 1e6),
        "minutes": round((time.monotonic() - began) / 60, 1),
        "findings": told,
    }


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first file")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--analyze", action="store_true", help="analyse what can be read")
    parser.add_argument("--out", type=Path, help="where to write the findings as JSON")
    options = parser.parse_args()
    found = run(
        first=options.first,
        count=options.count,
        processes=options.processes,
        through_analysis=options.analyze,
    )
    text = json.dumps(found, indent=1, ensure_ascii=True)
    if options.out is not None:
        options.out.write_text(text + "\n", encoding="utf-8")
    say(text)
    return 1 if found["findings"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
