"""Blocks that stand outdoors and stop every ray, such as a neighbour's house."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from shapely.geometry import Polygon

from envelope.building.checks import OVERLAP_M2, STEP_M
from envelope.building.model import Obstacle, Space
from envelope.building.point_location import bounds
from envelope.building.rooms.footprints import outline_trouble
from envelope.building.rooms.specs import ObstacleSpec
from envelope.errors import Fault, length_text
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M


def _has_inward_corner(corners: Floats) -> bool:
    sides = np.roll(corners, -1, axis=0) - corners
    sides /= np.hypot(*sides.T)[:, np.newaxis]
    after = np.roll(sides, -1, axis=0)
    return bool((sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]).min() < -1e-9)


def place_obstacles(
    specs: Sequence[ObstacleSpec], *, spaces: Mapping[str, Space], faults: list[Fault]
) -> tuple[Obstacle, ...]:
    """Obstacles of their dimensions; what cannot be is left out and noted.

    Parameters
    ----------
    specs : sequence of ObstacleSpec
    spaces : mapping
        Sound spaces by id, none of which an obstacle may reach into.
    faults : list of Fault
        Faults found are added to it.
    """
    found: list[Obstacle] = []
    for spec in specs:

        def refuse(key: str, message: str, name: str = spec.id) -> None:
            faults.append(
                Fault(message=f"obstacle {name} {message}", subject=("obstacle", name, key))
            )

        corners = np.asarray(spec.corners, dtype=np.float64)
        trouble = outline_trouble(corners, f"obstacle {spec.id}", "side")
        if trouble is not None:
            faults.append(Fault(message=trouble, subject=("obstacle", spec.id, "footprint")))
            continue
        if _has_inward_corner(corners):
            refuse("footprint", "has an inward corner: write it as two or more obstacles")
            continue
        if not (np.isfinite(spec.low_m) and spec.high_m > spec.low_m + WELD_M):
            refuse(
                "height",
                f"reaches from {length_text(spec.low_m)} to {length_text(spec.high_m)}: it "
                "has no height",
            )
            continue
        inside = [name for name, space in spaces.items() if _reaches_into(spec, space)]
        if inside:
            refuse("footprint", f"reaches into space {inside[0]}: obstacles stand outdoors")
            continue
        found.append(Obstacle(id=spec.id, corners=corners, low_m=spec.low_m, high_m=spec.high_m))
    return tuple(found)


def _reaches_into(spec: ObstacleSpec, space: Space) -> bool:
    """Whether a block and the room under a space's highest point share any volume."""
    low, high = bounds(space.panels)
    if spec.low_m >= high[2] - STEP_M or spec.high_m <= low[2] + STEP_M:
        return False
    block = Polygon(spec.corners)
    floors = [panel for panel in space.panels if panel.kind == "floor"]
    return any(
        block.intersection(Polygon(floor.outline[:, :2])).area > OVERLAP_M2 for floor in floors
    )
