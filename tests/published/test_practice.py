"""Usual figures of the trade against ranges gathered from stored trade pages.

`authorities/practice.csv` holds the rows with their own wording of how each was seen: "verified" is
a stored trade page, "from memory, unverified" has no source. Figures without a source are held to
what was remembered before they were written down, no more.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from envelope.pricing.defaults import MEMORY, USUAL
from envelope.trade_units import parse_spread_rate

TEXT = (Path(__file__).parent / "authorities" / "practice.csv").read_text("utf-8")
ROWS = {row["quantity"]: row for row in csv.DictReader(TEXT.splitlines())}
VALUES = {each.key: each for each in USUAL}


def _row(beginning: str) -> dict[str, str]:
    (found,) = (row for name, row in ROWS.items() if name.startswith(beginning))
    return found


@pytest.mark.parametrize(
    ("key", "beginning", "low", "high"),
    [
        ("spread-rate-primer", "primer on new drywall", 4.91, 7.36),  # 200-300 ft2/gal
        ("spread-rate-coating", "pigmented conductive", 5.0, 10.0),
        ("spread-rate-finish", "paint spread rate, US units", 8.59, 9.82),  # 350-400 ft2/gal
        ("spare-liquid", "paint reserve", 0.10, 0.15),
        ("overlap", "sheet/mesh seam overlap", 0.050, 0.100),
        ("trim", "window film trim", 0.025, 0.050),
        ("fullness", "curtain fullness", 1.5, 2.5),
        ("hem", "curtain hems", 0.16, 0.20),
        ("curtain-sides", "curtain overlap", 0.10, 0.10),  # at least 10 cm
    ],
)
def test_a_usual_figure_lies_where_the_trade_has_it(
    key: str, beginning: str, low: float, high: float
) -> None:
    usual, row = VALUES[key], _row(beginning)
    assert low <= usual.value <= high
    # a figure that nobody has seen in print says so, and one that was seen does not
    assert (MEMORY in usual.source) == ("from memory" in row["status"])


def test_square_feet_a_gallon() -> None:
    """0.09290304 / 3.785411784, by definition of foot and US gallon."""
    row = _row("conversion 1 ft2/gal(US)")
    assert parse_spread_rate("1 ft2/gal") == pytest.approx(float(row["value"]), rel=1e-6)
    assert parse_spread_rate("350 sqft/gal") == pytest.approx(8.59, abs=0.005)
    assert parse_spread_rate("400 sq ft/gal") == pytest.approx(9.82, abs=0.005)
