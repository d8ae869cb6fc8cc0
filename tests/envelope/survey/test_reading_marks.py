"""What is shown of a reading, in a job that was read before the work and after it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.project import load
from envelope.survey.verdicts import ReadingVerdict
from envelope.text.reading_marks import reading_marks, taken_at

VISITS = Path(__file__).parents[3] / "models" / "visits.toml"


@pytest.fixture(scope="module")
def job() -> Job:
    return load(VISITS)


def _verdict(reading: str, explained: float) -> ReadingVerdict:
    return ReadingVerdict(
        reading=reading, visit=None, shown_w_m2=38e-6, expected_w_m2=2e-6, low_w_m2=0.6e-6,
        high_w_m2=5.7e-6, explained=explained,
    )  # fmt: skip


def test_every_reading_has_a_place_a_value_and_what_had_been_done(job: Job) -> None:
    marks = {each.id: each for each in reading_marks(job)}
    assert list(marks) == [each.id for each in job.readings]
    after = marks["pillow-after"]
    assert np.array_equal(after.position_m, job.receivers[0].position_m)
    assert after.value.replace("\xa0", " ") == "38.0 µW/m²"
    assert (after.visit, after.day) == ("after-the-work", "2026-05-11")
    assert (after.plan, after.stage) == ("all-faces", "Walls, ceiling and windows")
    assert marks["pillow-today"].stage == "today"
    assert marks["pillow-router-off"].of == "mast (off: router)"


def test_a_reading_of_many_sources_does_not_list_them_all(job: Job) -> None:
    mast, router = job.sources
    many = (mast, router, *(replace(mast, id=f"mast-{number}") for number in range(3)))
    names = tuple(each.id for each in many)
    first = replace(job.readings[0], sources=names)
    off = replace(first, id="off", off=("router",), sources=(mast.id, *names[2:]))
    alone = replace(first, id="alone", sources=("mast",))
    marks = reading_marks(replace(job, sources=many, readings=(first, off, alone)))
    assert [each.of for each in marks] == ["all sources", "all sources (off: router)", "mast"]


def test_a_reading_is_explained_or_not_with_the_odds(job: Job) -> None:
    found = reading_marks(job, [_verdict("pillow-today", 0.95), _verdict("pillow-after", 0.02)])
    marks = {each.id: each for each in found}
    assert (marks["pillow-today"].stands, marks["pillow-today"].verdict) == (
        "explained",
        "explained, 19 to 1",
    )
    assert marks["pillow-after"].stands == "not explained"
    assert marks["pillow-after"].expected.replace("\xa0", " ") == "0.600 to 5.70 µW/m²"
    assert marks["middle-after"].stands == "not judged"
    assert marks["middle-after"].verdict == ""


def test_a_bound_is_shown_as_a_bound(job: Job) -> None:
    below = replace(job, readings=(replace(job.readings[0], shows="below"),))
    assert reading_marks(below)[0].value.replace("\xa0", " ") == "below 330 µW/m²"


def test_switch_tests_do_not_count_as_the_level_at_the_bed(job: Job) -> None:
    taken = taken_at(job, receiver="pillow", plan="as-built")
    assert [each.id for each in taken] == ["pillow-today"]
    assert [e.id for e in taken_at(job, receiver="pillow", plan="all-faces")] == ["pillow-after"]
