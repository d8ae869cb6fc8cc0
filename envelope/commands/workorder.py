"""`gapcast workorder`: the steps of the work in order, by trade, with hold points."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict

from rich.console import Console
from rich.markup import escape

from envelope.building.job import Job
from envelope.commands.arguments import add_job, add_output_switches
from envelope.commands.common import chosen_plans, nearest
from envelope.commands.documents import add_page, ordered, sheet_of, write_work_order
from envelope.commands.layout import open_console
from envelope.errors import EnvelopeError, RangeError
from envelope.project import load
from envelope.text.trade import faces_by_room, plan_name
from envelope.works.workorder import WorkOrder, WorkStep

DESCRIPTION = (
    "Lists the work of a plan as numbered steps in the order in which they can be done: trade, "
    "place, quantity, what to wait for, and what must be seen before work goes on."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_output_switches(parser, csv=False)
    parser.add_argument("--plan", metavar="ID", help="plan to carry out (default: the last one)")
    parser.add_argument("--trade", metavar="NAME", help="only the steps of this trade")
    add_page(parser, required=False)


def run(options: argparse.Namespace) -> int:
    """Order the work and print it."""
    job = load(options.job)
    plan = chosen_plans(job, [options.plan])[0] if options.plan else job.plans[-1]
    sheet = None if options.output is None else sheet_of(options)
    try:
        found = ordered(job, plan)
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    steps = found.steps
    if options.trade is not None:
        if options.trade not in found.trades:
            raise EnvelopeError(
                f"no trade {options.trade!r} in this plan: {nearest(options.trade, found.trades)}"
            )
        steps = tuple(step for step in steps if step.trade == options.trade)
    if sheet is not None:
        write_work_order(options.output, job, plan, sheet=sheet, order=found, trade=options.trade)
        print(f"{options.output}: the work order, {len(found.trades)} trades")
    elif options.json:
        rows = {"format": 1, "project": job.name, "plan": plan.id}
        print(
            json.dumps(
                {**rows, "steps": [asdict(step) for step in steps]}, indent=2, ensure_ascii=False
            )
        )
    else:
        _print(open_console(), job, found, steps)
    return 0


def _print(console: Console, job: Job, found: WorkOrder, steps: tuple[WorkStep, ...]) -> None:
    console.print(f"[bold]{escape(plan_name(job, found.plan))}[/]: {len(found.steps)} steps")
    for step in steps:
        never = " [bold]Now or never.[/]" if step.now_or_never else ""
        console.print(
            f"\n[bold]{step.number}. {escape(step.trade)}[/]: {escape(step.what)}.{never}"
        )
        for label, words in (
            (
                "Where",
                "; ".join(f"{room}: {faces}" for room, faces in faces_by_room(job, step.where)),
            ),
            ("Quantity", step.quantity),
            ("Wait", step.wait),
            ("Stop until", step.stop_until),
            ("Caution", step.caution.removesuffix(".")),
        ):
            if words:
                console.print(f"   {label}: {escape(words)}.")
