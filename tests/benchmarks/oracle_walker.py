"""A second walker of rays, which shares nothing with the one that is tested.

It knows a house as convex cells (half-spaces), rooms and window niches alike, and a ray as the
stretch of its line in each: no panels, no patches, no tree, no list of what lies where. At every
step it looks at all cells anew. What it goes by:

    through a face of a room       the nearest room that looks at its back, square to the face and
                                   no more than 0.6 m away, is the other side of one element: the
                                   ray goes on there, from the point opposite; else it is outdoors
    out of a niche's end           the pane
    through a niche's other faces  the wall that it stands in, or the floor, ceiling or next wall in
                                   which that face lies (within 30 mm); the ray is outdoors
    in from outdoors               the same, from the other side

A straight stretch meets each surface once, and one that was left through the wall beside a niche
meets nothing of that wall's niches. What comes after a niche's face decides what it was: out of the
wall into the room it was that wall; in through what looks back at a floor in which a sill lies, the
two are one floor.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WALL, INNER, FLOOR, ROOF, PANE, DOOR, OPEN = range(7)
BLOCKED, BELOW, ABOVE, ENDLESS = 0, 1, 2, -1
EPS = 1e-9
LONGEST, STEPS = 32, 200
THICKEST_M = 0.6
LAPPING_M = 5.1e-4  # by which rooms may overlap without being refused
NOWHERE = -2  # the target's space of a ray without one


class Known(NamedTuple):
    """All that the second walker knows of a house."""

    normals: Floats  # (cells, faces, 3) outward; a cell with fewer faces has zeros
    offsets: Floats  # (cells, faces): normals @ x <= offsets inside
    space: Ints  # (cells,)
    host: Ints  # (cells,) of a niche: the surface that it is cut in; else -1
    host_way: Floats  # (cells, 3) of a niche: the host's outward normal
    end: Ints  # (cells,) of a niche: the face that is its pane; else -1
    surface: Ints  # (cells, faces): number of the room's surface; of a niche what it lies in
    code: Ints  # (surfaces,) of one with nothing behind it
    buried: Ints  # (surfaces,) 1 where all of it stands against earth
    hole_low: Floats  # (holes, 3) flush openings
    hole_high: Floats
    hole_code: Ints
    block_low: Floats  # (blocks, 3) obstacles
    block_high: Floats
    grade_m: float
    reach_m: float


@numba.njit(nogil=True)
def _stretch(
    known: Known, k: int, px: float, py: float, pz: float, wx: float, wy: float, wz: float
) -> tuple[float, float, int, int]:
    """From where to where a line is in a cell, and the faces by which it comes and goes."""
    first, last, entry, leaving = -math.inf, math.inf, -1, -1
    for f in range(known.offsets.shape[1]):
        x, y, z = known.normals[k, f, 0], known.normals[k, f, 1], known.normals[k, f, 2]
        along = x * wx + y * wy + z * wz
        room = known.offsets[k, f] - x * px - y * py - z * pz
        if along == 0.0:
            if room < 0.0:
                return math.inf, -math.inf, -1, -1
        elif along < 0.0:
            if room / along > first:
                first, entry = room / along, f
        elif room / along < last:
            last, leaving = room / along, f
    return first, last, entry, leaving


@numba.njit(nogil=True)
def _hole_at(known: Known, x: float, y: float, z: float) -> int:
    for h in range(len(known.hole_code)):
        low, high = known.hole_low[h], known.hole_high[h]
        if (
            low[0] - EPS < x < high[0] + EPS
            and low[1] - EPS < y < high[1] + EPS
            and low[2] - EPS < z < high[2] + EPS
        ):
            return int(known.hole_code[h])
    return -1


@numba.njit(nogil=True)
def _behind(
    known: Known, cell: int, face: int, x: float, y: float, z: float
) -> tuple[int, int, float]:
    """The room's cell that looks at the back of a face, by which face, and how far it is."""
    nx, ny, nz = known.normals[cell, face]
    best, by, near = -1, -1, THICKEST_M + EPS
    for k in range(len(known.space)):
        if known.host[k] >= 0 or k == cell:
            continue
        for f in range(known.offsets.shape[1]):
            mx, my, mz = known.normals[k, f]
            if nx * mx + ny * my + nz * mz > -0.999:
                continue
            gap = mx * x + my * y + mz * z - known.offsets[k, f]
            if gap < -LAPPING_M or gap >= near:
                continue
            gap = max(gap, 0.0)
            qx, qy, qz = x + gap * nx, y + gap * ny, z + gap * nz
            inside = True
            for g in range(known.offsets.shape[1]):
                ox, oy, oz = known.normals[k, g]
                inside &= ox * qx + oy * qy + oz * qz < known.offsets[k, g] + EPS
            if inside:
                best, by, near = k, f, gap
    return best, by, near


@numba.njit(nogil=True)
def _is_met(met: Ints, count: int, surface: int) -> bool:
    found = False
    for k in range(count):
        found = found or met[k] == surface
    return found


@numba.njit(nogil=True)
def _walk(
    known: Known, start: Floats, way: Floats, home: int, target: Floats, target_space: int,
    codes: Ints, met: Ints,
) -> tuple[int, int]:  # fmt: skip
    """Follow one ray; how many codes were written, and what became of it."""
    px, py, pz = start
    wx, wy, wz = way
    aimed = target_space != NOWHERE
    cells = len(known.space)
    cell = -1
    length, count = 0, 0
    barred, owed, own = -1, -1, -1
    inward, ox, oy, oz = False, 0.0, 0.0, 0.0
    if home >= 0:
        for k in range(cells):
            first, last, _, _ = _stretch(known, k, px, py, pz, wx, wy, wz)
            if known.space[k] == home and first < -EPS and last > EPS:
                cell = k
    for _ in range(STEPS):
        remaining = math.inf
        if aimed:
            dx, dy, dz = target[0] - px, target[1] - py, target[2] - pz
            remaining = math.sqrt(dx * dx + dy * dy + dz * dz)
            wx, wy, wz = dx / remaining, dy / remaining, dz / remaining
        sky = ABOVE if wz >= 0.0 else BELOW
        if cell >= 0:
            _, t, _, face = _stretch(known, cell, px, py, pz, wx, wy, wz)
            space = known.space[cell]
            if space == target_space and remaining <= t + EPS:
                return length, sky
            follows = -1
            for k in range(cells):
                if k != cell and known.space[k] == space:
                    first, last, _, _ = _stretch(known, k, px, py, pz, wx, wy, wz)
                    if first <= t + EPS and last > t + EPS:
                        follows = k
            px, py, pz = px + t * wx, py + t * wy, pz + t * wz
            if follows >= 0:
                cell = follows
                continue
            own, barred = cell, -1
            if known.host[cell] >= 0:
                if face == known.end[cell]:
                    codes[length] = PANE
                    length += 1
                else:
                    # what it lies in counts as soon as it is known what comes next
                    hx, hy, hz = known.host_way[cell]
                    owed, inward = known.surface[cell, face], hx * wx + hy * wy + hz * wz < 0.0
                    ox, oy, oz = known.normals[cell, face]
                    if not inward:
                        barred = known.host[cell]
                cell = -1
                continue
            code = _hole_at(known, px, py, pz)
            surface = known.surface[cell, face]
            other, by, gap = _behind(known, cell, face, px, py, pz)
            if code < 0:
                code = known.code[surface]
                if other >= 0:
                    code = FLOOR if abs(known.normals[cell, face, 2]) > 0.5 else INNER
                if not _is_met(met, count, surface):
                    codes[length] = code
                    length += 1
                met[count] = surface
                count += 1
                barred = surface
            else:
                codes[length] = code
                length += 1
            if other >= 0:
                x, y, z = known.normals[cell, face]
                px, py, pz = px + gap * x, py + gap * y, pz + gap * z
                if gap > 1e-7:
                    count = 0
                met[count] = known.surface[other, by]
                count += 1
                cell, barred = other, -1
                continue
            if known.buried[surface] == 1 or pz < known.grade_m:
                return length, BLOCKED
            cell = -1
            continue

        # outdoors
        if pz < known.grade_m - 1e-7:
            return length, BLOCKED
        ground = (known.grade_m - pz) / wz if wz < 0.0 else math.inf
        stop = math.inf
        for b in range(len(known.block_low)):
            near, far = -math.inf, math.inf
            for axis in range(3):
                w = (wx, wy, wz)[axis]
                p = (px, py, pz)[axis]
                one, two = known.block_low[b, axis] - p, known.block_high[b, axis] - p
                if w == 0.0:
                    if one > 0.0 or two < 0.0:
                        near, far = math.inf, -math.inf
                    continue
                near = max(near, min(one / w, two / w))
                far = min(far, max(one / w, two / w))
            if near <= far and near > 0.0:
                stop = min(stop, near)
        into, at, by = -1, min(ground, stop, remaining), -1
        for k in range(cells):
            if k == own or (known.host[k] >= 0 and known.host[k] == barred):
                continue
            first, last, entry, _ = _stretch(known, k, px, py, pz, wx, wy, wz)
            if first >= -EPS and last > first + EPS and first < at:
                into, at, by = k, first, entry
        if owed >= 0:
            once = False
            if into >= 0:
                host = known.host[own]
                if inward and known.host[into] < 0 and known.surface[into, by] == host:
                    # out of its own wall into the room: it was that wall, unless by an opening
                    once = _hole_at(known, px + at * wx, py + at * wy, pz + at * wz) < 0
                elif owed != host and at * (ox * wx + oy * wy + oz * wz) < THICKEST_M:
                    # one floor or wall, from whichever side it is named
                    mx, my, mz = known.normals[into, by]
                    if known.host[into] >= 0 and known.surface[into, by] == known.host[into]:
                        mx, my, mz = known.host_way[into]
                    once = ox * mx + oy * my + oz * mz < -0.999
            if not once:
                if not _is_met(met, count, owed):
                    codes[length] = known.code[owed]
                    length += 1
                met[count] = owed
                count += 1
                if known.buried[owed] == 1:
                    return length, BLOCKED
            owed = -1
        if into < 0:
            if aimed and min(ground, stop) >= remaining:
                if target_space < 0:
                    return length, sky
                if barred < 0:
                    return length, ENDLESS
                barred = -1  # it stands in a niche of the wall that was met
                continue
            if aimed:
                return length, BLOCKED
            near = ground * math.hypot(wx, wy) <= known.reach_m
            return length, BLOCKED if near or stop < ground else sky
        px, py, pz = px + at * wx, py + at * wy, pz + at * wz
        if known.host[into] >= 0:
            if by == known.end[into]:
                codes[length] = PANE
                length += 1
            else:
                lies_in = known.surface[into, by]
                if not _is_met(met, count, lies_in):
                    codes[length] = known.code[lies_in]
                    length += 1
                met[count] = lies_in
                count += 1
        else:
            code = _hole_at(known, px, py, pz)
            surface = known.surface[into, by]
            if code >= 0:
                codes[length] = code
                length += 1
            else:
                if not _is_met(met, count, surface):
                    codes[length] = known.code[surface]
                    length += 1
                met[count] = surface
                count += 1
            if known.buried[surface] == 1 or pz < known.grade_m:
                return length, BLOCKED
        cell, barred = into, -1
    return length, ENDLESS


@numba.njit(nogil=True)
def walk(
    known: Known, starts: Floats, ways: Floats, home: int, target: Floats, target_space: int
) -> tuple[Ints, Ints]:
    """Codes (n, LONGEST) of what rays cross, -1 where there are no more, and their ends (n,)."""
    codes, sky = np.full((len(ways), LONGEST), -1), np.empty(len(ways), dtype=np.int64)
    met = np.empty(4 * STEPS, dtype=np.int64)
    for ray in range(len(ways)):
        start = starts[ray if len(starts) > 1 else 0]
        _, sky[ray] = _walk(known, start, ways[ray], home, target, target_space, codes[ray], met)
    return codes, sky
