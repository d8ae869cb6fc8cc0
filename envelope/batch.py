"""Many jobs: each analysed once, on all cores, into a folder from which a stopped run goes on.

A worker takes a lock on a job, computes with one thread, writes the result aside and renames it. So
no job is done twice at a time, nothing is half written, and a worker that is killed takes nothing
along but the job it was at: its lock goes with it, and another worker takes the job up.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import multiprocessing
import os
import time
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

from envelope import __version__
from envelope.errors import EnvelopeError
from envelope.files import write_atomically

MAX_TRIES = 3  # workers that a job may end before it is given up
_WAIT_S = 0.1  # between looks at what is left
_FORMAT = 1

Result = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked of every job."""

    plans: tuple[str, ...] = ()  # all of a job's where none is named
    receivers: tuple[str, ...] = ()
    fine: bool = False
    error: float | None = None  # that rays are cast to reach
    edges: bool = False


def jobs_in(paths: Sequence[Path]) -> tuple[Path, ...]:
    """Project files as given, and those of every folder that is given, in an order of names.

    Raises
    ------
    EnvelopeError
        Where a folder holds none, or a path is neither.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(each for each in path.glob("*.toml") if each.is_file())
            if not inside:
                raise EnvelopeError(f"{path}: the folder holds no project file (*.toml)")
            found += inside
        elif path.is_file():
            found.append(path)
        else:
            raise EnvelopeError(f"{path}: there is no such file or folder")
    return tuple(dict.fromkeys(found))


def analyze_file(path: Path, asked: Asked) -> Result:
    """Analyse one job: levels of its plans at its receivers, or what is wrong with it.

    What a cluster calls for each job, too: it needs the file alone, and its answer is plain data.

    Parameters
    ----------
    path : Path
        Of the project file.
    asked : Asked
    """
    from envelope.cast_cache import cast_or_recall
    from envelope.commands.common import chosen_plans, read_job, with_receivers
    from envelope.exposure.analysis import analyze
    from envelope.rays import sampling_for

    start = time.perf_counter()
    try:
        job = with_receivers(read_job(path), asked.receivers)
        if not job.receivers:
            raise EnvelopeError(f"{path}: no receiver: add [[receiver]] with the pillow's place")
        found = analyze(
            job=job,
            casts=cast_or_recall(job, sampling=sampling_for(fine=asked.fine, error=asked.error)),
            plans=chosen_plans(job, asked.plans),
            with_bands=True,
            edges=asked.edges,
            ranked_plans=(),
        )
    except EnvelopeError as error:
        return {"format": _FORMAT, "file": str(path), "error": str(error), "rows": []}
    rows = [
        {
            "plan": plan.plan,
            "receiver": receiver.id,
            "level_w_m2": _finite(receiver.headline.level_w_m2),
            "low_w_m2": _finite(receiver.headline.low_w_m2),
            "high_w_m2": _finite(receiver.headline.high_w_m2),
            "below_today_db": _finite(receiver.headline.below_as_built_db),
        }
        for plan in found.plans
        for receiver in plan.receivers
    ]
    return {
        "format": _FORMAT,
        "file": str(path),
        "project": found.project,
        "error": None,
        "rows": rows,
        "seconds": round(time.perf_counter() - start, 2),
    }


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def digest_of(path: Path, asked: Asked) -> str:
    """What a result depends on: the file, the model that it names, what is asked, the version."""
    content = path.read_bytes()
    parts = [content, json.dumps([asdict(asked), __version__], sort_keys=True).encode()]
    with contextlib.suppress(tomllib.TOMLDecodeError, UnicodeDecodeError, OSError):
        model = tomllib.loads(content.decode("utf-8")).get("model")
        if isinstance(model, dict) and isinstance(model.get("file"), str):
            parts.append((path.parent / model["file"]).read_bytes())
    whole = hashlib.sha256()
    for part in parts:
        whole.update(len(part).to_bytes(8, "big") + part)
    return whole.hexdigest()[:32]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    path: Path
    digest: str

    def result(self, folder: Path) -> Path:
        return folder / f"{self.digest}.json"


def run_batch(
    paths: Sequence[Path],
    asked: Asked,
    *,
    folder: Path,
    workers: int,
    progress: Callable[[float], None] | None = None,
) -> tuple[Result, ...]:
    """Analyse many jobs; results that the folder holds already are taken from it.

    Parameters
    ----------
    paths : sequence of Path
        Project files.
    asked : Asked
    folder : Path
        For results, by what they depend on; made where it is missing.
    workers : int
        Processes.
    progress : callable, optional
        Told the share done, 0 to 1.

    Returns
    -------
    results : (n,) dict
        In the order of the paths. One that could not be had says why under "error".
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tasks = tuple(_Task(path=path, digest=digest_of(path, asked)) for path in paths)
    except OSError as error:
        raise EnvelopeError(f"{error.filename}: {error.strerror}") from None
    left = [task for task in tasks if not task.result(folder).is_file()]
    context = multiprocessing.get_context("spawn")
    count = max(1, min(workers, len(left)))
    running: list[Any] = []
    try:
        while left:
            running = [worker for worker in running if worker.is_alive()]
            # one that was killed is replaced as long as there is something to do
            while len(running) < min(count, len(left)):
                worker = context.Process(target=_work, args=(tuple(left), asked, folder))
                worker.start()
                running.append(worker)
            if progress is not None:
                progress(1.0 - len(left) / len(tasks))
            time.sleep(_WAIT_S)
            left = [task for task in left if not task.result(folder).is_file()]
    finally:
        for worker in running:
            if left:
                worker.terminate()
            worker.join()
    return tuple(_read(task, folder) for task in tasks)


def _read(task: _Task, folder: Path) -> Result:
    found: Result = json.loads(task.result(folder).read_text("utf-8"))
    return {**found, "file": str(task.path)}


def _work(tasks: Sequence[_Task], asked: Asked, folder: Path) -> None:
    """Take up one job after the other until each has a result."""
    from envelope.rays.threads import limit_threads

    limit_threads(1)
    parent = os.getppid()
    left = list(tasks)
    while left:
        for task in left:
            if os.getppid() != parent:
                return  # whoever asked has gone
            if not task.result(folder).is_file():
                with _locked(folder / f"{task.digest}.lock") as tries:
                    if tries is not None and not task.result(folder).is_file():
                        _do(task, asked, folder, tries)
        left = [task for task in left if not task.result(folder).is_file()]
        if left:
            time.sleep(_WAIT_S)  # another worker has them


def _do(task: _Task, asked: Asked, folder: Path, tries: IO[bytes]) -> None:
    """Analyse a job that is locked; the lock's file holds how many workers have begun it."""
    tries.seek(0)
    begun = len(tries.read())
    if begun < MAX_TRIES:
        tries.write(b".")
        tries.flush()
        found = analyze_file(task.path, asked)
    else:
        message = f"{task.path}: given up: it ended {begun} workers, so look at it by itself"
        found = {"format": _FORMAT, "file": str(task.path), "error": message, "rows": []}
    write_atomically(task.result(folder), json.dumps(found, indent=1).encode())


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[IO[bytes] | None]:
    """A file that only one process holds; None where another one does. It goes with its process."""
    with open(path, "a+b") as handle:
        try:
            _lock(handle)
        except OSError:
            yield None
            return
        yield handle


def _lock(handle: IO[bytes]) -> None:
    if os.name == "nt":
        import msvcrt

        handle.seek(2**20)  # far behind what is written: a locked byte cannot be read by others
        msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
