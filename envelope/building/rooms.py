"""Rooms from dimensions: footprints raised to closed spaces, openings cut, then assembled."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from shapely.geometry import LineString

from envelope.building.assembling import assemble, find_faults
from envelope.building.flat import WELD_M
from envelope.building.openings import cut_openings
from envelope.building.planar import Floats
from envelope.building.records import Building, Panel, Site, Space, Storey
from envelope.building.selectors import nearest_names
from envelope.building.specs import OpeningSpec, PanelSpec, SpaceSpec
from envelope.errors import Fault, GeometryError

# Compass words by the outward direction of a wall; they mean the project's axes, not true north.
COMPASS: tuple[tuple[str, tuple[float, float]], ...] = (
    ("north", (0.0, 1.0)),
    ("east", (1.0, 0.0)),
    ("south", (0.0, -1.0)),
    ("west", (-1.0, 0.0)),
)


def footprint_faults(spec: SpaceSpec) -> list[Fault]:
    """What keeps a footprint from being one: shape, winding, height."""

    def fault(message: str, key: str = "footprint") -> Fault:
        return Fault(message=message, subject=("space", spec.id, key))

    found: list[Fault] = []
    if not (np.isfinite(spec.height_m) and spec.height_m > WELD_M):
        found.append(
            fault(f"space {spec.id} has height {spec.height_m:g} m; it must be above 0", "height")
        )
    if not np.isfinite(spec.floor_m):
        found.append(fault(f"the floor of space {spec.id} lies at {spec.floor_m} m", "storey"))
    if not np.all(np.isfinite(spec.origin)):
        found.append(fault(f"the origin of space {spec.id} is not finite", "origin"))
    corners = np.asarray(spec.corners, dtype=np.float64)
    count = len(corners)
    if count < 3:
        found.append(fault(f"space {spec.id} has {count} corners; a footprint has at least 3"))
        return found
    if not np.all(np.isfinite(corners)):
        found.append(fault(f"a corner of space {spec.id} is not finite"))
        return found
    ends = np.roll(corners, -1, axis=0)
    short = np.flatnonzero(np.hypot(*(ends - corners).T) < WELD_M)
    if len(short):
        found.append(fault(f"wall {short[0] + 1} of space {spec.id} has no length"))
        return found
    walls = [LineString([start, end]) for start, end in zip(corners, ends, strict=True)]
    for first in range(count):
        for second in range(first + 1, count):
            apart = second - first
            if apart in (1, count - 1):
                # Neighbours share a corner and must share nothing else.
                crosses = walls[first].intersection(walls[second]).length > WELD_M
            else:
                crosses = walls[first].distance(walls[second]) < WELD_M
            if crosses:
                found.append(
                    fault(
                        f"the footprint of space {spec.id} crosses itself: "
                        f"wall {first + 1} meets wall {second + 1}"
                    )
                )
                return found
    if footprint_area(corners) < 0.0:
        found.append(
            fault(
                f"the footprint of space {spec.id} runs clockwise; "
                "go round its corners counter-clockwise"
            )
        )
    return found


def footprint_area(corners: Floats) -> float:
    """Signed area of a footprint (n, 2), positive counter-clockwise. [m²]"""
    local = corners - corners[0]
    ends = np.roll(local, -1, axis=0)
    return 0.5 * float((local[:, 0] * ends[:, 1] - local[:, 1] * ends[:, 0]).sum())


def compass_aliases(corners: Floats) -> list[str | None]:
    """For each wall the compass word that it alone answers to, within 45°, or None."""
    step = np.roll(corners, -1, axis=0) - corners
    outward = np.column_stack((step[:, 1], -step[:, 0]))
    outward /= np.hypot(*outward.T)[:, np.newaxis]
    words: list[str | None] = [None] * len(corners)
    for word, direction in COMPASS:
        facing = np.flatnonzero(outward @ np.array(direction) > np.sqrt(0.5) + 1e-9)
        if len(facing) == 1:
            words[int(facing[0])] = word
    return words


def _ceiling(spec: SpaceSpec, corners: Floats) -> tuple[list[Floats], list[Panel]]:
    """Tops of the walls and the ceiling panels.

    The tops are, for each wall, the points (k, 3) that its upper edge runs through from its first
    corner to its second; ceiling panels close what the tops leave open.
    """
    top = np.column_stack((corners, np.full(len(corners), spec.floor_m + spec.height_m)))
    tops = [
        np.stack((start, end)) for start, end in zip(top, np.roll(top, -1, axis=0), strict=True)
    ]
    panel = Panel(id=f"{spec.id}/ceiling", space=spec.id, kind="ceiling", outline=top[::-1])
    return tops, [panel]


def room_panels(spec: SpaceSpec) -> tuple[Panel, ...]:
    """Walls, floor and ceiling of a room, wound so that normals point inward, nothing cut yet.

    A wall's outline starts at the foot of its first corner, which is its right-hand end seen from
    inside, and ends at the foot of its second.
    """
    corners = np.asarray(spec.corners, dtype=np.float64) + spec.origin
    foot = np.column_stack((corners, np.full(len(corners), spec.floor_m)))
    tops, ceilings = _ceiling(spec, corners)
    panels: list[Panel] = []
    for index, (top, word) in enumerate(zip(tops, compass_aliases(corners), strict=True)):
        end = foot[(index + 1) % len(foot)]
        panels.append(
            Panel(
                id=f"{spec.id}/{index + 1}",
                space=spec.id,
                kind="wall",
                outline=np.vstack((foot[index], top, end)),
                aliases=() if word is None else (f"{spec.id}/{word}",),
            )
        )
    panels.append(Panel(id=f"{spec.id}/floor", space=spec.id, kind="floor", outline=foot))
    return (*panels, *ceilings)


def _repeated(kind: str, names: Iterable[str]) -> list[Fault]:
    return [
        Fault(message=f"{kind} {name} is given {times} times", subject=(kind, name, "id"))
        for name, times in Counter(names).items()
        if times > 1
    ]


def _sound_spaces(
    specs: Sequence[SpaceSpec], storeys: Sequence[Storey], faults: list[Fault]
) -> dict[str, Space]:
    known = [storey.id for storey in storeys]
    spaces: dict[str, Space] = {}
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
        faults.extend(found)
        if not found and spec.id not in spaces:
            spaces[spec.id] = Space(
                id=spec.id,
                storey=spec.storey,
                panels=room_panels(spec),
                floor_m=spec.floor_m,
                origin=spec.origin,
                raised=spec.raised,
            )
    return spaces


def _apply_panel_specs(
    spaces: dict[str, Space], specs: Sequence[PanelSpec], faults: list[Fault]
) -> dict[str, Space]:
    """Put on each panel what the project says of it."""
    owner = {
        name: (space.id, index)
        for space in spaces.values()
        for index, panel in enumerate(space.panels)
        for name in (*panel.aliases, panel.id)
    }
    said: dict[tuple[str, int], PanelSpec] = {}
    panels = {space.id: list(space.panels) for space in spaces.values()}
    for spec in specs:
        if spec.on not in owner:
            faults.append(
                Fault(
                    message=f'there is no panel "{spec.on}"; {nearest_names(spec.on, owner)}',
                    subject=("panel", spec.on, "on"),
                )
            )
            continue
        place = owner[spec.on]
        if place in said:
            faults.append(
                Fault(
                    message=f"panel {spec.on} is described twice",
                    subject=("panel", spec.on, "on"),
                )
            )
            continue
        said[place] = spec
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
        panels[place[0]][place[1]] = replace(
            panel, assembly=spec.assembly or panel.assembly, earth=spec.earth or panel.earth
        )
    return {name: replace(space, panels=tuple(panels[name])) for name, space in spaces.items()}


def build_building(
    *,
    site: Site,
    storeys: Sequence[Storey],
    spaces: Sequence[SpaceSpec],
    openings: Sequence[OpeningSpec] = (),
    panels: Sequence[PanelSpec] = (),
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
    construction : mapping
        Assembly id of each element kind.

    Raises
    ------
    GeometryError
        With every fault found.
    """
    faults = _repeated("storey", (storey.id for storey in storeys))
    faults += _repeated("space", (spec.id for spec in spaces))
    faults += _repeated("opening", (spec.id for spec in openings))
    if not spaces:
        faults.append(Fault(message="there is no space", subject=("space", "", "id")))
    sound = _sound_spaces(spaces, storeys, faults)
    cut, niches_m3 = cut_openings(
        spaces=sound, openings=openings, every_space=[spec.id for spec in spaces], faults=faults
    )
    rooms = tuple(_apply_panel_specs(cut, panels, faults).values())
    faults += find_faults(rooms)
    for spec in spaces:
        if spec.id in cut and not faults:
            expected = footprint_area(spec.corners) * spec.height_m + niches_m3[spec.id]
            got = cut[spec.id].volume_m3
            if abs(got - expected) > 1e-7 * max(1.0, expected):
                faults.append(
                    Fault(
                        message=f"space {spec.id} encloses {got:.6f} m³ where its dimensions "
                        f"give {expected:.6f} m³",
                        subject=("space", spec.id, "footprint"),
                    )
                )
    if all(fault.subject and fault.subject[0] in ("opening", "panel") for fault in faults):
        # The rooms are sound, so what the construction lacks can be said in the same breath.
        try:
            building = assemble(site=site, storeys=storeys, spaces=rooms, construction=construction)
        except GeometryError as error:
            faults.extend(error.faults)
        if not faults:
            return building
    raise GeometryError(faults)
