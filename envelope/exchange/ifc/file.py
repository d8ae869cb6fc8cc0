"""An IFC file opened: its spaces, its building elements and its openings, as triangles."""

from __future__ import annotations

import re
import warnings
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from envelope.building.model import Storey
from envelope.errors import Fault, Location, MissingExtraError, ModelFileError
from envelope.exchange.ifc.apart import read_apart
from envelope.exchange.ifc.archive import unpacked
from envelope.exchange.ifc.bodies import (
    UNCLASSED,
    Body,
    IfcModel,
    LayerOf,
    SpaceBody,
    Void,
)
from envelope.exchange.ifc.model_cache import keep_model, key_of, load_model
from envelope.exchange.ifc.plan_rooms import rooms_from_walls
from envelope.exchange.ifc.shapes import MALFORMED, Budget, shapes_of
from envelope.exchange.ifc.terrain import Grade, grade_of
from envelope.exchange.naming import counted, slug, unique
from envelope.exchange.records import Note
from envelope.geometry.plane import Floats

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X1", "IFC4X2", "IFC4X3", "IFC4X3_ADD1", "IFC4X3_ADD2")
# What encloses rooms, columns where a wall leaves them out.
SHELL = (
    *("IfcWall", "IfcSlab", "IfcRoof", "IfcCovering", "IfcPlate", "IfcCurtainWall"),
    "IfcColumn",
)
# What stands in a house without closing it, by the word for it.
NOT_MODELLED = {
    "IfcFurnishingElement": "piece of furniture",
    "IfcStair": "stair",
    "IfcStairFlight": "flight of stairs",
    "IfcRamp": "ramp",
    "IfcRailing": "railing",
    "IfcBeam": "beam",
    "IfcMember": "bar or mullion",
    "IfcFlowTerminal": "sanitary, electrical or heating fitting",
    "IfcFlowSegment": "pipe or duct",
    "IfcBuildingElementProxy": UNCLASSED,
}
FROM_WALLS = (
    "the file has no spaces: rooms are closed from walls, slabs and roofs, storey by storey; look "
    "at each before you trust it"
)
FILLINGS = ("IfcWindow", "IfcDoor")


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


def _library() -> ModuleType:
    try:
        import ifcopenshell
        import ifcopenshell.geom
        import ifcopenshell.util.element
        import ifcopenshell.util.placement
        import ifcopenshell.util.unit
    except ImportError:
        raise MissingExtraError(library="ifcopenshell", extra="ifc") from None
    found: ModuleType = ifcopenshell
    return found


def _check_text(plain: Path, path: Path) -> None:
    """Refuse what the library would fail on without saying why."""
    with plain.open("rb") as stream:
        head = stream.read(16_384).decode("latin-1")
        stream.seek(max(0, plain.stat().st_size - 4096))
        tail = stream.read().decode("latin-1")
    match = re.search(r"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'", head)
    if match is None:
        raise _fault(path, "is no IFC file: it names no schema")
    schema = match[1].upper().strip()
    if schema not in SCHEMAS:
        raise _fault(
            path, f"is written in {match[1]}; IFC2X3 and IFC4 can be read: export it again as one"
        )
    if "END-ISO-10303-21" not in tail:
        raise _fault(path, "is cut short: its last line is missing; copy or download it again")


def open_ifc(path: Path, *, spaceless: bool = False) -> IfcModel:
    """Read a file, or take what was read of it before: IFC2x3 or IFC4, lengths in any unit.

    Parameters
    ----------
    path : Path
    spaceless : bool
        Read one without spaces too, for a picture of what it has.

    Raises
    ------
    MissingExtraError
        Where ifcopenshell is not installed.
    ModelFileError
        Where the file is cut short, of another schema, or has no spaces.
    """
    key = key_of(path, spaceless=spaceless)
    kept = load_model(key)
    if kept is None:
        kept = read_apart(path, spaceless=spaceless)
        keep_model(key, kept)
    return kept


def read_here(path: Path, *, spaceless: bool) -> IfcModel:
    """Read a file in this process; see `open_ifc`."""
    library = _library()
    with unpacked(path) as plain:
        _check_text(plain, path)
        try:
            file = library.open(str(plain))
        except (RuntimeError, OSError, library.Error) as error:
            raise _fault(path, f"cannot be read as IFC: {error}") from None
    try:
        return _read(library, file, path, spaceless=spaceless)
    except MALFORMED as error:
        message = f"has an attribute of the wrong kind where storeys, units or spaces are: {error}"
        raise _fault(path, message) from None


def _read(library: ModuleType, file: Any, path: Path, *, spaceless: bool) -> IfcModel:
    budget = Budget(path=path)
    _drop_broken_relations(file)
    spaces = file.by_type("IfcSpace")
    if not any(getattr(unit, "UnitType", "") == "LENGTHUNIT" for unit in _units(file)):
        raise _fault(path, "names no unit of length; set one in the program it comes from")
    scale = float(library.util.unit.calculate_unit_scale(file))
    shapes, notes = shapes_of(library, file, _drawn(file), budget)
    storeys, storey_of, storey_notes = _storeys(library, file, spaces, scale)
    bodies: dict[str, Body] = {}
    for element in _elements(file):
        if element.GlobalId in shapes:
            try:
                bodies[element.GlobalId] = _body(library, element, shapes, scale)
            except MALFORMED:
                bodies[element.GlobalId] = _bare_body(element, shapes)
                message = f"{element.is_a()} whose name or materials cannot be read; its shape is"
                notes.append(Note(kind="refused", subject=element.GlobalId, message=message))
    shell = tuple(
        body for body in bodies.values() if body.type not in FILLINGS and not _filling(body)
    )
    voids = _voids(file, shapes, bodies)
    bodies_of_spaces = _space_bodies(spaces, shapes, storey_of)
    if not spaces:
        planned = rooms_from_walls(storeys=storeys, shell=shell, voids=voids)
        if not any(space.triangles is not None for space in planned.spaces):
            leaks = "; ".join(f"{space.id}: {space.trouble}" for space in planned.spaces[:6])
            why = _without_spaces(file, leaks)
            if not spaceless:
                raise _fault(path, why)
            notes.append(Note(kind="refused", subject="", message=why))
        else:
            notes.extend((Note(kind="guessed", subject="", message=FROM_WALLS), *planned.notes))
        bodies_of_spaces = planned.spaces
        on = {space.storey for space in bodies_of_spaces}
        storeys = tuple(storey for storey in storeys if storey.id in on)
    rooms = [space.triangles for space in bodies_of_spaces if space.triangles is not None]
    everything = np.concatenate(
        [np.zeros((0, 3)), *(shape.reshape(-1, 3) for shape in shapes.values())]
    )
    return IfcModel(
        source=path.name,
        schema=str(file.schema),
        storeys=storeys,
        spaces=bodies_of_spaces,
        shell=shell,
        voids=voids,
        north_rad=_north(file),
        grade=_grade(file, shapes, rooms),
        size_m=np.ptp(everything, axis=0) if len(everything) else np.zeros(3),
        notes=(*notes, *storey_notes),
        not_modelled=_not_modelled(file),
    )


def _space_bodies(
    spaces: Sequence[Any], shapes: Mapping[str, Floats], storey_of: Mapping[str, str]
) -> tuple[SpaceBody, ...]:
    names = [_space_names(space) for space in spaces]
    ids = unique(slug(listed[0] if listed else "space", keep_case=True) for listed in names)
    return tuple(
        SpaceBody(
            key=space.GlobalId,
            id=id,
            names=listed,
            storey=storey_of[space.GlobalId],
            triangles=shapes.get(space.GlobalId),
            listed=_listed(space),
            trouble=_undrawn(space),
        )
        for space, id, listed in zip(spaces, ids, names, strict=True)
    )


def _drop_broken_relations(file: Any) -> None:
    """Take out of the file read what names an opening or a leaf that is not in it.

    The library makes no shape of a wall that such a relation belongs to.
    """
    for type_, keys in (
        ("IfcRelVoidsElement", ("RelatingBuildingElement", "RelatedOpeningElement")),
        ("IfcRelFillsElement", ("RelatingOpeningElement", "RelatedBuildingElement")),
    ):
        for relation in list(file.by_type(type_)):
            try:
                whole = all(getattr(relation, key).GlobalId for key in keys)
            except MALFORMED:
                whole = False
            if not whole:
                file.remove(relation)


def _units(file: Any) -> list[Any]:
    listed = (project.UnitsInContext for project in file.by_type("IfcProject"))
    return [unit for units in listed if units is not None for unit in units.Units]


def _elements(file: Any) -> list[Any]:
    """Shell elements and fillings, and the parts of those that are drawn as parts only."""
    found: dict[int, Any] = {}
    for type_ in (*SHELL, *FILLINGS):
        for element in file.by_type(type_):
            found[element.id()] = element
            if element.Representation is None:
                # The bars of a facade are no wall.
                for relation in element.IsDecomposedBy or ():
                    for part in relation.RelatedObjects:
                        if not (element.is_a("IfcCurtainWall") and part.is_a("IfcMember")):
                            found[part.id()] = part
    return list(found.values())


def _not_modelled(file: Any) -> dict[str, int]:
    """How many elements of the file are left out, by what they are."""
    found: dict[str, int] = {}
    for type_, word in NOT_MODELLED.items():
        count = sum(1 for element in file.by_type(type_) if not _in_stair(element))
        if count:
            found[word] = count
    return found


def _in_stair(element: Any) -> bool:
    """Whether it is a part of a stair or ramp, which counts as one."""
    return any(
        relation.RelatingObject.is_a("IfcStair") or relation.RelatingObject.is_a("IfcRamp")
        for relation in getattr(element, "Decomposes", ()) or ()
    )


def _undrawn(space: Any) -> str:
    """What a space without a solid has instead."""
    shapes = () if space.Representation is None else space.Representation.Representations
    kinds = dict.fromkeys(str(shape.RepresentationIdentifier or "unnamed") for shape in shapes)
    if not kinds:
        return "it has no geometry"
    return f"no solid can be made of its geometry ({', '.join(kinds)})"


def _filling(body: Body) -> bool:
    return any(body.type.startswith(name) for name in FILLINGS)


def _without_spaces(file: Any, leaks: str) -> str:
    counts = Counter(element.is_a() for element in file.by_type("IfcElement"))
    listed = ", ".join(f"{count} × {name}" for name, count in counts.most_common(5))
    storeys = counted(len(file.by_type("IfcBuildingStorey")), "storey")
    return (
        f"has no spaces (IfcSpace), and its walls close none; it has {listed or 'no elements'} on "
        f"{storeys}{'. ' + leaks if leaks else ''}. Place rooms in the program it comes from and "
        "export them, or enter the room by its dimensions"
    )


def _drawn(file: Any) -> list[Any]:
    """Every space, shell element, filling, opening and terrain that has a representation."""
    return [
        element
        for element in (
            *file.by_type("IfcSpace"),
            *_elements(file),
            *file.by_type("IfcOpeningElement"),
            *file.by_type("IfcSite"),
        )
        if element.Representation is not None
    ]


def _placed(library: ModuleType, placement: Any) -> Floats:
    """Matrix (4, 4) of a placement, in the file's unit.

    Raises
    ------
    ValueError
        Where its directions make no axes: two alike, none, or of the plane alone. The library
        warns of these and goes on.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = library.util.placement.get_local_placement(placement)
        except Warning:
            raise ValueError("a placement whose directions make no axes") from None
    return np.asarray(found, dtype=np.float64)


def _body(library: ModuleType, element: Any, shapes: dict[str, Floats], scale: float) -> Body:
    material = library.util.element.get_material(element)
    whole = library.util.element.get_aggregate(element)
    if material is None:
        material = None if whole is None else library.util.element.get_material(whole)
    layers: tuple[LayerOf, ...] = ()
    along: Floats | None = None
    names: list[str | None] = []
    if material is not None:
        layer_set = material
        if material.is_a("IfcMaterialLayerSetUsage"):
            layer_set = material.ForLayerSet
            placement = _placed(library, element.ObjectPlacement)
            axis = {"AXIS1": 0, "AXIS2": 1, "AXIS3": 2}.get(str(material.LayerSetDirection), 1)
            sign = -1.0 if material.DirectionSense == "NEGATIVE" else 1.0
            along = sign * placement[:3, axis]
        if layer_set.is_a("IfcMaterialLayerSet"):
            layers = tuple(
                LayerOf(
                    material=layer.Material.Name if layer.Material else None,
                    thickness_m=float(layer.LayerThickness or 0.0) * scale,
                )
                for layer in layer_set.MaterialLayers
            )
        elif layer_set.is_a("IfcMaterial"):
            names = [layer_set.Name]
        elif layer_set.is_a("IfcMaterialConstituentSet"):
            names = [item.Material.Name for item in layer_set.MaterialConstituents or ()]
        elif layer_set.is_a("IfcMaterialList"):
            names = [item.Name for item in layer_set.Materials]
    return Body(
        id=element.GlobalId,
        type=element.is_a(),
        name=str(element.Name or ""),
        triangles=shapes[element.GlobalId],
        layers=layers,
        along=along,
        materials=tuple(dict.fromkeys(name for name in names if name)),
        facade=any(item is not None and item.is_a("IfcCurtainWall") for item in (element, whole)),
    )


def _bare_body(element: Any, shapes: dict[str, Floats]) -> Body:
    """An element of which no more than its shape is known."""
    return Body(
        id=element.GlobalId,
        type=element.is_a(),
        name="",
        triangles=shapes[element.GlobalId],
    )


def _voids(file: Any, shapes: dict[str, Floats], bodies: dict[str, Body]) -> tuple[Void, ...]:
    """Openings; a window or door that fills none counts as its own."""
    found: list[Void] = []
    filled: set[str] = set()
    for relation in file.by_type("IfcRelVoidsElement"):
        try:
            opening = relation.RelatedOpeningElement
            host = relation.RelatingBuildingElement.GlobalId
            fillings = [
                item.RelatedBuildingElement.GlobalId for item in getattr(opening, "HasFillings", ())
            ]
        except MALFORMED:
            continue  # what it names is not in the file
        if opening is None or opening.GlobalId not in shapes:
            continue
        filled.update(fillings)
        found.append(
            Void(
                id=opening.GlobalId,
                triangles=shapes[opening.GlobalId],
                host=host,
                filling=next((bodies[key] for key in fillings if key in bodies), None),
            )
        )
    found.extend(
        Void(id=body.id, triangles=body.triangles, host=None, filling=body)
        for body in bodies.values()
        if _filling(body) and body.id not in filled
    )
    return tuple(found)


def _space_names(space: Any) -> tuple[str, ...]:
    listed = (space.Name, space.LongName, space.GlobalId)
    return tuple(str(name) for name in listed if name)


def _listed(space: Any) -> tuple[tuple[str, str, str], ...]:
    """Bounding elements that the file lists for a space."""
    found = []
    for boundary in getattr(space, "BoundedBy", ()) or ():
        try:
            element = boundary.RelatedBuildingElement
            if element is not None:
                flag = str(boundary.InternalOrExternalBoundary)
                found.append((element.GlobalId, element.is_a(), flag))
        except MALFORMED:
            continue  # the list is compared, never followed
    return tuple(found)


def _storeys(
    library: ModuleType, file: Any, spaces: Iterable[Any], scale: float
) -> tuple[tuple[Storey, ...], dict[str, str], list[Note]]:
    """Storeys on which spaces stand, from the lowest up, and the storey of each space."""
    notes: list[Note] = []
    listed = file.by_type("IfcBuildingStorey")
    ids = dict(
        zip(
            [storey.GlobalId for storey in listed],
            unique(slug(str(storey.Name or "storey"), keep_case=True) for storey in listed),
            strict=True,
        )
    )
    heights: dict[str, float] = {}
    for storey in listed:
        stated = None if storey.Elevation is None else float(storey.Elevation) * scale
        placed = stated
        if storey.ObjectPlacement is not None:
            placed = float(_placed(library, storey.ObjectPlacement)[2, 3]) * scale
        heights[storey.GlobalId] = placed if placed is not None else 0.0
        if stated is not None and placed is not None and abs(stated - placed) > 0.01:
            message = f"stated at {stated:.3f} m, drawn at {placed:.3f} m; where it is drawn counts"
            notes.append(Note(kind="remark", subject=ids[storey.GlobalId], message=message))
    held = {
        element.id(): relation.RelatingStructure
        for relation in file.by_type("IfcRelContainedInSpatialStructure")
        for element in relation.RelatedElements
    }
    of_space: dict[str, str] = {}
    stray = False
    for space in spaces:
        whole = space
        for _ in range(10):
            relations = getattr(whole, "Decomposes", ()) or ()
            whole = relations[0].RelatingObject if relations else held.get(whole.id())
            if whole is None or whole.is_a("IfcBuildingStorey"):
                break
        if whole is not None and whole.GlobalId in ids:
            of_space[space.GlobalId] = ids[whole.GlobalId]
        else:
            of_space[space.GlobalId] = "no-storey"
            stray = True
    used = set(of_space.values()) if of_space else set(ids.values())
    storeys = [
        Storey(id=ids[key], floor_m=height) for key, height in heights.items() if ids[key] in used
    ]
    if stray:
        floor = min((storey.floor_m for storey in storeys), default=0.0)
        storeys.append(Storey(id="no-storey", floor_m=floor))
        message = "some spaces stand on no storey of the file"
        notes.append(Note(kind="remark", subject="no-storey", message=message))
    storeys.sort(key=lambda storey: storey.floor_m)
    return tuple(storeys), of_space, notes


def _north(file: Any) -> float:
    """True azimuth of the model's +y."""
    for context in file.by_type("IfcGeometricRepresentationContext", include_subtypes=False):
        direction = getattr(context, "TrueNorth", None)
        if context.ContextType == "Model" and direction is not None:
            x, y = direction.DirectionRatios[:2]
            return float(-np.arctan2(x, y)) % (2.0 * np.pi)
    return 0.0


def _grade(file: Any, shapes: Mapping[str, Floats], rooms: Sequence[Floats]) -> Grade | None:
    """Where the terrain meets the building, if the file draws one."""
    sites = [shapes[site.GlobalId] for site in file.by_type("IfcSite") if site.GlobalId in shapes]
    if not sites or not rooms:
        return None
    return grade_of(
        terrain=np.concatenate(sites),
        rooms=np.concatenate([shape.reshape(-1, 3) for shape in rooms]),
    )
