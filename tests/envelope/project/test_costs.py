"""Money and products in a project file: read, and refused with line, key and what is allowed."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from envelope.errors import ProjectFileError
from envelope.project import load_text

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
MONEY = """
[costs]
tax = "20 %"
rates = { painter = "48 EUR/h" }

[[product]]
id = "paint"
for = "coating"
form = "liquid"
title = "conductive coating"
spread-rate = "285 ft2/gal"
packs = [{ holds = "5 l", price = "260 EUR" }, { holds = "1 gal", price = "210 EUR" }]
labour = "15 min/m2"
trade = "painter"
setup = "90 EUR"
"""


def test_money_is_read() -> None:
    job = load_text(BASE + MONEY, path="job.toml")
    assert job.costs.currency == "EUR"
    assert job.costs.tax == Decimal("0.2")
    assert job.costs.rates == {"painter": Decimal(48)}
    (paint,) = job.products
    assert paint.treatment == "coating"
    # 1 ft²/gal = 0.0245424 m²/l; a gallon is 3.785 l and never counts as more
    assert paint.spread_rate_m2_l == pytest.approx(285 * 0.0245424, rel=1e-5)
    assert [pack.holds for pack in paint.packages] == [Decimal(5), Decimal("3.78")]
    assert (paint.labour_h_m2, paint.trade, paint.setup) == (0.25, "painter", Decimal(90))


def fault_of(text: str) -> str:
    with pytest.raises(ProjectFileError) as caught:
        load_text(BASE + text, path="job.toml")
    return "\n".join(str(fault) for fault in caught.value.faults)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"48 EUR/h"', '"48 EUR"', "is not an hourly rate"),
        ('"48 EUR/h"', '"48 USD/h"', "USD, and the job counts in"),
        ('"285 ft2/gal"', '"285 ft2"', "is not a spread rate"),
        ('"285 ft2/gal"', '"285 m/gal"', "is not an area per volume"),
        ('"5 l"', '"5 kg"', "the unit 'kg' is unknown"),
        ('"5 l"', '"5 m"', "this holds ms"),
        ('"260 EUR"', '"-260 EUR"', "is not an amount"),
        ('"260 EUR"', '"2,60 EUR"', "decimal point"),
        ('for = "coating"', 'for = "coatin"', "coating"),
        ('trade = "painter"\n', "", "needs the trade"),
        ('"20 %"', '"120 %"', "out of range"),
        ('tax = "20 %"', 'currency = "eur"', "three capital letters"),
    ],
)
def test_mistakes_are_told_with_their_place(old: str, new: str, said: str) -> None:
    assert old in MONEY
    message = fault_of(MONEY.replace(old, new))
    assert said in message
    assert "job.toml:" in message
