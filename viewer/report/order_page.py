"""The order list on paper: areas, what to order, what to cut."""

from __future__ import annotations

from envelope.building.job import Job, Plan
from envelope.works.takeoff import TakeOff
from viewer.report.render import Sheet, render
from viewer.report.sections import order_section, plan_words


def order_page(job: Job, plan: Plan, found: TakeOff, *, sheet: Sheet) -> str:
    """The order list as HTML.

    Parameters
    ----------
    job : Job
    plan : Plan
    found : TakeOff
        Of the plan.
    sheet : Sheet
    """
    values = {"plan": plan_words(plan), "order": order_section(job, plan, found)}
    return render("order.html.j2", job=job, sheet=sheet, values=values)
