"""The work order on paper: the whole at a glance, then one page for each trade."""

from __future__ import annotations

from collections.abc import Mapping

from envelope.building.job import Job, Plan
from envelope.works.workorder import WorkOrder
from viewer.report.render import Sheet, render
from viewer.report.sections import (
    bonding_section,
    faces_of_plan,
    order_section,
    plan_words,
    step_rows,
    trades_section,
)


def work_order_page(
    job: Job,
    plan: Plan,
    order: WorkOrder,
    *,
    sheet: Sheet,
    trade: str | None = None,
    shares: Mapping[str, float] | None = None,
) -> str:
    """The work order as HTML.

    Parameters
    ----------
    job : Job
    plan : Plan
    order : WorkOrder
        Of the plan.
    sheet : Sheet
    trade : str, optional
        Only the page of this trade.
    shares : mapping of str to float, optional
        Share of the level that comes in by each ring, by panel.
    """
    faces = faces_of_plan(job, plan, order.take_off, order.bonding)
    trades = [
        each
        for each in trades_section(job, order, faces)
        if trade is None or each["trade"] == trade
    ]
    values = {
        "plan": plan_words(plan),
        "count": len(order.steps),
        "whole": trade is None,
        "steps": step_rows(job, order.steps),
        "never": step_rows(job, order.now_or_never),
        "trades": trades,
        "order": order_section(job, plan, order.take_off),
        "bonding": bonding_section(job, order.bonding, shares=shares),
    }
    return render("workorder.html.j2", job=job, sheet=sheet, values=values)
