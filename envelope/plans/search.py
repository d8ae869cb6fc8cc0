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
from envelope.plans.kernel import search_plans
from envelope.plans.level_tables import LevelTables, steps_of
from envelope.plans.purchases import Purchases

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
    flat = _flattened(tables.merged, sequence)
    padded = _padded(purchases, sequence, flat.options)
    front_cents = np.zeros(MAX_FRONT, dtype=np.int64)
    front_level = np.zeros(MAX_FRONT)
    front_plan = np.zeros((MAX_FRONT, count), dtype=np.int16)
    known = 0
    seed_cents = purchases.cents(seeds)
    seed_level = combine(tables.levels(seeds), weights=heard, worst=worst)
    for seed in np.lexsort((seed_level, seed_cents)):
        within = most_cents is None or seed_cents[seed] <= most_cents
        better = known == 0 or seed_level[seed] < front_level[known - 1]
        if within and better and seed_level[seed] < most_level_w_m2:
            front_cents[known] = seed_cents[seed]
            # A hair above its level, so that the search finds the plan itself again.
            front_level[known] = seed_level[seed] * (1.0 + 1e-12)
            front_plan[known] = seeds[seed][sequence]
            known += 1
    layout = tables.layout
    place = np.empty(count, dtype=np.int64)
    place[sequence] = np.arange(count)
    paths = tables.paths
    known, nodes, finished, open_cents, open_level = search_plans(
        flat.options,
        flat.cells,
        flat.group_start,
        flat.group_offset,
        flat.group_units,
        flat.group_stride,
        flat.base,
        heard,
        worst,
        layout.bands,
        layout.spaces,
        layout.direct,
        layout.fed,
        layout.pair_rows,
        layout.pair_columns,
        np.array(layout.space_of, dtype=np.int64),
        padded.own_cents,
        padded.setup_bits,
        purchases.setup_cents,
        padded.amounts,
        padded.edges,
        padded.prices,
        padded.price_start,
        padded.least_rest,
        front_cents,
        front_level,
        front_plan,
        known,
        slack,
        _UNBOUNDED if most_cents is None else most_cents,
        most_level_w_m2,
        max_nodes,
        paths.outputs,
        paths.coefficients,
        paths.start,
        paths.rows,
        paths.offsets,
        paths.factors,
        place[paths.units] if len(paths.outputs) else paths.units,
        paths.strides,
        paths.widths,
        np.zeros((count + 1, layout.size)),
        np.zeros(layout.size),
        np.zeros(count + 1, dtype=np.int64),
        np.zeros(count + 1, dtype=np.int64),
        np.zeros((count + 1, padded.amounts.shape[2]), dtype=np.int64),
        np.full(count, -1, dtype=np.int64),
        np.zeros((layout.spaces, layout.spaces + 1)),
        np.zeros(count + 1, dtype=np.int64),
        np.zeros(count + 1),
    )
    plans = np.zeros((known, count), dtype=np.int64)
    plans[:, sequence] = front_plan[:known]
    return Front(
        cents=front_cents[:known].copy(),
        levels_w_m2=combine(tables.levels(plans), weights=heard, worst=worst),
        plans=plans,
        finished=finished,
        nodes=nodes,
        slack=slack,
        open_cents=None if finished else int(open_cents),
        open_level_w_m2=None if finished else float(open_level),
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Flat:
    """Tables as the search looks them up, depth by depth: each projected on the units decided."""

    options: Ints
    cells: Floats  # (cells, size): what deciding a unit adds to the bound
    group_start: Ints
    group_offset: Ints
    group_units: Ints
    group_stride: Ints
    base: Floats


def _flattened(tables: LevelTables, order: Sequence[int]) -> _Flat:
    layout = tables.layout
    depth_of = {unit: depth for depth, unit in enumerate(order)}
    loses = np.zeros(layout.size, dtype=bool)  # entries whose largest value is the bound
    for band in range(layout.bands):
        for pair, (row, column) in enumerate(layout.pairs):
            loses[layout.matrix_at(band, pair)] = row == column
    base = tables.constant.copy()
    groups: list[dict[tuple[int, ...], Floats]] = [{} for _ in order]
    for scope, table in tables.tables:
        ordered = sorted(scope, key=lambda unit: depth_of[unit])
        whole = np.transpose(table, [*(scope.index(unit) for unit in ordered), len(scope)])
        projected = [whole]
        for axis in range(len(ordered) - 1, -1, -1):
            whole = np.where(loses, whole.max(axis=axis), whole.min(axis=axis))
            projected.append(whole)
        projected.reverse()  # projected[k]: the first k units decided
        base += projected[0]
        for decided in range(1, len(ordered) + 1):
            adds = projected[decided] - projected[decided - 1][..., np.newaxis, :]
            key = tuple(depth_of[unit] for unit in ordered[:decided])
            group = groups[key[-1]]
            group[key] = group[key] + adds if key in group else adds
    # Paths are products of what is 0 or more and feed no entry of the matrix: without them the
    # figures are still a bound.
    options = np.array([tables.options[unit] for unit in order], dtype=np.int64)
    cells: list[Floats] = [np.zeros((0, layout.size))]
    offsets: list[int] = []
    keys: list[tuple[int, ...]] = []
    strides: list[list[int]] = []
    starts = [0]
    offset = 0
    for group in groups:
        for key, table in sorted(group.items()):
            cells.append(table.reshape(-1, layout.size))
            offsets.append(offset)
            offset += len(cells[-1])
            keys.append(key)
            strides.append(steps_of(table.shape[:-1]))
        starts.append(len(offsets))
    width = max((len(key) for key in keys), default=1)
    units = -np.ones((len(keys), width), dtype=np.int64)
    stride = np.zeros((len(keys), width), dtype=np.int64)
    for index, (key, steps) in enumerate(zip(keys, strides, strict=True)):
        units[index, : len(key)] = key
        stride[index, : len(key)] = steps
    return _Flat(
        options=options,
        cells=np.ascontiguousarray(np.concatenate(cells)),
        group_start=np.array(starts, dtype=np.int64),
        group_offset=np.array(offsets, dtype=np.int64),
        group_units=units,
        group_stride=stride,
        base=base,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Padded:
    own_cents: Ints
    setup_bits: Ints
    amounts: Ints
    edges: Ints
    prices: Ints
    price_start: Ints
    least_rest: Ints  # (units + 1,) what is still to be decided costs at least


def _padded(purchases: Purchases, order: Sequence[int], options: Ints) -> _Padded:
    widest = int(options.max(initial=1))

    def rows(arrays: Sequence[Ints]) -> Ints:
        return np.stack(
            [
                np.concatenate(
                    [arrays[u], np.zeros((widest - len(arrays[u]), *arrays[u].shape[1:]), np.int64)]
                )
                for u in order
            ]
        )

    own = rows(purchases.own_cents)
    rest = np.zeros(len(order) + 1, dtype=np.int64)
    for depth in range(len(order) - 1, -1, -1):
        rest[depth] = rest[depth + 1] + purchases.own_cents[order[depth]].min()
    stairs = purchases.stairs
    nothing = [np.zeros(1, dtype=np.int64)]
    return _Padded(
        own_cents=own,
        setup_bits=rows(purchases.setup_bits),
        amounts=rows(purchases.amounts),
        edges=np.concatenate([edges for edges, _ in stairs] or nothing),
        prices=np.concatenate([prices for _, prices in stairs] or nothing),
        price_start=np.cumsum([0, *(len(edges) for edges, _ in stairs)]).astype(np.int64),
        least_rest=rest,
    )
