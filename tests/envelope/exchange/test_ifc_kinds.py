"""IFC files as other programs write them: units, schemas, parts, places, and spaces that fail."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.cli import main
from envelope.errors import ModelFileError
from envelope.exchange import Imported, read_model

ifcopenshell = pytest.importorskip("ifcopenshell")

House = Any  # as the conftest has it
MakeHouse = Callable[..., Any]


def named(made: House, type_: str, name: str) -> Any:
    (found,) = [item for item in made.file.by_type(type_) if item.Name == name]
    return found


def faced(made: House, corners: list[tuple[float, ...]], faces: list[list[int]]) -> Any:
    """A shape of polygons over corners, counted from 0. [mm]"""
    make = made.file.create_entity
    points = make("IfcCartesianPointList3D", corners)
    listed = [make("IfcIndexedPolygonalFace", [corner + 1 for corner in face]) for face in faces]
    body = make("IfcPolygonalFaceSet", points, None, listed)
    return make("IfcShapeRepresentation", made.context, "Body", "Tessellation", [body])


def placed(made: House) -> list[Any]:
    kinds = ("IfcBuildingElement", "IfcSpace", "IfcBuildingStorey", "IfcOpeningElement")
    return [item for kind in kinds for item in made.file.by_type(kind) if item.ObjectPlacement]


def same_as_plain(found: Imported) -> None:
    """The rooms of `house`, told by their volumes, and what stands around them."""
    assert [space.volume_m3 for space in found.spaces] == pytest.approx([30.0, 22.5], rel=1e-6)
    kinds = sorted(panel.kind for space in found.spaces for panel in space.panels)
    assert kinds == sorted([*["wall"] * 8, *["floor", "ceiling", "door"] * 2, "window", "open"])
    doors = [
        found.origins[panel.id].beyond
        for space in found.spaces
        for panel in space.panels
        if panel.kind == "door"
    ]
    assert doors == [f"space {found.spaces[1].id}", f"space {found.spaces[0].id}"]
    assert found.noted("refused") == ()
    walls = [
        found.origins[panel.id]
        for space in found.spaces
        for panel in space.panels
        if panel.kind == "wall"
    ]
    assert all(origin.type is not None for origin in walls)


def in_ifc2x3(made: House) -> None:
    made.file = ifcopenshell.file.from_string(
        made.file.to_string().replace("FILE_SCHEMA(('IFC4'))", "FILE_SCHEMA(('IFC2X3'))")
    )


def in_feet(made: House) -> None:
    """The same house, every length in feet."""
    make = made.file.create_entity
    metre = make("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
    size = make("IfcMeasureWithUnit", make("IfcLengthMeasure", 0.3048), metre)
    dimensions = make("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
    foot = make("IfcConversionBasedUnit", dimensions, "LENGTHUNIT", "FOOT", size)
    (units,) = made.file.by_type("IfcUnitAssignment")
    units.Units = [foot, *(unit for unit in units.Units if unit.UnitType != "LENGTHUNIT")]
    for point in made.file.by_type("IfcCartesianPoint"):
        point.Coordinates = tuple(float(value) / 304.8 for value in point.Coordinates)
    for profile in made.file.by_type("IfcRectangleProfileDef"):
        profile.XDim, profile.YDim = profile.XDim / 304.8, profile.YDim / 304.8
    for solid in made.file.by_type("IfcExtrudedAreaSolid"):
        solid.Depth /= 304.8
    for layer in made.file.by_type("IfcMaterialLayer"):
        layer.LayerThickness /= 304.8
    made.storey.Elevation /= 304.8


def far_away(made: House) -> None:
    """350 km east and 5,800 km north, as surveyors count, in every element's own placement."""
    for item in placed(made):
        point = item.ObjectPlacement.RelativePlacement.Location
        point.Coordinates = tuple(np.add(point.Coordinates, (3.5e8, 5.8e9, 1.1e5)))


def on_a_turned_site(made: House) -> None:
    (site,) = made.file.by_type("IfcSite")
    turn = np.radians(30.0)
    site.ObjectPlacement = made.place(
        (3.5e8, 5.8e9, 1.1e5), (float(np.cos(turn)), float(np.sin(turn)), 0.0)
    )
    for item in placed(made):
        item.ObjectPlacement.PlacementRelTo = site.ObjectPlacement


def roof_of_slabs(made: House) -> None:
    roof = made.root("IfcRoof", Name="Roof")
    slab = named(made, "IfcSlab", "roof")
    made.root("IfcRelAggregates", RelatingObject=roof, RelatedObjects=[slab])


def wall_of_parts(made: House) -> None:
    """The west wall is drawn as its parts only."""
    wall = named(made, "IfcWall", "W")
    wall.Representation = None
    parts = [
        made.solid("IfcBuildingElementPart", ((-300, 0, 3000), (-100, 3000, 5500)), Name="shell"),
        made.solid("IfcMember", ((-100, 0, 3000), (0, 3000, 5500)), Name="studs"),
    ]
    brick = made.file.create_entity("IfcMaterial", "Brick")
    made.root("IfcRelAssociatesMaterial", RelatedObjects=parts, RelatingMaterial=brick)
    made.root("IfcRelAggregates", RelatingObject=wall, RelatedObjects=parts)


def room_of_polygons(made: House) -> None:
    corners = [
        (x, y, z) for z in (0.0, 2500.0) for y in (-1500.0, 1500.0) for x in (-2000.0, 2000.0)
    ]
    faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [1, 3, 7, 5], [3, 2, 6, 7], [2, 0, 4, 6]]
    named(made, "IfcSpace", "A").Representation.Representations = [faced(made, corners, faces)]


def names_alike(made: House) -> None:
    for space in made.file.by_type("IfcSpace"):
        space.Name, space.LongName = None, "Küche ‘Süd’"


def spaces_contained(made: House) -> None:
    """Spaces hung into their storey as if they were elements."""
    for relation in made.file.by_type("IfcRelAggregates"):
        if relation.RelatedObjects[0].is_a("IfcSpace"):
            rooms = relation.RelatedObjects
            made.file.remove(relation)
    made.root(
        "IfcRelContainedInSpatialStructure",
        RelatedElements=list(rooms),
        RelatingStructure=made.storey,
    )


@pytest.mark.parametrize(
    "change",
    [
        in_ifc2x3,
        in_feet,
        far_away,
        on_a_turned_site,
        roof_of_slabs,
        wall_of_parts,
        room_of_polygons,
        names_alike,
        spaces_contained,
    ],
    ids=lambda change: change.__name__,
)
def test_the_same_house_written_otherwise(
    tmp_path: Path,
    change: Callable[[House], None],
    house: MakeHouse,
    assembled: Callable[[Imported], Building],
) -> None:
    made = house()
    change(made)
    found = read_model(made.written(tmp_path / "a.ifc"))
    same_as_plain(found)
    assert {space.storey for space in found.spaces} == {"First-floor"}
    assert len(assembled(found).spaces) == 2
    if change is wall_of_parts:
        (behind,) = [origin.names for origin in found.origins.values() if "studs" in origin.names]
        assert behind == ("studs", "shell")
    if change is names_alike:
        assert [space.id for space in found.spaces] == ["Kuche-Sud-1", "Kuche-Sud-2"]


def test_a_steep_roof_is_a_ceiling_with_its_rafters_behind(
    tmp_path: Path, house: MakeHouse
) -> None:
    made = house()
    make = made.file.create_entity
    corners = [
        (x, y, z) for z in (0.0, 2500.0) for y in (-1500.0, 1500.0) for x in (-2000.0, 2000.0)
    ]
    ridge = 2500.0 + 1500.0 * 3**0.5  # 60 degrees
    corners += [(-2000.0, 0.0, ridge), (2000.0, 0.0, ridge)]
    faces = [[0, 2, 3, 1], [0, 1, 5, 4], [3, 2, 6, 7], [1, 3, 7, 9, 5], [2, 0, 4, 8, 6]]
    faces += [[4, 5, 9, 8], [6, 8, 9, 7]]
    named(made, "IfcSpace", "A").Representation.Representations = [faced(made, corners, faces)]
    made.file.remove(named(made, "IfcSpace", "B"))
    made.file.remove(named(made, "IfcSlab", "roof"))
    slabs = []
    for south in (True, False):
        eave = 0.0 if south else 3000.0
        line = [(0.0, eave, 5500.0), (4000.0, eave, 5500.0)]
        line += [(4000.0, 1500.0, 3000.0 + ridge), (0.0, 1500.0, 3000.0 + ridge)]
        above = [(x, y, z + 400.0) for x, y, z in line]
        sides = [[k, (k + 1) % 4, 4 + (k + 1) % 4, 4 + k] for k in range(4)]
        slab = made.root("IfcSlab", Name="rafters")
        slab.ObjectPlacement = made.place((0.0, 0.0, 0.0))
        shape = faced(made, line + above, [[3, 2, 1, 0], [4, 5, 6, 7], *sides])
        slab.Representation = make("IfcProductDefinitionShape", None, None, [shape])
        slabs.append(slab)
    roof = made.root("IfcRoof", Name="Roof")
    made.root("IfcRelAggregates", RelatingObject=roof, RelatedObjects=slabs)
    (room,) = read_model(made.written(tmp_path / "a.ifc")).spaces
    found = read_model(tmp_path / "a.ifc")
    ceilings = [panel for panel in room.panels if panel.kind == "ceiling"]
    assert [panel.area_m2 for panel in ceilings] == pytest.approx([12.0, 12.0], rel=1e-6)
    assert all(found.origins[panel.id].names == ("rafters",) for panel in ceilings)


def test_of_spaces_that_overlap_the_larger_is_refused(tmp_path: Path, house: MakeHouse) -> None:
    made = house()
    gross = made.solid("IfcSpace", ((0, 0, 3000), (7100, 3000, 5500)), Name="Gross")
    for relation in made.file.by_type("IfcRelAggregates"):
        if relation.RelatedObjects[0].is_a("IfcSpace"):
            relation.RelatedObjects = [gross, *relation.RelatedObjects]
    room = named(made, "IfcSpace", "A")  # the first of the file is the large one
    room.Name, gross.Name = "Gross", "A"
    for field in ("ObjectPlacement", "Representation"):
        one, two = getattr(room, field), getattr(gross, field)
        setattr(room, field, two)
        setattr(gross, field, one)
    found = read_model(made.written(tmp_path / "a.ifc"))
    assert sorted(space.id for space in found.spaces) == ["A", "B"]
    (note,) = found.noted("refused")
    assert note.subject == "Gross"
    assert "overlap" in note.message


def test_elements_of_no_class_are_told(tmp_path: Path, house: MakeHouse) -> None:
    path = house().written(tmp_path / "a.ifc")
    path.write_text(path.read_text().replace("IFCWALL(", "IFCBUILDINGELEMENTPROXY("))
    gaps = [note for note in read_model(path).noted("gap") if "/wall" in note.subject]
    assert len(gaps) == 7
    assert all("(5 × IfcBuildingElementProxy count as no walls)" in note.message for note in gaps)


def boxed(made: House) -> None:
    make = made.file.create_entity
    for space in made.file.by_type("IfcSpace"):
        box = make("IfcBoundingBox", made.zero, 4000.0, 3000.0, 2500.0)
        shape = make("IfcShapeRepresentation", made.context, "Box", "BoundingBox", [box])
        space.Representation.Representations = [shape]


def holed(made: House) -> None:
    """Room A without its ceiling, room B gone."""
    room_of_polygons(made)
    made.file.remove(named(made, "IfcSpace", "B"))
    (faces,) = made.file.by_type("IfcPolygonalFaceSet")
    faces.Faces = [face for face in faces.Faces if tuple(face.CoordIndex) != (5, 6, 8, 7)]


def unitless(made: House) -> None:
    (project,) = made.file.by_type("IfcProject")
    project.UnitsInContext = None


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (boxed, r"A: no solid can be made of its geometry \(Box\); B: no solid"),
        (holed, r"A: its solid has a hole: a face is missing"),
        (unitless, r"names no unit of length"),
    ],
    ids=lambda change: getattr(change, "__name__", ""),
)
def test_spaces_that_are_refused(
    tmp_path: Path, change: Callable[[House], None], house: MakeHouse, says: str
) -> None:
    made = house()
    change(made)
    with pytest.raises(ModelFileError, match=says):
        read_model(made.written(tmp_path / "a.ifc"))


def test_a_refused_file_has_a_picture_of_where(
    tmp_path: Path,
    house: MakeHouse,
    bare_house: MakeHouse,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    made = house()
    holed(made)
    path = made.written(tmp_path / "holed.ifc")
    assert main(["import", str(path), "--picture", "holed.png"]) == 2
    assert "wrote holed.png: where the model was refused" in capsys.readouterr().out
    unclosed = house(spaces=False)
    (north,) = [item for item in unclosed.file.by_type("IfcWall") if item.Name == "N"]
    unclosed.file.remove(north)
    unclosed.written(tmp_path / "bare.ifc")
    assert main(["import", "bare.ifc", "--picture", "bare.png"]) == 2
    for name in ("holed.png", "bare.png"):
        assert Path(name).read_bytes().startswith(b"\x89PNG")
    capsys.readouterr()
    bare = bare_house()
    room = bare.root("IfcSpace", Name="A")
    bare.root("IfcRelAggregates", RelatingObject=bare.storey, RelatedObjects=[room])
    bare.written(tmp_path / "empty.ifc")
    assert main(["import", "empty.ifc", "--picture", "empty.png"]) == 2
    told = capsys.readouterr()
    assert "no picture: what it was refused for has no place in it" in told.out
    assert "A: it has no geometry" in told.err
    assert not Path("empty.png").exists()


def test_the_hole_of_a_refused_space_is_located(tmp_path: Path, house: MakeHouse) -> None:
    from envelope.exchange import refused_model

    made = house()
    holed(made)
    edges, notes = refused_model(made.written(tmp_path / "a.ifc"))
    (note,) = notes
    assert note.position_m == pytest.approx((2.0, 1.5, 5.5), abs=1e-6)
    assert len(edges) == 12
