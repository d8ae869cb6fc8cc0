"""Bills worked by hand, line by line."""

from __future__ import annotations

from decimal import Decimal

import pytest

from envelope.errors import RangeError
from envelope.pricing.bill import Treated, bill_of, quantity_of
from envelope.pricing.packages import Package
from envelope.pricing.products import Costs, Price, Product

PAINT = Product(
    id="paint",
    treatment="coating",
    form="liquid",
    title="conductive coating",
    packages=(
        Package(holds=Decimal(5), price=Decimal(260)),
        Package(holds=Decimal(1), price=Decimal(64)),
    ),
    spread_rate_m2_l=7.0,
    setup=Decimal(90),
    labour_h_m2=0.25,
    trade="painter",
)
COSTS = Costs(currency="EUR", tax=Decimal("0.2"), rates={"painter": Decimal(48)})


def test_a_coated_room_by_hand() -> None:
    """42 m² twice at 7 m²/l: 12 l, and a tenth on top 13.2 l: two of 5 l and four of 1 l.

    13.2 l: 3 × 5 l = 780; 2 × 5 + 4 × 1 = 520 + 256 = 776. Labour 42 × 0.25 h = 10.5 h at 48 = 504.
    Net 776 + 90 + 504 = 1370; tax 274; 1644 in all.
    """
    bill = bill_of(
        {"coating": Treated(area_m2=42.0, faces=5, coats=2)},
        products=[PAINT],
        prices={},
        costs=COSTS,
    )
    material, setup, labour = bill.lines
    assert material.quantity == pytest.approx(13.2)
    assert material.purchase is not None
    assert material.purchase.counts == (2, 4)
    assert [material.amount, setup.amount, labour.amount] == [776, 90, Decimal("504.00")]
    assert (bill.net, bill.tax, bill.total) == (1370, 274, 1644)
    assert bill.unpriced == ()


def test_feet_and_gallons_by_hand() -> None:
    """452 ft² (41.99 m²) at 285 ft²/gal, two coats: 3.172 gal; no spare.

    1 ft²/gal = 0.0245424 m²/l (by definition: 0.09290304 m² over 3.785411784 l).
    """
    rate = 285 * 0.09290304 / 3.785411784
    product = Product(
        id="p", treatment="c", form="liquid", spread_rate_m2_l=rate, spare=0.0, packages=()
    )
    litres = quantity_of(product, Treated(area_m2=452 * 0.09290304, faces=4, coats=2))
    assert litres / 3.785411784 == pytest.approx(2 * 452 / 285, rel=1e-12)


def test_an_additive_follows_the_litres() -> None:
    additive = Product(
        id="fibre",
        treatment="coating",
        form="piece",
        per_litre_of="paint",
        dose=0.2,
        packages=(Package(holds=Decimal(1), price=Decimal(11)),),
    )
    bill = bill_of(
        {"coating": Treated(area_m2=42.0, faces=5, coats=2)},
        products=[additive, PAINT],
        prices={},
        costs=COSTS,
    )
    line = next(each for each in bill.lines if each.what == "fibre")
    assert line.quantity == pytest.approx(2.64)  # 13.2 l × 0.2
    assert line.amount == 33


def test_prices_by_area_and_piece() -> None:
    bill = bill_of(
        {
            "film": Treated(area_m2=1.8, faces=1),
            "vent-cover": Treated(area_m2=0.02, faces=2),
            "mesh": Treated(area_m2=9.290304, faces=1),
        },
        products=[],
        prices={
            "film": Price(amount=Decimal(48), currency="EUR", unit="m2"),
            "vent-cover": Price(amount=Decimal("35.50"), currency="EUR", unit="piece"),
            "mesh": Price(amount=Decimal("1.20"), currency="EUR", unit="ft2"),
        },
        costs=COSTS,
    )
    amounts = {line.what: line.amount for line in bill.lines}
    assert amounts == {
        "film": Decimal("86.40"),
        "vent-cover": Decimal("71.00"),
        "mesh": Decimal("120.00"),
    }


def test_what_has_no_price_is_said_and_not_counted() -> None:
    bill = bill_of(
        {"foil": Treated(area_m2=3.0, faces=1), "paint": Treated(area_m2=3.0, faces=1)},
        products=[],
        prices={"paint": Price(amount=Decimal(40), currency="EUR", unit="litre")},
        costs=COSTS,
    )
    assert bill.net == 0
    assert bill.unpriced == (
        "foil: no price",
        "paint: a price for a litre needs a product that says how far it goes",
    )


def test_one_price_moves_its_own_line_and_the_totals_alone() -> None:
    treated = {
        "coating": Treated(area_m2=20.0, faces=4, coats=2),
        "film": Treated(area_m2=2.0, faces=1),
    }
    prices = {"film": Price(amount=Decimal(48), currency="EUR", unit="m2")}
    before = bill_of(treated, products=[PAINT], prices=prices, costs=COSTS)
    prices = {"film": Price(amount=Decimal(50), currency="EUR", unit="m2")}
    after = bill_of(treated, products=[PAINT], prices=prices, costs=COSTS)
    changed = [
        (one.what, one.amount, other.amount)
        for one, other in zip(before.lines, after.lines, strict=True)
        if one != other
    ]
    assert changed == [("film", Decimal("96.00"), Decimal("100.00"))]
    assert after.net - before.net == 4


def test_products_that_cannot_be() -> None:
    with pytest.raises(RangeError, match="spread rate"):
        Product(id="p", treatment="c", form="liquid")
    with pytest.raises(RangeError, match="width"):
        Product(id="p", treatment="c", form="roll")
    with pytest.raises(RangeError, match="overlap"):
        Product(id="p", treatment="c", form="roll", width_m=0.5, overlap_m=0.5)
    with pytest.raises(RangeError, match="trade"):
        Product(id="p", treatment="c", form="piece", labour_h_m2=1.0)
    orphan = Product(id="x", treatment="c", form="piece", per_litre_of="none", dose=1.0)
    with pytest.raises(RangeError, match="no liquid"):
        bill_of({"c": Treated(area_m2=1.0, faces=1)}, products=[orphan], prices={}, costs=COSTS)
