"""The search against an integer program where the level is linear: what arrives directly.

Without the diffuse field a level is a sum of tables, and a table is linear in the cells that it
has one of. HiGHS (`scipy.optimize.milp`) then finds the cheapest plan below a target by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from envelope.building.job import AS_BUILT, Job
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts
from envelope.plans.candidates import candidates_of
from envelope.plans.level_tables import LevelTables
from envelope.plans.purchases import Purchases
from envelope.plans.search import front_of
from envelope.plans.terms import tables_of

Maker = Callable[..., Job]


def direct_alone(tables: LevelTables) -> LevelTables:
    """The same without what feeds rooms."""
    layout = tables.layout
    constant = tables.constant.copy()
    constant[layout.direct : layout.fed] = 0.0
    kept = []
    for table in tables.tables:
        stays = (table.columns < layout.direct) | (table.columns >= layout.fed)
        if stays.any():
            kept.append(
                replace(table, columns=table.columns[stays], values=table.values[..., stays])
            )
    return replace(tables, constant=constant, tables=tuple(kept))


def cheapest_below(tables: LevelTables, purchases: Purchases, target_w_m2: float) -> float:
    """Cents of the cheapest plan, by an integer program over options and cells of tables."""
    layout, options = tables.layout, tables.options
    first = np.concatenate(([0], np.cumsum(options)))
    cost = list(np.concatenate(purchases.own_cents).astype(float))
    level = [0.0] * len(cost)
    rows: list[dict[int, float]] = [
        {int(first[unit]) + option: 1.0 for option in range(count)}
        for unit, count in enumerate(options)
    ]
    sums = [1.0] * len(options)
    for table in tables.tables:
        direct = table.values[..., table.columns < layout.direct].sum(axis=-1)
        start = len(cost)
        cells = list(np.ndindex(direct.shape))
        cost += [0.0] * len(cells)
        level += [float(direct[cell]) for cell in cells]
        for axis, unit in enumerate(table.scope):
            for option in range(options[unit]):  # cells with an option are chosen as the option is
                row = {start + n: 1.0 for n, cell in enumerate(cells) if cell[axis] == option}
                row[int(first[unit]) + option] = -1.0
                rows.append(row)
                sums.append(0.0)
    matrix = np.zeros((len(rows), len(cost)))
    for number, row in enumerate(rows):
        matrix[number, list(row)] = list(row.values())
    rest = target_w_m2 - float(tables.constant[: layout.direct].sum())
    scale = 1e6  # µW/m², far from the program's tolerances
    answer = milp(
        np.array(cost),
        constraints=[
            LinearConstraint(matrix, sums, sums),
            LinearConstraint(np.array(level)[np.newaxis] * scale, ub=rest * scale),
        ],
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
    )
    assert answer.success
    return float(answer.fun)


@pytest.mark.parametrize("share", [0.7, 0.3, 0.1, 0.05])
def test_the_cheapest_plan_below_a_target_is_that_of_an_integer_program(
    small_job: Maker, small_casts: Casts, share: float
) -> None:
    job = small_job("[]")
    today = job.plan(AS_BUILT)
    candidates = candidates_of(job, base=today)
    tables = direct_alone(
        tables_of(
            job=job,
            casts=small_casts,
            bench=bench_of(job, small_casts),
            units=candidates.units,
            base=today,
            max_cells=100_000,
        )
    )
    assert not len(tables.paths.outputs)
    whole = front_of(tables, candidates.purchases)
    # between two levels of the front, so that no rounding decides
    low, high = float(whole.levels_w_m2.min()), float(whole.levels_w_m2.max())
    above = whole.levels_w_m2[whole.levels_w_m2 > low + share * (high - low)].min()
    below = whole.levels_w_m2[whole.levels_w_m2 <= low + share * (high - low)].max()
    target = float(np.sqrt(above * below))
    found = front_of(tables, candidates.purchases, most_level_w_m2=target)
    assert int(found.cents[0]) == round(cheapest_below(tables, candidates.purchases, target))
    assert found.cents[0] > 0
