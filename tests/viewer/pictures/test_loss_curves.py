"""The loss curves of a stack: what is drawn, in which words, and into which file."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from envelope.errors import EnvelopeError, MissingExtraError
from envelope.exposure.stack_loss import StackLoss
from viewer.pictures import loss_curves as curves
from viewer.pictures.loss_curves import DASHES, INKS, draw_loss
from viewer.scene.colours import rgb


def stack_loss(count: int = 5) -> StackLoss:
    """A loss that rises from 10 dB at 1 GHz to 20 dB at 10 GHz, 2 dB more for each angle."""
    frequency = np.logspace(9, 10, 21)
    rising = 10.0 + 10.0 * np.log10(frequency / 1e9)
    angles = np.linspace(0.0, 80.0, count)
    loss = rising[:, np.newaxis] + 2.0 * np.arange(count)
    return StackLoss(
        frequency_hz=frequency,
        angle_deg=angles,
        loss_db=np.stack((loss, loss), axis=2),
        reflection=np.zeros((21, count, 2)),
        diffuse_loss_db=rising + 3.0,
        diffuse_reflection=np.zeros(21),
        extrapolated=(),
    )


def drawn(found: StackLoss, monkeypatch: pytest.MonkeyPatch, *, title: str = "brick") -> Any:
    """The figure that would be written."""
    from matplotlib.figure import Figure

    kept = []

    def save(figure: Figure, target: Any, **_: Any) -> None:
        figure.draw_without_rendering()
        kept.append(figure)
        target.write(b"png")

    monkeypatch.setattr(Figure, "savefig", save)
    monkeypatch.setattr(curves, "write_atomically", lambda path, content: None)
    draw_loss(found, title=title, path=Path("loss.png"))
    return kept[0]


def test_curves_are_the_numbers(monkeypatch: pytest.MonkeyPatch):
    (axes,) = drawn(stack_loss(), monkeypatch).axes
    lines = axes.get_lines()
    assert [line.get_label() for line in lines] == ["0°", "20°", "40°", "60°", "80°", "even field"]
    for k, line in enumerate(lines[:5]):
        x, y = line.get_data()
        assert (x[0], x[-1]) == pytest.approx((1.0, 10.0))
        assert (y[0], y[-1]) == pytest.approx((10.0 + 2 * k, 20.0 + 2 * k))
    assert lines[5].get_ydata()[[0, -1]] == pytest.approx([13.0, 23.0])
    assert axes.get_xlabel() == "frequency, GHz"
    assert axes.get_ylabel() == "loss, dB (both polarizations)"
    assert axes.get_ylim()[0] == 0.0


def test_polarizations_are_averaged_in_power(monkeypatch: pytest.MonkeyPatch):
    found = stack_loss(1)
    loss = np.stack((np.full((21, 1), 10.0), np.full((21, 1), 200.0)), axis=2)
    (axes,) = drawn(replace(found, loss_db=loss), monkeypatch).axes
    # half of a tenth: 13.01 dB, not the mean of the decibels
    assert axes.get_lines()[0].get_ydata() == pytest.approx(13.0103, abs=1e-4)


def test_angles_are_told_apart_without_colour(monkeypatch: pytest.MonkeyPatch):
    (axes,) = drawn(stack_loss(), monkeypatch).axes
    styles = {str(line._unscaled_dash_pattern) for line in axes.get_lines()[:5]}
    assert len(styles) == 5
    lightness = [sum(rgb(ink)) for ink in INKS]
    assert lightness == sorted(lightness)
    assert len(DASHES) == len(INKS)


def test_a_title_is_words_and_no_formula(monkeypatch: pytest.MonkeyPatch):
    (axes,) = drawn(stack_loss(), monkeypatch, title="$\\frac$ wall").axes
    assert axes.get_title(loc="left") == "$\\frac$ wall"


def test_a_picture_is_written_whole(tmp_path: Path):
    target = tmp_path / "loss.png"
    draw_loss(stack_loss(), title="brick", path=target)
    with Image.open(target) as picture:
        assert picture.size == (1600, 1000)
    assert [each.name for each in tmp_path.iterdir()] == ["loss.png"]


def test_what_cannot_be_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    with pytest.raises(EnvelopeError, match="cannot be written"):
        draw_loss(stack_loss(), title="brick", path=tmp_path / "nowhere" / "loss.png")
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(MissingExtraError, match=r"matplotlib.*gapcast\[viewer\]"):
        draw_loss(stack_loss(), title="brick", path=tmp_path / "loss.png")
    assert list(tmp_path.iterdir()) == []
