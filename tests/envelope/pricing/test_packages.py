"""Packages against enumeration, and against a published covering example."""

from __future__ import annotations

import itertools
import random
from decimal import Decimal

import pytest

from envelope.errors import RangeError
from envelope.pricing.packages import Package, Purchase, cheapest, whole_steps


def package(holds: str, price: str) -> Package:
    return Package(holds=Decimal(holds), price=Decimal(price))


def enumerated(needed: Decimal, packages: list[Package]) -> Decimal:
    """Least price over every combination that could be of use."""
    most = [int(needed / each.holds) + 1 for each in packages]
    best: Decimal | None = None
    for counts in itertools.product(*(range(n + 1) for n in most)):
        holds = sum((n * p.holds for n, p in zip(counts, packages, strict=True)), Decimal(0))
        if holds >= needed:
            price = sum((n * p.price for n, p in zip(counts, packages, strict=True)), Decimal(0))
            best = price if best is None or price < best else best
    assert best is not None
    return best


def test_equals_enumeration_on_random_offers() -> None:
    chance = random.Random(5)
    for _ in range(200):
        packages = [
            package(
                str(Decimal(chance.randint(20, 600)) / 100),
                str(Decimal(chance.randint(100, 30_000)) / 100),
            )
            for _ in range(chance.randint(1, 3))
        ]
        needed = Decimal(chance.randint(1, 1500)) / 100
        bought = cheapest(needed, packages)
        assert bought.price == enumerated(needed, packages)
        assert bought.holds >= needed
        pairs = zip(bought.counts, packages, strict=True)
        assert bought.price == sum((n * each.price for n, each in pairs), Decimal(0))


def test_a_large_can_can_be_cheaper_than_the_small_ones_that_would_do() -> None:
    sizes = [package("1", "64"), package("5", "260")]
    assert cheapest(4.2, sizes) == Purchase(
        counts=(0, 1), holds=Decimal(5), price=Decimal(260)
    )  # five of 1 l would be 320
    assert cheapest(4.0, sizes).counts == (4, 0)  # 256


def test_of_one_price_the_one_that_holds_more() -> None:
    assert cheapest(1.0, [package("1", "10"), package("2", "10")]).counts == (0, 1)


def test_what_rounding_adds_is_not_bought() -> None:
    assert whole_steps(0.1 + 0.7) == 80
    assert cheapest(3 * 1.1, [package("1.1", "9")]).counts == (3,)


def test_nothing_is_bought_where_nothing_is_needed() -> None:
    assert cheapest(0.0, [package("1", "5")]).counts == (0,)


def test_order_of_the_offer_changes_nothing() -> None:
    sizes = [package("5", "260"), package("1", "64"), package("2.5", "140")]
    for quantity in (0.4, 1.0, 3.3, 7.5, 12.01):
        prices = {
            (bought.price, bought.holds)
            for order in itertools.permutations(sizes)
            for bought in [cheapest(quantity, order)]
        }
        assert len(prices) == 1


@pytest.mark.parametrize("quantity", [float("nan"), float("inf"), -1.0])
def test_refuses_a_quantity_that_is_none(quantity: float) -> None:
    with pytest.raises(RangeError):
        cheapest(quantity, [package("1", "5")])


def test_refuses_packages_that_cannot_be() -> None:
    with pytest.raises(RangeError, match="holds 0"):
        package("0", "5")
    with pytest.raises(RangeError, match="costs -1"):
        package("1", "-1")
    with pytest.raises(RangeError, match="no package"):
        cheapest(1.0, [])
    with pytest.raises(RangeError, match="steps"):
        cheapest(1e6, [package("0.01", "1")])
