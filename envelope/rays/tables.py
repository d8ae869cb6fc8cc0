"""The building as flat arrays for the compiled walk, its coordinates counted from its middle.

    space ──> panels ──> patches ──> regions        each arrow is a stretch of rows of the next
                 └── outline and holes (edges)

Counting from the middle costs one subtraction and makes a house a kilometre from the origin as
exact as one at it.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from envelope.building.planar import Floats
from envelope.building.records import Building, Panel, Region

Ints = NDArray[np.int32]

# columns of `Tables.plane`: unit normal, its offset (normal·x on the plane), the two axes of the
# flat frame with what to take off to count from its origin, and the box of the outline in it
NORMAL, OFFSET = 0, 3
U, U_OFFSET = 4, 7
V, V_OFFSET = 8, 11
BOX = 12  # smallest a, smallest b, largest a, largest b

# columns of `Tables.panel`
EDGE_FROM, EDGE_TO = 0, 1
PATCH_FROM, PATCH_TO = 2, 3  # into `patch_order`
SPACE = 4
HOST, HOST_PATCH = 5, 6  # of a reveal: its wall, and the wall's patch beside it; else -1
PASSES_ON = 7  # 1 for an `open` panel
FILLS_BOX = 8  # 1 where the polygon is the whole of its box

# columns of `Tables.patch`
REGION_FROM, REGION_TO = 0, 1  # into `edges`
BEHIND = 2
FAR, PARTNER = 3, 4  # panel and patch that face it; else -1

OUTDOORS, EARTH, INDOORS = 0, 1, 2
_BEHIND = {"outdoors": OUTDOORS, "earth": EARTH, "space": INDOORS}


WHOLE = 1e-12  # relative; of a rectangle's area


class Tables(NamedTuple):
    """What the compiled walk reads. Lengths in metres, counted from the building's middle."""

    plane: Floats  # (panels, 16)
    panel: Ints  # (panels, 9)
    edges: Floats  # (edges, 4): from a, b to a, b in the frame of their panel
    patch: Ints  # (patches, 5), in the order of Building.patches
    patch_order: Ints  # (patches,) patches panel by panel
    space: Ints  # (spaces, 2): from which panel to which
    space_box: Floats  # (spaces, 6): smallest and largest corner
    block: Ints  # (blocks, 2): from which side to which, of opaque blocks outdoors
    block_plane: Floats  # (sides, 4): outward normal and offset
    grade: float
    reach: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Geometry:
    """A building's tables with what the aiming needs beside them."""

    tables: Tables
    middle: Floats  # (3,) of the building, in its own coordinates [m]
    radius_m: float  # of a ball about the middle that holds the building
    triangles: tuple[Floats, ...]  # of each panel (k, 3, 3), counted from the middle


_KEPT: weakref.WeakKeyDictionary[Building, Geometry] = weakref.WeakKeyDictionary()


def geometry_of(building: Building) -> Geometry:
    """Tables of a building; made once for each."""
    found = _KEPT.get(building)
    if found is None:
        found = _KEPT[building] = _make(building)
    return found


def _make(building: Building) -> Geometry:
    corners = np.vstack([panel.outline for panel in building.panels])
    middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    radius = float(np.linalg.norm(corners - middle, axis=1).max())
    for obstacle in building.obstacles:  # so that rays from afar start beyond them
        for height in (obstacle.low_m, obstacle.high_m):
            tops = np.column_stack((obstacle.corners, np.full(len(obstacle.corners), height)))
            radius = max(radius, float(np.linalg.norm(tops - middle, axis=1).max()))
    panels = building.panels
    plane = np.empty((len(panels), 16))
    panel_rows = np.full((len(panels), 9), -1, dtype=np.int32)
    edges: list[Floats] = []
    length = 0

    def add(rings: list[Floats]) -> tuple[int, int]:
        nonlocal length
        start = length
        for ring in rings:
            edges.append(np.column_stack((ring, np.roll(ring, -1, axis=0))))
            length += len(ring)
        return start, length

    patch_rows = np.full((len(building.patches), 5), -1, dtype=np.int32)
    order: list[int] = []
    for index, panel in enumerate(panels):
        frame = panel.frame
        origin = frame.origin - middle
        rings = [frame.flatten(ring) for ring in (panel.outline, *panel.holes)]
        plane[index, NORMAL:OFFSET] = frame.normal
        plane[index, OFFSET] = frame.normal @ origin
        plane[index, U:U_OFFSET], plane[index, U_OFFSET] = frame.u, frame.u @ origin
        plane[index, V:V_OFFSET], plane[index, V_OFFSET] = frame.v, frame.v @ origin
        plane[index, BOX : BOX + 2] = rings[0].min(axis=0)
        plane[index, BOX + 2 :] = rings[0].max(axis=0)
        panel_rows[index, EDGE_FROM], panel_rows[index, EDGE_TO] = add(rings)
        panel_rows[index, SPACE] = building.space_index[panel.space]
        panel_rows[index, PASSES_ON] = panel.kind == "open"
        box = float(np.prod(np.ptp(rings[0], axis=0)))
        panel_rows[index, FILLS_BOX] = len(rings[0]) == 4 and abs(box - panel.area_m2) < WHOLE * box
        panel_rows[index, PATCH_FROM] = len(order)
        for patch in building.patches_of[panel.id]:
            order.append(patch.index)
            row = patch_rows[patch.index]
            row[REGION_FROM], row[REGION_TO] = add(_rings(patch.regions))
            row[BEHIND] = _BEHIND[patch.behind]
            if patch.far is not None:
                row[FAR] = building.panel_index[patch.far]
            if patch.partner is not None:
                row[PARTNER] = patch.partner
        panel_rows[index, PATCH_TO] = len(order)
    for index, panel in enumerate(panels):
        if panel.kind == "reveal" and panel.host is not None:
            panel_rows[index, HOST] = building.panel_index[panel.host]
            panel_rows[index, HOST_PATCH] = _patch_beside(building, panel)
    spaces = np.empty((len(building.spaces), 2), dtype=np.int32)
    boxes = np.empty((len(building.spaces), 6))
    start = 0
    for index, space in enumerate(building.spaces):
        spaces[index] = start, start + len(space.panels)
        start += len(space.panels)
        points = np.vstack([panel.outline for panel in space.panels]) - middle
        boxes[index, :3], boxes[index, 3:] = points.min(axis=0), points.max(axis=0)
    return Geometry(
        tables=Tables(
            plane=plane,
            panel=panel_rows,
            edges=np.ascontiguousarray(np.vstack(edges)),
            patch=patch_rows,
            patch_order=np.array(order, dtype=np.int32),
            space=spaces,
            space_box=boxes,
            block=_block_rows(building),
            block_plane=_block_planes(building, middle),
            grade=float(building.site.grade_m - middle[2]),
            reach=float(building.site.reach_m),
        ),
        middle=middle,
        radius_m=radius,
        triangles=tuple(_triangles(panel, middle) for panel in panels),
    )


def _block_rows(building: Building) -> Ints:
    ends = np.cumsum([0, *(len(obstacle.planes) for obstacle in building.obstacles)])
    return np.column_stack((ends[:-1], ends[1:])).astype(np.int32)


def _block_planes(building: Building, middle: Floats) -> Floats:
    if not building.obstacles:
        return np.zeros((0, 4))
    planes = np.vstack([obstacle.planes for obstacle in building.obstacles])
    planes[:, 3] -= planes[:, :3] @ middle
    return planes


def _rings(regions: tuple[Region, ...]) -> list[Floats]:
    return [ring for outer, holes in regions for ring in (outer, *holes)]


def _triangles(panel: Panel, middle: Floats) -> Floats:
    """Triangles (k, 3, 3) that fill a panel and leave its holes free, counted from the middle."""
    import shapely

    frame = panel.frame
    flat = shapely.Polygon(
        frame.flatten(panel.outline), [frame.flatten(hole) for hole in panel.holes]
    )
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(flat))
    rings = np.array([shapely.get_coordinates(piece)[:3] for piece in pieces])
    return frame.lift(rings.reshape(-1, 2)).reshape(-1, 3, 3) - middle


def _patch_beside(building: Building, reveal: Panel) -> int:
    """The patch of a reveal's wall on the side of the opening where the reveal stands."""
    import shapely

    assert reveal.host is not None
    host = building.panel(reveal.host)
    heights = (reveal.outline - host.frame.origin) @ host.normal
    touching = reveal.outline[np.abs(heights) < 1e-6]
    near = (touching if len(touching) else reveal.outline).mean(axis=0, keepdims=True)
    point = shapely.Point(host.frame.flatten(near)[0])
    patches = building.patches_of[host.id]
    gaps = [
        min(shapely.Polygon(outer, holes).distance(point) for outer, holes in patch.regions)
        for patch in patches
    ]
    return patches[int(np.argmin(gaps))].index
