"""Bodies and lines as they are drawn: soft boxes, arrows, fading sides, creases. No 3D library."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from envelope.geometry.plane import Floats, frame_of
from viewer.scene.colours import FURNITURE, SQUARENESS
from viewer.scene.meshes import fill, prism
from viewer.scene.records import Furniture, Mesh, ScenePanel

_BAND_M = 0.25  # about the width of a band of one treatment's colour

Colour: TypeAlias = tuple[float, float, float] | str
Shape: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A filled mesh in one colour."""

    mesh: Mesh
    colour: Colour
    opacity: float = 1.0
    lit: bool = True  # quantities are not: light would pull their colours off the scale
    smooth: bool = False
    fade: Floats | None = None  # (triangles,) opacity of each, where it is not one
    over: bool = False  # drawn before everything that hides it
    of: str = ""  # what it shows, such as a panel's id


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A line drawn as a round bar."""

    points: Floats  # (n, 3)
    radius_m: float
    colour: str
    closed: bool = True
    opacity: float = 1.0
    glows: bool = False
    over: bool = False  # drawn before everything that hides it
    of: str = ""


def dashed(points: Floats, *, long_m: float, closed: bool = True) -> list[Floats]:
    """Dashes (k, 3) along a line (n, 3), and gaps half as long between them.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    long_m : float
        Of a dash.
    closed : bool
        Whether the line goes back to its first point.
    """
    found: list[Floats] = []
    ends = np.roll(points, -1, axis=0) if closed else points[1:]
    for start, end in zip(points, ends, strict=False):
        side = float(np.linalg.norm(end - start))
        if side < 1e-9:
            continue
        # a dash begins and ends each side, so that corners are drawn
        count = max(1, round((side / long_m + 0.5) / 1.5))
        step = 1.0 / (1.5 * count - 0.5)
        for k in range(count):
            part = np.array([[1.5 * k * step], [(1.5 * k + 1.0) * step]])
            found.append(start + part * (end - start))
    return found


def furniture_body(piece: Furniture) -> Body:
    half = tuple(float(size) / 2 for size in piece.size_m)
    if piece.kind in SQUARENESS:
        mesh = superellipsoid(
            (half[0], half[1], half[2]),
            SQUARENESS[piece.kind],
            piece.centre_m,
            piece.heading_rad,
        )
    else:
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half[:2]
        turned = corners @ _turn(piece.heading_rad).T + piece.centre_m[:2]
        mesh = prism(
            Polygon(turned),
            low_m=float(piece.centre_m[2]) - half[2],
            high_m=float(piece.centre_m[2]) + half[2],
        )
    return Body(
        mesh=mesh,
        colour=FURNITURE[piece.kind],
        smooth=piece.kind in SQUARENESS,
        of=piece.kind,
    )


def _turn(angle_rad: float) -> Floats:
    cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[cosine, -sine], [sine, cosine]])


def superellipsoid(
    half_m: tuple[float, float, float], squareness: float, centre_m: Floats, heading_rad: float
) -> Mesh:
    """A soft box: 1 is an ellipsoid, towards 0 a sharp box."""
    rows, columns = 24, 48
    lat = np.linspace(-math.pi / 2, math.pi / 2, rows + 1)[:, np.newaxis]
    lon = np.linspace(0.0, math.tau, columns, endpoint=False)[np.newaxis, :]

    def power(values: Floats) -> Floats:
        raised: Floats = np.sign(values) * np.abs(values) ** squareness
        return raised

    x = half_m[0] * power(np.cos(lat)) * power(np.cos(lon))
    y = half_m[1] * power(np.cos(lat)) * power(np.sin(lon))
    z = half_m[2] * power(np.sin(lat)) * np.ones_like(lon)
    points = np.stack((x, y, z), axis=-1).reshape(-1, 3)
    points[:, :2] = points[:, :2] @ _turn(heading_rad).T
    index = np.arange((rows + 1) * columns).reshape(rows + 1, columns)
    a, b = index[:-1], np.roll(index, -1, axis=1)[:-1]
    c, d = np.roll(index, -1, axis=1)[1:], index[1:]
    triangles = np.concatenate(
        (np.stack((a, b, c), axis=-1).reshape(-1, 3), np.stack((a, c, d), axis=-1).reshape(-1, 3))
    )
    return Mesh(vertices=points + centre_m, triangles=triangles.astype(np.int32))


def arrow(tail: Floats, tip: Floats) -> Mesh:
    """A solid arrow."""
    axis = tip - tail
    length = float(np.linalg.norm(axis))
    axis = axis / length
    side = np.cross(axis, (0.0, 0.0, 1.0) if abs(axis[2]) < 0.9 else (1.0, 0.0, 0.0))
    side = side / np.linalg.norm(side)
    over = np.cross(axis, side)
    turns = np.linspace(0.0, math.tau, 32, endpoint=False)
    circle = np.cos(turns)[:, np.newaxis] * side + np.sin(turns)[:, np.newaxis] * over
    profile = ((0.0, 0.0), (0.0, 0.026), (0.72, 0.026), (0.72, 0.075), (1.0, 0.0))
    points = np.concatenate(
        [tail + axis * along * length + circle * radius * length for along, radius in profile]
    )
    index = np.arange(len(points)).reshape(len(profile), -1)
    a, b = index[:-1], np.roll(index, -1, axis=1)[:-1]
    c, d = np.roll(index, -1, axis=1)[1:], index[1:]
    triangles = np.concatenate(
        (np.stack((a, b, c), axis=-1).reshape(-1, 3), np.stack((a, c, d), axis=-1).reshape(-1, 3))
    )
    return Mesh(vertices=points, triangles=triangles.astype(np.int32))


def fading_sides(
    near: Floats, far: Floats, colour: str, *, most: float, closed: bool = True
) -> Body:
    """Sides between two rings (or two lines), less and less of them."""
    slices, count = 28, len(near)
    steps = np.linspace(0.0, 1.0, slices + 1)[:, np.newaxis, np.newaxis]
    points = ((1 - steps) * near + steps * far).reshape(-1, 3)
    index = np.arange(len(points)).reshape(slices + 1, count)
    sides = count if closed else count - 1
    after = np.roll(index, -1, axis=1)
    a, b = index[:-1, :sides], after[:-1, :sides]
    c, d = after[1:, :sides], index[1:, :sides]
    triangles = np.stack((a, b, c, a, c, d), axis=-1).reshape(-1, 3)
    middle = np.repeat((np.arange(slices) + 0.5) / slices, 2 * sides)
    return Body(
        mesh=Mesh(vertices=points, triangles=triangles.astype(np.int32)),
        colour=colour,
        lit=False,
        fade=most * (1.0 - middle) ** 1.4,
    )


def flat_body(shape: Polygon | MultiPolygon, height_m: float, colour: str, opacity: float) -> Body:
    flat, _, triangles = fill(shape)
    vertices = np.column_stack((flat, np.full(len(flat), height_m)))
    mesh = Mesh(vertices=vertices, triangles=triangles)
    return Body(mesh=mesh, colour=colour, opacity=opacity, lit=False)


def creases(mesh: Mesh) -> list[Floats]:
    """Edges at which a body's faces meet at more than 20°, each (2, 3)."""
    corners, same = np.unique(np.round(mesh.vertices, 5), axis=0, return_inverse=True)
    triangles = same.reshape(-1)[mesh.triangles]
    a, b, c = (corners[triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    sizes = np.linalg.norm(normals, axis=1)
    met: dict[tuple[int, int], list[Floats]] = {}
    for triangle, normal, size in zip(triangles.tolist(), normals, sizes, strict=True):
        if size < 1e-9:
            continue
        for k in range(3):
            i, j = triangle[k], triangle[(k + 1) % 3]
            met.setdefault((min(i, j), max(i, j)), []).append(normal / size)
    limit = math.cos(math.radians(20.0))
    return [
        corners[list(edge)]
        for edge, found in met.items()
        if len(found) == 2 and float(found[0] @ found[1]) < limit
    ]


def proper_lines(lines: Sequence[Line]) -> list[Line]:
    """Lines without corners that lie on one another, and without those that are no line then."""
    found = []
    for line in lines:
        steps = np.linalg.norm(np.diff(line.points, axis=0), axis=1)
        points = line.points[np.concatenate(([True], steps > 1e-5))]
        if line.closed and len(points) > 1 and np.linalg.norm(points[0] - points[-1]) <= 1e-5:
            points = points[:-1]
        if len(points) > 1:
            found.append(replace(line, points=points))
    return found


def plan_shape(mesh: Mesh) -> Shape:
    """Plan of a body: of its triangles that look up."""
    shapes = [Polygon(corners[:, :2]) for corners in mesh.vertices[mesh.triangles]]
    whole: Shape = shapely.union_all([s for s in shapes if s.exterior.is_ccw and s.area > 1e-9])
    return whole


def upright_bands(panel: ScenePanel, *, count: int) -> tuple[Mesh, ...]:
    """A panel cut into upright bands that belong to `count` things in turn, one mesh each."""
    frame = frame_of(panel.outlines[0])
    flat = frame.flatten(panel.mesh.vertices)
    shape = shapely.union_all(shapely.polygons(flat[panel.mesh.triangles]), grid_size=1e-6)
    low_x, low_y, high_x, high_y = shape.bounds
    bands = count * max(2, math.ceil((high_x - low_x) / (count * _BAND_M)))
    edges = np.linspace(low_x, high_x, bands + 1)
    meshes = []
    for turn in range(count):
        strips = [
            shapely.box(edges[k], low_y, edges[k + 1], high_y) for k in range(turn, bands, count)
        ]
        corners, _, triangles = fill(shape.intersection(shapely.union_all(strips)))
        meshes.append(Mesh(vertices=frame.lift(corners), triangles=triangles))
    return tuple(meshes)
