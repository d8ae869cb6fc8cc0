"""Where a point of a job lies: in the building's coordinates, in its space, outdoors."""

from __future__ import annotations

import itertools

import numpy as np

from envelope.building.model import Building, Space
from envelope.errors import length_text
from envelope.geometry.plane import Floats, frozen
from envelope.project.faults import Faults
from envelope.project.schema.fields import shown
from envelope.project.toml.scan import Path

_CLEAR_M = 1e-3  # a receiver nearer to a panel than this stands on it
OUTSIDE = "outside every space"


def absolute(at: tuple[float, float, float], space: Space) -> Floats:
    """A space's own coordinates as the building's."""
    return frozen((at[0] + space.origin[0], at[1] + space.origin[1], at[2] + space.floor_m))


def stands_in(
    position: Floats,
    space: Space,
    path: Path,
    building: Building,
    faults: Faults,
    *,
    outside: str = OUTSIDE,
) -> bool:
    """Whether a point lies in a space, clear of its panels; the fault is noted where not.

    `outside` says where a point is that lies in no space of the building.
    """
    from envelope.building.point_location import contains, distance_to_panel, locate

    near = min(space.panels, key=lambda panel: distance_to_panel(panel, position))
    distance_m = distance_to_panel(near, position)
    if distance_m < _CLEAR_M:
        faults.add(
            path,
            f"the point stands on panel {shown(near.id)}: keep it at least 1 mm away",
        )
        return False
    if contains(space, position):
        return True
    other = locate(building, position)
    where = outside if other is None else f"in space {shown(other)}"
    far = length_text(distance_m, f"{distance_m:.2f} m")
    faults.add(
        path,
        f"the point lies {where}, not in {shown(space.id)}: it is {far} from panel "
        f"{shown(near.id)}; coordinates are the space's own, the height is above its floor",
    )
    return False


def stands_outdoors(position: Floats, path: Path, building: Building, faults: Faults) -> bool:
    """Whether a point lies outdoors, above the ground; the fault is noted where not."""
    from envelope.building.point_location import locate

    inside = locate(building, position)
    if inside is not None:
        faults.add(
            path,
            f"the point lies in space {shown(inside)}: say so with space = {shown(inside)} and "
            "the space's own coordinates",
        )
        return False
    block = next((each.id for each in building.obstacles if each.holds(position)), None)
    if block is not None:
        faults.add(path, f"the point lies inside obstacle {shown(block)}")
        return False
    if position[2] <= building.site.grade_m:
        faults.add(
            path,
            f"the point lies at {length_text(position[2])}, below the ground at "
            f"{length_text(building.site.grade_m)}",
        )
        return False
    return True


def box_fits(centre: Floats, size: Floats, space: Space) -> bool:
    """Whether a box lies in a space, walls that it touches allowed."""
    from envelope.building.point_location import contains

    half = np.maximum(size / 2.0 - _CLEAR_M, 0.0)
    corners = (centre + half * signs for signs in itertools.product((-1.0, 1.0), repeat=3))
    if not all(contains(space, corner) for corner in corners):
        return False
    vertices = np.concatenate([panel.outline for panel in space.panels])
    return not bool(np.any(np.all(np.abs(vertices - centre) < half, axis=1)))
