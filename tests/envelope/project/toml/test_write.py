"""What is written is read back by tomllib as the same, and by tomlkit's own account too."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.building.job import Assembly, LossCurve
from envelope.building.library import ASSEMBLIES
from envelope.project import load_text
from envelope.project.assembly_table import assembly_table, thickness_text
from envelope.project.toml import write

TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=30)
SCALARS = TEXTS | st.booleans() | st.integers(-(10**15), 10**15) | st.floats(allow_nan=False)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=8) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=20,
)


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(TEXTS, VALUES, max_size=5), TEXTS)
def test_what_is_written_reads_back(entry: dict[str, object], comment: str) -> None:
    lines = "\n".join(write.table("[here]", entry, comment))
    assert tomllib.loads(lines) == {"here": entry}
    assert tomlkit.loads(lines).unwrap() == {"here": entry}
    beside = "\n".join(write.pair(key, value, comment) for key, value in entry.items())
    assert tomllib.loads(beside) == entry
    one = write.value_of(entry, one_line=True)
    assert "\n" not in one
    assert tomllib.loads(f"x = {one}") == {"x": entry}


@given(TEXTS)
def test_a_text_is_written_on_one_line(text: str) -> None:
    assert "\n" not in write.quoted(text)
    assert tomllib.loads(f"x = {write.quoted(text)}")["x"] == text


def test_lists_of_tables_and_single_tables() -> None:
    found = {"site": {"north": "15 deg"}, "plan": [{"id": "a"}, {"id": "b b", "treat": []}]}
    lines = "\n".join(write.tables(found, keys=("site", "plan", "source")))
    assert tomllib.loads(lines) == found


JOB = """format = 1
name = "one wall"
[construction]
exterior-wall = "{wall}"
slab = "{wall}"
roof = "{wall}"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
"""


@pytest.mark.parametrize("name", sorted(ASSEMBLIES))
def test_a_starter_assembly_comes_back_as_it_is(name: str) -> None:
    lines = "\n".join(write.table("[[assembly]]", assembly_table(ASSEMBLIES[name])))
    job = load_text(f"{JOB.format(wall=name)}\n{lines}", path="room.toml")
    assert job.assemblies[name] == ASSEMBLIES[name]


MADE = [
    Assembly(id="a", loss=LossCurve(frequencies_hz=(), losses_db=(6.0,)), reflects=0.25),
    Assembly(
        id="a",
        loss=LossCurve(frequencies_hz=(0.9e9, 2.4421e9), losses_db=(4.0, 9.5)),
        loss_tolerance_db=3.0,
    ),
    Assembly(id="a", entry_loss="concrete", note='a "note"'),
    Assembly(id="a", parts=("stud-wall", "timber-wall")),
]


@pytest.mark.parametrize("made", MADE)
def test_other_assemblies_come_back_as_they_are(made: Assembly) -> None:
    lines = "\n".join(write.table("[[assembly]]", assembly_table(made)))
    job = load_text(f"{JOB.format(wall='a')}\n{lines}", path="room.toml")
    assert job.assemblies["a"] == made


def test_thicknesses_read_as_people_write_them() -> None:
    assert thickness_text(0.0125) == "12.5 mm"
    assert thickness_text(7e-6) == "0.007 mm"
    assert thickness_text(1 / 3) == "0.3333333333333333 m"


def test_nothing_else_writes_toml() -> None:
    root = Path(__file__).parents[4]
    for path in [*root.glob("envelope/project/**/*.py"), *root.glob("viewer/app/*.py")]:
        if path.name != "write.py":
            text = path.read_text("utf-8")
            assert "\\u007f" not in text, path
            assert "tomlkit" not in text, path
