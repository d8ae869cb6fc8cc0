"""Spaces, their ceilings and dormers, and obstacles: from tables to dimensions in SI."""

from __future__ import annotations

import math
from collections import defaultdict

from envelope.building.rooms.specs import CeilingSpec, DormerSpec, ObstacleSpec, SpaceSpec
from envelope.geometry.plane import frozen
from envelope.project.schema import job as schema
from envelope.project.tables import Tables

# From which side the eaves of a shed look, the way in which it rises: from +x to +y.
_RISES = {"south": 0.5 * math.pi, "east": math.pi, "north": 1.5 * math.pi, "west": 0.0}
_ALONG = {
    **dict.fromkeys(("x", "east", "west"), 0.0),
    **dict.fromkeys(("y", "north", "south"), 0.5 * math.pi),
}

Corners = tuple[tuple[float, float], ...]


def space_specs(tables: Tables) -> list[SpaceSpec]:
    """Dimensions of every space, its dormers with it."""
    floors = {storey.id: storey.floor for _, storey in tables.of(schema.Storey)}
    dormers: dict[str, list[DormerSpec]] = defaultdict(list)
    for _, table in tables.of(schema.Dormer):
        own = _moved(table.corners, table.origin)
        dormers[table.space].append(
            DormerSpec(
                id=table.id,
                corners=frozen(own),
                height_m=table.height,
                ceiling=_ceiling(table.ceiling, own, table.origin),
            )
        )
    return [
        SpaceSpec(
            id=space.id,
            title=space.title,
            storey=space.storey,
            corners=frozen(space.corners),
            height_m=space.height,
            origin=frozen(space.origin),
            floor_m=floors[space.storey] + space.floor,
            raised=space.raised,
            ceiling=_ceiling(space.ceiling, space.corners, (0.0, 0.0)),
            dormers=tuple(dormers[space.id]),
            hollows=tuple(frozen(hollow) for hollow in space.hollow),
        )
        for _, space in tables.of(schema.Space)
    ]


def obstacle_specs(tables: Tables) -> list[ObstacleSpec]:
    """Dimensions of every obstacle, in the building's coordinates."""
    found = []
    for _, table in tables.of(schema.Obstacle):
        low = tables.site.grade if table.floor is None else table.floor
        found.append(
            ObstacleSpec(
                id=table.id,
                corners=frozen(_moved(table.corners, table.origin)),
                low_m=low,
                high_m=low + table.height,
            )
        )
    return found


def _moved(corners: Corners, origin: tuple[float, float]) -> Corners:
    return tuple((x + origin[0], y + origin[1]) for x, y in corners)


def _ceiling(
    table: schema.Ceiling | None, corners: Corners, origin: tuple[float, float]
) -> CeilingSpec:
    """A ceiling over corners; what it states in coordinates counts from `origin`."""
    if table is None:
        return CeilingSpec()
    direction = 0.0
    if table.along is not None:
        direction = _ALONG[table.along] if table.along in _ALONG else _wall(corners, table.along)
    elif table.low is not None and table.low in _RISES:
        direction = _RISES[table.low]
    elif table.low is not None:
        direction = _wall(corners, table.low) + 0.5 * math.pi
    through = None
    if table.through is not None:
        through = (table.through[0] + origin[0], table.through[1] + origin[1])
    return CeilingSpec(
        shape=table.shape,
        direction_rad=direction,
        ridge_m=table.ridge,
        pitch_rad=table.pitch,
        through=through,
        flat_m=table.flat,
        over=None if table.over is None else frozen(_moved(table.over, origin)),
    )


def _wall(corners: Corners, number: str) -> float:
    """Direction of a wall, from its first corner to its second."""
    index = int(number) - 1
    (x0, y0), (x1, y1) = corners[index], corners[(index + 1) % len(corners)]
    return math.atan2(y1 - y0, x1 - x0)
