"""Tables of filled readings: what they add to a job's file, and every mistake with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from envelope.errors import ProjectFileError
from envelope.project import load_text
from envelope.project.readings_csv import with_readings

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
JOB = (
    BASE
    + """
[[visit]]
id = "first"
date = 2026-03-02

[[reading]]                # kept as it is, but for its level
id = "bed"
receiver = "pillow"
visit = "first"
level = "100 uW/m2"        # typed from the note pad
"""
)
HEAD = "id,receiver,space,at,states,spots,visit,level\n"


def filled(table: str) -> str:
    return with_readings(JOB, table=table, path="house.toml", table_path="visit.csv").text


def test_rows_become_readings_and_comments_stay() -> None:
    text = filled(
        HEAD
        + "bed,pillow,,,,9,first,120 uW/m2\n"
        + 'by-W1,,bedroom,"1.5, 0.8, 1.3 m",W1=open,6,first,0.3 V/m\n'
        + "blank,pillow,,,,9,first,\n"
    )
    assert text.startswith(BASE)
    assert "# kept as it is, but for its level" in text
    assert "# typed from the note pad" in text
    bed, window = load_text(text, path="house.toml").readings
    assert (bed.level_w_m2, bed.spots, bed.visit) == (pytest.approx(120e-6), 9, "first")
    assert window.plan.states == {"W1": "open"}
    assert window.level_w_m2 == pytest.approx(0.3**2 / 376.730313412)
    assert filled(HEAD) == JOB


def test_semicolons_and_a_unit_in_the_heading() -> None:
    text = filled("\ufeffid;receiver;off;level (uW/m2)\r\nagain;pillow;;12.5\r\n")
    assert load_text(text, path="house.toml").readings[1].level_w_m2 == pytest.approx(12.5e-6)


def test_a_table_that_was_read_before_changes_nothing() -> None:
    table = (
        HEAD
        + "bed,pillow,,,,9,first,120 uW/m2\n"
        + 'by-W1,,bedroom,"1.5, 0.8, 1.3 m",W1=open,6,first,0.3 V/m\n'
    )
    once = with_readings(JOB, table=table, path="house.toml", table_path="visit.csv")
    assert (once.added, once.changed, once.unchanged) == (("by-W1",), ("bed",), ())
    again = with_readings(once.text, table=table, path="house.toml", table_path="visit.csv")
    assert again.text == once.text
    assert (again.added, again.changed, again.unchanged) == ((), (), ("bed", "by-W1"))


MISTAKES = [
    ("", "visit.csv:1: the table is empty"),
    ("id,receiver\nx,pillow\n", 'visit.csv:1 level: there is no column "level"'),
    ("id,levle\nx,1\n", 'visit.csv:1: "levle" is no column: did you mean "level"?'),
    (HEAD + "x,pillow,,,,9,first,12\n", 'visit.csv:2 level: reading "x": "12" has no unit'),
    (HEAD + "x,pillow,,,,9,first,1,5 uW/m2\n", "visit.csv:2: 9 cells in 8 columns"),
    (HEAD + "x,pilow,,,,9,first,1 uW/m2\n", 'visit.csv:2 receiver: reading "x": there is no'),
    (HEAD + "x,pillow,,,,many,first,1 uW/m2\n", 'visit.csv:2 spots: reading "x": "many" is not'),
    (HEAD + ",pillow,,,,9,first,1 uW/m2\n", "visit.csv:2 id: id is missing"),
    (
        HEAD + "x,pillow,,,,9,first,1 uW/m2\n\nx,pillow,,,,9,first,2 uW/m2\n",
        'visit.csv:4 id: id "x" stands twice, first in line 2',
    ),
    ("id,receiver,level (uW/m2)\nx,pillow,3 V/m\n", "visit.csv:2 level: units are mixed"),
    (
        HEAD + "x,pillow,bedroom,,,9,first,1 uW/m2\n",
        'visit.csv:2 space: reading "x": space does not go with receiver',
    ),
]


@pytest.mark.parametrize(("table", "message"), MISTAKES)
def test_one_mistake_gives_one_message(table: str, message: str) -> None:
    with pytest.raises(ProjectFileError) as caught:
        filled(table)
    (fault,) = caught.value.faults
    assert str(fault).startswith(message)
