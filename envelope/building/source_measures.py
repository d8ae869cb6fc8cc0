"""What may be done about a source instead of treating faces: often free, so it comes first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

import numpy as np

from envelope.geometry.plane import Floats, frozen

Measure = Literal["move", "cable", "lower-power", "off-at-night"]
Agreement = Literal["household", "neighbour", "nobody", "unknown"]  # the last is never stated
Owner = Literal["household", "neighbour"]

MEASURES: tuple[Measure, ...] = ("move", "cable", "lower-power", "off-at-night")
AGREEMENTS: tuple[Agreement, ...] = ("household", "neighbour", "nobody")
OWNERS: tuple[Owner, ...] = ("household", "neighbour")
LINE_POINTS = 5  # places tried along a line
_NO_POWER: frozenset[Measure] = frozenset(("cable", "off-at-night"))
_SAME_M, _SAME_DB = 1e-4, 1e-6  # within which a place and a reduction are the one that was stated
_NEIGHBOURS = ("neighbour", "neighbor", "next door")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SourceMeasure:
    """One thing that may be done about a source at a point."""

    do: Measure
    places_m: tuple[Floats, ...] = ()  # (3,) each, in the building's coordinates: of a move
    space: str | None = None  # in which the places are; None outdoors
    lower_db: float = 0.0  # by how much less power it sends
    cost: Decimal = Decimal(0)
    agreed_by: Agreement = "household"  # who must agree
    reason: str = ""  # why it is taken to be possible, where the job does not say so

    def __post_init__(self) -> None:
        object.__setattr__(self, "places_m", tuple(frozen(place) for place in self.places_m))

    @property
    def factor(self) -> float:
        """What is left of the power; 0 where it no longer sends."""
        return 0.0 if self.do in _NO_POWER else float(10.0 ** (-self.lower_db / 10.0))

    @property
    def position_m(self) -> Floats | None:
        """Where it is moved to, in the building's coordinates; None where it stays."""
        return self.places_m[0] if self.places_m else None


def is_meter(*names: str) -> bool:
    """Whether a source is, by one of its names, a utility's meter, which nobody may switch off.

    Examples
    --------
    >>> is_meter("s-1", "Electric meter"), is_meter("router", "")
    (True, False)
    """
    return "meter" in " ".join(names).lower()


def is_neighbours(*names: str) -> bool:
    """Whether a source or its room is, by one of its names, the neighbour's.

    Examples
    --------
    >>> is_neighbours("router", "Next door's bedroom"), is_neighbours("router", "kitchen")
    (True, False)
    """
    words = " ".join(names).lower().replace("-", " ").replace("_", " ")
    return any(word in words for word in _NEIGHBOURS)


def taken_measures(
    source: str,
    space: str | None,
    *,
    title: str = "",
    called: str = "",
    owner: Owner | None = None,
) -> tuple[SourceMeasure, ...]:
    """What may be done about a source of which the job does not say so.

    Parameters
    ----------
    source : str
        Id of a source at a point.
    space : str, optional
        Of the building, in which it stands; None outdoors, where it is someone else's.
    title : str
        What the client calls the source.
    called : str
        The space as people call it; its id unless stated.
    owner : "household" or "neighbour", optional
        Whose it is; where that is not stated only a name that says the neighbour's tells.
    """
    if space is None or is_meter(source, title):
        return ()
    agreed_by: Agreement = owner or "unknown"
    reason = f"it stands in {called or space} (may = [] where it must stay on)"
    if owner == "neighbour":
        reason = ""
    elif owner is None and is_neighbours(source, title, space, called):
        agreed_by = "neighbour"
        reason = 'it is called the neighbour\'s (owner = "household" where it is yours)'
    elif owner is None:
        reason = f'it stands in {called or space} (owner = "household" where it is yours)'
    return (SourceMeasure(do="off-at-night", agreed_by=agreed_by, reason=reason),)


def as_stated(measure: SourceMeasure, stated: Sequence[SourceMeasure]) -> SourceMeasure | None:
    """A measure that is taken, with its cost and who must agree; None where it is not among those.

    Parameters
    ----------
    measure : SourceMeasure
        With one place where it moves the source.
    stated : sequence of SourceMeasure
        What may be done about the source.
    """
    for each in stated:
        if each.do == measure.do and _is_same(measure, each):
            said = (each.cost, each.agreed_by, each.reason)
            if said == (measure.cost, measure.agreed_by, measure.reason):
                return measure
            return replace(measure, cost=each.cost, agreed_by=each.agreed_by, reason=each.reason)
    return None


def _is_same(measure: SourceMeasure, stated: SourceMeasure) -> bool:
    if measure.do == "lower-power":
        return abs(measure.lower_db - stated.lower_db) < _SAME_DB
    at = measure.position_m
    if at is None:
        return True
    if measure.space != stated.space or not stated.places_m:
        return False
    ends = stated.places_m[0], stated.places_m[-1]  # of a line, or one place
    along = ends[1] - ends[0]
    length = float(along @ along)
    share = 0.0 if length == 0.0 else float(np.clip((at - ends[0]) @ along / length, 0.0, 1.0))
    return float(np.linalg.norm(ends[0] + share * along - at)) < _SAME_M
