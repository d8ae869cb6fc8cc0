"""Rooms from dimensions: footprints raised to closed spaces, openings cut, then assembled."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from envelope.building.assemble import assemble, find_faults
from envelope.building.model import (
    Building,
    Obstacle,
    Panel,
    Site,
    Space,
    Storey,
    said_behind,
)
from envelope.building.rooms.ceilings import volume_under
from envelope.building.rooms.footprints import footprint_faults
from envelope.building.rooms.obstacles import place_obstacles
from envelope.building.rooms.openings import cut_openings
from envelope.building.rooms.roofs import roof_of
from envelope.building.rooms.shells import room_panels
from envelope.building.rooms.specs import ObstacleSpec, OpeningSpec, PanelSpec, SpaceSpec
from envelope.building.selectors import nearest_names
from envelope.errors import Fault, GeometryError

__all__ = ["Rooms", "build_building", "finish_rooms", "raise_rooms", "room_panels"]


def _repeated(kind: str, names: Iterable[str]) -> list[Fault]:
    return [
        Fault(message=f"{kind} {name} is given {times} times", subject=(kind, name, "id"))
        for name, times in Counter(names).items()
        if times > 1
    ]


def _sound_spaces(
    specs: Sequence[SpaceSpec], storeys: Sequence[Storey], faults: list[Fault]
) -> tuple[dict[str, Space], dict[str, float]]:
    """Closed spaces without openings, and the volume that the dimensions of each give."""
    known = [storey.id for storey in storeys]
    spaces: dict[str, Space] = {}
    volumes_m3: dict[str, float] = {}
    for spec in specs:
        found = footprint_faults(spec)
        if "/" in spec.id or not spec.id:
            found.append(
                Fault(
                    message=f'a space cannot be called "{spec.id}": its id must not be empty '
                    "or contain a slash",
                    subject=("space", spec.id, "id"),
                )
            )
        if spec.storey not in known:
            found.append(
                Fault(
                    message=f'space {spec.id} stands on storey "{spec.storey}", which is not '
                    f"defined; {nearest_names(spec.storey, known)}",
                    subject=("space", spec.id, "storey"),
                )
            )
        panels: tuple[Panel, ...] = ()
        volume_m3 = 0.0
        if not found:
            try:
                roof = roof_of(spec)
                volume_m3 = volume_under(roof.every_part)
                panels = room_panels(spec, roof)
            except GeometryError as error:
                found.extend(error.faults)
        faults.extend(found)
        if not found and spec.id not in spaces:
            volumes_m3[spec.id] = volume_m3
            spaces[spec.id] = Space(
                id=spec.id,
                storey=spec.storey,
                panels=panels,
                floor_m=spec.floor_m,
                origin=spec.origin,
                raised=spec.raised,
                title=spec.title,
            )
    return spaces, volumes_m3


def _apply_panel_specs(
    spaces: dict[str, Space], specs: Sequence[PanelSpec], faults: list[Fault]
) -> dict[str, Space]:
    """Put on each panel what the project says of it."""
    owners: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for space in spaces.values():
        for index, panel in enumerate(space.panels):
            for name in (panel.id, *panel.aliases):
                owners[name].append((space.id, index))
    said: set[tuple[str, int]] = set()
    panels = {space.id: list(space.panels) for space in spaces.values()}
    for spec in specs:
        if spec.on not in owners:
            faults.append(
                Fault(
                    message=f'there is no panel "{spec.on}"; {nearest_names(spec.on, owners)}',
                    subject=("panel", spec.on, "on"),
                )
            )
            continue
        places = owners[spec.on]
        if any(place in said for place in places):
            faults.append(
                Fault(
                    message=f"panel {spec.on} is described twice",
                    subject=("panel", spec.on, "on"),
                )
            )
            continue
        for place in places:
            said.add(place)
            panel = panels[place[0]][place[1]]
            if spec.assembly is not None and panel.assembly not in (None, spec.assembly):
                faults.append(
                    Fault(
                        message=f"{panel.id} is given assembly {panel.assembly} and "
                        f"{spec.assembly}; it can have one",
                        subject=("panel", spec.on, "assembly"),
                    )
                )
                continue
            panels[place[0]][place[1]] = replace(panel, assembly=spec.assembly or panel.assembly)
            told = said_behind(
                {each.id: each for each in panels[place[0]]},
                panel.id,
                earth=spec.earth,
                unmodelled=spec.unmodelled,
            )
            panels[place[0]] = [
                replace(told.get(each.id, each), assembly=each.assembly)
                for each in panels[place[0]]
            ]
    return {name: replace(space, panels=tuple(panels[name])) for name, space in spaces.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rooms:
    """Rooms raised and their openings cut, as far as they can be."""

    spaces: tuple[Space, ...]  # those that are sound
    obstacles: tuple[Obstacle, ...]
    faults: tuple[Fault, ...]  # every one found so far


def raise_rooms(
    *,
    storeys: Sequence[Storey],
    spaces: Sequence[SpaceSpec],
    openings: Sequence[OpeningSpec] = (),
    panels: Sequence[PanelSpec] = (),
    obstacles: Sequence[ObstacleSpec] = (),
    absent: Sequence[str] = (),
) -> Rooms:
    """Rooms of their dimensions, before it is known what stands behind their panels.

    Parameters
    ----------
    storeys, spaces, openings, panels, obstacles
        As of `build_building`.
    absent : sequence of str
        Spaces that there are too, but not among `spaces`: openings in them are passed over.
    """
    faults = _repeated("storey", (storey.id for storey in storeys))
    faults += _repeated("space", (spec.id for spec in spaces))
    faults += _repeated("opening", (spec.id for spec in openings))
    faults += _repeated("dormer", (dormer.id for spec in spaces for dormer in spec.dormers))
    faults += _repeated("obstacle", (spec.id for spec in obstacles))
    if not spaces and not absent:
        faults.append(Fault(message="there is no space", subject=("space", "", "id")))
    sound, volumes_m3 = _sound_spaces(spaces, storeys, faults)
    cut, niches_m3 = cut_openings(
        spaces=sound,
        openings=openings,
        every_space=[*(spec.id for spec in spaces), *absent],
        faults=faults,
    )
    rooms = tuple(_apply_panel_specs(cut, panels, faults).values())
    faults += find_faults(rooms)
    for spec in spaces:
        if spec.id in cut and not faults:
            expected = volumes_m3[spec.id] + niches_m3[spec.id]
            got = cut[spec.id].volume_m3
            if abs(got - expected) > 1e-7 * max(1.0, expected):
                faults.append(
                    Fault(
                        message=f"space {spec.id} encloses {got:.6f} m³ where its dimensions "
                        f"give {expected:.6f} m³",
                        subject=("space", spec.id, "footprint"),
                    )
                )
    blocks = place_obstacles(obstacles, spaces=sound, faults=faults)
    bad = {fault.subject[1] for fault in faults if fault.subject and fault.subject[0] == "space"}
    return Rooms(
        spaces=tuple(space for space in rooms if space.id not in bad),
        obstacles=blocks,
        faults=tuple(faults),
    )


def finish_rooms(
    rooms: Rooms, *, site: Site, storeys: Sequence[Storey], construction: Mapping[str, str]
) -> Building:
    """Building of rooms, with elements between them and around.

    Raises
    ------
    GeometryError
        With every fault found, those of the rooms first.
    """
    faults = list(rooms.faults)
    if all(fault.subject and fault.subject[0] in ("opening", "panel") for fault in faults):
        # The rooms are sound, so what the construction lacks can be said in the same breath.
        try:
            building = assemble(
                site=site,
                storeys=storeys,
                spaces=rooms.spaces,
                construction=construction,
                obstacles=rooms.obstacles,
            )
        except GeometryError as error:
            faults.extend(error.faults)
        if not faults:
            return building
    raise GeometryError(faults)


def build_building(
    *,
    site: Site,
    storeys: Sequence[Storey],
    spaces: Sequence[SpaceSpec],
    openings: Sequence[OpeningSpec] = (),
    panels: Sequence[PanelSpec] = (),
    obstacles: Sequence[ObstacleSpec] = (),
    construction: Mapping[str, str],
) -> Building:
    """Building of rooms given by their dimensions.

    Parameters
    ----------
    site : Site
    storeys : sequence of Storey
    spaces : sequence of SpaceSpec
        Inside faces; what is left between rooms is their walls and floors.
    openings : sequence of OpeningSpec
        Each written once, also where it joins two spaces.
    panels : sequence of PanelSpec
        What is said of single panels, by id or alias.
    obstacles : sequence of ObstacleSpec
        Blocks outdoors, none of them in a space.
    construction : mapping
        Assembly id of each element kind.

    Raises
    ------
    GeometryError
        With every fault found.
    """
    rooms = raise_rooms(
        storeys=storeys, spaces=spaces, openings=openings, panels=panels, obstacles=obstacles
    )
    return finish_rooms(rooms, site=site, storeys=storeys, construction=construction)
