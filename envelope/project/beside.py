"""Rooms placed by their neighbour: `beside = "hall/north wall"` in place of adding up origins.

         north
┌──── bath ────┐          bath: beside = "hall/north wall", shift = "2 ft"
│              │
└──────────────┘          the wall between is as thick as [construction] interior-wall,
├─shift─┬── hall ───┐     unless `apart` says otherwise
        │           │
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from envelope.building.adjacency import FACING_M
from envelope.building.library import ASSEMBLIES
from envelope.building.selectors import plain_name, unknown
from envelope.building.sides import several_words
from envelope.errors import length_text
from envelope.geometry.plane import Floats
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.tables import Tables

# Outward direction of each side, in the project's axes.
_OUTWARD = {"north": (0.0, 1.0), "east": (1.0, 0.0), "south": (0.0, -1.0), "west": (-1.0, 0.0)}
_STRAIGHT = 1e-6  # sine up to which a wall runs along x or y


class _CannotError(Exception):
    """Why a room cannot be placed, and the key that is to blame."""

    def __init__(self, key: str, message: str) -> None:
        self.key = key
        super().__init__(message)


def with_places(tables: Tables, faults: Faults) -> Tables:
    """The tables with the origin of every room that is placed by its neighbour.

    Parameters
    ----------
    tables : Tables
    faults : Faults
        What keeps a room from being placed is noted here.
    """
    listed = tables.of(schema.Space)
    if not any(space.beside for _, space in listed):
        return tables
    placed = {space.id: space for _, space in listed if space.beside is None}
    waiting = {space.id: (index, space) for index, space in listed if space.beside is not None}
    while waiting:
        before = len(waiting)
        for name, (index, space) in list(waiting.items()):
            neighbour = str(space.beside).partition("/")[0]
            if neighbour in waiting:
                continue
            del waiting[name]
            try:
                placed[name] = _placed(space, placed.get(neighbour), neighbour, tables)
            except _CannotError as error:
                faults.add(("space", index, error.key), str(error))
                placed[name] = space
        if len(waiting) == before:
            names = ", ".join(waiting)
            for index, _ in waiting.values():
                faults.add(
                    ("space", index, "beside"),
                    f"{names} are placed beside one another in a circle: give one of them an "
                    "origin",
                )
            break
    spaces: list[tuple[int, schema.Table]] = [
        (index, placed.get(space.id, space)) for index, space in listed
    ]
    return replace(tables, entries={**tables.entries, schema.Space: spaces})


def _placed(
    space: schema.Space, neighbour: schema.Space | None, name: str, tables: Tables
) -> schema.Space:
    if neighbour is None:
        raise _CannotError("beside", unknown("space", name, tables.known("space")))
    if neighbour.storey != space.storey:
        raise _CannotError(
            "beside",
            f'"{name}" is on storey "{neighbour.storey}" and this room on "{space.storey}": '
            "a room is placed beside one of its own storey",
        )
    (x0, y0), (x1, y1), outward = _wall(space, neighbour)
    apart_m = _thickness(tables) if space.apart is None else space.apart
    if apart_m > FACING_M:
        raise _CannotError(
            "beside" if space.apart is None else "apart",
            f"the rooms would stand {length_text(apart_m)} apart: rooms share a wall of at most "
            f"{length_text(FACING_M)}",
        )
    own = np.array(space.corners)
    low, high = own.min(axis=0), own.max(axis=0)
    origin = np.array([min(x0, x1), min(y0, y1)]) - low
    axis = 0 if outward[0] != 0.0 else 1  # across the wall
    plane = (x0, y0)[axis]
    forward = outward[axis] > 0.0
    origin[axis] = plane + apart_m - low[axis] if forward else plane - apart_m - high[axis]
    origin[1 - axis] += space.shift
    return space.model_copy(update={"origin": (float(origin[0]), float(origin[1]))})


def _wall(
    space: schema.Space, neighbour: schema.Space
) -> tuple[Floats, Floats, tuple[float, float]]:
    """Ends of the neighbour's wall in the building's coordinates, and where it looks outward."""
    corners = np.array(neighbour.corners) + np.array(neighbour.origin)
    steps = np.roll(corners, -1, axis=0) - corners
    outward = np.column_stack((steps[:, 1], -steps[:, 0])) / np.hypot(*steps.T)[:, np.newaxis]
    side = plain_name(str(space.beside)).partition("/")[2]
    if side in _OUTWARD:
        facing = np.flatnonzero(outward @ np.array(_OUTWARD[side]) > np.sqrt(0.5) + 1e-9)
        if len(facing) != 1:
            walls = [(f"{neighbour.id}/{at + 1}", float(np.hypot(*steps[at]))) for at in facing]
            none = f'"{neighbour.id}" has no wall to the {side}'
            said = several_words(neighbour.id, side, walls) if walls else none
            raise _CannotError("beside", said)
        index = int(facing[0])
    elif side.isdigit() and 1 <= int(side) <= len(corners):
        index = int(side) - 1
    else:
        raise _CannotError(
            "beside",
            f'"{space.beside}" names no wall of "{neighbour.id}": write it such as '
            f'"{neighbour.id}/north wall" or "{neighbour.id}/1"',
        )
    towards = outward[index]
    if min(abs(float(towards[0])), abs(float(towards[1]))) > _STRAIGHT:
        raise _CannotError(
            "beside", "that wall runs askew to x and y: place this room with an origin"
        )
    way = (float(round(towards[0])), float(round(towards[1])))
    return corners[index], corners[(index + 1) % len(corners)], way


def _thickness(tables: Tables) -> float:
    """Thickness of an interior wall of this job. [m]"""
    name = tables.construction.by_kind().get("interior-wall")
    if name is None:
        raise _CannotError(
            "beside",
            "[construction] has no line for interior-wall, which says how thick the wall "
            'between is: add it, or say apart = "4 1/2 in"',
        )
    own = {table.id: table for _, table in tables.of(schema.Assembly)}
    if name in own:
        thickness_m = sum(layer.thickness or 0.0 for layer in own[name].layers or ())
    else:
        made = ASSEMBLIES.get(name)
        thickness_m = sum(layer.thickness_m for layer in made.layers) if made else 0.0
    if thickness_m <= 0.0:
        raise _CannotError(
            "beside",
            f'interior-wall "{name}" has no layers that say how thick it is: say apart = '
            '"4 1/2 in"',
        )
    return thickness_m
