"""What of a picture is seen: a coarse map of depths, so that words stand on what really shows.

A label's line ends on its own face, and a letter stands on the face that it is of, only where no
bed, wall or floor lies before it. The map is of the same bodies that are rendered, a few pixels a
cell; it needs no renderer.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import shapely

from envelope.geometry.plane import Floats
from viewer.scene.records import Mesh
from viewer.scene.shapes import Body
from viewer.scene.view import Camera

_CELL_PX = 3  # pixels across a cell
_CLEAR_M = 0.03  # nearer to the eye than that something lies before a face
_WIDE_PX = 8.0  # least distance of a spot from what hides its face


class DepthMap:
    """How near to the eye what shows lies in each cell of a picture. [m]"""

    def __init__(self, bodies: Iterable[Body], camera: Camera) -> None:
        self._camera = camera
        self._nearest = _nearest(_Hiding.of(bodies, camera))

    def spot(self, mesh: Mesh, *, unit: float = 1.0) -> tuple[float, float] | None:
        """The middle of the widest part of a face that shows; None where too little of it does.

        Parameters
        ----------
        mesh : Mesh
            Of the face.
        unit : float
            Size of type in the picture.
        """
        own = np.full(self._nearest.shape, -np.inf)
        _draw(own, mesh, self._camera)
        shows = (own > -np.inf) & (own >= self._nearest - _CLEAR_M)
        rows, columns = np.nonzero(shows)
        if not len(rows):
            return None
        top, left = rows.min(), columns.min()
        # a rim of nothing, so that a face ends where its cells do
        part = np.pad(shows[top : rows.max() + 1, left : columns.max() + 1], 1)
        reach = 0
        while True:
            inner = part.copy()
            for axis in (0, 1):
                for step in (-1, 1):
                    inner &= np.roll(part, step, axis=axis)
            if not inner.any():
                break
            part = inner
            reach += 1
        if reach * _CELL_PX < _WIDE_PX * unit:
            return None
        inside = np.argwhere(part)
        middle = inside.mean(axis=0)
        row, column = inside[int(np.hypot(*(inside - middle).T).argmin())] - 1
        return (
            (float(left + column) + 0.5) * _CELL_PX,
            (float(top + row) + 0.5) * _CELL_PX,
        )

    def shows(self, point_m: Floats) -> bool:
        """Whether nothing lies before a point (3,)."""
        column, row = (self._camera.project(point_m)[0] / _CELL_PX).astype(int).tolist()
        rows, columns = self._nearest.shape
        if not (0 <= row < rows and 0 <= column < columns):
            return False
        depth = float((point_m - self._camera.target_m) @ self._camera.view.towards_eye)
        return depth >= float(self._nearest[row, column]) - _CLEAR_M


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hiding:
    """What may hide something, equal where it lies alike: plans differ more in colours."""

    alike: bytes
    bodies: tuple[Body, ...] = field(compare=False)
    camera: Camera = field(compare=False)

    @classmethod
    def of(cls, bodies: Iterable[Body], camera: Camera) -> _Hiding:
        hiding = tuple(
            body for body in bodies if body.opacity == 1.0 and body.fade is None and not body.over
        )
        meshes = [(each.mesh.vertices, each.mesh.triangles, each.smooth) for each in hiding]
        return cls(alike=pickle.dumps((camera, meshes)), bodies=hiding, camera=camera)


@lru_cache(maxsize=1)  # pictures of several plans are made one after the other
def _nearest(hiding: _Hiding) -> Floats:
    """How near to the eye what hides lies (rows, columns). [m]"""
    camera = hiding.camera
    nearest = np.full(tuple(-(-side // _CELL_PX) for side in reversed(camera.size)), -np.inf)
    for body in hiding.bodies:
        _draw(nearest, _hull_of(body.mesh, camera) if body.smooth else body.mesh, camera)
    nearest.setflags(write=False)
    return nearest


def _draw(into: Floats, mesh: Mesh, camera: Camera) -> None:
    """Raise the depths (rows, columns) by those of a mesh."""
    if not len(mesh.triangles):
        return
    pixels = camera.project(mesh.vertices) / _CELL_PX - 0.5
    depths = (mesh.vertices - camera.target_m) @ camera.view.towards_eye
    for triangle in mesh.triangles:
        _fill(into, pixels[triangle], depths[triangle])


def _fill(into: Floats, corners: Floats, depths: Floats) -> None:
    """Raise the depths of the cells whose middles lie in a triangle (3, 2)."""
    rows, columns = into.shape
    low = np.maximum(np.ceil(corners.min(axis=0)), 0).astype(int)
    high = np.minimum(np.floor(corners.max(axis=0)), (columns - 1, rows - 1)).astype(int)
    if (low > high).any():
        return
    (ax, ay), (bx, by), (cx, cy) = corners.tolist()
    size = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    if abs(size) < 1e-9:
        return
    x = np.arange(low[0], high[0] + 1)[np.newaxis, :]
    y = np.arange(low[1], high[1] + 1)[:, np.newaxis]
    second = ((x - ax) * (cy - ay) - (y - ay) * (cx - ax)) / size
    third = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / size
    inside = (second >= 0.0) & (third >= 0.0) & (second + third <= 1.0)
    depth = depths[0] + second * (depths[1] - depths[0]) + third * (depths[2] - depths[0])
    part = into[low[1] : high[1] + 1, low[0] : high[0] + 1]
    np.maximum(part, np.where(inside, depth, -np.inf), out=part)


def _hull_of(mesh: Mesh, camera: Camera) -> Mesh:
    """What a soft body hides, as one flat sheet at its middle depth."""
    view = camera.view
    axes = np.array([view.right, view.up, view.towards_eye])
    seen = mesh.vertices @ axes.T
    hull = shapely.convex_hull(shapely.MultiPoint(seen[:, :2]))
    ring = np.asarray(hull.exterior.coords)[:-1]
    flat = np.column_stack((ring, np.full(len(ring), float(seen[:, 2].mean()))))
    fan = [(0, k, k + 1) for k in range(1, len(ring) - 1)]
    return Mesh(vertices=flat @ axes, triangles=np.array(fan, dtype=np.int32))
