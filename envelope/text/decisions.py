"""What the steps of a decision are called, worded once for the terminal, the app and pages."""

from __future__ import annotations

from envelope.building.job import Job
from envelope.plans.decide import Change, Decision, Step, Worse
from envelope.text.names import face_title, shown
from envelope.text.numbers import area, grouped


def unit_title(job: Job, unit: str) -> str:
    """What is decided in one go, as people name it: "walls of bedroom", "window W1 of bedroom".

    Parameters
    ----------
    job : Job
        Whose unit it is.
    unit : str
        Id of a panel, or a room's id with a group of its faces.
    """
    if any(panel.id == unit for panel in job.building.panels):
        return face_title(job.building.panel(unit), home=None)
    room, _, group = unit.rpartition("/")
    return f"{group} of {shown(room)}"


def change_words(job: Job, change: Change) -> str:
    """Such as "walls of bedroom: coating, 31.64 m²"."""
    beside = f" beside {change.was}" if change.was else ""
    size = area(change.area_m2, feet=job.feet)
    return f"{unit_title(job, change.unit)}: {change.label}{beside}, {size}"


def step_words(job: Job, step: Step) -> str:
    """All that a step does, in one line."""
    return "; ".join(change_words(job, change) for change in step.changes)


def cost_words(job: Job, decision: Decision, cents: int) -> str:
    """A sum with its currency; an area where prices are missing, since area then stands for cost.

    Parameters
    ----------
    job : Job
        Whose currency and measure it is.
    decision : Decision
        Which knows whether all is priced.
    cents : int
        A step's, or that of all steps so far.
    """
    if decision.candidates.priced:
        return f"{grouped(cents / 100.0)} {job.costs.currency or ''}".rstrip()
    return area(cents / 100.0, feet=job.feet)


def worse_words(job: Job, worse: Worse) -> str:
    """Such as "ceiling of bedroom with coating"."""
    return f"{unit_title(job, worse.unit)} with {worse.label}"
