"""What to do first: the sequence of steps, shown, tried out in the picture, kept as a plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Text


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeSteps:
    """The sequence for a receiver; for the worst of all of them where none is named."""

    do: Literal["steps"] = "steps"
    receiver: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TryStep:
    """Show everything up to and with a step in the picture; the file stays as it is."""

    do: Literal["try-step"] = "try-step"
    receiver: str | None
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepStep:
    """Write what is tried out into the file as a plan of its own."""

    do: Literal["keep-step"] = "keep-step"
    title: Text


class StepTold(TypedDict):
    """A step in words; `share` is what is left of today's level."""

    number: int
    does: list[str]
    level: str
    share: float
    change: str
    cost: str
    total: str
    warns: str


class FreeTold(TypedDict):
    """Something that costs nothing, such as a router that is switched off at night."""

    words: str
    change: str
    agreed: str


class PointTold(TypedDict):
    """A step on the plot: what has been paid by then, and the level that is left. [W/m²]"""

    number: int
    cost: float
    level: float
    low: float
    high: float
    worth: bool
    words: str


class TickTold(TypedDict):
    """A round figure on an axis."""

    value: float
    words: str


class PlotTold(TypedDict):
    """Cost against level; `front` are plans that no other beats, as cost and level. [W/m²]"""

    across: str
    up: str
    today: float
    start: float
    steps: list[PointTold]
    front: list[tuple[float, float]]
    costs: list[TickTold]
    levels: list[TickTold]


class StepsTold(TypedDict):
    """The sequence: what to do first, then, and what is not worth its money."""

    tell: Literal["steps"]
    receiver: str | None
    of: str
    today: str
    free: list[FreeTold]
    first: list[StepTold]
    then: list[StepTold]
    rest: list[StepTold]
    stop: str
    worse: list[str]
    rests: list[str]
    notes: list[str]
    plot: PlotTold | None
    trouble: str | None


class TriedTold(TypedDict):
    """The plan that is tried out in the picture; `note` says what it does about sources."""

    tell: Literal["tried"]
    plan: str
    number: int
    note: str
