"""Plans of a project file: treatments panel by panel, measures on sources, where beds stand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from envelope.building import job as records
from envelope.building.job import AS_BUILT
from envelope.building.model import Building
from envelope.building.plan_measures import meant, measure_taken
from envelope.building.rooms.specs import OpeningState
from envelope.building.selectors import SelectionError, select
from envelope.building.sources import standing_at
from envelope.building.standing import absolute, trouble_in, trouble_of_box, trouble_outdoors
from envelope.geometry.plane import Floats, frozen
from envelope.project.faults import Faults
from envelope.project.opening_states import Openings
from envelope.project.schema import job as schema
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path


def plans_of(
    tables: Tables,
    building: Building,
    *,
    sources: Sequence[records.Source],
    receivers: Sequence[records.Receiver],
    faults: Faults,
) -> tuple[records.Plan, ...]:
    """Plans with their treatments panel by panel, `as-built` first.

    Parameters
    ----------
    tables : Tables
    building : Building
    sources, receivers : sequence of Source and Receiver
        Of the file, those that are sound.
    faults : Faults
        What is wrong is noted here, at its line and key.
    """
    stated = {plan.id: (index, plan) for index, plan in tables.of(schema.Plan)}
    chosen: dict[str, dict[str, tuple[str, ...]]] = {AS_BUILT: {}}
    for name in stated:
        for step in reversed(_chain(name, stated)):
            if step not in chosen:
                index, plan = stated[step]
                base = chosen.get(plan.extends or AS_BUILT, {})
                chosen[step] = {**base, **_treated(plan, index, building, faults)}
    order = building.panel_index
    plans = [records.Plan(id=AS_BUILT, treatments={})]
    openings = Openings(tables=tables, building=building)
    measures = {
        name: dict(_measures(plan, index, building, sources, faults))
        for name, (index, plan) in stated.items()
    }
    beds = {
        name: dict(_beds(plan, index, building, receivers, faults))
        for name, (index, plan) in stated.items()
    }
    for name, (index, plan) in stated.items():
        states = _states(name, stated)
        done: dict[str, records.SourceMeasure | None] = {}
        stands: dict[str, records.Receiver] = {}
        for before in reversed(_chain(name, stated)):
            done |= measures[before]
            stands |= beds[before]
        assemblies = openings.assemblies(states, ("plan", index, "states"), faults)
        treated = openings.treatments(chosen[name], states)
        panels = {panel: names for panel, names in treated.items() if names}
        sorted_panels = dict(sorted(panels.items(), key=lambda item: order[item[0]]))
        plans.append(
            records.Plan(
                id=name,
                treatments=sorted_panels,
                title=plan.title,
                assemblies=assemblies,
                states=states,
                measures={source: each for source, each in done.items() if each is not None},
                beds=stands,
            )
        )
    return tuple(plans)


def _chain(name: str, stated: Mapping[str, tuple[int, schema.Plan]]) -> list[str]:
    """A plan and the plans that it extends, one after the other."""
    found = [name]
    while (parent := stated[found[-1]][1].extends or AS_BUILT) in stated and parent not in found:
        found.append(parent)
    return found


def _states(name: str, stated: Mapping[str, tuple[int, schema.Plan]]) -> dict[str, OpeningState]:
    """States of openings under a plan and the plans that it extends, its own word last."""
    states: dict[str, OpeningState] = {}
    for each in reversed(_chain(name, stated)):
        states |= stated[each][1].states
    return states


def _treated(
    plan: schema.Plan, index: int, building: Building, faults: Faults
) -> dict[str, tuple[str, ...]]:
    """Panels that a plan itself speaks of; the last entry that names a panel counts."""
    chosen: dict[str, tuple[str, ...]] = {}
    for number, entry in enumerate(plan.treat):
        try:
            found = select(building, entry.on)
        except SelectionError as error:
            faults.add(("plan", index, "treat", number, "on"), error.marked)
            continue
        chosen.update(dict.fromkeys(found, entry.with_))
    return chosen


def _measures(
    plan: schema.Plan,
    index: int,
    building: Building,
    sources: Sequence[records.Source],
    faults: Faults,
) -> Iterator[tuple[str, records.SourceMeasure | None]]:
    """What a plan itself does about sources; None where it takes back what another plan does."""

    def standing(space: str | None, at: Floats) -> str | None:
        if space is None:
            return trouble_outdoors(at, building)
        return trouble_in(at, building.space(space), building)

    for number, table in enumerate(plan.measures):
        path: Path = ("plan", index, "measures", number)
        found = meant(table.source, sources)
        if not found:
            continue  # noted where names are checked, or at the source
        if table.do == "leave":
            yield table.source, None
            continue
        space = table.space or found[0].space if table.do == "move" else None
        if space is not None and space not in building.space_index:
            continue
        places: tuple[Floats, ...] = ()
        if table.to is not None:
            home = None if space is None else building.space(space)
            places = (frozen(table.to) if home is None else absolute(table.to, home),)
        taken = measure_taken(
            table.source,
            records.SourceMeasure(
                do=table.do, places_m=places, space=space, lower_db=table.by or 0.0
            ),
            sources=sources,
            building=building,
            standing=standing,
        )
        if isinstance(taken, records.SourceMeasure):
            yield table.source, taken
        else:
            faults.add((*path, taken[0]), taken[1])


def _beds(
    plan: schema.Plan,
    index: int,
    building: Building,
    receivers: Sequence[records.Receiver],
    faults: Faults,
) -> Iterator[tuple[str, records.Receiver]]:
    """Receivers where a plan itself puts their beds."""
    known = {each.id: each for each in receivers}
    for number, table in enumerate(plan.beds):
        if table.receiver not in known:
            continue  # noted where names are checked, or at the receiver
        before = known[table.receiver]
        space = building.space(before.space)
        at = absolute(table.at, space)
        trouble = trouble_in(at, space, building)
        if trouble is None:
            there = standing_at(before, at, table.head)
            if there.size_m is not None:
                trouble = trouble_of_box(at, there.size_m, space)
        if trouble is not None:
            faults.add(("plan", index, "beds", number, "at"), trouble)
            continue
        yield table.receiver, there
