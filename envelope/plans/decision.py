"""The answer to "what first?": free measures, steps, where to stop, what not to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from envelope.building.job import Plan
from envelope.errors import EnvelopeError
from envelope.exposure.differences import Difference
from envelope.exposure.rests import Rest
from envelope.plans.bed import BedPlan
from envelope.plans.candidates import Candidates
from envelope.plans.sequence import Chain
from envelope.plans.source_changes import SourceChange
from envelope.plans.sure import Spared

if TYPE_CHECKING:
    from envelope.plans.search import Front  # which loads what searches

BETTER_ODDS = 0.9  # from which a step is said to be better; common practice, no source
MIN_GAIN_DB = 0.5  # a step that brings less is not worth a visit; common practice, no source


class SmallBudgetError(EnvelopeError):
    """A budget that buys nothing that helps.

    Parameters
    ----------
    budget_cents : int
    money : str
        Its currency.
    unit, label : str
        Of the cheapest measure that helps.
    cents : int
        What that costs.
    """

    def __init__(self, *, budget_cents: int, money: str, unit: str, label: str, cents: int) -> None:
        self.budget_cents, self.money, self.cents = budget_cents, money, cents
        self.unit, self.label = unit, label
        super().__init__(self.said(f"{unit}: {label}"))

    def said(self, measure: str) -> str:
        """The message, with what the measure is called."""
        return (
            f"a budget of {self.budget_cents / 100:.2f} {self.money} buys nothing that helps: the "
            f"cheapest useful measure is {measure}, for {self.cents / 100:.2f} {self.money}"
        )


class NothingOnOfferError(EnvelopeError):
    """No face may be treated and nothing done about a source."""

    def __init__(self, *, kept: Sequence[str], goes_nowhere: Sequence[str]) -> None:
        self.kept, self.goes_nowhere = tuple(kept), tuple(goes_nowhere)
        super().__init__(self.said(kept=self.kept, goes_nowhere=self.goes_nowhere))

    def said(self, *, kept: Sequence[str], goes_nowhere: Sequence[str]) -> str:
        """The message, with what faces that stay and treatments that go nowhere are called."""
        said = (
            "nothing is on offer: a treatment is, for the kinds of face on which some plan of the "
            "job puts it, and for those that its only-on names"
        )
        if goes_nowhere:
            return f"{said}; {', '.join(goes_nowhere)} may go only on faces that stay as they are"
        if kept:
            faces = (
                "1 face stays as it is,"
                if len(kept) == 1
                else (f"{len(kept)} faces stay as they are, such as")
            )
            return f"{said}; {faces} {kept[0]}"
        return said


def is_worth_doing(gain: Difference) -> bool:
    """Whether a gain can be told, and is enough to be worth doing.

    Examples
    --------
    >>> is_worth_doing(Difference(below_db=2.0, low_db=0.4, high_db=3.0, odds=0.95))
    True
    >>> is_worth_doing(Difference(below_db=2.0, low_db=-0.4, high_db=3.0, odds=0.85))
    False
    """
    return gain.odds >= BETTER_ODDS and gain.below_db >= MIN_GAIN_DB


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a step does to one unit."""

    unit: str
    label: str
    panels: tuple[str, ...]
    area_m2: float
    was: str  # label of what was there before; "" where nothing was
    now_or_never: bool = False  # some of it is out of reach later
    source: SourceChange | None = None  # what is done about a source; None where a face is treated
    group: str = ""  # such as a room's walls, where the unit is one of them
    group_units: int = 1  # units of the group
    group_done: int = 1  # those of them that have something on after the step


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """The best other thing to do next for the money of a step."""

    changes: tuple[Change, ...]
    level_w_m2: float  # at the worst receiver
    odds: float  # that the step is the better of the two


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """One step of the sequence."""

    changes: tuple[Change, ...]
    plan: Plan  # everything up to and with this step
    cents: int  # of this step
    total_cents: int
    levels_w_m2: tuple[tuple[str, float], ...]  # at each receiver that counts, the worst first
    gain_at: str  # the receiver that was worst before the step: its gain counts
    gain: Difference  # against the plan before, at that receiver
    so_far: Difference  # against today, at the receiver that was worst then
    db_per_hundred: float | None  # of money; None where it costs nothing or nothing is priced
    target_odds: float | None = None  # that the target is reached; None without one
    sources: tuple[SourceChange, ...] = ()  # all that is done about sources, up to this step
    rival: Rival | None = None  # what may as well come next; None where nothing comes near

    @property
    def level_w_m2(self) -> float:
        """At the worst receiver. [W/m²]"""
        return self.levels_w_m2[0][1]

    @property
    def is_better(self) -> bool:
        """Whether it brings something that can be told, and enough to be worth doing."""
        return is_worth_doing(self.gain)


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeMeasure:
    """What one thing done about a source changes by itself, today."""

    change: SourceChange
    level_w_m2: float  # at the receiver, with it
    gain: Difference
    counted: bool  # whether the steps count on it

    @property
    def source(self) -> str:
        """The device."""
        return self.change.device


@dataclass(frozen=True, slots=True, kw_only=True)
class Worse:
    """A measure that by itself raises the level."""

    unit: str
    label: str
    level_w_m2: float
    above_db: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decision:
    """The answer to "what first?" for one receiver, or for the worst of several."""

    today: Plan
    levels_w_m2: tuple[tuple[str, float], ...]  # today, at each receiver that counts, worst first
    by_source: tuple[tuple[str, float], ...]  # level that each brings today, the strongest first
    free: tuple[FreeMeasure, ...]  # the one that brings most first
    start_w_m2: float  # at the worst receiver, with the free measures that the steps count on
    undone_w_m2: float | None  # where the worthwhile steps end if those are left undone
    steps: tuple[Step, ...]
    stops: tuple[int, ...]  # steps after which one may stop, the last of them where to
    why_stop: str
    left: tuple[tuple[str, float], ...]  # what each source still brings where one stops
    worse: tuple[Worse, ...]
    front: Front
    chain: Chain
    candidates: Candidates
    target_w_m2: float | None
    budget_cents: int | None
    sources: tuple[str, ...]  # those that count; none where all do
    shares: tuple[tuple[str, float], ...]  # of receivers in a mean; none where the worst counts
    best_w_m2: float  # the lowest level that the units reach at all
    now_or_never: tuple[tuple[str, int | None], ...]  # unit, and the step that does it if any
    spared: tuple[Spared, ...]  # what measuring first may spare, the most money first
    rests: tuple[Rest, ...]  # figures that move the outcome most, what moves it most first
    frames: tuple[tuple[str, float], ...] = ()  # left open round treated glass; shares of the rest
    bed: tuple[BedPlan, ...] = ()  # its best place today and where one stops, if it may move

    @property
    def receiver(self) -> str:
        """The receiver that is worst today, or that counts most in a mean."""
        if self.shares:
            return max(self.shares, key=lambda each: each[1])[0]
        return self.levels_w_m2[0][0]

    @property
    def stop_after(self) -> int:
        """How many steps are worth doing."""
        return self.stops[-1] if self.stops else 0

    @property
    def first(self) -> tuple[Step, ...]:
        """Steps up to the first that surely brings something: what to do now, if anything."""
        return self.steps[: self.stops[0]] if self.stops else ()

    @property
    def then(self) -> tuple[Step, ...]:
        """Steps that are worth doing after the first, as far as the money goes."""
        return self.steps[len(self.first) : self.stop_after]

    @property
    def not_worth(self) -> tuple[Step, ...]:
        """Steps that bring too little for what they cost, or nothing that can be told."""
        return self.steps[self.stop_after :]
