"""What may be decided in a job: units as the trade buys them, each with the treatments on offer.

On offer for a kind of face is what some plan of the job puts on that kind, and what the job says
may go on it. What the job says of work on a face holds: bare and finished ones stay as they are.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from envelope.building.conduction import is_conductive
from envelope.building.job import Job, Plan
from envelope.building.model import OPENING_KINDS, Panel
from envelope.building.rooms.specs import FRAME
from envelope.plans.purchases import MAX_SETUPS, OptionCost, Purchases, cents_of
from envelope.plans.units import Option, Unit
from envelope.pricing.bill import Treated, bill_of, quantity_of
from envelope.pricing.packages import Package, cheapest
from envelope.pricing.products import Product
from envelope.works.takeoff import face_quantities, treated_by

LEAVE = "leave as it is"

# Faces that are decided together in a room. Walls are decided one by one, and openings.
_TOGETHER = {"ceiling": "ceiling", "floor": "floor", "reveal": "reveals"}

SMALL_WALL_M2 = 1.0  # smaller walls of a room are decided together; common practice, no source
RINGS, SEAMS = "rings-round-boxes", "seams"  # of a room, and of a window or a door

_PART = re.compile(r"-\d+\Z")  # of a wall that the ceiling leaves in parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """Units of a job, what their options cost, and what is not counted."""

    units: tuple[Unit, ...]
    purchases: Purchases
    areas_m2: tuple[tuple[float, ...], ...]  # of each option of each unit
    priced: bool  # False: cost is counted as whole cents a hundredth of a square metre
    unpriced: tuple[str, ...]  # why
    nothing_offered: tuple[str, ...]  # kinds of face that no plan treats
    kept: tuple[str, ...]  # panels that stay as they are, as the job or the caller says
    goes_nowhere: tuple[str, ...]  # treatments that may go on such panels only


def rooms_of(job: Job) -> tuple[str, ...]:
    """Spaces that are decided about: those with receivers, and those that some plan treats."""
    named = {receiver.space for receiver in job.receivers}
    for plan in job.plans:
        named |= {job.building.panel(panel).space for panel in plan.treatments}
    return tuple(space.id for space in job.building.spaces if space.id in named)


def face_kind(panel: Panel) -> str:
    """Kind of face that a treatment is offered for: a window's frame is no slot round a box."""
    return FRAME if panel.id.rpartition("/")[2] == FRAME else panel.kind


def open_frames(job: Job, plan: Plan) -> tuple[str, ...]:
    """Frames that a plan leaves open round glass that it treats."""
    return tuple(
        panel.id
        for panel in job.building.panels
        if face_kind(panel) == FRAME
        and not plan.treatments.get(panel.id)
        and plan.treatments.get(panel.opening or "")
    )


def offered(job: Job) -> dict[str, tuple[tuple[str, ...], ...]]:
    """Treatments that plans of the job put on each kind of face, in an order of their names.

    So is every treatment of which the job says on which faces it may go.
    """
    found: dict[str, set[tuple[str, ...]]] = {}
    for plan in job.plans:
        for panel, names in plan.treatments.items():
            if names:
                found.setdefault(face_kind(job.building.panel(panel)), set()).add(tuple(names))
    for name, panels in job.only_on.items():
        for panel in panels:
            found.setdefault(face_kind(job.building.panel(panel)), set()).add((name,))
    return {kind: tuple(sorted(each)) for kind, each in sorted(found.items())}


def candidates_of(
    job: Job,
    *,
    base: Plan,
    keep: Collection[str] = (),
    sources: Sequence[Unit] = (),
) -> Candidates:
    """Units of decision of a job and what they cost.

    Parameters
    ----------
    job : Job
        Whose plans say what is on offer.
    base : Plan
        What holds today.
    keep : collection of str
        Panel ids that stay as they are.
    sources : sequence of Unit
        What is decided about sources.
    """
    on_offer = offered(job)
    stay = {*keep, *job.kept}
    units = [*_units(job, base, on_offer, stay), *sources]
    kinds = {
        panel.kind
        for space in rooms_of(job)
        for panel in job.building.space(space).panels
        if panel.kind not in ("seam", "box", "light", "open")
    }
    costs, setups, packages, unpriced = _costs(job, units)
    priced = not unpriced
    if not priced:
        areas = [[_area(job, option) for option in unit.options] for unit in units]
        costs = [[OptionCost(own_cents=round(area * 100)) for area in each] for each in areas]
        setups, packages = {}, {}
    return Candidates(
        units=tuple(units),
        purchases=Purchases.of(costs, setups=setups, packages=packages),
        areas_m2=tuple(tuple(_area(job, option) for option in unit.options) for unit in units),
        priced=priced,
        unpriced=unpriced,
        nothing_offered=tuple(sorted(kinds - set(on_offer))),
        kept=tuple(panel.id for panel in job.building.panels if panel.id in stay),
        goes_nowhere=tuple(
            sorted(name for name, panels in job.only_on.items() if not set(panels) - stay)
        ),
    )


def panels_on_offer(job: Job, *, base: Plan, keep: Collection[str] = ()) -> frozenset[str]:
    """Panels of all units of a job, whatever is done about sources.

    Parameters
    ----------
    job, base, keep
        As `candidates_of` takes them.
    """
    units = _units(job, base, offered(job), {*keep, *job.kept})
    return frozenset(panel for unit in units for panel in unit.panels)


def _area(job: Job, option: Option) -> float:
    return sum(
        job.building.panel(panel).area_m2 for panel, names in option.treatments.items() if names
    )


def _units(
    job: Job,
    base: Plan,
    on_offer: dict[str, tuple[tuple[str, ...], ...]],
    keep: Collection[str],
) -> Iterator[Unit]:
    for room in rooms_of(job):
        together: dict[str, list[Panel]] = {}
        for panel in job.building.space(room).panels:
            if panel.id in keep or face_kind(panel) not in on_offer:
                continue
            together.setdefault(_unit_id(job, panel), []).append(panel)
        for name, panels in together.items():
            group = f"{room}/walls" if panels[0].kind == "wall" else ""
            unit = _unit(job, name, panels, base, on_offer[face_kind(panels[0])], group)
            if len(unit.options) > 1:
                yield unit


def _unit_id(job: Job, panel: Panel) -> str:
    """What a face is decided with; parts of one wall share a name."""
    if panel.kind in _TOGETHER:
        return f"{panel.space}/{_TOGETHER[panel.kind]}"
    if face_kind(panel) == FRAME:
        return panel.id
    if panel.kind == "seam":
        opening = panel.id.rpartition("/")[0]
        small = opening and job.building.panel(opening).kind in ("box", "light")
        return f"{panel.space}/{RINGS}" if small else f"{opening or panel.id}/{SEAMS}"
    if panel.kind != "wall":
        return panel.id
    if panel.area_m2 < SMALL_WALL_M2:
        return f"{panel.space}/small-walls"
    shared = _PART.sub("", panel.id)
    return shared if shared in panel.aliases else panel.id


def _unit(
    job: Job,
    name: str,
    panels: list[Panel],
    base: Plan,
    on_offer: tuple[tuple[str, ...], ...],
    group: str,
) -> Unit:
    today = {panel.id: base.treatments.get(panel.id, ()) for panel in panels}
    options = [Option(label=LEAVE, treatments=today)]
    for names in on_offer:
        where = [panel.id for panel in panels if all(job.may_go(each, panel.id) for each in names)]
        if any(today[panel] != names for panel in where):
            treated = {**today, **dict.fromkeys(where, names)}
            options.append(Option(label=" and ".join(names), treatments=treated))
    return Unit(id=name, title=name, options=tuple(options), group=group)


def _costs(
    job: Job, units: list[Unit]
) -> tuple[list[list[OptionCost]], dict[str, int], dict[str, tuple[Package, ...]], tuple[str, ...]]:
    """Costs of every option; what is used of products, whose packages all units share."""
    by_treatment: dict[str, list[Product]] = {}
    for product in sorted(job.products, key=lambda each: each.id):
        by_treatment.setdefault(product.treatment, []).append(product)
    prices = {name: each.price for name, each in job.treatments.items() if each.price is not None}
    unpriced: set[str] = set()
    setups: dict[str, int] = {}
    packages: dict[str, tuple[Package, ...]] = {}
    costs = []
    for unit in units:
        row = []
        for number, option in enumerate(unit.options):
            own = option.change.cost if number and option.change is not None else Decimal(0)
            needs: list[str] = []
            amounts: list[tuple[str, float]] = []
            for name, treated in _treated(job, option).items() if number else ():
                products = by_treatment.get(name, [])
                if not products:
                    bill = bill_of({name: treated}, products=[], prices=prices, costs=job.costs)
                    own += bill.net
                    unpriced |= set(bill.unpriced)
                litres = {
                    each.id: quantity_of(each, treated)
                    for each in products
                    if each.per_litre_of is None
                }
                for each in products:
                    quantity = litres.get(each.id)
                    if quantity is None:
                        quantity = litres[each.per_litre_of or ""] * (each.dose or 0.0)
                    if each.packages:
                        packages[each.id] = each.packages
                        amounts.append((each.id, quantity))
                    else:
                        unpriced.add(f"{each.title or each.id}: no packages with prices")
                    needs += _bonds(job, each, option, setups)
                    if each.setup:
                        setups[each.id] = cents_of(each.setup)
                        needs.append(each.id)
                    own += _labour(job, each, treated, unpriced)
            row.append(
                OptionCost(own_cents=cents_of(own), setups=tuple(needs), amounts=tuple(amounts))
            )
        costs.append(row)
    return costs, setups, packages, tuple(sorted(unpriced))


def _labour(job: Job, product: Product, treated: Treated, unpriced: set[str]) -> Decimal:
    if not product.labour_h_m2:
        return Decimal(0)
    rate = job.costs.rates.get(product.trade)
    if rate is None:
        unpriced.add(f"{product.trade}: no hourly rate")
        return Decimal(0)
    return rate * Decimal(repr(round(product.labour_h_m2 * treated.area_m2, 6)))


def _bonds(job: Job, product: Product, option: Option, setups: dict[str, int]) -> list[str]:
    """Set-ups that stand for what is bought per bond: one in each room with such a coating.

    The search needs a cost that never falls when something is added, and the number of bonds
    does where a coating joins two others. What steps cost is counted by the take-off in the end.
    """
    if product.form != "piece" or product.per != "bond" or not product.packages:
        return []
    if not is_conductive(job.treatments[product.treatment]):
        return []
    rooms = {
        job.building.panel(panel).space
        for panel, names in option.treatments.items()
        if product.treatment in names and job.building.panel(panel).kind not in OPENING_KINDS
    }
    cents = cents_of(cheapest(1.0 + product.spare_share, product.packages).price)
    found = [f"bond: {product.id}: {room}" for room in sorted(rooms)]
    found = [name for name in found if name in setups or len(setups) < MAX_SETUPS]
    setups.update(dict.fromkeys(found, cents))
    return found


def _treated(job: Job, option: Option) -> dict[str, Treated]:
    return treated_by(
        job, face_quantities(job, Plan(id="option", treatments=option.treatments)), islands=()
    )


def is_opening(job: Job, unit: Unit) -> bool:
    """Whether a unit is a window, a door or the like."""
    return all(job.building.panel(panel).kind in OPENING_KINDS for panel in unit.panels)
