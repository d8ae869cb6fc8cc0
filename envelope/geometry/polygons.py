"""Panels as flat polygons in their own frame, where shapely cuts and joins them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from envelope.geometry.plane import Floats, Frame, Region, frozen

WELD_M = 1e-4  # vertices closer than this are one
ROUNDING_M = 1e-9  # corners closer than this differ by rounding alone
HAIR_M = 1e-7  # edges closer than this coincide
CLEAR_M = 1e-3  # a spot this far from an edge is well inside
SLIVER_M2 = 1e-8  # pieces smaller than this come from rounding

_SKEW = np.array([0.7037, 0.5791, 0.4115])  # along no likely wall, no longer than 1

# Any polygonal shapely geometry; shapely is untyped here.
Area = Any
NOTHING: Area = MultiPolygon()


class Outlined(Protocol):
    """Anything with a planar outline and holes, such as a panel."""

    @property
    def frame(self) -> Frame: ...
    @property
    def outline(self) -> Floats: ...
    @property
    def holes(self) -> tuple[Floats, ...]: ...


def first_within(points: Floats, reach_m: float) -> NDArray[np.intp]:
    """For each point (n, d) the index of the first one that stands for it and those around."""
    first = np.arange(len(points))
    for low, high in _near_pairs(points, reach_m).tolist():
        first[high] = min(first[high], first[low])
    return first


def _near_pairs(points: Floats, reach_m: float) -> NDArray[np.intp]:
    """Pairs (k, 2) of points no farther apart than a reach, the lower one first, in rising order.

    Points in order along a skew line are compared with those that follow within the reach; few
    do, since no wall runs square to it. SciPy's tree gives the same; its import takes longer.
    """
    along = points @ _SKEW[: points.shape[1]]
    order = np.argsort(along)
    along = along[order]
    found = [np.empty((0, 2), dtype=np.intp)]
    ahead = np.arange(len(points) - 1)  # of each point left, which follows so many places later
    step = 1
    while len(ahead):
        ahead = ahead[along[ahead + step] - along[ahead] <= reach_m]
        here, there = order[ahead], order[ahead + step]
        near = ((points[here] - points[there]) ** 2).sum(axis=1) <= reach_m**2
        found.append(np.sort(np.column_stack((here, there))[near], axis=1))
        step += 1
        ahead = ahead[ahead < len(points) - step]
    pairs = np.concatenate(found)
    return pairs[np.lexsort(pairs.T[::-1])]


def polygon_of(panel: Outlined, frame: Frame | None = None) -> Area:
    """Polygon of a panel, holes and all, in its own frame or dropped square onto another."""
    onto = panel.frame if frame is None else frame
    return Polygon(onto.flatten(panel.outline), [onto.flatten(hole) for hole in panel.holes])


def spot_inside(area: Area) -> Floats:
    """A spot (2,) well inside a polygon.

    A usual one is found on a level line through the polygon, which where two corners should be
    level and are not for rounding may run along its edge: then it is sought among triangles.
    """
    spots = [area.representative_point()]
    edge = area.boundary
    if edge.distance(spots[0]) < CLEAR_M:
        triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
        spots.extend(shapely.centroid(triangles))
    best = spots[int(np.argmax(shapely.distance(spots, edge)))]
    return np.array([best.x, best.y])


def pieces(area: Area) -> list[Area]:
    """Polygons of any geometry, slivers left out."""
    if area.geom_type == "Polygon":
        return [area] if area.area > SLIVER_M2 else []
    if area.geom_type not in ("MultiPolygon", "GeometryCollection"):
        return []
    return [piece for part in area.geoms for piece in pieces(part)]


def swept(area: Area) -> Area:
    """The same area without slivers, lines and points."""
    found = pieces(area)
    if not found:
        return NOTHING
    return found[0] if len(found) == 1 else MultiPolygon(found)


def _matched(area: Area, other: Area) -> tuple[Area, Area]:
    """Two areas with the edges that coincide in life made to coincide to the last digit.

    They come from different spaces, so that rounding puts them a hair apart; cutting along them
    would leave hairs that join pieces which do not touch. Corners of either that lie on an edge
    of the other are put on both.
    """
    snapped = shapely.snap(area, other, HAIR_M)
    return snapped, shapely.snap(other, snapped, HAIR_M)


def minus(area: Area, other: Area) -> Area:
    """What of an area another one does not cover."""
    one, two = _matched(area, other)
    return swept(one.difference(two)) if one.intersects(two) else area


def common(area: Area, other: Area) -> Area:
    """What two areas share."""
    one, two = _matched(area, other)
    return swept(one.intersection(two)) if one.intersects(two) else NOTHING


def joined(areas: Iterable[Area]) -> Area:
    """Areas taken together."""
    whole: Area = NOTHING
    for area in areas:
        one, two = _matched(whole, area)
        whole = swept(one.union(two))
    return whole


def carried(area: Area, source: Frame, target: Frame) -> Area:
    """An area of one frame dropped square onto another frame's plane."""
    return shapely.transform(area, lambda points: target.flatten(source.lift(points)))


def ring_of(line: Area) -> Floats:
    """Corners (n, 2) of a closed shapely ring, none repeating the one before."""
    corners = np.asarray(line.coords, dtype=np.float64)[:-1, :2]
    step = corners - np.roll(corners, 1, axis=0)
    return corners[np.hypot(step[:, 0], step[:, 1]) > ROUNDING_M]


def regions_of(area: Area) -> tuple[Region, ...]:
    """An area as regions: outer rings counter-clockwise, holes clockwise."""
    found: list[Region] = []
    for piece in pieces(area):
        turned = orient(piece, 1.0)
        holes = tuple(frozen(ring_of(hole)) for hole in turned.interiors)
        found.append((frozen(ring_of(turned.exterior)), holes))
    return tuple(found)
