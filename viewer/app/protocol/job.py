"""What a page shows of a job and does to it: plans, faces, receivers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Point, Texts


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Plans and receiver that the page shows."""

    do: Literal["look"] = "look"
    plans: Texts
    receiver: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Treat:
    """Give faces these treatments under a plan, the one on the surface first."""

    do: Literal["treat"] = "treat"
    plan: str
    panels: Texts
    treatments: Texts


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlan:
    """Add a plan that starts as another one is; without an id it gets the next free one.

    A copy stands on its own; an extension follows later changes of the other plan.
    """

    do: Literal["new-plan"] = "new-plan"
    beside: str
    how: Literal["copy", "extension"] = "copy"
    id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Put a receiver elsewhere in its room: its room's own coordinates, height over its floor."""

    do: Literal["move"] = "move"
    receiver: str
    at: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Cast:
    """Cast what is missing."""

    do: Literal["cast"] = "cast"


@dataclass(frozen=True, slots=True, kw_only=True)
class Halt:
    """Stop casting."""

    do: Literal["halt"] = "halt"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeSky:
    """All directions around a receiver."""

    do: Literal["sky"] = "sky"
    receiver: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeChoices:
    """What a click on each treatment of a face would bring, put on these faces."""

    do: Literal["choices"] = "choices"
    plan: str
    panel: str
    panels: Texts
    receiver: str


class BillTold(TypedDict):
    """What a plan costs; `total` in words, None where nothing of it has a price."""

    total: str | None
    unpriced: list[str]


class ChoiceTold(TypedDict):
    """What a choice brings; `level_w_m2` is None without a source, `more` is what it costs more."""

    treatments: list[str]
    level_w_m2: float | None
    reduction_db: float | None
    below_now_db: float | None
    more: str | None


class ChoicesTold(TypedDict):
    """What a click on each treatment of a face brings, by treatment."""

    tell: Literal["choices"]
    plan: str
    panel: str
    choices: dict[str, ChoiceTold]


class PlanTold(TypedDict):
    """The plan that was made for the page."""

    tell: Literal["plan"]
    id: str
