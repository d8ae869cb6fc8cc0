"""An offer with options: what is done, what it brings with its range, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from envelope.building.job import Job, Plan
from envelope.errors import EnvelopeError
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.differences import Difference, difference
from envelope.exposure.results import PlanResult, ReceiverResult
from envelope.works.takeoff import TakeOff, take_off

MAX_OPTIONS = 3

NOT_INCLUDED = (
    "repairs of boards, joints and texture beyond what is named",
    "work on the electrical system other than what is named; a licensed electrician does it",
    "furniture moved, floor coverings lifted and laid again",
    "sources that appear or grow stronger after the survey",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Treated:
    """One treatment of an option."""

    treatment: str
    faces: tuple[str, ...]
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OfferOption:
    """One plan on offer."""

    plan: Plan
    title: str
    treated: tuple[Treated, ...]
    take_off: TakeOff
    level_w_m2: float
    by_source_w_m2: Mapping[str, float]  # what each source brings of it
    low_w_m2: float  # 10–90 % band
    high_w_m2: float
    against_today: Difference
    labour_h: tuple[tuple[str, float], ...]  # by trade
    workday_h: float

    @property
    def accepted_at_w_m2(self) -> float | None:
        """The mean of the spots is to be at or below this: the upper end of the band. [W/m²]

        None where the option brings nothing for the better that can be told: nothing is promised.
        """
        return self.high_w_m2 if self.against_today.low_db > 0.0 else None

    @property
    def worse(self) -> bool:
        """Whether it makes the level worse, as far as that can be told: nobody is to choose it."""
        return self.against_today.can_be_told and self.against_today.below_db < 0.0

    @property
    def days(self) -> int:
        """Days on site, trades one after the other; 0 where no labour is stated."""
        return sum(ceil(hours / self.workday_h - 1e-9) for _, hours in self.labour_h)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Offer:
    """Options side by side, with what each is compared with."""

    receiver: str
    today_w_m2: float
    today_low_w_m2: float
    today_high_w_m2: float
    options: tuple[OfferOption, ...]
    beside: tuple[tuple[str, str, Difference], ...]  # pairs of options: first, second, difference
    rests_on: tuple[tuple[str, str], ...]  # figures, and what is taken for each


def offer_of(job: Job, analysis: Analysis, plans: Sequence[Plan], receiver: str) -> Offer:
    """Make an offer of up to three plans.

    Parameters
    ----------
    job : Job
        With prices.
    analysis : Analysis
        Of today and of the plans, with bands.
    plans : sequence of Plan
        One to three that treat something.
    receiver : str
        Id of the receiver that the promise is about.

    Raises
    ------
    EnvelopeError
        Where there are too many plans, or one treats nothing.
    """
    if not 1 <= len(plans) <= MAX_OPTIONS:
        raise EnvelopeError(f"{len(plans)} plans: an offer has 1 to {MAX_OPTIONS} options")
    for plan in plans:
        if not plan.treatments:
            raise EnvelopeError(f"plan {plan.id!r} treats nothing: it cannot be offered")
    results = {result.plan: result for result in analysis.plans}
    today = results["as-built"]
    at_today = _receiver(today, receiver)
    options = tuple(_option(job, plan, results[plan.id], today, receiver) for plan in plans)
    return Offer(
        receiver=receiver,
        today_w_m2=at_today.level_w_m2,
        today_low_w_m2=_known(at_today.low_w_m2),
        today_high_w_m2=_known(at_today.high_w_m2),
        options=options,
        beside=tuple(
            (one.id, other.id, _between(results[one.id], results[other.id], today, receiver))
            for place, one in enumerate(plans)
            for other in plans[place + 1 :]
        ),
        rests_on=tuple((each.words, each.taken) for each in analysis.rests),
    )


def _receiver(result: PlanResult, receiver: str) -> ReceiverResult:
    return next(each for each in result.receivers if each.id == receiver)


def _known(value: float | None) -> float:
    assert value is not None, "the analysis was made without bands"
    return value


def _between(one: PlanResult, other: PlanResult, today: PlanResult, receiver: str) -> Difference:
    assert one.draws is not None
    assert other.draws is not None
    return difference(one.draws, other.draws, receiver, as_built=today.draws)


def _option(
    job: Job, plan: Plan, result: PlanResult, today: PlanResult, receiver: str
) -> OfferOption:
    found = take_off(job, plan)
    at = _receiver(result, receiver)
    names = sorted({face.treatment for face in found.faces})
    hours: dict[str, float] = {}
    for line in found.bill.lines:
        if line.kind == "labour":
            hours[line.what] = hours.get(line.what, 0.0) + line.quantity
    return OfferOption(
        plan=plan,
        title=plan.title or plan.id,
        treated=tuple(
            Treated(
                treatment=name,
                faces=tuple(face.panel for face in found.faces if face.treatment == name),
                area_m2=sum(face.area_m2 for face in found.faces if face.treatment == name),
            )
            for name in names
        ),
        take_off=found,
        level_w_m2=at.level_w_m2,
        by_source_w_m2={each.id: each.level_w_m2 for each in at.sources},
        low_w_m2=_known(at.low_w_m2),
        high_w_m2=_known(at.high_w_m2),
        against_today=_between(today, result, today, receiver),
        labour_h=tuple(sorted(hours.items())),
        workday_h=job.defaults.value("workday"),
    )
