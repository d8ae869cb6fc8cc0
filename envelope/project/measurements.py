"""Readings of a meter: their records, and the sources that they give a level to."""

from __future__ import annotations

from dataclasses import replace

from envelope.building.job import AS_BUILT, Plan, Reading
from envelope.building.model import Building
from envelope.building.standing import absolute, trouble_in, trouble_outdoors
from envelope.geometry.plane import frozen
from envelope.project.faults import Faults
from envelope.project.opening_states import Openings
from envelope.project.schema import job as schema
from envelope.project.tables import Tables


def readings_of(tables: Tables, building: Building, faults: Faults) -> tuple[Reading, ...]:
    """Records of the readings; what is wrong with their places and states is noted."""
    openings = Openings(tables=tables, building=building)
    found = []
    for index, table in tables.of(schema.Reading):
        path = ("reading", index, "at")
        if table.space is None:
            position = frozen(table.at)
            trouble = trouble_outdoors(position, building)
        elif table.space in building.space_index:
            space = building.space(table.space)
            position = absolute(table.at, space)
            trouble = trouble_in(position, space, building)
        else:
            continue
        assemblies = openings.assemblies(table.states, ("reading", index, "states"), faults)
        if trouble is not None:
            faults.add(path, trouble)
            continue
        plan = Plan(id=AS_BUILT, treatments={}, assemblies=assemblies, states=table.states)
        found.append(table.record(position_m=position, plan=plan))
    return tuple(found)


def without_readings(tables: Tables) -> Tables:
    """The tables of a house that was moved about since its readings were taken."""
    return replace(tables, entries={**tables.entries, schema.Reading: []})


def check_readings(tables: Tables, faults: Faults) -> None:
    """Note sources without a level that no reading gives."""
    named = {name for _, reading in tables.of(schema.Reading) for name in reading.source}
    for index, source in tables.of(schema.Source):
        key = "eirp" if source.is_point else "level"
        if key in source.given():
            continue
        if source.id in named:
            if "level-tolerance" in source.given():
                faults.add(
                    ("source", index, "level-tolerance"),
                    f"level-tolerance does not go with a {key} solved from readings, which bring "
                    "their own",
                )
        elif "reading" not in faults.tables:
            what = "at a point" if source.is_point else "in a direction"
            faults.add(
                ("source", index, key),
                f"{key} is missing: a source {what} needs it, or a [[reading]] that names it",
            )
