"""Rays walked in chunks by several threads, which also gives progress and a way to stop.

The compiled loops release the GIL. Threads share nothing but the building's tables, and results are
put together in the order of the chunks, so that a cast comes out the same on any machine.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats
from envelope.rays.aiming import Aim
from envelope.rays.building_arrays import Geometry
from envelope.rays.kernel import signatures as counting
from envelope.rays.kernel import walk
from envelope.rays.kernel.arrays import Bytes, Ints, Longs
from envelope.rays.kernel.intersect import DEEP
from envelope.rays.records import SCRAMBLES, Signatures, picked, unite
from envelope.rays.threads import in_threads

_CHUNK = 2**13  # rays walked at a time; some thousandths of a second
_TALLIED = 2**14  # of those aimed at a panel, alike ones of which are counted where compiled
_ROOM_EACH = 8  # crossings for each of them, before a compiled loop hands over what it has
_MANY_PANELS = 2**12  # from which on rays from one point are walked in the order of their ways
_WAY_BITS = 5  # of each component; a code of 16 bits is sorted in a seventh of the time
_UNITE_AT = 2**16  # signatures kept before equal ones are united


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
    step = _TALLIED // SCRAMBLES
    return [
        Stretch(aim=aim, index=index, start=low, stop=min(low + step, stop))
        for low in range(start, stop, step)
    ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fineness:
    """Bins of the cosine that signatures are in, and into which the heavy ones are split."""

    wide: int
    narrow: int
    light_sr: float  # what a signature may weigh without being split


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tally:
    """Signatures of a stretch of rays, weights counting rays."""

    wide: list[Signatures]  # light ones, as far as these rays tell, in wide bins
    narrow: list[Signatures]  # the others, in narrow bins
    arrived: Longs  # (8,) rays that arrive


def tally(
    geometry: Geometry, *, eye: Floats, home: int, fineness: Fineness, stretch: Stretch
) -> tuple[Tally, list[Signatures]]:
    """Walk a stretch of rays and count those that are alike, as kept and all in wide bins."""
    aim = stretch.aim
    directions = aim.directions(stretch.start, stretch.stop)
    scramble = np.repeat(np.arange(SCRAMBLES, dtype=np.int8), stretch.stop - stretch.start)
    if len(aim.hiders):
        hidden = np.empty(len(directions), dtype=bool)
        counting.mark_hidden(geometry.tables, aim.panel, aim.hiders, eye, directions, hidden)
        directions, scramble = directions[~hidden], scramble[~hidden]
    every, wide, narrow, done = [], [], [], 0
    known = np.array([aim.panel], dtype=np.int32)
    ray_sr = aim.solid_angle_sr / stretch.rays
    for walked in _walked(geometry, eye[np.newaxis], directions, home=home, known=known):
        count = len(walked.sky)
        if not count:
            continue
        those = scramble[done : done + count]
        done += count
        found, of_ray = _counted(walked, those, fineness.wide, np.ones(count, dtype=bool))
        every.append(found)
        weight_sr = found.weights_sr.sum(axis=1) * (ray_sr * len(directions) / count)
        heavy = weight_sr > 0.5 * fineness.light_sr  # half: other rays may tell more
        if fineness.narrow > fineness.wide and heavy.any():
            wide.append(picked(found, np.flatnonzero(~heavy)))
            narrow.append(_counted(walked, those, fineness.narrow, heavy[of_ray])[0])
        else:
            wide.append(found)
    arrived = np.bincount(scramble, minlength=SCRAMBLES)
    return Tally(wide=wide, narrow=narrow, arrived=arrived), every


def _counted(
    walked: _Walked, scramble: Bytes, bins: int, chosen: NDArray[np.bool_]
) -> tuple[Signatures, Ints]:
    """Signatures of chosen rays among those walked, and that of each of them."""
    room = len(walked.sky)
    slots = np.full(1 << (2 * room).bit_length(), -1, dtype=np.int32)
    hashes = np.empty(room, dtype=np.uint64)
    firsts = np.empty(room, dtype=np.int32)
    skies = np.empty(room, dtype=np.int8)
    counts = np.empty((room, SCRAMBLES), dtype=np.int32)
    starts = np.empty(room + 1, dtype=np.int32)
    entries = np.empty(len(walked.cosines), dtype=np.int32)
    of_ray = np.empty(room, dtype=np.int32)
    signatures, filled = counting.count_alike(
        bins, scramble, walked.ends, walked.sky, walked.first, walked.crossed, walked.cosines,
        chosen, slots, hashes, firsts, skies, counts, starts, entries, of_ray,
    )  # fmt: skip
    found = Signatures(
        hashes=hashes[:signatures].copy(),
        first_panel=firsts[:signatures].copy(),
        sky=skies[:signatures].copy(),
        weights_sr=counts[:signatures].astype(np.float64),
        start=starts[: signatures + 1].astype(np.int64),
        entries=entries[:filled].copy(),
    )
    return found, of_ray


class Gathered:
    """Signatures by aim, added up as chunks come in, united when they grow many."""

    def __init__(self) -> None:
        self._parts: dict[int, list[Signatures]] = {}
        self._rows = 0

    def add(self, aim: int, parts: Sequence[Signatures]) -> None:
        """Add what a chunk of an aim, told by its index, brought."""
        if parts:
            self._parts.setdefault(aim, []).extend(parts)
        self._rows += sum(len(part.sky) for part in parts)
        if self._rows > _UNITE_AT:
            self._parts = {aim: [unite(parts)] for aim, parts in self._parts.items()}
            self._rows = sum(len(part.sky) for (part,) in self._parts.values())

    def weighed(self, weights_sr: Sequence[float]) -> list[Signatures]:
        """Give everything away, united by aim, the rays of each weighing what is given for it."""
        found = []
        while self._parts:
            aim, parts = self._parts.popitem()
            whole = unite(parts)
            found.append(replace(whole, weights_sr=whole.weights_sr * weights_sr[aim]))
        self._rows = 0
        return found[::-1]


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
        known = np.full(1, -1)
    told = known.astype(np.int32)
    count = len(starts)
    starts, directions = np.ascontiguousarray(starts), np.ascontiguousarray(directions)
    order = None
    if len(geometry.triangles) > _MANY_PANELS and len(told) == 1 and _at_one_point(starts):
        order = np.argsort(_way_codes(directions), kind="stable")  # neighbours read alike
        starts = starts[:1]

    def work(stretch: slice) -> Trace:
        walked = _walked(
            geometry,
            starts if order is not None else starts[stretch],
            directions[stretch] if order is None else directions.take(order[stretch], axis=0),
            home=home,
            known=told if len(told) == 1 else told[stretch],
            target=target,
            target_space=target_space,
        )
        return _joined([_trace(each) for each in walked])

    chunks = [slice(low, min(low + _CHUNK, count)) for low in range(0, max(count, 1), _CHUNK)]
    parts = in_threads(chunks, work)
    return _joined(parts) if order is None else _put_in_order(parts, order)


def _at_one_point(starts: Floats) -> bool:
    return len(starts) > _CHUNK and bool((starts == starts[0]).all())


def _way_codes(directions: Floats) -> NDArray[np.uint16]:
    """Codes (n,) of directions, alike for near ones: bits of the three components in turns."""
    steps = ((directions + 1.0) * (2**_WAY_BITS / 2.0 - 1e-6)).astype(np.uint8)
    spread = np.zeros(2**_WAY_BITS, dtype=np.uint16)
    for bit in range(_WAY_BITS):
        spread |= ((np.arange(2**_WAY_BITS) >> bit & 1) << 3 * bit).astype(np.uint16)
    codes: NDArray[np.uint16] = spread[steps[:, 0]]
    codes |= (spread << 1)[steps[:, 1]]
    codes |= (spread << 2)[steps[:, 2]]
    return codes


def _put_in_order(parts: Sequence[Trace], order: Longs) -> Trace:
    """Traces of rays that were walked in another order, put together in their own.

    Parameters
    ----------
    parts : sequence of Trace
        Of stretches of the rays as they were walked, in turn.
    order : (n,) int
        Place of each walked ray in the order that is wanted.
    """
    ends = np.cumsum([len(part.sky) for part in parts])
    places = np.split(order, ends[:-1])
    lengths = np.empty(len(order), dtype=np.int64)
    for part, place in zip(parts, places, strict=True):
        lengths[place] = np.diff(part.start)
    start = np.concatenate(([0], np.cumsum(lengths)))
    crossings, rays = int(start[-1]), len(order)
    whole = Trace(
        start=start,
        rows=np.empty(crossings, dtype=np.int32),
        cosines=np.empty(crossings),
        spaces=np.empty(crossings, dtype=np.int32),
        panels=np.empty(crossings, dtype=np.int32),
        sky=np.empty(rays, dtype=np.int8),
        first=np.empty(rays, dtype=np.int32),
        returned=np.empty(rays, dtype=np.int8),
    )

    def put(which: int) -> None:
        part, place = parts[which], places[which]
        for name in ("sky", "first", "returned"):
            getattr(whole, name)[place] = getattr(part, name)
        shift = start[place] - part.start[:-1]
        at = np.repeat(shift, np.diff(part.start)) + np.arange(len(part.rows))
        for name in ("rows", "cosines", "spaces", "panels"):
            getattr(whole, name)[at] = getattr(part, name)

    in_threads(range(len(parts)), put)
    return whole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Walked:
    """What the compiled walk wrote of some rays: views of buffers that it fills anew."""

    ends: Ints  # (n,) of their crossings
    sky: Bytes
    first: Ints
    returned: Bytes
    crossed: Ints  # (nnz, 3) row, space and panel of each crossing
    cosines: Floats  # (nnz,)


def _walked(
    geometry: Geometry,
    starts: Floats,
    directions: Floats,
    *,
    home: int,
    known: Ints,
    target: Floats | None = None,
    target_space: int = -1,
) -> Iterator[_Walked]:
    """Rays walked, as many at a time as there is room for their crossings."""
    count = len(directions)
    ends, first = np.empty(count, dtype=np.int32), np.empty(count, dtype=np.int32)
    sky, back = np.empty(count, dtype=np.int8), np.empty(count, dtype=np.int8)
    room = count * _ROOM_EACH + 2 * walk.STEPS
    crossed, cosines = np.empty((room, 3), dtype=np.int32), np.empty(room)
    met, stack = np.empty(4 * walk.STEPS, dtype=np.int32), np.empty(DEEP, dtype=np.int32)
    nears = np.empty(DEEP)
    goal = np.zeros(3) if target is None else target
    within = walk.NOWHERE if target is None else target_space
    ray = 0
    while True:
        begin = ray
        ray, filled = walk.follow(
            geometry.tables, starts, directions, home, known, goal, within, begin,
            ends, sky, first, back, crossed, cosines, met, stack, nears,
        )  # fmt: skip
        if ray < 0:
            lost = -1 - ray
            start = starts[lost if len(starts) > 1 else 0]
            raise _lost(geometry, start=start, direction=directions[lost])
        yield _Walked(
            ends=ends[begin:ray],
            sky=sky[begin:ray],
            first=first[begin:ray],
            returned=back[begin:ray],
            crossed=crossed[:filled],
            cosines=cosines[:filled],
        )
        if ray == count:
            return


def _trace(walked: _Walked) -> Trace:
    return Trace(
        start=np.concatenate(([0], walked.ends)).astype(np.int64),
        rows=walked.crossed[:, walk.ROW].copy(),
        cosines=walked.cosines.copy(),
        spaces=walked.crossed[:, walk.SPACE].copy(),
        panels=walked.crossed[:, walk.PANEL].copy(),
        sky=walked.sky.copy(),
        first=walked.first.copy(),
        returned=walked.returned.copy(),
    )


def _joined(parts: Sequence[Trace]) -> Trace:
    if len(parts) == 1:
        return parts[0]
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
