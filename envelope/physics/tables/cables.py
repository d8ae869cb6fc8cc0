"""Cables of house wiring: cross-sections, and the single wire that stands for each in a room.

The dimensions are typical of 1.5 to 2.5 mm² cables (common practice, no source). Weights and radii
come out of `envelope.physics.cables`, which resolves the cross-section; a test holds them together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["CABLES", "CORD", "LAMP_RADIUS_M", "Cable", "CrossSection"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossSection:
    """Round conductors, each within insulation, in a jacket that is round or flat."""

    conductors_m: tuple[tuple[float, float, float], ...]  # x, y and radius of each; the hot first
    insulation_m: tuple[float, ...] = ()  # outer radius of each one's insulation
    insulation_permittivity: float = 1.0
    jacket_half_m: float = 0.0  # half of the straight part of a flat jacket
    jacket_radius_m: float = 0.0  # of its ends, or of a round one; 0 for none
    jacket_permittivity: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cable:
    """What a room sees of a cable: one wire at a share of the hot core's voltage."""

    weight: float  # of the hot core, the others at 0 V
    radius_m: float
    section: CrossSection | None = None  # None where nothing needs to be resolved


def _ring(count: int, radius_m: float, core_m: float) -> tuple[tuple[float, float, float], ...]:
    from math import cos, pi, sin

    turns = [2.0 * pi * number / count for number in range(count)]
    return tuple((radius_m * cos(turn), radius_m * sin(turn), core_m) for turn in turns)


CABLES: Final[dict[str, Cable]] = {
    "round": Cable(
        weight=0.3333,
        radius_m=4.24e-3,
        section=CrossSection(
            conductors_m=_ring(3, 1.963e-3, 0.89e-3),
            insulation_m=(1.7e-3,) * 3,
            insulation_permittivity=4.0,
            jacket_radius_m=5.2e-3,
            jacket_permittivity=4.0,
        ),
    ),
    "flat": Cable(
        weight=0.415,
        radius_m=4.07e-3,
        section=CrossSection(
            conductors_m=((-3.2e-3, 0.0, 0.89e-3), (0.0, 0.0, 0.69e-3), (3.2e-3, 0.0, 0.89e-3)),
            insulation_m=(1.69e-3, 0.69e-3, 1.69e-3),
            insulation_permittivity=4.0,
            jacket_half_m=3.2e-3,
            jacket_radius_m=2.9e-3,
            jacket_permittivity=4.0,
        ),
    ),
    # Two bare-conductor positions 5 mm apart; insulation hardly moves them.
    "singles": Cable(
        weight=0.5,
        radius_m=2.025e-3,
        section=CrossSection(conductors_m=((0.0, 2.5e-3, 0.8e-3), (0.0, -2.5e-3, 0.8e-3))),
    ),
    # Old wiring with the two conductors a foot apart.
    "open": Cable(
        weight=0.5,
        radius_m=15.49e-3,
        section=CrossSection(conductors_m=((0.0, 0.15, 0.8e-3), (0.0, -0.15, 0.8e-3))),
    ),
    # An earthed sheath keeps all of the field in.
    "metal-clad": Cable(weight=0.0, radius_m=6.0e-3),
}

CORD: Final = Cable(
    weight=0.5,
    radius_m=1.779e-3,
    section=CrossSection(
        conductors_m=((-1.3e-3, 0.0, 0.49e-3), (1.3e-3, 0.0, 0.49e-3)),
        insulation_m=(1.1e-3, 1.1e-3),
        insulation_permittivity=4.0,
        jacket_half_m=1.3e-3,
        jacket_radius_m=1.3e-3,
        jacket_permittivity=4.0,
    ),
)
LAMP_RADIUS_M: Final = 6.0e-3  # of the stem that stands for a lamp; no source
