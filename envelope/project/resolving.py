"""From sound tables to the building and the job's records, all SI and all absolute."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from envelope.building import job as records
from envelope.building.library import ASSEMBLIES
from envelope.building.planar import Floats, frozen
from envelope.building.records import Building, Site, Storey
from envelope.building.selectors import SelectionError, match, select
from envelope.building.specs import OpeningSpec, OpeningState, PanelSpec, SpaceSpec
from envelope.errors import GeometryError
from envelope.physics.materials import metal_conductivity_s_m
from envelope.project import schema
from envelope.project.faults import Faults
from envelope.project.fields import shown
from envelope.project.lines import Path
from envelope.project.references import AS_BUILT
from envelope.project.shapes import obstacle_specs, space_specs
from envelope.project.states import (
    Openings,
    named_in_construction,
    shuttered_assemblies,
    shuttered_name,
)
from envelope.project.tables import Tables
from envelope.units import format_metres

if TYPE_CHECKING:
    from envelope.building.records import Panel, Space

# An air layer this wide in an assembly lies between studs, joists or leaves of a wall, where its
# width varies by more than a quarter wave; glazing cavities are narrower. Common practice, no
# source: the file may say otherwise with `cavity`.
_CAVITY_M = 0.04
_CLEAR_M = 1e-3  # a receiver nearer to a panel than this stands on it
_TURN_RAD = 2.0 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class _Named:
    """A panel that will exist, as far as selectors look at it."""

    id: str
    space: str
    kind: str
    aliases: tuple[str, ...] = ()


def build(tables: Tables, faults: Faults) -> Building | None:
    """Building of the tables, or None with its faults noted."""
    from envelope.building.rooms import build_building

    floors = {storey.id: storey.floor for _, storey in tables.of(schema.Storey)}
    spaces = space_specs(tables)
    openings = [_opening(opening, tables) for _, opening in tables.of(schema.Opening)]
    panels, said_by = _panel_specs(tables, spaces, faults)
    if panels is None:
        return None
    try:
        return build_building(
            site=Site(
                north_rad=tables.site.north,
                grade_m=tables.site.grade,
                reach_m=tables.site.reach,
            ),
            storeys=[Storey(id=name, floor_m=floor) for name, floor in floors.items()],
            spaces=spaces,
            openings=openings,
            panels=panels,
            obstacles=obstacle_specs(tables),
            construction=tables.construction.by_kind(),
        )
    except GeometryError as error:
        for fault in error.faults:
            faults.add(_place(fault.subject, tables, said_by), fault.message)
    return None


def _opening(opening: schema.Opening, tables: Tables) -> OpeningSpec:
    along_m, centre = opening.position()
    assembly = opening.assembly
    if opening.state == "shuttered":
        assembly = shuttered_name(opening, assembly or named_in_construction(opening, tables))
    return OpeningSpec(
        id=opening.id,
        on=opening.on,
        kind=opening.kind,
        width_m=opening.size[0],
        height_m=opening.size[-1],
        round=len(opening.size) == 1,
        along_m=along_m,
        from_left=opening.from_ == "left",
        sill_m=opening.sill or 0.0,
        centre=centre,
        reveal_m=opening.reveal,
        undercut_m=opening.undercut,
        ring_m=opening.ring,
        seams_m=opening.seams,
        film_edge_m=opening.film_edge,
        tilt_m=opening.tilt_m,
        state=opening.state,
        assembly=assembly,
    )


def _panel_specs(
    tables: Tables, spaces: Sequence[SpaceSpec], faults: Faults
) -> tuple[list[PanelSpec] | None, dict[str, int]]:
    """What is said of single panels: globs and groups spelt out, the last word on each kept.

    The far side of an opening between two spaces gets its panel only from the building, so an id
    that is not found here goes on as it stands and is judged there.
    """
    stated = tables.of(schema.Panel)
    if not stated:
        return [], {}
    named: list[_Named] = [
        _Named(id=panel.id, space=panel.space, kind=panel.kind, aliases=panel.aliases)
        for spec in spaces
        for panel in _panels_of(spec)
    ]
    for _, opening in tables.of(schema.Opening):
        space = opening.on.partition("/")[0]
        named.append(_Named(id=f"{space}/{opening.id}", space=space, kind=opening.kind))
    said: dict[str, PanelSpec] = {}
    said_by: dict[str, int] = {}
    sound = True
    for index, panel in stated:
        found = match(named, panel.on)
        if not found and any(mark in panel.on for mark in "*?["):
            faults.add(("panel", index, "on"), f"{shown(panel.on)} names no panel")
            sound = False
        for name in found or (panel.on,):
            before = said.get(name, PanelSpec(on=name))
            said[name] = PanelSpec(
                on=name,
                assembly=panel.assembly or before.assembly,
                earth=panel.behind == "earth" or before.earth,
            )
            said_by[name] = index
    return (list(said.values()) if sound else None), said_by


def _panels_of(spec: SpaceSpec) -> Sequence[Panel]:
    """Panels of a space; none where it has faults, which are told when it is built."""
    from envelope.building.footprints import footprint_faults
    from envelope.building.rooms import room_panels

    try:
        return () if footprint_faults(spec) else room_panels(spec)
    except GeometryError:
        return ()


def _place(subject: tuple[str, str, str] | None, tables: Tables, said_by: dict[str, int]) -> Path:
    """Key that a fault of the building speaks of."""
    if subject is None:
        return ()
    table, name, key = subject
    if table == "panel" and name in said_by:
        return ("panel", said_by[name], key)
    if table not in tables.ids:
        return (table, key) if key else (table,)
    index = next((index for index, known in tables.ids[table] if known == name), None)
    if index is None:
        return (table,)
    if key == "footprint":
        model = schema.LISTS[table][0]
        given = dict(tables.of(model))[index].given()
        key = next((name for name in ("size", "footprint", "walk") if name in given), key)
    return (table, index, key)


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
    sources = [_source(table, index, building, faults) for index, table in tables.of(schema.Source)]
    receivers = [
        _receiver(table, index, building, faults) for index, table in tables.of(schema.Receiver)
    ]
    plans = _plans(tables, building, faults)
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
        materials={
            table.id: records.Material(
                id=table.id,
                relative_permittivity=table.permittivity,
                conductivity_s_m=table.conductivity,
                loss_tangent=table.loss_tangent,
            )
            for _, table in tables.of(schema.Material)
        },
        occupants={
            t.id: t.occupants for _, t in tables.of(schema.Space) if "occupants" in t.given()
        },
        furnishing_m2={t.id: t.furnishing for _, t in tables.of(schema.Space) if t.furnishing},
        assumed_source=not sources,
        notes=building.notes,
    )


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
        note=table.note,
    )


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
        standoff_m=table.standoff,
        price=table.price,
        note=table.note,
    )


def _source(
    table: schema.Source, index: int, building: Building, faults: Faults
) -> records.Source | None:
    path: Path = ("source", index, "at")
    position = None
    if table.at is not None and table.space is not None:
        if table.space not in building.space_index:
            return None
        space = building.space(table.space)
        position = _absolute(table.at, space)
        if not _stands_in(position, space, path, building, faults):
            return None
    elif table.at is not None:
        position = frozen(table.at)
        if not _stands_outdoors(position, path, building, faults):
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


def _receiver(
    table: schema.Receiver, index: int, building: Building, faults: Faults
) -> records.Receiver | None:
    if table.space not in building.space_index:
        return None
    space = building.space(table.space)
    position = _absolute(table.at, space)
    if not _stands_in(position, space, ("receiver", index, "at"), building, faults):
        return None
    size = None if table.size is None else frozen(table.size)
    if size is not None and not _box_fits(position, size, space):
        faults.add(
            ("receiver", index, "size"),
            f"the box does not fit into space {shown(space.id)}: it reaches through a panel",
        )
        return None
    return records.Receiver(id=table.id, space=space.id, position_m=position, size_m=size)


def _absolute(at: tuple[float, float, float], space: Space) -> Floats:
    """A space's own coordinates as the building's."""
    return frozen((at[0] + space.origin[0], at[1] + space.origin[1], at[2] + space.floor_m))


def _stands_in(
    position: Floats, space: Space, path: Path, building: Building, faults: Faults
) -> bool:
    from envelope.building.inside import contains, distance_to_panel, locate

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
    where = f"in space {shown(other)}" if other is not None else "outside every space"
    faults.add(
        path,
        f"the point lies {where}, not in {shown(space.id)}: it is "
        f"{format_metres(distance_m, digits=2)} from panel {shown(near.id)}; coordinates are the "
        "space's own, the height is above its floor",
    )
    return False


def _stands_outdoors(position: Floats, path: Path, building: Building, faults: Faults) -> bool:
    from envelope.building.inside import locate

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
            f"the point lies at {format_metres(float(position[2]), digits=2)}, below the ground "
            f"at {format_metres(building.site.grade_m, digits=2)}",
        )
        return False
    return True


def _box_fits(centre: Floats, size: Floats, space: Space) -> bool:
    """Whether a box lies in a space, walls that it touches allowed."""
    from envelope.building.inside import contains

    half = np.maximum(size / 2.0 - _CLEAR_M, 0.0)
    corners = (centre + half * signs for signs in itertools.product((-1.0, 1.0), repeat=3))
    if not all(contains(space, corner) for corner in corners):
        return False
    vertices = np.concatenate([panel.outline for panel in space.panels])
    return not bool(np.any(np.all(np.abs(vertices - centre) < half, axis=1)))


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
