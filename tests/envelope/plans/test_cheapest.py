"""The cheapest plan below a target against enumeration, and what is proved where it stops early."""

from __future__ import annotations

import itertools
import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.plans.cheapest import by_effect_and_area, cheapest_below
from envelope.plans.search import combine

MADE: dict[str, Any] = runpy.run_path(str(Path(__file__).with_name("test_search.py")))


@pytest.mark.parametrize("seed", range(12))
def test_it_costs_what_the_cheapest_of_all_plans_below_the_target_costs(seed: int) -> None:
    rng = np.random.default_rng(300 + seed)
    receivers = 1 + seed % 2
    tables = MADE["random_tables"](
        rng, units=int(rng.integers(3, 7)), spaces=1 + seed % 3, receivers=receivers
    )
    purchases = MADE["random_purchases"](rng, tables.options)
    weights = rng.uniform(0.5, 2.0, receivers)
    worst = seed % 4 < 2
    plans = np.array(list(itertools.product(*(range(n) for n in tables.options))))
    levels = combine(tables.levels(plans), weights=weights, worst=worst)
    cents = purchases.cents(plans)
    ranked = np.sort(levels)
    for share in (0.1, 0.3, 0.6):
        at = int(share * (len(ranked) - 1))
        target = float(ranked[at : at + 2].mean())  # between two levels: no rounding decides
        cheapest = int(cents[levels < target].min())
        given: dict[str, Any] = {"target_w_m2": target, "weights": weights, "worst": worst}
        found = cheapest_below(tables, purchases, **given, gap=0.0)
        assert found is not None
        assert found.cents == found.least_cents == cheapest
        assert found.level_w_m2 < target
        assert purchases.cents(found.plan[np.newaxis])[0] == cheapest
        near = cheapest_below(tables, purchases, **given, gap=0.1)
        assert near is not None
        assert near.least_cents <= cheapest <= near.cents
        assert near.gap <= 0.1
    given["target_w_m2"] = 0.5 * float(ranked[0])
    assert cheapest_below(tables, purchases, **given) is None


def test_stopped_early_it_gives_a_plan_and_a_bound_that_holds() -> None:
    rng = np.random.default_rng(11)
    tables = MADE["random_tables"](rng, units=8)
    purchases = MADE["random_purchases"](rng, tables.options)
    plans = np.array(list(itertools.product(*(range(n) for n in tables.options))))
    levels = tables.levels(plans)[:, 0]
    target = float(np.quantile(levels, 0.02))
    cheapest = int(purchases.cents(plans[levels < target]).min())
    gaps = []
    for nodes in (2, 40, 100_000):
        found = cheapest_below(tables, purchases, target_w_m2=target, gap=0.0, max_nodes=nodes)
        assert found is not None
        assert found.least_cents <= cheapest <= found.cents
        gaps.append(found.gap)
    assert gaps[0] > gaps[-1] == 0.0
    assert gaps == sorted(gaps, reverse=True)


def test_the_order_names_each_unit_once() -> None:
    rng = np.random.default_rng(5)
    tables = MADE["random_tables"](rng, units=6)
    order = by_effect_and_area(tables, weights=np.ones(1), worst=True)
    assert sorted(order) == list(range(6))
