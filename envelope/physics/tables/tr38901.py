"""3GPP TR 38.901, Table 7.4.3-1: penetration loss of materials, a + b·f, f in GHz. [dB]

Coefficients seen in at least two independent public implementations each (one copy of several
has 3.0·f for coated glass where the others have 0.3·f); the report's own text was not at hand.
They are averages for network planning: one value for every angle and polarization.

Table 7.4.3-2 makes outer walls of them: 5 dB for oblique incidence, and shares of the area. The
high-loss mix was seen in a public network simulator, the low-loss one is from memory.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "COMPOSITES",
    "COMPOSITE_EDITION",
    "EDITION",
    "HIGHEST_GHZ",
    "LOSSES_DB",
    "LOWEST_GHZ",
    "OBLIQUE_DB",
]

EDITION: Final = "3GPP TR 38.901, Table 7.4.3-1"
LOWEST_GHZ: Final = 0.5
HIGHEST_GHZ: Final = 100.0

LOSSES_DB: Final[dict[str, tuple[float, float]]] = {
    "multi-pane-glass": (2.0, 0.2),
    "coated-glass": (23.0, 0.3),
    "concrete": (5.0, 4.0),
    "wood": (4.85, 0.12),
}

COMPOSITE_EDITION: Final = "3GPP TR 38.901, Table 7.4.3-2"
OBLIQUE_DB: Final = 5.0
COMPOSITES: Final[dict[str, dict[str, float]]] = {
    "low-loss": {"multi-pane-glass": 0.3, "concrete": 0.7},
    "high-loss": {"coated-glass": 0.7, "concrete": 0.3},
}
