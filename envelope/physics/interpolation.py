"""Cubic splines over evenly spaced nodes.

SciPy's spline gives the same values (a test compares them). Its import takes a fifth of the time
that a whole analysis may take, and its general nodes are not needed here.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from envelope.errors import RangeError
from envelope.physics.arrays import Floats

__all__ = ["even_spline"]


@cache
def _slopes(count: int) -> Floats:
    """Matrix (count, count) from values at nodes to the spline's slopes there, spacing 1.

    Inside, second derivatives are continuous: s[i-1] + 4 s[i] + s[i+1] = 3 (y[i+1] - y[i-1]). At
    either end the third derivative is continuous across the second node ("not a knot"), which for
    even spacing reads s[0] + 2 s[1] = (-5 y[0] + 4 y[1] + y[2]) / 2.
    """
    left, right = np.zeros((count, count)), np.zeros((count, count))
    for i in range(1, count - 1):
        left[i, i - 1 : i + 2] = 1.0, 4.0, 1.0
        right[i, i - 1], right[i, i + 1] = -3.0, 3.0
    left[0, :2] = 1.0, 2.0
    right[0, :3] = -2.5, 2.0, 0.5
    left[-1, -2:] = 2.0, 1.0
    right[-1, -3:] = -0.5, -2.0, 2.5
    return np.asarray(np.linalg.solve(left, right), dtype=np.float64)


def even_spline(*, first: float, last: float, values: Floats, at: Floats) -> Floats:
    """Cubic not-a-knot spline through values at evenly spaced nodes.

    Parameters
    ----------
    first, last : float
        Of the nodes; any unit.
    values : (n, ...) float
        At the nodes, at least four.
    at : (m,) float
        Where it is asked for, in the nodes' unit.

    Returns
    -------
    found : (m, ...) float
    """
    count = len(values)
    if count < 4 or not last > first:
        raise RangeError(f"{count} nodes from {first:g} to {last:g}; allowed: at least 4, rising")
    place = (at - first) * ((count - 1) / (last - first))
    left = np.clip(place.astype(np.int64), 0, count - 2)
    flat = values.reshape(count, -1)
    slopes = _slopes(count) @ flat
    t = (place - left)[:, np.newaxis]
    rise = flat[left + 1] - flat[left]
    start, end = slopes[left], slopes[left + 1]
    curve = (3.0 * rise - 2.0 * start - end) + t * (start + end - 2.0 * rise)
    found: Floats = flat[left] + t * (start + t * curve)
    return found.reshape(len(at), *values.shape[1:])
