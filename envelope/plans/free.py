"""What may be done about sources: which of it the steps count on, and what is still to be decided.

Of one device the free measure that lowers the level most is counted on. What is paid for is decided
with the faces. What a neighbour must agree to is shown, and nothing counts on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from envelope.building.job import Job, Plan
from envelope.exposure.analysis import analyze_plan
from envelope.exposure.differences import difference, lowered
from envelope.plans.decision import FreeMeasure
from envelope.plans.plan_levels import PlanLevels
from envelope.plans.source_changes import SourceChange, changes_of
from envelope.plans.units import Option, Unit

LEAVE_SOURCE = "leave it as it is"
LEAST_DB = 0.05  # a free measure that brings less is left out


def source_choices(
    job: Job, *, levels: PlanLevels, today: Plan, leave: bool
) -> tuple[tuple[FreeMeasure, ...], tuple[Unit, ...]]:
    """What each measure brings today, and a unit of decision for each device.

    Parameters
    ----------
    job : Job
    levels : PlanLevels
        Of the job, at the receivers that count.
    today : Plan
        What holds today.
    leave : bool
        Whether nothing is to be done about sources.

    Returns
    -------
    free : (n,) FreeMeasure
        Every measure that lowers the level, the one that brings most first.
    units : (devices,) Unit
        The first option of each is what the steps begin with.
    """
    before = levels.drawn(today)
    worst = max(levels.receivers, key=lambda name: float(before.level_w_m2(name)[0]))
    found = []
    units = []
    for device, changes in changes_of(job).items():
        best = _best_places(changes, levels=levels, today=today)
        results = []
        for change in best:
            after = levels.drawn(_with(today, change))
            # without a move every part of the level stays or falls
            gain = (difference if change.position_m is not None else lowered)(before, after, worst)
            level = max(float(after.level_w_m2(name)[0]) for name in levels.receivers)
            results.append(FreeMeasure(change=change, level_w_m2=level, gain=gain, counted=False))
        useful = [each for each in results if each.gain.below_db >= LEAST_DB]
        free = [each for each in useful if each.change.is_free and not leave]
        chosen = min(free, key=lambda each: each.level_w_m2) if free else None
        found += [
            FreeMeasure(
                change=each.change,
                level_w_m2=each.level_w_m2,
                gain=each.gain,
                counted=each is chosen,
            )
            for each in useful
        ]
        bought = [
            each.change
            for each in useful
            if each.change.cost > 0
            and each.change.agreed_by in ("household", "nobody")
            and (chosen is None or each.level_w_m2 < chosen.level_w_m2)
        ]
        if (chosen is not None or bought) and not leave:
            units.append(_unit(device, None if chosen is None else chosen.change, bought))
    ranked = sorted(found, key=lambda each: (-each.gain.below_db, each.source, each.change.do))
    return tuple(ranked), tuple(units)


def _unit(device: str, first: SourceChange | None, bought: Sequence[SourceChange]) -> Unit:
    options = [Option(label=LEAVE_SOURCE if first is None else first.do, change=first)]
    options += [Option(label=change.do, change=change) for change in bought]
    return Unit(id=device, title=device, options=tuple(options))


def _best_places(
    changes: Sequence[SourceChange], *, levels: PlanLevels, today: Plan
) -> list[SourceChange]:
    """All changes, of several places for one price the one at which the level is lowest."""
    places: dict[tuple[object, ...], list[SourceChange]] = {}
    for change in changes:
        # the places of one line are choices of one measure
        key = (change.do, change.space, change.cost, change.agreed_by, change.lower_db)
        places.setdefault(key, []).append(change)
    return [
        each[0]
        if len(each) == 1
        else each[int(np.argmin([_level(levels, today, change) for change in each]))]
        for each in places.values()
    ]


def _level(levels: PlanLevels, today: Plan, change: SourceChange) -> float:
    """The level at the worst receiver, without its range. [W/m²]"""
    found = analyze_plan(
        bench=levels.bench, plan=_with(today, change), casts=levels.casts, with_ranks=False
    )
    return levels.figure({each.id: each.level_w_m2 for each in found.receivers})


def _with(plan: Plan, change: SourceChange) -> Plan:
    return replace(plan, measures={**plan.measures, change.device: change.measure})
