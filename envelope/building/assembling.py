"""Closed spaces made a building: checked, cut into patches, given elements and a fingerprint."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

import numpy as np

from envelope.building.checks import check_spaces, welded
from envelope.building.elements import ElementMaker
from envelope.building.facing import find_facings
from envelope.building.patches import ON_EARTH_M, lay_patches
from envelope.building.records import Building, Obstacle, Panel, Patch, Site, Space, Storey
from envelope.errors import Fault, GeometryError


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


def _notes(site: Site, storeys: Sequence[Storey], spaces: Sequence[Space]) -> list[str]:
    lowest = min(storeys, key=lambda storey: storey.floor_m)
    rooms = [space for space in spaces if space.storey == lowest.id and not space.raised]
    high = [space for space in rooms if space.floor_m > site.grade_m + ON_EARTH_M]
    if not high:
        return []
    return [
        f"the storey below {lowest.id} is not modelled: "
        f"{'its floor counts' if len(high) == len(rooms) else 'some of its floors count'} "
        "as open to what lies below"
    ]


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
        storeys=storeys,
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
        notes=tuple(_notes(site, storeys, rooms)),
        obstacles=tuple(obstacles),
    )


def assemble_building(
    *,
    site: Site,
    storeys: Sequence[Storey],
    spaces: Sequence[Space],
    construction: Mapping[str, str],
) -> Building:
    """Building of closed spaces, whoever made them.

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
