"""`gapcast bond`: islands of conductive treatment, one bond for each, resistances to expect."""

from __future__ import annotations

import argparse
import json
from typing import Any

import numpy as np
from rich.console import Console
from rich.markup import escape

from envelope import text
from envelope.building.job import Job, Plan
from envelope.commands.arguments import add_job, add_output_switches
from envelope.commands.common import chosen_plans, nearest
from envelope.commands.documents import add_page, sheet_of, write_bonding
from envelope.commands.layout import open_console, plain_table
from envelope.errors import EnvelopeError, RangeError, UnitError
from envelope.project import load
from envelope.text.trade import face_name, plan_name, resistance, treatment_title
from envelope.units import parse_length
from envelope.wiring.faces import is_flat, on_flat, on_wall
from envelope.works.bonding import BondedIsland, bonding_of
from envelope.works.probing import Place, resistances_between
from viewer.report.wording import bridge_words

DESCRIPTION = (
    "Lists what is one conductor under a plan, where each is bonded, and the resistance that a "
    "meter should show from its faces to the bond. Exits with 1 where a bond is missing or one "
    "too many."
)

CAUTION = (
    "Bonding is for a licensed electrician under the local code: power off and proved dead, the "
    "protective earth verified first, one point a conductor, never to neutral, pipes or a separate "
    "rod; residual-current or ground-fault protection on every circuit behind the coating. A nail "
    "that meets a cable makes a coating live: bonded it trips, floating it never trips anything."
)
CONTACTS = (
    "Before the bond is made, test that nothing else connects: each electrical box, metal stud, "
    "pipe, radiator and curtain rail against the coating should read open circuit."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_output_switches(parser, csv=False)
    parser.add_argument("--plan", metavar="ID", help="plan to bond (default: the last one)")
    parser.add_argument(
        "--probe",
        action="append",
        metavar="PLACE",
        help="print the resistance between places instead, such as "
        '"bedroom/south: 1 m, 0.3 m" (from the right-hand corner, above the floor; x, y on a '
        "floor or ceiling); two or more",
    )
    add_page(parser, required=False)


def run(options: argparse.Namespace) -> int:
    """Find islands and print them."""
    job = load(options.job)
    plan = chosen_plans(job, [options.plan])[0] if options.plan else job.plans[-1]
    if options.probe:
        return _probe(job, plan, options)
    sheet = None if options.output is None else sheet_of(options)
    found = bonding_of(job, plan)
    if not found:
        raise EnvelopeError(f"plan {plan.id!r} has no conductive treatment: nothing to bond")
    if sheet is not None:
        write_bonding(options.output, job, plan, sheet=sheet)
        print(f"{options.output}: the bonding plan, conductors: {len(found)}")
    elif options.json:
        print(json.dumps(bonding_json(job, plan.id, found), indent=2, ensure_ascii=False))
    else:
        _print(open_console(), job, plan.id, found)
    return int(any(each.faults for each in found))


def _probe(job: Job, plan: Plan, options: argparse.Namespace) -> int:
    """Print the resistance between each two places."""
    places = [_place(job, words) for words in options.probe]
    if len(places) < 2:
        raise EnvelopeError("--probe: a resistance lies between two places: give two or more")
    try:
        found = resistances_between(job, plan, places)
    except RangeError as error:
        raise EnvelopeError(f"--probe: {error}") from None
    pairs = [
        {
            "from": one.name,
            "to": other.name,
            "resistance_ohm": float(found[k, n]) if np.isfinite(found[k, n]) else None,
        }
        for k, one in enumerate(places)
        for n, other in enumerate(places)
        if k < n
    ]
    if options.json:
        rows = {"format": 1, "project": job.name, "plan": plan.id, "resistances": pairs}
        print(json.dumps(rows, indent=2, ensure_ascii=False))
        return 0
    table = plain_table("from", "to", ">expected")
    for pair in pairs:
        ohm = pair["resistance_ohm"]
        said = "not connected" if ohm is None else resistance(float(ohm))
        table.add_row(escape(str(pair["from"])), escape(str(pair["to"])), said)
    open_console().print(table)
    return 0


def _place(job: Job, words: str) -> Place:
    """A place on a face from "face: along, up"."""
    face, colon, at = words.partition(":")
    name = face.strip()
    if name not in job.building.panel_index:
        raise EnvelopeError(f"--probe {words!r}: {nearest(name, job.building.panel_index)}")
    panel = job.building.panel(name)
    space = job.building.space(panel.space)
    try:
        lengths = [parse_length(part) for part in at.split(",")]
    except UnitError as error:
        raise EnvelopeError(f"--probe {words!r}: {error}") from None
    if not colon or len(lengths) != 2:
        raise EnvelopeError(
            f'--probe {words!r}: write a face and two lengths, such as "{name}: 1 m, 0.3 m"'
        )
    place = on_flat if is_flat(panel) else on_wall
    return Place(name=words, panel=panel.id, position_m=place(panel, space, *lengths))


def bonding_json(job: Job, plan: str, found: tuple[BondedIsland, ...]) -> dict[str, Any]:
    """Bonding as plain data. Keys are a contract: more may be added, none change."""
    return {
        "format": 1,
        "project": job.name,
        "plan": plan,
        "islands": [
            {
                "name": each.island.name,
                "panels": list(each.island.panels),
                "treatments": list(each.island.treatments),
                "area_m2": each.island.area_m2,
                "on_a_leaf": each.island.leaf,
                "laps": [
                    {"first": c.first, "second": c.second, "length_m": c.length_m}
                    for c in each.island.contacts
                    if c.lap
                ],
                "bond": None
                if each.bond is None
                else {
                    "id": each.bond.id,
                    "panel": each.bond.panel,
                    "position_m": each.bond.position_m.tolist(),
                    "stated": each.bond.stated,
                },
                "expected_ohm": [
                    {"panel": e.panel, "place": e.place, "resistance_ohm": e.resistance_ohm}
                    for e in each.expected
                ],
                "resistance_unknown_of": list(each.unknown),
                "faults": list(each.faults),
                "bridge": None
                if each.bridge is None
                else {
                    "panel": each.bridge.panel,
                    "to_panel": each.bridge.to_panel,
                    "gap_m": each.bridge.gap_m,
                },
            }
            for each in found
        ],
        "cautions": [CAUTION, CONTACTS],
    }


def _print(console: Console, job: Job, plan: str, found: tuple[BondedIsland, ...]) -> None:
    count = len(found)
    console.print(
        f"[bold]{escape(plan_name(job, plan))}[/]: {count} separate "
        f"{'conductor' if count == 1 else 'conductors'}, one bond each."
    )
    for number, each in enumerate(found, 1):
        island = each.island
        faces = "1 face" if len(island.panels) == 1 else f"{len(island.panels)} faces"
        where = "on a leaf, ends at its frame" if island.leaf else faces
        console.print(
            f"\n[bold]{number}. {escape(face_name(job, island.name))}[/] ({where}): "
            f"{escape(', '.join(treatment_title(job, t) for t in island.treatments))}, "
            f"{text.area(island.area_m2, feet=job.feet)}"
        )
        if not island.leaf and len(island.panels) > 1:
            console.print("   " + escape(", ".join(face_name(job, each) for each in island.panels)))
        if each.bond is not None:
            how = "as the job says" if each.bond.stated else "proposed"
            console.print(
                f"   Bond at {escape(each.bond.beside)} on the "
                f"{escape(face_name(job, each.bond.panel))}, {how}."
            )
        for fault in each.faults:
            console.print(f"   [bold]Open[/]: {escape(fault)}.")
        if each.bridge is not None:
            console.print(f"   Nearest bridge: {escape(bridge_words(job, each.bridge))}.")
        laps = {face_name(job, contact.second) for contact in island.contacts if contact.lap}
        if laps:
            console.print(f"   Lap on purpose, and test: {escape(', '.join(sorted(laps)))}")
        if each.unknown:
            console.print(
                f"   No resistance to expect: {escape(', '.join(each.unknown))} is known by its "
                "shielding alone. State its sheet-resistance, or measure a sample."
            )
        _print_expected(console, job, each)
    console.print(f"\n[bold]Caution[/]: {CAUTION}")
    console.print(CONTACTS)


def _print_expected(console: Console, job: Job, each: BondedIsland) -> None:
    if not each.expected:
        return
    table = plain_table("   from", "place", ">to the bond")
    for expected in each.expected[:6]:
        table.add_row(
            f"   {escape(face_name(job, expected.panel))}",
            expected.place,
            resistance(expected.resistance_ohm),
        )
    console.print(table)
    rest = len(each.expected) - 6
    if rest > 0:
        console.print(f"   {rest} more places lie below these.")
