"""Solid angles of triangles, and directions spread evenly over them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats


def triangle_solid_angle(corners_m: Floats) -> Floats:
    """Signed solid angle of triangles seen from the origin.

    Parameters
    ----------
    corners_m : (..., 3, 3) float
        Three corners of each triangle, relative to the eye. [m]

    Returns
    -------
    solid_angle : (...) float
        Positive where the corners run counter-clockwise seen from the eye. [sr]

    Notes
    -----
    The tangent formula of [1]_, with atan2 so that triangles wider than a quarter sphere come
    out right. The triple product is taken of the edges rather than of the corners: for a sliver
    the latter loses the digits that the former keeps.

    References
    ----------
    .. [1] A. Van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. BME-30(2), 125-126, 1983.

    Examples
    --------
    An eighth of the sphere:

    >>> float(triangle_solid_angle(np.eye(3)) / np.pi)
    0.5
    """
    a, b, c = corners_m[..., 0, :], corners_m[..., 1, :], corners_m[..., 2, :]
    la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
    volume = (a * np.cross(b - a, c - a)).sum(axis=-1)
    spread = (
        la * lb * lc
        + (a * b).sum(axis=-1) * lc
        + (b * c).sum(axis=-1) * la
        + (c * a).sum(axis=-1) * lb
    )
    solid_angle: Floats = 2.0 * np.arctan2(volume, spread)
    return solid_angle


def spread_over_triangles(
    corners: Floats,
    solid_angle_sr: Floats,
    *,
    first: Floats,
    second: Floats,
    triangle: NDArray[np.int64] | None = None,
) -> Floats:
    """Directions spread evenly, by solid angle, over spherical triangles.

    Parameters
    ----------
    corners : (k, 3, 3) float
        Unit vectors to the corners of each triangle; either winding. [-]
    solid_angle_sr : (k,) float
        Of each triangle, positive. [sr]
    first, second : (n,) float
        Place in the triangle, evenly spread over the unit square. [-]
    triangle : (n,) int, optional
        In which triangle each point lies; else one in each.

    Returns
    -------
    directions : (n, 3) float
        Unit vectors. [-]

    Notes
    -----
    A share `first` of the area is cut off by a great circle through corner b that meets the side
    a–c at c′, then `second` runs along b–c′ evenly in 1 − cosine, the scheme of [1]_. Both steps
    are written here without the differences of cosines that lose a thin sliver's digits:

    - With t the unit tangent at a towards c, D = a·(b×t), and τ = tan(½∠ac′), the tangent
      formula for the solid angle E of (a, b, c′) reads tan(E/2) = Dτ / ((1 + a·b) + τ b·t),
      which is linear in τ: τ = sin(E/2)(1 + a·b) / (D cos(E/2) − b·t sin(E/2)).
    - 1 − cos = 2 sin²(½·): the half-angle's sine grows as the root of `second`, up to half the
      chord |c′ − b|.

    References
    ----------
    .. [1] J. Arvo, "Stratified sampling of spherical triangles", SIGGRAPH 1995. Followed from
       memory in its outline; the formulas above are derived here.
    """
    a, b, c = (np.ascontiguousarray(corners[:, corner].T) for corner in range(3))  # (3, k)
    side = _tangent(a, c)
    toward_b = _dot(b, side)
    volume = np.abs(_dot(a, np.cross(b - a, side, axis=0)))
    nearness = 1.0 + _dot(a, b)
    if triangle is not None:  # what a triangle has for itself is worked out once
        a, b, side = a[:, triangle], b[:, triangle], side[:, triangle]
        toward_b, volume, nearness = toward_b[triangle], volume[triangle], nearness[triangle]
        solid_angle_sr = solid_angle_sr[triangle]
    half = 0.5 * first * solid_angle_sr
    sine, cosine = np.sin(half), np.cos(half)
    rise = sine * nearness
    run = volume * cosine - toward_b * sine
    size = np.hypot(rise, run)
    half_sine, half_cosine = rise / size, run / size  # of half the arc a–c′
    cut = a * (half_cosine**2 - half_sine**2) + side * (2.0 * half_sine * half_cosine)
    chord = _length(cut - b)
    along = 0.5 * np.sqrt(second) * chord  # sine of half the arc b–point
    directions = b * (1.0 - 2.0 * along**2)
    directions += _tangent(b, cut) * (2.0 * along * np.sqrt(1.0 - along**2))
    directions /= _length(directions)
    return np.ascontiguousarray(directions.T)


def _dot(one: Floats, other: Floats) -> Floats:
    """Scalar products (n,) of vectors (3, n)."""
    product = one * other
    return np.asarray(product[0] + product[1] + product[2])


def _length(vectors: Floats) -> Floats:
    return np.asarray(np.sqrt(_dot(vectors, vectors)))


def _tangent(start: Floats, end: Floats) -> Floats:
    """Unit tangents (3, n) of the great circles between points, exact for close ones."""
    chord = end - start
    tangent = chord + start * (0.5 * _dot(chord, chord))
    length = _length(tangent)
    # a point that falls on the start has no direction to go: it stays where it is
    unit: Floats = tangent / np.where(length > 0.0, length, 1.0)
    return unit
