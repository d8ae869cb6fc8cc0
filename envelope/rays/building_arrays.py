"""A building as flat arrays for the compiled walk, its coordinates counted from its middle.

Counting from the middle costs one subtraction and makes a house a kilometre from the origin as
exact as one at it. `kernel/arrays.py` says what each array holds.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.building.model import Building, Panel, Space
from envelope.geometry.plane import Floats, Region
from envelope.rays.kernel.arrays import (
    BANDED,
    BEHIND,
    BOX,
    BOXED,
    CARRIER,
    CONVEX,
    EARTH,
    EDGE_FROM,
    EDGE_TO,
    FAR,
    GROWTH,
    HOST,
    HOST_PATCH,
    INDOORS,
    NORMAL,
    OFFSET,
    OUTDOORS,
    OUTERMOST,
    PART_FROM,
    PART_TO,
    PARTNER,
    PASSES_ON,
    PATCH,
    PATCH_FROM,
    PATCH_TO,
    REGION_FROM,
    REGION_TO,
    SHAPE,
    SPACE,
    U_OFFSET,
    UNMODELLED,
    V_OFFSET,
    Ints,
    Tables,
    U,
    V,
)
from envelope.rays.kernel.bvh import Trees, grow
from envelope.rays.kernel.polygon_tests import bands_of, cuts_of, is_box, lines_of
from envelope.rays.triangulation import filling, seed_of

_BEHIND = {"outdoors": OUTDOORS, "earth": EARTH, "space": INDOORS, "unmodelled": UNMODELLED}


BESIDE = 1e-6  # by which boxes of the trees are larger than what they hold
_ON_ONE_PLANE = 1e-9  # heights above a plane up to which corners lie in it [m]
_SAME_WAY = 0.999  # cosine between two normals from which on they count as one
_FLUSH_M = 0.03  # a reveal no farther from a floor or a ceiling lies in it
_MANY_NORMALS = 500  # more different ones are not looked at for outermost panels


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Geometry:
    """A building's tables with what the aiming needs beside them."""

    tables: Tables
    middle: Floats  # (3,) of the building, in its own coordinates [m]
    radius_m: float  # of a ball about the middle that holds the building
    triangles: tuple[Floats, ...]  # of each panel (k, 3, 3), counted from the middle
    seeds: tuple[int, ...]  # of each panel, for its points


_KEPT: weakref.WeakKeyDictionary[Building, Geometry] = weakref.WeakKeyDictionary()


def geometry_of(building: Building) -> Geometry:
    """Tables of a building; made once for each."""
    found = _KEPT.get(building)
    if found is None:
        found = _KEPT[building] = _make(building)
    return found


def _make(building: Building) -> Geometry:
    panels = building.panels
    corners = np.vstack([panel.outline for panel in panels])
    middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    plane = np.empty((len(panels), 16))
    panel_rows = np.full((len(panels), 16), -1, dtype=np.int32)
    patch_rows = np.full((len(building.patches), 5), -1, dtype=np.int32)
    patch_box = np.tile([np.inf, np.inf, -np.inf, -np.inf], (len(building.patches), 1))
    edges, cuts, order = _Rows(4), _Rows(4), _Rows(1)
    sides, bands = _Rows(4), _Rows(2)
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
        row = panel_rows[index]
        row[EDGE_FROM], row[EDGE_TO] = edges.add(*(_edges(ring) for ring in rings))
        if (cut := cuts_of(rings, growth=GROWTH)) is not None:
            row[SHAPE] = BOXED
            row[PART_FROM], row[PART_TO] = cuts.add(cut)
        elif (lines := lines_of(rings)) is not None:
            row[SHAPE] = CONVEX
            normals = lines[:, :1] * frame.u + lines[:, 1:2] * frame.v
            offsets = lines[:, 2] + normals @ origin - GROWTH
            row[PART_FROM], row[PART_TO] = sides.add(np.column_stack((normals, offsets)))
        else:
            row[SHAPE] = BANDED
            ends, listed = bands_of(np.vstack([_edges(ring) for ring in rings]), growth=GROWTH)
            start, _ = edges.add(listed)
            row[PART_FROM], row[PART_TO] = bands.add(
                start + np.column_stack((np.concatenate(([0], ends[:-1])), ends))
            )
        row[SPACE] = building.space_index[panel.space]
        row[PASSES_ON] = panel.kind == "open"
        patches = building.patches_of[panel.id]
        row[PATCH_FROM], row[PATCH_TO] = order.add(*(np.array([[p.index]]) for p in patches))
        row[PATCH] = patches[0].index
        for patch in patches:
            regions = [_edges(ring) for ring in _rings(patch.regions)]
            if len(regions) == 1 and is_box(regions[0][:, :2]):
                patch_box[patch.index, :2] = regions[0].min(axis=0)[:2]
                patch_box[patch.index, 2:] = regions[0].max(axis=0)[:2]
            patch_row = patch_rows[patch.index]
            patch_row[REGION_FROM], patch_row[REGION_TO] = edges.add(*regions)
            patch_row[BEHIND] = _BEHIND[patch.behind]
            if patch.far is not None:
                patch_row[FAR] = building.panel_index[patch.far]
            if patch.partner is not None:
                patch_row[PARTNER] = patch.partner
    for index, panel in enumerate(panels):
        if panel.kind == "reveal" and panel.host is not None:
            flank = _flank(building, panel)
            panel_rows[index, HOST] = building.panel_index[flank.id]
            panel_rows[index, HOST_PATCH] = _patch_beside(building, panel, flank)
            panel_rows[index, CARRIER] = building.panel_index[panel.host]
    panel_rows[:, OUTERMOST] = _outermost(plane, corners - middle)
    ends = np.cumsum([0, *(len(space.panels) for space in building.spaces)])
    spaces = np.column_stack((ends[:-1], ends[1:])).astype(np.int32)
    trees = _trees(building, middle, spaces, plane[:, NORMAL:OFFSET])
    node_order, node_sides = _triangles_beside(trees.order, panel_rows, sides.all())
    triangles = tuple(filling(panel) - middle for panel in panels)
    lowest = np.array([_lowest(space) for space in building.spaces])[panel_rows[:, SPACE]] - middle
    return Geometry(
        tables=Tables(
            plane=plane,
            panel=panel_rows,
            cuts=cuts.all(),
            sides=sides.all(),
            band=bands.all().astype(np.int32),
            edges=edges.all(),
            patch=patch_rows,
            patch_box=patch_box,
            patch_order=order.all()[:, 0].astype(np.int32),
            space=spaces,
            node=trees.node,
            node_box=trees.node_box,
            node_order=node_order,
            node_plane=np.ascontiguousarray(plane[trees.order, : OFFSET + 1]),
            node_sides=node_sides,
            root=trees.roots,
            block=_block_rows(building),
            block_plane=_block_planes(building, middle),
            grade=float(building.site.grade_m - middle[2]),
            reach=float(building.site.reach_m),
            partial=float((patch_rows[:, BEHIND] == UNMODELLED).any()),
        ),
        middle=middle,
        radius_m=_radius(building, corners, middle),
        triangles=triangles,
        seeds=tuple(map(seed_of, triangles, lowest)),
    )


class _Rows:
    """Rows that come in stretches."""

    def __init__(self, columns: int) -> None:
        self._parts: list[Floats] = [np.empty((0, columns))]
        self._length = 0

    def add(self, *parts: Floats) -> tuple[int, int]:
        """From which row to which the parts come to stand."""
        start = self._length
        self._parts += parts
        self._length += sum(len(part) for part in parts)
        return start, self._length

    def all(self) -> Floats:
        """All rows, in one piece."""
        return np.ascontiguousarray(np.vstack(self._parts))


def _edges(ring: Floats) -> Floats:
    return np.column_stack((ring, np.roll(ring, -1, axis=0)))


def _radius(building: Building, corners: Floats, middle: Floats) -> float:
    radius = float(np.linalg.norm(corners - middle, axis=1).max())
    for obstacle in building.obstacles:  # so that rays from afar start beyond them
        for height in (obstacle.low_m, obstacle.high_m):
            tops = np.column_stack((obstacle.corners, np.full(len(obstacle.corners), height)))
            radius = max(radius, float(np.linalg.norm(tops - middle, axis=1).max()))
    return radius


def _outermost(plane: Floats, corners: Floats) -> NDArray[np.bool_]:
    """Which panels have the whole building on their inner side."""
    normals, which = np.unique(plane[:, NORMAL:OFFSET], axis=0, return_inverse=True)
    if len(normals) > _MANY_NORMALS:
        return np.zeros(len(plane), dtype=bool)
    lowest = np.array([(corners @ normal).min() for normal in normals])
    return np.asarray(plane[:, OFFSET] <= lowest[which.reshape(-1)] + _ON_ONE_PLANE)


def _lowest(space: Space) -> Floats:
    lowest: Floats = np.vstack([panel.outline for panel in space.panels]).min(axis=0)
    return lowest


def _trees(building: Building, middle: Floats, spaces: Ints, normals: Floats) -> Trees:
    rings = [panel.outline for panel in building.panels]
    starts = np.cumsum([0, *(len(ring) for ring in rings[:-1])])
    corners = np.concatenate(rings) - middle
    everywhere = np.arange(len(rings))
    return grow(
        np.minimum.reduceat(corners, starts) - BESIDE,
        np.maximum.reduceat(corners, starts) + BESIDE,
        normals,
        [*(everywhere[low:high] for low, high in spaces), everywhere],
    )


def _triangles_beside(order: Ints, panel_rows: Ints, sides: Floats) -> tuple[Ints, Floats]:
    """Panels as the leaves list them, triangles of the spaces' trees marked; their sides (n, 12).

    In a free-form space a ray tries some ten triangles, and what it waits for is memory.
    """
    marked, count = order.copy(), len(panel_rows)
    rows = panel_rows[order[:count]]  # the spaces' trees come first and hold each panel once
    beside = np.flatnonzero(
        (rows[:, SHAPE] == CONVEX) & (rows[:, PART_TO] - rows[:, PART_FROM] == 3)
    )
    marked[beside] = -1 - order[beside]
    held = np.zeros((count, 12))
    held[beside] = sides[rows[beside, PART_FROM, np.newaxis] + np.arange(3)].reshape(-1, 12)
    return marked, held


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


def _flank(building: Building, reveal: Panel) -> Panel:
    """The panel whose stuff a ray meets that leaves through a reveal.

    That of the wall, but below a doorway that reaches down to the floor it is the floor's, and
    above one that reaches up to the ceiling the ceiling's: no wall is left there.
    """
    assert reveal.host is not None
    host = building.panel(reveal.host)
    for panel in building.space(reveal.space).panels:
        if (
            panel.host is None
            and float(panel.normal @ reveal.normal) > _SAME_WAY
            and abs(float((reveal.outline[0] - panel.frame.origin) @ panel.normal)) < _FLUSH_M
            and _distance(panel, _mouth(reveal, host)) < _FLUSH_M
        ):
            return panel
    return host


def _mouth(reveal: Panel, host: Panel) -> Floats:
    """The middle (3,) of the edge by which a reveal leaves the wall that it is in."""
    heights = (reveal.outline - host.frame.origin) @ host.normal
    touching = reveal.outline[np.abs(heights) < 1e-6]
    middle: Floats = (touching if len(touching) else reveal.outline).mean(axis=0)
    return middle


def _distance(panel: Panel, point: Floats) -> float:
    """From a panel's outline, holes filled, to a point dropped square onto its plane. [m]"""
    import shapely

    outline = shapely.Polygon(panel.frame.flatten(panel.outline))
    return float(outline.distance(shapely.Point(panel.frame.flatten(point[np.newaxis])[0])))


def _patch_beside(building: Building, reveal: Panel, host: Panel) -> int:
    """The patch of the panel behind a reveal that is nearest to where the reveal stands."""
    import shapely

    point = shapely.Point(host.frame.flatten(_mouth(reveal, host)[np.newaxis])[0])
    patches = building.patches_of[host.id]
    gaps = [
        min(shapely.Polygon(outer, holes).distance(point) for outer, holes in patch.regions)
        for patch in patches
    ]
    return patches[int(np.argmin(gaps))].index
