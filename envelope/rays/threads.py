"""Work spread over threads: how many there are, and results in the order of the tasks."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from typing import TypeVar

from envelope.errors import CancelledError

Progress = Callable[[float], None]
Cancel = Callable[[], bool]
Task = TypeVar("Task")
Result = TypeVar("Result")

_limit: int | None = None  # of threads; as many as there are cores unless set


def limit_threads(count: int) -> None:
    """Let this process use so many threads, such as one where others work beside it."""
    global _limit
    _limit = count


def threads() -> int:
    """How many threads work is spread over."""
    return (os.cpu_count() or 1) if _limit is None else _limit


def in_threads(
    tasks: Sequence[Task],
    work: Callable[[Task], Result],
    *,
    done: Callable[[Task], None] | None = None,
    cancel: Cancel | None = None,
) -> list[Result]:
    """Results of independent tasks, in their order.

    Parameters
    ----------
    done : callable
        Called in the calling thread for each finished task.
    cancel : callable
        Asked in the calling thread, between tasks, whether to stop.

    Raises
    ------
    CancelledError
        Where `cancel` said so.
    """
    results: dict[int, Result] = {}
    workers = min(len(tasks), threads())
    if not tasks:
        return []
    with ThreadPoolExecutor(max_workers=workers) as pool:
        ahead = iter(enumerate(tasks))
        running: dict[Future[Result], int] = {}
        try:
            while True:
                while len(running) < 2 * workers and (following := next(ahead, None)) is not None:
                    running[pool.submit(work, following[1])] = following[0]
                if not running:
                    break
                finished, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in finished:
                    index = running.pop(future)
                    results[index] = future.result()
                    if done is not None:
                        done(tasks[index])
                if cancel is not None and cancel():
                    raise CancelledError("the cast was stopped")
        finally:
            for future in running:
                future.cancel()
    return [results[index] for index in range(len(tasks))]
