"""Rooms of a file that has no spaces: closed on the plan of each storey by what stands there.

    walls, facades, columns ─┐
    openings and leaves ─────┼─> section at sill height and above ─> what it encloses ─> prisms
    slabs, roofs, coverings ─┴─> heights of floor and ceiling

Where an outline does not close, the room is listed with the place at which it leaks.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from envelope.building.model import Storey
from envelope.exchange.ifc.behind import LIDS, Shell, spots_in
from envelope.exchange.ifc.bodies import Body, SpaceBody, Void
from envelope.exchange.records import Note
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, pieces

UPRIGHT = ("IfcWall", "IfcCurtainWall", "IfcPlate", "IfcColumn", "IfcMember", "IfcBuildingElement")
CUTS_M = (1.0, 1.8)  # over a storey's floor: at the sill of windows, and above doors' handles
CRACK_M = 0.02  # half of the widest gap between walls that comes from drawing
LEAKS_M = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.6)  # half widths of gaps that are looked for
ROOM_M2 = 0.8
ROOM_M = 0.5  # width below which an enclosed strip is a cavity or a shaft
HEIGHT_M = 2.5  # of a room over which the file has nothing; common practice, no source
BELOW_M = 0.5  # a floor farther below its storey belongs to the one under it
SLOPES_M = 0.1
GRID_M = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedRooms:
    """Rooms closed from walls, and what should be known of them."""

    spaces: tuple[SpaceBody, ...]
    notes: tuple[Note, ...]


def rooms_from_walls(
    *, storeys: Sequence[Storey], shell: Sequence[Body], voids: Sequence[Void]
) -> PlannedRooms:
    """Close the rooms of every storey.

    Parameters
    ----------
    storeys : sequence of Storey
        All of the file, from the lowest up.
    shell, voids
        Of the file.
    """
    upright = {body.id: body for body in shell if body.type.startswith(UPRIGHT)}
    sloping = [body.triangles for body in shell if body.type.startswith(("IfcSlab", "IfcRoof"))]
    lids = Shell([body for body in shell if body.type in LIDS])
    spaces: list[SpaceBody] = []
    notes: list[Note] = []
    for number, storey in enumerate(storeys):
        above_m = storeys[number + 1].floor_m if number + 1 < len(storeys) else np.inf
        solid = _section(upright, voids, sloping, storey.floor_m, above_m)
        count = 0
        for area in _enclosed(solid):
            count += 1
            id = f"{storey.id}-room-{count}"
            low, high, told = _heights(lids, area, storey.floor_m, above_m)
            notes.extend(Note(kind="guessed", subject=id, message=text) for text in told)
            spaces.append(_space(id, storey, area, triangles=prism(area, low, high)))
        for area, leak in _leaking(solid):
            count += 1
            id = f"{storey.id}-room-{count}"
            trouble = f"its outline leaks {leak}: draw what closes it there"
            spaces.append(_space(id, storey, area, trouble=trouble))
    return PlannedRooms(spaces=tuple(spaces), notes=tuple(notes))


def _space(
    id: str, storey: Storey, area: Area, *, triangles: Floats | None = None, trouble: str = ""
) -> SpaceBody:
    x, y = inner_point(area)
    return SpaceBody(
        key=id,
        id=id,
        names=(id, f"at {x:.2f}, {y:.2f} m", id),
        storey=storey.id,
        triangles=triangles,
        listed=(),
        trouble=trouble,
        plan=area,
    )


def inner_point(area: Area) -> tuple[float, float]:
    """A point well inside an area. [m]"""
    point = shapely.get_point(shapely.maximum_inscribed_circle(area, 0.05), 0)
    return float(point.x), float(point.y)


def _section(
    upright: Mapping[str, Body],
    voids: Sequence[Void],
    sloping: Sequence[Floats],
    floor_m: float,
    above_m: float,
) -> Area:
    """What stands on a storey, in plan: the sections of all bodies at a few heights, together.

    Openings fill their walls again, no thicker than those, since frames and the holes that are
    drawn reach into the rooms. Roofs count at the lower height alone, where they come down to a
    room's side.
    """
    found: list[Area] = []
    for cut_m in CUTS_M:
        height = floor_m + cut_m
        if height < above_m - 0.1:
            walls = {id: section_of(body.triangles, height) for id, body in upright.items()}
            found.extend(walls.values())
            for void in voids:
                hole = section_of(void.triangles, height)
                host = walls.get(void.host or "")
                if host is not None and not host.is_empty:
                    hole = shapely.intersection(hole, shapely.convex_hull(host))
                found.append(hole)
        if cut_m == CUTS_M[0]:
            found.extend(section_of(triangles, height) for triangles in sloping)
    return shapely.union_all([area for area in found if not area.is_empty])


def section_of(triangles: Floats, height: float) -> Area:
    """The section (x, y) of a body at a height, its surface closed or not.

    Parameters
    ----------
    triangles : (n, 3, 3) float
        Of its surface, wound in any way. [m]
    height : float
        z of the section. [m]
    """
    z = triangles[:, :, 2] - height
    z = np.where(np.abs(z) < 1e-7, 1e-7, z)  # a corner in the plane lies just over it
    cut = (z > 0.0).any(axis=1) & (z < 0.0).any(axis=1)
    ends = []
    for corners, over in zip(triangles[cut], z[cut], strict=True):
        points = []
        for a, b in ((0, 1), (1, 2), (2, 0)):
            if (over[a] > 0.0) != (over[b] > 0.0):
                share = over[a] / (over[a] - over[b])
                points.append(corners[a, :2] + share * (corners[b, :2] - corners[a, :2]))
        ends.append(points)
    if not ends:
        return shapely.Polygon()
    segments = np.asarray(np.round(np.array(ends), 6), dtype=np.float64)
    segments = segments[np.any(segments[:, 0] != segments[:, 1], axis=1)]
    if not len(segments):
        return shapely.Polygon()
    lines = shapely.union_all(shapely.linestrings(segments))
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    inside = [face for face in faces if _is_inside(face, segments)]
    return shapely.union_all(inside)


def _is_inside(face: Area, segments: Floats) -> bool:
    """Whether a face of the arrangement lies within the body: by the parity of a line from it."""
    point = face.representative_point()
    a, b = segments[:, 0] - (point.x, point.y), segments[:, 1] - (point.x, point.y)
    spans = (a[:, 1] > 0.0) != (b[:, 1] > 0.0)
    a, b = a[spans], b[spans]
    crosses = a[:, 0] - a[:, 1] * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1]) > 0.0
    return bool(np.count_nonzero(crosses) % 2)


def _closed(solid: Area, half_m: float) -> Area:
    """What stands, gaps of up to twice the half width closed.

    Square joins keep the corners of rooms and miss gaps that lie across a corner; round ones find
    those, and what they round off elsewhere is left away.
    """
    parts = [solid]
    for style in ("mitre", "round"):
        wide = shapely.buffer(solid, half_m, join_style=style)
        found = shapely.buffer(wide, -half_m, join_style=style)
        before = shapely.union_all(parts)
        filled = pieces(shapely.difference(found, before))
        parts += [part for part in filled if style == "mitre" or _bridges(part, before)]
    return shapely.union_all(parts)


def _bridges(part: Area, solid: Area) -> bool:
    """Whether a filled part joins two stretches of an outline; in a corner it lies along one."""
    along = shapely.intersection(part.exterior, shapely.buffer(solid.boundary, 1e-5))
    return len(shapely.get_parts(shapely.buffer(along, 1e-4))) > 1


def _holes(solid: Area, half_m: float) -> list[Area]:
    """What the plan encloses, from south to north: everything that no way leads out of."""
    if solid.is_empty:
        return []
    closed = _closed(solid, half_m)
    around = shapely.box(*shapely.bounds(closed)).buffer(1.0, join_style="mitre")
    rest = shapely.difference(around, closed)
    found = [
        piece
        for piece in pieces(shapely.set_precision(rest, GRID_M))
        if piece.disjoint(around.exterior) and piece.area >= ROOM_M2
    ]
    rooms = [
        shapely.simplify(piece, 1e-4)
        for piece in found
        if not shapely.buffer(piece, -0.5 * ROOM_M).is_empty
    ]
    return sorted(rooms, key=lambda room: (round(room.centroid.y, 1), round(room.centroid.x, 1)))


def _enclosed(solid: Area) -> list[Area]:
    return _holes(solid, CRACK_M)


def _leaking(solid: Area) -> Iterator[tuple[Area, str]]:
    """Places that would be rooms if gaps were closed, each with where it leaks."""
    known = shapely.union_all(_enclosed(solid))
    for half_m in LEAKS_M:
        filled = shapely.difference(_closed(solid, half_m), _closed(solid, CRACK_M))
        for room in _holes(solid, half_m):
            if shapely.intersection(room, known).area > 0.5 * room.area:
                continue
            known = shapely.union(known, room)
            edge = shapely.buffer(room, 0.01)
            gaps = [gap for gap in pieces(filled) if gap.intersects(edge) and gap.area > 1e-4]
            gaps = [gap for gap in gaps if _opens(room, gap, solid)] or gaps
            spots = " and ".join(
                f"({gap.centroid.x:.2f}, {gap.centroid.y:.2f}) m" for gap in gaps[:3]
            )
            yield room, f"at {spots}, through a gap of up to {2.0 * half_m:.2g} m"


def _opens(room: Area, gap: Area, solid: Area) -> bool:
    """Whether a part that was filled stands in the outline, not in a niche of the room."""
    around = shapely.difference(shapely.buffer(gap, 0.02, join_style="mitre"), solid)
    return any(piece.disjoint(room) for piece in pieces(shapely.difference(around, gap)))


def _heights(
    lids: Shell, area: Area, floor_m: float, above_m: float
) -> tuple[float, float, list[str]]:
    """Floor and ceiling of a room, and what about them was assumed."""
    told: list[str] = []
    spots = spots_in(area, count=6)
    start = np.column_stack((spots, np.full(len(spots), floor_m + CUTS_M[0])))
    lows: list[float] = []
    highs: list[float] = []
    for point in start:
        for sign, found in ((-1.0, lows), (1.0, highs)):
            met = lids.passages(point, np.array([0.0, 0.0, sign]))
            if met:
                found.append(round(float(point[2] + sign * met[0].start_m), 4))
    lows = [low for low in lows if low > floor_m - BELOW_M]
    highs = [high for high in highs if high < above_m + 0.01]
    low = float(np.median(lows)) if lows else floor_m
    if highs:
        high = max(highs)
        if high - min(highs) > SLOPES_M:
            told.append(
                f"its ceiling runs from {min(highs):.2f} to {high:.2f} m: taken as level at the "
                "top, with the roof in it"
            )
    elif np.isfinite(above_m):
        high = above_m
    else:
        high = low + HEIGHT_M
        told.append(f"nothing in the file stands over it: {HEIGHT_M:g} m of height taken")
    return low, max(high, low + 0.5), told


def footprint(triangles: Floats | None) -> Area:
    """What a solid covers in plan."""
    if triangles is None:
        return shapely.Polygon()
    flat = shapely.polygons(triangles[:, :, :2])
    return shapely.union_all(shapely.buffer(flat[shapely.area(flat) > 1e-9], 0.0))


def prism(area: Area, low: float, high: float) -> Floats:
    """Triangles (n, 3, 3) of a plan raised from one height to another, wound outward.

    Parameters
    ----------
    area : Polygon
        With holes where columns stand. [m]
    low, high : float
        Heights of floor and ceiling. [m]
    """
    plan = shapely.geometry.polygon.orient(area, 1.0)
    found = []
    for flat in shapely.get_parts(shapely.constrained_delaunay_triangles(plan)):
        turned = shapely.geometry.polygon.orient(flat, 1.0)
        corners = np.array(turned.exterior.coords)[:3, :2]
        found.append(np.column_stack((corners, np.full(3, high))))
        found.append(np.column_stack((corners[::-1], np.full(3, low))))
    for ring in (plan.exterior, *plan.interiors):
        corners = np.array(ring.coords)[:, :2]
        for (a, b), (c, d) in itertools.pairwise(corners):
            found.append(np.array([(a, b, low), (c, d, low), (c, d, high)]))
            found.append(np.array([(a, b, low), (c, d, high), (a, b, high)]))
    return np.array(found)
