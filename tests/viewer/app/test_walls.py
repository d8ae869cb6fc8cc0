"""A wall as pages draw it: what is drawn there is what the file then says."""

from __future__ import annotations

from pathlib import Path

import pytest

from envelope.project import load, load_text
from viewer.app.walls import wall_told

MODELS = Path(__file__).parent.parent.parent.parent / "models"


def test_an_opening_drawn_from_the_left_end_stands_where_it_was_drawn() -> None:
    text = (MODELS / "bedroom.toml").read_text("utf-8")
    text += """
[[opening]]
id = "drawn"
on = "bedroom/north"
kind = "window"
from = "left"
at = "0.25 m"
sill = "1.5 m"
size = "0.4 m x 0.3 m"
"""
    told = wall_told(load_text(text, path="bedroom.toml"), "bedroom/north")
    assert told["trouble"] is None
    (found,) = [each for each in told["openings"] if each["id"] == "bedroom/drawn"]
    assert found["low"] == pytest.approx((0.25, 1.5))
    assert found["high"] == pytest.approx((0.65, 1.8))
    xs = [x for x, _ in told["outline"]]
    assert min(xs) == pytest.approx(0.0)


def test_what_is_no_single_wall_says_so() -> None:
    job = load(MODELS / "bedroom.toml")
    assert "single wall" in (wall_told(job, "bedroom/walls")["trouble"] or "")
    assert "single wall" in (wall_told(job, "bedroom/floor")["trouble"] or "")
    assert wall_told(job, "cellar/1")["trouble"] is not None
    assert wall_told(job, "bedroom/1")["panel"] == "bedroom/1"
