"""The picture of cost against level: what is drawn where, and a file that is whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

import envelope
from envelope.plans.decision import Decision
from viewer.pictures.decision_chart import _draw_front, _draw_steps, draw_decision
from viewer.scene.decision_plot import decision_plot

MODELS = Path(__file__).parents[3] / "models"


@pytest.fixture(scope="module")
def job() -> envelope.Job:
    return envelope.load(MODELS / "bedroom.toml")


@pytest.fixture(scope="module")
def decision(job: envelope.Job) -> Decision:
    return envelope.decide(job, envelope.cast(job, rays="few"), target_w_m2=20e-6)


def test_steps_and_plans_stand_at_their_cost_and_level(
    job: envelope.Job, decision: Decision
) -> None:
    axes = Figure().add_subplot()
    plot = decision_plot(job, decision)
    _draw_front(axes, plot)
    _draw_steps(axes, plot)
    front, steps = axes.lines[0], axes.lines[1]
    # one basis: costs by area are a cent off in ten of the seventeen plans
    costs, levels = front.get_xdata(), front.get_ydata()
    assert costs == pytest.approx(decision.front.cents / 100.0, abs=0.02)
    assert levels == pytest.approx(decision.front.levels_w_m2 * 1e6)
    for step in decision.steps:
        (dot,) = np.flatnonzero(np.isclose(levels, step.level_w_m2 * 1e6))
        assert costs[dot] == pytest.approx(step.total_cents / 100.0, abs=1e-9)
    worth = decision.stop_after
    assert steps.get_xdata()[-1] == pytest.approx(decision.steps[worth - 1].total_cents / 100.0)
    assert steps.get_ydata()[-1] == pytest.approx(decision.steps[worth - 1].level_w_m2 * 1e6)
    numbers = [text.get_text() for text in axes.texts]
    assert numbers == [str(number) for number in range(1, len(decision.steps) + 1)]


def test_a_png_is_written(job: envelope.Job, decision: Decision, tmp_path: Path) -> None:
    path = tmp_path / "decision.png"
    draw_decision(job, decision, path=path)
    from matplotlib.image import imread

    pixels = imread(path)
    assert pixels.shape[0] > 500
    assert np.ptp(pixels[..., :3]) > 0.5
    assert [each.name for each in tmp_path.iterdir()] == ["decision.png"]
