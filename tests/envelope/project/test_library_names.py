"""A project file may name the starter assemblies without writing them out."""

from __future__ import annotations

import pytest

from envelope.building.job import Job
from envelope.building.library import ASSEMBLIES
from envelope.errors import ProjectFileError
from envelope.project import load_text

ROOM = """
format = 1
name = "A room of typical things"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-low-e"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "bedroom"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
[[opening]]
id = "W1"
on = "bedroom/south"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1.2 m x 1 m"
"""


def _load(text: str) -> Job:
    return load_text(text, path="room.toml")


def _message(text: str) -> str:
    with pytest.raises(ProjectFileError) as caught:
        _load(text)
    return "\n".join(str(fault) for fault in caught.value.faults)


def test_names_that_the_file_does_not_define_are_of_the_library() -> None:
    job = _load(ROOM)
    assert {element.assembly for element in job.building.elements} == {
        "timber-wall",
        "ground-slab",
        "ceiling-and-tiled-roof",
        "double-low-e",
    }
    for element in job.building.elements:
        assert element.assembly is not None
        assert job.assemblies[element.assembly] == ASSEMBLIES[element.assembly]


def test_what_the_file_defines_comes_first() -> None:
    own = '[[assembly]]\nid = "timber-wall"\nlayers = [{ material = "wood", thickness = "9 cm" }]\n'
    job = _load(ROOM + own)
    (layer,) = job.assemblies["timber-wall"].layers
    assert (layer.material, layer.thickness_m) == ("wood", 0.09)
    assert job.assemblies["ground-slab"] == ASSEMBLIES["ground-slab"]


def test_a_panel_an_opening_and_a_part_may_name_them() -> None:
    more = (
        'assembly = "single-glazing"\n'
        '[[panel]]\non = "bedroom/north"\nassembly = "both"\n'
        '[[assembly]]\nid = "both"\nparts = ["stud-wall", "solid-brick-wall"]\n'
    )
    job = _load(ROOM + more)
    used = {element.assembly for element in job.building.elements}
    assert {"single-glazing", "both"} <= used
    assert job.assemblies["both"].parts == ("stud-wall", "solid-brick-wall")
    for name in ("single-glazing", "stud-wall", "solid-brick-wall"):
        assert job.assemblies[name] == ASSEMBLIES[name]


def test_a_misspelt_name_is_told_the_nearest_of_the_library() -> None:
    message = _message(ROOM.replace('"timber-wall"', '"timber-wal"'))
    assert "room.toml:5 construction.exterior-wall" in message
    assert "timber-wall" in message


def test_a_treatment_is_not_looked_up_there() -> None:
    plan = '[[plan]]\nid = "p"\ntreat = [{ on = "bedroom/walls", with = "stud-wall" }]\n'
    assert "stud-wall" in _message(ROOM + plan)
