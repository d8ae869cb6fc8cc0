"""Cost against level: the steps of a decision with their ranges, and the plans behind them."""

from __future__ import annotations

import io
import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from envelope.building.job import Job
from envelope.errors import MissingExtraError
from envelope.files import write_atomically
from envelope.plans.decision import Decision
from envelope.text.decisions import step_words, stop_words
from envelope.text.measures import measure_words
from envelope.text.trade import source_title
from viewer.scene.decision_plot import DecisionPlot, decision_plot

_PAPER, _GROUND, _INK, _FAINT, _GRID = "#f6f4ef", "#fbfaf7", "#22252b", "#8b8475", "#dedad0"
_STEP, _TARGET = "#0b5f6b", "#b45309"
_WORDS = 64  # characters in a line of the list of steps
_MICRO = 1e6


def draw_decision(job: Job, decision: Decision, *, path: Path) -> None:
    """Draw a decision as a PNG.

    Parameters
    ----------
    job : Job
        That was decided about.
    decision : Decision
    path : Path
        Written whole or not at all.

    Raises
    ------
    MissingExtraError
        Without matplotlib.
    EnvelopeError
        Where the file cannot be written.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    figure = Figure(figsize=(11.5, 5.4), dpi=140, facecolor=_PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    axes, listed = figure.subplots(1, 2, width_ratios=[1.35, 1.0])
    axes.set_facecolor(_GROUND)
    plot = decision_plot(job, decision)
    _draw_front(axes, plot)
    _draw_steps(axes, plot)
    if plot.target_w_m2 is not None:
        axes.axhline(plot.target_w_m2 * _MICRO, color=_TARGET, linewidth=1.2, label="target")
    axes.set_yscale("log")
    axes.autoscale_view()
    axes.set_xticks([each.value for each in plot.costs], [each.words for each in plot.costs])
    axes.set_yticks(
        [each.value * _MICRO for each in plot.levels], [each.words for each in plot.levels]
    )
    axes.minorticks_off()
    axes.set_xlabel(plot.across)
    axes.set_ylabel(plot.up)
    axes.set_title(plot.title, loc="left", fontsize=11, color=_INK, parse_math=False)
    axes.grid(color=_GRID, linewidth=0.6, which="both")
    axes.legend(frameon=False, fontsize=8, loc="upper right")
    _write_list(listed, job, decision)
    picture = io.BytesIO()
    figure.savefig(picture, format="png", facecolor=_PAPER)
    write_atomically(path, picture.getvalue())


def _draw_front(axes: Any, plot: DecisionPlot) -> None:
    costs, levels = np.array(plot.front).reshape(-1, 2).T
    axes.plot(
        costs, levels * _MICRO, ".", color=_FAINT, markersize=5,
        label="plans that no other beats",
    )  # fmt: skip


def _draw_steps(axes: Any, plot: DecisionPlot) -> None:
    """The level held from where one step is paid to where the next one is, and each range."""
    from matplotlib.transforms import offset_copy

    today = plot.today_w_m2 * _MICRO
    cost = np.array([0.0, *(each.cost for each in plot.steps)])
    level = np.array([plot.start_w_m2, *(each.level_w_m2 for each in plot.steps)]) * _MICRO
    worth = 1 + sum(each.is_worth for each in plot.steps)
    axes.step(
        cost[:worth], level[:worth], where="post", color=_STEP, linewidth=2.0,
        label="steps worth doing, with 10–90 % of their effect",
    )  # fmt: skip
    if worth < len(cost):
        axes.step(
            cost[worth - 1 :], level[worth - 1 :], where="post", color=_STEP, linewidth=1.0,
            linestyle=(0, (4, 3)), label="not worth it",
        )  # fmt: skip
    axes.plot([0.0], [today], "o", color=_INK, markersize=7, label="today")
    if plot.start_w_m2 * _MICRO < 0.99 * today:
        axes.plot(
            [0.0], [level[0]], "o", markerfacecolor=_PAPER, markeredgecolor=_INK, markersize=11,
            label="with what is free",
        )  # fmt: skip
        axes.annotate("0", (0.0, level[0]), ha="center", va="center", fontsize=7, color=_INK)
    for each in plot.steps:
        low, high, at = each.low_w_m2 * _MICRO, each.high_w_m2 * _MICRO, each.cost
        axes.update_datalim([(at, low), (at, high)])
        aside = offset_copy(axes.transData, fig=axes.figure, x=8.0, units="points")
        axes.plot(
            [at, at], [low, high], "-_", color=_INK, linewidth=1.0, markersize=5,
            alpha=0.6, transform=aside,
        )  # fmt: skip
        axes.plot(
            [at], [each.level_w_m2 * _MICRO], "o", markersize=11, markeredgecolor=_STEP,
            markerfacecolor=_STEP if each.is_worth else _PAPER,
        )  # fmt: skip
        axes.annotate(
            str(each.number), (at, each.level_w_m2 * _MICRO), ha="center", va="center",
            fontsize=7, color=_PAPER if each.is_worth else _STEP,
        )  # fmt: skip


def _write_list(axes: Any, job: Job, decision: Decision) -> None:
    """What each number stands for."""
    axes.set_axis_off()
    lines = [
        f"0   {source_title(job, each.source)}: {measure_words(job, each.change)}"
        for each in decision.free
        if each.counted
    ]
    for number, step in enumerate(decision.steps, 1):
        mark = str(number) if number <= decision.stop_after else f"({number})"
        lines.append(f"{mark}   {step_words(job, step)}")
    wrapped = [textwrap.fill(line, width=_WORDS, subsequent_indent="      ") for line in lines]
    wrapped += [
        "",
        textwrap.fill(f"{stop_words(decision)}.", width=_WORDS),
        "A prediction: a meter decides.",
    ]
    axes.text(
        0.0, 1.0, "\n".join(wrapped), transform=axes.transAxes, va="top", ha="left", fontsize=8.5,
        color=_INK, linespacing=1.5, parse_math=False,
    )  # fmt: skip
