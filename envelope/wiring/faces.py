"""Places on a face as people measure them, and which faces a piece of cable lies behind."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from envelope.building.model import Panel, Space
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, polygon_of

WITHIN_M = 2e-3  # how far beyond its face a run may be entered
_BEHIND_M = 0.35  # from a face on which a run belongs to it no more
_LEVEL = 1e-2  # a piece whose ends differ more in depth does not run along the face


def is_flat(panel: Panel) -> bool:
    """Whether it is a floor or ceiling, on which places are x and y."""
    return panel.kind in ("floor", "ceiling")


def on_wall(panel: Panel, space: Space, along_m: float, height_m: float) -> Floats:
    """A point on a wall.

    Parameters
    ----------
    panel : Panel
        A wall, or an opening or reveal in one.
    space : Space
        Whose floor heights count from.
    along_m : float
        From its right-hand corner, seen from inside. [m]
    height_m : float
        Above the floor. [m]
    """
    frame = panel.frame
    flat = frame.flatten(panel.outline)
    u = flat[:, 0].max() - along_m  # seen from inside u runs from left to right
    base = frame.lift(np.array([[u, 0.0]]))[0]
    rise = frame.v[2]
    point: Floats = base + frame.v * (space.floor_m + height_m - base[2]) / rise
    return point


def on_flat(panel: Panel, space: Space, x_m: float, y_m: float) -> Floats:
    """A point of a floor or ceiling above a spot in the space's own coordinates."""
    x, y = x_m + space.origin[0], y_m + space.origin[1]
    normal, origin = panel.frame.normal, panel.frame.origin
    z = origin[2] - (normal[0] * (x - origin[0]) + normal[1] * (y - origin[1])) / normal[2]
    return np.array([x, y, z])


def lies_on(panel: Panel, points: Floats) -> bool:
    """Whether all points lie within its outline, holes counted as part of it."""
    outline = shapely.Polygon(panel.frame.flatten(panel.outline)).buffer(WITHIN_M)
    return bool(shapely.covers(outline, shapely.points(panel.frame.flatten(points))).all())


def behind(panel: Panel, points: Floats, depth_m: float) -> Floats:
    """Points on a face moved behind it."""
    moved: Floats = points - panel.frame.normal * depth_m
    return moved


def along_face(panel: Panel, piece: Floats) -> tuple[Floats, float] | None:
    """A straight piece (2, 3) dropped onto a face, and its depth; None where it is not behind it.

    Pieces that stand square on the face, such as the end of a drop, are left out.
    """
    depth = (panel.frame.origin - piece) @ panel.frame.normal
    if depth.min() < 0.0 or depth.max() > _BEHIND_M or abs(depth[1] - depth[0]) > _LEVEL:
        return None
    flat = panel.frame.flatten(piece)
    line = shapely.LineString(flat)
    within = line.intersection(polygon_of(panel).buffer(depth.max()))
    if line.length < 1e-3 or within.length < 0.5 * line.length:
        return None
    return flat, float(depth.mean())


def strip_area(panel: Panel, pieces: Iterable[Floats], width_m: float) -> Area:
    """What of a face a strip of some width along pieces (2, 2) in its frame covers."""
    lines = [
        shapely.LineString(piece).buffer(width_m / 2.0, cap_style="square", join_style="mitre")
        for piece in pieces
    ]
    return shapely.union_all(lines).intersection(polygon_of(panel))
