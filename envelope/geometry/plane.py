"""Planar polygons in space: area, normal, and the flat frame in which they are cut and filled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# A region in the frame of its panel: outer ring (n, 2), counter-clockwise, and its holes.
Region = tuple[Floats, tuple[Floats, ...]]


def frozen(values: object) -> Floats:
    """Copy to a contiguous float64 array that nobody can change."""
    array = np.array(values, dtype=np.float64, order="C")
    array.setflags(write=False)
    return array


def cross(one: Floats, other: Floats) -> Floats:
    """Cross product of two vectors (3,): numpy's own takes most of its time to look at shapes."""
    (a, b, c), (x, y, z) = one.tolist(), other.tolist()
    return np.array([b * z - c * y, c * x - a * z, a * y - b * x])


def area_vector(ring: Floats) -> Floats:
    """Area of a closed ring times its unit normal (right-hand rule).

    Parameters
    ----------
    ring : (n, 3) float
        Corners, the last not repeating the first. [m]

    Returns
    -------
    vector : (3,) float
        [m²]
    """
    local = ring - ring[0]  # far from the origin the plain cross products would lose digits
    x, y, z = local[1:-1].T
    next_x, next_y, next_z = local[2:].T
    return np.array(
        [
            0.5 * (y @ next_z - z @ next_y),
            0.5 * (z @ next_x - x @ next_z),
            0.5 * (x @ next_y - y @ next_x),
        ]
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """A plane with two axes: ``point = origin + a*u + b*v``, ``normal = u × v``."""

    origin: Floats
    u: Floats
    v: Floats
    normal: Floats

    def flatten(self, points: Floats) -> Floats:
        """Coordinates (n, 2) of points (n, 3) in the plane, their height above it dropped. [m]"""
        local = points - self.origin
        return np.column_stack((local @ self.u, local @ self.v))

    def lift(self, coordinates: Floats) -> Floats:
        """Points (n, 3) of plane coordinates (n, 2). [m]"""
        flat = np.asarray(coordinates, dtype=np.float64)
        return self.origin + flat[:, :1] * self.u + flat[:, 1:] * self.v


def frame_of(outline: Floats) -> Frame:
    """Frame of a planar outline: u horizontal wherever the plane is not, v upward."""
    normal = area_vector(outline)
    normal = normal / np.linalg.norm(normal)
    if abs(normal[2]) > 1.0 - 1e-9:
        u = np.array([1.0, 0.0, 0.0])
    else:
        u = np.array([-normal[1], normal[0], 0.0])
    u = u - (u @ normal) * normal
    u = u / np.linalg.norm(u)
    return Frame(
        origin=frozen(outline[0]),
        u=frozen(u),
        v=frozen(cross(normal, u)),
        normal=frozen(normal),
    )
