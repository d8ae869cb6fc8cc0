"""The hand-over file on paper: what lies where, how to keep it, what was read before and after."""

from __future__ import annotations

from typing import Any

from envelope import text
from envelope.building.job import AS_BUILT, Job, Plan
from envelope.exposure.analysis_record import Analysis
from envelope.survey.verdicts import verdicts_of
from envelope.text import trade
from envelope.works import handover
from envelope.works.workorder import WorkOrder
from viewer.report import levels
from viewer.report.inputs import reading_rows
from viewer.report.render import Sheet, render
from viewer.report.sections import (
    bonding_section,
    drawings_section,
    faces_of_plan,
    plan_words,
)


def hand_over_page(
    job: Job,
    plan: Plan,
    order: WorkOrder,
    *,
    sheet: Sheet,
    analysis: Analysis | None = None,
    receiver: str | None = None,
) -> str:
    """The hand-over file as HTML.

    Parameters
    ----------
    job : Job
    plan : Plan
        That was carried out.
    order : WorkOrder
        Of the plan.
    sheet : Sheet
    analysis : Analysis, optional
        Of today and of the plan, with bands; its promise then stands beside the readings.
    receiver : str, optional
        Id of the receiver that the promise is about.
    """
    faces = handover.not_to_be_drilled(job, plan)
    drawn = [
        face
        for face in faces_of_plan(job, plan, order.take_off, order.bonding)
        if face.panel in faces or face.strips
    ]
    bonds = tuple(dict.fromkeys(each.bond.panel for each in order.bonding if each.bond is not None))
    worn: dict[str, list[str]] = {}
    for panel, names in plan.treatments.items():
        for name in names:
            worn.setdefault(name, []).append(panel)
    values = {
        "plan": plan_words(plan),
        "worn": [
            {
                "what": trade.treatment_title(job, name),
                "where": trade.faces_by_room(job, panels),
                "products": ", ".join(
                    each.title or each.id for each in job.products if each.treatment == name
                ),
            }
            for name, panels in sorted(worn.items())
        ],
        "no_drilling": trade.faces_by_room(job, faces),
        "drawings": drawings_section(job, drawn),
        "care": handover.care_of(job, order.take_off),
        "patching": handover.PATCHING,
        "bonding": bonding_section(job, order.bonding),
        "slots": [
            slot.what if slot.panel is None else f"{trade.face_name(job, slot.panel)}: {slot.what}"
            for slot in handover.photo_slots(job, plan, bonds)
        ],
        "promise": _promise(job, plan, analysis, receiver),
        "readings": reading_rows(job, () if analysis is None else verdicts_of(job)),
        "spots": job.defaults.count("spots"),
        "links": handover.LINKS,
        "again": handover.MEASURE_AGAIN,
        "inside": handover.KEEP_SMALL,
    }
    return render("handover.html.j2", job=job, sheet=sheet, values=values)


def _promise(
    job: Job, plan: Plan, analysis: Analysis | None, receiver: str | None
) -> dict[str, Any] | None:
    """Levels predicted before and after, and the level that was promised."""
    if analysis is None or receiver is None or job.assumed_source:
        return None
    today, after = analysis.plan(AS_BUILT), analysis.plan(plan.id)
    told = levels.paired(today, after, today, receiver)
    found = levels.at_receiver(after, receiver)
    high = found.headline.high_w_m2
    before = levels.at_receiver(today, receiver)
    return {
        "receiver": trade.receiver_title(job, receiver),
        "before": f"{levels.amount(before)} ({levels.amount_range(before)})",
        "after": f"{levels.amount(found)} ({levels.amount_range(found)})",
        "accepted": text.level(high) if told.low_db > 0.0 and high is not None else "",
    }
