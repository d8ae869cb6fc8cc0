"""Readings in a project file: every mistake and its message, the schema, edits that keep them."""

from __future__ import annotations

from pathlib import Path

import pytest

from envelope.errors import EnvelopeError, LevelsError, ProjectFileError
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import Casts
from envelope.project import json_schema, load_text
from envelope.project.edit import add_plan, move_receiver, open_text, save, set_treatment
from envelope.survey import solve_levels

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
LEVEL = 'level = "850 uW/m2"\n'
READING = """
[[reading]]               # before the walls were coated
id = "by-the-window"
source = "mast"
space = "bedroom"
at = "1.5, 0.8, 1.3 m"
level = "120 uW/m2"       # mean of six places
spots = 6
tolerance = "2 dB"
states = { W1 = "open" }
"""
SURVEYED = BASE.replace(LEVEL, "") + READING


def messages(text: str) -> list[str]:
    with pytest.raises((ProjectFileError, LevelsError)) as caught:
        solve_levels(load_text(text, path="house.toml"))
    return [str(fault) for fault in caught.value.faults]


def test_what_a_reading_says() -> None:
    job = load_text(SURVEYED, path="house.toml")
    assert job.unsolved == ("mast",)
    (reading,) = job.readings
    assert reading.sources == ("mast",)
    assert reading.space == "bedroom"
    assert reading.position_m.tolist() == [1.5, 0.8, 1.3]
    assert reading.level_w_m2 == pytest.approx(120e-6)
    assert (reading.spots, reading.tolerance_db) == (6, 2.0)
    assert reading.plan.assemblies == {"bedroom/W1": None}
    assert job.sources[0].solved is None
    solved = solve_levels(job)
    assert solved.sources[0].solved is not None
    assert solved.unsolved == ()
    assert solve_levels(solved).solved == solved.solved
    assert solve_levels(solved).notes == solved.notes


def test_reading_a_file_casts_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a ray was cast")

    monkeypatch.setattr("envelope.exposure.casts.cast_job", refuse)
    monkeypatch.setattr("envelope.survey.responses.cast_job", refuse)
    assert load_text(SURVEYED, path="house.toml").unsolved == ("mast",)


def test_levels_that_are_not_solved_are_refused() -> None:
    job = load_text(SURVEYED, path="house.toml")
    with pytest.raises(EnvelopeError, match=r'no level is known of source "mast": call solve_lev'):
        job.require_levels()
    with pytest.raises(EnvelopeError, match="call solve_levels"):
        analyze(
            job=job, casts=Casts(digest=job.building.digest, receivers=(), chains={}, even=None)
        )


def test_a_field_strength_is_a_level_too() -> None:
    job = load_text(SURVEYED.replace('"120 uW/m2"', '"0.2 V/m"'), path="house.toml")
    assert job.readings[0].level_w_m2 == pytest.approx(0.2**2 / 376.730313412)


# What is changed in the file with a reading, and the one message that it then gives.
ONE_FAULT = [
    (
        '"120 uW/m2"',
        "120",
        "house.toml:66 reading[0].level: 120 is a bare number: a level is written in quotes with "
        'its unit, such as "850 uW/m2"',
    ),
    (
        '"120 uW/m2"',
        '"120 uW"',
        'house.toml:66 reading[0].level: "120 uW" has the unknown unit "uW": a level is in uW/m2, '
        'mW/m2, W/m2, V/m or dBm/m2, such as "850 uW/m2"',
    ),
    (
        '"120 uW/m2"',
        '"0 uW/m2"',
        'house.toml:66 reading[0].level: "0 uW/m2" is out of range: a level must be above 0 W/m2 '
        "and at most 1e6 W/m2",
    ),
    (
        'source = "mast"',
        'source = "mist"',
        'house.toml:63 reading[0].source: there is no source "mist": did you mean "mast"?',
    ),
    (
        'source = "mast"',
        "source = []",
        "house.toml:63 reading[0].source: the list is empty: name the source, such as "
        'source = "mast"',
    ),
    (
        'source = "mast"',
        'source = ["mast", "mast"]',
        'house.toml:63 reading[0].source: "mast" is named twice',
    ),
    (
        'source = "mast"',
        "source = 1",
        "house.toml:63 reading[0].source: 1 is not a source: write one name or a list of names, "
        'such as "mast" or ["mast", "router"]',
    ),
    (
        'space = "bedroom"\nat = "1.5',
        'space = "bathroom"\nat = "1.5',
        'house.toml:64 reading[0].space: there is no space "bathroom": did you mean "bedroom"?',
    ),
    (
        '"1.5, 0.8, 1.3 m"',
        '"6.53, 0.8, 1.3 m"',
        'house.toml:65 reading[0].at: the point lies outside every space, not in "bedroom": it '
        'is 2.33 m from panel "bedroom/2"; coordinates are the space\'s own, the height is above '
        "its floor",
    ),
    (
        'space = "bedroom"\nat = "1.5',
        'at = "1.5',
        'house.toml:64 reading[0].at: the point lies in space "bedroom": say so with '
        'space = "bedroom" and the space\'s own coordinates',
    ),
    (
        '"1.5, 0.8, 1.3 m"',
        '"1.5, 0, 1.3 m"',
        'house.toml:65 reading[0].at: the point stands on panel "bedroom/W1": keep it at least '
        "1 mm away",
    ),
    (
        "spots = 6",
        "spots = 0",
        "house.toml:67 reading[0].spots: 0 is out of range: the number of spots must be from 1 to "
        "10000",
    ),
    (
        '"2 dB"',
        '"40 dB"',
        'house.toml:68 reading[0].tolerance: "40 dB" is out of range: a tolerance must be from '
        "0 dB to 30 dB",
    ),
    (
        "spots = 6",
        'plan = "wals"',
        'house.toml:67 reading[0].plan: there is no plan "wals": did you mean "walls"?',
    ),
    (
        "spots = 6",
        'plan = ["as-built", "walls"]',
        "house.toml:67 reading[0].plan: a list is not a name: "
        'write it in quotes, such as "bedroom"',
    ),
    (
        'space = "bedroom"\nat = "1.5, 0.8, 1.3 m"\nlevel = "120',
        'receiver = "pillow"\nspace = "bedroom"\nlevel = "120',
        "house.toml:65 reading[0].space: space does not go with receiver, which says where it was "
        "taken",
    ),
    (
        'space = "bedroom"\nat = "1.5, 0.8, 1.3 m"\nlevel = "120',
        'space = ["bedroom", "hall"]\nat = "1.5, 0.8, 1.3 m"\nlevel = "120',
        "house.toml:64 reading[0].space: a list is not a name: "
        'write it in quotes, such as "bedroom"',
    ),
    (
        "spots = 6",
        'visit = "second"',
        'house.toml:67 reading[0].visit: there is no visit "second": there are none',
    ),
    (
        "spots = 6",
        'facing = "231 deg"',
        "house.toml:67 reading[0].facing: facing needs a [[meter]] with a beamwidth: one that "
        "hears from all sides faces nowhere",
    ),
    (
        "spots = 6",
        'detector = "peak"',
        'house.toml:67 reading[0].detector: a peak needs the share of the time that "mast" sends: '
        'give it detector = "average" and duty, or read the average',
    ),
    (
        "W1 = ",
        "W2 = ",
        'house.toml:69 reading[0].states.W2: there is no opening "W2": known are "W1"',
    ),
    (
        '"open"',
        '"ajar"',
        'house.toml:69 reading[0].states.W1: "ajar" is not a state: it is one of "shut", '
        '"tilted", "open", "shuttered"',
    ),
    (
        '"open"',
        '"shuttered"',
        "house.toml:69 reading[0].states.W1: a shuttered opening names what closes it, such as "
        'shutter = "roller-shutter"',
    ),
    (
        'band = "1805-1880 MHz"\n',
        'band = "1805-1880 MHz"\nlevel-tolerance = "3 dB"\n',
        "house.toml:51 source[0].level-tolerance: level-tolerance does not go with a level solved "
        "from readings, which bring their own",
    ),
    (
        "spots = 6",
        "spot = 6",
        'house.toml:67 reading[0].spot: unknown key "spot": did you mean "spots"?',
    ),
]


@pytest.mark.parametrize(("old", "new", "message"), ONE_FAULT)
def test_one_mistake_gives_one_message(old: str, new: str, message: str) -> None:
    assert SURVEYED.count(old) >= 1
    assert messages(SURVEYED.replace(old, new, 1)) == [message]


def test_a_source_has_a_level_or_a_reading() -> None:
    assert messages(BASE.replace(LEVEL, "")) == [
        "house.toml:46 source[0].level: level is missing: a source in a direction needs it, or a "
        '[[reading]] that names it; as a guess until then, write such as level = "100 uW/m2" with '
        'level-tolerance = "10 dB"'
    ]


def test_a_point_has_an_eirp_or_a_reading() -> None:
    point = 'at = "9, 9, 1 m"\n'
    directed = 'azimuth = "231 deg"\nelevation = "4 deg"\n'
    assert messages(BASE.replace(LEVEL, "").replace(directed, point)) == [
        "house.toml:46 source[0].eirp: eirp is missing: a source at a point needs it, or a "
        '[[reading]] that names it; as a guess until then, write such as eirp = "20 dBm" with '
        'level-tolerance = "10 dB"'
    ]


def test_a_faulty_reading_is_not_held_against_its_source() -> None:
    (message,) = messages(SURVEYED.replace('"120 uW/m2"', '"120"'))
    assert message.startswith("house.toml:66 reading[0].level: ")


def test_what_a_solve_cannot_do_has_its_line() -> None:
    opaque = SURVEYED.replace('loss = "6 dB"', 'loss = "200 dB"').replace(
        'loss = { "900 MHz" = "1 dB", "3.5 GHz" = "4 dB" }', 'loss = "200 dB"'
    )
    (message,) = messages(opaque.replace('states = { W1 = "open" }\n', ""))
    assert message.startswith('house.toml:63 reading[0].source: nothing of "mast" gets to this')


def test_the_schema_has_its_keys() -> None:
    schema = json_schema()
    table = schema["$defs"]["Reading"]
    assert set(table["required"]) == {"id", "level"}
    assert set(table["properties"]) == {
        *("id", "source", "off", "receiver", "space", "at", "level", "shows", "detector", "spots"),
        *("visit", "meter", "tolerance", "facing", "tilt", "plan", "states"),
    }
    assert schema["properties"]["reading"]["items"] == {"$ref": "#/$defs/Reading"}


def test_edits_and_saving_keep_a_reading(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(SURVEYED, encoding="utf-8")
    opened = open_text(path)
    text = set_treatment(
        text=opened.text, plan="walls", panel="bedroom/ceiling", treatments=["coating"]
    )
    text = add_plan(text=text, plan="more", extends="walls")
    text = move_receiver(text=text, receiver="pillow", at_m=(1.0, 1.0, 0.7))
    save(opened=opened, text=text)
    after = path.read_text(encoding="utf-8")
    assert READING in after
    before, now = (solve_levels(load_text(each, path="house.toml")) for each in (SURVEYED, after))
    assert [plan.id for plan in now.plans] == ["as-built", "walls", "more"]
    assert now.solved == before.solved
