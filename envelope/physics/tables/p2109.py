"""Recommendation ITU-R P.2109, section 3: coefficients of the statistics of building entry loss.

Seen in five public implementations, which agree; the Recommendation's own text was not at hand.
Editions -1 and -2 have the same coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = [
    "BUILDINGS",
    "EDITION",
    "FLOOR_DB",
    "HIGHEST_GHZ",
    "LOWEST_GHZ",
    "PER_DEGREE_DB",
    "Coefficients",
]

EDITION: Final = "ITU-R P.2109-2"
LOWEST_GHZ: Final = 0.08
HIGHEST_GHZ: Final = 100.0
PER_DEGREE_DB: Final = 0.212  # of elevation at the façade
FLOOR_DB: Final = -3.0  # added in power: keeps the rarest buildings from amplifying


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficients:
    """By the letters of the Recommendation; polynomials of log10 of the frequency in GHz."""

    r: float
    s: float
    t: float
    u: float
    v: float
    w: float
    x: float
    y: float
    z: float


BUILDINGS: Final[dict[str, Coefficients]] = {
    "traditional": Coefficients(
        r=12.64, s=3.72, t=0.96, u=9.6, v=2.0, w=9.1, x=-3.0, y=4.5, z=-2.0
    ),
    "thermally-efficient": Coefficients(
        r=28.19, s=-3.0, t=8.48, u=13.5, v=3.8, w=27.8, x=-2.9, y=9.4, z=-2.1
    ),
}
