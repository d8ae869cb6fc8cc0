"""Where a beam through a panel lands: exact footprints by projecting polygons along the beam.

A point x of the panel goes on inward along the beam. Seen from a target plane, every other panel
of the space that stands in between throws a shadow on it; what is left of the panel's own image
inside the target is where the beam lands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import split

from envelope.building.job import Receiver
from envelope.building.model import Panel
from envelope.exposure.results import Landing
from envelope.geometry.plane import Floats, Frame, frame_of

SMALLEST_M2 = 1e-6  # a footprint below a square millimetre is a rounding residue
NEXT_TO_LIGHT = 1e-6  # share of the way from a plane to the light that no image is made of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """A beam: parallel along `direction`, or spreading from `point`. One of them is given.

    `direction` (3,) is where the energy travels, into the room; `point` (3,) is where it starts.
    """

    direction: Floats | None = None
    point: Floats | None = None

    def along(self, points: Floats) -> Floats:
        """Direction of travel at points (n, 3), not normalised where it spreads."""
        if self.point is not None:
            return points - self.point
        assert self.direction is not None
        return np.broadcast_to(self.direction, points.shape)

    def project(self, points: Floats, frame: Frame) -> Floats:
        """Images (n, 2) of points (n, 3) in the coordinates of a plane."""
        along = self.along(points)
        travel = ((frame.origin - points) @ frame.normal) / (along @ frame.normal)
        return frame.flatten(points + travel[:, np.newaxis] * along)


def _clip(ring: Floats, normal: Floats, offset: float) -> Floats:
    """Part of a ring where ``x · normal >= offset`` (Sutherland–Hodgman for one plane)."""
    height = ring @ normal - offset
    if (height >= 0.0).all():
        return ring
    if (height < 0.0).all():
        return ring[:0]
    kept: list[Floats] = []
    for index in range(len(ring)):
        before, here = height[index - 1], height[index]
        if (before >= 0.0) != (here >= 0.0):
            share = before / (before - here)
            kept.append(ring[index - 1] + share * (ring[index] - ring[index - 1]))
        if here >= 0.0:
            kept.append(ring[index])
    return np.array(kept).reshape(-1, 3)


def _image(
    outline: Floats, holes: Sequence[Floats], light: Light, frame: Frame, after: Frame | None
) -> BaseGeometry:
    """Image of a polygon on a plane, of that part of it which lies before the plane.

    `after` is the plane of the panel that the beam came through: what lies outside it casts no
    shadow on the beam.
    """
    rings = []
    for ring in (outline, *holes):
        clipped = _clip(ring, frame.normal, float(frame.origin @ frame.normal) + 1e-7)
        if light.point is not None and len(clipped) > 2:
            # What is as far from the plane as the light or farther throws its shadow elsewhere.
            height = float((light.point - frame.origin) @ frame.normal) * (1.0 - NEXT_TO_LIGHT)
            limit = float(frame.origin @ frame.normal) + height
            clipped = _clip(clipped, -frame.normal, -limit)
        if after is not None and len(clipped) > 2:
            clipped = _clip(clipped, after.normal, float(after.origin @ after.normal) + 1e-7)
        rings.append(light.project(clipped, frame) if len(clipped) > 2 else None)
    if rings[0] is None:
        return Polygon()
    image = Polygon(rings[0], [ring for ring in rings[1:] if ring is not None])
    return image if image.is_valid else image.buffer(0)


def _flat(outline: Floats, holes: Sequence[Floats], frame: Frame) -> Polygon:
    return Polygon(frame.flatten(outline), [frame.flatten(hole) for hole in holes])


def _without_holes(shape: BaseGeometry) -> list[Polygon]:
    """Cut polygons until none has a hole, so that an outline alone tells the whole of each."""
    todo = [shape] if isinstance(shape, Polygon) else list(getattr(shape, "geoms", []))
    done: list[Polygon] = []
    while todo:
        part = todo.pop()
        if not isinstance(part, Polygon) or part.area < SMALLEST_M2:
            continue
        if not part.interiors:
            done.append(part)
            continue
        _, low_b, _, high_b = part.bounds
        middle = part.interiors[0].centroid.x
        cut = LineString([(middle, low_b - 1.0), (middle, high_b + 1.0)])
        todo.extend(split(part, cut).geoms)
    return done


def _landing(on: str, shape: BaseGeometry, frame: Frame) -> Landing | None:
    pieces = _without_holes(shape)
    area = float(sum(piece.area for piece in pieces))
    if area < SMALLEST_M2:
        return None
    polygons = tuple(frame.lift(np.array(piece.exterior.coords)[:-1]) for piece in pieces)
    return Landing(on=on, area_m2=area, polygons=polygons)


def _lit_part(
    *,
    gap: Panel,
    outline: Floats,
    holes: Sequence[Floats],
    frame: Frame,
    others: Sequence[Panel],
    light: Light,
) -> BaseGeometry:
    """Part of a target polygon, facing the beam, that the beam through `gap` reaches."""
    image = _image(gap.outline, gap.holes, light, frame, None)
    if image.is_empty:
        return image
    lit = image.intersection(_flat(outline, holes, frame))
    if lit.area < SMALLEST_M2:
        return Polygon()
    for other in others:
        facing = (light.along(other.outline) @ other.normal).max() < 0.0
        if not facing:
            continue
        shadow = _image(other.outline, other.holes, light, frame, gap.frame)
        if shadow.area > SMALLEST_M2 and shadow.intersects(lit):
            lit = lit.difference(shadow)
            if lit.area < SMALLEST_M2:
                return Polygon()
    return lit


def _box_faces(receiver: Receiver) -> list[Floats]:
    """Faces of a receiver's box as outlines seen from outside, so that normals point outward."""
    assert receiver.size_m is not None
    low = receiver.position_m - receiver.size_m / 2.0
    high = receiver.position_m + receiver.size_m / 2.0
    (x0, y0, z0), (x1, y1, z1) = low, high
    return [
        np.array([(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)]),
        np.array([(x0, y0, z0), (x0, y1, z0), (x1, y1, z0), (x1, y0, z0)]),
        np.array([(x0, y0, z0), (x1, y0, z0), (x1, y0, z1), (x0, y0, z1)]),
        np.array([(x1, y1, z0), (x0, y1, z0), (x0, y1, z1), (x1, y1, z1)]),
        np.array([(x0, y1, z0), (x0, y0, z0), (x0, y0, z1), (x0, y1, z1)]),
        np.array([(x1, y0, z0), (x1, y1, z0), (x1, y1, z1), (x1, y0, z1)]),
    ]


def landings(
    *, gap: Panel, panels: Sequence[Panel], receivers: Sequence[Receiver], light: Light
) -> tuple[Landing, ...]:
    """Footprints of a beam through one panel of a space, largest first, receivers' boxes before.

    Parameters
    ----------
    gap : Panel
        The panel that the beam comes in through.
    panels : sequence of Panel
        All panels of the space, `gap` among them.
    receivers : sequence of Receiver
        Receivers in the space; those with a size are looked at as boxes that do not block.
    light : Light
        The beam.

    Returns
    -------
    landings : tuple of Landing
        Empty where the beam does not come in through `gap`.
    """
    if (light.along(gap.outline) @ gap.normal).min() <= 1e-9:
        return ()
    found: list[Landing] = []
    for target in panels:
        if target is gap or (light.along(target.outline) @ target.normal).max() >= -1e-9:
            continue
        others = [panel for panel in panels if panel is not gap and panel is not target]
        lit = _lit_part(
            gap=gap,
            outline=target.outline,
            holes=target.holes,
            frame=target.frame,
            others=others,
            light=light,
        )
        landing = _landing(target.id, lit, target.frame)
        if landing is not None:
            found.append(landing)
    found.sort(key=lambda landing: -landing.area_m2)
    inside = [panel for panel in panels if panel is not gap]
    boxes = [
        landing
        for receiver in receivers
        if receiver.size_m is not None
        for landing in [_on_box(gap=gap, receiver=receiver, others=inside, light=light)]
        if landing is not None
    ]
    return (*boxes, *found)


def _on_box(
    *, gap: Panel, receiver: Receiver, others: Sequence[Panel], light: Light
) -> Landing | None:
    area = 0.0
    polygons: list[Floats] = []
    for face in _box_faces(receiver):
        frame = frame_of(face)
        if (light.along(face) @ frame.normal).max() >= -1e-9:
            continue
        lit = _lit_part(gap=gap, outline=face, holes=(), frame=frame, others=others, light=light)
        landing = _landing(receiver.id, lit, frame)
        if landing is not None:
            area += landing.area_m2
            polygons.extend(landing.polygons)
    if not polygons:
        return None
    return Landing(on=receiver.id, area_m2=area, polygons=tuple(polygons))
