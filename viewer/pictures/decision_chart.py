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
from envelope.text.decisions import measure_words, step_words
from envelope.text.names import shown

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
        from matplotlib.ticker import FuncFormatter
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    figure = Figure(figsize=(11.5, 5.4), dpi=140, facecolor=_PAPER, layout="constrained")
    FigureCanvasAgg(figure)
    axes, listed = figure.subplots(1, 2, width_ratios=[1.35, 1.0])
    axes.set_facecolor(_GROUND)
    _draw_front(axes, decision)
    _draw_steps(axes, decision)
    if decision.target_w_m2 is not None:
        axes.axhline(decision.target_w_m2 * _MICRO, color=_TARGET, linewidth=1.2, label="target")
    axes.set_yscale("log")
    axes.autoscale_view()
    plain = FuncFormatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_major_formatter(plain)
    axes.yaxis.set_minor_formatter(FuncFormatter(lambda _value, _: ""))
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda value, _: f"{value:,.0f}".replace(",", " "))
    )
    money = decision.candidates.priced
    axes.set_xlabel(
        f"cost before tax, {job.costs.currency}"
        if money
        else "area treated, m² (not all is priced)"
    )
    axes.set_ylabel("level at the worst place, µW/m²")
    axes.set_title(
        f"{shown(job.name)}: level at {shown(decision.receiver)} for the money",
        loc="left", fontsize=11, color=_INK, parse_math=False,
    )  # fmt: skip
    axes.grid(color=_GRID, linewidth=0.6, which="both")
    axes.legend(frameon=False, fontsize=8, loc="upper right")
    _write_list(listed, job, decision)
    picture = io.BytesIO()
    figure.savefig(picture, format="png", facecolor=_PAPER)
    write_atomically(path, picture.getvalue())


def _draw_front(axes: Any, decision: Decision) -> None:
    front = decision.front
    axes.plot(
        front.cents / 100.0, front.levels_w_m2 * _MICRO, ".", color=_FAINT, markersize=5,
        label="plans that no other beats",
    )  # fmt: skip


def _draw_steps(axes: Any, decision: Decision) -> None:
    """The level held from where one step is paid to where the next one is, and each range."""
    from matplotlib.transforms import offset_copy

    today = decision.levels_w_m2[0][1] * _MICRO
    cost = np.array([0.0, *(step.total_cents / 100.0 for step in decision.steps)])
    level = np.array([decision.start_w_m2, *(step.level_w_m2 for step in decision.steps)]) * _MICRO
    worth = decision.stop_after + 1
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
    if decision.start_w_m2 * _MICRO < 0.99 * today:
        axes.plot(
            [0.0], [level[0]], "o", markerfacecolor=_PAPER, markeredgecolor=_INK, markersize=11,
            label="with what is free",
        )  # fmt: skip
        axes.annotate("0", (0.0, level[0]), ha="center", va="center", fontsize=7, color=_INK)
    for number, step in enumerate(decision.steps, 1):
        low, high = (
            today * 10.0 ** (-end / 10.0) for end in (step.so_far.high_db, step.so_far.low_db)
        )
        at = cost[number]
        axes.update_datalim([(at, low), (at, high)])
        done = number < worth
        aside = offset_copy(axes.transData, fig=axes.figure, x=8.0, units="points")
        axes.plot(
            [at, at], [low, high], "-_", color=_INK, linewidth=1.0, markersize=5,
            alpha=0.6, transform=aside,
        )  # fmt: skip
        axes.plot(
            [at], [level[number]], "o", markersize=11, markeredgecolor=_STEP,
            markerfacecolor=_STEP if done else _PAPER,
        )  # fmt: skip
        axes.annotate(
            str(number), (at, level[number]), ha="center", va="center", fontsize=7,
            color=_PAPER if done else _STEP,
        )  # fmt: skip


def _write_list(axes: Any, job: Job, decision: Decision) -> None:
    """What each number stands for."""
    axes.set_axis_off()
    lines = [
        f"0   {shown(each.source)}: {measure_words(job, each.change)}"
        for each in decision.free
        if each.counted
    ]
    for number, step in enumerate(decision.steps, 1):
        mark = str(number) if number <= decision.stop_after else f"({number})"
        lines.append(f"{mark}   {step_words(job, step)}")
    wrapped = [textwrap.fill(line, width=_WORDS, subsequent_indent="      ") for line in lines]
    stop = (
        f"Stop after step {decision.stop_after}: {decision.why_stop}."
        if decision.stop_after
        else f"Do none of them: {decision.why_stop}."
    )
    wrapped += ["", textwrap.fill(stop, width=_WORDS), "A prediction: a meter decides."]
    axes.text(
        0.0, 1.0, "\n".join(wrapped), transform=axes.transAxes, va="top", ha="left", fontsize=8.5,
        color=_INK, linespacing=1.5, parse_math=False,
    )  # fmt: skip
