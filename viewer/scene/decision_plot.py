"""Cost against level of a decision: what its plot shows, for pictures and pages alike.

level ▲ ● today                              each step stands at what has been paid by then,
      │ └──①                                 at the level that is left, with the range of that
      │     └────②   · ·                     level; dots are plans that no other beats
      └──────────────────▶ cost
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from envelope import text
from envelope.building.job import Job
from envelope.plans.decision import Decision
from envelope.text.names import shown
from envelope.text.trade import receiver_title

_LEVEL_SERIES = ((1.0,), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 5.0, 7.0))  # of a decade
_DOTS = 60  # plans that no other beats; more would not be told apart
_TICKS = 4  # at least, on either axis
_SQUARE_FOOT_M2 = 0.09290304


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotPoint:
    """A step: what has been paid by then, the level that is left, and its 10–90 % range."""

    number: int
    cost: float
    level_w_m2: float
    low_w_m2: float
    high_w_m2: float
    is_worth: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A round figure on an axis."""

    value: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionPlot:
    """What the plot of a decision shows; costs as `across` says, levels in W/m²."""

    title: str
    across: str  # what the axis of costs is
    up: str  # what the axis of levels is
    today_w_m2: float
    start_w_m2: float  # with what is free
    target_w_m2: float | None
    steps: tuple[PlotPoint, ...]
    front: tuple[tuple[float, float], ...]  # cost and level of plans that no other beats
    costs: tuple[Tick, ...]
    levels: tuple[Tick, ...]


def decision_plot(job: Job, decision: Decision) -> DecisionPlot:
    """The plot of a decision: money before tax, or the area where not all is priced."""
    from envelope.plans.steps import front_taken_off  # loads what searches

    priced = decision.candidates.priced
    size = 0.01 if priced or not job.feet else 0.01 / _SQUARE_FOOT_M2
    today_w_m2 = decision.levels_w_m2[0][1]
    steps = tuple(
        PlotPoint(
            number=number,
            cost=step.total_cents * size,
            level_w_m2=step.level_w_m2,
            low_w_m2=today_w_m2 * 10.0 ** (-step.so_far.high_db / 10.0),
            high_w_m2=today_w_m2 * 10.0 ** (-step.so_far.low_db / 10.0),
            is_worth=number <= decision.stop_after,
        )
        for number, step in enumerate(decision.steps, 1)
    )
    behind = front_taken_off(job, decision, most=_DOTS)
    front = tuple(
        (float(cents) * size, float(level_w_m2))
        for cents, level_w_m2 in zip(behind.cents, behind.levels_w_m2, strict=True)
    )
    levels_w_m2 = [
        today_w_m2,
        decision.start_w_m2,
        *(level_w_m2 for _, level_w_m2 in front),
        *(end for step in steps for end in (step.low_w_m2, step.high_w_m2)),
        *([] if decision.target_w_m2 is None else [decision.target_w_m2]),
    ]
    unit = "ft²" if job.feet else "m²"
    return DecisionPlot(
        title=f"{shown(job.name)}: level at {receiver_title(job, decision.receiver)} for the money",
        across=f"cost before tax, {job.costs.currency}"
        if priced
        else f"area treated, {unit} (not all is priced)",
        up="level at the worst place, µW/m²" if len(decision.levels_w_m2) > 1 else "level, µW/m²",
        today_w_m2=today_w_m2,
        start_w_m2=decision.start_w_m2,
        target_w_m2=decision.target_w_m2,
        steps=steps,
        front=front,
        costs=cost_ticks(max([*(step.cost for step in steps), *(cost for cost, _ in front)])),
        levels=level_ticks(levels_w_m2),
    )


def cost_ticks(most: float) -> tuple[Tick, ...]:
    """Round figures from 0 up to the largest cost.

    Examples
    --------
    >>> [tick.words for tick in cost_ticks(1730.0)]
    ['0', '500', '1\\xa0000', '1\\xa0500']
    >>> [tick.words for tick in cost_ticks(31.6)], [tick.words for tick in cost_ticks(0.0)]
    (['0', '10', '20', '30'], ['0'])
    """
    if not most > 0.0:
        return (Tick(value=0.0, words="0"),)
    decade = 10.0 ** math.floor(math.log10(most))
    step = next(
        each * size
        for size in (decade, decade / 10.0)
        for each in (5.0, 2.0, 1.0)
        if most / (each * size) >= _TICKS - 1
    )
    digits = max(0, -math.floor(math.log10(step)))
    return tuple(
        Tick(value=number * step, words=text.grouped(number * step, digits))
        for number in range(math.floor(most / step + 1e-9) + 1)
    )


def level_ticks(levels_w_m2: list[float]) -> tuple[Tick, ...]:
    """Round levels between the lowest and the highest.

    Examples
    --------
    >>> [tick.words for tick in level_ticks([3.1e-6, 140e-6])]
    ['5', '10', '20', '50', '100']
    >>> [tick.words for tick in level_ticks([2e-10, 140e-6])]
    ['0.001', '0.01', '0.1', '1', '10', '100']
    """
    known = [each * 1e6 for each in levels_w_m2 if each > 0.0]
    if not known:
        return ()
    low, high = max(min(known), text.LEAST_UW_M2), max(known)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found: list[float] = []
    for series in _LEVEL_SERIES:
        every = [value * 10.0**decade for decade in decades for value in series]
        found = [each for each in every if low * (1.0 - 1e-9) <= each <= high * (1.0 + 1e-9)]
        if len(found) >= _TICKS:
            break
    return tuple(Tick(value=each * 1e-6, words=text.trimmed(each)) for each in found)
