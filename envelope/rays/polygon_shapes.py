"""Polygons that are quick to test: a box without a few boxes, such as a wall with windows; a
convex one with few sides.
"""

from __future__ import annotations

import numpy as np

from envelope.geometry.plane import Floats

_ON_ONE_LINE = 1e-9  # two coordinates this near are one [m]
_MOST_SIDES = 8
_WHOLE = 1e-12  # relative; of a rectangle's area


def cuts_of(rings: list[Floats], *, growth: float) -> Floats | None:
    """What is cut out of a polygon's box, where that is rectangles along its axes; else None.

    Parameters
    ----------
    rings : list of (n, 2) float
        Outline and holes. [m]
    growth : float
        By how much the polygon reaches past its edges. [m]

    Returns
    -------
    cuts : (k, 4) float or None
        Smallest and largest coordinates of each rectangle: a point in the box, grown, that is
        strictly inside none of these is in the polygon, grown.
    """
    if len(rings) == 1 and is_box(rings[0]):
        return np.empty((0, 4))
    if not all(_along_axes(ring) for ring in rings):
        return None
    low, high = rings[0].min(axis=0), rings[0].max(axis=0)
    import shapely

    outside = shapely.box(*low, *high) - shapely.Polygon(rings[0])
    missing = shapely.union_all([outside, *(shapely.Polygon(hole) for hole in rings[1:])])
    parts = [part for part in shapely.get_parts(missing) if part.area > 0.0]
    if not parts:
        return np.empty((0, 4))
    cuts = shapely.bounds(parts)
    boxes = np.prod(cuts[:, 2:] - cuts[:, :2], axis=1)
    if (np.abs(boxes - shapely.area(parts)) > _WHOLE * boxes).any():
        return None
    # the polygon, grown, narrows what is cut out; a cut at the box's own side stays open there
    cuts[:, :2] += np.where(cuts[:, :2] - low < _ON_ONE_LINE, -2.0 * growth, growth)
    cuts[:, 2:] += np.where(high - cuts[:, 2:] < _ON_ONE_LINE, 2.0 * growth, -growth)
    return np.asarray(cuts)


def lines_of(rings: list[Floats]) -> Floats | None:
    """Sides (k, 3) of a convex polygon: inward normal and offset; None for any other.

    A point is in the polygon, grown, where for every side ``normal · point - offset`` is not
    below minus the growth.
    """
    if len(rings) > 1 or len(rings[0]) > _MOST_SIDES:
        return None
    ring = rings[0]
    sides = np.roll(ring, -1, axis=0) - ring
    lengths = np.linalg.norm(sides, axis=1)
    if not lengths.all():
        return None
    inward = np.column_stack((-sides[:, 1], sides[:, 0])) / lengths[:, np.newaxis]
    offsets = (inward * ring).sum(axis=1)
    inside = ring @ inward.T - offsets  # corner by side; an outline runs counter-clockwise
    if inside.min() < -_ON_ONE_LINE:
        return None
    return np.column_stack((inward, offsets))


def is_box(ring: Floats) -> bool:
    """Whether a polygon is the whole of its box."""
    return len(ring) == 4 and _along_axes(ring)


def _along_axes(ring: Floats) -> bool:
    steps = np.abs(np.roll(ring, -1, axis=0) - ring).min(axis=1)
    return bool((steps < _ON_ONE_LINE).all())
