"""Tables and costs of plans in the order in which a search decides units.

Each table is projected on the units that are decided at a depth: what is open takes the least that
comes in, the largest loss and the least coupling. What deciding the next unit adds to the bound is
again a table. A path, which is a product and no table, is added where its last unit is decided:
paths are 0 or more and feed no entry of the matrix, so that without them figures are still a bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats
from envelope.plans.kernel import Lookups, Products
from envelope.plans.level_tables import LevelTables, Paths, Scope, Table, looked_up
from envelope.plans.purchases import Purchases
from envelope.plans.search_kernel import Costs

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ordered:
    """Tables, paths and costs as the search looks them up, depth by depth."""

    order: tuple[int, ...]  # unit at each depth
    options: Ints
    base: Floats
    tables: Lookups
    table_start: Ints  # (depths + 1,)
    paths: Products
    path_start: Ints  # (depths + 1,)
    costs: Costs


def ordered(tables: LevelTables, purchases: Purchases, order: Sequence[int]) -> Ordered:
    """Tables and costs for a search that decides units in an order.

    Parameters
    ----------
    tables : LevelTables
    purchases : Purchases
    order : (units,) int
        Unit at each depth.
    """
    options = [tables.options[unit] for unit in order]
    base, groups = _projected(tables.merged, order)
    listed = [table for group in groups for _, table in sorted(group.items())]
    paths, path_start = _by_depth(tables.paths, order)
    return Ordered(
        order=tuple(order),
        options=np.array(options, dtype=np.int64),
        base=base,
        tables=looked_up(listed, options),
        table_start=np.cumsum([0, *(len(group) for group in groups)]).astype(np.int64),
        paths=paths,
        path_start=path_start,
        costs=costs_in(purchases, order, max(options, default=1)),
    )


def _projected(
    tables: LevelTables, order: Sequence[int]
) -> tuple[Floats, list[dict[Scope, Table]]]:
    """Figures with nothing decided, and what each depth adds, by the depths that it looks at."""
    layout = tables.layout
    depth_of = {unit: depth for depth, unit in enumerate(order)}
    loses = np.zeros(layout.size, dtype=bool)  # entries whose largest value is the bound
    for band in range(layout.bands):
        for pair, (row, column) in enumerate(layout.pairs):
            loses[layout.matrix_at(band, pair)] = row == column
    base = tables.constant.copy()
    groups: list[dict[Scope, Table]] = [{} for _ in order]
    for table in tables.tables:
        scope = sorted(table.scope, key=lambda unit: depth_of[unit])
        axes = [*(table.scope.index(unit) for unit in scope), len(scope)]
        whole = np.transpose(table.values, axes)
        projected = [whole]
        for axis in range(len(scope) - 1, -1, -1):
            largest = loses[table.columns]
            whole = np.where(largest, whole.max(axis=axis), whole.min(axis=axis))
            projected.append(whole)
        projected.reverse()  # projected[k]: the first k units decided
        base[table.columns] += projected[0]
        for decided in range(1, len(scope) + 1):
            key = tuple(depth_of[unit] for unit in scope[:decided])
            values = projected[decided] - projected[decided - 1][..., np.newaxis, :]
            adds = Table(scope=key, columns=table.columns, values=values)
            group = groups[key[-1]]
            group[key] = group[key].plus(adds) if key in group else adds
    return base, groups


def _by_depth(paths: Paths, order: Sequence[int]) -> tuple[Products, Ints]:
    """Paths in the order of the depth at which all of their units are decided."""
    depth_of = np.empty(len(order), dtype=np.int64)
    depth_of[list(order)] = np.arange(len(order))
    units = depth_of[paths.units] if len(paths.outputs) else paths.units
    used = np.arange(units.shape[1]) < paths.widths[:, np.newaxis]
    of_row = np.where(used, units, 0).max(axis=1, initial=0)
    deepest = np.zeros(len(paths.outputs), dtype=np.int64)
    lengths = np.diff(paths.start)
    np.maximum.at(deepest, np.repeat(np.arange(len(lengths)), lengths), of_row[paths.rows])
    by_depth = np.argsort(deepest, kind="stable")
    start = np.concatenate(([0], np.cumsum(lengths[by_depth]))).astype(np.int64)
    run = np.repeat(paths.start[:-1][by_depth] - start[:-1], lengths[by_depth])
    run += np.arange(start[-1])
    counts = np.bincount(deepest, minlength=len(order))
    return paths.compiled._replace(
        outputs=paths.outputs[by_depth],
        coefficients=paths.coefficients[by_depth],
        start=start,
        rows=paths.rows[run],
        offsets=paths.offsets[run],
        units=units,
    ), np.concatenate(([0], np.cumsum(counts))).astype(np.int64)


def costs_in(purchases: Purchases, order: Sequence[int], widest: int) -> Costs:
    """Costs in an order of units, rows of options as long as the widest unit needs."""

    def rows(arrays: Sequence[Ints]) -> Ints:
        return np.stack(
            [
                np.concatenate(
                    [arrays[u], np.zeros((widest - len(arrays[u]), *arrays[u].shape[1:]), np.int64)]
                )
                for u in order
            ]
        )

    rest = np.zeros(len(order) + 1, dtype=np.int64)
    for depth in range(len(order) - 1, -1, -1):
        rest[depth] = rest[depth + 1] + purchases.own_cents[order[depth]].min()
    stairs = purchases.stairs
    nothing = [np.zeros(1, dtype=np.int64)]
    return Costs(
        own_cents=rows(purchases.own_cents),
        setup_bits=rows(purchases.setup_bits),
        setup_cents=purchases.setup_cents,
        amounts=rows(purchases.amounts),
        edges=np.concatenate([edges for edges, _ in stairs] or nothing),
        prices=np.concatenate([prices for _, prices in stairs] or nothing),
        price_start=np.cumsum([0, *(len(edges) for edges, _ in stairs)]).astype(np.int64),
        least_rest=rest,
    )
