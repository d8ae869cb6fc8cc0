"""Numbers as people read them: one style for tables, pages and pictures."""

from __future__ import annotations

import pytest

from envelope import text as figures


@pytest.mark.parametrize(
    ("value_w_m2", "said"),
    [
        (12.3456, "12_345_600_µW/m²"),
        (1.2346e-3, "1_235_µW/m²"),
        (9.996e-4, "1_000_µW/m²"),
        (8.5e-4, "850_µW/m²"),
        (9.996e-6, "10.0_µW/m²"),
        (3.14159e-6, "3.14_µW/m²"),
        (4.567e-8, "0.0457_µW/m²"),
        (1e-9, "0.00100_µW/m²"),
        (9.99e-10, "<_0.001_µW/m²"),
        (0.0, "0_µW/m²"),
    ],
)
def test_levels(value_w_m2: float, said: str) -> None:
    assert figures.level(value_w_m2) == said.replace("_", "\u00a0")
    bare = said.removesuffix("_µW/m²").replace("_", "\u00a0")
    assert figures.level(value_w_m2, unit=False) == bare


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "0\u00a0%"),
        (1e-5, "<\u00a00.1\u00a0%"),
        (0.0949, "9.5\u00a0%"),
        (0.0996, "10\u00a0%"),
        (0.998, "99.8\u00a0%"),
    ],
)
def test_shares(share: float, said: str) -> None:
    assert figures.percent(share) == said


@pytest.mark.parametrize(
    ("value_sr", "said"),
    [
        (12.566, "12.566\u00a0sr"),
        (0.1, "0.100\u00a0sr"),
        (0.0999, "0.0999\u00a0sr"),
        (4.77e-4, "0.000477\u00a0sr"),  # the gap under a door
        (2.95e-5, "0.0000295\u00a0sr"),
        (9e-7, "<\u00a00.000001\u00a0sr"),
        (0.0, "0\u00a0sr"),
    ],
)
def test_solid_angles_keep_the_figures_that_matter(value_sr: float, said: str) -> None:
    assert figures.steradians(value_sr) == said


@pytest.mark.parametrize(
    ("below_db", "said"),
    [
        (21.34, "136\u00a0times less"),
        (3.02, "2\u00a0times less"),
        (2.0, "37\u00a0% less"),
        (0.04, "the same"),
        (-0.04, "the same"),
        (-0.5, "12\u00a0% more"),
        (-7.0, "5\u00a0times as much"),
        (float("inf"), "nothing left"),
    ],
)
def test_decibels_as_a_factor(below_db: float, said: str) -> None:
    assert figures.compared(below_db) == said


def test_areas_and_lengths_follow_the_measure() -> None:
    assert figures.area(14.62, feet=False) == "14.62\u00a0m²"
    assert figures.area(14.62, feet=True) == "157.4\u00a0ft²"
    assert figures.area(0.05, feet=True) == "0.538\u00a0ft²"
    assert figures.length(1.4, feet=False) == "1.40\u00a0m"
    assert figures.length(1.4, feet=True) == "4\u00a0ft\u00a07\u00a0in"
    assert figures.thickness(0.1016, feet=True) == "4\u00a0in"
    assert figures.thickness(0.1016, feet=False) == "101.6\u00a0mm"
    assert figures.thickness(0.008, feet=True) == "8\u00a0mm"  # no sixteenth of an inch
    assert figures.thickness(1.2, feet=False) == "1.20\u00a0m"
