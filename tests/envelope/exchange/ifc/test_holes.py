"""Where nothing stands, a room stands open: no wall is made up for it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from envelope.building.model import Building, Panel
from envelope.exchange import Imported
from envelope.exchange.ifc.import_ifc import import_ifc


def shorten(house: Any, wall: str, length_mm: float, middle: tuple[float, float, float]) -> None:
    """Give a wall another length, about another middle."""
    (found,) = [item for item in house.file.by_type("IfcWall") if item.Name == wall]
    (shape,) = found.Representation.Representations
    shape.Items[0].SweptArea.XDim = length_mm
    found.ObjectPlacement.RelativePlacement.Location.Coordinates = middle


def opens(building: Building, space: str) -> list[Panel]:
    return [panel for panel in building.space(space).panels if panel.kind == "open"]


@pytest.fixture
def passage(house: Callable[..., Any], tmp_path: Path) -> Imported:
    """The partition ends 1.7 m before the north wall."""
    made = house()
    shorten(made, "M", 1300.0, (4050.0, 650.0, 3000.0))
    return import_ifc(made.written(tmp_path / "passage.ifc"))


def test_a_passage_that_no_wall_closes_is_open_from_both_sides(
    passage: Imported, assembled: Callable[[Imported], Building]
) -> None:
    building = assembled(passage)
    for space in ("A", "B"):
        hole = max(opens(building, space), key=lambda panel: panel.area_m2)
        assert hole.area_m2 == pytest.approx(1.7 * 2.5, rel=1e-3)
        (patch,) = [p for p in building.patches_of[hole.id] if p.behind == "space"]
        assert building.elements[patch.element].kind == "none"
    told = [note.message for note in passage.noted("gap")]
    assert sum("4.25 m² stand open towards space" in message for message in told) == 2


def test_a_missing_outer_wall_is_a_hole_of_its_area(
    house: Callable[..., Any], tmp_path: Path, assembled: Callable[[Imported], Building]
) -> None:
    made = house()
    shorten(made, "N", 5600.0, (4600.0, 3150.0, 3000.0))  # from 1.8 m on
    imported = import_ifc(made.written(tmp_path / "loggia.ifc"))
    (hole,) = opens(assembled(imported), "A")
    assert hole.area_m2 == pytest.approx(1.8 * 2.5, rel=1e-3)
    assert imported.construction["exterior-wall"] != "nothing-found"


def test_a_file_without_any_walls_keeps_panels_to_be_named(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    made = house()
    for wall in ("S", "N", "W", "E", "M"):
        shorten(made, wall, 10.0, (90_000.0, 90_000.0, 3000.0))
    imported = import_ifc(made.written(tmp_path / "no-walls.ifc"))
    walls = [p for space in imported.spaces for p in space.panels if p.kind == "wall"]
    assert {panel.assembly for panel in walls} <= {"nothing-found", None}
    assert any("no element of the file" in note.message for note in imported.noted("gap"))
