"""Check a job's geometry although some of its tables are faulty.

Build only the rooms whose tables are all sound. Report only faults that correcting the other tables
cannot cure: an opening past its wall, but not a name that a faulty table may define. Storeys of
unknown height are kept apart from all others.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from envelope.building.model import Building, Site, Space, Storey
from envelope.building.selectors import SelectionError, match, nearest_names, select
from envelope.building.standing import OUTSIDE
from envelope.project.building import note, opening_specs
from envelope.project.faults import Faults
from envelope.project.job import receiver_of, source_of
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.space_dimensions import obstacle_specs, space_specs
from envelope.project.tables import Tables

# Tables that rooms are made of, and keys whose faults leave a room what it is.
_OF_ROOMS: Mapping[str, frozenset[str]] = {
    "storey": frozenset(),
    "space": frozenset(("storey",)),
    "dormer": frozenset(),
    "opening": frozenset(("assembly", "shutter")),
    "obstacle": frozenset(),
}
_APART_M = 2.5e5  # between storeys whose height is not known; a file may say 100 km at most
# Panels that a room has whatever its openings are.
_OF_ROOM = re.compile(r"[1-9]\d*|(?:floor|ceiling)(?:-\d+)?|north|east|south|west|walls")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The tables of which nothing is wrong, and what is missing beside them."""

    tables: Tables
    missing_spaces: frozenset[str] = frozenset()
    missing_openings: tuple[Mapping[str, Any], ...] = ()  # as they are written

    def has_niches_of(self, space: str) -> bool:
        """Whether every niche of a space is known, in which a point may lie."""
        return not any(
            "reveal" in opening and str(opening.get("on", space)).partition("/")[0] == space
            for opening in self.missing_openings
        )


def check_sound_rooms(tables: Tables, document: Mapping[str, Any], faults: Faults) -> None:
    """Note what is wrong with those rooms whose tables are sound, and with what is in them."""
    from envelope.building.rooms.build import raise_rooms

    part = _part_of(tables, document, faults)
    if part is None:
        return
    sound = part.tables
    rooms = raise_rooms(
        storeys=[Storey(id=each.id, floor_m=each.floor) for _, each in sound.of(schema.Storey)],
        spaces=space_specs(sound),
        openings=opening_specs(sound),
        obstacles=obstacle_specs(sound),
        absent=tuple(part.missing_spaces),
    )
    note(rooms.faults, tables, {}, faults)
    check_contents(part, rooms.spaces, faults)


def _part_of(tables: Tables, document: Mapping[str, Any], faults: Faults) -> Part | None:
    """The sound tables of rooms, or None where it cannot be known which rooms those are."""
    wrong = faults.keys()
    if any((kind, None) in wrong for kind in _OF_ROOMS):
        return None
    sound = {
        kind: [
            (index, table)
            for index, table in tables.of(schema.LISTS[kind][0])
            if wrong.get((kind, index), set()) <= harmless
        ]
        for kind, harmless in _OF_ROOMS.items()
    }
    places = {kind: {index for index, _ in listed} for kind, listed in sound.items()}
    missing = {
        kind: [
            row
            for index, row in enumerate(document.get(kind, ()))
            if isinstance(row, dict) and index not in places[kind]
        ]
        for kind in _OF_ROOMS
    }
    gone = {str(row.get("id")) for row in missing["space"]}
    for dormer in missing["dormer"]:
        if str(dormer.get("space")) not in tables.known("space"):
            return None  # it may stand on any of them
        gone.add(str(dormer["space"]))
    storeys, spaces = _apart(sound, wrong)
    entries = dict(tables.entries)
    entries[schema.Storey] = storeys
    entries[schema.Space] = [item for item in spaces if _id(item[1]) not in gone]
    for kind in ("dormer", "opening", "obstacle"):
        entries[schema.LISTS[kind][0]] = sound[kind]
    if "site" in faults.tables:  # on which an obstacle stands that does not say where it begins
        entries[schema.Obstacle] = [
            item for item in sound["obstacle"] if "floor" in item[1].given()
        ]
    return Part(
        tables=replace(tables, entries=entries),
        missing_spaces=frozenset(gone),
        missing_openings=tuple(missing["opening"]),
    )


def _id(table: schema.Table) -> str:
    return str(getattr(table, "id", ""))


def _apart(
    sound: Mapping[str, list[tuple[int, schema.Table]]], wrong: Mapping[tuple[str, Any], set[str]]
) -> tuple[list[tuple[int, schema.Table]], list[tuple[int, schema.Table]]]:
    """Storeys and spaces, those of unknown height set apart from all others and each other."""
    storeys = list(sound["storey"])
    heights = {_id(storey) for _, storey in storeys}
    spaces: list[tuple[int, schema.Table]] = []
    for index, space in sound["space"]:
        assert isinstance(space, schema.Space)
        name = space.storey
        if wrong.get(("space", index)):  # an unknown storey: it may be any, another for each space
            name = f"{name} of {space.id}"
            space = space.model_copy(update={"storey": name})
        if name not in heights:
            heights.add(name)
            floor_m = _APART_M * (1 + len(heights))
            storeys.append((-1, schema.Storey.model_construct(id=name, floor=floor_m)))
        spaces.append((index, space))
    return storeys, spaces


def check_contents(part: Part, spaces: Sequence[Space], faults: Faults) -> None:
    """Note what is wrong with receivers, sources and selectors in rooms that are sound."""
    site = part.tables.site
    building = Building(
        site=Site(north_rad=site.north, grade_m=site.grade, reach_m=site.reach),
        storeys=(),
        spaces=tuple(spaces),
        panels=tuple(panel for space in spaces for panel in space.panels),
        patches=(),
        elements=(),
        digest="",
    )
    wrong = faults.keys()
    uncut = {
        table.on.partition("/")[0]
        for index, table in part.tables.of(schema.Opening)
        if ("opening", index) in wrong and table.reveal > 0.0
    }
    niches = {
        space.id for space in spaces if space.id not in uncut and part.has_niches_of(space.id)
    }
    outside = "elsewhere" if part.missing_spaces else OUTSIDE
    for index, source in part.tables.of(schema.Source):
        inside = source.space in niches
        outdoors = source.space is None and "site" not in faults.tables
        if ("source", index) not in wrong and (inside or outdoors):
            source_of(source, index, building, faults, outside=outside)
    for index, receiver in part.tables.of(schema.Receiver):
        if ("receiver", index) not in wrong and receiver.space in niches:
            receiver_of(receiver, index, building, faults, outside=outside)
    whole = not part.missing_spaces and not any(kind == "opening" for kind, _ in wrong)
    names = {space.id for space in spaces}
    known = {*part.tables.known("space"), *part.missing_spaces}
    named = str(None) not in known  # every space says its id

    def judged(name: str) -> bool:
        """Whether a panel of this name would be there if it were to be."""
        space, slash, rest = name.partition("/")
        if not slash:
            return bool(names)
        if named and space not in known and not any(mark in space for mark in "*?["):
            return bool(names)
        return space in names and (whole or _OF_ROOM.fullmatch(rest) is not None)

    for index, panel in part.tables.of(schema.Panel):
        told = ("panel", index) in wrong or not judged(panel.on)
        if not told and not match(building.panels, panel.on):
            here = [name for each in building.panels for name in (each.id, *each.aliases)]
            faults.add(
                ("panel", index, "on"),
                f"{shown(panel.on)} names no panel: {nearest_names(panel.on, here)}",
            )
    for index, plan in part.tables.of(schema.Plan):
        for number, entry in enumerate(plan.treat):
            if not judged(entry.on):
                continue
            try:
                select(building, entry.on)
            except SelectionError as error:
                faults.add(("plan", index, "treat", number, "on"), error.marked)
