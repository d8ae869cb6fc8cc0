"""Directions in space: an orthonormal basis about one."""

from __future__ import annotations

import numpy as np

from envelope.geometry.plane import Floats, cross


def axes_across(direction: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors at right angles to a direction and to each other.

    Parameters
    ----------
    direction : (3,) float
        Of any length above 0. [-]

    Returns
    -------
    u, v : (3,) float
        Right-handed: ``u × v`` points along `direction`. [-]

    Examples
    --------
    >>> u, v = axes_across(np.array([0.0, 0.0, 2.0]))
    >>> u, v
    (array([0., 1., 0.]), array([-1.,  0.,  0.]))
    """
    unit = direction / np.linalg.norm(direction)
    # the axis farthest from it, so that the cross product keeps its digits
    u = cross(unit, np.eye(3)[int(np.argmin(np.abs(unit)))])
    u = u / np.linalg.norm(u)
    return u, cross(unit, u)
