"""What counts as sky or as earth though the file has more there is told, with its area."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from envelope.building.model import Building
from envelope.exchange import Imported
from envelope.exchange.ifc.import_ifc import import_ifc
from envelope.exchange.select import Wanted


def with_roof(house: Any, above_mm: float) -> Any:
    """A second roof over the slab that the house has, this far above it."""
    low = 5700.0 + above_mm
    roof = house.solid("IfcSlab", ((-300, -300, low), (7400, 3300, low + 100)), Name="tin roof")
    house.root(
        "IfcRelAssociatesMaterial",
        RelatedObjects=[roof],
        RelatingMaterial=house.file.create_entity("IfcMaterial", "Metal sheet"),
    )
    return house


def roof_layers(imported: Imported) -> list[str | None]:
    id = imported.construction["roof"]
    return [layer.material for layer in imported.assemblies[id].layers]


def test_a_void_under_more_of_the_file_is_told(house: Callable[..., Any], tmp_path: Path) -> None:
    path = with_roof(house(), 2500.0).written(tmp_path / "attic.ifc")
    imported = import_ifc(path)
    told = {note.subject: note.message for note in imported.noted("gap")}
    assert "12 m² of its ceiling count as under the open sky" in told["A"]
    assert "9 m² of its ceiling count as under the open sky" in told["B"]
    assert "such as tin roof 2.7 m up" in told["A"]  # 0.2 m of slab, 2.5 m of void
    assert roof_layers(imported) == ["concrete"]


@pytest.mark.parametrize("above_mm", [700.0, 1100.0])
def test_a_roof_near_its_ceiling_is_found(
    house: Callable[..., Any], tmp_path: Path, above_mm: float
) -> None:
    path = with_roof(house(), above_mm).written(tmp_path / "roof.ifc")
    imported = import_ifc(path)
    assert roof_layers(imported) == ["concrete", "air", "metal"]
    assert not any("open sky" in note.message for note in imported.notes)


def test_no_void_is_told_where_the_sky_is_the_next_thing(
    house: Callable[..., Any], tmp_path: Path
) -> None:
    imported = import_ifc(house().written(tmp_path / "plain.ifc"))
    assert not any("open sky" in note.message for note in imported.notes)


def test_what_a_left_out_room_counts_as_is_what_the_building_makes_of_it(
    house: Callable[..., Any], tmp_path: Path, assembled: Callable[[Imported], Building]
) -> None:
    def told(made: Any, name: str) -> tuple[str, set[str]]:
        imported = import_ifc(made.written(tmp_path / name), Wanted(spaces=["A"]))
        building = assembled(imported)
        (note,) = [
            note
            for note in imported.notes
            if "leads to B" in note.message and building.panel(note.subject).kind == "wall"
        ]
        return note.message, {patch.behind for patch in building.patches_of[note.subject]}

    message, behind = told(house(), "upstairs.ifc")
    assert "open air counts as standing there" in message
    assert behind == {"unmodelled"}
    cellar = house()
    for item in cellar.file.by_type("IfcCartesianPoint"):
        if len(item.Coordinates) == 3 and item.Coordinates[2] >= 2000.0:
            x, y, z = item.Coordinates
            item.Coordinates = (x, y, z - 6000.0)
    message, behind = told(cellar, "cellar.ifc")
    assert "open air counts as standing there" in message
    assert behind == {"unmodelled"}
