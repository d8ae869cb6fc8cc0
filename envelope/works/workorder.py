"""The order of the work for a plan: numbered steps by trade, each with what must hold at its end.

The order is the usual one of the trade (common practice, no source): rough-in, boards, primer
cured, masks, coats, floor goods, films and fabrics, bond, test, finish coats, final reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass

from envelope.building.job import NOW_OR_NEVER, Job, Plan
from envelope.pricing.packages import Purchase
from envelope.pricing.products import Product, Stage
from envelope.works.bonding import BondedIsland, bonding_of
from envelope.works.takeoff import FaceQuantity, TakeOff, take_off

ELECTRICIAN = "electrician"
PAINTER = "painter"
INSTALLER = "installer"
DRYWALLER = "drywaller"
DESIGNER = "designer"
HOUSEHOLD = "household"

FINISHED = "finished"  # what a job says of a face on which nothing more is built


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How people read what the steps speak of."""

    called: Callable[[str], str]  # a panel's id, as a name
    besides: Callable[[Plan], tuple[str, ...]]  # what a plan does about sources and beds
    treatment: Callable[[str], str]  # a treatment's id, as a name
    amount: Callable[[float, str], str]  # a quantity in its unit, in the measure of the job
    packages: Callable[[Product, Purchase | None], str]
    resistance: Callable[[float], str]  # ohms
    ring: Callable[[float, float], str]  # from and to what width, in metres


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What a step says before it has its number."""

    trade: str
    what: str
    where: tuple[str, ...] = ()  # panels
    quantity: str = ""  # in words, "" where there is none
    wait: str = ""  # what must pass before the next step, "" where nothing
    stop_until: str = ""  # what must be seen before work goes on, "" where nothing
    caution: str = ""
    now_or_never: bool = False  # out of reach once the next trade has been


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkStep(Draft):
    """One step of the work."""

    number: int


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

    def of_trade(self, trade: str) -> tuple[WorkStep, ...]:
        """Steps of one trade, with their numbers in the whole."""
        return tuple(step for step in self.steps if step.trade == trade)

    @property
    def now_or_never(self) -> tuple[WorkStep, ...]:
        """Steps that are out of reach later."""
        return tuple(step for step in self.steps if step.now_or_never)


def work_order(
    job: Job,
    plan: Plan,
    words: Words,
    *,
    found: TakeOff | None = None,
    bonding: tuple[BondedIsland, ...] | None = None,
) -> WorkOrder:
    """Steps of a plan in the order in which they can be done.

    Parameters
    ----------
    job : Job
    plan : Plan
    words : Words
        How faces, areas and packages are written.
    found : TakeOff, optional
        Of the plan, where it has been worked out.
    bonding : tuple of BondedIsland, optional
        Of the plan, likewise.

    Raises
    ------
    RangeError
        Where packages cannot cover what is needed.
    """
    found = take_off(job, plan) if found is None else found
    bonding = bonding_of(job, plan) if bonding is None else bonding
    order = _Order(job, found, bonding, words)
    drafts = [*order.before(), *order.coating(), *order.goods(), *order.after()]
    agreed = [
        Draft(trade=HOUSEHOLD, what=f"before the last reading: {words}")
        for words in order.words.besides(plan)
    ]
    drafts[-1:-1] = agreed
    steps = tuple(
        WorkStep(number=number, **asdict(draft)) for number, draft in enumerate(drafts, 1)
    )
    return WorkOrder(plan=plan.id, steps=steps, take_off=found, bonding=bonding)


class _Order:
    """Drafts of the steps, part by part."""

    def __init__(
        self, job: Job, found: TakeOff, bonding: tuple[BondedIsland, ...], words: Words
    ) -> None:
        self.job, self.found, self.bonding, self.words = job, found, bonding, words
        self.bought = {product.treatment for product in job.products}
        self.painted = self._painted()

    def _faces(self, treatment: str) -> tuple[FaceQuantity, ...]:
        return tuple(face for face in self.found.faces if face.treatment == treatment)

    def _liquids(self, treatment: str, stage: Stage) -> tuple[Product, ...]:
        own = (
            product
            for product in self.job.products
            if product.treatment == treatment
            and product.form == "liquid"
            and product.stage == stage
        )
        return tuple(sorted(own, key=lambda each: each.id))

    def _painted(self) -> list[str]:
        """Treatments with a liquid, and sheets on walls of which no product is known."""
        painted = []
        for name in sorted({face.treatment for face in self.found.faces}):
            hosts = {face.kind for face in self._faces(name)}
            sheet = self.job.treatments[name].kind == "sheet" and name not in self.bought
            if self._liquids(name, "coating") or (sheet and hosts & {"wall", "ceiling", "reveal"}):
                painted.append(name)
        return painted

    def _quantity(self, product: Product) -> str:
        line = next(
            each
            for each in self.found.bill.lines
            if each.kind == "material" and each.product == product.id
        )
        packs = self.words.packages(product, line.purchase)
        amount = self.words.amount(line.quantity, line.unit)
        return f"{_name(product)} {amount}" + (f" ({packs})" if packs else "")

    def _area(self, faces: tuple[FaceQuantity, ...]) -> str:
        return self.words.amount(sum(face.area_m2 for face in faces), "m2")

    def _never(self, faces: tuple[FaceQuantity, ...]) -> bool:
        """Whether faces are out of reach later: floors, and what the job says so of."""
        said = self.job.work
        return any(face.kind == "floor" or said.get(face.panel) == NOW_OR_NEVER for face in faces)

    def before(self) -> Iterator[Draft]:
        """What is done before anything is coated."""
        hosts = _panels(
            tuple(
                face
                for face in self.found.faces
                if face.kind in ("wall", "ceiling") and self.job.work.get(face.panel) != FINISHED
            )
        )
        bonds = tuple(
            dict.fromkeys(each.bond.panel for each in self.bonding if each.bond is not None)
        )
        if self.bonding:
            yield Draft(
                trade=ELECTRICIAN,
                what="Rough-in: place boxes, mark cables on the drawings, prepare each bond point, "
                "and fit residual-current or ground-fault protection on the circuits behind the "
                "coating",
                where=bonds,
                stop_until="a photo of every open wall, with a tape in it, before it is closed",
                caution="Power off and proved dead; licensed electrician, local code.",
                now_or_never=True,
            )
        if hosts:
            yield Draft(
                trade=DRYWALLER,
                what="Finish boards, joints and texture; nothing is coated on bare board or wood",
                where=hosts,
                wait="until joints and texture are dry, as their label says",
                stop_until="faces are even, dry and free of dust",
            )

    def coating(self) -> Iterator[Draft]:
        """Primer, masks and coats of everything that is painted."""
        for name in self.painted:
            faces = self._faces(name)
            where = _panels(faces)
            primers = self._liquids(name, "primer")
            yield Draft(
                trade=PAINTER,
                what=f"Prime every face that gets {self.words.treatment(name)}: bare board and "
                "bare wood drink coating",
                where=where,
                quantity="; ".join(
                    [self._area(faces), *(self._quantity(each) for each in primers)]
                ),
                wait="until cured, as its label says",
                stop_until="nothing comes off on a wet finger",
            )
            low_m, high_m = (self.job.defaults.value(f"ring-{end}") for end in ("from", "to"))
            yield Draft(
                trade=PAINTER,
                what=f"Mask openings, and a ring of {self.words.ring(low_m, high_m)} around every "
                "electrical box",
                where=where,
                stop_until="a photo of every ring",
                caution="Coating in a box is live where a wire touches it: keep the ring clear.",
            )
            yield self._coats(name, faces, where)

    def _coats(self, name: str, faces: tuple[FaceQuantity, ...], where: tuple[str, ...]) -> Draft:
        coats = faces[0].coats
        expected = [
            each.expected[0].resistance_ohm
            for each in self.bonding
            if each.expected and name in each.island.treatments
        ]
        reading = (
            f"at most {self.words.resistance(max(expected))} from the farthest corner to the "
            "bond point"
            if expected
            else "a resistance between neighbouring faces that does not grow"
        )
        own = self._liquids(name, "coating")
        return Draft(
            trade=PAINTER,
            what=f"{self.words.treatment(name).capitalize()}: {coats} "
            f"{'coat' if coats == 1 else 'coats'}, from one batch, into every reveal and corner "
            "without a break",
            where=where,
            quantity="; ".join([self._area(faces), *(self._quantity(each) for each in own)]),
            wait="between coats and after the last, as its label says",
            stop_until=f"no thin spot by eye against a lamp, and {reading}",
            now_or_never=any(self.job.work.get(panel) == NOW_OR_NEVER for panel in where),
        )

    def goods(self) -> Iterator[Draft]:
        """Everything that is not painted: what is bought by the roll or piece, then the rest."""
        order = tuple(_HOW)
        goods = [each for each in self.job.products if each.form != "liquid"]
        for product in sorted(goods, key=lambda each: (order.index(each.form), each.id)):
            faces = self._faces(product.treatment)
            if faces and product.per_litre_of is None:
                yield Draft(
                    trade=INSTALLER,
                    what=f"{_name(product).capitalize()}: {_HOW[product.form]}",
                    where=_panels(faces),
                    quantity=self._quantity(product),
                    stop_until="every lap reads as one conductor" if product.form == "roll" else "",
                    caution=_CAUTION.get(product.form, ""),
                    now_or_never=self._never(faces),
                )
        left = {face.treatment for face in self.found.faces} - self.bought - set(self.painted)
        for name in sorted(left):
            faces = self._faces(name)
            yield Draft(
                trade=INSTALLER,
                what=f"{self.words.treatment(name).capitalize()}: fit as its maker says",
                where=_panels(faces),
                quantity=self._area(faces),
                now_or_never=self._never(faces),
            )

    def after(self) -> Iterator[Draft]:
        """Bonds with their tests, finish coats, the final reading."""
        for each in self.bonding:
            if each.bond is not None or not each.island.leaf:
                yield self._bond(each)
        leaves = tuple(
            each.island.name for each in self.bonding if each.bond is None and each.island.leaf
        )
        if leaves:
            yield Draft(
                trade=ELECTRICIAN,
                what="Settle each coating or film on the leaf of a window or door: it floats "
                "unless it is bridged to the bonded coating beside it, with a lead that bends as "
                "the leaf opens, or bonded by itself",
                where=leaves,
                stop_until="the bonding plan says of each which it is; one that floats is clear of "
                "cables",
                caution="Licensed electrician, local code; power off and proved dead; earth "
                "nothing there that hands touch unless the electrician says so.",
            )
        painted = tuple(
            face
            for face in self.found.faces
            if face.treatment in self.painted and face.kind in _FINISHED
        )
        if painted:
            finishes = [each for name in self.painted for each in self._liquids(name, "finish")]
            yield Draft(
                trade=PAINTER,
                what="Finish coats over the coating, after the bond has been tested; a dark "
                "coating takes more of them",
                where=_panels(painted),
                quantity="; ".join(self._quantity(product) for product in finishes),
                wait="until dry, as their label says",
            )
        spots = self.job.defaults.count("spots")
        yield Draft(
            trade=DESIGNER,
            what="Final reading at the bed: same places, same state, same meter as before",
            stop_until=f"the mean of {spots} spots is at or below what was promised; phone and "
            "linked alarms tried (an ordinary call, never an emergency number)",
        )

    def _bond(self, each: BondedIsland) -> Draft:
        expected = each.expected[0] if each.expected else None
        test = (
            f"{self.words.resistance(expected.resistance_ohm)} or less from the "
            f"{self.words.called(expected.panel)}, {expected.place}"
            if expected is not None
            else "a steady low resistance from the farthest face"
        )
        place = "a place still to be decided"
        if each.bond is not None:
            place = beside_words(self.job, each, self.words.called)
        return Draft(
            trade=ELECTRICIAN,
            what=f"Bond the {self.words.called(each.island.name)} and what is connected with it, "
            f"at one point: {place}. First test that no box, stud, pipe or rail touches the "
            "coating",
            where=() if each.bond is None else (each.bond.panel,),
            stop_until=f"the earth is verified, then {test}",
            caution="Licensed electrician, local code; power off and proved dead; never to "
            "neutral, pipes or a separate rod.",
        )


_FINISHED = ("wall", "ceiling", "reveal", "door", "hatch")  # kinds that stay in sight
_HOW = {
    "roll": "cut to the plan, laid with its overlaps, turned up at the walls and taped",
    "film": "cut wet, trimmed to the gasket, edges sealed",
    "piece": "fitted",
    "curtain": "sewn, hung to overlap the wall on both sides and at the sill",
}
_CAUTION = {
    "film": "Film can crack glass under thermal stress: ask the glazing's maker. Keep egress "
    "windows opening.",
    "curtain": "Keep egress windows reachable; check the cloth's fire class.",
    "roll": "Heated floors need a specialist.",
}


def beside_words(job: Job, each: BondedIsland, called: Callable[[str], str]) -> str:
    """Where an island is bonded, in words: at an outlet, at a box, or at a place of its own."""
    assert each.bond is not None
    wall = called(each.bond.panel)
    if each.bond.beside in job.building.panel_index:
        return f"at the {called(job.building.panel(each.bond.beside).id)}"
    if each.bond.stated:
        return f"on the {wall}, where the drawing shows it"
    return f"on the {wall}, beside outlet {each.bond.beside}"


def _name(product: Product) -> str:
    return product.title or product.id


def _panels(faces: tuple[FaceQuantity, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(face.panel for face in faces))
