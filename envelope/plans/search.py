"""The plans that no other plan beats in cost and level together: depth first, branch and bound.

The bound on the level takes of every table the least that comes in, the largest loss and the
least coupling over what is still open. The balance matrix is an M-matrix (off the diagonal nothing
above 0, rows that add up to 0 or more): its inverse has no negative entry and falls, entry by
entry, where any entry rises. So the figures that this gives are below those of every completion,
and at a whole plan they are the plan's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.errors import RangeError
from envelope.geometry.plane import Floats
from envelope.plans.level_tables import Layout, LevelTables
from envelope.plans.purchases import Purchases
from envelope.plans.search_kernel import Room, Staircase, search_plans
from envelope.plans.search_tables import Ordered, ordered

Ints = NDArray[np.int64]

MAX_FRONT = 100_000
MAX_NODES = 20_000_000
DESCENTS = 12  # weights between cost and level that starting plans are sought with
_UNBOUNDED = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Front:
    """Plans in order of cost, each better than all that cost less or the same.

    Where the search ended early, no plan that is missing costs less than `open_cents` or comes
    below `open_level`; both are None where the front is proved.
    """

    cents: Ints  # (n,)
    levels_w_m2: Floats  # (n,) worst or weighted over receivers
    plans: Ints  # (n, units)
    finished: bool
    nodes: int
    slack: float  # plans better by less than this share were not looked for
    open_cents: int | None = None
    open_level_w_m2: float | None = None


def combine(levels: Floats, *, weights: Floats, worst: bool) -> Floats:
    """One figure (n,) of levels (n, receivers): the largest, or a weighted sum."""
    weighted = levels * weights
    return np.asarray(weighted.max(axis=1) if worst else weighted.sum(axis=1))


def front_of(
    tables: LevelTables,
    purchases: Purchases,
    *,
    weights: Floats | None = None,
    worst: bool = True,
    most_cents: int | None = None,
    most_level_w_m2: float = np.inf,
    slack: float = 0.0,
    max_nodes: int = MAX_NODES,
    order: Sequence[int] | None = None,
    together: Sequence[Sequence[int]] = (),
) -> Front:
    """Search the front.

    Parameters
    ----------
    tables : LevelTables
        Levels of every plan.
    purchases : Purchases
        Costs of every plan.
    weights : (receivers,) float, optional
        Of each receiver; 1 unless given, 0 leaves one out.
    worst : bool
        Whether the worst receiver counts, or the sum.
    most_cents : int, optional
        Budget: plans above it are left out.
    most_level_w_m2 : float
        Target: plans at or above it are left out. [W/m²]
    slack : float
        Share by which a plan must be better to count. 0 is exact.
    max_nodes : int
        Where to stop; the result then says what was left open.
    order : (units,) int, optional
        In which units are decided; those that change the level most first unless given.
    together : sequence of sequence of int
        Units that may be decided alike, such as a room's walls; no more than a place to start.

    Returns
    -------
    front : Front
    """
    count = len(tables.options)
    heard = np.ones(tables.layout.receivers) if weights is None else np.asarray(weights, float)
    if sorted(order if order is not None else range(count)) != list(range(count)):
        raise RangeError("the order of units names each once")
    seeds = starting_plans(tables, purchases, weights=heard, worst=worst, together=together)
    sequence = list(order) if order is not None else by_effect(tables, weights=heard, worst=worst)
    given = ordered(tables, purchases, sequence)
    known = staircase_of(MAX_FRONT, count)
    begun = 0
    seed_cents = purchases.cents(seeds)
    seed_level = combine(tables.levels(seeds), weights=heard, worst=worst)
    for seed in np.lexsort((seed_level, seed_cents)):
        within = most_cents is None or seed_cents[seed] <= most_cents
        better = begun == 0 or seed_level[seed] < known.level[begun - 1]
        if within and better and seed_level[seed] < most_level_w_m2:
            known.cents[begun] = seed_cents[seed]
            # A hair above its level, so that the search finds the plan itself again.
            known.level[begun] = seed_level[seed] * (1.0 + 1e-12)
            known.plan[begun] = seeds[seed][sequence]
            begun += 1
    found = search_in(
        given,
        tables.layout,
        known,
        begun,
        weights=heard,
        worst=worst,
        slack=slack,
        most_cents=most_cents,
        most_level_w_m2=most_level_w_m2,
        max_nodes=max_nodes,
    )
    plans = np.zeros((found.count, count), dtype=np.int64)
    plans[:, sequence] = known.plan[: found.count]
    return Front(
        cents=known.cents[: found.count].copy(),
        levels_w_m2=combine(tables.levels(plans), weights=heard, worst=worst),
        plans=plans,
        finished=found.finished,
        nodes=found.nodes,
        slack=slack,
        open_cents=None if found.finished else found.open_cents,
        open_level_w_m2=None if found.finished else found.open_level_w_m2,
    )


def staircase_of(most: int, units: int) -> Staircase:
    """Room for so many plans."""
    return Staircase(
        cents=np.zeros(most, dtype=np.int64),
        level=np.zeros(most),
        plan=np.zeros((most, units), dtype=np.int16),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """How a search ended."""

    count: int
    nodes: int
    finished: bool
    open_cents: int
    open_level_w_m2: float


def search_in(
    given: Ordered,
    layout: Layout,
    known: Staircase,
    begun: int,
    *,
    weights: Floats,
    worst: bool,
    most_cents: int | None,
    most_level_w_m2: float,
    max_nodes: int,
    slack: float = 0.0,
    first_only: bool = False,
    gap: float = 0.0,
) -> Found:
    """Search depth first into a staircase of known plans, of which some are begun with.

    Parameters
    ----------
    given : Ordered
        Tables and costs in the order of the search.
    layout : Layout
    known : Staircase
        Changed in place; options stand in the order of the search.
    begun : int
        Plans that it holds.
    weights : (receivers,) float
    worst : bool
        Whether the worst receiver counts, or the sum.
    most_cents : int, optional
        Budget: plans above it are left out.
    most_level_w_m2 : float
        Target: plans at or above it are left out. [W/m²]
    max_nodes : int
        Where to stop.
    slack : float
        Share by which a level must be lower to count.
    first_only : bool
        Look only for the cheapest plan below the target.
    gap : float
        Share by which a plan must then be cheaper to count.
    """
    count = len(given.options)
    found = search_plans(
        given.options,
        given.base,
        given.tables,
        given.table_start,
        given.paths,
        given.path_start,
        weights,
        worst,
        layout.compiled,
        given.costs,
        known,
        begun,
        slack,
        _UNBOUNDED if most_cents is None else most_cents,
        most_level_w_m2,
        first_only,
        gap,
        max_nodes,
        Room(
            vectors=np.zeros((count + 1, layout.size)),
            cents=np.zeros(count + 1, dtype=np.int64),
            bits=np.zeros(count + 1, dtype=np.int64),
            bought=np.zeros((count + 1, given.costs.amounts.shape[2]), dtype=np.int64),
            chosen=np.full(count, -1, dtype=np.int64),
            work=np.zeros((layout.spaces, layout.spaces + 1)),
            bound_cents=np.zeros(count + 1, dtype=np.int64),
            bound_level=np.zeros(count + 1),
        ),
    )
    known_count, nodes, finished, open_cents, open_level = found
    return Found(
        count=int(known_count),
        nodes=int(nodes),
        finished=bool(finished),
        open_cents=int(open_cents),
        open_level_w_m2=float(open_level),
    )


def by_effect(tables: LevelTables, *, weights: Floats, worst: bool) -> list[int]:
    """Units in the order of what they alone change of the level, the largest first."""
    count = len(tables.options)
    effect = []
    nothing = np.zeros((1, count), dtype=np.int64)
    before = combine(tables.levels(nothing), weights=weights, worst=worst)[0]
    for unit in range(count):
        alone = np.repeat(nothing, tables.options[unit], axis=0)
        alone[:, unit] = np.arange(tables.options[unit])
        after = combine(tables.levels(alone), weights=weights, worst=worst)
        effect.append(float(np.abs(np.log(after / before)).max()))
    return sorted(range(count), key=lambda unit: (-round(effect[unit], 9), unit))


def starting_plans(
    tables: LevelTables,
    purchases: Purchases,
    *,
    weights: Floats,
    worst: bool,
    together: Sequence[Sequence[int]] = (),
) -> Ints:
    """Plans near the front to begin with: steepest descent on decibels and cost together.

    Parameters
    ----------
    tables : LevelTables
        Levels of every plan.
    purchases : Purchases
        Costs of every plan.
    weights : (receivers,) float
        Of each receiver.
    worst : bool
        Whether the worst receiver counts, or the sum.
    together : sequence of sequence of int
        Units that one move may also decide alike, such as a room's walls: set-ups make thresholds
        that no single unit gets across.

    Returns
    -------
    plans : (n, units) int
        Every plan on the way: from nothing as decibels become worth more, from everything as they
        become worth less.
    """
    count = len(tables.options)
    nothing = np.zeros(count, dtype=np.int64)
    everything = np.array([options - 1 for options in tables.options], dtype=np.int64)
    dearest = max(1, int(purchases.cents(everything[np.newaxis])[0]))
    moved, options = _moves(tables.options, together)
    prices_of_db = np.geomspace(0.02, 2000.0, DESCENTS) * 20.0 / dearest
    found = {tuple(nothing.tolist()), tuple(everything.tolist())}
    for chosen, prices in ((nothing, prices_of_db[::-1]), (everything, prices_of_db)):
        for price_of_db in prices:
            value = np.inf
            while True:
                near = np.where(moved, options, chosen)
                level = combine(tables.levels(near), weights=weights, worst=worst)
                worth = 10.0 * np.log10(level) + price_of_db * purchases.cents(near)
                best = int(worth.argmin())
                if worth[best] >= value - 1e-12:
                    break
                chosen, value = near[best], float(worth[best])
                found.add(tuple(chosen.tolist()))
    return np.array(sorted(found), dtype=np.int64)


def _moves(
    options: Sequence[int], together: Sequence[Sequence[int]]
) -> tuple[NDArray[np.bool_], Ints]:
    """Which units (moves, units) each move decides, and how."""
    sets: list[tuple[int, ...]] = [(unit,) for unit in range(len(options))]
    sets += [tuple(units) for units in together if len(units) > 1]
    moves = [
        (units, option) for units in sets for option in range(max(options[unit] for unit in units))
    ]
    moved = np.zeros((len(moves), len(options)), dtype=bool)
    chosen = np.zeros((len(moves), len(options)), dtype=np.int64)
    for row, (units, option) in enumerate(moves):
        for unit in units:
            moved[row, unit] = True
            chosen[row, unit] = min(option, options[unit] - 1)
    return moved, chosen
