"""Decisions on the sample bedroom, walked step by step with the analysis."""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from pathlib import Path

import pytest

import envelope
from envelope.building.job import AS_BUILT, Job
from envelope.errors import EnvelopeError
from envelope.exposure.analysis import analyze, analyze_plan, bench_of
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.varying_rows import expect
from envelope.plans.candidates import candidates_of, offered, panels_on_offer
from envelope.plans.decide import decide
from envelope.plans.decision import BETTER_ODDS, MIN_GAIN_DB
from envelope.plans.search import front_of
from envelope.plans.terms import tables_of
from envelope.project import load
from envelope.rays import Sampling
from envelope.text.decisions import cost_words, step_words, unit_title
from envelope.works.takeoff import take_off

JOB = Path(__file__).parents[3] / "models" / "bedroom.toml"


@pytest.fixture(scope="module")
def job() -> Job:
    return load(JOB)


@pytest.fixture(scope="module")
def casts(job: Job) -> Casts:
    return cast_job(job)


def test_every_step_is_what_the_analysis_says_and_costs_what_its_bill_says(
    job: Job, casts: Casts
) -> None:
    found = decide(job, casts=casts)
    bench = bench_of(job, casts)
    assert len(found.steps) >= 3
    for step in found.steps:
        (receiver,) = analyze_plan(bench=bench, plan=step.plan, casts=casts).receivers
        assert step.level_w_m2 == pytest.approx(receiver.level_w_m2, rel=1e-9)
        assert step.total_cents == int(take_off(job, step.plan).bill.net * 100)
    levels = [found.levels_w_m2[0][1], *(step.level_w_m2 for step in found.steps)]
    assert all(after < before for before, after in itertools.pairwise(levels))
    for before, after in itertools.pairwise(found.steps):
        for panel, names in before.plan.treatments.items():
            assert set(names) <= set(after.plan.treatments[panel])


def test_no_front_plan_is_beaten_by_any_other(job: Job, casts: Casts) -> None:
    candidates = candidates_of(job, base=job.plan("as-built"))
    bench = bench_of(job, casts)
    tables = tables_of(
        job=job, casts=casts, bench=bench, units=candidates.units, base=job.plan("as-built")
    )
    front = front_of(tables, candidates.purchases)
    every = list(itertools.product(*(range(len(unit.options)) for unit in candidates.units)))
    levels = tables.levels(every)[:, 0]
    cents = candidates.purchases.cents(every)
    for cost, level in zip(front.cents, front.levels_w_m2, strict=True):
        assert levels[cents <= cost].min() == pytest.approx(level, rel=1e-12)


def test_a_target_ends_the_sequence_and_one_out_of_reach_does_not_hide(
    job: Job, casts: Casts
) -> None:
    reached = decide(job, casts=casts, target_w_m2=40e-6)
    assert reached.steps[-1].level_w_m2 < 40e-6
    assert all(step.level_w_m2 >= 40e-6 for step in reached.steps[:-1])
    assert reached.why_stop == "the target is reached"
    beyond = decide(job, casts=casts, target_w_m2=1e-12)
    assert beyond.best_w_m2 > 1e-12
    assert beyond.steps[-1].level_w_m2 == pytest.approx(beyond.best_w_m2)


def test_a_budget_is_kept_and_one_too_small_names_the_cheapest_measure(
    job: Job, casts: Casts
) -> None:
    within = decide(job, casts=casts, budget_cents=40_000)
    assert within.steps[-1].total_cents <= 40_000
    with pytest.raises(EnvelopeError, match=r"cheapest useful measure is bedroom/W2: film"):
        decide(job, casts=casts, budget_cents=100)


def test_kept_faces_stay(job: Job, casts: Casts) -> None:
    walls = {panel.id for panel in job.building.panels if panel.kind == "wall"}
    found = decide(job, casts=casts, keep=walls)
    assert not any(walls & set(step.plan.treatments) for step in found.steps)


def test_what_makes_it_worse_by_itself_is_named(job: Job, casts: Casts) -> None:
    found = decide(job, casts=casts)
    for each in found.worse:
        assert each.level_w_m2 > found.levels_w_m2[0][1]


def test_one_stops_where_going_on_from_no_earlier_stop_is_in_vain(job: Job, casts: Casts) -> None:
    found = decide(job, casts=casts)
    assert found.stops
    assert found.stop_after == found.stops[-1]
    starts = (0, *found.stops[:-1])
    for start, stop in zip(starts, found.stops, strict=True):
        if stop - start == 1 and start:
            assert found.steps[stop - 1].is_better
    for step in found.not_worth[:1]:
        assert step.gain.below_db < MIN_GAIN_DB or step.gain.odds < BETTER_ODDS


def test_on_offer_is_what_plans_use(job: Job) -> None:
    on_offer = offered(job)
    assert on_offer["window"] == (("film",),)
    assert on_offer["wall"] == (("coating",),)


def test_first_then_and_not_worth_are_all_steps_in_order(job: Job, casts: Casts) -> None:
    found = envelope.decide(job, casts, keep=["bedroom/W2"], budget=Decimal("1500"))
    assert (*found.first, *found.then, *found.not_worth) == found.steps
    assert len(found.first) == found.stops[0]
    assert not any("bedroom/W2" in step.plan.treatments for step in found.steps)
    assert found.steps[-1].total_cents <= 150_000


def test_steps_are_called_as_people_call_faces(job: Job, casts: Casts) -> None:
    assert unit_title(job, "bedroom/walls") == "walls of bedroom"
    assert unit_title(job, "bedroom/W1") == "window W1 of bedroom"
    found = envelope.decide(job, casts)
    words = step_words(job, found.steps[0])
    assert words.count(";") == len(found.steps[0].changes) - 1
    assert words.endswith("ft²")  # the job is written in feet
    assert cost_words(job, found, 123_400).endswith("EUR")


def test_a_gain_stands_at_the_sleeper_who_was_worst_before_the_step(tmp_path: Path) -> None:
    second = '\n[[receiver]]\nid = "cot"\nspace = "bedroom"\nat = "9 ft, 9 ft, 2 ft"\n'
    path = tmp_path / "job.toml"
    path.write_text(JOB.read_text(encoding="utf-8") + second, encoding="utf-8")
    job = load(path)
    few = Sampling(points_per_panel=2**6, points=2**10)
    found = decide(job, casts=cast_job(job, sampling=few))
    before = found.levels_w_m2
    assert len(before) == 2
    for step in found.steps:
        worst, level_w_m2 = before[0]
        assert step.gain_at == worst
        fell_db = 10.0 * math.log10(level_w_m2 / dict(step.levels_w_m2)[worst])
        assert step.gain.below_db == pytest.approx(fell_db, abs=1e-6)
        before = step.levels_w_m2


def test_what_an_analysis_knows_leaves_the_decision_as_it_is(small_job, small_casts):
    job = small_job()
    bench = bench_of(job, small_casts)
    expect(bench, panels_on_offer(job, base=job.plan(AS_BUILT)))
    analyze(job=job, casts=small_casts, bench=bench, with_bands=True)
    shared = decide(job, casts=small_casts, bench=bench)
    alone = decide(job, casts=small_casts)
    assert len(shared.steps) == len(alone.steps) > 0
    for one, other in zip(shared.steps, alone.steps, strict=True):
        assert one.plan.treatments == other.plan.treatments
        assert one.cents == other.cents
        for name in ("below_db", "low_db", "high_db", "odds"):
            assert getattr(one.gain, name) == pytest.approx(getattr(other.gain, name), rel=1e-9)
