"""What is usual in the trade where a job does not say: one row each, with where it comes from.

A job changes a row in its `[defaults]` table. What was taken from here is told in the order list.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Unit = Literal["m2/l", "share", "m", "count", "h", ""]

SEEN = "common practice, seen in several trade pages"
SEEN_ONCE = "common practice, seen in one trade page"
MEMORY = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """One figure of the trade."""

    key: str  # of the job's `[defaults]` table
    value: float  # SI
    unit: Unit
    what: str
    source: str


USUAL: tuple[Usual, ...] = (
    Usual(
        key="spread-rate-primer",
        value=5.0,
        unit="m2/l",
        what="one coat of primer on new board",
        source=f"{SEEN}: 4.9 to 7.4 m2/l, up to 15 on a sealed face; the cautious end",
    ),
    Usual(
        key="spread-rate-coating",
        value=5.0,
        unit="m2/l",
        what="one coat of a conductive coating",
        source=f"{MEMORY}: 5 to 10 m2/l; the cautious end",
    ),
    Usual(
        key="spread-rate-finish",
        value=8.6,
        unit="m2/l",
        what="one coat of wall paint",
        source=f"{SEEN}: 350 to 400 ft2/gal, elsewhere 10 to 14 m2/l; the cautious end",
    ),
    Usual(
        key="coats-primer",
        value=1.0,
        unit="count",
        what="coats of primer beneath a coating",
        source=MEMORY,
    ),
    Usual(
        key="coats-finish",
        value=2.0,
        unit="count",
        what="coats of paint over a coating; a dark one takes more",
        source=MEMORY,
    ),
    Usual(
        key="spare-liquid",
        value=0.10,
        unit="share",
        what="of a liquid, bought on top",
        source=f"{SEEN_ONCE}: 10 to 15 %",
    ),
    Usual(
        key="spare-roll",
        value=0.15,
        unit="share",
        what="of goods off a roll, bought on top until they are cut piece by piece",
        source=MEMORY,
    ),
    Usual(
        key="overlap",
        value=0.075,
        unit="m",
        what="of one strip of mesh, fabric or membrane over the next",
        source=f"{MEMORY}: 50 to 100 mm",
    ),
    Usual(
        key="turn-up",
        value=0.05,
        unit="m",
        what="of a strip onto the neighbouring face, at each end",
        source=MEMORY,
    ),
    Usual(
        key="trim",
        value=0.03,
        unit="m",
        what="of a film, left over at each edge for cutting in place",
        source=f"{MEMORY}: 25 to 50 mm",
    ),
    Usual(
        key="fullness",
        value=2.0,
        unit="",
        what="width of a curtain's cloth over the width that it covers",
        source=f"{SEEN}: 1.5 minimal, 2 standard, 2.5 to 3 full",
    ),
    Usual(
        key="hem",
        value=0.20,
        unit="m",
        what="added to a curtain's drop",
        source=f"{SEEN_ONCE}: 0.20 m to the floor, 0.16 m to the sill",
    ),
    Usual(
        key="curtain-sides",
        value=0.10,
        unit="m",
        what="of a curtain beyond its window at each side, 5 % of its width at least",
        source=f"{SEEN_ONCE}: 10 % of the width, at least 10 cm",
    ),
    Usual(
        key="ring-from",
        value=0.003,
        unit="m",
        what="kept clear around an electrical box, at least",
        source=MEMORY,
    ),
    Usual(
        key="ring-to",
        value=0.006,
        unit="m",
        what="kept clear around an electrical box, at most",
        source=MEMORY,
    ),
    Usual(
        key="bond-plate",
        value=0.025,
        unit="m",
        what="radius of a bonding plate on the coating",
        source=MEMORY,
    ),
    Usual(
        key="probe",
        value=0.01,
        unit="m",
        what="radius of a probe that a meter presses on the coating",
        source=MEMORY,
    ),
    Usual(
        key="spots",
        value=9.0,
        unit="count",
        what="spots at the bed that are averaged for acceptance",
        source=MEMORY,
    ),
    Usual(key="workday", value=8.0, unit="h", what="hours of a day on site", source=MEMORY),
)
_BY_KEY = {each.key: each for each in USUAL}


@dataclass(frozen=True, slots=True, kw_only=True)
class Defaults:
    """The figures that hold in a job: the usual ones, but for those that it changes."""

    changed: Mapping[str, float] = field(default_factory=dict)

    def value(self, key: str) -> float:
        """The figure of a row; KeyError where there is no such row."""
        return self.changed.get(key, _BY_KEY[key].value)

    def count(self, key: str) -> int:
        """The figure of a row that counts something."""
        return round(self.value(key))
