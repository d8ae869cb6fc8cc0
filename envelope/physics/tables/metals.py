"""Conductivity of metals that foils, meshes and wires are made of. [S/m]

Handbook values near 20 °C, typed from memory and rounded to what an alloy's temper leaves
certain; copper is 100 % of the International Annealed Copper Standard (58.0 MS/m). Steel that a
magnet holds is left out: its permeability would have to be known.
"""

from __future__ import annotations

from typing import Final

__all__ = ["CONDUCTIVITY_S_M"]

CONDUCTIVITY_S_M: Final[dict[str, float]] = {
    "silver": 6.1e7,
    "copper": 5.8e7,
    "aluminium": 3.5e7,
    "zinc": 1.7e7,
    "brass": 1.5e7,
    "tin": 8.7e6,
    "phosphor-bronze": 8.0e6,
    "stainless-steel": 1.35e6,
}
