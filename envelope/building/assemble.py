"""Closed spaces made a building: checked, cut into patches, given elements and a fingerprint."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from envelope.building.adjacency import find_facings
from envelope.building.checks import check_spaces, welded
from envelope.building.elements import ElementMaker
from envelope.building.model import (
    OPENING_KINDS,
    Building,
    Obstacle,
    Panel,
    Patch,
    Site,
    Space,
    Storey,
)
from envelope.building.patches import is_high, lay_patches
from envelope.errors import Fault, GeometryError

LISTED = 4  # names in one note


def fingerprint(
    *,
    site: Site,
    panels: Sequence[Panel],
    patches: Sequence[Patch],
    obstacles: Sequence[Obstacle] = (),
) -> str:
    """Digest of everything that a cast depends on.

    Assemblies, treatments and the direction of north are left out: they change no ray.
    """
    digest = hashlib.sha256()
    digest.update(np.array([site.grade_m, site.reach_m]).tobytes())
    for panel in panels:
        parts = (panel.id, panel.space, panel.kind, str(panel.host), str(panel.opening))
        digest.update("\0".join(parts).encode())
        for ring in (panel.outline, *panel.holes):
            digest.update(np.int64(len(ring)).tobytes() + ring.tobytes())
    for patch in patches:
        digest.update(f"\0{patch.panel}\0{patch.behind}\0{patch.partner}".encode())
        for outer, holes in patch.regions:
            for flat in (outer, *holes):
                digest.update(np.int64(len(flat)).tobytes() + flat.tobytes())
    for block in obstacles:
        digest.update(b"\0obstacle" + np.int64(len(block.planes)).tobytes())
        digest.update(block.planes.tobytes())
    return digest.hexdigest()


def _listed(names: Sequence[str]) -> str:
    """Names as the subject of a sentence."""
    if len(names) > LISTED:
        return f"{', '.join(names[:LISTED])} and {len(names) - LISTED} more"
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _notes(
    site: Site,
    storeys: Sequence[Storey],
    spaces: Sequence[Space],
    panels: Sequence[Panel],
    patches: Sequence[Patch],
) -> list[str]:
    """What was assumed of the ground, and of what is not modelled."""
    found: list[str] = []
    lowest = min(storeys, key=lambda storey: storey.floor_m)
    rooms = [space for space in spaces if space.storey == lowest.id and not space.raised]
    high = [space for space in rooms if is_high(space.floor_m, site)]
    if high:
        found.append(
            f"the storey below {lowest.id} is not modelled: "
            f"{'its floor counts' if len(high) == len(rooms) else 'some of its floors count'} "
            "as open to what lies below"
        )
    open_m2: dict[str, float] = defaultdict(float)
    hidden: dict[str, None] = {}
    buried: dict[str, None] = {}
    by_id = {panel.id: panel for panel in panels}
    for patch in patches:
        panel = by_id[patch.panel]
        if patch.behind == "unmodelled":
            hidden[panel.host or panel.id] = None
        if panel.kind == "floor" and patch.behind == "outdoors":
            open_m2[panel.space] += patch.area_m2 / panel.area_m2
        host = by_id.get(panel.host or "")
        in_wall = host is not None and host.kind == "wall" and not (host.earth or panel.earth)
        if panel.kind in OPENING_KINDS and in_wall and patch.behind == "earth":
            buried[panel.id] = None
    above = [space.id for space in spaces if space.storey != lowest.id and not space.raised]
    if hanging := [name for name in above if open_m2[name] > 0.5]:
        floors = "its floor counts" if len(hanging) == 1 else "their floors count"
        found.append(
            f"nothing is modelled below {_listed(hanging)}: {floors} as open to the outdoors"
        )
    if hidden:
        found.append(
            f"{_listed(list(hidden))} {'leads' if len(hidden) == 1 else 'lead'} to a part of the "
            "house that is not modelled: open air counts as standing there, below ground too, so "
            "that levels come out too high rather than too low; model it for the right ones"
        )
    if buried:
        lie, them = ("lies", "it") if len(buried) == 1 else ("lie", "them")
        found.append(
            f"{_listed(list(buried))} {lie} below grade, wholly or in part: earth counts as "
            f"standing behind {them}, since wells and cuttings are not modelled"
        )
    return found


def find_faults(spaces: Sequence[Space]) -> list[Fault]:
    """Every geometric fault of spaces, as `assemble_building` would report it."""
    found: list[Fault] = []
    rooms = [space for space in spaces if space.panels]
    found.extend(
        Fault(message=f"space {space.id} has no panels", subject=("space", space.id, "id"))
        for space in spaces
        if not space.panels
    )
    return found + check_spaces([welded(space) for space in rooms])


def assemble(
    *,
    site: Site,
    storeys: Sequence[Storey],
    spaces: Sequence[Space],
    construction: Mapping[str, str],
    obstacles: Sequence[Obstacle] = (),
) -> Building:
    """`assemble_building` for spaces that `find_faults` has already found nothing wrong with."""
    rooms = tuple(welded(space) for space in spaces)
    panels = tuple(panel for space in rooms for panel in space.panels)
    maker = ElementMaker(panels=panels, construction=construction)
    patches = lay_patches(
        site=site,
        spaces=rooms,
        panels=panels,
        facings=find_facings(panels),
        maker=maker,
    )
    faults = maker.faults()
    if faults:
        raise GeometryError(faults)
    return Building(
        site=site,
        storeys=tuple(sorted(storeys, key=lambda storey: storey.floor_m)),
        spaces=rooms,
        panels=panels,
        patches=patches,
        elements=tuple(maker.elements),
        digest=fingerprint(site=site, panels=panels, patches=patches, obstacles=obstacles),
        notes=tuple(_notes(site, storeys, rooms, panels, patches)),
        obstacles=tuple(obstacles),
    )


def assemble_building(
    *,
    site: Site,
    storeys: Sequence[Storey],
    spaces: Sequence[Space],
    construction: Mapping[str, str],
) -> Building:
    """Assemble a building of closed spaces.

    Parameters
    ----------
    site : Site
    storeys : sequence of Storey
        In any order.
    spaces : sequence of Space
        Panels wound inward; corners closer than 0.1 mm are welded.
    construction : mapping
        Assembly id of each element kind, for panels that name none themselves.

    Raises
    ------
    GeometryError
        With every fault found.
    """
    known = {storey.id for storey in storeys}
    faults = [
        Fault(
            message=f'space {space.id} stands on storey "{space.storey}", which is not defined',
            subject=("space", space.id, "storey"),
        )
        for space in spaces
        if space.storey not in known
    ]
    if not spaces:
        faults.append(Fault(message="there is no space", subject=("space", "", "id")))
    faults += find_faults(spaces)
    if faults:
        raise GeometryError(faults)
    return assemble(site=site, storeys=storeys, spaces=spaces, construction=construction)
