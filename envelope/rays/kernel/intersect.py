"""The next panel on a straight ray, found through a tree of boxes. Compiled.

Small functions are compiled into their callers and take plain arrays: handing over the tables, or
a view of one of their rows, costs more than most of them do.
"""

from __future__ import annotations

import math

from envelope.rays.kernel import arrays as columns
from envelope.rays.kernel.arrays import GROWTH, NONE, Boxes, Floats, Ints, whole
from envelope.rays.kernel.jit import called, inlined
from envelope.rays.kernel.polygon_tests import flat_u, flat_v, in_triangle, meets, outside_by

BESIDE = 1e-6  # how far behind a panel a point may stand by rounding and still leave by it
PARALLEL = 1e-12  # cosine below which a ray runs along a panel and never crosses it
FACING = 0.999  # cosine from which two panels lie back to back
CORNER = 1e-4  # within this of a panel just passed, the next may be one that shares its edge
DEEP = 64  # levels of a tree; one of a million panels has twenty
# columns of `Tables.node_box`, of one type for all calls
LEFT_BOX, RIGHT_BOX, LEFT_BALL, RIGHT_BALL = whole(0), whole(6), whole(12), whole(16)
_TINY = 1e-300  # in place of a component that is nought, whose inverse is not a number of use


@inlined
def normal_part(plane: Floats, p: int, x: float, y: float, z: float) -> float:
    """A vector's component along the panel's normal."""
    part: float = plane[p, 0] * x + plane[p, 1] * y + plane[p, 2] * z
    return part


@inlined
def height_over(plane: Floats, p: int, x: float, y: float, z: float) -> float:
    """How far a point lies before the panel's plane, on the side of its space."""
    height: float = plane[p, 0] * x + plane[p, 1] * y + plane[p, 2] * z - plane[p, columns.OFFSET]
    return height


@called
def nearest_patch(
    patch: Ints, patch_box: Floats, patch_order: Ints, edges: Floats, start: int, stop: int,
    a: float, b: float,
) -> int:  # fmt: skip
    """The patch at a point of a panel's frame among several, or the one least far from it."""
    for k in range(start, stop):
        each = patch_order[k]
        if (
            patch_box[each, 0] <= a <= patch_box[each, 2]
            and patch_box[each, 1] <= b <= patch_box[each, 3]
        ):
            return whole(each)
    best = patch_order[start]
    least = math.inf
    for k in range(start, stop):
        each = patch_order[k]
        begin, end = patch[each, columns.REGION_FROM], patch[each, columns.REGION_TO]
        off = outside_by(edges, begin, end, a, b)
        if off < least:
            least, best = off, each
            if off == 0.0:
                break
    return whole(best)


@inlined
def patch_at(
    plane: Floats, panel: Ints, patch: Ints, patch_box: Floats, patch_order: Ints,
    edges: Floats, p: int, x: float, y: float, z: float,
) -> int:  # fmt: skip
    """The patch of a panel at a point on it."""
    start, stop = panel[p, columns.PATCH_FROM], panel[p, columns.PATCH_TO]
    found = whole(panel[p, columns.PATCH])
    if stop - start > 1:
        a, b = flat_u(plane, p, x, y, z), flat_v(plane, p, x, y, z)
        found = nearest_patch(patch, patch_box, patch_order, edges, start, stop, a, b)
    return found


@inlined
def is_among(listed: Ints, start: int, stop: int, item: int) -> bool:
    """Whether an item is in a stretch of a list."""
    found = False
    for k in range(start, stop):
        found = found or listed[k] == item
    return found


@called
def reaches(plane: Floats, panel: Ints, edges: Floats, p: int, other: int, side: float) -> bool:
    """Whether any corner of panel p lies behind (side -1) or before (1) another panel's plane."""
    u = normal_part(plane, other, plane[p, 4], plane[p, 5], plane[p, 6])
    v = normal_part(plane, other, plane[p, 8], plane[p, 9], plane[p, 10])
    # the frame's origin is the point that has the plane's offset and both axes' offsets
    origin = (
        plane[p, columns.OFFSET] * normal_part(plane, other, plane[p, 0], plane[p, 1], plane[p, 2])
        + plane[p, columns.U_OFFSET] * u
        + plane[p, columns.V_OFFSET] * v
        - plane[other, columns.OFFSET]
    )
    for k in range(panel[p, columns.EDGE_FROM], panel[p, columns.EDGE_TO]):
        if side * (origin + edges[k, 0] * u + edges[k, 1] * v) > BESIDE:
            return True
    return False


@inlined
def inverse(x: float) -> float:
    """1 / x, finite for nought."""
    return 1.0 / x if abs(x) > _TINY else math.copysign(1.0 / _TINY, x)


@inlined
def near_of(
    node_box: Boxes, node: int, first: int, px: float, py: float, pz: float,
    ix: float, iy: float, iz: float, limit: float,
) -> float:  # fmt: skip
    """Distance to a child's box, from column `first` of its parent's, along a way given by its
    inverse; infinite where it misses it.
    """
    one, two = (node_box[node, first] - px) * ix, (node_box[node, first + 3] - px) * ix
    near, far = max(0.0, min(one, two)), min(limit, max(one, two))
    one, two = (node_box[node, first + 1] - py) * iy, (node_box[node, first + 4] - py) * iy
    near, far = max(near, min(one, two)), min(far, max(one, two))
    one, two = (node_box[node, first + 2] - pz) * iz, (node_box[node, first + 5] - pz) * iz
    near, far = max(near, min(one, two)), min(far, max(one, two))
    return near if near <= far else math.inf


@inlined
def may_show(node_box: Boxes, node: int, first: int, wx: float, wy: float, wz: float) -> bool:
    """Whether a ray may meet any panel below a child from behind, by the ball of their normals
    from column `first` of its parent's.
    """
    along = node_box[node, first] * wx + node_box[node, first + 1] * wy
    shown: bool = along + node_box[node, first + 2] * wz + node_box[node, first + 3] >= 0.0
    return shown


@inlined
def next_of(stack: Ints, nears: Floats, top: int, limit: float) -> tuple[int, int]:
    """The topmost node on the stack nearer than `limit`, else -1; how high the stack is then."""
    here = NONE
    while top > 0 and here < 0:
        top -= 1
        if nears[top] < limit:
            here = whole(stack[top])
    return here, top


@inlined
def leave(
    plane: Floats, panel: Ints, cuts: Floats, sides: Floats, band: Ints, edges: Floats,
    node: Ints, node_box: Boxes, node_order: Ints, node_plane: Floats, node_sides: Floats,
    root: int, came: int, met: Ints, count: int, px: float, py: float, pz: float, wx: float,
    wy: float, wz: float, stack: Ints, nears: Floats,
) -> tuple[int, float, float]:  # fmt: skip
    """The panel through which a ray leaves a space, how far it is, and the cosine at which the
    ray meets it; -1 where it meets none.

    Not the panel by which it came, nor close to there one of `met[:count]`, met on this straight
    stretch. Farther on such a one has been counted where a niche runs into it, but not passed: a
    sill just above a floor counts the floor, and the ray then leaves the room through it.
    Close to where it came in, a panel wholly behind that one only shares an edge with it.
    A ray that touches a panel met before and misses all others has grazed the space, and leaves by
    that panel.
    """
    best, best_t, best_along = NONE, math.inf, 0.0
    again, again_t, again_along = NONE, 0.0, 0.0
    ix, iy, iz = 0.0, 0.0, 0.0
    if node[root, columns.RIGHT] >= 0:
        ix, iy, iz = inverse(wx), inverse(wy), inverse(wz)
    here, top = whole(root), whole(0)
    while here >= 0:
        right = whole(node[here, columns.RIGHT])
        if right >= 0:
            near, far = here + 1, right
            near_t = near_of(node_box, here, LEFT_BOX, px, py, pz, ix, iy, iz, best_t)
            far_t = near_of(node_box, here, RIGHT_BOX, px, py, pz, ix, iy, iz, best_t)
            if far_t < near_t:
                near, far = far, near
                near_t, far_t = far_t, near_t
            if far_t < best_t:
                stack[top], nears[top] = far, far_t
                top += 1
            if near_t < best_t:
                here = near
                continue
            here, top = next_of(stack, nears, top, best_t)
            continue
        for k in range(whole(node[here, columns.LEAF_FROM]), whole(node[here, columns.LEAF_TO])):
            along = normal_part(node_plane, k, wx, wy, wz)
            if along > -PARALLEL:
                continue
            height = height_over(node_plane, k, px, py, pz)
            if height < -BESIDE:
                continue
            t = -height / along
            if t >= best_t:
                continue
            p = whole(node_order[k])
            triangle = p < 0
            if triangle:
                p = -1 - p
            if p == came:
                continue
            x, y, z = px + t * wx, py + t * wy, pz + t * wz
            if triangle:
                if not in_triangle(node_sides, k, x, y, z):
                    continue
            elif not meets(plane, panel, cuts, sides, band, edges, p, x, y, z):
                continue
            if t < BESIDE and is_among(met, 0, count, p):
                if abs(t) < BESIDE:
                    again, again_t, again_along = p, t, along
            elif came < 0 or t >= CORNER or reaches(plane, panel, edges, p, came, 1.0):
                best, best_t, best_along = p, t, along
        here, top = next_of(stack, nears, top, best_t)
    if best < 0:
        best, best_t, best_along = again, again_t, again_along
    return best, best_t, -best_along


@called
def leave_by_least(
    plane: Floats, panel: Ints, edges: Floats, first: int, last: int, came: int, met: Ints,
    count: int, px: float, py: float, pz: float, wx: float, wy: float, wz: float,
) -> tuple[int, float, float]:  # fmt: skip
    """As `leave`, for a ray that misses all panels of a space by rounding: the one that it misses
    least.
    """
    best, best_t, best_along, least = NONE, math.inf, 0.0, math.inf
    for p in range(whole(first), whole(last)):
        along = normal_part(plane, p, wx, wy, wz)
        if p == came or along > -PARALLEL or is_among(met, 0, count, p):
            continue
        height = height_over(plane, p, px, py, pz)
        t = -height / along
        x, y, z = px + t * wx, py + t * wy, pz + t * wz
        a, b = flat_u(plane, p, x, y, z), flat_v(plane, p, x, y, z)
        start, stop = panel[p, columns.EDGE_FROM], panel[p, columns.EDGE_TO]
        off = outside_by(edges, start, stop, a, b) + max(0.0, -height)
        if off < least:
            best, best_t, best_along, least = p, t, along, off
    return best, best_t, -best_along


@inlined
def enter(
    plane: Floats, panel: Ints, cuts: Floats, sides: Floats, band: Ints, edges: Floats,
    node: Ints, node_box: Boxes, node_order: Ints, node_plane: Floats, root: int, left: int,
    barred_wall: int, owed: int, met: Ints, count: int, px: float, py: float, pz: float, wx: float,
    wy: float, wz: float, limit: float, stack: Ints, nears: Floats,
) -> tuple[int, float]:  # fmt: skip
    """The nearest panel met from behind by a ray outdoors before `limit`, else -1.

    Reveals cut in `barred_wall` do not count, nor, just here, panels in `met[:count]` but `owed`:
    farther on such a one has been counted where a niche runs into it, but not passed. Close to the
    panel `left` by which the ray went outdoors, a panel wholly before it only shares an edge
    with it, unless it lies back to back with it: a sill on a ceiling below, a jamb on a wall.
    """
    best, best_t = NONE, limit
    ix, iy, iz = inverse(wx), inverse(wy), inverse(wz)
    here, top = whole(root), whole(0)
    while here >= 0:
        right = whole(node[here, columns.RIGHT])
        if right >= 0:
            near, far = here + 1, right
            near_t, far_t = math.inf, math.inf
            telling = node[here, columns.TELLING] == 1
            if not telling or may_show(node_box, here, LEFT_BALL, wx, wy, wz):
                near_t = near_of(node_box, here, LEFT_BOX, px, py, pz, ix, iy, iz, best_t)
            if not telling or may_show(node_box, here, RIGHT_BALL, wx, wy, wz):
                far_t = near_of(node_box, here, RIGHT_BOX, px, py, pz, ix, iy, iz, best_t)
            if far_t < near_t:
                near, far = far, near
                near_t, far_t = far_t, near_t
            if far_t < best_t:
                stack[top], nears[top] = far, far_t
                top += 1
            if near_t < best_t:
                here = near
                continue
            here, top = next_of(stack, nears, top, best_t)
            continue
        for k in range(whole(node[here, columns.LEAF_FROM]), whole(node[here, columns.LEAF_TO])):
            along = normal_part(node_plane, k, wx, wy, wz)
            if along < PARALLEL:
                continue
            height = height_over(node_plane, k, px, py, pz)
            if height > GROWTH:
                continue
            t = -height / along
            if t >= best_t:
                continue
            p = whole(node_order[k])
            if p != owed and t < BESIDE and is_among(met, 0, count, p):
                continue
            if barred_wall >= 0 and panel[p, columns.CARRIER] == barred_wall:
                continue
            x, y, z = px + t * wx, py + t * wy, pz + t * wz
            if not meets(plane, panel, cuts, sides, band, edges, p, x, y, z):
                continue
            if left >= 0 and t < CORNER and not reaches(plane, panel, edges, p, left, -1.0):
                across = normal_part(
                    plane, left, node_plane[k, 0], node_plane[k, 1], node_plane[k, 2]
                )
                if across > -FACING:
                    continue
            best, best_t = p, t
        here, top = next_of(stack, nears, top, best_t)
    return best, best_t
