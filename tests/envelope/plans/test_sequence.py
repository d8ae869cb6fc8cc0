"""The best nested sequence against every nested sequence of small fronts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from envelope.plans.sequence import adds, best_chain, may_follow
from envelope.plans.units import Option, Unit


def unit(name: str, *treatments: tuple[str, ...]) -> Unit:
    options = [Option(label="leave", treatments={name: ()})]
    options += [Option(label="x", treatments={name: each}) for each in treatments]
    return Unit(id=name, title=name, options=tuple(options))


def test_what_can_be_made_of_what() -> None:
    window = unit("W", ("film",), ("curtain",), ("film", "curtain"))
    (table,) = may_follow([window])
    assert table.tolist() == [
        [True, True, True, True],
        [False, True, False, True],  # a curtain can hang before a film
        [False, False, True, True],
        [False, False, False, True],
    ]
    assert not adds(window.options[3], window.options[1])


def every_chain(follows: np.ndarray, last: int, most: int) -> list[tuple[int, ...]]:
    found = []
    for length in range(1, most + 1):
        for middle in itertools.combinations(range(1, last), length - 1):
            chain = (0, *middle, last)
            if all(follows[a, b] for a, b in itertools.pairwise(chain)):
                found.append(chain)
    return found


@pytest.mark.parametrize("seed", range(30))
def test_no_nested_sequence_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    units = [unit("A", ("a",)), unit("B", ("b",), ("b", "c")), unit("C", ("d",)), unit("D", ("e",))]
    plans = np.array(list(itertools.product(*(range(len(each.options)) for each in units))))
    price = [np.array([0, *rng.integers(50, 400, len(each.options) - 1)]) for each in units]
    cents = sum(price[u][plans[:, u]] for u in range(4))
    levels = np.exp(-sum(rng.uniform(0.1, 1.5) * (plans[:, u] > 0) for u in range(4)))
    levels = levels * rng.uniform(0.7, 1.3, len(plans))
    order = np.lexsort((levels, cents))
    kept = [0]
    for index in order:
        if index != 0 and levels[index] < levels[kept[-1]]:
            if cents[index] == cents[kept[-1]]:
                continue
            kept.append(int(index))
    plans, cents, levels = plans[kept], cents[kept], levels[kept]
    chain = best_chain(units, plans=plans, cents=cents, levels_w_m2=levels, max_steps=4)
    tables = may_follow(units)
    follows = np.array(
        [[all(t[a[u], b[u]] for u, t in enumerate(tables)) for b in plans] for a in plans]
    )
    relative = 10 * np.log10(levels / levels[0])
    last = len(plans) - 1
    if last == 0:
        return
    best = min(
        sum(relative[a] * (cents[b] - cents[a]) for a, b in itertools.pairwise(each))
        for each in every_chain(follows, last, 4)
    ) / (cents[-1] - cents[0])
    assert chain.mean_db == pytest.approx(best)
    assert chain.front_mean_db <= chain.mean_db + 1e-12
    assert len(chain.plans) <= 5
    for before, after in itertools.pairwise(chain.plans):
        assert all(t[a, b] for t, a, b in zip(tables, before, after, strict=True))


def test_a_start_with_nothing_better_is_its_own_chain() -> None:
    units = [unit("A", ("a",))]
    chain = best_chain(
        units,
        plans=np.zeros((1, 1), dtype=np.int64),
        cents=np.zeros(1, dtype=np.int64),
        levels_w_m2=np.ones(1),
    )
    assert len(chain.plans) == 1
