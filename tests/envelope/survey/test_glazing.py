"""Coated glass is found from a reading through an open and a shut window.

The world is an ordinary analysis of the room with the glass that is really there; the job that is
asked says what its writer believed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import envelope
from envelope.project import load_text
from envelope.survey import glazing_found, planned
from envelope.survey.glazing import _window_between
from envelope.text.surveys import glass_words

ROOM = """format = 1
name = "room"
[construction]
exterior-wall = "solid-brick-wall"
slab = "ground-slab"
roof = "concrete-roof"
window = "{glass}"
[[storey]]
id = "ground"
floor = "0 ft"
[[space]]
id = "room"
storey = "ground"
size = "12 ft x 10 ft"
height = "8 ft"
furnishing = "2 m2"
[[opening]]
id = "W1"
on = "room/south wall"
kind = "window"
at = "3 ft"
sill = "3 ft"
size = "5 ft x 4 ft"
[[source]]
id = "mast"
service = "LTE 1800"
azimuth = "180 deg"
elevation = "2 deg"
{level}
[[receiver]]
id = "spot"
space = "room"
at = "6 ft 6 in, 2 ft, 4 ft"
[[plan]]
id = "aired"
states = {{ W1 = "open" }}
"""
READING = """[[reading]]
id = "{id}"
source = "mast"
space = "room"
at = "6 ft 6 in, 2 ft, 4 ft"
level = "{level:.6f} uW/m2"
spots = 6
{states}
"""


def levels(glass: str) -> tuple[float, float]:
    """Level at the spot with the window open and shut, by the analysis. [µW/m²]"""
    job = load_text(ROOM.format(glass=glass, level='level = "400 uW/m2"'), path="room.toml")
    job = replace(job, occupants={"room": 1})
    casts = envelope.cast(job)
    found = envelope.analyze(job, casts, plans=["aired", "as-built"], ranges=False)
    aired, shut = (found.plan(name).receivers[0].level_w_m2 for name in ("aired", "as-built"))
    return 1e6 * aired, 1e6 * shut


def asked(*, really: str, said: str) -> envelope.Job:
    aired, shut = levels(really)
    readings = READING.format(id="open", level=aired, states='states = { W1 = "open" }')
    readings += READING.format(id="shut", level=shut, states="")
    return load_text(ROOM.format(glass=said, level="") + readings, path="room.toml")


@pytest.mark.parametrize(
    ("really", "said", "coated"),
    [
        ("double-low-e", "double-glazing", True),
        ("double-low-e-hard", "double-low-e-hard", True),
        ("double-glazing", "double-low-e", False),
        ("single-glazing", "double-glazing", False),
    ],
)
def test_the_glass_that_is_there_is_found(really: str, said: str, coated: bool) -> None:
    asked_job = asked(really=really, said=said)
    (found,) = glazing_found(asked_job)
    assert (found.opening, found.open_reading, found.shut_reading) == ("W1", "open", "shut")
    assert found.coated is coated
    assert abs(found.nearest_db - found.measured_db) < 1.0
    wrong = {"double-low-e": coated is False, "double-glazing": coated is True}.get(said, False)
    assert ("correct its assembly" in glass_words(asked_job, found)) is wrong


def test_readings_that_are_no_pair_say_nothing() -> None:
    job = asked(really="double-glazing", said="double-glazing")
    opened, shut = job.readings
    away = replace(shut, position_m=shut.position_m + np.array([1.0, 0.0, 0.0]))
    for readings in ((opened,), (shut,), (opened, away), (shut, replace(shut, id="again"))):
        assert glazing_found(replace(job, readings=readings)) == ()


def test_a_sliding_door_of_glass_is_tested_like_a_window_and_a_wooden_one_is_not() -> None:
    """The largest pane of a room is often a door."""
    text = ROOM.format(glass="double-glazing", level='level = "400 uW/m2"').replace(
        'kind = "window"', 'kind = "door"\nassembly = "double-unknown"'
    )
    text = text.replace('sill = "3 ft"\n', "").replace("5 ft x 4 ft", "5 ft x 7 ft")
    sliding = load_text(text, path="room.toml")
    assert [name for name, _ in planned._windows(sliding, "room")] == ["W1"]
    wooden = load_text(text.replace("double-unknown", "solid-wood-door"), path="room.toml")
    assert list(planned._windows(wooden, "room")) == []
    opened, shut = asked(really="double-glazing", said="double-glazing").readings
    pair = replace(sliding, readings=(opened, shut))
    assert list(_window_between(pair, opened, shut)) == ["W1"]
    assert list(_window_between(replace(wooden, readings=pair.readings), opened, shut)) == []
