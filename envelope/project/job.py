"""From sound tables to the building and the job's records, all SI and all absolute."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

import numpy as np

from envelope.building import job as records
from envelope.building.library import ASSEMBLIES
from envelope.building.model import Building, Space
from envelope.building.selectors import nearest_names
from envelope.building.source_measures import LINE_POINTS
from envelope.building.standing import (
    OUTSIDE,
    absolute,
    trouble_in,
    trouble_of_box,
    trouble_outdoors,
)
from envelope.building.unknowns import (
    FURNISHING_M2,
    furnishing_unknown,
    source_unknowns,
    unknown_products,
    unstated_spaces,
)
from envelope.errors import RecordError
from envelope.geometry.plane import Floats, frozen
from envelope.project.building import note
from envelope.project.costs import costs_of, defaults_of
from envelope.project.faults import Faults
from envelope.project.limits import check_plans, only_on, work_of
from envelope.project.measurements import measured_of
from envelope.project.opening_states import shuttered_assemblies
from envelope.project.plans import plans_of
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path


def resolve(
    tables: Tables,
    building: Building | None,
    faults: Faults,
    *,
    brought: Mapping[str, records.Assembly] | None = None,
) -> records.Job | None:
    """The job, or None where anything is wrong with the file.

    Parameters
    ----------
    tables : Tables
    building : Building or None
    faults : Faults
        What is wrong is noted here, at its line and key.
    brought : mapping, optional
        Assemblies of an imported model, which the file's own come before.
    """
    assemblies = {table.id: table.record() for _, table in tables.of(schema.Assembly)}
    assemblies |= shuttered_assemblies(tables, building)
    assemblies |= _of_library(tables, building, assemblies)
    treatments = {
        table.id: table.record()
        for index, table in tables.of(schema.Treatment)
        if table.metal is None or not faults.has(("treatment", index, "metal"))
    }
    if building is None:
        return None
    sources = [
        source_of(table, index, building, faults) for index, table in tables.of(schema.Source)
    ]
    receivers = [
        receiver_of(table, index, building, faults) for index, table in tables.of(schema.Receiver)
    ]
    plans = plans_of(
        tables,
        building,
        sources=[source for source in sources if source is not None],
        receivers=[receiver for receiver in receivers if receiver is not None],
        faults=faults,
    )
    work = work_of(tables, building, faults)
    allowed = only_on(tables, building, faults)
    check_plans(tables, building, allowed, faults)
    measured = measured_of(
        tables,
        building,
        plans=plans,
        receivers=[receiver for receiver in receivers if receiver is not None],
        faults=faults,
    )
    costs, products = costs_of(tables, faults)
    if faults:
        return None
    furnished = {t.id: t.furnishing for _, t in tables.of(schema.Space) if t.furnishing is not None}
    placed = [receiver for receiver in receivers if receiver is not None]
    unfurnished = unstated_spaces(placed, furnished)
    used = {**(brought or {}), **assemblies}
    try:
        return records.Job(
            name=tables.name,
            building=building,
            assemblies=used,
            treatments=treatments,
            sources=tuple(source for source in sources if source is not None),
            receivers=tuple(placed),
            plans=plans,
            materials=_materials(tables),
            occupants={
                t.id: t.occupants for _, t in tables.of(schema.Space) if t.occupants is not None
            },
            furnishing_m2={
                **dict.fromkeys(unfurnished, FURNISHING_M2.middle),
                **{name: area for name, area in furnished.items() if area},
            },
            unknowns=(
                *(furnishing_unknown(space) for space in unfurnished),
                *(
                    each
                    for source, (_, table) in zip(sources, tables.of(schema.Source), strict=True)
                    if source is not None
                    for each in source_unknowns(source, stated=table.given(), service=table.service)
                ),
                *unknown_products(_standing(used, building, plans), treatments.values()),
            ),
            assumed_source=not sources,
            notes=building.notes,
            readings=measured.readings,
            visits=measured.visits,
            meters=measured.meters,
            scans=measured.scans,
            cover_tests=measured.cover_tests,
            resistances=measured.resistances,
            products=products,
            costs=costs,
            defaults=defaults_of(tables),
            work=work,
            only_on=allowed,
        )
    except RecordError as error:
        note(error.faults, tables, {}, faults)
        return None


def _standing(
    assemblies: Mapping[str, records.Assembly],
    building: Building,
    plans: Iterable[records.Plan],
) -> list[records.Assembly]:
    """The assemblies that the building or a plan has somewhere, and their parts."""
    names = {element.assembly or "" for element in building.elements}
    names |= {name or "" for plan in plans for name in plan.assemblies.values()}
    names |= {part for name in names if name in assemblies for part in assemblies[name].parts}
    return [made for name, made in assemblies.items() if name in names]


def _materials(tables: Tables) -> dict[str, records.Material]:
    return {table.id: table.record() for _, table in tables.of(schema.Material)}


def _of_library(
    tables: Tables, building: Building | None, own: Mapping[str, records.Assembly]
) -> dict[str, records.Assembly]:
    """Starter assemblies that the job names and does not define itself."""
    named = set(tables.construction.by_kind().values())
    named |= {part for assembly in own.values() for part in assembly.parts}
    for _, opening in tables.of(schema.Opening):
        named |= {
            opening.assembly or "",
            opening.shutter or "",
            opening.frame_assembly or "",
        }
    if building is not None:
        named |= {element.assembly or "" for element in building.elements}
    return {name: made for name, made in ASSEMBLIES.items() if name in named and name not in own}


def source_of(
    table: schema.Source,
    index: int,
    building: Building,
    faults: Faults,
    *,
    outside: str = OUTSIDE,
) -> records.Source | None:
    path: Path = ("source", index, "at")
    position = trouble = None
    if table.at is not None and table.space is not None:
        if table.space not in building.space_index:
            return None
        space = building.space(table.space)
        position = absolute(table.at, space)
        trouble = trouble_in(position, space, building, outside=outside)
    elif table.at is not None:
        position = frozen(table.at)
        trouble = trouble_outdoors(position, building)
    if trouble is not None:
        faults.add(path, trouble)
        return None
    return table.record(position, _measures(table, index, building, faults, outside=outside))


def _measures(
    table: schema.Source, index: int, building: Building, faults: Faults, *, outside: str
) -> tuple[records.SourceMeasure, ...] | None:
    """What may be done about a source; every place to which it may be moved is looked at."""
    if table.may is None:
        return None
    found = []
    for number, each in enumerate(table.may):
        space = None
        if each.do == "move":
            name = each.space or table.space
            if name is not None and name not in building.space_index:
                hint = nearest_names(name, list(building.space_index))
                path: Path = ("source", index, "may", number, "space")
                faults.add(path, f"there is no space {shown(name)}: {hint}")
                continue
            space = None if name is None else building.space(name)
        places = []
        for key, at in _ends(each):
            place = frozen(at) if space is None else absolute(at, space)
            trouble = (
                trouble_outdoors(place, building)
                if space is None
                else trouble_in(place, space, building, outside=outside)
            )
            if trouble is not None:
                path = ("source", index, "may", number, *key)
                faults.add(path, f"the source cannot be moved there: {trouble}")
            places.append(place)
        if len(places) == 2:  # a line, whose ends are sound; what lies between may not be
            places = [
                place
                for share in np.linspace(0.0, 1.0, LINE_POINTS)
                if _stands(place := places[0] + share * (places[1] - places[0]), space, building)
            ]
        found.append(
            records.SourceMeasure(
                do=each.do,
                places_m=tuple(places),
                space=None if space is None else space.id,
                lower_db=each.by or 0.0,
                cost=Decimal(0) if each.cost is None else each.cost.amount,
                agreed_by=each.agreed_by or table.owner or "household",
            )
        )
    return tuple(found)


def _ends(measure: schema.SourceMeasure) -> list[tuple[Path, tuple[float, float, float]]]:
    """Key and point of the place, or of both ends of the line, that a move may go to."""
    if measure.to is not None:
        return [(("to",), measure.to)]
    return [(("along", number), end) for number, end in enumerate(measure.along or ())]


def _stands(place: Floats, space: Space | None, building: Building) -> bool:
    if space is None:
        return trouble_outdoors(place, building) is None
    return trouble_in(place, space, building) is None


def receiver_of(
    table: schema.Receiver,
    index: int,
    building: Building,
    faults: Faults,
    *,
    outside: str = OUTSIDE,
) -> records.Receiver | None:
    if table.space not in building.space_index:
        return None
    space = building.space(table.space)
    position = absolute(table.at, space)
    trouble = trouble_in(position, space, building, outside=outside)
    size = None if table.size is None else frozen(table.size)
    if trouble is not None:
        faults.add(("receiver", index, "at"), trouble)
        return None
    trouble = None if size is None else trouble_of_box(position, size, space)
    if trouble is not None:
        faults.add(("receiver", index, "size"), trouble)
        return None
    return records.Receiver(
        id=table.id,
        space=space.id,
        position_m=position,
        size_m=size,
        title=table.title,
        bed=None if table.bed is None else _bed(table.bed, table.size),
    )


def _bed(table: schema.Bed, box: tuple[float, float, float] | None) -> records.Bed:
    """The bed; the longer side of a box is its length."""
    size = table.size
    if size is None and box is not None:
        size = (min(box[:2]), max(box[:2]))
    return records.Bed(
        size_m=records.BED_M if size is None else size, head=table.head, may_move=table.may_move
    )
