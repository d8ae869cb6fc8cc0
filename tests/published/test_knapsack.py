"""The search for plans on knapsack problems with published optima, and on fractional programs.

J. Burkardt, KNAPSACK_01, problems P01 to P07; typed from memory (see the file's head).
A fractional program, the least of Q(x)/M(x) over 0-1 x within a budget, is solved a second time by
W. Dinkelbach, "On nonlinear fractional programming", Management Science 13(7), 492-498, 1967, each
step a linear integer program for HiGHS (`scipy.optimize.milp`).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from envelope.plans.level_tables import Layout, LevelTables, Paths, Table
from envelope.plans.purchases import OptionCost, Purchases
from envelope.plans.search import front_of

SOURCE = Path(__file__).parent / "authorities" / "knapsack.csv"


def problems() -> list[dict[str, str]]:
    lines = [each for each in SOURCE.read_text("utf-8").splitlines() if not each.startswith("#")]
    return list(csv.DictReader(lines))


def tables_of(
    direct: np.ndarray, fed: np.ndarray, loss: np.ndarray, *, constant: tuple[float, float, float]
) -> LevelTables:
    """Units of two options, the second of which changes a direct level, what is fed, the loss."""
    layout = Layout(receivers=1, bands=1, spaces=1, pairs=((0, 0),), space_of=(0,))
    places = (layout.direct_at(0, 0), layout.fed_at(0, 0, 0), layout.matrix_at(0, 0))
    base = np.zeros(layout.size)
    base[list(places)] = constant
    tables = []
    for unit, row in enumerate(zip(direct, fed, loss, strict=True)):
        table = np.zeros((2, layout.size))
        table[1, list(places)] = row
        tables.append(((unit,), table))
    return LevelTables(
        layout=layout,
        options=(2,) * len(direct),
        constant=base,
        tables=tuple(Table.of(scope, figures) for scope, figures in tables),
        paths=Paths.none(),
    )


def purchases_of(weights: np.ndarray) -> Purchases:
    costs = [[OptionCost(), OptionCost(own_cents=int(each))] for each in weights]
    return Purchases.of(costs, setups={}, packages={})


@pytest.mark.parametrize("problem", problems(), ids=lambda each: each["name"])
def test_the_most_for_the_weight_is_the_published_optimum(problem: dict[str, str]) -> None:
    weights = np.array(problem["weights"].split(), dtype=np.int64)
    profits = np.array(problem["profits"].split(), dtype=float)
    nothing = np.zeros(len(profits))
    whole = float(profits.sum())
    # a unit that is taken lowers the level by its profit; a level of 1 is left in any case
    tables = tables_of(-profits, nothing, nothing, constant=(whole + 1.0, 0.0, 1.0))
    front = front_of(tables, purchases_of(weights), most_cents=int(problem["capacity"]))
    assert front.finished
    assert whole + 1.0 - front.levels_w_m2.min() == pytest.approx(float(problem["optimum"]))
    assert int(weights @ front.plans[-1]) == front.cents[-1] <= int(problem["capacity"])


@pytest.mark.parametrize("seed", range(6))
def test_the_least_ratio_is_that_of_dinkelbach_with_an_integer_program(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = 14
    lets_in = -rng.uniform(0.2, 1.0, count)  # treated, less comes in,
    lost = -rng.uniform(0.1, 0.6, count)  # and less is lost
    weights = rng.integers(20, 120, count)
    capacity = int(weights.sum() // 2)
    fed, loss = 1.0 - lets_in.sum(), 1.5 - lost.sum()
    tables = tables_of(np.zeros(count), lets_in, lost, constant=(0.0, fed, loss))
    front = front_of(tables, purchases_of(weights), most_cents=capacity)
    ratio = fed / loss
    for _ in range(50):
        answer = milp(
            lets_in - ratio * lost,
            constraints=LinearConstraint(weights[np.newaxis], ub=capacity),
            integrality=np.ones(count),
            bounds=Bounds(0, 1),
        )
        chosen = np.round(answer.x)
        last, ratio = ratio, (fed + lets_in @ chosen) / (loss + lost @ chosen)
        if abs(last - ratio) < 1e-12:
            break
    assert front.levels_w_m2.min() == pytest.approx(ratio, rel=1e-9)
