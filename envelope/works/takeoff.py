"""Quantities to order for a plan, from the panels themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from envelope.building.islands import Island, islands_of
from envelope.building.job import Job, Plan
from envelope.building.model import Panel
from envelope.errors import RangeError, length_text
from envelope.geometry.polygons import polygon_of
from envelope.pricing.bill import Bill, BillLine, Cut, Treated, bill_of
from envelope.pricing.packages import Purchase
from envelope.pricing.products import Price, Product
from envelope.works.cutting import (
    Roll,
    Strips,
    curtain_drops,
    cut_rolls,
    film_pieces,
    strips_over,
)

CURTAIN_SHARE = 0.1  # of its width that a curtain is wider, at least; trade pages


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceQuantity:
    """One treatment on one panel."""

    panel: str
    space: str
    storey: str
    kind: str
    treatment: str
    area_m2: float  # net: openings out, reveals on panels of their own
    coats: int
    strip: bool = False  # only along the runs of a circuit


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceCuts:
    """What is cut from a roll for one panel."""

    panel: str
    product: str
    lengths_m: tuple[float, ...]
    strips: Strips | None = None  # of roll goods on a face


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOff:
    """What a plan takes: areas, cuts, packages and money."""

    plan: str
    faces: tuple[FaceQuantity, ...]
    cuts: tuple[FaceCuts, ...]
    rolls: Mapping[str, tuple[Roll, ...]]  # by product
    bill: Bill


def face_quantities(job: Job, plan: Plan) -> tuple[FaceQuantity, ...]:
    """Net area of every treatment on every panel, in the order of the building's panels.

    Strips along the runs of a circuit come after what covers the whole panel.
    """
    storeys = {space.id: space.storey for space in job.building.spaces}
    found = []
    for panel in job.building.panels:
        whole = [(name, panel.area_m2, False) for name in plan.treatments.get(panel.id, ())]
        for name, area_m2, strip in (*whole, *_strips_on(job, plan, panel)):
            found.append(
                FaceQuantity(
                    panel=panel.id,
                    space=panel.space,
                    storey=storeys[panel.space],
                    kind=panel.kind,
                    treatment=name,
                    area_m2=area_m2,
                    coats=job.treatments[name].coats,
                    strip=strip,
                )
            )
    return tuple(found)


def _strips_on(job: Job, plan: Plan, panel: Panel) -> list[tuple[str, float, bool]]:
    """Treatment and area of each strip on a panel."""
    strips = () if job.wiring is None else job.wiring.plan(plan.id).strips
    return [
        (name, float(strip.areas[panel.id].area), True)
        for strip in strips
        if panel.id in strip.areas
        for name in strip.treatments
    ]


def treated_areas(job: Job, plan: Plan) -> dict[str, Treated]:
    """Area, faces, bonds and boxes of each treatment."""
    counted = {product.per for product in job.products if product.form == "piece"}
    islands = islands_of(job, plan) if "bond" in counted else ()
    return treated_by(job, face_quantities(job, plan), islands=islands)


def treated_by(
    job: Job, faces: Sequence[FaceQuantity], *, islands: Sequence[Island]
) -> dict[str, Treated]:
    """Area, faces, bonds and boxes of each treatment of some faces.

    Parameters
    ----------
    job : Job
    faces : sequence of FaceQuantity
        What is treated.
    islands : sequence of Island
        Conductors that need a bond each.
    """
    found: dict[str, list[FaceQuantity]] = {}
    for face in faces:
        found.setdefault(face.treatment, []).append(face)
    boxes = [panel.host for panel in job.building.panels if panel.kind == "box"]
    return {
        name: Treated(
            area_m2=sum(face.area_m2 for face in own),
            faces=len(own),
            coats=own[0].coats,
            bonds=sum(name in island.treatments and not island.leaf for island in islands),
            boxes=sum(boxes.count(host) for host in {face.panel for face in own}),
        )
        for name, own in sorted(found.items())
    }


def cost_of(job: Job, plan: Plan) -> Bill:
    """What a plan costs by area, for lists and comparisons; the take-off also cuts rolls."""
    bill = bill_of(
        treated_areas(job, plan), products=job.products, prices=_prices(job), costs=job.costs
    )
    return _with_measures(bill, plan)


def take_off(job: Job, plan: Plan) -> TakeOff:
    """Quantities, cuts and money of a plan.

    Raises
    ------
    RangeError
        Where packages cannot cover what is needed, with the product's name.
    """
    faces = face_quantities(job, plan)
    cuts: list[FaceCuts] = []
    rolls: dict[str, tuple[Roll, ...]] = {}
    cut: dict[str, Cut] = {}
    for product in sorted(job.products, key=lambda each: each.id):
        if product.form not in ("roll", "film", "curtain"):
            continue
        own = [
            _cuts(job, job.building.panel(face.panel), product)
            for face in faces
            if face.treatment == product.treatment and not face.strip
        ]
        if not own:
            continue
        cuts += own
        lengths = [length for face in own for length in face.lengths_m]
        try:
            bought = cut_rolls(lengths, product.packages) if product.packages else ()
        except RangeError as error:
            raise RangeError(f"product {product.id!r}: {error}") from None
        rolls[product.id] = bought
        cut[product.id] = Cut(
            quantity=sum(lengths), purchase=_purchase(product, bought) if bought else None
        )
    return TakeOff(
        plan=plan.id,
        faces=faces,
        cuts=tuple(cuts),
        rolls=rolls,
        bill=_with_measures(
            bill_of(
                treated_areas(job, plan),
                products=job.products,
                prices=_prices(job),
                costs=job.costs,
                cut=cut,
            ),
            plan,
        ),
    )


def _with_measures(bill: Bill, plan: Plan) -> Bill:
    """The bill with what is paid for at sources."""
    lines = [
        BillLine(
            kind="source",
            what=name,
            treatment=done.do,
            quantity=1.0,
            unit="piece",
            amount=done.cost,
        )
        for name, done in plan.measures.items()
        if done.cost
    ]
    return replace(bill, lines=(*bill.lines, *lines)) if lines else bill


def _prices(job: Job) -> dict[str, Price]:
    return {
        name: treatment.price
        for name, treatment in job.treatments.items()
        if treatment.price is not None
    }


def _purchase(product: Product, rolls: tuple[Roll, ...]) -> Purchase:
    counts = [0] * len(product.packages)
    for roll in rolls:
        counts[roll.package] += 1
    pairs = list(zip(counts, product.packages, strict=True))
    return Purchase(
        counts=tuple(counts),
        holds=sum((n * each.holds for n, each in pairs), Decimal(0)),
        price=sum((n * each.price for n, each in pairs), Decimal(0)),
    )


def _cuts(job: Job, panel: Panel, product: Product) -> FaceCuts:
    assert product.width_m is not None
    area = polygon_of(panel)
    strips: Strips | None = None
    if product.form == "roll":
        strips = strips_over(
            area,
            width_m=product.width_m,
            overlap_m=product.overlap_m,
            turn_up_m=product.turn_up_m,
        )
        lengths = tuple(strip.length_m for strip in strips.strips)
    else:
        x0, y0, x1, y1 = area.bounds
        if product.form == "film":
            lengths = film_pieces(
                pane_m=(x1 - x0, y1 - y0), width_m=product.width_m, trim_m=product.trim_m
            )
        else:
            lengths = curtain_drops(
                covered_m=x1 - x0,
                drop_m=y1 - y0,
                fullness=product.fullness,
                overlap_m=_beside_window_m(job, panel, product, x1 - x0),
                hem_m=product.hem_m,
                width_m=product.width_m,
            )
    return FaceCuts(panel=panel.id, product=product.id, lengths_m=lengths, strips=strips)


def _beside_window_m(job: Job, panel: Panel, product: Product, width_m: float) -> float:
    """By how much a curtain is wider than what it covers; it ends where its wall does. [m]

    Raises
    ------
    RangeError
        Where its wall leaves it no room.
    """
    sides = 2.0 * job.defaults.value("curtain-sides")
    more = sides if "curtain-sides" in job.defaults.changed else max(sides, CURTAIN_SHARE * width_m)
    if panel.host is not None:
        host = job.building.panel(panel.host)
        along = host.frame.flatten(host.outline)[:, 0]
        wall_m = float(along.max() - along.min())
        if width_m + more > wall_m + 1e-9:
            raise RangeError(
                f"product {product.id!r}: over {panel.id} the curtain is "
                f"{length_text(width_m + more)} wide with its sides, and its wall "
                f"{length_text(wall_m)}; allowed: no wider than the wall, so lower curtain-sides "
                "in [defaults]"
            )
    return more
