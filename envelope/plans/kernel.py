"""Compiled parts of the search: levels of partial plans, prices of packages, depth first."""

from __future__ import annotations

from typing import Any

from envelope.rays.kernel.jit import compiled


@compiled
def add_paths(
    vector: Any,
    chosen: Any,
    outputs: Any,
    coefficients: Any,
    start: Any,
    rows: Any,
    offsets: Any,
    factors: Any,
    units: Any,
    strides: Any,
    widths: Any,
) -> None:
    """Add every path's product under chosen options to a vector of figures."""
    for path in range(len(outputs)):
        one = coefficients[path, 0]
        other = coefficients[path, 1]
        for element in range(start[path], start[path + 1]):
            row = rows[element]
            at = offsets[element]
            for w in range(widths[row]):
                at += strides[row, w] * chosen[units[row, w]]
            one *= factors[at, 0]
            other *= factors[at, 1]
        vector[outputs[path]] += one + other


@compiled
def fill_table(
    table: Any,
    options: Any,
    chosen: Any,
    outputs: Any,
    coefficients: Any,
    start: Any,
    rows: Any,
    offsets: Any,
    factors: Any,
    units: Any,
    strides: Any,
    widths: Any,
) -> None:
    """Add every path's product to each cell (cells, outputs) of a table over a few units."""
    for cell in range(table.shape[0]):
        rest = cell
        for unit in range(len(options) - 1, -1, -1):
            chosen[unit] = rest % options[unit]
            rest //= options[unit]
        add_paths(
            table[cell],
            chosen,
            outputs,
            coefficients,
            start,
            rows,
            offsets,
            factors,
            units,
            strides,
            widths,
        )


@compiled
def level_at(
    vector: Any,
    receiver: int,
    bands: int,
    spaces: int,
    direct: int,
    fed: int,
    pair_row: Any,
    pair_column: Any,
    space: int,
    work: Any,
) -> float:
    """Level at a receiver: direct parts, and each band's balance solved towards its space."""
    total = 0.0
    pairs = len(pair_row)
    for band in range(bands):
        total += vector[receiver * bands + band]
        for i in range(spaces):
            for j in range(spaces):
                work[i, j] = 0.0
            work[i, spaces] = vector[direct + (receiver * bands + band) * spaces + i]
        for pair in range(pairs):
            value = vector[fed + band * pairs + pair]
            if pair_row[pair] != pair_column[pair]:
                value = -value
            work[pair_row[pair], pair_column[pair]] += value
        for pivot in range(spaces):
            if pivot == space:
                continue
            scale = 1.0 / work[pivot, pivot]
            for i in range(spaces):
                if i > pivot or i == space:
                    factor = work[i, pivot] * scale
                    if factor != 0.0:
                        for j in range(spaces + 1):
                            if j > pivot or j == space:
                                work[i, j] -= factor * work[pivot, j]
        total += work[space, spaces] / work[space, space]
    return total


@compiled
def table_levels(
    plans: Any,
    levels: Any,
    constant: Any,
    cells: Any,
    offset: Any,
    units: Any,
    stride: Any,
    bands: int,
    spaces: int,
    direct: int,
    fed: int,
    pair_row: Any,
    pair_column: Any,
    space_of: Any,
    outputs: Any,
    coefficients: Any,
    path_start: Any,
    rows: Any,
    path_offsets: Any,
    factors: Any,
    row_units: Any,
    row_strides: Any,
    widths: Any,
    vector: Any,
    work: Any,
) -> None:
    """Levels (n, receivers) of whole plans (n, units): tables looked up, paths multiplied out."""
    size = len(constant)
    for plan in range(plans.shape[0]):
        chosen = plans[plan]
        for j in range(size):
            vector[j] = constant[j]
        for table in range(len(offset)):
            at = offset[table]
            for w in range(units.shape[1]):
                if units[table, w] < 0:
                    break
                at += stride[table, w] * chosen[units[table, w]]
            for j in range(size):
                vector[j] += cells[at, j]
        add_paths(
            vector,
            chosen,
            outputs,
            coefficients,
            path_start,
            rows,
            path_offsets,
            factors,
            row_units,
            row_strides,
            widths,
        )
        for receiver in range(len(space_of)):
            levels[plan, receiver] = level_at(
                vector,
                receiver,
                bands,
                spaces,
                direct,
                fed,
                pair_row,
                pair_column,
                space_of[receiver],
                work,
            )


@compiled
def combined(
    vector: Any,
    weights: Any,
    worst: bool,
    bands: int,
    spaces: int,
    direct: int,
    fed: int,
    pair_row: Any,
    pair_column: Any,
    space_of: Any,
    work: Any,
) -> float:
    """The worst or the weighted level over all receivers: what a search makes small."""
    found = 0.0
    for receiver in range(len(space_of)):
        if weights[receiver] == 0.0:
            continue
        level = weights[receiver] * level_at(
            vector,
            receiver,
            bands,
            spaces,
            direct,
            fed,
            pair_row,
            pair_column,
            space_of[receiver],
            work,
        )
        if worst:
            found = max(found, level)
        else:
            found += level
    return found


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


@compiled
def search_plans(
    options: Any,
    cells: Any,
    group_start: Any,
    group_offset: Any,
    group_units: Any,
    group_stride: Any,
    base: Any,
    weights: Any,
    worst: bool,
    bands: int,
    spaces: int,
    direct: int,
    fed: int,
    pair_row: Any,
    pair_column: Any,
    space_of: Any,
    own_cents: Any,
    setup_bits: Any,
    setup_cents: Any,
    amounts: Any,
    edges: Any,
    prices: Any,
    price_start: Any,
    least_rest: Any,
    front_cents: Any,
    front_level: Any,
    front_plan: Any,
    count: int,
    slack: float,
    most_cents: int,
    most_level: float,
    max_nodes: int,
    outputs: Any,
    coefficients: Any,
    path_start: Any,
    rows: Any,
    offsets: Any,
    factors: Any,
    row_units: Any,
    row_strides: Any,
    widths: Any,
    vectors: Any,
    whole: Any,
    cents: Any,
    bits: Any,
    bought: Any,
    chosen: Any,
    work: Any,
    bound_cents: Any,
    bound_level: Any,
) -> tuple[int, int, bool, int, float]:
    """Depth first over units, best known plans as a staircase of (cost, level).

    Every partial plan has a lower bound in cost and in level; where the staircase is at or below
    both, its completions are left out. The last nine arrays are what it works in: zeros, `chosen`
    all -1.

    Returns
    -------
    count, nodes, finished, open_cents, open_level
        Plans of the front, nodes visited, whether the search came to its end, and, where it did
        not, the least bounds of what was left open.
    """
    depth_of_plan = len(options)
    size = len(base)
    materials = amounts.shape[2]
    for j in range(size):
        vectors[0, j] = base[j]
    bound_cents[0] = least_rest[0]
    bound_level[0] = combined(
        base,
        weights,
        worst,
        bands,
        spaces,
        direct,
        fed,
        pair_row,
        pair_column,
        space_of,
        work,
    )
    depth = 0
    nodes = 0
    while depth >= 0:
        chosen[depth] += 1
        if chosen[depth] >= options[depth]:
            chosen[depth] = -1
            depth -= 1
            continue
        nodes += 1
        if nodes >= max_nodes:
            # Bounds grow with depth: the least open one is that of the shallowest open branch.
            shallow = 0
            while shallow < depth and chosen[shallow] == options[shallow] - 1:
                shallow += 1
            return count, nodes, False, bound_cents[shallow], bound_level[shallow]
        option = chosen[depth]
        cents[depth + 1] = cents[depth] + own_cents[depth, option]
        bits[depth + 1] = bits[depth] | setup_bits[depth, option]
        cost = cents[depth + 1] + least_rest[depth + 1]
        mask = bits[depth + 1]
        bit = 0
        while mask:
            if mask & 1:
                cost += setup_cents[bit]
            mask >>= 1
            bit += 1
        for material in range(materials):
            quantity = bought[depth, material] + amounts[depth, option, material]
            bought[depth + 1, material] = quantity
            if quantity > 0:
                cost += packages_price(
                    quantity, edges, prices, price_start[material], price_start[material + 1]
                )
        if cost > most_cents:
            continue
        low = 0
        high = count
        while low < high:
            middle = (low + high) >> 1
            if front_cents[middle] <= cost:
                low = middle + 1
            else:
                high = middle
        best = most_level
        if low > 0:
            best = min(best, front_level[low - 1])
        for j in range(size):
            vectors[depth + 1, j] = vectors[depth, j]
        for group in range(group_start[depth], group_start[depth + 1]):
            at = group_offset[group]
            for w in range(group_units.shape[1]):
                if group_units[group, w] < 0:
                    break
                at += group_stride[group, w] * chosen[group_units[group, w]]
            for j in range(size):
                vectors[depth + 1, j] += cells[at, j]
        level = combined(
            vectors[depth + 1],
            weights,
            worst,
            bands,
            spaces,
            direct,
            fed,
            pair_row,
            pair_column,
            space_of,
            work,
        )
        if level * (1.0 + slack) >= best:
            continue
        bound_cents[depth + 1] = cost
        bound_level[depth + 1] = level
        if depth < depth_of_plan - 1:
            depth += 1
            continue
        if len(outputs):
            for j in range(size):
                whole[j] = vectors[depth + 1, j]
            add_paths(
                whole,
                chosen,
                outputs,
                coefficients,
                path_start,
                rows,
                offsets,
                factors,
                row_units,
                row_strides,
                widths,
            )
            level = combined(
                whole,
                weights,
                worst,
                bands,
                spaces,
                direct,
                fed,
                pair_row,
                pair_column,
                space_of,
                work,
            )
            if level * (1.0 + slack) >= best:
                continue
        place = low
        if place > 0 and front_cents[place - 1] == cost:
            place -= 1
        end = place
        while end < count and front_level[end] >= level:
            end += 1
        if end == place:
            if count >= len(front_cents):
                return count, nodes, False, bound_cents[0], bound_level[0]
            for i in range(count - 1, place - 1, -1):
                front_cents[i + 1] = front_cents[i]
                front_level[i + 1] = front_level[i]
                for j in range(depth_of_plan):
                    front_plan[i + 1, j] = front_plan[i, j]
            count += 1
        else:
            shift = end - place - 1
            if shift > 0:
                for i in range(end, count):
                    front_cents[i - shift] = front_cents[i]
                    front_level[i - shift] = front_level[i]
                    for j in range(depth_of_plan):
                        front_plan[i - shift, j] = front_plan[i, j]
                count -= shift
        front_cents[place] = cost
        front_level[place] = level
        for i in range(depth_of_plan):
            front_plan[place, i] = chosen[i]
    return count, nodes, True, 0, 0.0
