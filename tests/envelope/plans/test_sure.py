"""Odds, sturdier plans and what measuring spares, on figures worked out by hand."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.differences import LevelDraws, SourceDraws, difference
from envelope.exposure.model_error import shared_db
from envelope.exposure.rests import Rest, deviates_of
from envelope.exposure.tolerances import draw
from envelope.plans.decide import decide
from envelope.plans.level_tables import Layout, LevelTables, Paths, Table
from envelope.plans.plan_levels import PlanLevels
from envelope.plans.purchases import OptionCost, Purchases
from envelope.plans.sequence import Chain
from envelope.plans.sure import level_at_90_db, spared, sturdier, target_odds
from envelope.plans.units import Option, Unit
from envelope.rays import Sampling
from envelope.text.decisions import rival_words
from envelope.works.takeoff import cost_of

Maker = Callable[..., Job]


def drawn(levels: np.ndarray) -> LevelDraws:
    one = SourceDraws(
        level_w_m2=levels, direct_w_m2=float(levels[0]), diffuse_w_m2=0.0, error_db=0.0
    )
    return LevelDraws(plan="p", by_source={("bed", "mast"): one})


def test_odds_of_a_target_are_those_of_a_normal_error_around_the_level() -> None:
    today = drawn(np.full(11, 1e-4))
    odds = target_odds(today, ["bed"], today, 2e-4)
    sigma = shared_db() / 1.2815515655
    assert odds == pytest.approx(NormalDist().cdf(10.0 * np.log10(2.0) / sigma), abs=1e-7)
    assert target_odds(today, ["bed"], today, 1e-4) == pytest.approx(0.5)


def test_the_level_at_90_is_the_percentile_of_the_draws() -> None:
    levels = 10.0 ** (np.concatenate(([0.0], np.linspace(-5.0, 5.0, 101))) / 10.0)
    found = level_at_90_db(drawn(levels), ["bed"], drawn(levels))
    assert found == pytest.approx(4.0, abs=0.11)


def tables_of_decibels(units: int, decibels: dict[tuple[int, ...], float]) -> LevelTables:
    """Levels of plans of two options a unit, as stated; what they feed is nothing."""
    layout = Layout(receivers=1, bands=1, spaces=1, pairs=((0, 0),), space_of=(0,))
    constant = np.zeros(layout.size)
    constant[layout.matrix_at(0, 0)] = 1.0
    table = np.zeros((*([2] * units), layout.size))
    for plan, value in decibels.items():
        table[(*plan, layout.direct_at(0, 0))] = 10.0 ** (value / 10.0)
    return LevelTables(
        layout=layout,
        options=(2,) * units,
        constant=constant,
        tables=(Table.of(tuple(range(units)), table),),
        paths=Paths.none(),
    )


@pytest.mark.parametrize(("gain_90", "taken"), [(-1.0, True), (-0.05, False), (0.5, False)])
def test_a_plan_near_a_step_takes_its_place_where_it_does_better_at_90(
    gain_90: float, taken: bool
) -> None:
    units = [
        Unit(id=name, title=name, options=(Option(label="-"), Option(label="+")))
        for name in ("A", "B")
    ]
    nominal = {(0, 0): 0.0, (1, 0): -2.0, (0, 1): -1.6, (1, 1): -5.0}
    at_90 = {(1, 0): -1.0, (0, 1): -1.0 + gain_90, (1, 1): -4.0}
    tables = tables_of_decibels(2, nominal)
    costs = [[OptionCost(), OptionCost(own_cents=100)] for _ in units]
    purchases = Purchases.of(costs, setups={}, packages={})
    plans = np.array([[0, 0], [1, 0], [1, 1]])
    chain = Chain(
        plans=plans,
        cents=purchases.cents(plans),
        levels_w_m2=tables.levels(plans)[:, 0],
        mean_db=0.0,
        front_mean_db=0.0,
    )
    found = sturdier(
        chain,
        units=units,
        level_of=lambda plans: tables.levels(plans)[:, 0],
        purchases=purchases,
        at_90_db=lambda plan: at_90[tuple(plan.tolist())],
    )
    assert found.plans[1].tolist() == ([0, 1] if taken else [1, 0])
    assert found.plans[[0, 2]].tolist() == [[0, 0], [1, 1]]
    assert found.levels_w_m2 == pytest.approx(tables.levels(found.plans)[:, 0])


def test_what_is_far_off_nominally_is_not_looked_at() -> None:
    units = [
        Unit(id=name, title=name, options=(Option(label="-"), Option(label="+")))
        for name in ("A", "B")
    ]
    tables = tables_of_decibels(2, {(0, 0): 0.0, (1, 0): -2.0, (0, 1): -1.0, (1, 1): -5.0})
    costs = [[OptionCost(), OptionCost(own_cents=100)] for _ in units]
    purchases = Purchases.of(costs, setups={}, packages={})
    plans = np.array([[0, 0], [1, 0], [1, 1]])
    asked = []
    sturdier(
        Chain(
            plans=plans,
            cents=purchases.cents(plans),
            levels_w_m2=tables.levels(plans)[:, 0],
            mean_db=0.0,
            front_mean_db=0.0,
        ),
        units=units,
        level_of=lambda plans: tables.levels(plans)[:, 0],
        purchases=purchases,
        at_90_db=lambda plan: asked.append(plan) or 0.0,
    )
    assert asked == []


def test_settling_a_figure_spares_a_step_where_it_turns_out_small(small_job: Maker) -> None:
    job = small_job("[]")
    draws = draw(job)
    words = "level of mast"
    deviate = deviates_of(job, draws)[words]
    rest = Rest(
        words=words,
        moves_db=1.0,
        receiver="pillow",
        plan="p",
        is_unknown=False,
        taken="",
        settle="",
    )
    found = spared(
        [rest],
        job=job,
        draws=draws,
        stops=(2, 3),
        gains_db=[1.0 + deviate, np.full(len(deviate), 3.0)],
        cents=[30_000, 10_000],
        least_db=0.5,
    )
    (only,) = found
    assert (only.steps, only.words) == ((1, 2), words)
    assert only.odds == pytest.approx(2.0 / 6.0, abs=0.01)  # two stretches of six lie below −0.5
    assert only.cents == pytest.approx(only.odds * 30_000)


def test_nothing_is_spared_where_no_step_is_worth_doing(small_job: Maker) -> None:
    job = small_job("[]")
    rest = Rest(
        words="level of mast",
        moves_db=1.0,
        receiver="pillow",
        plan="p",
        is_unknown=False,
        taken="",
        settle="",
    )
    none = spared([rest], job=job, draws=draw(job), stops=(), gains_db=[], cents=[], least_db=0.5)
    assert none == ()


def test_steps_say_how_likely_the_target_is(small_job: Maker, small_casts: Casts) -> None:
    job = small_job("[]")
    found = decide(job, casts=small_casts, target_w_m2=30e-6)
    odds = [step.target_odds for step in found.steps]
    assert all(each is not None for each in odds)
    assert all(one < other for one, other in itertools.pairwise(odds))
    assert all(step.target_odds is None for step in decide(job, casts=small_casts).steps)


def test_a_rival_costs_no_more_and_its_odds_are_those_of_the_paired_draws(
    small_job: Maker,
) -> None:
    # two masts alike, in the south and the west, so that two walls compete
    mast = '[[source]]\nid = "other"\nazimuth = "265 deg"\nelevation = "5 deg"\n'
    mast += 'band = "1805-1880 MHz"\nlevel = "200 uW/m2"\nscattered = 0.1\n\n[[receiver]]'
    job = small_job("[]", ("[[receiver]]", mast))
    casts = cast_job(job, sampling=Sampling(points_per_panel=2**6, points=2**10))
    found = decide(job, casts=casts)
    rivals = [(n, step) for n, step in enumerate(found.steps) if step.rival is not None]
    assert rivals
    levels = PlanLevels(job, casts=casts, receivers=["pillow"])
    before = levels.drawn(found.today)
    for number, step in rivals:
        assert step.rival is not None
        start = found.today if number == 0 else found.steps[number - 1].plan
        instead = {
            panel: tuple(change.label.split(" and "))
            for change in step.rival.changes
            for panel in change.panels
        }
        plan = replace(start, id="rival", treatments={**start.treatments, **instead})
        assert float(cost_of(job, plan).net) * 100 <= step.total_cents + 20
        drawn = levels.drawn(plan)
        assert step.rival.level_w_m2 == pytest.approx(float(drawn.level_w_m2("pillow")[0]))
        assert step.rival.level_w_m2 > step.level_w_m2
        done = levels.drawn(step.plan)
        odds = difference(drawn, done, "pillow", as_built=before).odds
        assert step.rival.odds == pytest.approx(odds)
        # counted by hand, without the part of the model's error that the two do not share
        lower = np.mean(done.level_w_m2("pillow")[1:] < drawn.level_w_m2("pillow")[1:])
        assert (lower > 0.5) == (odds > 0.5)
        assert rival_words(job, number + 1, step.rival).startswith(
            f"Instead of step {number + 1} the same money buys "
        )


def test_with_many_units_plans_two_changes_away_are_still_compared() -> None:
    """Fourteen units leave more combinations than are gone through."""
    count = 14
    units = [
        Unit(id=str(number), title=str(number), options=(Option(label="-"), Option(label="+")))
        for number in range(count)
    ]
    layout = Layout(receivers=1, bands=1, spaces=1, pairs=((0, 0),), space_of=(0,))
    constant = np.zeros(layout.size)
    constant[layout.matrix_at(0, 0)] = 1.0
    constant[layout.direct_at(0, 0)] = 20.0
    tables = []
    for unit in range(count):
        table = np.zeros((2, layout.size))
        table[1, layout.direct_at(0, 0)] = -1.0 - 0.01 * (unit == 0)
        tables.append(((unit,), table))
    levels = LevelTables(
        layout=layout,
        options=(2,) * count,
        constant=constant,
        tables=tuple(Table.of(*each) for each in tables),
        paths=Paths.none(),
    )
    costs = [[OptionCost(), OptionCost(own_cents=100)] for _ in units]
    purchases = Purchases.of(costs, setups={}, packages={})
    plans = np.zeros((3, count), dtype=np.int64)
    plans[1, 0] = 1
    plans[2] = 1
    found = sturdier(
        Chain(
            plans=plans,
            cents=purchases.cents(plans),
            levels_w_m2=levels.levels(plans)[:, 0],
            mean_db=0.0,
            front_mean_db=0.0,
        ),
        units=units,
        level_of=lambda plans: levels.levels(plans)[:, 0],
        purchases=purchases,
        at_90_db=lambda plan: 0.0 if plan[0] else -1.0,
    )
    assert found.plans[1].sum() == 1
    assert found.plans[1, 0] == 0
