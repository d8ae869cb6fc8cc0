"""Cutting plans: never short, and against enumeration."""

from __future__ import annotations

import random
import subprocess
import sys
from decimal import Decimal

import pytest
import shapely

from envelope.errors import RangeError
from envelope.pricing.packages import Package
from envelope.works.cutting import curtain_drops, cut_rolls, film_pieces, strips_over


def roll(length: str, price: str) -> Package:
    return Package(holds=Decimal(length), price=Decimal(price))


def test_a_wall_by_hand() -> None:
    """4.2 m × 2.4 m, a roll 1.2 m wide, 6 cm over each seam, 10 cm turned up at both ends.

    Upright: (4.2 − 0.06) / 1.14 = 3.63: four strips of 2.6 m, 10.4 m. Lying: (2.4 − 0.06) / 1.14
    = 2.05: three strips of 4.4 m, 13.2 m. Upright takes less.
    """
    plan = strips_over(shapely.box(0, 0, 4.2, 2.4), width_m=1.2, overlap_m=0.06, turn_up_m=0.1)
    assert plan.direction == "along"
    assert [strip.length_m for strip in plan.strips] == [2.6] * 4
    assert plan.seams_m == pytest.approx((1.14, 2.28, 3.42))
    assert plan.waste == pytest.approx(1 - 4.2 * 2.4 / (10.4 * 1.2))


def test_an_exact_fit_takes_no_further_strip() -> None:
    plan = strips_over(
        shapely.box(0, 0, 1.2 + 3 * 1.14, 2), width_m=1.2, overlap_m=0.06, turn_up_m=0
    )
    assert len(plan.strips) == 4


def test_a_window_wider_than_a_strip_cuts_it_in_two() -> None:
    area = shapely.box(0, 0, 3, 2.4) - shapely.box(0.5, 0.9, 2.5, 2.0)
    plan = strips_over(area, width_m=1.0, overlap_m=0.0, turn_up_m=0.0)
    middle = [strip for strip in plan.strips if strip.start_m == pytest.approx(1.0)]
    assert [(strip.low_m, strip.high_m) for strip in middle] == [(0.0, 0.9), (2.0, 2.4)]


def test_strips_cover_any_face() -> None:
    chance = random.Random(3)
    for _ in range(60):
        corners = [
            (chance.uniform(0, 5), chance.uniform(0, 3)) for _ in range(chance.randint(3, 7))
        ]
        area = shapely.MultiPoint(corners).convex_hull
        if area.area < 0.2:
            continue
        hole = shapely.box(2, 1, 3, 1.8)
        area = area.difference(hole)
        width = chance.uniform(0.5, 1.5)
        plan = strips_over(area, width_m=width, overlap_m=0.05, turn_up_m=0.0)
        cover = shapely.union_all(
            [
                shapely.box(s.start_m, s.low_m, s.start_m + width, s.high_m)
                if plan.direction == "along"
                else shapely.box(s.low_m, s.start_m, s.high_m, s.start_m + width)
                for s in plan.strips
            ]
        )
        assert area.difference(cover).area < 1e-6


def test_film_for_panes() -> None:
    """A pane of 1.5 × 1.2 m with 30 mm at each edge is 1.56 × 1.26."""
    assert film_pieces(pane_m=(1.5, 1.2), width_m=1.52, trim_m=0.03) == (1.56,)
    assert film_pieces(pane_m=(1.5, 1.2), width_m=1.6, trim_m=0.03) == (1.26,)
    # wider than the roll both ways: three of 1.26 m or two of 1.56 m
    assert film_pieces(pane_m=(1.5, 1.2), width_m=0.7, trim_m=0.03) == (1.56, 1.56)
    with pytest.raises(RangeError, match="leaves nothing"):
        film_pieces(pane_m=(1.5, 1.2), width_m=0.05, trim_m=0.03)


def test_cloth_for_a_curtain() -> None:
    """2.0 m and 20 cm over, at 1.5 times: 3.3 m; cloth of 1.37 m (54 in): three drops."""
    drops = curtain_drops(
        covered_m=2.0, drop_m=2.3, fullness=1.5, overlap_m=0.2, hem_m=0.3, width_m=1.37
    )
    assert drops == (2.6, 2.6, 2.6)


def _enumerated(lengths: list[int], packages: list[tuple[int, int]]) -> int:
    """Least price by trying every place for every piece."""
    best = [10**9]

    def place(index: int, rolls: list[tuple[int, int]], price: int) -> None:
        if price >= best[0]:
            return
        if index == len(lengths):
            best[0] = price
            return
        seen = set()
        for k, (left, kind) in enumerate(rolls):
            if left >= lengths[index] and (left, kind) not in seen:
                seen.add((left, kind))
                changed = [*rolls]
                changed[k] = (left - lengths[index], kind)
                place(index + 1, changed, price)
        for kind, (size, cost) in enumerate(packages):
            if size >= lengths[index]:
                place(index + 1, [*rolls, (size - lengths[index], kind)], price + cost)

    place(0, [], 0)
    return best[0]


def test_rolls_equal_enumeration_and_cut_every_piece_once() -> None:
    chance = random.Random(8)
    for _ in range(40):
        lengths = [chance.randint(30, 400) for _ in range(chance.randint(1, 7))]
        packages = [(500, chance.randint(40, 60)), (1000, chance.randint(70, 120))]
        offered = [roll(str(Decimal(size) / 100), str(cost)) for size, cost in packages]
        rolls = cut_rolls([length / 100 for length in lengths], offered)
        cut = sorted(round(x * 100) for each in rolls for x in each.lengths_m)
        assert cut == sorted(lengths)
        for each in rolls:
            assert sum(each.lengths_m) <= float(offered[each.package].holds) + 1e-9
        price = sum(offered[each.package].price for each in rolls)
        assert price == _enumerated(sorted(lengths, reverse=True), packages)


def test_a_few_pieces_cost_what_the_solver_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    """HiGHS, as many pieces have it, against all ways to cut what is left, as few have it."""
    chance = random.Random(9)
    offered = [roll("5", "55"), roll("10", "95"), roll("25", "210")]
    for _ in range(25):
        pieces = chance.choices([1.1, 2.8, 3.79, 4.05, 5.0], k=chance.randint(2, 12))
        prices = []
        for most in (20_000, 0):
            monkeypatch.setattr("envelope.works.cutting.MAX_LOOKED_AT", most)
            rolls = cut_rolls(pieces, offered)
            assert sorted(x for each in rolls for x in each.lengths_m) == sorted(pieces)
            prices.append(sum(offered[each.package].price for each in rolls))
        assert prices[0] == prices[1], pieces


def test_a_few_pieces_do_not_load_the_solver() -> None:
    code = (
        "import sys; from decimal import Decimal; from envelope.works.cutting import cut_rolls;"
        "from envelope.pricing.packages import Package;"
        "offered = [Package(holds=Decimal(25), price=Decimal(540)),"
        " Package(holds=Decimal(5), price=Decimal(125))];"
        "rolls = cut_rolls([3.79, 3.79, 2.8, 6.2, 6.2, 6.2], offered);"
        "print(sum(offered[each.package].price for each in rolls), 'scipy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["790", "False"]


def test_many_pieces_of_many_lengths_stay_near_the_bound() -> None:
    """The sum of lengths over the roll's length is a lower bound on the number of rolls."""
    chance = random.Random(1)
    lengths = [chance.randint(40, 320) / 100 for _ in range(70)]
    rolls = cut_rolls(lengths, [roll("25", "300")])
    assert len(rolls) <= 1.05 * sum(lengths) / 25 + 1
    assert sorted(x for each in rolls for x in each.lengths_m) == pytest.approx(sorted(lengths))


def test_rolls_that_cannot_be_cheaper_are_not_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three pieces of 4 m off rolls of 8 m: two rolls hold 12 m, and one does not."""

    def refuse(*_: object) -> None:
        raise AssertionError("the solver was asked")

    monkeypatch.setattr("envelope.works.cutting._exact", refuse)
    rolls = cut_rolls([4.0, 4.0, 4.0], [roll("8", "100")])
    assert [each.lengths_m for each in rolls] == [(4.0,), (4.0, 4.0)]


def test_a_piece_longer_than_any_roll_is_refused() -> None:
    with pytest.raises(RangeError, match=r"5\.20 m is longer than the longest roll, 5\.00 m"):
        cut_rolls([5.2], [roll("5", "10")])
    with pytest.raises(RangeError, match="no roll"):
        cut_rolls([1.0], [])
