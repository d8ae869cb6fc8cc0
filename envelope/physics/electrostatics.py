"""Potential and field of charged polygons and thin wires in air, in closed form.

Everything is for a charge of one coulomb spread evenly over its polygon or segment, each point
paired with a charge of its own. The polygon's potential is a sum over its edges and its solid
angle (Wilton et al., IEEE Trans. Antennas Propag. 32, 276, 1984, from memory; checked against
quadrature in the tests), the solid angle that of Van Oosterom and Strackee (1983).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from envelope.physics.arrays import VACUUM_PERMITTIVITY_F_M, Floats

__all__ = [
    "COULOMB_M_F",
    "Complexes",
    "Indices",
    "Polygons",
    "distant_field",
    "distant_potential",
    "polygon_field",
    "polygon_potential",
    "segment_field",
    "segment_potential",
    "wire_self_potential",
]

COULOMB_M_F = 1.0 / (4.0 * np.pi * VACUUM_PERMITTIVITY_F_M)  # volts times metres of a coulomb
_ALMOST_ONE = 1.0 - 1e-16  # an edge seen from a point on it
_TINY = 1e-300

Indices = NDArray[np.intp]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Polygons:
    """Flat convex cells of four corners; a triangle repeats its last one."""

    corners: Floats  # (n, 4, 3), in order [m]
    origin: Floats = field(init=False)  # (n, 3), the mean of the corners
    axes: Floats = field(init=False)  # (n, 3, 3): two axes in the plane, and the normal
    flat: Floats = field(init=False)  # (n, 4, 2) corners along the first two axes, anticlockwise
    edges: Floats = field(init=False)  # (n, 4, 3): direction in the plane, and length
    twice: Floats = field(init=False)  # (n, 2): twice the areas of triangles 012 and 023
    area_m2: Floats = field(init=False)  # (n,)

    def __post_init__(self) -> None:
        corners = np.asarray(self.corners, dtype=np.float64).reshape(-1, 4, 3)
        origin = corners.mean(axis=1)
        normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
        normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
        along = corners[:, 1] - corners[:, 0]
        along = along / np.linalg.norm(along, axis=1, keepdims=True)
        axes = np.stack((along, np.cross(normal, along), normal), axis=1)
        flat = np.einsum("nca,nba->ncb", corners - origin[:, np.newaxis], axes[:, :2])
        edges = np.zeros((len(corners), 4, 3))
        sides = np.roll(flat, -1, axis=1) - flat
        lengths = np.hypot(sides[..., 0], sides[..., 1])
        edges[..., :2] = sides / np.maximum(lengths, _TINY)[..., np.newaxis]
        edges[..., 2] = lengths
        twice = np.stack([_twice_area(flat, 0, 1, 2), _twice_area(flat, 0, 2, 3)], axis=1)
        for name, value in (
            ("corners", corners),
            ("origin", origin),
            ("axes", axes),
            ("flat", flat),
            ("edges", edges),
            ("twice", twice),
            ("area_m2", twice.sum(axis=1) / 2.0),
        ):
            array = np.array(value)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    def local(self, points: Floats, which: Indices) -> Floats:
        """Points (m, 3) along the axes of their cells `which` (m,)."""
        along: Floats = np.einsum("mba,ma->mb", self.axes[which], points - self.origin[which])
        return along


def _twice_area(flat: Floats, a: int, b: int, c: int) -> Floats:
    one, other = flat[:, b] - flat[:, a], flat[:, c] - flat[:, a]
    area: Floats = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return area


def _edge_terms(polygons: Polygons, which: Indices, local: Floats) -> tuple[Floats, Floats, Floats]:
    """Distance inside each edge (m, 4), its logarithm (m, 4), and the solid angle (m,)."""
    flat, edges = polygons.flat[which], polygons.edges[which]
    height = np.abs(local[:, 2])
    dx = flat[..., 0] - local[:, 0, np.newaxis]
    dy = flat[..., 1] - local[:, 1, np.newaxis]
    square = (height * height)[:, np.newaxis]
    far = np.sqrt(dx * dx + dy * dy + square)
    inside = dx * edges[..., 1] - dy * edges[..., 0]
    seen = edges[..., 2] / np.maximum(far + np.roll(far, -1, axis=1), _TINY)
    logarithm = 2.0 * np.arctanh(np.minimum(seen, _ALMOST_ONE))
    angle = np.zeros(len(which))
    for number, (a, b, c) in enumerate(((0, 1, 2), (0, 2, 3))):
        ab = dx[:, a] * dx[:, b] + dy[:, a] * dy[:, b] + square[:, 0]
        bc = dx[:, b] * dx[:, c] + dy[:, b] * dy[:, c] + square[:, 0]
        ca = dx[:, c] * dx[:, a] + dy[:, c] * dy[:, a] + square[:, 0]
        below = far[:, a] * far[:, b] * far[:, c] + ab * far[:, c] + bc * far[:, a] + ca * far[:, b]
        angle += 2.0 * np.arctan2(height * polygons.twice[which, number], below)
    return inside, logarithm, angle


def polygon_potential(*, points: Floats, polygons: Polygons, which: Indices) -> Floats:
    """Potential of a coulomb spread evenly over a cell.

    Parameters
    ----------
    points : (m, 3) float
        Where. [m]
    polygons : Polygons
        Cells.
    which : (m,) int
        The cell that acts at each point.

    Returns
    -------
    potential : (m,) float
        [V/C]
    """
    local = polygons.local(points, which)
    inside, logarithm, angle = _edge_terms(polygons, which, local)
    integral = np.einsum("mk,mk->m", inside, logarithm) - np.abs(local[:, 2]) * angle
    potential: Floats = COULOMB_M_F * integral / polygons.area_m2[which]
    return potential


def polygon_field(*, points: Floats, polygons: Polygons, which: Indices) -> Floats:
    """Field of a coulomb spread evenly over a cell, at points off its edges.

    Parameters
    ----------
    points : (m, 3) float
        Where. [m]
    polygons : Polygons
        Cells.
    which : (m,) int
        The cell that acts at each point.

    Returns
    -------
    field : (m, 3) float
        [V/m/C]
    """
    local = polygons.local(points, which)
    _, logarithm, angle = _edge_terms(polygons, which, local)
    edges, axes = polygons.edges[which], polygons.axes[which]
    parts = np.stack(
        (
            np.einsum("mk,mk->m", edges[..., 1], logarithm),
            -np.einsum("mk,mk->m", edges[..., 0], logarithm),
            np.sign(local[:, 2]) * angle,
        ),
        axis=1,
    )
    along: Floats = np.einsum("mb,mba->ma", parts, axes)
    return COULOMB_M_F * along / polygons.area_m2[which][:, np.newaxis]


def segment_potential(*, points: Floats, ends: Floats, radius_m: Floats) -> Floats:
    """Potential of a coulomb spread evenly along a thin wire.

    Parameters
    ----------
    points : (m, 3) float
        Where; a point within the radius counts as on the surface. [m]
    ends : (m, 2, 3) float
        Ends of the wire that acts at each point. [m]
    radius_m : (m,) float
        Its radius. [m]

    Returns
    -------
    potential : (m,) float
        [V/C]
    """
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    direction = along / length[:, np.newaxis]
    start = points - ends[:, 0]
    foot = np.einsum("ma,ma->m", start, direction)
    square = np.einsum("ma,ma->m", start, start) - foot * foot
    square = np.maximum(square, radius_m * radius_m)
    far = np.sqrt(square + foot * foot) + np.sqrt(square + (length - foot) ** 2)
    potential: Floats = COULOMB_M_F * 2.0 * np.arctanh(length / far) / length
    return potential


def segment_field(*, points: Floats, ends: Floats, radius_m: Floats) -> Floats:
    """Field of a coulomb spread evenly along a thin wire.

    Parameters
    ----------
    points : (m, 3) float
        Where; within the radius the field falls to 0 on the axis. [m]
    ends : (m, 2, 3) float
        Ends of the wire that acts at each point. [m]
    radius_m : (m,) float
        Its radius. [m]

    Returns
    -------
    field : (m, 3) float
        [V/m/C]
    """
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    direction = along / length[:, np.newaxis]
    start = points - ends[:, 0]
    foot = np.einsum("ma,ma->m", start, direction)
    off = start - foot[:, np.newaxis] * direction
    square = np.einsum("ma,ma->m", off, off)
    square = np.maximum(square, radius_m * radius_m)
    near, far = np.sqrt(square + foot * foot), np.sqrt(square + (length - foot) ** 2)
    radial = ((length - foot) / far + foot / near) / square
    axial = 1.0 / far - 1.0 / near
    vector = radial[:, np.newaxis] * off + axial[:, np.newaxis] * direction
    field: Floats = COULOMB_M_F * vector / length[:, np.newaxis]
    return field


def wire_self_potential(*, length_m: Floats, radius_m: Floats) -> Floats:
    """Mean potential of a wire's surface for a coulomb spread evenly along it. [V/C]

    Examples
    --------
    >>> f"{float(wire_self_potential(length_m=np.array(1.0), radius_m=np.array(0.001))):.4g}"
    '1.187e+11'
    """
    ratio = radius_m / length_m
    bracket = np.arcsinh(1.0 / ratio) - np.sqrt(1.0 + ratio * ratio) + ratio
    potential: Floats = 2.0 * COULOMB_M_F * bracket / length_m
    return potential


def distant_potential(*, offset: Floats, moments: Floats) -> Floats:
    """Mean potential on one charge of a coulomb on another that is far from it.

    Parameters
    ----------
    offset : (..., 3) float
        From centre to centre. [m]
    moments : (..., 6) float
        Second moments xx, yy, zz, xy, xz, yz of both about their centres, added up. [m²]

    Returns
    -------
    potential : (...) float
        With an error of fourth order in size over distance. [V/C]
    """
    x, y, z = offset[..., 0], offset[..., 1], offset[..., 2]
    square = x * x + y * y + z * z
    trace = moments[..., 0] + moments[..., 1] + moments[..., 2]
    form = moments[..., 0] * x * x + moments[..., 1] * y * y + moments[..., 2] * z * z
    form += 2.0 * (moments[..., 3] * x * y + moments[..., 4] * x * z + moments[..., 5] * y * z)
    distance = np.sqrt(square)
    result: Floats = (1.0 + 0.5 * (3.0 * form / square - trace) / square) / distance
    return COULOMB_M_F * result


def distant_field(*, offset: Floats, moments: Floats) -> Floats:
    """Field of a coulomb on a charge that is far from the point.

    Parameters
    ----------
    offset : (..., 3) float
        From the charge's centre to the point. [m]
    moments : (..., 6) float
        Its second moments xx, yy, zz, xy, xz, yz about its centre. [m²]

    Returns
    -------
    field : (..., 3) float
        [V/m/C]
    """
    x, y, z = offset[..., 0], offset[..., 1], offset[..., 2]
    square = x * x + y * y + z * z
    fifth = 1.0 / (square * square * np.sqrt(square))
    pull = np.stack(
        (
            moments[..., 0] * x + moments[..., 3] * y + moments[..., 4] * z,
            moments[..., 3] * x + moments[..., 1] * y + moments[..., 5] * z,
            moments[..., 4] * x + moments[..., 5] * y + moments[..., 2] * z,
        ),
        axis=-1,
    )
    trace = moments[..., 0] + moments[..., 1] + moments[..., 2]
    form = np.einsum("...a,...a->...", offset, pull)
    scale = (square + 7.5 * form / square - 1.5 * trace) * fifth
    field: Floats = scale[..., np.newaxis] * offset - 3.0 * fifth[..., np.newaxis] * pull
    return COULOMB_M_F * field
