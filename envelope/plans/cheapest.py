"""The cheapest plan below a target, and what is proved of it where the search ends early.

Exchanges of one or two units make good plans in moments; branch and bound then shows that nothing
cheaper is below the target, first under half of what the best known plan costs, then under more of
it: what has been gone through without a find bounds the optimum from below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.geometry.plane import Floats
from envelope.plans.level_tables import Ints, LevelTables
from envelope.plans.purchases import Purchases
from envelope.plans.search import MAX_NODES, by_effect, combine, search_in, staircase_of
from envelope.plans.search_kernel import exchanged
from envelope.plans.search_tables import costs_in, ordered

GAP = 0.01
_KICKS = 12
_KICKED = 5  # units that are changed by chance before exchanges go on
_SHARES = (0.5, 0.7, 0.8, 0.9)  # of the best known cost, under which a cheaper plan is looked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cheapest:
    """A plan below a target, and the least that any such plan may cost."""

    plan: Ints  # (units,)
    cents: int
    level_w_m2: float
    least_cents: int  # no plan below the target costs less
    nodes: int

    @property
    def gap(self) -> float:
        """By which share the plan may cost more than the optimum, at most."""
        return 0.0 if self.cents == 0 else 1.0 - self.least_cents / self.cents


def cheapest_below(
    tables: LevelTables,
    purchases: Purchases,
    *,
    target_w_m2: float,
    weights: Floats | None = None,
    worst: bool = True,
    gap: float = GAP,
    max_nodes: int = MAX_NODES,
) -> Cheapest | None:
    """Find the cheapest plan below a target; None where the search met none.

    Parameters
    ----------
    tables : LevelTables
        Levels of every plan.
    purchases : Purchases
        Costs of every plan.
    target_w_m2 : float
        That the worst or the weighted level stays below. [W/m²]
    weights : (receivers,) float, optional
        Of each receiver; 1 unless given.
    worst : bool
        Whether the worst receiver counts, or the sum.
    gap : float
        Share of the cost that is not worth looking for. 0 is exact.
    max_nodes : int
        Where to stop; the plan's `gap` then says what was left open.
    """
    heard = np.ones(tables.layout.receivers) if weights is None else np.asarray(weights, float)
    best = exchanged_plan(tables, purchases, target_w_m2=target_w_m2, weights=heard, worst=worst)
    order = by_effect_and_area(tables, weights=heard, worst=worst)
    given = ordered(tables, purchases, order)
    least = int(purchases.cents(np.zeros((1, len(order)), dtype=np.int64))[0])
    shares = [*_SHARES, 1.0 / (1.0 + gap)] if best is not None else [1.0]
    nodes = 0
    while shares and nodes < max_nodes:
        share = shares.pop(0)
        most = None if best is None else _below(int(purchases.cents(best[np.newaxis])[0]), share)
        if most is not None and most < least:
            continue
        known = staircase_of(1, len(order))
        found = search_in(
            given,
            tables.layout,
            known,
            0,
            weights=heard,
            worst=worst,
            most_cents=most,
            most_level_w_m2=target_w_m2,
            max_nodes=max_nodes - nodes,
            first_only=True,
            gap=gap,
        )
        nodes += found.nodes
        if found.count:
            best = np.zeros(len(order), dtype=np.int64)
            best[order] = known.plan[0]
        if not found.finished:
            break
        if found.count:  # what is cheaper by more than the gap was looked for on the way
            least = max(least, _below(int(known.cents[0]), 1.0 / (1.0 + gap)) + 1)
            break
        if most is not None:
            least = max(least, most + 1)
    if best is None:
        return None
    cents = int(purchases.cents(best[np.newaxis])[0])
    level = combine(tables.levels(best[np.newaxis]), weights=heard, worst=worst)[0]
    return Cheapest(
        plan=best,
        cents=cents,
        level_w_m2=float(level),
        least_cents=min(least, cents),
        nodes=nodes,
    )


def _below(cents: int, share: float) -> int:
    """The largest cost below a share of another."""
    return int(np.ceil(cents * share)) - 1


def by_effect_and_area(tables: LevelTables, *, weights: Floats, worst: bool) -> list[int]:
    """Units in the mean of two orders: by what they alone change, and by what they fix of losses.

    What a room loses decides what everything else brings, and large areas fix it.
    """
    layout = tables.layout
    loses = np.zeros(layout.size, dtype=bool)
    for band in range(layout.bands):
        for pair, (row, column) in enumerate(layout.pairs):
            loses[layout.matrix_at(band, pair)] = row == column
    moved = np.zeros(len(tables.options))
    for table in tables.tables:
        lost = np.where(loses[table.columns], table.cells, 0.0)
        moved[list(table.scope)] += np.ptp(lost, axis=0).sum() / len(table.scope)
    effect = np.argsort(by_effect(tables, weights=weights, worst=worst))
    area = np.argsort(np.argsort(-np.round(moved, 9), kind="stable"))
    return [int(unit) for unit in np.argsort(effect + area, kind="stable")]


def exchanged_plan(
    tables: LevelTables, purchases: Purchases, *, target_w_m2: float, weights: Floats, worst: bool
) -> Ints | None:
    """A plan below a target that no exchange of one or two units makes cheaper, or None.

    Parameters
    ----------
    tables : LevelTables
    purchases : Purchases
    target_w_m2 : float
        [W/m²]
    weights : (receivers,) float
    worst : bool
        Whether the worst receiver counts, or the sum.

    Notes
    -----
    What lies above the target is paid for by the decibel, little at first; then a few units are
    changed by chance, always by the same, and exchanges go on from there.
    """
    layout, options = tables.layout, np.array(tables.options, dtype=np.int64)
    nothing, everything = np.zeros_like(options), options - 1
    costs = costs_in(purchases, range(len(options)), int(options.max(initial=1)))
    dearest = max(1, int(purchases.cents(everything[np.newaxis])[0]))
    vector, work = np.zeros(layout.size), np.zeros((layout.spaces, layout.spaces + 1))
    looked_up, paths, places = tables.merged.compiled, tables.paths.compiled, layout.compiled

    def improve(chosen: Ints) -> float:
        value = np.inf
        for cents_per_db in dearest * np.array([0.02, 0.2, 2.0, 200.0]):
            value = exchanged(
                chosen,
                1e15,
                options,
                tables.constant,
                looked_up,
                paths,
                weights,
                worst,
                places,
                costs,
                target_w_m2,
                cents_per_db,
                vector,
                work,
            )
        return float(value)

    tried = [(improve(start), start) for start in (nothing, everything)]
    value, best = min(tried, key=lambda each: each[0])
    rng = np.random.default_rng(0)
    for _ in range(_KICKS):
        other = best.copy()
        for unit in rng.permutation(len(options))[:_KICKED]:
            other[unit] = rng.integers(options[unit])
        found = improve(other)
        if found < value:
            value, best = found, other
    reached = combine(tables.levels(best[np.newaxis]), weights=weights, worst=worst)[0]
    return best if reached < target_w_m2 else None
