"""The search against enumeration on tables made by chance, set-ups and packages included."""

from __future__ import annotations

import itertools
from decimal import Decimal

import numpy as np
import pytest

from envelope.geometry.plane import Floats
from envelope.plans.level_tables import (
    Layout,
    LevelTables,
    Paths,
    Table,
    levels_of,
    without_untouched_spaces,
)
from envelope.plans.purchases import OptionCost, Purchases, staircase
from envelope.plans.search import combine, front_of
from envelope.plans.sequence import Chain, best_chain
from envelope.plans.units import Option, Unit
from envelope.pricing.packages import Package, cheapest


def random_tables(
    rng: np.random.Generator, *, units: int, spaces: int = 2, receivers: int = 1, bands: int = 2
) -> LevelTables:
    """Tables of rooms by chance: more treatment lets less in and may keep more from leaving."""
    pairs = [(i, i) for i in range(spaces)]
    pairs += [(i, j) for i in range(spaces) for j in range(spaces) if i != j]
    layout = Layout(
        receivers=receivers,
        bands=bands,
        spaces=spaces,
        pairs=tuple(pairs),
        space_of=tuple(int(rng.integers(spaces)) for _ in range(receivers)),
    )
    options = tuple(int(rng.integers(2, 4)) for _ in range(units))
    constant = np.zeros(layout.size)
    constant[: layout.fed] = rng.uniform(0.0, 0.02, layout.fed)
    for band in range(bands):
        for pair, (row, column) in enumerate(pairs):
            constant[layout.matrix_at(band, pair)] = 0.4 if row == column else 0.05
    found = []
    for unit in range(units):
        table = np.zeros((options[unit], layout.size))
        for option in range(options[unit]):
            passed = 10.0 ** (-1.2 * option)
            table[option, : layout.fed] = rng.uniform(0.0, 0.3, layout.fed) * passed
            for band in range(bands):
                own = int(rng.integers(spaces))
                area = rng.uniform(0.2, 2.0)
                # a reflective treatment takes loss away: a plan may become worse by it
                table[option, layout.matrix_at(band, own)] += area * rng.uniform(0.02, 1.0)
        found.append(((unit,), table))
    for _ in range(units):
        pair_ = sorted(rng.choice(units, size=2, replace=False).tolist())
        shape = (options[pair_[0]], options[pair_[1]], layout.size)
        table = np.zeros(shape)
        table[..., : layout.fed] = rng.uniform(0.0, 0.1, (*shape[:2], layout.fed))
        found.append((tuple(pair_), table))
    merged: dict[tuple[int, ...], np.ndarray] = {}
    for scope, table in found:
        merged[scope] = merged[scope] + table if scope in merged else table
    paths = random_paths(rng, layout, options)
    return LevelTables(
        layout=layout,
        options=options,
        constant=constant,
        tables=tuple(Table.of(*each) for each in sorted(merged.items())),
        paths=paths,
    )


def random_paths(rng: np.random.Generator, layout: Layout, options: tuple[int, ...]) -> Paths:
    """A few products over one unit a row."""
    units = len(options)
    values = rng.uniform(0.01, 0.9, (sum(options), 2))
    first = np.concatenate(([0], np.cumsum(options)))[:-1]
    rows = np.concatenate([rng.permutation(units)[:3] for _ in range(4)])
    return Paths(
        outputs=rng.integers(0, layout.fed, 4),
        coefficients=rng.uniform(0.0, 0.2, (4, 2)),
        start=np.array([0, 3, 6, 9, 12]) if units >= 3 else np.arange(5) * units,
        rows=rows.astype(np.int64),
        offsets=first[rows].astype(np.int64),
        factors=values,
        units=np.arange(units, dtype=np.int64)[:, np.newaxis],
        strides=np.ones((units, 1), dtype=np.int64),
        widths=np.ones(units, dtype=np.int64),
    )


def random_purchases(rng: np.random.Generator, options: tuple[int, ...]) -> Purchases:
    packages = {
        "paint": (
            Package(holds=Decimal(5), price=Decimal(int(rng.integers(200, 300)))),
            Package(holds=Decimal(1), price=Decimal(int(rng.integers(50, 80)))),
        )
    }
    costs = [
        [OptionCost()]
        + [
            OptionCost(
                own_cents=int(rng.integers(0, 20_000)),
                setups=("primer",) if rng.random() < 0.5 else (),
                amounts=(("paint", float(rng.uniform(0.1, 3.0))),) if rng.random() < 0.6 else (),
            )
            for _ in range(count - 1)
        ]
        for count in options
    ]
    return Purchases.of(costs, setups={"primer": 9000}, packages=packages)


def enumerated(
    tables: LevelTables, purchases: Purchases, *, worst: bool, weights: np.ndarray
) -> list[tuple[int, float]]:
    plans = np.array(list(itertools.product(*(range(n) for n in tables.options))))
    levels = combine(tables.levels(plans), weights=weights, worst=worst)
    cents = purchases.cents(plans)
    best = np.inf
    front = []
    for index in np.lexsort((levels, cents)):
        if levels[index] < best:
            best = levels[index]
            if front and front[-1][0] == cents[index]:
                continue
            front.append((int(cents[index]), float(levels[index])))
    return front


@pytest.mark.parametrize("seed", range(40))
def test_front_equals_enumeration(seed: int) -> None:
    rng = np.random.default_rng(seed)
    receivers = 1 + seed % 2
    tables = random_tables(
        rng, units=int(rng.integers(3, 7)), spaces=1 + seed % 3, receivers=receivers
    )
    purchases = random_purchases(rng, tables.options)
    weights = rng.uniform(0.5, 2.0, receivers)
    worst = bool(seed % 4 < 2)
    front = front_of(tables, purchases, weights=weights, worst=worst)
    assert front.finished
    expected = enumerated(tables, purchases, worst=worst, weights=weights)
    assert front.cents.tolist() == [cents for cents, _ in expected]
    assert front.levels_w_m2 == pytest.approx([level for _, level in expected], rel=1e-9)
    assert purchases.cents(front.plans).tolist() == front.cents.tolist()


def units_of(rng: np.random.Generator, options: tuple[int, ...]) -> list[Unit]:
    """Units with so many options, of which the third adds to the second or stands in its place."""
    found = []
    for number, count in enumerate(options):
        name = f"F{number}"
        third = ("a", "b") if rng.random() < 0.5 else ("b",)
        treatments = [(), ("a",), third][:count]
        found.append(
            Unit(
                id=name,
                title=name,
                options=tuple(
                    Option(label=" and ".join(each), treatments={name: each}) for each in treatments
                ),
            )
        )
    return found


def better_by_db(tables: LevelTables, purchases: Purchases, chain: Chain, weights: Floats) -> float:
    """By how much another order of a chain's steps is better at most, at what any step costs.

    After some of its steps another order has done some set of them: every set is looked at. All
    cost what `purchases` says, so that a chain which is costed by its take-off compares alike.
    """
    steps = len(chain.plans) - 1
    sets = itertools.product((False, True), repeat=steps)
    plans = []
    for done in sets:
        chosen = chain.plans[0].copy()
        for before, after, now in zip(chain.plans, chain.plans[1:], done, strict=False):
            if now:
                chosen[before != after] = after[before != after]
        plans.append(chosen)
    unions = np.array(plans)
    levels = combine(tables.levels(unions), weights=weights, worst=True)
    cents = purchases.cents(unions)
    return max(
        (
            10.0 * float(np.log10(level / levels[cents <= cost].min()))
            for cost, level in zip(
                purchases.cents(np.array(chain.plans)), chain.levels_w_m2, strict=True
            )
        ),
    )


@pytest.mark.parametrize("seed", range(12))
def test_no_other_order_of_the_same_steps_is_better_at_any_step(seed: int) -> None:
    rng = np.random.default_rng(500 + seed)
    tables = random_tables(rng, units=int(rng.integers(4, 9)), receivers=1 + seed % 2)
    purchases = random_purchases(rng, tables.options)
    weights = np.ones(tables.layout.receivers)
    front = front_of(tables, purchases, weights=weights)
    chain = best_chain(
        units_of(rng, tables.options),
        plans=front.plans,
        cents=front.cents,
        levels_w_m2=front.levels_w_m2,
    )
    assert len(chain.plans) > 1
    assert better_by_db(tables, purchases, chain, weights) < 0.1


@pytest.mark.parametrize("seed", range(10))
def test_targets_and_budgets_cut_the_same_front(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    tables = random_tables(rng, units=5)
    purchases = random_purchases(rng, tables.options)
    whole = front_of(tables, purchases)
    middle = len(whole.cents) // 2
    budget = int(whole.cents[middle])
    within = front_of(tables, purchases, most_cents=budget)
    assert within.cents.tolist() == whole.cents[: middle + 1].tolist()
    target = float(whole.levels_w_m2[middle]) * (1.0 + 1e-9)
    reached = front_of(tables, purchases, most_level_w_m2=target)
    assert reached.cents.tolist() == whole.cents[middle:].tolist()


def test_order_of_units_changes_nothing() -> None:
    rng = np.random.default_rng(9)
    tables = random_tables(rng, units=6)
    purchases = random_purchases(rng, tables.options)
    one = front_of(tables, purchases)
    other = front_of(tables, purchases, order=[3, 1, 5, 0, 2, 4])
    assert one.cents.tolist() == other.cents.tolist()
    assert one.levels_w_m2 == pytest.approx(other.levels_w_m2, rel=1e-12)


def test_stopped_early_it_says_what_is_open() -> None:
    rng = np.random.default_rng(11)
    tables = random_tables(rng, units=7)
    purchases = random_purchases(rng, tables.options)
    stopped = front_of(tables, purchases, max_nodes=20)
    whole = front_of(tables, purchases)
    assert not stopped.finished
    assert stopped.open_level_w_m2 is not None
    assert stopped.open_level_w_m2 <= whole.levels_w_m2.min() * (1.0 + 1e-12)
    assert stopped.open_cents is not None
    assert stopped.open_cents <= whole.cents.min()


def test_eliminating_untouched_spaces_changes_no_level() -> None:
    rng = np.random.default_rng(4)
    tables = random_tables(rng, units=4, spaces=2)
    layout = tables.layout
    wide = Layout(
        receivers=1,
        bands=layout.bands,
        spaces=3,
        pairs=tuple((i, j) for i in range(3) for j in range(3) if i == j)
        + tuple((i, j) for i in range(3) for j in range(3) if i != j),
        space_of=layout.space_of,
    )

    def widened(vector: np.ndarray) -> np.ndarray:
        out = np.zeros((*vector.shape[:-1], wide.size))
        for band in range(layout.bands):
            out[..., wide.direct_at(0, band)] = vector[..., layout.direct_at(0, band)]
            for space in range(2):
                out[..., wide.fed_at(0, band, space)] = vector[..., layout.fed_at(0, band, space)]
            for pair, place in enumerate(layout.pairs):
                there = wide.matrix_at(band, wide.pairs.index(place))
                out[..., there] = vector[..., layout.matrix_at(band, pair)]
        return out

    constant = widened(tables.constant)
    for band in range(wide.bands):
        constant[wide.fed_at(0, band, 2)] = 0.3
        for place, value in (((2, 2), 1.5), ((0, 2), 0.2), ((2, 0), 0.2), ((1, 2), 0.1)):
            constant[wide.matrix_at(band, wide.pairs.index(place))] = value
        constant[wide.matrix_at(band, wide.pairs.index((0, 0)))] += 0.2
    outputs = tables.paths.outputs.copy()
    outputs[:] = wide.fed_at(0, 0, 2)
    whole = LevelTables(
        layout=wide,
        options=tables.options,
        constant=constant,
        tables=tuple(
            Table.of(each.scope, widened(each.figures(layout.size))) for each in tables.tables
        ),
        paths=Paths(
            **{
                name: getattr(tables.paths, name)
                for name in tables.paths.__dataclass_fields__
                if name != "outputs"
            },
            outputs=outputs,
        ),
    )
    plans = np.array(list(itertools.product(*(range(n) for n in tables.options))))
    less = without_untouched_spaces(whole)
    assert less.layout.spaces == 2
    assert less.levels(plans) == pytest.approx(whole.levels(plans), rel=1e-11)


def test_staircase_is_the_cheapest_purchase() -> None:
    sizes = (
        Package(holds=Decimal(5), price=Decimal(260)),
        Package(holds=Decimal("2.5"), price=Decimal("141.50")),
        Package(holds=Decimal(1), price=Decimal(64)),
    )
    edges, prices = staircase(2000, sizes)
    for quantity in range(1, 2001, 7):
        step = np.searchsorted(edges, quantity)
        assert prices[step] == 100 * cheapest(Decimal(quantity) / 100, sizes).price


def test_a_hand_made_room() -> None:
    """One space, one band: D + Q / M, 1 + 2/4, and treated 0.5 + 2/2."""
    layout = Layout(receivers=1, bands=1, spaces=1, pairs=((0, 0),), space_of=(0,))
    assert levels_of(layout, np.array([[1.0, 2.0, 4.0], [0.5, 2.0, 2.0]])).tolist() == [
        [1.5],
        [1.5],
    ]
