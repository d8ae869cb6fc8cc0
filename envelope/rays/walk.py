"""The compiled walk of a ray through a building, space by space, and the loops that call it.

    inside a space    the nearest panel that the ray leaves through wins; its patch says what
                      is crossed and where the ray goes on
    outdoors          the nearest panel met from behind starts a new crossing

    row of a crossing             what it means
    patch                         the patch with everything on both of its sides
    patches + patch               the same entered from inside its wall, through a reveal: without
                                  what is put on its own panel

Every function here is compiled. Lengths in metres from the building's middle (`tables`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from envelope.building.planar import Floats
from envelope.rays import tables as columns
from envelope.rays.blocks import Vector, to_block
from envelope.rays.compiled import compiled, inlined
from envelope.rays.tables import Ints, Tables

Bytes = NDArray[np.int8]
Longs = NDArray[np.int64]
Words = NDArray[np.uint64]

STEPS = 256  # crossings and spaces a ray may pass; a house has a few dozen
GROWTH = 1e-7  # by which polygons reach past their edges, so that no ray slips between two
BESIDE = 1e-6  # how far behind a panel a point may stand by rounding and still leave by it
PARALLEL = 1e-12  # cosine below which a ray runs along a panel and never crosses it
CORNER = 1e-4  # within this of a panel just passed, the next may be one that shares its edge

# what became of a ray
BLOCKED, BELOW, ABOVE, LOST = 0, 1, 2, -1

NOWHERE = -2  # the target's space of a ray that has no target


@inlined
def normal_part(tables: Tables, p: int, vector: Vector) -> float:
    """A vector's component along the panel's normal."""
    row = tables.plane[p]
    part: float = row[0] * vector[0] + row[1] * vector[1] + row[2] * vector[2]
    return part


@inlined
def height_over(tables: Tables, p: int, point: Vector) -> float:
    """How far a point lies before the panel's plane, on the side of its space."""
    height: float = normal_part(tables, p, point) - tables.plane[p, columns.OFFSET]
    return height


@inlined
def ahead(point: Vector, way: Vector, t: float) -> Vector:
    """The point at distance t along a way."""
    return point[0] + t * way[0], point[1] + t * way[1], point[2] + t * way[2]


@inlined
def flat(tables: Tables, p: int, point: Vector) -> tuple[float, float]:
    """A point's place in the panel's frame."""
    row = tables.plane[p]
    a = row[4] * point[0] + row[5] * point[1] + row[6] * point[2] - row[columns.U_OFFSET]
    b = row[8] * point[0] + row[9] * point[1] + row[10] * point[2] - row[columns.V_OFFSET]
    return a, b


@compiled
def outside_by(edges: Floats, start: int, stop: int, a: float, b: float) -> float:
    """How far a flat point lies outside rings of edges; 0 inside (even-odd, half-open)."""
    inside = False
    for k in range(start, stop):
        low, high = edges[k, 1], edges[k, 3]
        if (low > b) != (high > b):
            crossing = edges[k, 0] + (b - low) * (edges[k, 2] - edges[k, 0]) / (high - low)
            if a < crossing:
                inside = not inside
    if inside:
        return 0.0
    least = math.inf
    for k in range(start, stop):
        x, y = edges[k, 0], edges[k, 1]
        along, up = edges[k, 2] - x, edges[k, 3] - y
        square = along * along + up * up
        share = 0.0
        if square > 0.0:
            share = min(1.0, max(0.0, ((a - x) * along + (b - y) * up) / square))
        off_a, off_b = a - x - share * along, b - y - share * up
        least = min(least, off_a * off_a + off_b * off_b)
    return math.sqrt(least)


@inlined
def meets(tables: Tables, p: int, a: float, b: float) -> bool:
    """Whether a point of the panel's plane lies in its polygon, grown a little."""
    row = tables.plane[p]
    if (
        a < row[columns.BOX] - GROWTH
        or b < row[columns.BOX + 1] - GROWTH
        or a > row[columns.BOX + 2] + GROWTH
        or b > row[columns.BOX + 3] + GROWTH
    ):
        return False
    if tables.panel[p, columns.FILLS_BOX] == 1:
        return True
    start, stop = tables.panel[p, columns.EDGE_FROM], tables.panel[p, columns.EDGE_TO]
    return outside_by(tables.edges, start, stop, a, b) <= GROWTH


@compiled
def patch_at(tables: Tables, p: int, a: float, b: float) -> int:
    """The patch of a panel at a point of its frame, or the one least far from it."""
    start, stop = tables.panel[p, columns.PATCH_FROM], tables.panel[p, columns.PATCH_TO]
    best = int(tables.patch_order[start])
    if stop - start == 1:
        return best
    least = math.inf
    for k in range(start, stop):
        patch = int(tables.patch_order[k])
        off = outside_by(
            tables.edges,
            tables.patch[patch, columns.REGION_FROM],
            tables.patch[patch, columns.REGION_TO],
            a,
            b,
        )
        if off < least:
            least, best = off, patch
            if off == 0.0:
                break
    return best


@inlined
def is_among(listed: Ints, start: int, stop: int, item: int) -> bool:
    """Whether an item is in a stretch of a list."""
    found = False
    for k in range(start, stop):
        found = found or listed[k] == item
    return found


@compiled
def reaches(tables: Tables, p: int, other: int, side: float) -> bool:
    """Whether any corner of panel p lies behind (side -1) or before (1) another panel's plane."""
    row = tables.plane[p]
    u = normal_part(tables, other, (row[4], row[5], row[6]))
    v = normal_part(tables, other, (row[8], row[9], row[10]))
    # the frame's origin is the point that has the plane's offset and both axes' offsets
    origin = (
        row[columns.OFFSET] * normal_part(tables, other, (row[0], row[1], row[2]))
        + row[columns.U_OFFSET] * u
        + row[columns.V_OFFSET] * v
        - tables.plane[other, columns.OFFSET]
    )
    for k in range(tables.panel[p, columns.EDGE_FROM], tables.panel[p, columns.EDGE_TO]):
        if side * (origin + tables.edges[k, 0] * u + tables.edges[k, 1] * v) > BESIDE:
            return True
    return False


@compiled
def leave(
    tables: Tables,
    space: int,
    came: int,
    met: Ints,
    count: int,
    point: Vector,
    way: Vector,
) -> tuple[int, float]:
    """The panel through which a ray leaves a space, and how far it is.

    Neither the panel by which it came nor one of `met[:count]`, met on this straight stretch.
    Close to where it came in, a panel wholly behind that one only shares an edge with it.
    A ray that touches a panel met before and misses all others has grazed the space, and leaves by
    that panel; one that misses all of them by rounding leaves by the one that it misses least.
    """
    best, best_t = -1, math.inf
    again, again_t = -1, 0.0
    for p in range(tables.space[space, 0], tables.space[space, 1]):
        along = normal_part(tables, p, way)
        if p == came or along > -PARALLEL:
            continue
        height = height_over(tables, p, point)
        if height < -BESIDE:
            continue
        t = -height / along
        if t >= best_t:
            continue
        a, b = flat(tables, p, ahead(point, way, t))
        if not meets(tables, p, a, b):
            continue
        if is_among(met, 0, count, p):
            if abs(t) < BESIDE:
                again, again_t = p, t
        elif came < 0 or t >= CORNER or reaches(tables, p, came, 1.0):
            best, best_t = p, t
    if best >= 0:
        return best, best_t
    if again >= 0:
        return again, again_t
    least = math.inf
    for p in range(tables.space[space, 0], tables.space[space, 1]):
        along = normal_part(tables, p, way)
        if p == came or along > -PARALLEL or is_among(met, 0, count, p):
            continue
        height = height_over(tables, p, point)
        t = -height / along
        a, b = flat(tables, p, ahead(point, way, t))
        start, stop = tables.panel[p, columns.EDGE_FROM], tables.panel[p, columns.EDGE_TO]
        off = outside_by(tables.edges, start, stop, a, b) + max(0.0, -height)
        if off < least:
            best, best_t, least = p, t, off
    return best, best_t


@inlined
def box_is_met(
    box: Floats,
    point: Vector,
    way: Vector,
    limit: float,
) -> bool:
    """Whether a ray meets a box, grown a little, before `limit`."""
    near, far = 0.0, limit
    for k in range(3):
        along = way[k]
        low, high = box[k] - BESIDE - point[k], box[k + 3] + BESIDE - point[k]
        if along == 0.0:
            if low > 0.0 or high < 0.0:
                return False
        else:
            first, second = low / along, high / along
            near = max(near, min(first, second))
            far = min(far, max(first, second))
    return near <= far


@compiled
def enter(
    tables: Tables,
    left: int,
    barred_host: int,
    met: Ints,
    count: int,
    point: Vector,
    way: Vector,
    limit: float,
) -> tuple[int, float]:
    """The nearest panel met from behind by a ray outdoors before `limit`, else -1.

    Reveals of `barred_host` do not count, nor panels in `met[:count]`. Close to the panel
    `left` by which the ray went outdoors, a panel wholly before it only shares an edge with it.
    """
    best, best_t = -1, limit
    for s in range(len(tables.space)):
        if not box_is_met(tables.space_box[s], point, way, best_t):
            continue
        for p in range(tables.space[s, 0], tables.space[s, 1]):
            along = normal_part(tables, p, way)
            if along < PARALLEL:
                continue
            height = height_over(tables, p, point)
            if height > GROWTH:
                continue
            t = -height / along
            if t >= best_t or is_among(met, 0, count, p):
                continue
            if barred_host >= 0 and tables.panel[p, columns.HOST] == barred_host:
                continue
            a, b = flat(tables, p, ahead(point, way, t))
            if not meets(tables, p, a, b):
                continue
            if left >= 0 and t < CORNER and not reaches(tables, p, left, -1.0):
                continue
            best, best_t = p, t
    return best, best_t


@compiled
def walk(
    tables: Tables, start: Floats, direction: Floats, home: int, known: int, target: Floats,
    target_space: int, rows: Ints, cosines: Floats, spaces: Ints, panels: Ints, met: Ints,
) -> tuple[int, int, int, bool]:  # fmt: skip
    """Follow one ray and write down what it crosses.

    Parameters
    ----------
    start, direction : (3,) float
        Of the ray.
    home : int
        The space in which it starts; -1 outdoors.
    known : int
        The panel by which it leaves that space, where that is known; else -1.
    target : (3,) float
        Where the ray ends, in `target_space`, -1 for outdoors; it is aimed there anew wherever it
        is shifted. With NOWHERE for the space it goes on for ever.
    rows, cosines, spaces, panels : (m,) int, float, int, int
        Row and cosine of each crossing, the space before it (-1 outdoors), and the panel met.
        At least `2 * STEPS` of each must be free.
    met : (4 * STEPS,) int
        To work in.

    Returns
    -------
    end : int
        How far they are filled.
    sky : int
        BLOCKED, BELOW or ABOVE the horizon, or LOST where the walk does not end.
    first : int
        The panel of the home space by which the ray left; `open` panels pass this on. Of a ray
        that starts outdoors, the panel by which it enters.
    returned : bool
        Whether it came back into its home space.
    """
    patches = len(tables.patch)
    point = (start[0], start[1], start[2])
    way = (direction[0], direction[1], direction[2])
    space, came, left, barred = home, -1, -1, -1
    # a straight stretch meets a plane once: what it has met, and from where on it is written down
    at, count, since = 0, 0, 0
    aimed = target_space != NOWHERE
    first, undecided, returned = -1, home >= 0, False
    remaining = math.inf
    for _ in range(STEPS):
        if aimed:
            dx, dy, dz = target[0] - point[0], target[1] - point[1], target[2] - point[2]
            remaining = math.sqrt(dx * dx + dy * dy + dz * dz)
            if remaining > 0.0:
                way = (dx / remaining, dy / remaining, dz / remaining)
        sky = ABOVE if way[2] >= 0.0 else BELOW

        if space < 0:  # outdoors
            if point[2] < tables.grade - GROWTH:
                return at, BLOCKED, first, returned
            to_ground = math.inf
            if way[2] < 0.0:
                to_ground = max(0.0, (tables.grade - point[2]) / way[2])
            wall = to_block(tables.block, tables.block_plane, point, way)
            limit = min(to_ground, remaining, wall)
            p, t = enter(tables, left, barred, met, count, point, way, limit)
            if p < 0:
                if aimed:
                    blocked = min(to_ground, wall) < remaining
                    if target_space >= 0 and not blocked:
                        return at, LOST, first, returned
                else:
                    near = to_ground * math.hypot(way[0], way[1]) <= tables.reach
                    blocked = near or wall < to_ground
                return at, BLOCKED if blocked else sky, first, returned
            point = ahead(point, way, t)
            a, b = flat(tables, p, point)
            patch = patch_at(tables, p, a, b)
            host = tables.panel[p, columns.HOST]
            if host >= 0 and not is_among(met, 0, count, host):  # through its wall
                rows[at] = patches + tables.panel[p, columns.HOST_PATCH]
                cosines[at] = abs(normal_part(tables, host, way))
                spaces[at], panels[at] = -1, host
                at += 1
                met[count] = host
                count += 1
            if not is_among(rows, since, at, tables.patch[patch, columns.PARTNER]):
                rows[at], cosines[at] = patch, normal_part(tables, p, way)
                spaces[at], panels[at] = -1, p
                at += 1
            met[count] = p
            count += 1
            if first < 0:
                first = p
            if tables.patch[patch, columns.BEHIND] == columns.EARTH:
                return at, BLOCKED, first, returned
            space, came = tables.panel[p, columns.SPACE], p
            returned = returned or space == home
            continue

        if known >= 0:
            p, known = known, -1
            height = height_over(tables, p, point)
            t = -height / normal_part(tables, p, way)
        else:
            p, t = leave(tables, space, came, met, count, point, way)
            if p < 0:
                return at, LOST, first, returned
        if space == target_space and remaining <= t:
            return at, sky, first, returned
        point = ahead(point, way, t)
        a, b = flat(tables, p, point)
        patch = patch_at(tables, p, a, b)
        behind = tables.patch[patch, columns.BEHIND]
        if not is_among(met, 0, count, p):
            rows[at], cosines[at] = patch, -normal_part(tables, p, way)
            spaces[at], panels[at] = space, p
            at += 1
            met[count] = p
            count += 1
        if undecided:
            first = p
            undecided = tables.panel[p, columns.PASSES_ON] == 1 and behind == columns.INDOORS

        host = tables.panel[p, columns.HOST]
        left, barred = p, p  # past its own wall a ray meets none of that wall's niches
        if host >= 0:
            onward = -normal_part(tables, host, way)
            if onward >= 0.0:  # outward, through the wall that carries the reveal
                beyond, t = enter(tables, p, -1, met, count, point, way, math.inf)
                row, faced = tables.panel[p, columns.HOST_PATCH], False
                if beyond >= 0:
                    a, b = flat(tables, beyond, ahead(point, way, t))
                    other = patch_at(tables, beyond, a, b)
                    if (
                        tables.patch[other, columns.FAR] == host
                        and tables.patch[other, columns.PARTNER] >= 0
                    ):
                        row, faced = tables.patch[other, columns.PARTNER], True
                if faced:  # a wall counts once
                    counted = is_among(rows, since, at, patches + row)
                else:
                    counted = is_among(met, 0, count, host)
                if not counted:
                    rows[at], cosines[at] = patches + row, onward
                    spaces[at], panels[at] = space, host
                    at += 1
                    met[count] = host
                    count += 1
                if faced:
                    point = ahead(point, way, t)
                    space, came = tables.panel[beyond, columns.SPACE], beyond
                    returned = returned or space == home
                    continue
                if tables.patch[row, columns.BEHIND] == columns.EARTH:
                    return at, BLOCKED, first, returned
                barred = host
            space, came = -1, -1
        elif behind == columns.EARTH:
            return at, BLOCKED, first, returned
        elif behind == columns.INDOORS:
            far = tables.patch[patch, columns.FAR]
            row = tables.plane[p]
            outward = (-row[0], -row[1], -row[2])
            gap = -height_over(tables, far, point) / normal_part(tables, far, outward)
            point = ahead(point, outward, gap)
            space, came = tables.panel[far, columns.SPACE], far
            returned = returned or space == home
            if gap > GROWTH:  # else it goes straight on
                count, since = 0, at
            met[count] = far
            count += 1
        else:
            space, came = -1, -1
    return at, LOST, first, returned


@compiled
def is_hidden(tables: Tables, panel: int, hiders: Ints, start: Floats, direction: Floats) -> bool:
    """Whether a panel of the same space stands between the start and the panel aimed at."""
    point, way = (start[0], start[1], start[2]), (direction[0], direction[1], direction[2])
    t = -height_over(tables, panel, point) / normal_part(tables, panel, way)
    for p in hiders:
        along = normal_part(tables, p, way)
        if along > -PARALLEL:
            continue
        height = height_over(tables, p, point)
        if height + t * along > -GROWTH:  # the point aimed at is not behind it
            continue
        near = -height / along
        a, b = flat(tables, p, ahead(point, way, near))
        start_edge, stop_edge = tables.panel[p, columns.EDGE_FROM], tables.panel[p, columns.EDGE_TO]
        row = tables.plane[p]
        if (
            row[columns.BOX] <= a <= row[columns.BOX + 2]
            and row[columns.BOX + 1] <= b <= row[columns.BOX + 3]
            and outside_by(tables.edges, start_edge, stop_edge, a, b) == 0.0
        ):
            return True
    return False


_SEED = np.uint64(0x9E3779B97F4A7C15)
_MIX = np.uint64(0xBF58476D1CE4E5B9)
_SHIFT = np.uint64(29)


@compiled
def tally(
    tables: Tables, start: Floats, directions: Floats, scrambles: int, space: int, panel: int,
    hiders: Ints, bins: int, begin: int, slots: Ints, hashes: Words, firsts: Ints, skies: Bytes,
    counts: Ints, starts: Ints, entries: Ints,
) -> tuple[int, int, int]:  # fmt: skip
    """Walk rays aimed at one panel and count them by signature.

    Parameters
    ----------
    directions : (n, 3) float
        Of the rays, column by column: the first n / scrambles belong to the first scramble.
    hiders : (k,) int
        Panels of the same space that may stand in between.
    begin : int
        The first ray to take.
    slots : (power of two,) int
        Hash table of signatures, all -1; over twice as long as `hashes`.
    hashes, firsts, skies, counts, starts, entries
        Where the signatures go: one row each, `counts` with a column a scramble, `starts` one
        longer. Entries are row * bins + bin, sorted.

    Returns
    -------
    reached : int
        The first ray not taken, where room ran out; else n. Less than 0: the walk of ray
        -1 - reached does not end.
    signatures, filled : int
        Rows and entries in use.
    """
    rows, panels = np.empty(2 * STEPS, np.int32), np.empty(2 * STEPS, np.int32)
    spaces, cosines = np.empty(2 * STEPS, np.int32), np.empty(2 * STEPS)
    met = np.empty(4 * STEPS, np.int32)
    signatures, filled = 0, 0
    starts[0] = 0
    mask = np.uint64(len(slots) - 1)
    nowhere = min(space, NOWHERE)  # a plain constant would have the walk compiled for itself
    share = len(directions) // scrambles
    for ray in range(begin, len(directions)):
        if signatures == len(hashes) or filled + 2 * STEPS > len(entries):
            return ray, signatures, filled
        direction = directions[ray]
        if is_hidden(tables, panel, hiders, start, direction):
            continue
        end, sky, first, _ = walk(
            tables, start, direction, space, panel, start, nowhere,
            rows, cosines, spaces, panels, met,
        )  # fmt: skip
        if sky == LOST:
            return -1 - ray, signatures, filled
        for k in range(end):  # sorted by insertion: a handful
            code = rows[k] * bins + min(int(cosines[k] * bins), bins - 1)
            place = k
            while place > 0 and rows[place - 1] > code:
                rows[place] = rows[place - 1]
                place -= 1
            rows[place] = code
        mixed = (_SEED ^ np.uint64(first)) * _MIX
        mixed = (mixed ^ (mixed >> _SHIFT) ^ np.uint64(sky)) * _MIX
        for k in range(end):
            mixed = (mixed ^ (mixed >> _SHIFT) ^ np.uint64(rows[k])) * _MIX
        mixed ^= mixed >> _SHIFT
        slot = mixed & mask
        while slots[slot] >= 0 and hashes[slots[slot]] != mixed:
            slot = (slot + np.uint64(1)) & mask
        found = slots[slot]
        if found < 0:
            found = slots[slot] = signatures
            hashes[found], firsts[found], skies[found] = mixed, first, sky
            counts[found] = 0
            for k in range(end):
                entries[filled + k] = rows[k]
            filled += end
            signatures += 1
            starts[signatures] = filled
        counts[found, ray // share] += 1
    return len(directions), signatures, filled


@compiled
def follow(
    tables: Tables, starts: Floats, directions: Floats, home: int, known: Longs, target: Floats,
    target_space: int, begin: int, ends: Ints, skies: Bytes, firsts: Ints, returned: Bytes,
    rows: Ints, cosines: Floats, spaces: Ints, panels: Ints,
) -> tuple[int, int]:  # fmt: skip
    """Walk rays and keep everything that each crosses.

    Parameters are those of `walk`, for rays `begin` and on. Ray i's crossings end at `ends[i]`.

    Returns
    -------
    reached : int
        The first ray not taken, where room ran out; else their number. Less than 0: the walk of
        ray -1 - reached does not end.
    filled : int
        Crossings in use.
    """
    at = 0
    met = np.empty(4 * STEPS, np.int32)
    for ray in range(begin, len(starts)):
        if at + 2 * STEPS > len(rows):
            return ray, at
        end, sky, first, back = walk(
            tables, starts[ray], directions[ray], home, known[ray], target, target_space,
            rows[at:], cosines[at:], spaces[at:], panels[at:], met,
        )  # fmt: skip
        at += end
        if sky == LOST:
            return -1 - ray, at
        ends[ray], skies[ray], firsts[ray], returned[ray] = at, sky, first, back
    return len(starts), at
