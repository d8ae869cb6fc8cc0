"""IFC2x3 and IFC4: rooms from their solids, with the elements that stand behind each panel.

Only geometry decides what lies beyond a panel; the file's own list of boundaries and its flag of
inside and outside are compared, never followed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from envelope.building.adjacency import find_facings
from envelope.building.checks import check_spaces, welded
from envelope.building.model import Panel, Space
from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.ifc.assemblies import Stacks
from envelope.exchange.ifc.behind import Shell
from envelope.exchange.ifc.bodies import IfcModel, SpaceBody
from envelope.exchange.ifc.facets import (
    Facet,
    Facets,
    cut_voids,
    facets_of,
    holes_of,
    soup_of_triangles,
)
from envelope.exchange.ifc.file import open_ifc
from envelope.exchange.ifc.materials import MaterialMap
from envelope.exchange.ifc.nearby import Around
from envelope.exchange.ifc.plan_rooms import footprint
from envelope.exchange.ifc.spaces import Laying, SpacePanels
from envelope.exchange.mesh.feature_edges import drawn_edges
from envelope.exchange.naming import counted
from envelope.exchange.records import (
    NOTHING_FOUND,
    Imported,
    ListedSpace,
    Listing,
    Note,
    PanelOrigin,
)
from envelope.exchange.select import EVERYTHING, Wanted, chosen_ids, chosen_storey
from envelope.geometry.plane import Floats

FORMAT = "IFC"
LEFT_OUT = "open air counts as standing there, so that levels come out too high; import it too"
REVEAL_M = 0.05  # a leaf that stands back no more is as good as flush
LEAST_VOID_M2 = 0.1
_KINDS = ("exterior-wall", "interior-wall", "floor", "slab", "roof", "window", "door", "skylight")


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


def _solids(
    model: IfcModel, indices: Iterable[int] | None = None
) -> tuple[dict[int, Facets], dict[int, str]]:
    """Facets of every space that has a solid, and why others have none."""
    solids: dict[int, Facets] = {}
    refused: dict[int, str] = {}
    for index in sorted(range(len(model.spaces)) if indices is None else indices):
        space = model.spaces[index]
        found = facets_of(space, index, model.source)
        if isinstance(found, str):
            refused[index] = found
        else:
            solids[index] = found
    return solids, refused


def _on_storey(path: Path, model: IfcModel, storey: str) -> str:
    known = [item.id for item in model.storeys]
    return chosen_storey(wanted=storey, known=known, source=str(path))


def _chosen(path: Path, model: IfcModel, wanted: Wanted) -> list[int]:
    """Indices of the spaces asked for."""
    spaces = wanted.spaces
    listed = list(range(len(model.spaces)))
    if wanted.storey is not None:
        key = _on_storey(path, model, wanted.storey)
        listed = [index for index in listed if model.spaces[index].storey == key]
    if spaces is None:
        return listed
    table: Mapping[str, Sequence[str]] = {
        model.spaces[index].id: model.spaces[index].names for index in listed
    }
    named = chosen_ids(wanted=spaces, known=table, source=str(path))
    return [index for index in listed if model.spaces[index].id in named]


def space_at(path: Path, *, at: tuple[float, float], storey: str | None = None) -> str:
    """Id of the space that holds a place on the plan.

    Parameters
    ----------
    path : Path
    at : (float, float)
        x and y in the model's coordinates. [m]
    storey : str, optional
        Needed where several storeys have a space there.
    """
    model = open_ifc(path)
    key = None if storey is None else _on_storey(path, model, storey)
    point = shapely.Point(at)
    near: list[tuple[float, SpaceBody]] = []
    for space in model.spaces:
        if key in (None, space.storey):
            plan = space.plan if space.plan is not None else footprint(space.triangles)
            if not plan.is_empty:
                near.append((float(plan.distance(point)), space))
    held = [space for distance_m, space in near if distance_m == 0.0]
    if len(held) == 1:
        return str(held[0].id)
    x, y = at
    if held:
        listed = ", ".join(f"{space.id} on {space.storey}" for space in held)
        raise _fault(path, f"several spaces hold ({x:g}, {y:g}) m: {listed}; say --storey")
    near.sort(key=lambda item: item[0])
    listed = ", ".join(f"{space.id}, {distance_m:.2f} m away" for distance_m, space in near[:3])
    raise _fault(
        path,
        f"no space holds ({x:g}, {y:g}) m in the model's coordinates: "
        + (f"the nearest are {listed}" if near else "the storey has none")
        + "; gapcast import --list names all of them",
    )


def import_ifc(path: Path, asked: Wanted = EVERYTHING) -> Imported:
    """Import what is asked for of an IFC file."""
    model = open_ifc(path)
    wanted = _chosen(path, model, asked)
    around = Around(model, wanted)
    solids, refused = _solids(model, around.spaces())
    if asked.spaces is not None and any(index in refused for index in wanted):
        listed = [index for index in wanted if index in refused]
        raise ModelFileError(
            [
                Fault(
                    message=f"space {model.spaces[index].id} cannot be imported: {refused[index]}",
                    location=Location(path=str(path)),
                )
                for index in listed
            ]
        )
    chosen = frozenset(index for index in wanted if index in solids)
    shell = Shell(around.elements())
    facets: list[Facet] = [facet for solid in solids.values() for facet in solid.facets]
    notes = list(model.notes) + cut_voids(facets, around.voids(), shell)
    stacks = Stacks(shell=shell, materials=MaterialMap(corrections=dict(asked.materials)))
    laying = Laying(
        ids=[space.id for space in model.spaces],
        facets=facets,
        shell=shell,
        stacks=stacks,
        chosen=chosen,
        solids=solids,
        triangles={
            index: body.triangles
            for index, body in enumerate(model.spaces)
            if body.triangles is not None
        },
    )
    laid = laying.lay()
    made = [_space(model, index, laid[index], solids[index]) for index in sorted(chosen)]
    made, why = _usable(made)
    made = _beside_refused(made, laid, why)
    for index in sorted(wanted):
        space = model.spaces[index]
        reason = refused.get(index) or why.get(space.id)
        if reason is not None:
            notes.append(Note(kind="refused", subject=space.id, message=reason))
    if not made:
        reasons = "; ".join(str(note) for note in notes if note.kind == "refused")
        raise _fault(path, f"none of its spaces can be imported: {reasons}")
    made = _agreed(made, notes)
    kept = {panel.id for space in made for panel in space.panels}
    origins: dict[str, PanelOrigin] = {}
    for panels in laid.values():
        origins |= {key: origin for key, origin in panels.origins.items() if key in kept}
    notes += _panel_notes(model, made, origins) + _void_notes(made, laying)
    notes += stacks.notes() + _ground_notes(model) + _standing_notes(model, laying)
    construction = {
        kind: laying.uses[kind].most_common(1)[0][0] if laying.uses[kind] else stacks.nothing()
        for kind in _KINDS
    }
    on = {space.storey for space in made}
    return Imported(
        source=model.source,
        format=FORMAT,
        storeys=tuple(item for item in model.storeys if item.id in on),
        spaces=tuple(made),
        origins=origins,
        notes=tuple(notes),
        assemblies=dict(stacks.assemblies),
        construction=construction,
        materials=stacks.materials.uses(),
        size_m=model.size_m,
        north_rad=model.north_rad,
        grade_m=None if model.grade is None else model.grade.height_m,
        worked_out="closed from walls, slabs and roofs, since the file has no spaces"
        if any(model.spaces[index].plan is not None for index in chosen)
        else "",
    )


def _void_notes(spaces: Sequence[Space], laying: Laying) -> list[Note]:
    """Ceilings over which a void counts as sky though the file has more farther up."""
    notes = []
    for space in spaces:
        found = laying.voids.get(space.id, {})
        area_m2 = sum(found.values())
        if area_m2 < LEAST_VOID_M2:
            continue
        name, up_m = max(found, key=lambda key: found[key])
        message = (
            f"{area_m2:.3g} m² of its ceiling count as under the open sky: over it stands a void "
            f"without a space, and what the file has past it is left out, such as {name} "
            f"{up_m:.1f} m up"
        )
        notes.append(Note(kind="gap", subject=space.id, message=message))
    return notes


def _standing_notes(model: IfcModel, laying: Laying) -> list[Note]:
    """What stands in the house and is left out; what hangs in a room and is counted."""
    notes = []
    if model.not_modelled:
        listed = ", ".join(f"{count} × {word}" for word, count in model.not_modelled.items())
        message = (
            f"{listed}: left out. Furniture absorbs: state a room's furnishing; bars of glass "
            "walls and flights of stairs stop more than what is counted"
        )
        notes.append(Note(kind="left-out", subject="", message=message))
    for (space, name), area_m2 in laying.around.hung.items():
        if area_m2 >= LEAST_VOID_M2:
            message = (
                f"{name} hangs in it under {area_m2:.3g} m²: counted as part of what closes the "
                "room there, which reaches as high as its solid in the file"
            )
            notes.append(Note(kind="remark", subject=space, message=message))
    return notes


def _ground_notes(model: IfcModel) -> list[Note]:
    """How the ground level was found, where the file draws its terrain."""
    grade = model.grade
    if grade is None:
        return []
    message = (
        f"estimated at {grade.height_m:.2f} m: the top of the drawn terrain beside the outer walls"
    )
    if grade.slopes:
        message += (
            f", which runs from {grade.low_m:.2f} to {grade.high_m:.2f} m there; one level stands "
            "for all of it, so check what lies below ground"
        )
    return [Note(kind="remark", subject="ground", message=message)]


def _space(model: IfcModel, index: int, panels: SpacePanels, solid: Facets) -> Space:
    floors = [panel for panel in panels.panels if panel.kind == "floor"]
    lowest = min(
        (float(panel.outline[:, 2].min()) for panel in floors),
        default=float(solid.corners[:, 2].min()),
    )
    return Space(
        id=model.spaces[index].id,
        storey=model.spaces[index].storey,
        panels=panels.panels,
        floor_m=lowest,
        origin=solid.corners[:, :2].min(axis=0),
    )


def _usable(spaces: Sequence[Space]) -> tuple[list[Space], dict[str, str]]:
    """Spaces that make a building together, and why the others do not.

    Of two that overlap the larger goes: files hold whole storeys and flats as spaces over rooms.
    """
    kept = list(spaces)
    why: dict[str, str] = {}
    while True:
        upward = sorted(kept, key=lambda space: space.volume_m3)
        faults = check_spaces([welded(space) for space in upward])
        bad: dict[str, str] = {}
        for fault in faults:
            subject = fault.subject[1] if fault.subject is not None else ""
            if any(space.id == subject for space in kept):
                bad.setdefault(subject, fault.message)
        if not bad:
            return kept, why
        why |= bad
        kept = [space for space in kept if space.id not in bad]


def _beside_refused(
    spaces: Sequence[Space], laid: Mapping[int, SpacePanels], refused: Mapping[str, str]
) -> list[Space]:
    """Panels that lead to a space that was refused in the end lead to one that is left out."""
    if not refused:
        return list(spaces)
    leads = {
        key: (origin.beyond or "").removeprefix("space ")
        for panels in laid.values()
        for key, origin in panels.origins.items()
    }
    return [
        replace(
            space,
            panels=tuple(
                replace(panel, unmodelled=panel.unmodelled or leads[panel.id] in refused)
                for panel in space.panels
            ),
        )
        for space in spaces
    ]


def _agreed(spaces: Sequence[Space], notes: list[Note]) -> list[Space]:
    """Where rounding left two sides naming different assemblies, the smaller panel names none."""
    panels = [panel for space in spaces for panel in space.panels]
    silent: set[str] = set()
    for index, facings in enumerate(find_facings(panels)):
        for facing in facings:
            near, far = panels[index], panels[facing.far]
            names = {near.assembly, far.assembly}
            same_sort = (near.kind in _HOSTS) == (far.kind in _HOSTS)
            if None in names or len(names) == 1 or not same_sort:
                continue
            if {near.id, far.id} & silent:
                continue
            smaller = min((near, far), key=lambda panel: panel.area_m2)
            silent.add(smaller.id)
            notes.append(
                Note(
                    kind="remark",
                    subject=smaller.id,
                    message=f"takes the assembly of {(near if smaller is far else far).id}, "
                    f"the other side of {facing.area.area:.3g} m² of it",
                )
            )
    return [
        replace(
            space,
            panels=tuple(
                replace(panel, assembly=None) if panel.id in silent else panel
                for panel in space.panels
            ),
        )
        for space in spaces
    ]


_HOSTS = ("wall", "floor", "ceiling")


def _panel_notes(
    model: IfcModel, spaces: Sequence[Space], origins: Mapping[str, PanelOrigin]
) -> list[Note]:
    """Open panels, ways into spaces that are not imported, flags of the file that are wrong."""
    notes: list[Note] = []
    for space in spaces:
        for panel in space.panels:
            beyond = origins[panel.id].beyond or ""
            other, _, thick = beyond.removeprefix("space ").partition(" beyond ")
            outside = panel.unmodelled
            if panel.kind == "open":
                where = f"towards {beyond}" if beyond.startswith("space ") else "outward"
                if outside:
                    where += f", which is not imported: {LEFT_OUT}"
                notes.append(_note("gap", panel, f"{panel.area_m2:.3g} m² stand open {where}"))
            elif outside:
                message = f"leads to {other}, which is not imported: {LEFT_OUT}"
                notes.append(_note("gap", panel, message))
            elif thick:
                message = f"leads to {other} through {thick}; rays meet its two sides in turn"
                notes.append(_note("remark", panel, message))
            if panel.assembly == NOTHING_FOUND:
                message = f"no element of the file stands behind its {panel.area_m2:.3g} m²: "
                message += "taken to stop nothing"
                if model.proxies:
                    message += f" ({model.proxies} × IfcBuildingElementProxy count as no walls)"
                notes.append(_note("gap", panel, message))
    notes.extend(_wrong_flags(model, spaces, origins))
    notes.extend(_missing_reveals(model, spaces, origins))
    return notes


def _missing_reveals(
    model: IfcModel, spaces: Sequence[Space], origins: Mapping[str, PanelOrigin]
) -> list[Note]:
    """Windows and doors whose leaf stands back from the face of their wall.

    They stay flush with it: niches would make rooms larger than the solids that the file gives.
    """
    fillings = {void.filling.id: void.filling for void in model.voids if void.filling is not None}
    depths: list[float] = []
    places: list[tuple[float, float, float]] = []
    for panel in (panel for space in spaces for panel in space.panels):
        filling = next(
            (fillings[key] for key in origins[panel.id].elements if key in fillings), None
        )
        if filling is None:
            continue
        heights = (filling.triangles.reshape(-1, 3) - panel.frame.origin) @ panel.normal
        depth = -float(heights.max())  # frames and sills reach farther in than the leaf
        if depth > REVEAL_M:
            x, y, z = panel.outline.mean(axis=0).tolist()
            depths.append(depth)
            places.append((x, y, z))
    if not depths:
        return []
    back = " to ".join(dict.fromkeys(f"{depth:.2f}" for depth in (min(depths), max(depths))))
    message = (
        f"{counted(len(depths), 'panel')} of windows and doors stand {back} m back from the face "
        "of their wall; they are taken flush with it, so that rooms keep the areas and volumes "
        "that the file gives them: their reveals are missing"
    )
    return [
        Note(
            kind="remark",
            subject="",
            message=message,
            position_m=places[0],
            others_m=tuple(places[1:]),
        )
    ]


def _wrong_flags(
    model: IfcModel, spaces: Sequence[Space], origins: Mapping[str, PanelOrigin]
) -> list[Note]:
    """Elements that the file flags as external though another space lies behind all of them."""
    notes = []
    for body in model.spaces:
        space = next((item for item in spaces if item.id == body.id), None)
        if space is None:
            continue
        flagged = {element for element, _, flag in body.listed if flag == "EXTERNAL"}
        for panel in space.panels:
            origin = origins[panel.id]
            if not (origin.beyond or "").startswith("space ") or panel.kind not in _HOSTS:
                continue
            if origin.elements[:1] and origin.elements[0] in flagged:
                message = f"the file calls it external, but it leads to {origin.beyond}"
                notes.append(_note("remark", panel, message))
    return notes


def _note(kind: str, panel: Panel, message: str) -> Note:
    x, y, z = panel.outline.mean(axis=0).tolist()
    return Note(kind=kind, subject=panel.id, message=message, position_m=(x, y, z))  # type: ignore[arg-type]


def refused_ifc(path: Path) -> tuple[Floats, tuple[Note, ...]]:
    """Edges (n, 2, 3) of the spaces of a file, and where those stand that have no usable solid.

    Where no space is drawn, the edges are those of the walls, slabs and roofs.
    """
    model = open_ifc(path, spaceless=True)
    _, refused = _solids(model)
    drawn = [body.triangles for body in model.spaces if body.triangles is not None]
    if not drawn:
        drawn = [body.triangles for body in model.shell]
    notes = list(model.notes) if not model.spaces else []
    for index, message in refused.items():
        body = model.spaces[index]
        if body.triangles is None:
            notes.append(Note(kind="refused", subject=body.id, message=message))
            continue
        holes = holes_of(body.triangles)
        if not len(holes):
            spots = body.triangles.reshape(-1, 3)
            holes = 0.5 * (spots.min(axis=0) + spots.max(axis=0))[np.newaxis]
        first, *others = [(float(x), float(y), float(z)) for x, y, z in holes]
        notes.append(
            Note(
                kind="refused",
                subject=body.id,
                message=message,
                position_m=first,
                others_m=tuple(others),
            )
        )
    edges = [drawn_edges(soup_of_triangles(triangles, "")) for triangles in drawn]
    return np.concatenate([np.zeros((0, 2, 3)), *edges]), tuple(notes)


def list_ifc(path: Path) -> Listing:
    """Storeys and spaces of an IFC file."""
    model = open_ifc(path)
    solids, refused = _solids(model)
    listed = []
    for index, space in enumerate(model.spaces):
        solid = solids.get(index)
        floor = 0.0
        if solid is not None:
            floor = sum(facet.whole.area for facet in solid.facets if facet.kind == "floor")
        listed.append(
            ListedSpace(
                id=space.id,
                name=space.names[1] if len(space.names) > 2 else space.names[0],
                storey=space.storey,
                area_m2=float(floor),
                volume_m3=0.0 if solid is None else solid.volume_m3,
                trouble=refused.get(index, ""),
            )
        )
    return Listing(
        source=model.source,
        format=FORMAT,
        storeys=model.storeys,
        spaces=tuple(listed),
        notes=model.notes,
    )
