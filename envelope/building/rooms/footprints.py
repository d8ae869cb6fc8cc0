"""What keeps an outline from being one: shape, winding, and how outlines lie to each other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely.geometry import Polygon

from envelope.building.rooms.specs import SpaceSpec
from envelope.errors import Fault, length_text
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M


def footprint_area(corners: Floats) -> float:
    """Signed area of a footprint (n, 2), positive counter-clockwise. [m²]"""
    local = corners - corners[0]
    ends = np.roll(local, -1, axis=0)
    return 0.5 * float((local[:, 0] * ends[:, 1] - local[:, 1] * ends[:, 0]).sum())


def _first_meeting(corners: Floats, ends: Floats) -> tuple[int, int] | None:
    """The first two sides of an outline that share more than the corner between neighbours."""
    sides = shapely.linestrings(np.stack((corners, ends), axis=1))
    first, second = np.triu_indices(len(sides), 1)
    beside = np.isin(second - first, (1, len(sides) - 1))
    meets = np.empty(len(first), dtype=bool)
    shared = shapely.intersection(sides[first[beside]], sides[second[beside]])
    meets[beside] = shapely.length(shared) > WELD_M
    meets[~beside] = shapely.distance(sides[first[~beside]], sides[second[~beside]]) < WELD_M
    if not meets.any():
        return None
    at = int(np.argmax(meets))
    return int(first[at]), int(second[at])


def outline_trouble(corners: Floats, what: str, side: str = "wall") -> str | None:
    """What is wrong with an outline (n, 2), as one sentence, or None."""
    count = len(corners)
    if count < 3:
        return f"{what} has {count} corners; a footprint has at least 3"
    if not np.all(np.isfinite(corners)):
        return f"a corner of {what} is not finite"
    ends = np.roll(corners, -1, axis=0)
    short = np.flatnonzero(np.hypot(*(ends - corners).T) < WELD_M)
    if len(short):
        return f"{side} {short[0] + 1} of {what} has no length"
    met = _first_meeting(corners, ends)
    if met is not None:
        return (
            f"the footprint of {what} crosses itself: {side} {met[0] + 1} meets {side} {met[1] + 1}"
        )
    if footprint_area(corners) < 0.0:
        return f"the footprint of {what} runs clockwise; go round its corners counter-clockwise"
    return None


def footprint_faults(spec: SpaceSpec) -> list[Fault]:
    """What keeps the outlines of a space from being sound: shape, winding, height."""

    def fault(message: str, key: str = "footprint") -> Fault:
        return Fault(message=message, subject=("space", spec.id, key))

    found: list[Fault] = []
    least = WELD_M if spec.ceiling.shape == "flat" else -WELD_M
    if not (np.isfinite(spec.height_m) and spec.height_m > least):
        wanted = "must be above 0" if least > 0.0 else "cannot be below 0"
        found.append(
            fault(f"space {spec.id} has height {length_text(spec.height_m)}; it {wanted}", "height")
        )
    if not np.isfinite(spec.floor_m):
        found.append(
            fault(f"the floor of space {spec.id} lies at {length_text(spec.floor_m)}", "storey")
        )
    if not np.all(np.isfinite(spec.origin)):
        found.append(fault(f"the origin of space {spec.id} is not finite", "origin"))
    corners = np.asarray(spec.corners, dtype=np.float64)
    trouble = outline_trouble(corners, f"space {spec.id}")
    if trouble is not None:
        found.append(fault(trouble))
        return found
    if spec.ceiling.over is not None:
        trouble = outline_trouble(
            np.asarray(spec.ceiling.over), f"what the ceiling of {spec.id} is over", "side"
        )
        if trouble is not None:
            found.append(fault(trouble, "ceiling"))
    found.extend(_hollow_faults(spec, fault))
    if not found:
        found.extend(_dormer_faults(spec))
    return found


def _hollow_faults(spec: SpaceSpec, fault: Callable[[str, str], Fault]) -> list[Fault]:
    room = Polygon(spec.corners)
    found: list[Fault] = []
    earlier: list[Polygon] = []
    for number, corners in enumerate(spec.hollows, start=1):
        what = f"hollow {number} of space {spec.id}"
        trouble = outline_trouble(np.asarray(corners), what, "side")
        if trouble is None:
            area = Polygon(corners)
            if not room.contains(area) or room.exterior.distance(area) < WELD_M:
                trouble = (
                    f"{what} touches a wall or lies outside: what stands against a wall, such as "
                    "a chimney breast, is written as corners of the footprint"
                )
            elif any(area.distance(other) < WELD_M for other in earlier):
                trouble = f"{what} touches another hollow; write them as one"
            else:
                earlier.append(area)
        if trouble is not None:
            found.append(fault(trouble, "hollow"))
    return found


def _dormer_faults(spec: SpaceSpec) -> list[Fault]:
    room = Polygon(spec.corners)
    wide = room.buffer(WELD_M, join_style="mitre")
    found: list[Fault] = []
    earlier: list[tuple[str, Polygon]] = []
    for dormer in spec.dormers:

        def fault(message: str, key: str = "footprint", name: str = dormer.id) -> Fault:
            return Fault(message=message, subject=("dormer", name, key))

        if not np.isfinite(dormer.height_m):
            found.append(
                fault(f"dormer {dormer.id} has height {length_text(dormer.height_m)}", "height")
            )
            continue
        outlines = [("footprint", dormer.corners, f"dormer {dormer.id}")]
        if dormer.ceiling.over is not None:
            what = f"what the ceiling of dormer {dormer.id} is over"
            outlines.append(("ceiling", dormer.ceiling.over, what))
        troubles = [
            (key, outline_trouble(np.asarray(corners), what, "side"))
            for key, corners, what in outlines
        ]
        bad = [fault(trouble, key) for key, trouble in troubles if trouble is not None]
        if bad:
            found.extend(bad)
            continue
        area = Polygon(dormer.corners)
        if not wide.covers(area):
            corners = shapely.points(shapely.get_coordinates(area.difference(room)))
            past = length_text(float(shapely.distance(corners, room).max()))
            found.append(fault(f"dormer {dormer.id} reaches {past} past the walls of {spec.id}"))
        for name, other in earlier:
            if area.distance(other) < WELD_M:
                found.append(
                    fault(
                        f"dormers {name} and {dormer.id} overlap or touch; "
                        "leave at least 1 mm between them"
                    )
                )
        earlier.append((dormer.id, area))
    return found
