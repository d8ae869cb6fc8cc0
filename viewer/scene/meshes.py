"""Bodies of a scene: filled polygons, prisms, the thickness of walls, floors and a bed.

Plain geometry on the building's records; what is made here shows, nothing is computed from it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from envelope.building.model import OPENING_KINDS, Panel, Space
from envelope.building.sources import BED_M, Bed
from envelope.geometry.plane import Floats, Frame
from viewer.scene.records import Furniture, FurnitureKind, Mesh, WallBody, join

STUB_M = 0.10  # height at which a wall that stands before the eye is cut
BASE_M = 0.22  # thickness that a floor is shown with
_SLAB_M = 0.2  # thickness of a bed, which stands on a foot set back by so much
_INSET_M = 0.07
_PILLOW_M = 0.035  # so much of a pillow stands over its bed
DEFAULT_WALL_M = 0.15  # where neither a facing room nor the layers tell


def pieces_of(shape: object) -> list[Polygon]:
    """Polygons of a shapely result, lines and points dropped."""
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    return [piece for part in getattr(shape, "geoms", ()) for piece in pieces_of(part)]


def fill(shape: Polygon | MultiPolygon) -> tuple[Floats, tuple[int, ...], np.ndarray]:
    """Corners, corners in each ring, and triangles of a polygon, counter-clockwise.

    Returns
    -------
    corners : (n, 2) float
    rings : tuple of int
        Corners in each ring; they follow one another.
    triangles : (m, 3) int32
    """
    rings: list[Floats] = []
    triangles: list[tuple[int, int, int]] = []
    count = 0
    for piece in map(orient, pieces_of(shape)):  # the filled side lies left of every ring
        place: dict[tuple[float, float], int] = {}
        for ring in (piece.exterior, *piece.interiors):
            corners = np.asarray(ring.coords, dtype=np.float64)[:-1, :2]
            rings.append(corners)
            for x, y in corners.tolist():
                place.setdefault((x, y), count)
                count += 1
        for triangle in shapely.constrained_delaunay_triangles(piece).geoms:
            a, b, c = np.asarray(triangle.exterior.coords, dtype=np.float64)[:3, :2].tolist()
            if (b[0] - a[0]) * (c[1] - a[1]) < (b[1] - a[1]) * (c[0] - a[0]):
                b, c = c, b
            triangles.append((place[a[0], a[1]], place[b[0], b[1]], place[c[0], c[1]]))
    corners = np.concatenate(rings) if rings else np.empty((0, 2))
    return (
        corners,
        tuple(len(ring) for ring in rings),
        np.array(triangles, dtype=np.int32).reshape(-1, 3),
    )


def fill_polygon(
    *, frame: Frame, outline: Floats, holes: Sequence[Floats] = ()
) -> tuple[Mesh, tuple[int, ...]]:
    """Triangles of a planar polygon in space, seen from where its normal points, and its rings."""
    shape = Polygon(frame.flatten(outline))
    if holes:
        shape = shape.difference(
            shapely.union_all([Polygon(frame.flatten(hole)) for hole in holes])
        )
    if not shape.is_valid:
        shape = shapely.make_valid(shape)
    flat, rings, triangles = fill(shape)
    return Mesh(vertices=frame.lift(flat), triangles=triangles), rings


def centre_of(mesh: Mesh) -> Floats:
    """Centre (3,) of a mesh's area. [m]"""
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    weights = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    if weights.sum() == 0.0:
        middle: Floats = mesh.vertices.mean(axis=0)
        return middle
    centre: Floats = ((a + b + c) / 3.0 * weights[:, np.newaxis]).sum(axis=0) / weights.sum()
    return centre


def well_inside(frame: Frame, mesh: Mesh, rings: Sequence[int]) -> Floats:
    """A point (3,) inside a filled polygon, as far from its edges as can be. [m]"""
    centre = centre_of(mesh)
    if list(rings) == [4] or not rings:
        return centre
    flat = frame.flatten(mesh.vertices)
    ends = np.cumsum(rings)
    outlines = [Polygon(flat[end - count : end]) for count, end in zip(rings, ends, strict=True)]
    whole = shapely.union_all([shapely.make_valid(Polygon(t)) for t in flat[mesh.triangles]])
    middle = shapely.Point(frame.flatten(centre[np.newaxis])[0])
    room = 0.12 * min(math.sqrt(outline.area) for outline in outlines)
    if whole.contains(middle) and whole.boundary.distance(middle) > room:
        return centre
    widest = shapely.maximum_inscribed_circle(whole, tolerance=0.02)
    found: Floats = frame.lift(np.asarray(widest.coords[:1]))[0]
    return found


def prism(shape: Polygon | MultiPolygon, *, low_m: float, high_m: float) -> Mesh:
    """Closed body over a plan shape, wound outward."""
    flat, rings, triangles = fill(shape)
    count = len(flat)
    vertices = np.concatenate([np.column_stack((flat, np.full(count, z))) for z in (low_m, high_m)])
    faces = [triangles[:, ::-1], triangles + count]
    start = 0
    for size in rings:
        first = start + np.arange(size)
        second = start + (np.arange(size) + 1) % size
        faces.append(np.column_stack((first, second, second + count)))
        faces.append(np.column_stack((first, second + count, first + count)))
        start += size
    return Mesh(vertices=vertices, triangles=np.concatenate(faces).astype(np.int32))


def _signed_area(ring: Floats) -> float:
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum())


def footprint(space: Space) -> Polygon | MultiPolygon:
    """Plan shape of a room: its floors less what stands free in them, else all its panels.

    Openings in a floor are not cut out.
    """
    floors = [panel for panel in space.panels if panel.kind == "floor"]
    shapes = [Polygon(panel.outline[:, :2]) for panel in floors or space.panels]
    whole = shapely.union_all([shape for shape in shapes if shape.is_valid and shape.area > 1e-6])
    filled = shapely.union_all(
        [
            Polygon(panel.outline[:, :2]).buffer(1e-6)
            for panel in space.panels
            if panel.kind in OPENING_KINDS or panel.kind == "seam"
            if abs(float(panel.normal[2])) > 0.5
        ]
    )
    for floor in floors:
        for hole in map(Polygon, (hole[:, :2] for hole in floor.holes)):
            if hole.is_valid and hole.intersection(filled).area < 0.5 * hole.area:
                whole = whole.difference(hole)  # a column or a chimney stands there
    return MultiPolygon(pieces_of(whole)) if len(pieces_of(whole)) != 1 else pieces_of(whole)[0]


def is_upright(panel: Panel) -> bool:
    """Whether a panel is a wall that stands upright."""
    return panel.kind == "wall" and abs(float(panel.normal[2])) < 0.02


def wall_bodies(space: Space, *, thickness_m: Mapping[str, float]) -> tuple[WallBody, ...]:
    """Standing and cut bodies of a room's upright walls, mitred where they meet."""
    walls = [panel for panel in space.panels if is_upright(panel)]
    ends = {wall.id: _ends(wall) for wall in walls}
    bodies = []
    for wall in walls:
        thickness = thickness_m.get(wall.id, DEFAULT_WALL_M)
        shifts = []
        for end in ends[wall.id]:
            shift = -wall.normal[:2] * thickness
            for other in walls:
                if other is wall:
                    continue
                if min(np.hypot(*(corner - end)) for corner in ends[other.id]) > 1e-3:
                    continue
                met = _mitre(
                    wall.normal[:2],
                    thickness,
                    other.normal[:2],
                    thickness_m.get(other.id, DEFAULT_WALL_M),
                )
                if met is not None:
                    shift = met
                    break
            shifts.append(np.array([shift[0], shift[1], 0.0]))
        bodies.append(_wall_body(wall, space=space, shifts=shifts, thickness_m=thickness))
    return tuple(bodies)


def _ends(wall: Panel) -> tuple[Floats, Floats]:
    """Plan points where a wall begins and ends along its frame's u."""
    along = wall.frame.flatten(wall.outline)[:, 0]
    return wall.outline[int(along.argmin()), :2], wall.outline[int(along.argmax()), :2]


def _mitre(normal: Floats, thickness_m: float, other: Floats, other_m: float) -> Floats | None:
    """Shift of a corner to where the outer faces of two walls meet; None for walls in line."""
    matrix = -np.array([normal, other])
    determinant = float(np.linalg.det(matrix))
    if abs(determinant) < 0.2:  # a mitre sharper than about 12° would be a spike
        return None
    shift: Floats = np.linalg.solve(matrix, np.array([thickness_m, other_m]))
    return shift


def _wall_body(
    wall: Panel, *, space: Space, shifts: Sequence[Floats], thickness_m: float
) -> WallBody:
    frame = wall.frame
    flat = frame.flatten(wall.outline)
    left, right = float(flat[:, 0].min()), float(flat[:, 0].max())
    bottom = float(wall.outline[:, 2].min())

    def outer(points: Floats) -> Floats:
        along = frame.flatten(points)[:, 0]
        moved = points - wall.normal * thickness_m
        for edge, shift in ((left, shifts[0]), (right, shifts[1])):
            at_end = np.abs(along - edge) < 1e-6
            moved[at_end] = points[at_end] + shift
        return moved

    def strip(ring: Floats, *, skip_bottom: bool) -> list[Mesh]:
        quads = []
        out = outer(ring)
        for k in range(len(ring)):
            j = (k + 1) % len(ring)
            if skip_bottom and max(ring[k, 2], ring[j, 2]) < bottom + 1e-6:
                continue
            quads.append(quad(ring[k], out[k], out[j], ring[j]))
        return quads

    # seen from inside, the outline runs counter-clockwise: its strips face away from the wall
    standing = strip(wall.outline, skip_bottom=True)
    lined = [panel.outline for panel in space.panels if panel.kind == "reveal"]
    for hole in wall.holes:
        if any(np.abs(ring - hole[0]).max(axis=1).min() < 1e-6 for ring in lined):
            continue  # the reveal's own panels are its sides
        ring = _counter_clockwise(frame, hole)
        standing += [_flipped(side) for side in strip(ring, skip_bottom=True)]

    gaps = []
    for hole in wall.holes:
        if hole[:, 2].min() < bottom + STUB_M - 1e-6:
            along = frame.flatten(hole)[:, 0]
            gaps.append((float(along.min()), float(along.max())))
    stubs = []
    # what stands on a slope, such as a dormer's cheek, is cut away whole: a stub would float
    start = left if bottom < space.floor_m + STUB_M else right
    for low, high in [*sorted(gaps), (right, right)]:
        if low > start + 1e-6:
            base = frame.lift(np.array([[start, 0.0], [low, 0.0]]))
            base[:, 2] = bottom
            out = outer(base)
            ring = np.array([base[0, :2], base[1, :2], out[1, :2], out[0, :2]])
            stubs.append(prism(Polygon(ring).buffer(0), low_m=bottom, high_m=bottom + STUB_M))
        start = max(start, high)
    return WallBody(
        panel=wall.id,
        space=space.id,
        storey=space.storey,
        normal=wall.normal,
        thickness_m=thickness_m,
        standing=join(*standing),
        stub=join(*stubs),
    )


def quad(a: Floats, b: Floats, c: Floats, d: Floats) -> Mesh:
    """Two triangles."""
    return Mesh(
        vertices=np.array([a, b, c, d], dtype=np.float64),
        triangles=np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32),
    )


def _flipped(mesh: Mesh) -> Mesh:
    return Mesh(vertices=mesh.vertices, triangles=mesh.triangles[:, ::-1])


def _counter_clockwise(frame: Frame, ring: Floats) -> Floats:
    return ring if _signed_area(frame.flatten(ring)) > 0 else ring[::-1]


def outer_footprint(space: Space, *, bodies: Iterable[WallBody]) -> Polygon | MultiPolygon:
    """Plan shape of a room with its walls."""
    shapes: list[Polygon | MultiPolygon] = [footprint(space)]
    by_panel = {panel.id: panel for panel in space.panels}
    for body in bodies:
        wall = by_panel[body.panel]
        plan = body.standing.vertices[:, :2]
        shapes.append(
            shapely.convex_hull(shapely.MultiPoint(np.concatenate((wall.outline[:, :2], plan))))
        )
    whole = shapely.union_all([shape.buffer(1e-4, join_style="mitre") for shape in shapes])
    pieces = [Polygon(piece.exterior) for piece in pieces_of(whole)]
    return MultiPolygon(pieces) if len(pieces) != 1 else pieces[0].simplify(1e-3)


def bed_for(
    *, position_m: Floats, size_m: Floats | None, space: Space, bed: Bed | None = None
) -> tuple[Furniture, ...]:
    """A bed that a receiver may stand for: its box as the mattress, or one with a pillow there.

    Its head lies where the job says, else where a bed would have it.

    A point too low, too high or too near to everything for a bed is shown as a mark alone.
    """
    room = footprint(space)
    if size_m is not None:
        length, width = float(size_m[1]), float(size_m[0])
        heading = math.pi / 2
        if length < width:
            length, width, heading = width, length, 0.0
        if length < 1.2 or width < 0.4 or size_m[2] > 0.8:
            return ()
        top = float(position_m[2] + size_m[2] / 2)
        centre = position_m[:2]
        axis = np.array([math.cos(heading), math.sin(heading)])
        towards = _FROM_HEAD.get(None if bed is None else bed.head)
        turned = (
            float(np.dot((math.cos(towards), math.sin(towards)), axis)) < -0.5
            if towards is not None
            else _distance(room, centre - axis * length / 2)
            > _distance(room, centre + axis * length / 2)
        )
        if turned:
            axis, heading = -axis, heading + math.pi  # the head is where the nearer wall is
        return _bed(centre, axis, heading, length, width, top, space.floor_m)
    height = float(position_m[2]) - space.floor_m
    if not 0.3 <= height <= 1.3:
        return ()
    width, length = BED_M if bed is None else bed.size_m
    best: tuple[float, Floats, float, Floats] | None = None
    stated = _FROM_HEAD.get(None if bed is None else bed.head)
    for turn in _directions(space) if stated is None else (stated,):
        axis = np.array([math.cos(turn), math.sin(turn)])
        for back in (0.30, 0.22, 0.40):
            centre = position_m[:2] + axis * (length / 2 - back)
            body = _rectangle(centre, axis, length, width)
            if not room.buffer(0.06).contains(body):
                continue
            head = _distance(room, position_m[:2] - axis * back)
            side = min(
                _distance(room, centre + turned * width / 2)
                for turned in (np.array([-axis[1], axis[0]]), np.array([axis[1], -axis[0]]))
            )
            cost = head + 0.2 * side
            if best is None or cost < best[0] - 1e-9:
                best = (cost, axis, turn, centre)
    if best is None:
        return ()
    _, axis, turn, centre = best
    top = float(position_m[2]) - 0.12
    return _bed(centre, axis, turn, length, width, top, space.floor_m)


# Which way the feet lie, by the side of the head.
_FROM_HEAD = {"north": -math.pi / 2, "east": math.pi, "south": math.pi / 2, "west": 0.0, None: None}


def _distance(room: Polygon | MultiPolygon, point: Floats) -> float:
    return float(room.boundary.distance(shapely.Point(point)))


def _directions(space: Space) -> list[float]:
    """Headings along and across the longest wall."""
    walls = [panel for panel in space.panels if is_upright(panel)]
    if not walls:
        return [k * math.pi / 2 for k in range(4)]
    longest = max(walls, key=lambda wall: np.hypot(*(_ends(wall)[1] - _ends(wall)[0])))
    first = math.atan2(float(longest.normal[1]), float(longest.normal[0]))
    return [first + k * math.pi / 2 for k in range(4)]


def _rectangle(centre: Floats, axis: Floats, length: float, width: float) -> Polygon:
    across = np.array([-axis[1], axis[0]])
    corners = [
        centre + a * axis * length / 2 + b * across * width / 2
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    return Polygon(corners)


def _bed(
    centre: Floats,
    axis: Floats,
    heading: float,
    length: float,
    width: float,
    top_m: float,
    floor_m: float,
) -> tuple[Furniture, ...]:
    """A slab on a foot, and where the head lies; the head is at the axis' start."""
    rise = top_m - floor_m
    across = np.array([-axis[1], axis[0]])

    def piece(
        kind: FurnitureKind,
        along: float,
        low: float,
        size: tuple[float, float, float],
        off: float = 0.0,
    ) -> Furniture:
        plan = centre + axis * along + across * off
        return Furniture(
            kind=kind,
            centre_m=np.array([plan[0], plan[1], floor_m + low + size[2] / 2]),
            size_m=np.array(size),
            heading_rad=heading,
        )

    foot = max(rise - _SLAB_M, 0.4 * rise)
    pieces = [
        piece("foot", 0.0, 0.0, (length - 2 * _INSET_M, width - 2 * _INSET_M, foot)),
        piece("slab", 0.0, foot, (length, width, rise - foot)),
    ]
    pillows = 2 if width >= 1.3 else 1
    each = min((width - 0.12) / pillows - 0.04, 0.75)
    for k in range(pillows):
        off = (k - (pillows - 1) / 2) * (width / pillows)
        size = (0.36, each, 2 * _PILLOW_M)
        pieces.append(piece("pillow", -length / 2 + 0.27, rise - _PILLOW_M, size, off))
    return tuple(pieces)
