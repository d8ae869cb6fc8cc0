"""Beams of a scene: a panel's opening swept along a source's rays to where they land.

            far ──────  panel's plane ── near cap
             ╲  fading ╲│           ╲
              ╲  part   ╲  inside    ╲── landings: the other caps
               ╲         ╲            ╲

Where two landings lie at different depths (a bed before a floor) the volume has a step there; the
sides between landings at one depth are left out, so that the volume is one clean closed body.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from envelope.geometry.plane import Floats, Frame, area_vector, frame_of
from viewer.scene.meshes import fill, fill_polygon, pieces_of
from viewer.scene.records import LandingPatch, Mesh, join

_GRID_M = 1e-7  # to which edges that two landings share are drawn together
_ASIDE_M = 1e-5  # how far beside an edge one looks for what lies there


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rays:
    """The rays of one source: all along one direction, or all through one point."""

    direction: Floats | None = None  # (3,) unit vector towards the source
    position_m: Floats | None = None  # (3,)

    def towards(self, points: Floats) -> Floats:
        """Directions (n, 3) from points (n, 3) towards the source, not of unit length."""
        if self.position_m is not None:
            return self.position_m - points
        return np.broadcast_to(np.asarray(self.direction), points.shape)

    def onto(self, points: Floats, *, origin: Floats, normal: Floats) -> Floats | None:
        """Where rays through points (n, 3) meet a plane; None where one runs along it."""
        rays = self.towards(points)
        along = rays @ normal
        if np.any(np.abs(along) < 1e-6 * np.linalg.norm(rays, axis=1)):
            return None
        steps = ((origin - points) @ normal) / along
        met: Floats = points + steps[:, np.newaxis] * rays
        return met


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Swept:
    """A beam's geometry."""

    inside: Mesh
    outside: tuple[tuple[Floats, Floats], ...]
    volume_m3: float


def sweep(
    *,
    frame: Frame,
    outline: Floats,
    polygons: Sequence[Floats],
    rays: Rays,
    length_m: float = 2.6,
) -> Swept:
    """Volume between a panel's plane and the polygons on which its beam lands.

    Parameters
    ----------
    frame : Frame
        Of the panel; its normal points to where the beam goes.
    outline : (n, 3) float
        Of the panel; from here the outside part starts where nothing lands. [m]
    polygons : sequence of (k, 3) float
        Landings. [m]
    rays : Rays
        Of the source.
    length_m : float
        Of the outside part. [m]
    """
    pieces: list[Polygon] = []
    depths: list[Callable[[Floats], Floats]] = []
    for polygon in polygons:
        vector = area_vector(polygon)
        if len(polygon) < 3 or np.linalg.norm(vector) < 1e-10:
            continue
        start = rays.onto(polygon, origin=frame.origin, normal=frame.normal)
        if start is None:
            continue
        flat = shapely.make_valid(Polygon(frame.flatten(start)))
        for piece in pieces_of(flat):
            if piece.area > 1e-8:
                pieces.append(piece)
                depths.append(_landing_on(polygon, vector, rays))
    if not pieces:
        return Swept(inside=join(), outside=(_outside(outline, rays, length_m),), volume_m3=0.0)
    whole = shapely.union_all(pieces, grid_size=_GRID_M)
    rings = []
    for piece in pieces_of(whole.simplify(1e-4)):
        ring = np.asarray(piece.exterior.coords, dtype=np.float64)[:-1, :2]
        rings.append(_outside(frame.lift(ring), rays, length_m))
    inside = join(*_caps(frame, pieces, depths), _sides(frame, pieces, depths))
    return Swept(inside=inside, outside=tuple(rings), volume_m3=inside.volume_m3)


def _landing_on(polygon: Floats, vector: Floats, rays: Rays) -> Callable[[Floats], Floats]:
    origin, normal = polygon[0], vector / np.linalg.norm(vector)

    def land(points: Floats) -> Floats:
        met = rays.onto(points, origin=origin, normal=normal)
        return points if met is None else met

    return land


def _outside(ring: Floats, rays: Rays, length_m: float) -> tuple[Floats, Floats]:
    towards = rays.towards(ring)
    distances = np.linalg.norm(towards, axis=1, keepdims=True)
    length = length_m if rays.position_m is None else min(length_m, 0.9 * float(distances.min()))
    return ring, ring + towards / distances * length


def _caps(
    frame: Frame, pieces: Sequence[Polygon], depths: Sequence[Callable[[Floats], Floats]]
) -> list[Mesh]:
    caps = []
    for piece, land in zip(pieces, depths, strict=True):
        flat, _, triangles = fill(piece)
        near = frame.lift(flat)
        caps.append(Mesh(vertices=near, triangles=triangles[:, ::-1]))
        caps.append(Mesh(vertices=land(near), triangles=triangles))
    return caps


def _sides(
    frame: Frame, pieces: Sequence[Polygon], depths: Sequence[Callable[[Floats], Floats]]
) -> Mesh:
    """Quads along every edge, from the depth of what lies right of it to that of what lies left."""
    lines = shapely.union_all([piece.boundary for piece in pieces], grid_size=_GRID_M)
    edges = []
    for line in getattr(lines, "geoms", (lines,)):
        corners = np.asarray(line.coords, dtype=np.float64)[:, :2]
        edges.append(np.stack((corners[:-1], corners[1:]), axis=1))
    pairs = np.concatenate(edges)  # (n, 2, 2)
    step = pairs[:, 1] - pairs[:, 0]
    size = np.linalg.norm(step, axis=1)
    pairs, step, size = pairs[size > 0], step[size > 0], size[size > 0]
    left = np.column_stack((-step[:, 1], step[:, 0])) / size[:, np.newaxis]
    middle = pairs.mean(axis=1)
    ends = [frame.lift(pairs[:, k]) for k in (0, 1)]
    reached = []
    for side in (1.0, -1.0):
        beside = middle + side * left * np.minimum(_ASIDE_M, 0.25 * size)[:, np.newaxis]
        at = [end.copy() for end in ends]
        for piece, land in zip(pieces, depths, strict=True):
            held = shapely.contains_xy(piece, beside[:, 0], beside[:, 1])
            for k in (0, 1):
                if held.any():
                    at[k][held] = land(ends[k][held])
        reached.append(at)
    (left_a, left_b), (right_a, right_b) = reached
    apart = np.maximum(
        np.linalg.norm(left_a - right_a, axis=1), np.linalg.norm(left_b - right_b, axis=1)
    )
    kept = apart > 1e-6
    corners = np.stack((right_a, right_b, left_b, left_a), axis=1)[kept]
    first = 4 * np.arange(len(corners), dtype=np.int32)[:, np.newaxis, np.newaxis]
    triangles = (first + np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)).reshape(-1, 3)
    return Mesh(vertices=corners.reshape(-1, 3), triangles=triangles)


def landing_patch(*, on: str, area_m2: float, polygons: Sequence[Floats]) -> LandingPatch:
    """The polygons of one landing as one filled patch."""
    meshes: list[Mesh] = []
    rings: list[int] = []
    for polygon in polygons:
        if len(polygon) < 3 or np.linalg.norm(area_vector(polygon)) < 1e-10:
            continue
        mesh, outlines = fill_polygon(frame=frame_of(polygon), outline=polygon)
        meshes.append(mesh)
        rings.extend(outlines)
    return LandingPatch(on=on, area_m2=area_m2, mesh=join(*meshes), rings=tuple(rings))
