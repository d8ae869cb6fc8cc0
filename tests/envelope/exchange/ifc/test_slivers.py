"""Solids that are sound but for steps under half a millimetre; files with a malformed attribute."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.errors import ModelFileError
from envelope.exchange import Imported
from envelope.exchange.ifc.file import open_ifc
from envelope.exchange.ifc.import_ifc import import_ifc

Outline = list[tuple[float, float]]


def prism(made: Any, space: Any, outline: Outline, low: float, high: float) -> None:
    """Give a space the solid of a footprint between two heights, as faces. [mm]"""
    make = made.file.create_entity

    def face(corners: list[tuple[float, float, float]]) -> Any:
        points = [make("IfcCartesianPoint", tuple(map(float, corner))) for corner in corners]
        return make("IfcFace", [make("IfcFaceOuterBound", make("IfcPolyLoop", points), True)])

    count = len(outline)
    faces = [
        face([(x, y, low) for x, y in outline[::-1]]),
        face([(x, y, high) for x, y in outline]),
    ]
    for k in range(count):
        (a, b), (c, d) = outline[k], outline[(k + 1) % count]
        faces.append(face([(a, b, low), (c, d, low), (c, d, high), (a, b, high)]))
    brep = make("IfcFacetedBrep", make("IfcClosedShell", faces))
    shape = make("IfcShapeRepresentation", made.context, "Body", "Brep", [brep])
    space.Representation = make("IfcProductDefinitionShape", None, None, [shape])
    space.ObjectPlacement = made.place((0.0, 0.0, 0.0))


def space_of(made: Any, name: str) -> Any:
    return next(space for space in made.file.by_type("IfcSpace") if space.Name == name)


STEPS: dict[str, Outline] = {
    "a corner cut off by 0.3 mm": [
        (0, 0), (4000, 0), (4000, 2999.8), (3999.8, 3000), (0, 3000)
    ],
    "a step of 0.4 mm in a wall": [
        (0, 0), (1700, 0), (1700, 0.4), (4000, 0.4), (4000, 3000), (0, 3000)
    ],
    "a corner drawn twice, 0.45 mm apart": [
        (0, 0), (4000, 0), (4000, 0.45), (4000, 3000), (0, 3000)
    ],
}  # fmt: skip


@pytest.mark.parametrize("outline", STEPS.values(), ids=STEPS.keys())
def test_steps_under_half_a_millimetre_are_snapped(
    house: Callable[..., Any],
    tmp_path: Path,
    assembled: Callable[[Imported], Building],
    outline: Outline,
) -> None:
    made = house()
    prism(made, space_of(made, "A"), outline, 3000.0, 5500.0)
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    assert not imported.noted("refused")
    room = assembled(imported).space("A")
    assert room.volume_m3 == pytest.approx(4.0 * 3.0 * 2.5, rel=1e-3)
    for kind, area_m2 in (("window", 1.5 * 1.2), ("door", 0.8 * 2.0)):
        found = sum(panel.area_m2 for panel in room.panels if panel.kind == kind)
        assert found == pytest.approx(area_m2, rel=1e-3)
    edges = [
        float(np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).min())
        for panel in room.panels
        for ring in (panel.outline, *panel.holes)
    ]
    assert min(edges) > 5e-4


@pytest.mark.parametrize("off_mm", [0.3, -0.3])
def test_an_opening_a_hair_from_the_corner_leaves_no_strip(
    house: Callable[..., Any],
    tmp_path: Path,
    assembled: Callable[[Imported], Building],
    off_mm: float,
) -> None:
    """A door up to the ceiling, 0.3 mm from the corner of the room and from its top."""
    made = house()
    (wall,) = [item for item in made.file.by_type("IfcWall") if item.Name == "N"]
    door = made.solid("IfcDoor", ((0, 3100, 3000), (900, 3150, 5500)), Name="tall")
    made.opening(wall, ((off_mm, 3000, 3000), (900, 3300, 5500 - off_mm)), door)
    imported = import_ifc(made.written(tmp_path / "a.ifc"))
    assert not imported.noted("refused")
    room = assembled(imported).space("A")
    (tall,) = [p for p in room.panels if p.kind == "door" and abs(p.normal[1]) > 0.99]
    assert tall.area_m2 == pytest.approx(0.9 * 2.5, rel=1e-3)
    assert min(panel.area_m2 for panel in room.panels) > 0.1


def broken(made: Any, path: Path, pattern: str, change: Callable[[str], str]) -> Path:
    """Write the file with one of its lines changed."""
    made.written(path)
    text = path.read_text()
    line = re.search(pattern, text)
    assert line is not None
    after = change(line[0])
    assert after != line[0]
    path.write_text(text.replace(line[0], after))
    return path


@pytest.mark.parametrize(
    ("pattern", "change", "lost"),
    [
        # a number where the name of the wall in the south should be
        (r"#\d+=IFCWALL\([^;]*'S'[^;]*;", lambda line: line.replace("'S'", "5"), 1),
        # an opening of the wall in the south that is in no file
        (r"#\d+=IFCRELVOIDSELEMENT\([^;]*;", lambda line: re.sub(r"#\d+\);", "#99999);", line), 0),
        (r"#\d+=IFCRELVOIDSELEMENT\([^;]*;", lambda line: re.sub(r"#\d+\);", "$);", line), 0),
        # a word for the thickness of its plaster
        (r"#\d+=IFCMATERIALLAYER\([^;]*;", lambda line: line.replace(",12.,", ",'twelve',"), 0),
        # and a height that is none
        (r"#\d+=IFCEXTRUDEDAREASOLID\([^;]*,2500.\);", lambda line: line.replace("2500.", "$"), 1),
    ],
)
def test_one_malformed_attribute_loses_one_element(
    house: Callable[..., Any],
    tmp_path: Path,
    pattern: str,
    change: Callable[[str], str],
    lost: int,
) -> None:
    made = house(spaces=False)
    whole = open_ifc(made.written(tmp_path / "whole.ifc"), spaceless=True)
    found = open_ifc(broken(made, tmp_path / "a.ifc", pattern, change), spaceless=True)
    assert len(whole.shell) - len(found.shell) == lost
    told = [note for note in found.notes if "cannot be" in note.message]
    assert len(told) >= lost


def test_a_storey_s_height_that_is_a_word_is_one_message(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    path = broken(
        house(),
        tmp_path / "a.ifc",
        r"#\d+=IFCBUILDINGSTOREY\([^;]*;",
        lambda line: line.replace("3000.", "'up'"),
    )
    with pytest.raises(ModelFileError, match="attribute of the wrong kind"):
        import_ifc(path)


def test_a_storey_placed_by_something_else_is_one_message(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    made = house()
    storey = made.file.by_type("IfcBuildingStorey")[0]
    placement, units = storey.ObjectPlacement.id(), made.file.by_type("IfcUnitAssignment")[0].id()
    path = broken(
        made,
        tmp_path / "a.ifc",
        rf"#{placement}=IFCLOCALPLACEMENT[^;]*;",
        lambda line: re.sub(r",#\d+\)", f",#{units})", line),
    )
    with pytest.raises(ModelFileError, match="attribute of the wrong kind"):
        import_ifc(path)


@pytest.mark.parametrize("ratios", ["1.,0.,0.", "1.,0."])  # along the other axis; of a plane
def test_a_storey_s_axes_that_are_none_are_one_message(
    house: Callable[..., Any], tmp_path: Path, ratios: str
) -> None:
    made = house()
    make = made.file.create_entity
    placement = made.file.by_type("IfcBuildingStorey")[0].ObjectPlacement
    placement.RelativePlacement = make(
        "IfcAxis2Placement3D",
        make("IfcCartesianPoint", (0.0, 0.0, 0.0)),
        make("IfcDirection", tuple(map(float, ratios.split(",")))),
        make("IfcDirection", (1.0, 0.0, 0.0) if ratios.count(",") == 2 else (0.0, 1.0)),
    )
    with pytest.raises(ModelFileError, match="a placement whose directions make no axes"):
        import_ifc(made.written(tmp_path / "a.ifc"))
