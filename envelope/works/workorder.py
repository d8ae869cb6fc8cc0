"""The order of the work for a plan: numbered steps by trade, each with what must hold at its end.

The order is the usual one of the trade (common practice, no source): rough-in, boards, primer
cured, masks, coats, floor goods, films and fabrics, bond, test, finish coats, final reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from envelope.building.job import Job, Plan
from envelope.pricing.products import Product
from envelope.works.bonding import BondedIsland, bonding_of
from envelope.works.takeoff import FaceQuantity, TakeOff, take_off

ELECTRICIAN = "electrician"
PAINTER = "painter"
INSTALLER = "installer"
DRYWALLER = "drywaller"
DESIGNER = "designer"

RING_MM = (3, 6)  # kept clear around boxes; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How people read what the steps speak of."""

    called: Callable[[str], str]  # a panel's id, as a name
    area: Callable[[float], str]  # square metres, in the measure of the job


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkStep:
    """One step of the work."""

    number: int
    trade: str
    what: str
    where: tuple[str, ...]  # panels
    quantity: str  # in words, "" where there is none
    wait: str  # what must pass before the next step, "" where nothing
    stop_until: str  # what must be seen before work goes on, "" where nothing
    caution: str = ""
    now_or_never: bool = False  # out of reach once the next trade has been


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draft:
    trade: str
    what: str
    where: tuple[str, ...] = ()
    quantity: str = ""
    wait: str = ""
    stop_until: str = ""
    caution: str = ""
    now_or_never: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkOrder:
    """Steps of a plan, with the take-off and the bonding that they rest on."""

    plan: str
    steps: tuple[WorkStep, ...]
    take_off: TakeOff
    bonding: tuple[BondedIsland, ...]

    @property
    def trades(self) -> tuple[str, ...]:
        """Trades in the order in which they first come."""
        return tuple(dict.fromkeys(step.trade for step in self.steps))


def work_order(job: Job, plan: Plan, words: Words) -> WorkOrder:
    """Steps of a plan in the order in which they can be done.

    Parameters
    ----------
    job : Job
    plan : Plan
    words : Words
        How faces and areas are written.

    Raises
    ------
    RangeError
        Where packages cannot cover what is needed.
    """
    found = take_off(job, plan)
    bonding = bonding_of(job, plan)
    drafts = [
        *_before(found, bonding),
        *_coating(job, found, bonding, words),
        *_goods(job, found, words),
        *_after(found, bonding, words),
    ]
    steps = tuple(
        WorkStep(
            number=number,
            trade=draft.trade,
            what=draft.what,
            where=draft.where,
            quantity=draft.quantity,
            wait=draft.wait,
            stop_until=draft.stop_until,
            caution=draft.caution,
            now_or_never=draft.now_or_never,
        )
        for number, draft in enumerate(drafts, 1)
    )
    return WorkOrder(plan=plan.id, steps=steps, take_off=found, bonding=bonding)


def _faces(found: TakeOff, treatment: str) -> tuple[FaceQuantity, ...]:
    return tuple(face for face in found.faces if face.treatment == treatment)


def _liquids(job: Job, treatment: str) -> tuple[Product, ...]:
    return tuple(
        sorted(
            (p for p in job.products if p.treatment == treatment and p.form == "liquid"),
            key=lambda each: each.id,
        )
    )


def _coated(job: Job, found: TakeOff) -> list[str]:
    """Treatments that are painted: those with a liquid, and sheets of which no product is known."""
    names = sorted({face.treatment for face in found.faces})
    bought = {product.treatment for product in job.products}
    painted = []
    for name in names:
        hosts = {face.kind for face in _faces(found, name)}
        sheet = job.treatments[name].kind == "sheet" and name not in bought
        if _liquids(job, name) or (sheet and hosts & {"wall", "ceiling", "reveal"}):
            painted.append(name)
    return painted


def _before(found: TakeOff, bonding: tuple[BondedIsland, ...]) -> Iterator[_Draft]:
    hosts = tuple(face.panel for face in found.faces if face.kind in ("wall", "ceiling"))
    bonds = tuple(each.bond.panel for each in bonding if each.bond is not None)
    if bonding:
        yield _Draft(
            trade=ELECTRICIAN,
            what="Rough-in: place boxes, mark cables on the plan, prepare each bond point and fit "
            "residual-current or ground-fault protection on the circuits behind the coating",
            where=tuple(dict.fromkeys(bonds)),
            stop_until="photo of every open wall with a tape in it, before it is closed",
            caution="Power off and proved dead; licensed electrician, local code.",
            now_or_never=True,
        )
    if hosts:
        yield _Draft(
            trade=DRYWALLER,
            what="Boards, joints and texture finished; nothing is coated on bare board or wood",
            where=hosts,
            wait="until joints and texture are dry, as their label says",
            stop_until="faces are even, dry and free of dust",
        )


def _quantity(found: TakeOff, product: Product, job: Job) -> str:
    line = next(
        each
        for each in found.bill.lines
        if each.kind == "material"
        and each.treatment == product.treatment
        and each.what == (product.title or product.id)
    )
    unit = {"litre": "l", "m": "m", "piece": "pc"}[line.unit]
    packs = ""
    if line.purchase is not None:
        packs = ", ".join(
            f"{count} × {pack.holds.normalize():f} {unit}"
            for count, pack in zip(line.purchase.counts, product.packages, strict=True)
            if count
        )
        packs = f" ({packs})"
    return f"{line.quantity:.1f} {unit}{packs}"


def _coating(
    job: Job, found: TakeOff, bonding: tuple[BondedIsland, ...], words: Words
) -> Iterator[_Draft]:
    for name in _coated(job, found):
        faces = _faces(found, name)
        where = tuple(face.panel for face in faces)
        area = sum(face.area_m2 for face in faces)
        liquids = _liquids(job, name)
        single = [each for each in liquids if each.coats == 1]
        own = [each for each in liquids if each.coats is None]
        below = [each for each in single if "finish" not in (each.title or each.id)]
        for product in below:
            yield _Draft(
                trade=PAINTER,
                what=f"{product.title or product.id} on every face that is coated",
                where=where,
                quantity=f"{words.area(area)}, {_quantity(found, product, job)}",
                wait="until cured, as its label says",
                stop_until="it does not come off on a wet finger",
            )
        low, high = RING_MM
        yield _Draft(
            trade=PAINTER,
            what=f"Mask openings, and a ring of {low} to {high} mm around every electrical box",
            where=where,
            caution="Coating in a box is live where a wire touches it: keep the ring clear.",
        )
        coats = faces[0].coats
        expected = [
            each.expected[0].resistance_ohm
            for each in bonding
            if each.expected and name in each.island.treatments
        ]
        reading = (
            f"at most {max(expected):.1f} Ω from the farthest corner to the bond point"
            if expected
            else "a resistance between neighbouring faces that does not grow"
        )
        yield _Draft(
            trade=PAINTER,
            what=f"{name}: {coats} {'coat' if coats == 1 else 'coats'}, from one batch, into every "
            "reveal and corner without a break",
            where=where,
            quantity="; ".join(
                [
                    words.area(area),
                    *(_quantity(found, product, job) for product in own),
                ]
            ),
            wait="between coats and after the last, as its label says",
            stop_until=f"no thin spot by eye against a lamp, and {reading}",
        )


def _goods(job: Job, found: TakeOff, words: Words) -> Iterator[_Draft]:
    order = ("roll", "film", "piece", "curtain")
    goods = [each for each in job.products if each.form != "liquid"]
    for product in sorted(goods, key=lambda each: (order.index(each.form), each.id)):
        faces = _faces(found, product.treatment)
        if not faces:
            continue
        where = tuple(face.panel for face in faces)
        floor = any(face.kind == "floor" for face in faces)
        how = {
            "roll": "cut to the plan, laid with its overlaps, turned up at the walls and taped",
            "film": "cut wet, trimmed to the gasket, edges sealed",
            "curtain": "sewn, hung to overlap the wall on both sides and at the sill",
            "piece": "fitted",
        }
        caution = {
            "film": "Film can crack glass under thermal stress: ask the glazing's maker. Keep "
            "egress windows opening.",
            "curtain": "Keep egress windows reachable; check the cloth's fire class.",
            "roll": "Heated floors need a specialist.",
        }
        yield _Draft(
            trade=INSTALLER,
            what=f"{product.title or product.id}: {how[product.form]}",
            where=where,
            quantity=_quantity(found, product, job),
            stop_until="laps read as one conductor" if product.form == "roll" else "",
            caution=caution.get(product.form, ""),
            now_or_never=floor,
        )
    bought = {product.treatment for product in job.products}
    painted = set(_coated(job, found))
    for name in sorted({face.treatment for face in found.faces} - bought - painted):
        faces = _faces(found, name)
        yield _Draft(
            trade=INSTALLER,
            what=f"{name}: fit as its maker says",
            where=tuple(face.panel for face in faces),
            quantity=words.area(sum(face.area_m2 for face in faces)),
            now_or_never=any(face.kind == "floor" for face in faces),
        )


def _after(found: TakeOff, bonding: tuple[BondedIsland, ...], words: Words) -> Iterator[_Draft]:
    for each in bonding:
        island = each.island
        if each.bond is None and island.leaf:
            continue
        expected = each.expected[0] if each.expected else None
        place = "a place still to be decided" if each.bond is None else each.bond.beside
        test = (
            f"{expected.resistance_ohm:.1f} Ω or less from the "
            f"{words.called(expected.panel)}, {expected.place}"
            if expected is not None
            else "a steady low resistance from the farthest face"
        )
        yield _Draft(
            trade=ELECTRICIAN,
            what=f"Bond the {words.called(island.name)} and what is connected with it "
            f"at {place}, at one point; first test that no box, stud, pipe or rail touches the "
            "coating",
            where=() if each.bond is None else (each.bond.panel,),
            stop_until=f"earth verified, then {test}",
            caution="Licensed electrician, local code; power off and proved dead; never to "
            "neutral, pipes or a separate rod.",
        )
    if any(face.kind in ("wall", "ceiling") for face in found.faces):
        yield _Draft(
            trade=PAINTER,
            what="Finish coats over the coating; a dark coating takes more of them",
            where=tuple(f.panel for f in found.faces if f.kind in ("wall", "ceiling")),
            wait="until dry, as their label says",
        )
    yield _Draft(
        trade=DESIGNER,
        what="Final reading at the bed: same places, same state, same meter as before",
        stop_until="mean of nine spots at or below what was promised; phone and linked alarms "
        "tried (an ordinary call, never an emergency number)",
    )
