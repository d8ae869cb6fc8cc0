"""What may be done about a source instead of treating faces: often free, so it comes first."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from envelope.geometry.plane import Floats, frozen

Measure = Literal["move", "cable", "lower-power", "off-at-night"]
Agreement = Literal["household", "neighbour", "nobody"]

MEASURES: tuple[Measure, ...] = ("move", "cable", "lower-power", "off-at-night")
AGREEMENTS: tuple[Agreement, ...] = ("household", "neighbour", "nobody")
LINE_POINTS = 5  # places tried along a line
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
    source: str, space: str | None, *, title: str = "", called: str = ""
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
    """
    if space is None or is_meter(source, title):
        return ()
    if is_neighbours(source, title, space, called):
        reason = 'it is called the neighbour\'s (may = [{ do = "off-at-night" }] where it is yours)'
        return (SourceMeasure(do="off-at-night", agreed_by="neighbour", reason=reason),)
    reason = f"it stands in {called or space} (may = [] where it must stay on)"
    return (SourceMeasure(do="off-at-night", reason=reason),)
