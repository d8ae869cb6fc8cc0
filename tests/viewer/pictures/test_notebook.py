"""The cutaway of an analysis as a figure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import envelope
from viewer.notebook import cutaway_figure

MODELS = Path(__file__).parents[3] / "models"


def test_a_figure_shows_the_plan_that_is_asked_for() -> None:
    job = envelope.load(MODELS / "bedroom.toml")
    found = envelope.analyze(
        job, envelope.cast(job, rays="few"), plans=["as-built", "walls-only"], ranges=False
    )
    pictures = []
    for plan in ("as-built", "walls-only"):
        plotter = cutaway_figure(job, found, plan=plan, off_screen=True)
        pictures.append(plotter.screenshot(return_img=True))
        plotter.close()
    assert pictures[0].shape == pictures[1].shape
    assert np.ptp(pictures[0]) > 100
    assert np.any(pictures[0] != pictures[1])
    with pytest.raises(envelope.UnknownNameError, match="was not analysed: as-built, walls-only"):
        cutaway_figure(job, found, plan="all-round", off_screen=True)
