"""The compiled walk of rays through a building, space by space.

    inside a space    the nearest panel that the ray leaves through wins; its patch says what
                      is crossed and where the ray goes on
    outdoors          the nearest panel met from behind starts a new crossing
    not modelled      as outdoors, but the ground stops no ray: what stands there is not known, and
                      a level that counts nothing there is never too low

    row of a crossing             what it means
    patch                         the patch with everything on both of its sides
    patches + patch               the same entered from inside its wall, through a reveal: without
                                  what is put on its own panel

Lengths in metres from the building's middle (`tables`).
"""

from __future__ import annotations

import math

from envelope.rays.kernel import arrays as columns
from envelope.rays.kernel.arrays import GROWTH, NONE, Bytes, Floats, Ints, Tables, whole
from envelope.rays.kernel.intersect import (
    enter,
    height_over,
    is_among,
    leave,
    leave_by_least,
    normal_part,
    patch_at,
)
from envelope.rays.kernel.jit import compiled, inlined
from envelope.rays.kernel.obstacles import to_block

STEPS = 256  # crossings and spaces a ray may pass; a house has a few dozen

THICKEST = 0.6  # two panels farther apart than this are not the two sides of one wall [m]
ACROSS = 0.999  # cosine of the angle by which they may be off

# what became of a ray
BLOCKED, BELOW, ABOVE, LOST = 0, 1, 2, -1

# columns of `crossed`
ROW, SPACE, PANEL = 0, 1, 2

NOWHERE = -2  # the target's space of a ray that has no target


@inlined
def is_written(crossed: Ints, start: int, stop: int, row: int) -> bool:
    """Whether a row is in a stretch of what a ray crossed."""
    found = False
    for k in range(start, stop):
        found = found or crossed[k, ROW] == row
    return found


@compiled
def follow(
    tables: Tables, starts: Floats, directions: Floats, home: int, known: Ints, target: Floats,
    target_space: int, begin: int, ends: Ints, skies: Bytes, firsts: Ints, returned: Bytes,
    crossed: Ints, cosines: Floats, met: Ints, stack: Ints, nears: Floats,
) -> tuple[int, int]:  # fmt: skip
    """Walk rays and write down everything that each crosses.

    Parameters
    ----------
    starts, directions : (n, 3) float
        Of the rays; a single start serves all.
    home : int
        The space in which they start; -1 outdoors.
    known : (n,) int
        The panel by which each leaves that space, where that is known; else -1. A single one
        serves all.
    target : (3,) float
        Where they end, in `target_space`, -1 for outdoors; they are aimed there anew wherever they
        are shifted. With NOWHERE for the space they go on for ever.
    begin : int
        The first ray to take.
    ends, skies, firsts, returned : (n,) int
        Of each ray: how far the lists are filled after it; BLOCKED, BELOW or ABOVE the horizon;
        the panel of the home space by which it left (`open` panels pass this on; of a ray that
        starts outdoors, the panel by which it enters); whether it came back into its home space.
    crossed, cosines : (m, 3) int, (m,) float
        Row of each crossing, the space before it (-1 outdoors), the panel met; and its cosine.
    met, stack, nears : (4 * STEPS,) int, (DEEP,) int, (DEEP,) float
        To work in.

    Returns
    -------
    reached : int
        The first ray not taken, where room ran out; else their number. Less than 0: the walk of
        ray -1 - reached does not end.
    filled : int
        Crossings in use.
    """
    plane, panel, patch, node = tables.plane, tables.panel, tables.patch, tables.node
    cuts, sides, band, edges = tables.cuts, tables.sides, tables.band, tables.edges
    patch_box, patch_order, space_rows = tables.patch_box, tables.patch_order, tables.space
    node_box, node_order = tables.node_box, tables.node_order
    node_plane, node_sides = tables.node_plane, tables.node_sides
    root, block, block_plane = tables.root, tables.block, tables.block_plane
    grade, reach, partial = tables.grade, tables.reach, tables.partial
    patches, outdoor_root = len(patch), root[len(root) - 1]
    aimed = target_space != NOWHERE
    each_start, each_known = len(starts) > 1, len(known) > 1
    at = whole(0)
    for ray in range(begin, len(directions)):
        if at + 2 * STEPS > len(crossed):
            return ray, at
        origin = ray if each_start else 0
        px, py, pz = starts[origin, 0], starts[origin, 1], starts[origin, 2]
        wx, wy, wz = directions[ray, 0], directions[ray, 1], directions[ray, 2]
        told = whole(known[ray if each_known else 0])
        space, came, left, barred, owed = home, NONE, NONE, NONE, NONE
        # a straight stretch meets a plane once: what it has met, and from where on it is written
        count, since = whole(0), at
        first, undecided, back_home = NONE, home >= 0, False
        remaining = math.inf
        free = False  # in a part of the house that is not modelled
        for _ in range(STEPS):
            if aimed:
                dx, dy, dz = target[0] - px, target[1] - py, target[2] - pz
                remaining = math.sqrt(dx * dx + dy * dy + dz * dz)
                # not where that would lead back into the wall just passed, to a place in it
                if remaining > 0.0 and (came < 0 or normal_part(plane, came, dx, dy, dz) > 0.0):
                    wx, wy, wz = dx / remaining, dy / remaining, dz / remaining
            sky = ABOVE if wz >= 0.0 else BELOW

            if space < 0:  # outdoors
                buried = not free and pz < grade - GROWTH
                if buried and partial == 0.0:
                    sky = BLOCKED
                    break
                to_ground = math.inf
                if buried:
                    to_ground = 0.0
                elif wz < 0.0 and not free:
                    to_ground = max(0.0, (grade - pz) / wz)
                wall = math.inf
                if len(block) > 0:
                    wall = to_block(block, block_plane, (px, py, pz), (wx, wy, wz))
                limit = min(remaining, wall)
                if partial == 0.0:
                    limit = min(limit, to_ground)
                p, t, here = NONE, limit, NONE
                if left < 0 or panel[left, columns.OUTERMOST] == 0 or barred != left:
                    p, t = enter(
                        plane, panel, cuts, sides, band, edges, node, node_box, node_order,
                        node_plane, outdoor_root, left, barred, owed, met, count, px, py, pz,
                        wx, wy, wz, limit, stack, nears,
                    )  # fmt: skip
                if p >= 0:
                    x, y, z = px + t * wx, py + t * wy, pz + t * wz
                    here = patch_at(plane, panel, patch, patch_box, patch_order, edges, p, x, y, z)
                    if t >= to_ground and patch[here, columns.BEHIND] != columns.UNMODELLED:
                        p = NONE  # under the ground stands only what a part left out is before
                if owed >= 0 and p != owed:
                    # into its own wall and not back out of it: that wall is met all the same
                    host = whole(panel[left, columns.HOST])
                    if not is_among(met, 0, count, host):
                        crossed[at, ROW] = patches + panel[left, columns.HOST_PATCH]
                        crossed[at, SPACE], crossed[at, PANEL] = -1, host
                        cosines[at] = abs(normal_part(plane, host, wx, wy, wz))
                        at += 1
                        met[count] = host
                        count += 1
                owed = NONE
                if p < 0:
                    if aimed:
                        blocked = min(to_ground, wall) < remaining
                        if target_space >= 0 and not blocked:
                            if barred >= 0:
                                barred = NONE  # the target stands in a niche of that wall
                                continue
                            # it is there: rooms may lap by a hair, at whose edge none is entered
                            break
                    else:
                        near = to_ground * math.hypot(wx, wy) <= reach
                        blocked = near or buried or wall < to_ground
                    sky = BLOCKED if blocked else sky
                    break
                px, py, pz = px + t * wx, py + t * wy, pz + t * wz
                host = whole(panel[p, columns.HOST])
                if host >= 0 and not is_among(met, 0, count, host):  # through its wall
                    crossed[at, ROW] = patches + panel[p, columns.HOST_PATCH]
                    crossed[at, SPACE], crossed[at, PANEL] = -1, host
                    cosines[at] = abs(normal_part(plane, host, wx, wy, wz))
                    at += 1
                    met[count] = host
                    count += 1
                # in through one jamb and back through another into the same wall: it counts once
                again = is_among(met, 0, count, p)
                partner = whole(patch[here, columns.PARTNER])
                if not again and not is_written(crossed, since, at, partner):
                    crossed[at, ROW], crossed[at, SPACE], crossed[at, PANEL] = here, -1, p
                    cosines[at] = normal_part(plane, p, wx, wy, wz)
                    at += 1
                met[count] = p
                count += 1
                if first < 0:
                    first = p
                if patch[here, columns.BEHIND] == columns.EARTH:
                    sky = BLOCKED
                    break
                space, came, free = whole(panel[p, columns.SPACE]), p, False
                back_home = back_home or space == home
                continue

            if told >= 0:
                p, told = told, NONE
                height = height_over(plane, p, px, py, pz)
                cosine = -normal_part(plane, p, wx, wy, wz)
                t = height / cosine
            else:
                p, t, cosine = leave(
                    plane, panel, cuts, sides, band, edges, node, node_box, node_order, node_plane,
                    node_sides, root[space], came, met, count, px, py, pz, wx, wy, wz, stack, nears,
                )  # fmt: skip
                if p < 0:
                    p, t, cosine = leave_by_least(
                        plane, panel, edges, space_rows[space, 0], space_rows[space, 1], came,
                        met, count, px, py, pz, wx, wy, wz,
                    )  # fmt: skip
                    if p < 0:
                        sky = LOST
                        break
            if space == target_space and remaining <= t:
                break
            px, py, pz = px + t * wx, py + t * wy, pz + t * wz
            here = patch_at(plane, panel, patch, patch_box, patch_order, edges, p, px, py, pz)
            behind = patch[here, columns.BEHIND]
            if not is_among(met, 0, count, p):
                crossed[at, ROW], crossed[at, SPACE], crossed[at, PANEL] = here, space, p
                cosines[at] = cosine
                at += 1
                met[count] = p
                count += 1
            if undecided:
                first = p
                undecided = panel[p, columns.PASSES_ON] == 1 and behind == columns.INDOORS

            host = whole(panel[p, columns.HOST])
            left, barred = p, p  # past its own wall a ray meets none of that wall's niches
            if host >= 0:
                carrier = whole(panel[p, columns.CARRIER])
                outward = normal_part(plane, carrier, wx, wy, wz) <= 0.0
                beyond = NONE
                if outward or host != carrier:
                    beyond, t = enter(
                        plane, panel, cuts, sides, band, edges, node, node_box, node_order,
                        node_plane, outdoor_root, p, NONE, NONE, met, count, px, py, pz,
                        wx, wy, wz, math.inf, stack, nears,
                    )  # fmt: skip
                if not outward and (host == carrier or beyond == carrier):
                    owed = carrier  # into the wall that carries the reveal, perhaps back out of it
                else:
                    onward = -normal_part(plane, host, wx, wy, wz)
                    row, faced = whole(panel[p, columns.HOST_PATCH]), False
                    if beyond >= 0:
                        x, y, z = px + t * wx, py + t * wy, pz + t * wz
                        other = patch_at(
                            plane, panel, patch, patch_box, patch_order, edges, beyond, x, y, z
                        )
                        partner = whole(patch[other, columns.PARTNER])
                        if patch[other, columns.FAR] == host and partner >= 0:
                            row, faced = partner, True
                    if faced:  # a wall counts once
                        counted = is_written(crossed, since, at, patches + row)
                        counted = counted or is_among(met, 0, count, host)
                    else:
                        counted = is_among(met, 0, count, host)
                        if beyond >= 0 and t * onward < THICKEST:
                            # a panel that looks back at the wall is its other side and counts
                            # it, and so is a reveal that lies in one
                            back = whole(panel[beyond, columns.HOST])
                            if back < 0:
                                back = beyond
                            x, y, z = plane[back, 0], plane[back, 1], plane[back, 2]
                            counted = counted or normal_part(plane, host, x, y, z) < -ACROSS
                    if not counted:
                        crossed[at, ROW], cosines[at] = patches + row, onward
                        crossed[at, SPACE], crossed[at, PANEL] = space, host
                        at += 1
                        met[count] = host
                        count += 1
                    if faced:
                        px, py, pz = px + t * wx, py + t * wy, pz + t * wz
                        space, came = whole(panel[beyond, columns.SPACE]), beyond
                        back_home = back_home or space == home
                        continue
                    if patch[row, columns.BEHIND] == columns.EARTH:
                        sky = BLOCKED
                        break
                    if outward:
                        barred = carrier
                space, came, free = NONE, NONE, behind == columns.UNMODELLED
            elif behind == columns.EARTH:
                sky = BLOCKED
                break
            elif behind == columns.INDOORS:
                far = whole(patch[here, columns.FAR])
                ox, oy, oz = -plane[p, 0], -plane[p, 1], -plane[p, 2]
                gap = -height_over(plane, far, px, py, pz) / normal_part(plane, far, ox, oy, oz)
                px, py, pz = px + gap * ox, py + gap * oy, pz + gap * oz
                space, came = whole(panel[far, columns.SPACE]), far
                back_home = back_home or space == home
                if gap > GROWTH:  # else it goes straight on
                    count, since = whole(0), at
                met[count] = far
                count += 1
            else:
                space, came, free = NONE, NONE, behind == columns.UNMODELLED
        else:
            sky = LOST
        if sky == LOST:
            return -1 - ray, at
        ends[ray], skies[ray], firsts[ray], returned[ray] = at, sky, first, back_home
    return len(directions), at
