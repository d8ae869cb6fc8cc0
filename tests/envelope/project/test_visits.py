"""Visits, meters, switch tests, scans and resistances in a project file, and their mistakes."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from envelope.errors import ProjectFileError
from envelope.project import load_text

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
SECOND = """
[[source]]
id = "router"
space = "bedroom"
at = "3.0, 0.5, 0.5 m"
band = "2.4-2.48 GHz"
eirp = "20 dBm"
"""
VISITS = """
[[meter]]
id = "broadband"
tolerance = "2 dB"
lowest = "0.1 uW/m2"
highest = "20 mW/m2"
beamwidth = "60 deg"

[[visit]]
id = "before"
date = 2026-03-02

[[visit]]
id = "after-the-coat"
date = "2026-04-10"
plan = "walls"

[[reading]]
id = "bed"
receiver = "pillow"
visit = "before"
meter = "broadband"
level = "120 uW/m2"

[[reading]]
id = "bed-router-off"
receiver = "pillow"
visit = "before"
meter = "broadband"
level = "60 uW/m2"
off = "router"

[[reading]]
id = "bed-after"
receiver = "pillow"
visit = "after-the-coat"
meter = "broadband"
level = "0.1 uW/m2"
shows = "below"

[[scan]]
id = "jamb"
along = "bedroom/W1"
edge = "left jamb"
level = "40 uW/m2"
beside = "4 uW/m2"
visit = "after-the-coat"

[[cover-test]]
id = "foil"
on = "bedroom/W1"
receiver = "pillow"
uncovered = "9 uW/m2"
level = "2 uW/m2"
spots = 9
visit = "after-the-coat"

[[resistance]]
id = "corner"
on = "bedroom/south"
between = "far corner and bond"
resistance = "12 ohm"
visit = "after-the-coat"
"""
WHOLE = BASE + SECOND + VISITS


def test_what_visits_say() -> None:
    job = load_text(WHOLE, path="house.toml")
    bed, switched, after = job.readings
    assert bed.sources == ("mast", "router")
    assert switched.sources == ("mast",)
    assert bed.position_m.tolist() == job.receivers[0].position_m.tolist()
    assert bed.tolerance_db == 2.0
    assert (bed.plan.id, after.plan.id, after.shows) == ("as-built", "walls", "below")
    assert after.plan.treatments == job.plan("walls").treatments
    assert [visit.date.isoformat() for visit in job.visits] == ["2026-03-02", "2026-04-10"]
    assert job.meters[0].beamwidth_rad == pytest.approx(math.radians(60))
    (scan,) = job.scans
    assert (scan.along, scan.plan, scan.edge) == ("bedroom/W1", "walls", "left jamb")
    (test,) = job.cover_tests
    assert (test.panels, test.plan, test.spots) == (("bedroom/W1",), "walls", 9)
    assert test.position_m.tolist() == job.receivers[0].position_m.tolist()
    (resistance,) = job.resistances
    assert (resistance.on, resistance.resistance_ohm) == ("bedroom/1", 12.0)


def test_after_the_work_a_reading_with_the_router_off_needs_no_other_with_it_on() -> None:
    off = 'visit = "after-the-coat"\nmeter = "broadband"\noff = "router"\nlevel = "0.1'
    on = off.replace('off = "router"\n', "")
    assert WHOLE.count(on) == 1
    after = load_text(WHOLE.replace(on, off), path="house.toml").readings[2]
    assert (after.off, after.sources) == (("router",), ("mast",))


# What is changed, and the one message that it then gives.
ONE_FAULT = [
    (
        'level = "120 uW/m2"',
        'level = "0.01 uW/m2"',
        'lies below the least that meter "broadband" shows, ',
    ),
    (
        'level = "120 uW/m2"',
        'level = "30 mW/m2"',
        "lies above the most that meter",
    ),
    (
        'date = "2026-04-10"',
        "date = 2026-03-02",
        'visit "before" is of 2026-03-02 too: one visit a day',
    ),
    ('date = "2026-04-10"', 'date = "10 April"', '"10 April" is not a date: write year, month'),
    (
        'plan = "walls"\n\n[[reading]]',
        'plan = "installed"\n\n[[reading]]',
        'there is no plan "installed"',
    ),
    (
        'level = "60 uW/m2"',
        'level = "0.15 V/m"',
        'units are mixed: "bed" with the same meter on the same visit is a power density, and '
        "this is a field strength",
    ),
    ('off = "router"', 'off = ["router", "mast"]', "everything is off, so there is nothing"),
    ('along = "bedroom/W1"', 'along = "bedroom/W9"', 'there is no panel "bedroom/W9"'),
    ('on = "bedroom/W1"', 'on = "bedroom/W7"', '"bedroom/W7" names no panel of "bedroom"'),
    (
        'receiver = "pillow"\nuncovered',
        'receiver = "pillow"\nspace = "bedroom"\nuncovered',
        "space does not go with receiver",
    ),
    (
        'receiver = "pillow"\nuncovered',
        'space = "bedroom"\nuncovered',
        "at is missing: say in which room and where",
    ),
    ('resistance = "12 ohm"', "resistance = 12", "12 is a bare number: a resistance is written"),
]


@pytest.mark.parametrize(("old", "new", "message"), ONE_FAULT)
def test_one_mistake_gives_one_message(old: str, new: str, message: str) -> None:
    assert WHOLE.count(old) == 1
    with pytest.raises(ProjectFileError) as caught:
        load_text(WHOLE.replace(old, new), path="house.toml")
    (fault,) = caught.value.faults
    assert message in str(fault)
    assert str(fault).startswith("house.toml:")


def test_a_reading_of_another_plan_than_its_visit_is_refused() -> None:
    text = WHOLE.replace('shows = "below"', 'shows = "below"\nplan = "as-built"')
    with pytest.raises(ProjectFileError, match='visit "after-the-coat" is of plan "walls", and'):
        load_text(text, path="house.toml")
