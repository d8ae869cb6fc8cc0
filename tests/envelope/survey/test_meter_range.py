"""What a meter can show at all, and steps that it can only show in part."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job, Plan
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.casts import Casts, cast_job
from envelope.project import load
from envelope.rays import Sampling
from envelope.survey import solve_levels
from envelope.survey.meter_range import MARGIN_DB, dynamic_range_db, short_ranges
from envelope.survey.verdicts import StepVerdict, steps_of
from envelope.text.surveys import meter_range_words

VISITS = Path(__file__).parents[3] / "models" / "visits.toml"


@pytest.fixture(scope="module")
def job() -> Job:
    return solve_levels(replace(load(VISITS), readings=load(VISITS).readings[:3]))


@pytest.fixture(scope="module")
def casts(job: Job) -> Casts:
    return cast_job(job, sampling=Sampling(points_per_panel=2**7, points=2**10))


@pytest.fixture(scope="module")
def analysis(job: Job, casts: Casts) -> Analysis:
    return analyze(job=job, casts=casts, ranked_plans=())


def _with_floor(job: Job, lowest_w_m2: float) -> Job:
    return replace(job, meters=(replace(job.meters[0], lowest_w_m2=lowest_w_m2),))


def test_a_step_within_the_range_and_its_margin_is_not_spoken_of(
    job: Job, analysis: Analysis
) -> None:
    left = analysis.plan("all-faces").receivers[0].level_w_m2
    margin = 10.0 ** (-MARGIN_DB / 10.0)
    assert short_ranges(_with_floor(job, 0.99 * margin * left), analysis) == ()
    (short,) = short_ranges(_with_floor(job, 1.01 * margin * left), analysis)
    assert not short.is_below
    assert short.range_db == pytest.approx(short.promised_db + MARGIN_DB, abs=0.1)
    assert "hardly above" in meter_range_words(job, short)


def test_a_promise_below_the_floor_is_said_to_be_so(job: Job, analysis: Analysis) -> None:
    left = analysis.plan("all-faces").receivers[0].level_w_m2
    (short,) = short_ranges(_with_floor(job, 2.0 * left), analysis)
    assert short.is_below
    today = analysis.plan("as-built").receivers[0].level_w_m2
    assert short.range_db == pytest.approx(
        dynamic_range_db(level_w_m2=today, lowest_w_m2=2.0 * left)
    )
    assert "cannot show" in meter_range_words(job, short)


def test_a_meter_without_a_stated_floor_says_nothing(job: Job, analysis: Analysis) -> None:
    assert short_ranges(_with_floor(job, 0.0), analysis) == ()


def test_a_reading_below_the_floor_shows_a_step_of_at_least_so_much(casts: Casts) -> None:
    """Below a low floor the promise is kept; below a high one nobody can tell."""
    loaded = load(VISITS)
    before, after = (loaded.readings[number] for number in (0, 3))
    found: list[StepVerdict] = []
    for level in (0.2e-6, 100e-6):
        bound = replace(after, level_w_m2=level, shows="below")
        job = solve_levels(replace(loaded, readings=(before, bound)))
        found += steps_of(job, casts=casts)
    low, high = found
    assert low.at_least
    assert low.kept == "kept"
    assert high.kept == "too close to tell"


def test_a_step_read_with_the_router_off_is_held_against_what_the_mast_was_promised(
    casts: Casts,
) -> None:
    """A coat on the wall to the router's room lowers the router and does no good with the mast."""
    loaded = load(VISITS)
    loud = tuple(
        replace(each, eirp_w=0.1) if each.id == "router" else each for each in loaded.sources
    )
    loaded = replace(loaded, sources=loud)  # as if it sent all the time
    before, after = (loaded.readings[number] for number in (1, 3))
    assert before.off == ("router",)
    east = Plan(id="east", treatments={"bedroom/2": ("coating",)})
    after = replace(after, off=before.off, sources=before.sources, plan=east)
    job = solve_levels(replace(loaded, plans=(*loaded.plans, east), readings=(before, after)))
    (step,) = steps_of(job, casts=casts)
    today, then = (
        each.receivers[0]
        for each in analyze(
            job=replace(loaded, readings=()),
            casts=casts,
            plans=[loaded.plan("as-built"), east],
            ranked_plans=(),
        ).plans
    )
    router_too = 10.0 * np.log10(today.level_w_m2 / then.level_w_m2)
    assert router_too > 3.0
    assert -1.0 < step.promised.below_db < 0.0  # a tighter room keeps a little more of the mast
