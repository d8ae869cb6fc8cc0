"""Parts that several pages share, as plain records that the templates lay out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from markupsafe import Markup

from envelope import text
from envelope.building.islands import floating
from envelope.building.job import Job, Plan
from envelope.pricing.bill import Bill, BillLine
from envelope.pricing.products import Product
from envelope.text import trade
from envelope.text.measures import agreed_measures
from envelope.text.names import listed, plan_title
from envelope.works.bonding import BondedIsland
from envelope.works.elevations import Elevation, drawn_walls, elevations_of
from envelope.works.takeoff import TakeOff
from envelope.works.workorder import WorkOrder, WorkStep, beside_words
from viewer.report.elevation_svg import (
    common_scale,
    drawing_width_mm,
    elevation_svg,
    mark_rows,
)
from viewer.report.wording import bridge_words
from viewer.scene.behind import behind_faces

MAX_EXPECTED = 6  # resistances listed for one conductor; the largest come first
BOND_CAUTION = (
    "Bonding is for a licensed electrician under the local wiring code: power off and proved dead, "
    "the protective earth verified first, one point for each conductor, never to neutral, pipes or "
    "a separate rod; residual-current or ground-fault protection on every circuit behind the "
    "coating. A nail that meets a cable makes a coating live: a bonded one trips, a floating one "
    "never does."
)
OTHER_CONTACTS = ("metal stud or corner bead", "water or heating pipe", "radiator", "curtain rail")


def plan_words(plan: Plan) -> str:
    """What a plan is called."""
    return plan_title(plan.id, plan.title)


# -- money and material


def bill_section(job: Job, bill: Bill) -> dict[str, Any]:
    """Totals of a bill, each with what it lacks."""

    def sum_of(*kinds: str) -> str | None:
        lines = [line for line in bill.lines if line.kind in kinds]
        amounts = [line.amount for line in lines if line.amount is not None]
        return trade.money(sum(amounts, Decimal(0)), bill.currency) if amounts else None

    hours: dict[str, float] = {}
    for line in bill.lines:
        if line.kind == "labour":
            hours[line.what] = hours.get(line.what, 0.0) + line.quantity
    priced = any(line.amount is not None for line in bill.lines)
    labour = sum_of("labour")
    return {
        "material": sum_of("material", "setup", "source"),
        "labour": labour,
        "hours": [
            {"trade": name, "hours": trade.amount(time_h, "h", feet=job.feet)}
            for name, time_h in sorted(hours.items())
        ],
        "net": trade.money(bill.net, bill.currency) if priced else None,
        "tax": trade.money(bill.tax, bill.currency) if priced else None,
        "tax_share": f"{float(100 * bill.tax_share):g}{text.SPACE}%" if bill.tax_share else "",
        "total": trade.money(bill.total, bill.currency) if priced else None,
        "left_out": left_out(job, bill),
    }


def left_out(job: Job, bill: Bill) -> list[str]:
    """What a total does not hold, in words for a client."""
    found = []
    for line in bill.lines:
        if line.amount is None:
            own = line.kind == "labour"
            what = "labour of the " + line.what if own else trade.line_title(job, line)
            if what not in found:
                found.append(what)
    if not any(line.kind == "labour" for line in bill.lines):
        found.append("labour")
    return found


def order_section(job: Job, plan: Plan, found: TakeOff) -> dict[str, Any]:
    """What is ordered, by trade of use, and what is cut from it."""
    products = {product.id: product for product in job.products}
    return {
        "faces": [
            {
                "room": room,
                "rows": [
                    {
                        "face": row["face"],
                        "treatment": row["treatment"],
                        "coats": row["coats"],
                        "area": row["area"],
                    }
                    for row in rows
                ],
            }
            for room, rows in _areas_by_room(job, found).items()
        ],
        "totals": _totals(job, found),
        "besides": list(agreed_measures(job, plan)),
        "lines": [_line(job, line, products.get(line.product)) for line in found.bill.lines],
        "cuts": [
            {
                "face": trade.face_name(job, cut.panel),
                "product": _product_title(products[cut.product]),
                "pieces": _pieces(job, cut.lengths_m),
                "waste": "" if cut.strips is None else text.percent(cut.strips.waste),
            }
            for cut in found.cuts
        ],
        "rolls": [
            {
                "product": _product_title(products[name]),
                "number": number,
                "roll": _roll_name(job, products[name], roll.package),
                "pieces": _pieces(job, roll.lengths_m),
            }
            for name, rolls in sorted(found.rolls.items())
            for number, roll in enumerate(rolls, 1)
        ],
        "notes": list(_order_notes(job, found)),
        "bill": bill_section(job, found.bill),
    }


def _areas_by_room(job: Job, found: TakeOff) -> dict[str, list[dict[str, str]]]:
    """Rows of faces by room; reveals of one opening are one row a treatment."""
    rooms: dict[str, dict[tuple[str, str, bool], list[Any]]] = {}
    for face in found.faces:
        panel = job.building.panel(face.panel)
        (_, title), *_ = trade.faces_by_room(job, [face.panel])
        own = rooms.setdefault(trade.space_title(job, panel.space), {})
        row = own.setdefault((title, face.treatment, face.strip), [0.0, face.coats])
        row[0] += face.area_m2
    return {
        room: [
            {
                "face": title + (" (strip)" if strip else ""),
                "treatment": trade.treatment_title(job, treatment),
                "coats": str(coats),
                "area": text.area(area_m2, feet=job.feet),
            }
            for (title, treatment, strip), (area_m2, coats) in rows.items()
        ]
        for room, rows in rooms.items()
    }


def _totals(job: Job, found: TakeOff) -> list[dict[str, str]]:
    areas: dict[str, float] = {}
    for face in found.faces:
        areas[face.treatment] = areas.get(face.treatment, 0.0) + face.area_m2
    return [
        {
            "treatment": trade.treatment_title(job, name),
            "area": text.area(area_m2, feet=job.feet),
        }
        for name, area_m2 in sorted(areas.items())
    ]


def _line(job: Job, line: BillLine, product: Product | None) -> dict[str, Any]:
    lead = "" if product is None or product.lead_days is None else f"{product.lead_days} days"
    return {
        "what": trade.line_title(job, line),
        "for": trade.line_for(job, line),
        "trade": line.what if line.kind == "labour" else "" if product is None else product.trade,
        "quantity": trade.line_quantity(job, line),
        "packages": trade.NO_PRODUCT
        if line.without_product
        else ""
        if product is None or line.kind != "material"
        else trade.packages(product, line.purchase, feet=job.feet),
        "lead": lead if line.kind == "material" else "",
        "amount": "not stated" if line.amount is None else text.grouped(float(line.amount), 2),
    }


def _order_notes(job: Job, found: TakeOff) -> Iterable[str]:
    """What an order of this kind easily lacks."""
    used = {face.treatment for face in found.faces}
    bare = [trade.face_name(job, each.name) for each in floating(job, job.plan(found.plan))]
    if bare:
        yield (
            f"No bond point is placed yet for {listed(bare)}: a coating, film or mesh that floats "
            "near live cables can stand at tens of volts. A licensed electrician bonds it under "
            "the local code."
        )
    for product in sorted(job.products, key=lambda each: each.id):
        if product.treatment not in used:
            continue
        if product.one_batch:
            yield f"{_product_title(product).capitalize()}: order it in one batch."
    usual = _usual(job, used)
    if usual:
        yield (
            f"As is usual in the trade, since nothing is stated: {usual}. Labels and data sheets "
            "decide."
        )
    for name in sorted(used):
        liquids = [
            product
            for product in job.products
            if product.treatment == name and product.form == "liquid"
        ]
        stages = {product.stage for product in liquids}
        title = trade.treatment_title(job, name)
        if liquids and "primer" not in stages:
            yield (
                f"No primer is listed for {title}: bare board and bare wood need one before any "
                "coat, or they drink it."
            )
        if liquids and "finish" not in stages:
            yield f"No finish coat is listed over {title}; a dark coating takes more of it."


def _usual(job: Job, used: set[str]) -> str:
    """Figures that nobody stated, each with the products that it was taken for.

    What comes off a roll is cut piece by piece: its spare does not count.
    """
    found: dict[str, list[str]] = {}
    for product in sorted(job.products, key=lambda each: each.id):
        for key in product.assumed if product.treatment in used else ():
            if key != "spare" or product.form == "liquid":
                words = trade.usual_words(job, product, key)
                found.setdefault(words, []).append(_product_title(product))
    return "; ".join(f"{words} ({', '.join(titles)})" for words, titles in found.items())


def _product_title(product: Product) -> str:
    return product.title or product.id


def _pieces(job: Job, lengths_m: Iterable[float]) -> str:
    """Lengths in words, equal ones together."""
    counts: dict[str, int] = {}
    for each in lengths_m:
        words = text.length(each, feet=job.feet)
        counts[words] = counts.get(words, 0) + 1
    return ", ".join(
        words if count == 1 else f"{count}{text.SPACE}×{text.SPACE}{words}"
        for words, count in counts.items()
    )


def _roll_name(job: Job, product: Product, package: int) -> str:
    pack = product.packages[package]
    return pack.name or trade.content(pack.holds, product.unit, feet=job.feet)


# -- bonding


def bonding_section(
    job: Job, found: Iterable[BondedIsland], *, shares: Mapping[str, float] | None = None
) -> dict[str, Any]:
    """Conductors with their bonds, what to expect, and what must not touch.

    Parameters
    ----------
    job : Job
    found : iterable of BondedIsland
    shares : mapping of str to float, optional
        Share of the level at the receiver that comes in by each ring, by panel.
    """
    islands = [_island(job, number, each) for number, each in enumerate(found, 1)]
    return {
        "islands": islands,
        "caution": BOND_CAUTION,
        "contacts": _contacts(job, found),
        "rings": [
            {"ring": trade.face_name(job, panel), "share": text.percent(share)}
            for panel, share in (shares or {}).items()
        ],
    }


def _island(job: Job, number: int, each: BondedIsland) -> dict[str, Any]:
    island = each.island
    lead = job.building.panel(island.name)
    return {
        "number": number,
        "name": trade.face_name(job, island.name),
        "leaf": island.leaf,
        "faces": trade.faces_by_room(job, island.panels),
        "space": trade.space_title(job, lead.space),
        "treatments": ", ".join(trade.treatment_title(job, name) for name in island.treatments),
        "area": text.area(island.area_m2, feet=job.feet),
        "bond": ""
        if each.bond is None
        else beside_words(job, each, lambda panel: trade.face_name(job, panel)),
        "stated": each.bond is not None and each.bond.stated,
        "faults": each.faults,
        "bridge": "" if each.bridge is None else bridge_words(job, each.bridge),
        "laps": _laps(job, each),
        "unknown": ", ".join(trade.treatment_title(job, name) for name in each.unknown),
        "expected": [
            {
                "from": f"{trade.face_name(job, expected.panel)}, {expected.place}",
                "ohm": trade.resistance(expected.resistance_ohm),
            }
            for expected in each.expected[:MAX_EXPECTED]
        ],
    }


def _laps(job: Job, each: BondedIsland) -> list[str]:
    """Where two treatments meet, by the face that meets most others."""
    pairs = [(lap.first, lap.second) for lap in each.island.contacts if lap.lap]
    found = []
    while pairs:
        names = [name for pair in pairs for name in pair]
        lead = max(sorted(set(names)), key=names.count)
        others = [pair[1 - pair.index(lead)] for pair in pairs if lead in pair]
        rooms = "; ".join(faces for _, faces in trade.faces_by_room(job, others))
        found.append(f"{trade.face_name(job, lead)} with {rooms}")
        pairs = [pair for pair in pairs if lead not in pair]
    return found


def _contacts(job: Job, found: Iterable[BondedIsland]) -> list[dict[str, str]]:
    """Places where metal may touch a coating by accident, each a test."""
    coated = {panel for each in found if not each.island.leaf for panel in each.island.panels}
    rows = [
        {"what": trade.face_name(job, panel.id), "where": trade.face_name(job, panel.host)}
        for panel in job.building.panels
        if panel.kind == "box" and panel.host is not None and panel.host in coated
    ]
    if job.wiring is not None:
        rows += [
            {
                "what": outlet.kind if outlet.id == outlet.kind else f"{outlet.kind} {outlet.id}",
                "where": trade.face_name(job, job.building.panel(outlet.panel).id),
            }
            for outlet in job.wiring.outlets
            if job.building.panel(outlet.panel).id in coated
        ]
    return rows + [{"what": what, "where": ""} for what in OTHER_CONTACTS] if coated else []


# -- drawings


def drawings_section(job: Job, faces: Iterable[Elevation]) -> dict[str, Any]:
    """Drawings of faces with their tables, all to one scale."""
    drawn = list(faces)
    scale = common_scale(drawn)
    found = []
    for face in drawn:
        title = trade.face_name(job, face.panel)
        worn = ", ".join(trade.treatment_title(job, name) for name in face.treatments)
        if face.strips:
            worn += ("; " if worn else "") + "coated in strips"
        found.append(
            {
                "title": title,
                "caption_mm": f"{max(60.0, drawing_width_mm(face, scale)):.0f}",
                "worn": worn or "untreated",
                "svg": Markup(elevation_svg(job, face, title=f"Drawing of {title}", scale=scale)),
                "rows": mark_rows(job, face),
                "wall": face.kind == "wall",
            }
        )
    return {
        "scale": scale,
        "faces": found,
        "known_runs": any(face.runs for face in drawn),
        "likely_runs": any(face.likely_runs for face in drawn),
        "seams": any(face.seams for face in drawn),
    }


def faces_of_plan(
    job: Job, plan: Plan, found: TakeOff, bonding: Iterable[BondedIsland]
) -> tuple[Elevation, ...]:
    """Every wall of the treated rooms, then floors and ceilings that strips are laid on."""
    walls = drawn_walls(job, plan)
    cut = {each.panel for each in found.cuts if each.strips is not None}
    behind = behind_faces(job, plan)
    strips = {name for name, each in behind.items() if each.strips}
    flats = [
        panel.id
        for panel in job.building.panels
        if panel.id in cut | strips and panel.kind in ("floor", "ceiling")
    ]
    return elevations_of(
        job, plan, panels=(*walls, *flats), found=found, bonding=tuple(bonding), behind=behind
    )


# -- the order of work


def step_rows(job: Job, steps: Iterable[WorkStep]) -> list[dict[str, Any]]:
    """Steps as a page lays them out."""
    return [
        {
            "number": step.number,
            "trade": step.trade,
            "what": step.what,
            "where": trade.faces_by_room(job, step.where),
            "quantity": step.quantity,
            "wait": step.wait,
            "stop": step.stop_until,
            "caution": step.caution,
            "never": step.now_or_never,
        }
        for step in steps
    ]


def _works_from(name: str, face: Elevation) -> bool:
    """Whether a trade works from the drawing of a face."""
    wall = face.kind == "wall"
    return {
        "electrician": wall or bool(face.strips),
        "painter": wall and bool(face.treatments),
        "installer": bool(face.seams),
    }.get(name, False)


def trades_section(job: Job, order: WorkOrder, faces: tuple[Elevation, ...]) -> list[Any]:
    """One page a trade: its steps, and the drawings that it works from."""
    return [
        {
            "trade": name,
            "steps": step_rows(job, order.of_trade(name)),
            "drawings": drawings_section(job, [face for face in faces if _works_from(name, face)]),
        }
        for name in order.trades
    ]
