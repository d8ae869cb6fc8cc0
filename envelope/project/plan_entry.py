"""A plan as a project file writes it: groups of faces, measures on sources, beds."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from envelope.building.job import Job, Plan, SourceMeasure
from envelope.building.selectors import GROUPS, SelectionError, select
from envelope.errors import UnitError
from envelope.geometry.plane import Floats
from envelope.project.edit_values import Value
from envelope.project.measures import point_text
from envelope.units import parse_point

_SAME_M = 1e-12


def plan_entry(job: Job, plan: Plan, *, name: str, title: str = "") -> dict[str, Value]:
    """The keys of a `[[plan]]` that reads as this plan.

    Parameters
    ----------
    job : Job
        That the plan is made for.
    plan : Plan
        Resolved against the job.
    name, title : str
        Id in the file, and what the client calls it.
    """
    entry: dict[str, Value] = {"id": name}
    if title:
        entry["title"] = title
    entry["treat"] = treat_entries(job, plan)
    if plan.measures:
        entry["measures"] = [_measure(job, *each) for each in plan.measures.items()]
    if plan.beds:
        entry["beds"] = list(_beds(job, plan))
    return entry


def treat_entries(job: Job, plan: Plan) -> list[Value]:
    """What a plan treats, as few entries as it takes: by groups of a room where all are alike."""
    entries: list[Value] = []
    covered: set[str] = set()
    for space in job.building.spaces:
        for group in GROUPS:
            if group == "openings":  # windows and doors rarely get the same
                continue
            try:
                panels = select(job.building, f"{space.id}/{group}")
            except SelectionError:
                continue
            stacks = {plan.treatments.get(panel, ()) for panel in panels}
            if len(panels) > 1 and len(stacks) == 1 and stacks != {()}:
                entries.append(_treat(f"{space.id}/{group}", stacks.pop()))
                covered.update(panels)
    rest = [panel.id for panel in job.building.panels if panel.id not in covered]
    entries += [_treat(each, plan.treatments[each]) for each in rest if plan.treatments.get(each)]
    return entries


def _treat(selector: str, stack: tuple[str, ...]) -> Value:
    return {"on": selector, "with": stack[0] if len(stack) == 1 else list(stack)}


def _measure(job: Job, source: str, measure: SourceMeasure) -> Value:
    found: dict[str, Value] = {"source": source, "do": measure.do}
    if measure.position_m is not None:
        found["to"] = _point(job, measure.space, measure.position_m)
        if measure.space is not None:
            found["space"] = measure.space
    if measure.do == "lower-power":
        found["by"] = f"{measure.lower_db!r} dB".replace(".0 dB", " dB")
    return found


def _beds(job: Job, plan: Plan) -> Iterator[Value]:
    for name, there in plan.beds.items():
        found: dict[str, Value] = {
            "receiver": name,
            "at": _point(job, there.space, there.position_m),
        }
        if there.bed is not None and there.bed.head is not None:
            found["head"] = there.bed.head
        yield found


def _point(job: Job, name: str | None, at: Floats) -> str:
    """A place in its space's own coordinates, so written that it is read as the same place."""
    if name is not None:
        space = job.building.space(name)
        at = at - np.array([*space.origin, space.floor_m])
    values = tuple(round(float(each), 12) for each in at)
    text = point_text(values, feet=job.feet)
    try:
        same = np.allclose(parse_point(text, count=3), values, rtol=0.0, atol=_SAME_M)
    except UnitError:
        same = False
    return text if same else f"{', '.join(map(repr, values))} m"
