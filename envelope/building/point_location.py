"""Which space a point lies in, and how far it stands from that space's panels."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from envelope.building.model import Building, Panel, Space
from envelope.geometry.plane import Floats, area_vector

CHUNK = 100_000  # pairs of points and triangles looked at in one go


def fans(panels: Iterable[Panel]) -> Floats:
    """Signed triangles (n, 3, 3) whose sum is the panels, holes taken away.

    The fan of a polygon that is not convex has triangles outside it; they cancel, because
    triangles of one plane keep one sign or the other seen from anywhere off it.
    """
    found: list[Floats] = []
    for panel in panels:
        for sign, ring in ((1.0, panel.outline), *((-1.0, hole) for hole in panel.holes)):
            turned = ring if sign * (area_vector(ring) @ panel.normal) > 0.0 else ring[::-1]
            count = len(turned) - 2
            first = np.broadcast_to(turned[0], (count, 3))
            found.append(np.stack((first, turned[1:-1], turned[2:]), axis=1))
    return np.concatenate(found)


def winding(points: Floats, triangles: Floats) -> Floats:
    """How often closed panels go round each point: 1 inside, 0 outside.

    Parameters
    ----------
    points : (n, 3) float
        Points, none of them on a panel. [m]
    triangles : (m, 3, 3) float
        From `fans`. [m]

    Returns
    -------
    turns : (n,) float
        Solid angle that the inward sides fill, over 4π. [-]

    Notes
    -----
    Triangle formula of A. Van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. BME-30
    (1983) 125.
    """
    turns = np.empty(len(points))
    step = max(1, CHUNK // len(triangles))
    for start in range(0, len(points), step):
        spots = points[start : start + step]
        a, b, c = (triangles[:, corner] - spots[:, np.newaxis] for corner in range(3))
        la, lb, lc = (np.sqrt(_dot(side, side)) for side in (a, b, c))
        volume = (
            a[..., 0] * (b[..., 1] * c[..., 2] - b[..., 2] * c[..., 1])
            + a[..., 1] * (b[..., 2] * c[..., 0] - b[..., 0] * c[..., 2])
            + a[..., 2] * (b[..., 0] * c[..., 1] - b[..., 1] * c[..., 0])
        )
        below = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
        angles = -2.0 * np.arctan2(volume, below)
        turns[start : start + step] = angles.sum(axis=1) / (4.0 * np.pi)
    return turns


def _dot(one: Floats, other: Floats) -> Floats:
    product: Floats = np.einsum("...i,...i->...", one, other)
    return product


def bounds(panels: Iterable[Panel]) -> tuple[Floats, Floats]:
    """Lowest and highest coordinates (3,) of panels. [m]"""
    corners = np.concatenate([panel.outline for panel in panels])
    return corners.min(axis=0), corners.max(axis=0)


def contains(space: Space, point: Floats) -> bool:
    """Whether a point lies inside a space."""
    low, high = bounds(space.panels)
    if np.any(point < low) or np.any(point > high):
        return False
    return bool(winding(np.asarray(point)[np.newaxis], fans(space.panels))[0] > 0.5)


def locate(building: Building, point: Floats) -> str | None:
    """Id of the space that a point lies in, or None.

    Parameters
    ----------
    building : Building
    point : (3,) float
        In the building's coordinates. On a panel the answer is arbitrary: see `clearance`. [m]
    """
    position = np.asarray(point, dtype=np.float64)
    for space in building.spaces:
        if contains(space, position):
            return space.id
    return None


def distance_to_panel(panel: Panel, point: Floats) -> float:
    """Distance from a point (3,) to the nearest point of a panel. [m]"""
    flat = panel.frame.flatten(point[np.newaxis])[0]
    height = float((point - panel.frame.origin) @ panel.normal)
    crossings = 0
    nearest = np.inf
    for ring in (panel.outline, *panel.holes):
        start = panel.frame.flatten(ring) - flat
        end = np.roll(start, -1, axis=0)
        step = end - start
        spans = (start[:, 1] > 0.0) != (end[:, 1] > 0.0)
        with_span = np.where(spans, step[:, 1], 1.0)
        reach = start[:, 0] - start[:, 1] * step[:, 0] / with_span
        crossings += int(np.count_nonzero(spans & (reach > 0.0)))
        length2 = np.maximum(np.einsum("ij,ij->i", step, step), 1e-300)
        share = np.clip(-np.einsum("ij,ij->i", start, step) / length2, 0.0, 1.0)
        offset = start + share[:, np.newaxis] * step
        nearest = min(nearest, float(np.hypot(offset[:, 0], offset[:, 1]).min()))
    if crossings % 2 == 1:
        return abs(height)
    return float(np.hypot(nearest, height))


def clearance(building: Building, space: str, point: Floats) -> float:
    """Distance from a point to the nearest panel of a space, negative outside it. [m]

    Parameters
    ----------
    building : Building
    space : str
        Id of the space.
    point : (3,) float
        In the building's coordinates. [m]
    """
    position = np.asarray(point, dtype=np.float64)
    room = building.space(space)
    nearest = min(distance_to_panel(panel, position) for panel in room.panels)
    return nearest if contains(room, position) else -nearest
