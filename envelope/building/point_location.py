"""Which space a point lies in, and how far it stands from that space's panels."""

from __future__ import annotations

import weakref
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Faces:
    """Panels of a space as arrays. Edges run in the plane of their panel, ring by ring."""

    low: Floats  # (3,)
    high: Floats  # (3,)
    fans: Floats  # (m, 3, 3)
    frames: Floats  # (p, 4, 3) origin, normal, u and v of each panel
    start: Floats  # (e, 2) where an edge begins
    end: Floats  # (e, 2) and ends, the same number that the next one begins at
    panel: NDArray[np.int64]  # (e,) of each edge
    first: NDArray[np.int64]  # (p,) first edge of each panel

    @classmethod
    def of(cls, space: Space) -> _Faces:
        """The faces of a space."""
        starts: list[Floats] = []
        ends: list[Floats] = []
        counts: list[int] = []
        for panel in space.panels:
            rings = [panel.frame.flatten(ring) for ring in (panel.outline, *panel.holes)]
            starts += rings
            ends += [np.roll(ring, -1, axis=0) for ring in rings]
            counts.append(sum(map(len, rings)))
        frames = [
            (each.frame.origin, each.normal, each.frame.u, each.frame.v) for each in space.panels
        ]
        low, high = bounds(space.panels)
        return cls(
            low=low,
            high=high,
            fans=fans(space.panels),
            frames=np.array(frames),
            start=np.concatenate(starts),
            end=np.concatenate(ends),
            panel=np.repeat(np.arange(len(counts)), counts),
            first=np.cumsum([0, *counts[:-1]]),
        )

    def holds(self, points: Floats) -> NDArray[np.bool_]:
        """Whether each point (n, 3) lies inside."""
        inside: NDArray[np.bool_] = np.all((points >= self.low) & (points <= self.high), axis=1)
        if inside.any():
            inside[inside] = winding(points[inside], self.fans) > 0.5
        return inside

    def distances_m(self, points: Floats) -> Floats:
        """Distance (n, p) from each point (n, 3) to each panel."""
        found = np.empty((len(points), len(self.first)))
        rows = max(1, CHUNK // len(self.start))
        step = self.end - self.start
        length2 = np.maximum(_dot(step, step), 1e-300)
        for low in range(0, len(points), rows):
            local = points[low : low + rows, np.newaxis] - self.frames[:, 0]
            height, *flat = (_dot(local, self.frames[:, axis]) for axis in (1, 2, 3))
            x, y = (self.start[:, k] - flat[k][:, self.panel] for k in (0, 1))
            spans = (y > 0.0) != (self.end[:, 1] - flat[1][:, self.panel] > 0.0)
            reach = x - y * step[:, 0] / np.where(spans, step[:, 1], 1.0)
            turns = np.add.reduceat(spans & (reach > 0.0), self.first, axis=1, dtype=np.int64)
            share = np.clip(-(x * step[:, 0] + y * step[:, 1]) / length2, 0.0, 1.0)
            to_edge = np.hypot(x + share * step[:, 0], y + share * step[:, 1])
            nearest = np.minimum.reduceat(to_edge, self.first, axis=1)
            beside = np.where(turns % 2 == 1, 0.0, nearest)  # the point's foot lies on the panel
            found[low : low + rows] = np.hypot(beside, height)
        return found


_KEPT: weakref.WeakKeyDictionary[Space, _Faces] = weakref.WeakKeyDictionary()


def _faces_of(space: Space) -> _Faces:
    """Arrays of a space; made once for each."""
    found = _KEPT.get(space)
    if found is None:
        found = _KEPT[space] = _Faces.of(space)
    return found


def contains(space: Space, point: Floats) -> bool:
    """Whether a point lies inside a space."""
    return bool(_faces_of(space).holds(np.asarray(point, dtype=np.float64)[np.newaxis])[0])


def locate(building: Building, point: Floats) -> str | None:
    """Id of the space that a point lies in, or None.

    Parameters
    ----------
    building : Building
    point : (3,) float
        In the building's coordinates. On a panel the answer is arbitrary: see `clearances`. [m]
    """
    position = np.asarray(point, dtype=np.float64)
    for space in building.spaces:
        if contains(space, position):
            return space.id
    return None


def distances_to_panels(space: Space, point: Floats) -> Floats:
    """Distances (p,) from a point (3,) to the nearest points of a space's panels. [m]"""
    position = np.asarray(point, dtype=np.float64)
    found: Floats = _faces_of(space).distances_m(position[np.newaxis])[0]
    return found


def clearances(space: Space, points: Floats) -> Floats:
    """Distances from points to the nearest panel of a space, negative outside it. [m]

    Parameters
    ----------
    space : Space
    points : (n, 3) float
        In the building's coordinates. [m]

    Returns
    -------
    clearances : (n,) float
    """
    faces = _faces_of(space)
    positions = np.asarray(points, dtype=np.float64)
    nearest = faces.distances_m(positions).min(axis=1)
    signed: Floats = np.where(faces.holds(positions), nearest, -nearest)
    return signed


def clearance(space: Space, point: Floats) -> float:
    """Distance from a point (3,) to the nearest panel of a space, negative outside it. [m]"""
    return float(clearances(space, np.asarray(point)[np.newaxis])[0])
