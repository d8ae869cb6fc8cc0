"""Rooms of files without spaces, closed from walls: the same as with them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from envelope.building.model import Building
from envelope.cli import main
from envelope.errors import ModelFileError
from envelope.exchange import Imported, list_model, read_model, space_at
from envelope.exchange.ifc.plan_rooms import prism, section_of
from envelope.project.load import load

MakeHouse = Callable[..., Any]


def facts(building: Building) -> list[tuple[float, float, list[tuple[str, float]]]]:
    """Of each room: floor area, volume, and what lies behind how much of it."""
    found = []
    order = sorted(building.spaces, key=lambda space: float(space.panels[0].outline[:, 0].min()))
    names = {space.id: index for index, space in enumerate(order)}
    for space in order:
        floor = sum(panel.area_m2 for panel in space.panels if panel.kind == "floor")
        behind: dict[str, float] = {}
        for panel in space.panels:
            for patch in building.patches_of[panel.id]:
                far = None if patch.far is None else names[building.panel(patch.far).space]
                element = building.elements[patch.element]
                key = f"{panel.kind} {element.kind} {patch.behind} {far}"
                behind[key] = behind.get(key, 0.0) + patch.area_m2
        found.append((floor, space.volume_m3, sorted(behind.items())))
    return found


def test_rooms_from_walls_are_those_with_spaces(
    house: MakeHouse, tmp_path: Path, assembled: Callable[[Imported], Building]
) -> None:
    with_spaces = assembled(read_model(house().written(tmp_path / "with.ifc")))
    imported = read_model(house(spaces=False).written(tmp_path / "without.ifc"))
    assert any("closed from walls" in note.message for note in imported.noted("guessed"))
    without = assembled(imported)
    assert len(without.spaces) == 2
    for mine, theirs in zip(facts(without), facts(with_spaces), strict=True):
        assert mine[:2] == pytest.approx(theirs[:2], rel=0.01)
        assert [key for key, _ in mine[2]] == [key for key, _ in theirs[2]]
        assert [area for _, area in mine[2]] == pytest.approx(
            [area for _, area in theirs[2]], rel=0.01
        )


def test_a_place_names_a_room(house: MakeHouse, tmp_path: Path) -> None:
    path = house(spaces=False).written(tmp_path / "a.ifc")
    rooms = {space.id: space.area_m2 for space in list_model(path).spaces}
    assert rooms[space_at(path, at=(1.0, 1.0))] == pytest.approx(12.0)
    assert rooms[space_at(path, at=(6.0, 1.0), storey="First floor")] == pytest.approx(9.0)
    with pytest.raises(ModelFileError, match=r"no space holds \(4.05, 2.5\) m .* the nearest are"):
        space_at(path, at=(4.05, 2.5))
    whole = house().written(tmp_path / "b.ifc")
    assert space_at(whole, at=(6.0, 1.0)) == "B"


def test_the_command_takes_a_place(
    house: MakeHouse,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    house(spaces=False).written(Path("a.ifc"))
    assert main(["import", "a.ifc", "--at", "6.0, 1.0 m", "-o", "job.toml"]) == 0
    capsys.readouterr()
    (room,) = load("job.toml").building.spaces
    assert room.volume_m3 == pytest.approx(9.0 * 2.5)
    assert main(["import", "a.ifc", "--at", "6.0", "-o", "other.toml"]) == 2
    assert "--at" in capsys.readouterr().err


def test_an_outline_that_does_not_close_says_where_it_leaks(
    house: MakeHouse, tmp_path: Path
) -> None:
    """The north wall ends 0.3 m before the east wall."""
    made = house(spaces=False)
    (wall,) = [item for item in made.file.by_type("IfcWall") if item.Name == "N"]
    (shape,) = wall.Representation.Representations
    shape.Items[0].SweptArea.XDim = 7100.0
    wall.ObjectPlacement.RelativePlacement.Location.Coordinates = (3250.0, 3150.0, 3000.0)
    path = made.written(tmp_path / "a.ifc")
    listed = {space.id: space for space in list_model(path).spaces}
    (closed,) = [space for space in listed.values() if not space.trouble]
    assert closed.area_m2 == pytest.approx(12.0)
    (leaks,) = [space for space in listed.values() if space.trouble]
    assert leaks.trouble.startswith("its outline leaks at (6.95, 3.00) m")
    assert "a gap of up to 0.5 m" in leaks.trouble
    with pytest.raises(ModelFileError, match="cannot be imported: its outline leaks"):
        read_model(path, spaces=[space_at(path, at=(6.0, 1.0))])


def test_walls_that_miss_each_other_by_the_pen_s_width_close(
    house: MakeHouse, tmp_path: Path
) -> None:
    made = house(spaces=False)
    (wall,) = [item for item in made.file.by_type("IfcWall") if item.Name == "M"]
    (shape,) = wall.Representation.Representations
    shape.Items[0].SweptArea.XDim = 2970.0  # 15 mm short at either end
    path = made.written(tmp_path / "a.ifc")
    areas = sorted(space.area_m2 for space in list_model(path).spaces)
    assert areas == pytest.approx([9.0, 12.0], rel=0.01)


def test_a_storey_without_walls_says_what_there_is(bare_house: Callable[[], Any], tmp_path: Path):
    made = bare_house()
    made.solid("IfcSlab", ((0, 0, 2800), (4000, 3000, 3000)), Name="floor")
    with pytest.raises(ModelFileError, match=r"its walls close none; it has 1 × IfcSlab"):
        read_model(made.written(tmp_path / "a.ifc"))


def test_heights_come_from_slabs_and_coverings(house: MakeHouse, tmp_path: Path) -> None:
    made = house(spaces=False)
    made.solid("IfcCovering", ((0, 0, 3000), (4000, 3000, 3060)), Name="screed")
    imported = read_model(made.written(tmp_path / "a.ifc"))
    volumes = sorted(space.volume_m3 for space in imported.spaces)
    assert volumes == pytest.approx([9.0 * 2.5, 12.0 * 2.44], rel=1e-3)
    assert imported.worked_out.startswith("closed from walls")
    assert read_model(house().written(tmp_path / "b.ifc")).worked_out == ""


def ring_wall() -> np.ndarray:
    """A wall that runs all round as one body: 4 × 3 m outside, 0.3 m thick, 2.5 m high."""
    outer = shapely.box(0, 0, 4, 3)
    return prism(outer.difference(shapely.box(0.3, 0.3, 3.7, 2.7)), 0.0, 2.5)


def test_the_section_of_a_ring_has_its_hole() -> None:
    found = section_of(ring_wall(), 1.0)
    assert found.area == pytest.approx(12.0 - 3.4 * 2.4)
    assert len(found.interiors) == 1
    assert section_of(ring_wall(), 2.6).is_empty


def test_a_prism_is_closed_and_holds_its_volume() -> None:
    triangles = ring_wall()
    volume = np.einsum("ij,ij->i", triangles[:, 0], np.cross(triangles[:, 1], triangles[:, 2]))
    assert volume.sum() / 6.0 == pytest.approx((12.0 - 3.4 * 2.4) * 2.5)
