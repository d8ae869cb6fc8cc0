"""Readings on the pages: where and how much at once, whether explained a moment later."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from envelope.building.job import Job
from envelope.project import load, load_text
from envelope.survey import solve_levels
from viewer.app.pages import Page, Pages
from viewer.app.readings import Readings

VISITS = Path(__file__).parents[3] / "models" / "visits.toml"


@pytest.fixture(scope="module")
def job() -> Job:
    return solve_levels(load(VISITS))


def test_readings_are_told_at_once_and_judged_a_moment_later(job: Job) -> None:
    told: list[Any] = []
    pages = Pages(session=None)  # type: ignore[arg-type]  # what is told of the file is not asked
    pages.open.append(Page(tell=told.append))
    readings = Readings(pages=pages)
    readings.show(job)
    assert [each["stands"] for each in told[-1]["readings"]] == ["not judged"] * 6
    first = told[-1]["readings"][0]
    assert first["label"].replace("\xa0", " ") == "read 330 µW/m²"
    assert first["plan"] == "as-built"
    x, y, z = job.receivers[0].position_m.tolist()
    assert first["at"] == pytest.approx((x, y, z), abs=1e-3)
    asyncio.run(readings.judge(job))
    judged = told[-1]["readings"]
    assert judged[0]["label"].endswith(": explained")
    assert judged[0]["lines"][1].startswith("expected ")
    count = len(told)
    readings.show(job)  # nothing is new
    asyncio.run(readings.judge(job))
    assert len(told) == count


def test_a_verdict_stays_until_the_reading_itself_changes(job: Job) -> None:
    told: list[Any] = []
    pages = Pages(session=None)  # type: ignore[arg-type]
    pages.open.append(Page(tell=told.append))
    readings = Readings(pages=pages)
    asyncio.run(readings.judge(job))
    text = VISITS.read_text("utf-8")
    other = load_text(text.replace('level = "330 uW/m2"', 'level = "90 uW/m2"'), path="v.toml")
    readings.show(other)
    stands = {each["id"]: each["stands"] for each in told[-1]["readings"]}
    assert stands["pillow-today"] == "not judged"
    assert stands["middle-today"] == "explained"
