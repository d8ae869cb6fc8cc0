"""Rays walked in chunks by several threads, which also gives progress and a way to stop.

The compiled loops release the GIL. Threads share nothing but the building's tables, and results are
put together in the order of the chunks, so that a cast comes out the same on any machine.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from envelope.building.planar import Floats
from envelope.errors import CancelledError, EnvelopeError
from envelope.rays import walk
from envelope.rays.aiming import Aim
from envelope.rays.crossings import SCRAMBLES, Bytes, Ints, Longs, Signatures, unite
from envelope.rays.tables import Geometry

Progress = Callable[[float], None]
Cancel = Callable[[], bool]
Task = TypeVar("Task")
Result = TypeVar("Result")

_CHUNK = 2**14  # rays; a hundredth of a second or so
_ROOM = 2**12  # signatures, or rays kept whole, before a compiled loop hands over what it has
_ROOM_EACH = 16  # crossings for each of them
_UNITE_AT = 2**18  # signatures kept before equal ones are united


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
    workers = min(len(tasks), os.cpu_count() or 1)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Rays `start` to `stop` of every scramble of one aim."""

    aim: Aim
    index: int  # of the aim
    start: int
    stop: int

    @property
    def rays(self) -> int:
        """How many in all."""
        return SCRAMBLES * (self.stop - self.start)


def stretches(aim: Aim, index: int, start: int, stop: int) -> list[Stretch]:
    """Rays `start` to `stop` of an aim, cut into chunks."""
    step = _CHUNK // SCRAMBLES
    return [
        Stretch(aim=aim, index=index, start=low, stop=min(low + step, stop))
        for low in range(start, stop, step)
    ]


def tally(
    geometry: Geometry, *, eye: Floats, home: int, bins: int, stretch: Stretch
) -> tuple[list[Signatures], Longs]:
    """Signatures of a stretch of rays, weights counting rays, and rays (8,) that arrive."""
    directions = stretch.aim.directions(stretch.start, stretch.stop)
    slots = np.empty(4 * _ROOM, dtype=np.int32)
    hashes = np.empty(_ROOM, dtype=np.uint64)
    firsts = np.empty(_ROOM, dtype=np.int32)
    skies = np.empty(_ROOM, dtype=np.int8)
    counts = np.empty((_ROOM, SCRAMBLES), dtype=np.int32)
    starts = np.empty(_ROOM + 1, dtype=np.int32)
    entries = np.empty(_ROOM * _ROOM_EACH + 2 * walk.STEPS, dtype=np.int32)
    parts = []
    arrived = np.zeros(SCRAMBLES, dtype=np.int64)
    ray = 0
    while ray < len(directions):
        slots.fill(-1)
        ray, signatures, filled = walk.tally(
            geometry.tables, eye, directions, SCRAMBLES, home, stretch.aim.panel,
            stretch.aim.hiders, bins, ray, slots, hashes, firsts, skies, counts, starts, entries,
        )  # fmt: skip
        if ray < 0:
            raise _lost(geometry, start=eye, direction=directions[-1 - ray])
        used = counts[:signatures].astype(np.float64)
        arrived += used.sum(axis=0).astype(np.int64)
        parts.append(
            Signatures(
                hashes=hashes[:signatures].copy(),
                first_panel=firsts[:signatures].copy(),
                sky=skies[:signatures].copy(),
                weights_sr=used,
                start=starts[: signatures + 1].astype(np.int64),
                entries=entries[:filled].copy(),
            )
        )
    return parts, arrived


class Gathered:
    """Signatures by aim, added up as chunks come in, united when they grow many."""

    def __init__(self) -> None:
        self._parts: dict[int, list[Signatures]] = {}
        self._rows = 0
        self.arrived: dict[int, int] = {}

    def add(self, aim: int, parts: Sequence[Signatures], arrived: Longs) -> None:
        """Add what a chunk of an aim, told by its index, brought."""
        self._parts.setdefault(aim, []).extend(parts)
        self.arrived[aim] = self.arrived.get(aim, 0) + int(arrived.sum())
        self._rows += sum(len(part.sky) for part in parts)
        if self._rows > _UNITE_AT:
            self._parts = {aim: [unite(parts)] for aim, parts in self._parts.items()}
            self._rows = sum(len(part.sky) for (part,) in self._parts.values())

    def total(self, weights_sr: Sequence[float]) -> Signatures:
        """Everything united, the rays of each aim weighing what is given for it."""
        scaled = []
        for aim, parts in self._parts.items():
            for part in parts:
                scaled.append(
                    Signatures(
                        hashes=part.hashes,
                        first_panel=part.first_panel,
                        sky=part.sky,
                        weights_sr=part.weights_sr * weights_sr[aim],
                        start=part.start,
                        entries=part.entries,
                    )
                )
        return unite(scaled)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Rays with everything that each crosses, in order."""

    start: Longs  # (n + 1,)
    rows: Ints  # (nnz,)
    cosines: Floats  # (nnz,)
    spaces: Ints  # (nnz,) before each crossing; -1 outdoors
    panels: Ints  # (nnz,) met
    sky: Bytes  # (n,)
    first: Ints  # (n,)
    returned: Bytes  # (n,) whether it came back into the space where it started


def follow(
    geometry: Geometry,
    *,
    starts: Floats,
    directions: Floats,
    home: int,
    known: Longs | None = None,
    target: Floats | None = None,
    target_space: int = -1,
) -> Trace:
    """Walk rays and keep what each crosses.

    Parameters
    ----------
    starts, directions : (n, 3) float
        Counted from the building's middle. [m], [-]
    home : int
        Space in which they start; -1 outdoors.
    known : (n,) int
        Panel by which each leaves it, where that is known.
    target : (3,) float
        Point at which they end, in `target_space`; else they go on for ever. [m]
    """
    if known is None:
        known = np.full(len(starts), -1, dtype=np.int64)
    goal = np.zeros(3) if target is None else target
    within = walk.NOWHERE if target is None else target_space
    starts, directions = np.ascontiguousarray(starts), np.ascontiguousarray(directions)

    def work(stretch: range) -> Trace:
        return _follow(
            geometry, starts, directions, known, stretch, home=home,
            target=goal, target_space=within,
        )  # fmt: skip

    chunks = [
        range(low, min(low + _ROOM, len(starts))) for low in range(0, max(len(starts), 1), _ROOM)
    ]
    return _joined(in_threads(chunks, work))


def _follow(
    geometry: Geometry,
    starts: Floats,
    directions: Floats,
    known: Longs,
    stretch: range,
    *,
    home: int,
    target: Floats,
    target_space: int,
) -> Trace:
    chosen = slice(stretch.start, stretch.stop)
    starts, directions, known = starts[chosen], directions[chosen], known[chosen]
    count = len(stretch)
    ends = np.empty(count, dtype=np.int32)
    sky, back = np.empty(count, dtype=np.int8), np.empty(count, dtype=np.int8)
    first = np.empty(count, dtype=np.int32)
    room = count * _ROOM_EACH + 2 * walk.STEPS
    rows, spaces, panels = (np.empty(room, dtype=np.int32) for _ in range(3))
    cosines = np.empty(room)
    parts = []
    ray = 0
    while True:
        begin = ray
        ray, filled = walk.follow(
            geometry.tables, starts, directions, home, known, target, target_space, begin,
            ends, sky, first, back, rows, cosines, spaces, panels,
        )  # fmt: skip
        if ray < 0:
            raise _lost(geometry, start=starts[-1 - ray], direction=directions[-1 - ray])
        parts.append(
            Trace(
                start=np.concatenate(([0], ends[begin:ray])).astype(np.int64),
                rows=rows[:filled].copy(),
                cosines=cosines[:filled].copy(),
                spaces=spaces[:filled].copy(),
                panels=panels[:filled].copy(),
                sky=sky[begin:ray].copy(),
                first=first[begin:ray].copy(),
                returned=back[begin:ray].copy(),
            )
        )
        if ray == count:
            return _joined(parts)


def _joined(parts: Sequence[Trace]) -> Trace:
    offsets = np.cumsum([0] + [len(part.rows) for part in parts])
    tails = [part.start[1:] + offset for part, offset in zip(parts, offsets[:-1], strict=True)]
    return Trace(
        start=np.concatenate([np.zeros(1, dtype=np.int64), *tails]),
        rows=np.concatenate([part.rows for part in parts]),
        cosines=np.concatenate([part.cosines for part in parts]),
        spaces=np.concatenate([part.spaces for part in parts]),
        panels=np.concatenate([part.panels for part in parts]),
        sky=np.concatenate([part.sky for part in parts]),
        first=np.concatenate([part.first for part in parts]),
        returned=np.concatenate([part.returned for part in parts]),
    )


def _lost(geometry: Geometry, *, start: Floats, direction: Floats) -> EnvelopeError:
    place = ", ".join(f"{value:.17g}" for value in start + geometry.middle)
    way = ", ".join(f"{value:.17g}" for value in direction)
    return EnvelopeError(
        f"internal error: the ray from ({place}) m towards ({way}) has not come to an end after "
        f"{walk.STEPS} steps; allowed: any number up to that. Please report it with the project"
    )
