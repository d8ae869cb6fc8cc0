"""Which share of the time a transmitter sends, by what it is.

10–90 % ranges with a middle value. Published values are those of abstracts; how they were made a
range for homes is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["ANY", "DUTIES", "IDLE_CORDLESS", "Duty"]

IDLE_CORDLESS: Final = 1.0 / 24.0  # one slot of a frame's 24: ETSI EN 300 175-2, from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """Shares of the time that one kind of transmitter sends."""

    words: str  # what it is, after an article
    low: float
    middle: float
    high: float
    source: str


# By what sends in a service's band.
DUTIES: Final = {
    # Median of 1.4 %, 95th percentile of 10.4 % at 179 places; 48 % in the median while files go
    # over at the highest rate. Access points of seven schools: 1.0 to 11.7 %, 4.8 % in the mean.
    "router": Duty(
        words="a router",
        low=0.01,
        middle=0.05,
        high=0.5,
        source="Prog. Biophys. Mol. Biol. 111 (2013) 30–36, doi:10.1016/j.pbiomolbio.2012.10.002; "
        "the same 107 (2011) 412–420; abstracts",
    ),
    # Idle, to three calls at once.
    "cordless base": Duty(
        words="a cordless phone's base",
        low=IDLE_CORDLESS,
        middle=IDLE_CORDLESS,
        high=3.0 * IDLE_CORDLESS,
        source="ETSI EN 300 175-2: slots of a frame, from memory",
    ),
    # Up to a minute and a half in an hour; mostly below 1 %, of most meters far below.
    "meter": Duty(
        words="a meter",
        low=0.001,
        middle=0.005,
        high=0.025,
        source="COMAR's statement on smart meters, abstract; a case study of one meter, 2011",
    ),
    "device": Duty(
        words="a small device",
        low=0.001,
        middle=0.05,
        high=0.5,
        source="common practice, no source",
    ),
    "mast": Duty(
        words="a mast", low=0.2, middle=1.0, high=1.0, source="common practice, no source"
    ),
    "broadcast": Duty(
        words="a broadcast transmitter",
        low=0.9,
        middle=1.0,
        high=1.0,
        source="common practice, no source",
    ),
}
# Where nobody says what it is: from the least of all, taken to send always. The same.
ANY: Final = Duty(
    words="a source of a kind that is not stated",
    low=min(each.low for each in DUTIES.values()),
    middle=1.0,
    high=1.0,
    source="common practice, no source",
)
