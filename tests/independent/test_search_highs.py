"""The search against HiGHS on plans whose level is linear in tables: no reflection is decided.

Each cell of a table that joins several units is a variable of its own, held between the choices
that it stands for; set-ups are variables, too. `scipy.optimize.milp`.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from envelope.plans.level_tables import Layout, LevelTables, Paths, Table
from envelope.plans.purchases import OptionCost, Purchases
from envelope.plans.search import front_of

LAYOUT = Layout(receivers=1, bands=1, spaces=1, pairs=((0, 0),), space_of=(0,))


def random_tables(rng: np.random.Generator, units: int) -> LevelTables:
    constant = np.zeros(LAYOUT.size)
    constant[LAYOUT.matrix_at(0, 0)] = 2.0
    constant[LAYOUT.direct_at(0, 0)] = 0.01
    options = tuple(int(each) for each in rng.integers(2, 4, units))
    scopes = [(unit,) for unit in range(units)]
    scopes += [tuple(sorted(rng.choice(units, 2, replace=False).tolist())) for _ in range(units)]
    tables = {}
    for scope in scopes:
        table = np.zeros((*(options[unit] for unit in scope), LAYOUT.size))
        for cell in itertools.product(*(range(options[unit]) for unit in scope)):
            passed = 10.0 ** (-1.3 * sum(option > 0 for option in cell))
            table[(*cell, LAYOUT.direct_at(0, 0))] = rng.uniform(0.1, 1.0) * passed
            table[(*cell, LAYOUT.fed_at(0, 0, 0))] = rng.uniform(0.1, 1.0) * passed
        tables[scope] = table
    return LevelTables(
        layout=LAYOUT,
        options=options,
        constant=constant,
        tables=tuple(Table.of(*each) for each in sorted(tables.items())),
        paths=Paths.none(),
    )


def least_level(
    tables: LevelTables, own: list[np.ndarray], needs: list[np.ndarray], setup: int, budget: int
) -> float:
    """The least level within a budget, by an integer program."""
    first = np.concatenate(([0], np.cumsum(tables.options)))
    choices = int(first[-1])
    columns: list[tuple[float, tuple[int, ...]]] = []  # value of a cell, choices it stands for
    for each in tables.tables:
        scope, table = each.scope, each.figures(LAYOUT.size)
        for cell in itertools.product(*(range(tables.options[unit]) for unit in scope)):
            value = (
                table[(*cell, LAYOUT.direct_at(0, 0))]
                + table[(*cell, LAYOUT.fed_at(0, 0, 0))] / 2.0
            )
            columns.append(
                (value, tuple(int(first[u]) + o for u, o in zip(scope, cell, strict=True)))
            )
    size = choices + len(columns) + 1
    rows, low, high = [], [], []

    def limit(entries: dict[int, float], least: float, most: float) -> None:
        row = np.zeros(size)
        for place, value in entries.items():
            row[place] = value
        rows.append(row)
        low.append(least)
        high.append(most)

    for unit, count in enumerate(tables.options):
        limit({int(first[unit]) + option: 1.0 for option in range(count)}, 1.0, 1.0)
    for index, (_, members) in enumerate(columns):
        limit({choices + index: 1.0, **dict.fromkeys(members, -1.0)}, 1.0 - len(members), np.inf)
    cost = {size - 1: float(setup)}
    for unit in range(len(tables.options)):
        for option in range(tables.options[unit]):
            cost[int(first[unit]) + option] = float(own[unit][option])
            if needs[unit][option]:
                limit({size - 1: 1.0, int(first[unit]) + option: -1.0}, 0.0, np.inf)
    limit(cost, 0.0, float(budget))
    answer = milp(
        np.concatenate((np.zeros(choices), [value for value, _ in columns], [0.0])),
        constraints=LinearConstraint(np.array(rows), low, high),
        integrality=np.concatenate((np.ones(choices), np.zeros(len(columns)), [1.0])),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 1e-9},
    )
    assert answer.success
    return float(answer.fun) + tables.constant[LAYOUT.direct_at(0, 0)]


@pytest.mark.parametrize("seed", range(4))
def test_the_best_plan_for_a_budget_is_that_of_highs(seed: int) -> None:
    rng = np.random.default_rng(40 + seed)
    tables = random_tables(rng, 7)
    own = [np.array([0, *rng.integers(1000, 9000, count - 1)]) for count in tables.options]
    needs = [np.array([0, *rng.integers(0, 2, count - 1)]) for count in tables.options]
    costs = [
        [
            OptionCost(own_cents=int(price), setups=("visit",) if need else ())
            for price, need in zip(prices, flags, strict=True)
        ]
        for prices, flags in zip(own, needs, strict=True)
    ]
    purchases = Purchases.of(costs, setups={"visit": 5000}, packages={})
    for budget in (9_000, 20_000, 40_000):
        front = front_of(tables, purchases, most_cents=budget)
        found = least_level(tables, own, needs, 5000, budget)
        assert front.levels_w_m2.min() == pytest.approx(found, rel=1e-6)
