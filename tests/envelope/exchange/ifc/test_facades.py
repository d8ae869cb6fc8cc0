"""Walls of glass, leaves that are not drawn shut, and what hangs or stands in rooms."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building, Panel
from envelope.building.selectors import match
from envelope.exchange import Imported
from envelope.exchange.ifc.behind import Shell
from envelope.exchange.ifc.bodies import Body
from envelope.exchange.ifc.import_ifc import import_ifc
from envelope.exchange.ifc.type_names import thicknesses_in

MakeHouse = Callable[..., Any]


def named(made: Any, type_: str, name: str) -> Any:
    return next(item for item in made.file.by_type(type_) if item.Name == name)


def without(made: Any, type_: str, name: str) -> None:
    made.file.remove(named(made, type_, name))


def of_material(made: Any, element: Any, name: str) -> None:
    made.root(
        "IfcRelAssociatesMaterial",
        RelatedObjects=[element],
        RelatingMaterial=made.file.create_entity("IfcMaterial", name),
    )


def kinds(imported: Imported, space: str) -> dict[str, float]:
    """Area of each kind of panel of a space. [m²]"""
    found: dict[str, float] = {}
    (made,) = [item for item in imported.spaces if item.id == space]
    for panel in made.panels:
        found[panel.kind] = found.get(panel.kind, 0.0) + panel.area_m2
    return found


@pytest.fixture
def glazed(house: MakeHouse, tmp_path: Path) -> Imported:
    """The west wall is a facade: two panes over 0.5 m of spandrel, with a bar between them."""
    made = house()
    without(made, "IfcWall", "W")
    facade = made.root("IfcCurtainWall", Name="facade")
    parts = []
    for name, low, high, material in (
        ("Pane 1", (-30, 0, 3500), (0, 1500, 5500), "Glass"),
        ("Pane 2", (-30, 1500, 3500), (0, 3000, 5500), None),
        ("Spandrel", (-30, 0, 3000), (0, 3000, 3500), "Steel"),
    ):
        part = made.solid("IfcPlate", (low, high), Name=name)
        parts.append(part)
        if material:
            of_material(made, part, material)
    parts.append(made.solid("IfcMember", ((-60, 1475, 3500), (0, 1525, 5500)), Name="bar"))
    made.root("IfcRelAggregates", RelatingObject=facade, RelatedObjects=parts)
    return import_ifc(made.written(tmp_path / "facade.ifc"))


def test_panes_of_a_facade_are_windows(glazed: Imported) -> None:
    (room,) = [space for space in glazed.spaces if space.id == "A"]
    west = [panel for panel in room.panels if panel.normal[0] > 0.99]
    areas = {kind: sum(p.area_m2 for p in west if p.kind == kind) for kind in ("window", "wall")}
    assert areas == pytest.approx({"window": 3.0 * 2.0, "wall": 3.0 * 0.5}, abs=1e-6)
    assert {p.assembly for p in west if p.kind == "window"} == {"double-unknown"}


def test_a_coating_of_the_walls_misses_the_glass(glazed: Imported) -> None:
    panels = [panel for space in glazed.spaces for panel in space.panels]
    windows = {panel.id for panel in panels if panel.kind == "window"}
    assert windows
    assert not windows & set(match(panels, "A/walls"))
    assert windows & set(match(panels, "A/windows"))


def test_bars_are_told(glazed: Imported) -> None:
    (note,) = [note for note in glazed.noted("left-out") if "mullion" in note.message]
    assert "1 × bar or mullion" in note.message


def test_a_glass_partition_is_a_window_from_both_sides(house: MakeHouse, tmp_path: Path) -> None:
    made = house()
    wall = named(made, "IfcWall", "M")
    for relation in made.file.by_type("IfcRelAssociatesMaterial"):
        if wall in relation.RelatedObjects:
            made.file.remove(relation)
    of_material(made, wall, "Verbundglas VSG")
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    for space, others in (("A", 1.8), ("B", 0.0)):
        assert kinds(imported, space)["window"] - others == pytest.approx(3.0 * 2.5 - 0.8 * 2.0)


@pytest.mark.parametrize(
    "leaf",
    [
        ((4030, 500, 3000), (4830, 540, 5000)),  # swung open by 90° into room A
        ((3650, 500, 3000), (4450, 1300, 5000)),  # a drum that turns
        ((3300, 500, 4990), (4100, 1300, 5030)),  # folded under the ceiling
    ],
)
def test_a_leaf_fills_its_opening_however_it_is_drawn(
    house: MakeHouse, tmp_path: Path, assembled: Callable[[Imported], Building], leaf: Any
) -> None:
    made = house()
    door = named(made, "IfcDoor", "Door 1")
    drawn = made.solid("IfcDoor", leaf, Name="other")
    door.Representation, door.ObjectPlacement = drawn.Representation, drawn.ObjectPlacement
    made.file.remove(drawn)
    building = assembled(import_ifc(made.written(tmp_path / "a.ifc")))
    for space in ("A", "B"):
        doors = [panel for panel in building.space(space).panels if panel.kind == "door"]
        assert [panel.area_m2 for panel in doors] == pytest.approx([0.8 * 2.0])
        assert abs(doors[0].normal[0]) > 0.99


def test_the_way_through_a_wall_is_that_of_its_faces() -> None:
    def box(*sizes: float) -> Shell:
        corners = np.array([[(i >> k & 1) * sizes[k] for k in range(3)] for i in range(8)])
        quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
        faces = [(a, b, c) for a, b, c, _ in quads] + [(a, c, d) for a, _, c, d in quads]
        triangles = corners[np.array(faces)].astype(float)
        return Shell([Body(id="x", type="IfcWall", name="", triangles=triangles)])

    through = box(4.0, 0.3, 2.5).way_through(0)
    assert through is not None
    assert abs(through[1]) == pytest.approx(1.0)
    assert box(1.0, 1.0, 1.0).way_through(0) is None


def below(imported: Imported, panel: Panel) -> list[tuple[str | None, float]]:
    return [
        (layer.material, layer.thickness_m)
        for layer in imported.assemblies[str(panel.assembly)].layers
    ]


def test_a_ceiling_hung_in_the_room_counts_and_is_told(house: MakeHouse, tmp_path: Path) -> None:
    """A board 0.3 m below the top of the room: board, air, the slab."""
    made = house()
    board = made.solid("IfcCovering", ((0, 0, 5180), (4000, 3000, 5200)), Name="hung ceiling")
    of_material(made, board, "Gypsum board")
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    (ceiling,) = [p for space in imported.spaces for p in space.panels if p.id == "A/ceiling"]
    assert below(imported, ceiling) == [
        ("plasterboard", pytest.approx(0.02)),
        ("air", pytest.approx(0.3)),
        ("concrete", pytest.approx(0.2)),
    ]
    (note,) = [note for note in imported.noted("remark") if "hangs in it" in note.message]
    assert note.subject == "A"
    assert "under 12 m²" in note.message


def test_a_gallery_is_no_ceiling(house: MakeHouse, tmp_path: Path) -> None:
    """A slab at 1.1 of 2.5 m of height stands in the room."""
    made = house()
    made.solid("IfcSlab", ((0, 0, 4000), (4000, 3000, 4100)), Name="gallery")
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    (ceiling,) = [p for space in imported.spaces for p in space.panels if p.id == "A/ceiling"]
    assert below(imported, ceiling) == [("concrete", pytest.approx(0.2))]


def test_a_roof_inside_its_space_closes_it(house: MakeHouse, tmp_path: Path) -> None:
    """The solid of a room reaches 0.8 m over its roof: nothing stands at its top."""
    made = house()
    without(made, "IfcSlab", "roof")
    of_material(
        made, made.solid("IfcRoof", ((-300, -300, 4600), (7400, 3300, 4700)), Name="R"), "Concrete"
    )
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    assert "open" not in {
        panel.kind
        for space in imported.spaces
        for panel in space.panels
        if abs(panel.normal[2]) > 0.5
    }


def test_a_column_in_a_wall_is_no_hole(house: MakeHouse, tmp_path: Path) -> None:
    """The north wall ends 0.6 m from the corner, where a column of concrete stands."""
    made = house()
    wall = named(made, "IfcWall", "N")
    (shape,) = wall.Representation.Representations
    shape.Items[0].SweptArea.XDim = 6800.0
    wall.ObjectPlacement.RelativePlacement.Location.Coordinates = (4000.0, 3150.0, 3000.0)
    column = made.solid("IfcColumn", ((-300, 3000, 3000), (600, 3300, 5500)), Name="column")
    of_material(made, column, "Concrete")
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    assert "open" not in kinds(imported, "A")


def test_furniture_and_stairs_are_told(house: MakeHouse, tmp_path: Path) -> None:
    made = house()
    for number in range(3):
        made.solid("IfcFurniture", ((100, 100, 3000), (900, 900, 3500)), Name=f"chair {number}")
    stair = made.root("IfcStair", Name="stair")
    flight = made.solid("IfcStairFlight", ((2000, 100, 3000), (2900, 900, 3500)), Name="flight")
    made.root("IfcRelAggregates", RelatingObject=stair, RelatedObjects=[flight])
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    (note,) = [note for note in imported.noted("left-out") if "furniture" in note.message]
    assert note.message.startswith("3 × piece of furniture, 1 × stair: left out")


@pytest.mark.parametrize(
    ("name", "materials", "total_m", "expected"),
    [
        (
            "Wall-Ext_102Bwk-75Ins-100LBlk-12P",
            ["Plaster", "Brick, Common", "Concrete Masonry Units", "Fiberglass Batt"],
            0.289,
            [102, 75, 100, 12],
        ),
        ("Wand 17,5cm KS + 14cm WD", ["Mineralwolle", "Kalksandstein"], 0.315, [175, 140]),
        ("Partn_12P-70MStd-12P", ["Plaster", "Metal Stud Layer"], 0.094, [12, 70, 12]),
        ("Wall 300 mm", ["Brick", "Wool"], 0.3, None),
        ("102Bwk-75Ins", ["Brick", "Wool"], 0.4, None),  # does not add up
    ],
)
def test_thicknesses_from_a_type_s_name(
    name: str, materials: list[str], total_m: float, expected: list[float] | None
) -> None:
    found = thicknesses_in(name, materials, total_m=total_m)
    if expected is None:
        assert found is None
        return
    assert found is not None
    assert [round(1e3 * thick_m, 3) for _, thick_m in found] == expected
    assert {material for material, _ in found} == set(materials)


def test_a_facade_has_one_name_for_its_panes(house: MakeHouse, tmp_path: Path) -> None:
    made = house()
    without(made, "IfcWall", "W")
    facade = made.root("IfcCurtainWall", Name="facade")
    parts = []
    for name, low, high in (
        ("Pane 1", (-30, 0, 3000), (0, 1200, 5500)),
        ("Spandrel", (-30, 1200, 3000), (0, 1800, 5500)),
        ("Pane 2", (-30, 1800, 3000), (0, 3000, 5500)),
    ):
        parts.append(made.solid("IfcPlate", (low, high), Name=name))
        of_material(made, parts[-1], "Steel" if name == "Spandrel" else "Glass")
    made.root("IfcRelAggregates", RelatingObject=facade, RelatedObjects=parts)
    imported = import_ifc(made.written(tmp_path / "facade.ifc"))
    (room,) = [space for space in imported.spaces if space.id == "A"]
    named_by_it = match(list(room.panels), "A/facade")
    panes = [panel.id for panel in room.panels if panel.kind == "window" and panel.normal[0] > 0.99]
    assert sorted(named_by_it) == sorted(panes)
    assert len(panes) == 2
