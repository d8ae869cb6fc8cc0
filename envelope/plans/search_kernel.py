"""The compiled search: depth first over units, what cannot beat a known plan left out."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from envelope.plans.kernel import add_paths, add_tables, combined, packages_price
from envelope.rays.kernel.jit import compiled


class Costs(NamedTuple):
    """`Purchases` in the order of the search."""

    own_cents: Any  # (units, options)
    setup_bits: Any  # (units, options)
    setup_cents: Any  # (set-ups,)
    amounts: Any  # (units, options, materials)
    edges: Any
    prices: Any
    price_start: Any
    least_rest: Any  # (units + 1,) what is still to be decided costs at least


class Staircase(NamedTuple):
    """Plans in order of cost, each better than all before it."""

    cents: Any
    level: Any
    plan: Any


class Room(NamedTuple):
    """What the search works in: zeros, `chosen` all -1."""

    vectors: Any
    cents: Any
    bits: Any
    bought: Any
    chosen: Any
    work: Any
    bound_cents: Any
    bound_level: Any


@compiled
def cost_bound(depth: int, costs: Any, room: Any) -> int:
    """What the units decided up to a depth cost, with the least of the rest. [cents]"""
    option = room.chosen[depth]
    room.cents[depth + 1] = room.cents[depth] + costs.own_cents[depth, option]
    mask = room.bits[depth] | costs.setup_bits[depth, option]
    room.bits[depth + 1] = mask
    cost = room.cents[depth + 1] + costs.least_rest[depth + 1]
    bit = 0
    while mask:
        if mask & 1:
            cost += costs.setup_cents[bit]
        mask >>= 1
        bit += 1
    for material in range(costs.amounts.shape[2]):
        quantity = room.bought[depth, material] + costs.amounts[depth, option, material]
        room.bought[depth + 1, material] = quantity
        if quantity > 0:
            first = costs.price_start[material]
            last = costs.price_start[material + 1]
            cost += packages_price(quantity, costs.edges, costs.prices, first, last)
    return int(cost)


@compiled
def entered(cost: int, level: float, chosen: Any, known: Any, count: int) -> int:
    """Number of known plans after one that beats them has been put among them; -1: no place."""
    place = 0
    high = count
    while place < high:
        middle = (place + high) >> 1
        if known.cents[middle] < cost:
            place = middle + 1
        else:
            high = middle
    end = place
    while end < count and known.level[end] >= level:
        end += 1
    if end == place:
        if count >= len(known.cents):
            return -1
        for i in range(count - 1, place - 1, -1):
            known.cents[i + 1] = known.cents[i]
            known.level[i + 1] = known.level[i]
            for j in range(len(chosen)):
                known.plan[i + 1, j] = known.plan[i, j]
        count += 1
    elif end - place > 1:
        shift = end - place - 1
        for i in range(end, count):
            known.cents[i - shift] = known.cents[i]
            known.level[i - shift] = known.level[i]
            for j in range(len(chosen)):
                known.plan[i - shift, j] = known.plan[i, j]
        count -= shift
    known.cents[place] = cost
    known.level[place] = level
    for i in range(len(chosen)):
        known.plan[place, i] = chosen[i]
    return count


@compiled
def search_plans(
    options: Any,
    base: Any,
    tables: Any,
    table_start: Any,
    paths: Any,
    path_start: Any,
    weights: Any,
    worst: bool,
    layout: Any,
    costs: Any,
    known: Any,
    count: int,
    slack: float,
    most_cents: int,
    most_level: float,
    first_only: bool,
    gap: float,
    max_nodes: int,
    room: Any,
) -> tuple[int, int, bool, int, float]:
    """Depth first over units, best known plans as a staircase of (cost, level).

    Every partial plan has a lower bound in cost and in level; where the staircase is at or below
    both, its completions are left out. Tables and paths stand depth by depth: those at depth d
    need the options of the first d + 1 units. With `first_only` a plan below `most_level` is
    looked for that costs least; what is not cheaper by more than the share `gap` is left out.

    Returns
    -------
    count, nodes, finished, open_cents, open_level
        Known plans, nodes visited, whether the search came to its end, and, where it did not, the
        least bounds of what was left open.
    """
    size = len(base)
    vectors = room.vectors
    chosen = room.chosen
    for j in range(size):
        vectors[0, j] = base[j]
    room.bound_cents[0] = costs.least_rest[0]
    room.bound_level[0] = combined(base, weights, worst, layout, 1e300, room.work)
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
            return count, nodes, False, room.bound_cents[shallow], room.bound_level[shallow]
        cost = cost_bound(depth, costs, room)
        if cost > most_cents:
            continue
        best = most_level
        if not first_only:
            low = 0
            high = count
            while low < high:
                middle = (low + high) >> 1
                if known.cents[middle] <= cost:
                    low = middle + 1
                else:
                    high = middle
            if low > 0:
                best = min(best, known.level[low - 1])
        vector = vectors[depth + 1]
        for j in range(size):
            vector[j] = vectors[depth, j]
        add_tables(vector, chosen, tables, table_start[depth], table_start[depth + 1])
        limit = best / (1.0 + slack)
        level = combined(vector, weights, worst, layout, limit, room.work)
        if level >= limit:
            continue
        if path_start[depth + 1] > path_start[depth]:
            add_paths(vector, chosen, paths, path_start[depth], path_start[depth + 1])
            level = combined(vector, weights, worst, layout, limit, room.work)
            if level >= limit:
                continue
        room.bound_cents[depth + 1] = cost
        room.bound_level[depth + 1] = level
        if depth < len(options) - 1:
            depth += 1
            continue
        if first_only:
            count = 0
            most_cents = int(cost / (1.0 + gap))
            if most_cents >= cost / (1.0 + gap):
                most_cents -= 1
        count = entered(cost, level, chosen, known, count)
        if count < 0:
            return len(known.cents), nodes, False, room.bound_cents[0], room.bound_level[0]
    return count, nodes, True, 0, 0.0


@compiled
def plan_cost(chosen: Any, costs: Any) -> int:
    """What a whole plan costs. [cents]"""
    total = 0
    mask = 0
    for unit in range(len(chosen)):
        total += costs.own_cents[unit, chosen[unit]]
        mask |= costs.setup_bits[unit, chosen[unit]]
    bit = 0
    while mask:
        if mask & 1:
            total += costs.setup_cents[bit]
        mask >>= 1
        bit += 1
    for material in range(costs.amounts.shape[2]):
        quantity = 0
        for unit in range(len(chosen)):
            quantity += costs.amounts[unit, chosen[unit], material]
        if quantity > 0:
            first = costs.price_start[material]
            last = costs.price_start[material + 1]
            total += packages_price(quantity, costs.edges, costs.prices, first, last)
    return int(total)


@compiled
def worth(
    chosen: Any,
    least: float,
    constant: Any,
    tables: Any,
    paths: Any,
    weights: Any,
    worst: bool,
    layout: Any,
    costs: Any,
    most_level: float,
    cents_per_db: float,
    vector: Any,
    work: Any,
) -> float:
    """Cost of a plan and of what it lacks of a target; what is not below `least` is infinite."""
    cost = plan_cost(chosen, costs)
    if cost >= least:
        return math.inf
    limit = most_level * 10.0 ** ((least - cost) / (10.0 * cents_per_db))
    for j in range(len(constant)):
        vector[j] = constant[j]
    add_tables(vector, chosen, tables, 0, len(tables.offset))
    level = combined(vector, weights, worst, layout, limit, work)
    if level >= limit:
        return math.inf
    if len(paths.outputs):
        add_paths(vector, chosen, paths, 0, len(paths.outputs))
        level = combined(vector, weights, worst, layout, limit, work)
        if level >= limit:
            return math.inf
    if level < most_level:
        return float(cost)
    # at the target is not below it
    return float(cost) + max(1.0, cents_per_db * 10.0 * math.log10(level / most_level))


@compiled
def exchanged(
    chosen: Any,
    value: float,
    options: Any,
    constant: Any,
    tables: Any,
    paths: Any,
    weights: Any,
    worst: bool,
    layout: Any,
    costs: Any,
    most_level: float,
    cents_per_db: float,
    vector: Any,
    work: Any,
) -> float:
    """Change one unit or two at a time while that makes a plan worth less; its worth at the end."""
    units = len(options)
    better = True
    while better:
        better = False
        for one in range(units):
            for other in range(one, units):
                had = chosen[one]
                also = chosen[other]
                for option in range(options[one]):
                    if option == had and other != one:
                        continue
                    chosen[one] = option
                    for second in range(options[other]):
                        if other != one:
                            if second == also:
                                continue
                            chosen[other] = second
                        elif second > 0:
                            break
                        found = worth(
                            chosen,
                            value,
                            constant,
                            tables,
                            paths,
                            weights,
                            worst,
                            layout,
                            costs,
                            most_level,
                            cents_per_db,
                            vector,
                            work,
                        )
                        if found < value:
                            value = found
                            had = option
                            also = chosen[other]
                            better = True
                    chosen[other] = also
                chosen[one] = had
                if other != one:
                    chosen[other] = also
    return value
