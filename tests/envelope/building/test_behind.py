"""What lies behind each face, and rooms that just miss their neighbour."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from envelope.building.behind import UNDER, VOID, faces_of, near_misses
from envelope.cli import main
from envelope.commands.check import thick_walls
from envelope.project import load_text

TWO_ROOMS = """format = 1
name = "two rooms"
[construction]
exterior-wall = "timber-wall"
interior-wall = "stud-wall"
slab = "ground-slab"
roof = "tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "0 ft"
[[space]]
id = "bedroom"
storey = "ground"
size = "12 ft x 10 ft"
height = "8 ft"
[[space]]
id = "bath"
storey = "ground"
size = "6 ft x 10 ft"
height = "8 ft"
origin = "{x}, 0 ft"
[[opening]]
id = "W1"
on = "bedroom/south wall"
kind = "window"
at = "3 ft"
sill = "3 ft"
size = "4 ft x 4 ft"
[[receiver]]
id = "pillow"
space = "bedroom"
at = "3 ft, 4 ft, 2 ft"
"""
FOOT2 = 0.3048**2


def test_a_shared_wall_and_outer_walls_by_their_side() -> None:
    building = load_text(TWO_ROOMS.format(x="12 ft 4 1/2 in"), path="two.toml").building
    faces = {face.name: face for face in faces_of(building, "bedroom")}
    assert list(faces) == ["south wall", "east wall", "north wall", "west wall", "floor", "ceiling"]
    behind = {name: [part.behind for part in face.parts] for name, face in faces.items()}
    assert behind == {
        "south wall": ["outdoors"],
        "east wall": ["bath"],
        "north wall": ["outdoors"],
        "west wall": ["outdoors"],
        "floor": ["earth"],
        "ceiling": ["outdoors"],
    }
    assert faces["south wall"].area_m2 == pytest.approx(96 * FOOT2)  # with its window
    assert faces["east wall"].parts[0].assembly == "stud-wall"
    assert near_misses(building, "bedroom") == ()


def test_a_room_two_feet_off_is_told() -> None:
    """The shared wall has silently become an outer one: that is what a person must see."""
    building = load_text(TWO_ROOMS.format(x="14 ft 4 1/2 in"), path="two.toml").building
    face = {face.name: face for face in faces_of(building, "bedroom")}["east wall"]
    assert [(part.behind, part.assembly) for part in face.parts] == [("outdoors", "timber-wall")]
    (miss,) = near_misses(building, "bedroom")
    assert (miss.name, miss.space) == ("east wall", "bath")
    assert miss.gap_m == pytest.approx(2.375 * 0.3048)


def test_a_longer_wall_says_how_much_of_it_is_shared() -> None:
    text = TWO_ROOMS.format(x="12 ft 4 1/2 in").replace("6 ft x 10 ft", "6 ft x 5 ft")
    building = load_text(text, path="two.toml").building
    face = {face.name: face for face in faces_of(building, "bedroom")}["east wall"]
    assert [part.behind for part in face.parts] == ["bath", "outdoors"] or [
        part.behind for part in face.parts
    ] == ["outdoors", "bath"]
    assert sum(part.area_m2 for part in face.parts) == pytest.approx(80 * FOOT2, rel=2e-3)


def test_strips_within_the_construction_are_called_so() -> None:
    models = Path(__file__).parents[3] / "models"
    building = load_text((models / "house.toml").read_text("utf-8"), path="house.toml").building
    north = {face.name: face for face in faces_of(building, "bedroom")}["north wall (3)"]
    assert [part.behind for part in north.parts] == ["closet", VOID]
    assert near_misses(building, "bedroom") == ()


def test_a_floor_over_a_crawl_space_is_not_called_a_void_in_the_construction() -> None:
    text = TWO_ROOMS.format(x="12 ft 4 1/2 in").replace(
        'height = "8 ft"\n', 'height = "8 ft"\nraised = true\n'
    )
    building = load_text(text.replace("slab =", "floor ="), path="two.toml").building
    floor = {face.name: face for face in faces_of(building, "bedroom")}["floor"]
    assert [part.behind for part in floor.parts] == [UNDER]


def test_a_party_wall_that_took_the_partitions_layers_is_asked_about() -> None:
    """9 in of wall between the rooms, and a stud wall of 4 1/2 in stands in it."""
    (note,) = thick_walls(load_text(TWO_ROOMS.format(x="12 ft 9 in"), path="two.toml"))
    said = note.replace("\xa0", " ")
    assert said.startswith(
        "east wall of bedroom stands 9 in thick before bath, and stud-wall is 4 "
    )
    assert '([[panel]] on = "bedroom/2", assembly = …)' in said
    assert thick_walls(load_text(TWO_ROOMS.format(x="12 ft 4 1/2 in"), path="two.toml")) == []


def test_check_names_titles_of_rooms_and_windows_and_says_alike_questions_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    text = TWO_ROOMS.format(x="12 ft 4 1/2 in").replace(
        'id = "W1"', 'id = "W1"\ntitle = "garden window"'
    )
    for name in ("router", "phone"):
        text += f'[[source]]\nid = "{name}"\nspace = "bath"\nat = "2 ft, 2 ft, 2 ft"\n'
        text += 'band = "2.4-2.48 GHz"\neirp = "100 mW"\n'
    job = tmp_path / "two.toml"
    job.write_text(text, encoding="utf-8")
    assert main(["check", str(job)]) == 0
    said = capsys.readouterr().out
    assert "the ids to type: W1 = garden window\n" in said
    (duty,) = [line for line in said.splitlines() if ": duty. " in line]
    assert ":36 source 'router', 42 source 'phone': duty." in duty.replace(str(job), "")


def test_check_prints_it_in_the_files_measure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = tmp_path / "two.toml"
    job.write_text(TWO_ROOMS.format(x="14 ft 4 1/2 in"), encoding="utf-8")
    assert main(["check", str(job)]) == 0
    said = capsys.readouterr().out.replace("\xa0", " ").replace("\n", " ")
    assert "east wall   80.0 ft²: outdoors (timber-wall)" in said
    assert "east wall of bedroom faces bath across 2 ft 4 1/2 in" in said
    assert main(["check", str(job), "--json"]) == 0
    faces = json.loads(capsys.readouterr().out)["faces"]
    assert {face["face"] for face in faces} >= {"east wall", "floor"}


def test_a_fault_names_the_thing_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "two.toml"
    text = TWO_ROOMS.format(x="12 ft 4 1/2 in").replace("3 ft, 4 ft, 2 ft", "30 ft, 4 ft, 2 ft")
    job.write_text(text, encoding="utf-8")
    assert main(["check", str(job)]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f'{job}:33 receiver "pillow", at: the point lies outside every space')
    assert main(["check", str(job), "--json"]) == 2
    (fault,) = json.loads(capsys.readouterr().out)["faults"]
    assert (fault["key"], fault["id"]) == ("receiver[0].at", "pillow")


@pytest.mark.parametrize(("word", "same"), [("east", "x"), ("west", "x"), ("north", "y")])
def test_a_ridge_runs_along_a_compass_word(word: str, same: str) -> None:
    def ceilings(along: str) -> list[list[list[float]]]:
        text = TWO_ROOMS.format(x="12 ft 4 1/2 in").replace(
            'size = "12 ft x 10 ft"\nheight = "8 ft"',
            'size = "12 ft x 10 ft"\nheight = "8 ft"\n'
            f'ceiling = {{ shape = "gable", along = "{along}", ridge = "11 ft" }}',
        )
        building = load_text(text, path="two.toml").building
        return [p.outline.tolist() for p in building.panels if p.kind == "ceiling"]

    assert ceilings(word) == ceilings(same)


def test_skylights_are_a_group() -> None:
    text = TWO_ROOMS.format(x="12 ft 4 1/2 in") + (
        '[[opening]]\nid = "S1"\non = "bedroom/ceiling"\nkind = "skylight"\nat = "4 ft, 5 ft"\n'
        'size = "2 ft x 2 ft"\n[[treatment]]\nid = "film"\nkind = "sheet"\n'
        'sheet-resistance = "8 ohm/sq"\n[[plan]]\nid = "a"\n'
        'treat = [{ on = "bedroom/skylights", with = "film" }]\n'
        '[[plan]]\nid = "b"\ntreat = [{ on = "bedroom/West wall", with = "film" }]\n'
    )
    text = text.replace('window = "double', 'skylight = "double-glazing"\nwindow = "double')
    job = load_text(text, path="two.toml")
    assert job.plan("a").treatments == {"bedroom/S1": ("film",)}
    assert job.plan("b").treatments == {"bedroom/4": ("film",)}
