"""`gapcast takeoff`: what a plan takes: areas, strips, packages, labour, money."""

from __future__ import annotations

import argparse
import csv
import io
import json
from typing import Any, Literal

from rich.console import Console
from rich.markup import escape

from envelope import text
from envelope.building.islands import floating
from envelope.building.job import Job
from envelope.commands.arguments import add_job, add_output_switches
from envelope.commands.common import chosen_plans
from envelope.commands.documents import add_page, sheet_of, write_order_list
from envelope.commands.layout import open_console, plain_table
from envelope.errors import EnvelopeError, RangeError
from envelope.pricing.bill import BillLine
from envelope.project import load
from envelope.text.measures import agreed_measures
from envelope.text.names import listed
from envelope.text.trade import (
    NO_PRODUCT,
    face_name,
    line_for,
    line_quantity,
    line_title,
    packages,
    plan_name,
    treatment_title,
    unpriced_words,
)
from envelope.works.takeoff import TakeOff, take_off

DESCRIPTION = (
    "Takes the quantities of a plan off the panels themselves: net area per face and treatment, "
    "strips and panes cut from rolls, the cheapest whole packages that cover, labour, tax."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_output_switches(parser, csv=True)
    parser.add_argument("--plan", metavar="ID", help="plan to order for (default: the last one)")
    add_page(parser, required=False)


def run(options: argparse.Namespace) -> int:
    """Take off and print; nothing is cast."""
    job = load(options.job)
    plan = chosen_plans(job, [options.plan])[0] if options.plan else job.plans[-1]
    if not plan.treatments and not (job.wiring and job.wiring.plan(plan.id).strips):
        raise EnvelopeError(f"plan {plan.id!r} treats nothing: there is nothing to order")
    sheet = None if options.output is None else sheet_of(options)
    try:
        found = take_off(job, plan)
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    if sheet is not None:
        write_order_list(options.output, job, plan, sheet=sheet, found=found)
        print(f"{options.output}: the order list")
    elif options.json:
        print(json.dumps(take_off_json(job, found), indent=2, ensure_ascii=False))
    elif options.csv:
        print(_csv(found), end="")
    else:
        _print(open_console(), job, found)
    return 0


def take_off_json(job: Job, found: TakeOff) -> dict[str, Any]:
    """A take-off as plain data. Keys are a contract: more may be added, none change."""
    bill = found.bill
    trades = {product.id: product.trade or None for product in job.products}
    return {
        "format": 1,
        "project": job.name,
        "plan": found.plan,
        "currency": bill.currency,
        "faces": [
            {
                "panel": face.panel,
                "space": face.space,
                "storey": face.storey,
                "kind": face.kind,
                "treatment": face.treatment,
                "area_m2": face.area_m2,
                "coats": face.coats,
                "strip": face.strip,
            }
            for face in found.faces
        ],
        "areas_m2": {
            "treatment": _sums(found, "treatment"),
            "space": _sums(found, "space"),
            "storey": _sums(found, "storey"),
        },
        "lines": [
            {
                "kind": line.kind,
                "what": line.what,
                "treatment": line.treatment,
                "quantity": line.quantity,
                "unit": line.unit,
                "product": line.product or None,
                "trade": line.what if line.kind == "labour" else trades.get(line.product),
                "packages": None if line.purchase is None else list(line.purchase.counts),
                "amount": None if line.amount is None else str(line.amount),
            }
            for line in bill.lines
        ],
        "cuts": [
            {
                "panel": cut.panel,
                "product": cut.product,
                "lengths_m": list(cut.lengths_m),
                "direction": None if cut.strips is None else cut.strips.direction,
                "seams_m": [] if cut.strips is None else list(cut.strips.seams_m),
                "waste": None if cut.strips is None else cut.strips.waste,
            }
            for cut in found.cuts
        ],
        "rolls": {
            name: [{"package": roll.package, "lengths_m": list(roll.lengths_m)} for roll in rolls]
            for name, rolls in sorted(found.rolls.items())
        },
        "net": str(bill.net),
        "tax": str(bill.tax),
        "total": str(bill.total),
        "unpriced": list(bill.unpriced),
        "without_bond": [list(island.panels) for island in floating(job, job.plan(found.plan))],
    }


def _sums(
    found: TakeOff, by: Literal["treatment", "space", "storey"]
) -> dict[str, dict[str, float]]:
    """Area of each treatment, by space or storey where that is asked."""
    sums: dict[str, dict[str, float]] = {}
    for face in found.faces:
        key = {"treatment": "all", "space": face.space, "storey": face.storey}[by]
        own = sums.setdefault(key, {})
        own[face.treatment] = own.get(face.treatment, 0.0) + face.area_m2
    return sums


def _csv(found: TakeOff) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["storey", "space", "panel", "kind", "treatment", "area_m2", "coats", "strip"])
    for face in found.faces:
        writer.writerow(
            [face.storey, face.space, face.panel, face.kind, face.treatment,
             f"{face.area_m2:.4f}", face.coats, face.strip]
        )  # fmt: skip
    return out.getvalue()


def _print(console: Console, job: Job, found: TakeOff) -> None:
    faces = plain_table(
        "face",
        "treatment",
        ">area",
        ">coats",
        title=f"{escape(plan_name(job, found.plan))}: net areas",
    )
    for face in found.faces:
        faces.add_row(
            escape(face_name(job, face.panel)) + (" (strip)" if face.strip else ""),
            escape(treatment_title(job, face.treatment)),
            text.area(face.area_m2, feet=job.feet),
            str(face.coats),
        )
    console.print(faces)
    done = agreed_measures(job, job.plan(found.plan))
    if done:
        console.print(f"Besides: {escape('; '.join(done))}.")
    for cut in found.cuts:
        pieces = ", ".join(text.length(each, feet=job.feet) for each in cut.lengths_m)
        run_ = ""
        if cut.strips is not None:
            count = len(cut.strips.strips)
            strips = "1 strip" if count == 1 else f"{count} strips"
            run_ = f" ({strips}, {text.percent(cut.strips.waste)} waste)"
        console.print(
            f"Cut for {escape(face_name(job, cut.panel))}, {escape(cut.product)}: {pieces}{run_}"
        )
    console.print()
    money = found.bill.currency or ""
    lines = plain_table(
        "order", "for", ">quantity", "packages", f">{money}", title="To order and to do"
    )
    for line in found.bill.lines:
        lines.add_row(
            escape(line_title(job, line)),
            escape(line_for(job, line)),
            line_quantity(job, line),
            escape(_packages(job, line)),
            "?" if line.amount is None else text.grouped(float(line.amount), 2),
        )
    console.print(lines)
    bill = found.bill
    tax = f"tax {text.grouped(float(bill.tax), 2)}" if bill.tax_share else "no tax included"
    if money:
        console.print(
            f"\nNet {text.grouped(float(bill.net), 2)} {money}, {tax}, "
            f"total {text.grouped(float(bill.total), 2)} {money}."
        )
    else:
        console.print("\nNo total: the job states no price.")
    if bill.unpriced:
        console.print(
            ("Not in the total: " if money else "Without one: ")
            + "; ".join(escape(unpriced_words(job, each)) for each in bill.unpriced)
        )
    bare = floating(job, job.plan(found.plan))
    if bare:
        names = listed([face_name(job, island.name) for island in bare])
        console.print(
            f"[bold]Caution[/]: {escape(names)}: coating, film or mesh that conducts, and no bond "
            "point in the job. One that floats can stand at tens of volts near live cables, and a "
            f"fault can make it live where nothing trips. Add {escape('[[bond]]')}; bonding is for "
            "a licensed electrician under the local code, dead and proved dead."
        )


def _packages(job: Job, line: BillLine) -> str:
    if line.without_product:
        return NO_PRODUCT
    product = next((each for each in job.products if each.id == line.product), None)
    if product is None or line.kind != "material":
        return ""
    return packages(product, line.purchase, feet=job.feet)
