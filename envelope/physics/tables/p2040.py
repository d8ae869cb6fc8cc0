"""Recommendation ITU-R P.2040-3 (2023), Table 3: electrical properties of building materials.

Relative permittivity a·f^b and conductivity c·f^d in S/m, f in GHz, within the range stated.
Seen in the source and the documentation of an open ray tracer that cites this edition, and in
several independent copies; the Recommendation's own text was not at hand. Earlier editions have
other constants for concrete, brick, plasterboard, glass and ceiling board.

The two rows for 220–450 GHz (glass, ceiling board) lie above every frequency that is allowed
here and are left out.
"""

from __future__ import annotations

from typing import Final, NamedTuple

__all__ = ["ALIASES", "CLASSES", "EDITION", "MaterialClass"]

EDITION: Final = "ITU-R P.2040-3 (2023), Table 3"


class MaterialClass(NamedTuple):
    """One row: constants of permittivity and conductivity, and where they hold."""

    a: float
    b: float
    c: float
    d: float
    lowest_ghz: float
    highest_ghz: float


CLASSES: Final[dict[str, MaterialClass]] = {
    "vacuum": MaterialClass(1.0, 0.0, 0.0, 0.0, 0.001, 100.0),
    "concrete": MaterialClass(5.24, 0.0, 0.0462, 0.7822, 1.0, 100.0),
    "brick": MaterialClass(3.91, 0.0, 0.0238, 0.16, 1.0, 40.0),
    "plasterboard": MaterialClass(2.73, 0.0, 0.0085, 0.9395, 1.0, 100.0),
    "wood": MaterialClass(1.99, 0.0, 0.0047, 1.0718, 0.001, 100.0),
    "glass": MaterialClass(6.31, 0.0, 0.0036, 1.3394, 0.1, 100.0),
    "ceiling-board": MaterialClass(1.48, 0.0, 0.0011, 1.0750, 1.0, 100.0),
    "chipboard": MaterialClass(2.58, 0.0, 0.0217, 0.78, 1.0, 100.0),
    "plywood": MaterialClass(2.71, 0.0, 0.33, 0.0, 1.0, 40.0),
    "marble": MaterialClass(7.074, 0.0, 0.0055, 0.9262, 1.0, 60.0),
    "floorboard": MaterialClass(3.66, 0.0, 0.0044, 1.3515, 50.0, 100.0),
    "metal": MaterialClass(1.0, 0.0, 1.0e7, 0.0, 1.0, 100.0),
    "very-dry-ground": MaterialClass(3.0, 0.0, 0.00015, 2.52, 1.0, 10.0),
    "medium-dry-ground": MaterialClass(15.0, -0.1, 0.035, 1.63, 1.0, 10.0),
    "wet-ground": MaterialClass(30.0, -0.4, 0.15, 1.30, 1.0, 10.0),
}

# Words of the trade for the same thing. Nothing is listed that the table does not measure:
# oriented strand board, for example, is neither its plywood nor its chipboard.
ALIASES: Final[dict[str, str]] = {
    "air": "vacuum",
    "drywall": "plasterboard",
    "gypsum-board": "plasterboard",
    "gypsum": "plasterboard",
    "particleboard": "chipboard",
    "particle-board": "chipboard",
    "timber": "wood",
    "softwood": "wood",
    "ceiling-tile": "ceiling-board",
}
