"""From sound tables to rooms and a building."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from envelope.building.model import Building, Site, Space, Storey
from envelope.building.rooms.specs import OpeningSpec, PanelSpec, SpaceSpec
from envelope.building.selectors import match, plain_name
from envelope.errors import Fault, GeometryError
from envelope.project.faults import Faults
from envelope.project.opening_states import named_in_construction, shuttered_name
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.space_dimensions import obstacle_specs, space_specs
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path

if TYPE_CHECKING:
    from envelope.building.model import Panel


@dataclass(frozen=True, slots=True, kw_only=True)
class _Named:
    """A panel that will exist, as far as selectors look at it."""

    id: str
    space: str
    kind: str
    aliases: tuple[str, ...] = ()


def build(tables: Tables, faults: Faults) -> tuple[Building | None, tuple[Space, ...]]:
    """Building of sound tables, or None with its faults noted; and the spaces that are sound."""
    from envelope.building.rooms.build import finish_rooms, raise_rooms

    storeys = [Storey(id=storey.id, floor_m=storey.floor) for _, storey in tables.of(schema.Storey)]
    spaces = space_specs(tables)
    panels, said_by = _panel_specs(tables, spaces, faults)
    rooms = raise_rooms(
        storeys=storeys,
        spaces=spaces,
        openings=opening_specs(tables),
        panels=panels,
        obstacles=obstacle_specs(tables),
    )
    found = rooms.faults
    try:
        building = finish_rooms(
            rooms,
            site=Site(
                north_rad=tables.site.north,
                grade_m=tables.site.grade,
                reach_m=tables.site.reach,
            ),
            storeys=storeys,
            construction=tables.construction.by_kind(),
        )
        if not faults.tables & {"panel"}:
            return building, building.spaces
    except GeometryError as error:
        found = error.faults
    note(found, tables, said_by, faults)
    return None, rooms.spaces


def note(
    found: Iterable[Fault], tables: Tables, said_by: Mapping[str, int], faults: Faults
) -> None:
    """Note faults of rooms at the keys that they speak of."""
    for fault in found:
        faults.add(_place(fault.subject, tables, said_by), fault.marked)


def opening_specs(tables: Tables) -> list[OpeningSpec]:
    """Dimensions of every opening."""
    return [_opening(opening, tables) for _, opening in tables.of(schema.Opening)]


def _opening(opening: schema.Opening, tables: Tables) -> OpeningSpec:
    along_m, centre = opening.position()
    assembly = opening.assembly
    if opening.state == "shuttered":
        assembly = shuttered_name(opening, assembly or named_in_construction(opening, tables))
    return OpeningSpec(
        id=opening.id,
        title=opening.title,
        on=plain_name(opening.on),
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
        frame_m=opening.frame,
        frame_assembly=opening.frame_assembly,
        tilt_m=opening.tilt_m,
        state=opening.state,
        assembly=assembly,
    )


def _panel_specs(
    tables: Tables, spaces: Sequence[SpaceSpec], faults: Faults
) -> tuple[list[PanelSpec], dict[str, int]]:
    """What is said of single panels: globs and groups spelt out, the last word on each kept.

    The far side of an opening between two spaces gets its panel only from the building, so an id
    that is not found here goes on as it stands and is judged there.
    """
    stated = [(index, panel) for index, panel in tables.of(schema.Panel) if panel.is_construction]
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
    for index, panel in stated:
        found = match(named, panel.on)
        if not found and any(mark in panel.on for mark in "*?["):
            faults.add(("panel", index, "on"), f"{shown(panel.on)} names no panel")
            continue
        for name in found or (plain_name(panel.on),):
            before = said.get(name, PanelSpec(on=name))
            said[name] = PanelSpec(
                on=name,
                assembly=panel.assembly or before.assembly,
                earth=before.earth if panel.behind is None else panel.behind == "earth",
                unmodelled=before.unmodelled
                if panel.behind is None
                else panel.behind == "unmodelled",
            )
            said_by[name] = index
    return list(said.values()), said_by


def _panels_of(spec: SpaceSpec) -> Sequence[Panel]:
    """Panels of a space; none where it has faults, which are reported when it is built."""
    from envelope.building.rooms.build import room_panels
    from envelope.building.rooms.footprints import footprint_faults

    try:
        return () if footprint_faults(spec) else room_panels(spec)
    except GeometryError:
        return ()


def _place(
    subject: tuple[str, str, str] | None, tables: Tables, said_by: Mapping[str, int]
) -> Path:
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
