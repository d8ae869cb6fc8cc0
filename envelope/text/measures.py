"""What is done about sources and beds, in words: to be done, and as it then is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.building.job import Job, Plan, SourceMeasure
from envelope.geometry.plane import Floats
from envelope.plans.source_changes import SourceChange
from envelope.text.numbers import SPACE, length
from envelope.text.trade import money, receiver_title, source_title, space_title


def measure_words(job: Job, done: SourceChange | SourceMeasure) -> str:
    """What is done about a source, as one tells someone to do it."""
    if done.do == "off-at-night":
        return "switch it off at night"
    if done.do == "cable":
        return "put it on a cable, radio off"
    if done.do == "lower-power":
        return f"turn its power down by {done.lower_db:g}{SPACE}dB"
    return f"move it to {_place(job, done.space, done.position_m)}"


def state_words(job: Job, done: SourceChange | SourceMeasure) -> str:
    """How a source then is, such as "off at night"."""
    if done.do == "off-at-night":
        return "off at night"
    if done.do == "cable":
        return "on a cable, its radio off"
    if done.do == "lower-power":
        return f"turned down by {done.lower_db:g}{SPACE}dB"
    return f"moved to {_place(job, done.space, done.position_m)}"


def _place(job: Job, name: str | None, at: Floats | None) -> str:
    if at is None:
        raise ValueError("a move has no place")
    base = np.zeros(3)
    where = "outdoors"
    if name is not None:
        space = job.building.space(name)
        base = np.array([*space.origin, space.floor_m])
        where = f"of {space_title(job, name)}"
    return f"{', '.join(length(float(each), feet=job.feet) for each in at - base)} {where}"


def plan_measures(job: Job, plan: Plan) -> tuple[str, ...]:
    """All that a plan does besides treating faces: "kitchen router off at night"."""
    sources = [
        f"{source_title(job, name)} {state_words(job, done)}"
        for name, done in plan.measures.items()
    ]
    beds = []
    for name, there in plan.beds.items():
        head = "" if there.bed is None or there.bed.head is None else there.bed.head
        beds.append(
            f"the bed at {receiver_title(job, name)} moved to "
            f"{_place(job, there.space, there.position_m)}"
            + (f", head to the {head}" if head else "")
        )
    return (*sources, *beds)


def agreed_measures(job: Job, plan: Plan) -> tuple[str, ...]:
    """The same for whoever signs, with who must agree and what it costs."""
    said = []
    done: Sequence[SourceMeasure | None] = (*plan.measures.values(), *(None for _ in plan.beds))
    for words, measure in zip(plan_measures(job, plan), done, strict=True):
        who = "you agree to it"
        if measure is not None and measure.agreed_by == "neighbour":
            who = "the neighbour must agree to it"
        elif measure is not None and measure.agreed_by == "unknown":
            who = "whose it is has not been said"
        cost = ""
        if measure is not None and measure.cost:
            cost = f", {money(measure.cost, job.costs.currency)}"
        said.append(f"{words} ({who}{cost})")
    return tuple(said)


def counted_words(job: Job, plan: Plan) -> str:
    """A sentence on what a plan's figures count on besides its faces; "" where on nothing."""
    said = plan_measures(job, plan)
    return f"Counts on: {'; '.join(said)}." if said else ""
