"""Rays aimed at one panel: which arrive, and those that cross the same counted as one. Compiled."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envelope.rays.kernel import arrays as columns
from envelope.rays.kernel.arrays import GROWTH, Bytes, Floats, Ints, Tables, Words, whole
from envelope.rays.kernel.intersect import PARALLEL, height_over, normal_part
from envelope.rays.kernel.jit import compiled
from envelope.rays.kernel.polygon_tests import flat_u, flat_v, outside_by
from envelope.rays.kernel.walk import ROW


@compiled
def mark_hidden(
    tables: Tables, target: int, hiders: Ints, start: Floats, directions: Floats,
    hidden: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Mark the rays (n,) that another panel of the same space keeps from the one aimed at."""
    plane, panel, edges = tables.plane, tables.panel, tables.edges
    px, py, pz = start[0], start[1], start[2]
    for ray in range(len(directions)):
        wx, wy, wz = directions[ray, 0], directions[ray, 1], directions[ray, 2]
        aim = height_over(plane, target, px, py, pz)
        t = -aim / normal_part(plane, target, wx, wy, wz)
        hidden[ray] = False
        for hider in hiders:
            p = whole(hider)
            along = normal_part(plane, p, wx, wy, wz)
            if along > -PARALLEL:
                continue
            height = height_over(plane, p, px, py, pz)
            if height + t * along > -GROWTH:  # the point aimed at is not behind it
                continue
            near = -height / along
            x, y, z = px + near * wx, py + near * wy, pz + near * wz
            a, b = flat_u(plane, p, x, y, z), flat_v(plane, p, x, y, z)
            start_edge, stop_edge = panel[p, columns.EDGE_FROM], panel[p, columns.EDGE_TO]
            if (
                plane[p, columns.BOX] <= a <= plane[p, columns.BOX + 2]
                and plane[p, columns.BOX + 1] <= b <= plane[p, columns.BOX + 3]
                and outside_by(edges, start_edge, stop_edge, a, b) == 0.0
            ):
                hidden[ray] = True
                break


_SEED = np.uint64(0x9E3779B97F4A7C15)
_MIX = np.uint64(0xBF58476D1CE4E5B9)
_SHIFT = np.uint64(29)


@compiled
def count_alike(
    bins: int, scramble: Bytes, ends: Ints, sky_of: Bytes, first_of: Ints, crossed: Ints,
    cosines: Floats, chosen: NDArray[np.bool_], slots: Ints, hashes: Words, firsts: Ints,
    skies: Bytes, counts: Ints, starts: Ints, entries: Ints, of_ray: Ints,
) -> tuple[int, int]:  # fmt: skip
    """Count walked rays by signature.

    Parameters
    ----------
    scramble : (n,) int
        To which one each ray belongs.
    ends, sky_of, first_of, crossed, cosines
        As `follow` wrote them.
    chosen : (n,) bool
        Rays that count.
    slots : (power of two,) int
        Hash table of signatures, all -1; over twice as long as `hashes`, which has room for all.
    hashes, firsts, skies, counts, starts, entries
        Where the signatures go: one row each, `counts` with a column a scramble, `starts` one
        longer. Entries are row * bins + bin, sorted.
    of_ray : (n,) int
        Where the signature of each ray that counts goes.

    Returns
    -------
    signatures, filled : int
        Rows and entries in use.
    """
    signatures, filled, begin = 0, 0, 0
    starts[0] = 0
    mask = np.uint64(len(slots) - 1)
    for ray in range(len(ends)):
        end = ends[ray]
        length = end - begin
        if not chosen[ray]:
            begin = end
            continue
        # sorted by insertion at the end of the list, where it stays if it is new: a handful
        for k in range(length):
            cosine = cosines[begin + k]
            code = crossed[begin + k, ROW] * bins + min(int(cosine * bins), bins - 1)
            place = filled + k
            while place > filled and entries[place - 1] > code:
                entries[place] = entries[place - 1]
                place -= 1
            entries[place] = code
        begin = end
        mixed = (_SEED ^ np.uint64(first_of[ray])) * _MIX
        mixed = (mixed ^ (mixed >> _SHIFT) ^ np.uint64(sky_of[ray])) * _MIX
        for k in range(length):
            mixed = (mixed ^ (mixed >> _SHIFT) ^ np.uint64(entries[filled + k])) * _MIX
        mixed ^= mixed >> _SHIFT
        slot = mixed & mask
        while slots[slot] >= 0 and hashes[slots[slot]] != mixed:
            slot = (slot + np.uint64(1)) & mask
        found = slots[slot]
        if found < 0:
            found = slots[slot] = signatures
            hashes[found], firsts[found], skies[found] = mixed, first_of[ray], sky_of[ray]
            counts[found] = 0
            filled += length
            signatures += 1
            starts[signatures] = filled
        counts[found, scramble[ray]] += 1
        of_ray[ray] = found
    return signatures, filled
