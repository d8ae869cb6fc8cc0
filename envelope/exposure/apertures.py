"""Openings smaller than a wavelength or so: what they pass over what their area alone would.

A narrow slot passes several times its area of a wave whose field lies across it, and next to
nothing of one that lies along it; a round hole below a wavelength passes far less than its area.
The formulas hold in a plane that is much tighter than the opening; elsewhere area alone counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from envelope.building.model import Panel
from envelope.geometry.plane import Floats
from envelope.physics.apertures import (
    Bracket,
    hole_cross_section_m2,
    hole_in_range,
    slot_cross_section_m2,
    slot_directed_cross_section_m2,
    slot_in_range,
    slot_is_wide,
)
from envelope.physics.arrays import Bools, wavelength_m

SLENDER = 3.0  # length over width from which an opening counts as a slot rather than as a hole
# A hole this much larger than the crossover of Bethe's formula passes its area and no more.
LARGEST_HOLE_M = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallOpening:
    """A slot or a hole; of a slot with a corner or a ring, the length is along its middle."""

    width_m: float
    length_m: float
    area_m2: float

    @property
    def is_slot(self) -> bool:
        """Whether it is long and narrow."""
        return self.length_m >= SLENDER * self.width_m


def small_opening(panel: Panel) -> SmallOpening | None:
    """The slot or hole that a panel is, None where it is neither."""
    if panel.kind not in ("seam", "vent", "open"):
        return None
    area = panel.area_m2
    if panel.holes:  # a ring: its middle line is half of both its edges
        length = 0.5 * (_perimeter(panel.outline) + sum(_perimeter(hole) for hole in panel.holes))
        return SmallOpening(width_m=area / length, length_m=length, area_m2=area)
    flat = panel.frame.flatten(panel.outline)
    sides = np.ptp(flat, axis=0)
    long_side, short_side = float(sides.max()), float(sides.min())
    found = SmallOpening(
        width_m=min(area / long_side, short_side), length_m=long_side, area_m2=area
    )
    if not found.is_slot and long_side > LARGEST_HOLE_M:
        return None
    return found


def _perimeter(ring: Floats) -> float:
    return float(np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum())


def passed_over_area(opening: SmallOpening, *, frequency_hz: Floats, cosines: Floats) -> Bracket:
    """What a small opening passes over what its projected area alone would.

    Parameters
    ----------
    frequency_hz : (f,) float
        [Hz]
    cosines : (a,) float

    Returns
    -------
    ratio : Bracket of (f, a, 2) float
        Low and high where theory leaves a range; equal where it does not.
    """
    projected = (opening.area_m2 * cosines)[np.newaxis, :, np.newaxis]
    if opening.is_slot:
        section = slot_cross_section_m2(
            width_m=opening.width_m,
            length_m=opening.length_m,
            frequency_hz=frequency_hz,
            cosine=cosines,
        )
        return Bracket(low=section.low / projected, high=section.high / projected)
    diameter = 2.0 * math.sqrt(opening.area_m2 / math.pi)
    passed = hole_cross_section_m2(diameter_m=diameter, frequency_hz=frequency_hz, cosine=cosines)
    return Bracket(low=passed / projected, high=passed / projected)


def directed_over_area(
    opening: SmallOpening,
    *,
    frequency_hz: Floats,
    cosines: Floats,
    magnetic_along: Floats,
    mode_across: Floats,
) -> Bracket:
    """What a slot of known direction passes of waves (n,) over what its projected area would.

    Parameters
    ----------
    magnetic_along, mode_across : (n,) float
        As `slot_directed_cross_section_m2` takes them.

    Returns
    -------
    ratio : Bracket of (f, n) float
    """
    section = slot_directed_cross_section_m2(
        width_m=opening.width_m,
        length_m=opening.length_m,
        frequency_hz=frequency_hz,
        cosine=cosines,
        magnetic_along=magnetic_along,
        mode_across=mode_across,
    )
    projected = opening.area_m2 * cosines
    return Bracket(low=section.low / projected, high=section.high / projected)


def within_formula(opening: SmallOpening, *, frequency_hz: Floats) -> Bools:
    """Where (f,) a formula for a small opening, or its area, is known to hold.

    Between a small hole and one a wavelength wide, between a narrow slot and one that is lit as
    its area is, and for a short slot, what passes is led over or bracketed. That a hole a
    wavelength wide passes its area is common practice, no source.
    """
    if opening.is_slot:
        sizes = {"width_m": opening.width_m, "length_m": opening.length_m}
        return np.asarray(
            slot_in_range(**sizes, frequency_hz=frequency_hz)
            | slot_is_wide(**sizes, frequency_hz=frequency_hz)
        )
    diameter = 2.0 * math.sqrt(opening.area_m2 / math.pi)
    return np.asarray(
        hole_in_range(diameter_m=diameter, frequency_hz=frequency_hz)
        | (diameter >= wavelength_m(frequency_hz=frequency_hz))
    )
