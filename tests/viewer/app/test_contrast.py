"""Contrast of the app's colours, computed for every pair that can meet on its pages.

Text on its ground has 4.5 or more, and what carries meaning without words 3 or more: success
criteria 1.4.3 and 1.4.11 of the Web Content Accessibility Guidelines 2.2 (W3C, 2023), from memory,
as is their formula of relative luminance.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from viewer.scene.colours import _TREATMENT_COLOURS
from viewer.scene.readings import READING_COLOURS

VIEWER = Path(__file__).parents[3] / "viewer"
CSS = (VIEWER / "app" / "page" / "page.css").read_text(encoding="utf-8")
TEXT, MARK = 4.5, 3.0
# Colours of marks that lie on a ground of their own, and of lines that only part things.
_GRID = {"#e4dfd5"}  # the plot's, and the empty part of a bar
_FILLS = {"#c9d6de", "#d8d2c6", "#f1ece1", "#f5dc8a"}  # with a dark rim: what they are, it says
_OPEN = "#3d8f5f"  # a bond, with a dark rim too


def luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def named() -> dict[str, str]:
    """The page's own names of colours."""
    return dict(re.findall(r"(--g[ac]-[\w-]+): *(#[0-9a-f]{6})", CSS))


def colours(key: str) -> set[str]:
    """Every opaque colour that some rule gives to a key."""
    found = set()
    for value in re.findall(rf"[{{; ]{key}: *([^;}}]*)", CSS):
        name = re.match(r"var\((--[\w-]+)\)", value)
        plain = named()[name[1]] if name else value.split()[0]
        if re.fullmatch(r"#[0-9a-f]{6}", plain):
            found.add(plain)
    return found


def is_dark(colour: str) -> bool:
    return luminance(colour) < 0.18  # where black and white stand out equally


GROUNDS = colours("background")
INKS = colours("color")
LIGHT = sorted(each for each in GROUNDS if not is_dark(each))
DARK = sorted(each for each in GROUNDS if is_dark(each))


def test_the_page_has_grounds_and_inks_of_both_sorts() -> None:
    assert len(LIGHT) >= 8
    assert len(DARK) >= 3
    assert {"#ffffff", named()["--gc-ink"], named()["--gc-muted"]} <= INKS
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("ink", sorted(each for each in INKS if is_dark(each)))
def test_every_dark_ink_is_read_on_every_light_ground(ink: str) -> None:
    for ground in LIGHT:
        assert contrast(ink, ground) >= TEXT, (ink, ground)


@pytest.mark.parametrize("ground", DARK)
def test_white_is_read_on_every_dark_ground(ground: str) -> None:
    assert contrast("#ffffff", ground) >= TEXT


def test_marks_and_lines_are_seen_on_every_light_ground_of_a_drawing() -> None:
    paper = ("#ffffff", named()["--ga-card"], named()["--gc-paper"])
    marks = (colours("fill") | colours("stroke")) - _GRID - _FILLS - {_OPEN}
    for mark in sorted(each for each in marks if is_dark(each) or luminance(each) < 0.5):
        for ground in paper:
            assert contrast(mark, ground) >= MARK, (mark, ground)
    assert contrast(_OPEN, "#ffffff") >= MARK


def test_a_treatment_shows_its_letter_whatever_its_colour() -> None:
    for colour in _TREATMENT_COLOURS:
        red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
        bright = 0.3 * red + 0.59 * green + 0.11 * blue > 140  # as parts.js chooses the ink
        assert contrast("#1f2730" if bright else "#ffffff", colour) >= TEXT, colour


def test_readings_are_seen_on_their_labels() -> None:
    for colour in READING_COLOURS.values():
        assert contrast(colour, "#fffdf8") >= TEXT
