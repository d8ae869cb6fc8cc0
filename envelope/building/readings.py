"""What a meter showed, on which visit, with which meter. All SI.

Each record checks itself: one that cannot be raises `RecordError` with every fault.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Literal

from envelope.building import ranges
from envelope.building.refusals import Problems, in_range, is_place, refuse
from envelope.building.sources import AS_BUILT, Plan
from envelope.geometry.plane import Floats, frozen

Detector = Literal["average", "peak"]
Shows = Literal["value", "below", "above"]

BACK_DB = 15.0  # by which an antenna hears less from behind; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A meter: what it can show, and how its antenna hears."""

    id: str
    tolerance_db: float = 0.0  # half of its 10–90 % band, the same in every reading
    lowest_w_m2: float = 0.0  # below which it shows nothing
    highest_w_m2: float = math.inf
    beamwidth_rad: float | None = None  # at half power; None where it hears from all sides
    back_db: float = BACK_DB


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One visit with the meter, and what had been done by then."""

    id: str
    date: datetime.date
    plan: str = AS_BUILT  # as carried out by then
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What a meter showed of one source or several together."""

    id: str
    sources: tuple[str, ...]  # that were heard
    position_m: Floats  # (3,) in the building's coordinates
    level_w_m2: float
    plan: Plan  # what had been done; windows and doors as they stood
    space: str | None = None  # None outdoors
    receiver: str | None = None  # that it was taken at
    spots: int = 1  # places, and directions of the antenna, averaged in power
    tolerance_db: float = 0.0  # 10–90 % band of the meter, the same in every reading
    off: tuple[str, ...] = ()  # sources that were switched off for it
    visit: str | None = None
    meter: str = ""
    detector: Detector = "average"
    shows: Shows = "value"
    facing_rad: float | None = None  # true azimuth that a directional antenna faced
    tilt_rad: float = 0.0  # up from the horizon
    beamwidth_rad: float | None = None  # of that antenna, at half power
    back_db: float = BACK_DB

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))
        refuse("reading", self, reading_problems(self))

    @property
    def is_bearing(self) -> bool:
        """Whether it tells of a direction: outdoors, with an antenna that faces somewhere."""
        return self.space is None and self.facing_rad is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """The most that a meter showed while it was moved along a joint or an edge."""

    id: str
    along: str  # panel id
    edge: str  # in words
    level_w_m2: float
    beside_w_m2: float  # the same held a metre off in the room
    plan: str
    visit: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoverTest:
    """What a meter showed at the same spots before a face was covered with foil, and under it."""

    id: str
    on: str  # what was covered, as people name it
    panels: tuple[str, ...]  # that is
    space: str
    position_m: Floats  # (3,) in the building's coordinates
    uncovered_w_m2: float
    level_w_m2: float
    plan: str
    receiver: str | None = None
    spots: int = 1
    visit: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistanceReading:
    """A resistance between two points of a coating."""

    id: str
    on: str  # panel id
    between: str  # in words
    resistance_ohm: float
    visit: str | None = None


def reading_problems(reading: Reading) -> Problems:
    """What is wrong with a reading by itself."""
    if not reading.sources:
        yield "source", 'the list is empty: name the source, such as source = "mast"'
    for name in dict.fromkeys(reading.sources):
        if reading.sources.count(name) > 1:
            yield "source", f'"{name}" is named twice'
    yield from is_place(reading.position_m)
    yield from in_range("level", ranges.LEVEL, reading.level_w_m2, "level_w_m2")
    yield from in_range("spots", ranges.SPOTS, reading.spots, "spots")
    yield from in_range("tolerance", ranges.TOLERANCE, reading.tolerance_db, "tolerance_db")
