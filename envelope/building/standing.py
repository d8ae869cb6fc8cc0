"""Where points and boxes stand: in which space, on which panel, outdoors or in the ground."""

from __future__ import annotations

import itertools

import numpy as np

from envelope.building.model import Building, Obstacle, Space
from envelope.building.point_location import contains, distances_to_panels, locate
from envelope.errors import length_text
from envelope.geometry.plane import Floats, frozen

CLEAR_M = 1e-3  # a point nearer to a panel than this stands on it
OUTSIDE = "outside every space"


def absolute(at: tuple[float, float, float], space: Space) -> Floats:
    """A space's own coordinates as the building's (3,). [m]"""
    return frozen((at[0] + space.origin[0], at[1] + space.origin[1], at[2] + space.floor_m))


def trouble_in(
    position: Floats, space: Space, building: Building, *, outside: str = OUTSIDE
) -> str | None:
    """Say why a point does not stand in a space, clear of its panels; None where it does.

    Parameters
    ----------
    position : (3,) float
        In the building's coordinates. [m]
    space : Space
    building : Building
    outside : str
        Says where a point is that lies in no space of the building.
    """
    distances_m = distances_to_panels(space, position)
    near = space.panels[int(distances_m.argmin())]
    distance_m = float(distances_m.min())
    if distance_m < CLEAR_M:
        return f'the point stands on panel "{near.id}": keep it at least 1 mm away'
    if contains(space, position):
        return None
    other = locate(building, position)
    where = outside if other is None else f'in space "{other}"'
    far = length_text(distance_m, f"{distance_m:.2f} m")
    return (
        f'the point lies {where}, not in "{space.id}": it is {far} from panel "{near.id}"; '
        "coordinates are the space's own, the height is above its floor"
    )


def trouble_outdoors(position: Floats, building: Building) -> str | None:
    """Say why a point does not stand outdoors and above the ground; None where it does."""
    inside = locate(building, position)
    if inside is not None:
        return (
            f'the point lies in space "{inside}": say so with space = "{inside}" and the '
            "space's own coordinates"
        )
    block = _block_at(position, building.obstacles)
    if block is not None:
        return f'the point lies inside obstacle "{block}"'
    if position[2] <= building.site.grade_m:
        return (
            f"the point lies at {length_text(float(position[2]))}, below the ground at "
            f"{length_text(building.site.grade_m)}"
        )
    return None


def _block_at(position: Floats, obstacles: tuple[Obstacle, ...]) -> str | None:
    return next((each.id for each in obstacles if each.holds(position)), None)


def trouble_of_box(centre: Floats, size: Floats, space: Space) -> str | None:
    """Say why a box does not lie in a space; walls that it touches are allowed."""
    half = np.maximum(size / 2.0 - CLEAR_M, 0.0)
    corners = (centre + half * signs for signs in itertools.product((-1.0, 1.0), repeat=3))
    vertices = np.concatenate([panel.outline for panel in space.panels])
    within = np.all(np.abs(vertices - centre) < half, axis=1)
    if bool(np.any(within)) or not all(contains(space, corner) for corner in corners):
        return f'the box does not fit into space "{space.id}": it reaches through a panel'
    return None
