"""Which panels look at each other's backs, and with which part of themselves.

Seen along a panel's outward normal, the nearest panel that is antiparallel (within 1°) and at
most 0.6 m away stands on the other side of one and the same building part::

        near space │▒▒▒▒▒▒▒│ far space
            inward ◄─      ─► inward
                   └─ ≤ 0.6 m ─┘

The far panel may belong to the same space, where a room goes round both sides of a partition.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon

from envelope.building.model import Panel
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M, Area, carried, common, minus, polygon_of
from envelope.geometry.touching_boxes import touching

FACING_M = 0.6
FACING_COSINE = float(np.cos(np.radians(1.0)))
LAPPING_M = 6e-4  # spaces that lap by less than this are not refused: they touch (`checks.STEP_M`)
GRAZING_COSINE = 0.05  # a panel seen flatter than this hides nothing worth mention


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Facing:
    """The part of a panel behind which another panel stands."""

    far: int  # index of the panel that it faces
    area: Area  # in the near panel's frame
    distance_m: float


def _depth(panel: Panel, other: Panel, flat: Floats) -> float:
    """Distance from a spot (2,) of a panel outward to another panel's plane. [m]"""
    spot = panel.frame.lift(flat[np.newaxis])[0]
    along = float(panel.normal @ other.normal)
    return float((spot - other.frame.origin) @ other.normal) / along


def _within_reach(panel: Panel, other: Panel, shadow: Area) -> Area:
    """The part of an oblique panel's shadow that is cast from between the weld and 0.6 m away."""
    nearest = _depth(panel, other, np.zeros(2))
    slope = np.array([_depth(panel, other, axis) - nearest for axis in np.eye(2)])
    steepness = float(np.hypot(*slope))
    along = slope / steepness
    across = np.array([-along[1], along[0]]) * 1e4
    start, end = (along * (depth - nearest) / steepness for depth in (WELD_M, FACING_M))
    return shadow.intersection(
        Polygon([start - across, end - across, end + across, start + across])
    )


def _seen_from(index: int, panels: Sequence[Panel], candidates: Sequence[int]) -> list[Facing]:
    """Facing panels of one panel, nearest first, each with what the nearer ones leave of it."""
    panel = panels[index]
    whole = polygon_of(panel)
    met: list[tuple[float, int, Area, bool]] = []
    for other in candidates:
        far = panels[other]
        lap = WELD_M if far.space == panel.space else LAPPING_M
        heights = (far.outline - panel.frame.origin) @ panel.normal
        if heights.min() > lap or heights.max() < -FACING_M - WELD_M:
            continue
        square = float(panel.normal @ far.normal) < -FACING_COSINE
        shadow = polygon_of(far, panel.frame)
        if not square:
            shadow = _within_reach(panel, far, shadow)
        shared = common(whole, shadow)
        if shared.is_empty:
            continue
        centre = shared.centroid
        depth = _depth(panel, far, np.array([centre.x, centre.y]))
        if -lap <= depth <= FACING_M + 1e-9:
            met.append((depth, other, shared, square))
    met.sort(key=lambda item: item[:2])
    found: list[Facing] = []
    taken: list[Area] = []
    for depth, other, shared, square in met:
        left = shared
        for nearer in taken:
            left = minus(left, nearer)
        if left.is_empty:
            continue
        taken.append(left)
        if square:
            found.append(Facing(far=other, area=left, distance_m=max(depth, 0.0) + 0.0))
    return found


def find_facings(panels: Sequence[Panel]) -> list[list[Facing]]:
    """For each panel, the panels that it faces. Mutual: both sides hold the same area.

    Reveals neither face nor are faced: what stands behind them follows from their opening.
    """
    if not panels:
        return []
    normals = np.array([panel.normal for panel in panels])
    lows = np.array([panel.outline.min(axis=0) for panel in panels])
    highs = np.array([panel.outline.max(axis=0) for panel in panels])
    takes_part = np.array([panel.kind != "reveal" for panel in panels])
    # The box that each panel sweeps on its way outward.
    reach = -FACING_M * normals
    swept = (lows + np.minimum(reach, 0.0) - LAPPING_M, highs + np.maximum(reach, 0.0) + LAPPING_M)
    candidates: list[list[int]] = [[] for _ in panels]
    for seekers, found_near in touching(lows, highs, seeking=swept):
        turned = np.einsum("ij,ij->i", normals[seekers], normals[found_near]) < -GRAZING_COSINE
        turned &= takes_part[seekers] & takes_part[found_near]
        for index, other in zip(seekers[turned].tolist(), found_near[turned].tolist(), strict=True):
            candidates[index].append(other)
    seen = [
        {item.far: item for item in _seen_from(index, panels, others)} if others else {}
        for index, others in enumerate(candidates)
    ]
    found: list[list[Facing]] = [[] for _ in panels]
    for index, mine in enumerate(seen):
        for other, facing in mine.items():
            back = seen[other].get(index)
            if back is None or other < index:
                continue
            near_frame, far_frame = panels[index].frame, panels[other].frame
            area = facing.area
            # Seen along one line from both ends the two agree; the tilt of up to 1° and what
            # stands in between may take a little from either.
            if abs(area.area - back.area.area) > 1e-9:
                area = common(area, carried(back.area, far_frame, near_frame))
            if area.is_empty:
                continue
            found[index].append(Facing(far=other, area=area, distance_m=facing.distance_m))
            found[other].append(
                Facing(
                    far=index,
                    area=carried(area, near_frame, far_frame),
                    distance_m=facing.distance_m,
                )
            )
    for facings in found:
        facings.sort(key=lambda item: item.far)
    return found
