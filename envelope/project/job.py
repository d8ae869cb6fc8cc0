"""From sound tables to the building and the job's records, all SI and all absolute."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from envelope.building import job as records
from envelope.building.library import ASSEMBLIES
from envelope.building.model import Building, Site
from envelope.building.rooms.specs import OpeningState
from envelope.building.selectors import SelectionError, select
from envelope.geometry.plane import frozen
from envelope.physics.materials import metal_conductivity_s_m
from envelope.project.costs import costs_of
from envelope.project.faults import Faults
from envelope.project.measurements import readings_of
from envelope.project.opening_states import (
    Openings,
    shuttered_assemblies,
)
from envelope.project.places import OUTSIDE, absolute, box_fits, stands_in, stands_outdoors
from envelope.project.references import AS_BUILT
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path

if TYPE_CHECKING:
    pass

# An air layer this wide in an assembly lies between studs, joists or leaves of a wall, where its
# width varies by more than a quarter wave; glazing cavities are narrower. Common practice, no
# source: the file may say otherwise with `cavity`.
_CAVITY_M = 0.04
_TURN_RAD = 2.0 * np.pi


def resolve(tables: Tables, building: Building | None, faults: Faults) -> records.Job | None:
    """The job, or None where anything is wrong with the file."""
    assemblies = {table.id: _assembly(table) for _, table in tables.of(schema.Assembly)}
    assemblies |= shuttered_assemblies(tables, building)
    assemblies |= _of_library(tables, building, assemblies)
    treatments = {
        table.id: _treatment(table)
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
    plans = _plans(tables, building, faults)
    readings = readings_of(tables, building, faults)
    costs, products = costs_of(tables, faults)
    if faults:
        return None
    return records.Job(
        name=tables.name,
        building=building,
        assemblies=assemblies,
        treatments=treatments,
        sources=tuple(source for source in sources if source is not None),
        receivers=tuple(receiver for receiver in receivers if receiver is not None),
        plans=plans,
        materials=_materials(tables),
        occupants={
            t.id: t.occupants for _, t in tables.of(schema.Space) if t.occupants is not None
        },
        furnishing_m2={t.id: t.furnishing for _, t in tables.of(schema.Space) if t.furnishing},
        assumed_source=not sources,
        notes=building.notes,
        readings=readings,
        products=products,
        costs=costs,
    )


def trial_job(tables: Tables, faults: Faults) -> records.Job:
    """The assemblies and treatments of which nothing is known to be wrong, with no rooms.

    What names a material or a part that is faulty itself is left out: nothing can be said of it.
    """
    wrong = faults.keys()
    own = [item for item in tables.of(schema.Assembly) if ("assembly", item[0]) not in wrong]
    put = [item for item in tables.of(schema.Treatment) if ("treatment", item[0]) not in wrong]
    materials = _materials(tables)
    faulty = set(tables.known("material")) - set(materials)
    assemblies = {table.id: _assembly(table) for _, table in own}
    library = _of_library(tables, None, assemblies)
    sound = {
        name: made
        for name, made in (assemblies | library).items()
        if not any(layer.material in faulty for layer in made.layers)
    }
    return records.Job(
        name="",
        building=Building(
            site=Site(), storeys=(), spaces=(), panels=(), patches=(), elements=(), digest=""
        ),
        assemblies={
            name: made
            for name, made in sound.items()
            if all(part in sound and not sound[part].parts for part in made.parts)
        },
        treatments={
            table.id: _treatment(table)
            for _, table in put
            if not any(layer.material in faulty for layer in table.layers or ())
        },
        sources=(),
        receivers=(),
        plans=(),
        materials=materials,
    )


def _materials(tables: Tables) -> dict[str, records.Material]:
    return {
        table.id: records.Material(
            id=table.id,
            relative_permittivity=table.permittivity,
            conductivity_s_m=table.conductivity,
            loss_tangent=table.loss_tangent,
        )
        for _, table in tables.of(schema.Material)
    }


def _layers(layers: Sequence[schema.Layer] | None) -> tuple[records.Layer, ...]:
    return tuple(
        records.Layer(
            material=layer.material,
            thickness_m=layer.thickness or 0.0,
            sheet_resistance_ohm_sq=layer.sheet_resistance,
            cavity=_is_cavity(layer) if layer.cavity is None else layer.cavity,
        )
        for layer in layers or ()
    )


def _is_cavity(layer: schema.Layer) -> bool:
    wide = layer.thickness is not None and layer.thickness >= _CAVITY_M
    return wide and layer.material in ("air", "vacuum")


def _of_library(
    tables: Tables, building: Building | None, own: Mapping[str, records.Assembly]
) -> dict[str, records.Assembly]:
    """Starter assemblies that the job names and does not define itself."""
    named = set(tables.construction.by_kind().values())
    named |= {part for assembly in own.values() for part in assembly.parts}
    for _, opening in tables.of(schema.Opening):
        named |= {opening.assembly or "", opening.shutter or ""}
    if building is not None:
        named |= {element.assembly or "" for element in building.elements}
    return {name: made for name, made in ASSEMBLIES.items() if name in named and name not in own}


def _assembly(table: schema.Assembly) -> records.Assembly:
    return records.Assembly(
        id=table.id,
        layers=_layers(table.layers),
        parts=tuple(table.parts or ()),
        loss=table.loss,
        entry_loss=table.entry_loss,
        reflects=table.reflects,
        loss_tolerance_db=_or_default(table.loss_tolerance),
        note=table.note,
    )


def _or_default(tolerance_db: float | None) -> float:
    return records.LOSS_TOLERANCE_DB if tolerance_db is None else tolerance_db


def _treatment(table: schema.Treatment) -> records.Treatment:
    conductivity = table.conductivity
    if table.metal is not None:
        conductivity = metal_conductivity_s_m(metal=table.metal)
    return records.Treatment(
        id=table.id,
        kind=table.kind,
        sheet_resistance_ohm_sq=table.sheet_resistance,
        coats=table.coats,
        wire_diameter_m=table.wire,
        pitch_m=table.pitch,
        conductivity_s_m=conductivity,
        table=table.loss if table.kind == "table" else None,
        layers=_layers(table.layers),
        cell_m=table.cell,
        depth_m=table.depth,
        open_fraction=table.open_fraction,
        loss=table.loss if table.kind == "fixed" else None,
        reflects=table.reflects,
        loss_tolerance_db=_or_default(table.loss_tolerance),
        standoff_m=table.standoff,
        price=table.price,
        note=table.note,
    )


def source_of(
    table: schema.Source,
    index: int,
    building: Building,
    faults: Faults,
    *,
    outside: str = OUTSIDE,
) -> records.Source | None:
    path: Path = ("source", index, "at")
    position = None
    if table.at is not None and table.space is not None:
        if table.space not in building.space_index:
            return None
        space = building.space(table.space)
        position = absolute(table.at, space)
        if not stands_in(position, space, path, building, faults, outside=outside):
            return None
    elif table.at is not None:
        position = frozen(table.at)
        if not stands_outdoors(position, path, building, faults):
            return None
    return records.Source(
        id=table.id,
        band_hz=table.band,
        azimuth_rad=None if table.azimuth is None else table.azimuth % _TURN_RAD,
        elevation_rad=table.elevation or 0.0,
        spread_rad=0.0 if table.is_point else table.spread,
        level_w_m2=table.level or {},
        scattered=table.scattered,
        space=table.space,
        position_m=position,
        eirp_w=table.eirp,
        polarization=table.polarization,
        ground_reflection=table.ground_reflection,
        level_tolerance_db=table.level_tolerance,
        direction_tolerance_rad=table.direction_tolerance,
    )


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
    path: Path = ("receiver", index, "at")
    if not stands_in(position, space, path, building, faults, outside=outside):
        return None
    size = None if table.size is None else frozen(table.size)
    if size is not None and not box_fits(position, size, space):
        faults.add(
            ("receiver", index, "size"),
            f"the box does not fit into space {shown(space.id)}: it reaches through a panel",
        )
        return None
    return records.Receiver(id=table.id, space=space.id, position_m=position, size_m=size)


def _plans(tables: Tables, building: Building, faults: Faults) -> tuple[records.Plan, ...]:
    """Plans with their treatments panel by panel, `as-built` first."""
    stated = {plan.id: (index, plan) for index, plan in tables.of(schema.Plan)}
    chosen: dict[str, dict[str, tuple[str, ...]]] = {AS_BUILT: {}}
    for name in stated:
        chain = [name]
        while (parent := stated[chain[-1]][1].extends) in stated and parent not in chain:
            chain.append(parent)
        for step in reversed(chain):
            if step not in chosen:
                index, plan = stated[step]
                base = chosen.get(plan.extends or AS_BUILT, {})
                chosen[step] = {**base, **_treated(plan, index, building, faults)}
    order = building.panel_index
    plans = [records.Plan(id=AS_BUILT, treatments={})]
    openings = Openings(tables=tables, building=building)
    for name, (index, plan) in stated.items():
        states = _states(name, stated)
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
            )
        )
    return tuple(plans)


def _states(name: str, stated: Mapping[str, tuple[int, schema.Plan]]) -> dict[str, OpeningState]:
    """States of openings under a plan and the plans that it extends, its own word last."""
    states: dict[str, OpeningState] = {}
    seen: set[str] = set()
    at = name
    while at in stated and at not in seen:
        seen.add(at)
        plan = stated[at][1]
        states = {**plan.states, **states}
        at = plan.extends or AS_BUILT
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
            faults.add(("plan", index, "treat", number, "on"), str(error))
            continue
        chosen.update(dict.fromkeys(found, entry.with_))
    return chosen
