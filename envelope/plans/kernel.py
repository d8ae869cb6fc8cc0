"""Compiled parts of plans: products of paths, levels of figures, prices of packages."""

from __future__ import annotations

from typing import Any, NamedTuple

from envelope.rays.kernel.jit import compiled


class Balance(NamedTuple):
    """Where figures stand in a vector, as compiled code reads `Layout`."""

    bands: int
    spaces: int
    direct: int
    fed: int
    pair_row: Any
    pair_column: Any
    space_of: Any


class Products(NamedTuple):
    """`Paths` as compiled code reads them."""

    outputs: Any
    coefficients: Any
    start: Any
    rows: Any
    offsets: Any
    factors: Any
    units: Any
    strides: Any
    widths: Any


class Lookups(NamedTuple):
    """Tables below one another: table t adds to the figures ``columns[column_start[t]:]``.

    The values of the cell of chosen options stand at ``offset[t] + stride[t] · chosen``.
    """

    values: Any
    offset: Any
    units: Any  # (tables, w) that each is over, -1 after the last
    stride: Any  # (tables, w)
    column_start: Any  # (tables + 1,)
    columns: Any


@compiled
def add_paths(vector: Any, chosen: Any, paths: Any, first: int, last: int) -> None:
    """Add the products of paths `first` to `last` under chosen options to a vector of figures."""
    for path in range(first, last):
        one = paths.coefficients[path, 0]
        other = paths.coefficients[path, 1]
        for element in range(paths.start[path], paths.start[path + 1]):
            row = paths.rows[element]
            at = paths.offsets[element]
            for w in range(paths.widths[row]):
                at += paths.strides[row, w] * chosen[paths.units[row, w]]
            one *= paths.factors[at, 0]
            other *= paths.factors[at, 1]
        vector[paths.outputs[path]] += one + other


@compiled
def fill_table(table: Any, options: Any, chosen: Any, paths: Any) -> None:
    """Add every path's product to each cell (cells, outputs) of a table over a few units."""
    for cell in range(table.shape[0]):
        rest = cell
        for unit in range(len(options) - 1, -1, -1):
            chosen[unit] = rest % options[unit]
            rest //= options[unit]
        add_paths(table[cell], chosen, paths, 0, len(paths.outputs))


@compiled
def add_tables(vector: Any, chosen: Any, tables: Any, first: int, last: int) -> None:
    """Add the cells of tables `first` to `last` under chosen options to a vector of figures."""
    for table in range(first, last):
        at = tables.offset[table]
        for w in range(tables.units.shape[1]):
            if tables.units[table, w] < 0:
                break
            at += tables.stride[table, w] * chosen[tables.units[table, w]]
        begin = tables.column_start[table]
        for column in range(begin, tables.column_start[table + 1]):
            vector[tables.columns[column]] += tables.values[at + column - begin]


@compiled
def level_at(vector: Any, receiver: int, layout: Any, limit: float, work: Any) -> float:
    """Level at a receiver: direct parts, and each band's balance solved towards its space.

    Bands are no longer added once the sum has reached the limit.
    """
    total = 0.0
    bands = layout.bands
    spaces = layout.spaces
    pairs = len(layout.pair_row)
    space = layout.space_of[receiver]
    last = spaces - 1
    for band in range(bands):
        total += vector[receiver * bands + band]
    for band in range(bands):
        if total >= limit:
            return total
        # the receiver's own space last, so that eliminating forwards leaves it alone
        for i in range(spaces):
            for j in range(spaces):
                work[i, j] = 0.0
            place = last if i == space else (i - 1 if i > space else i)
            work[place, spaces] = vector[layout.direct + (receiver * bands + band) * spaces + i]
        for pair in range(pairs):
            value = vector[layout.fed + band * pairs + pair]
            row = layout.pair_row[pair]
            column = layout.pair_column[pair]
            if row != column:
                value = -value
            row = last if row == space else (row - 1 if row > space else row)
            column = last if column == space else (column - 1 if column > space else column)
            work[row, column] += value
        for pivot in range(last):
            scale = 1.0 / work[pivot, pivot]
            for i in range(pivot + 1, spaces):
                factor = work[i, pivot] * scale
                if factor != 0.0:
                    for j in range(pivot + 1, spaces + 1):
                        work[i, j] -= factor * work[pivot, j]
        total += work[last, spaces] / work[last, last]
    return total


@compiled
def combined(vector: Any, weights: Any, worst: bool, layout: Any, limit: float, work: Any) -> float:
    """The worst or the weighted level over all receivers: what a search makes small.

    What comes to the limit or more is not followed to its end.
    """
    found = 0.0
    for receiver in range(len(layout.space_of)):
        weight = weights[receiver]
        if weight == 0.0:
            continue
        left = limit / weight if worst else (limit - found) / weight
        level = weight * level_at(vector, receiver, layout, left, work)
        if worst:
            found = max(found, level)
        else:
            found += level
        if found >= limit:
            break
    return found


@compiled
def table_levels(
    plans: Any,
    levels: Any,
    constant: Any,
    tables: Any,
    paths: Any,
    layout: Any,
    vector: Any,
    work: Any,
) -> None:
    """Levels (n, receivers) of whole plans (n, units): tables looked up, paths multiplied out."""
    for plan in range(plans.shape[0]):
        chosen = plans[plan]
        for j in range(len(constant)):
            vector[j] = constant[j]
        add_tables(vector, chosen, tables, 0, len(tables.offset))
        add_paths(vector, chosen, paths, 0, len(paths.outputs))
        for receiver in range(len(layout.space_of)):
            levels[plan, receiver] = level_at(vector, receiver, layout, 1e300, work)


@compiled
def packages_price(quantity: int, edges: Any, prices: Any, low: int, high: int) -> int:
    """Price of the cheapest packages that hold a quantity: a staircase, its edges sorted."""
    while low < high:
        middle = (low + high) >> 1
        if edges[middle] >= quantity:
            high = middle
        else:
            low = middle + 1
    return int(prices[low])
