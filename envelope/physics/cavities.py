"""A single room as a cavity: quality factors and decay times, to check the balance with.

Formulas derived by power balance; they agree with D. A. Hill, M. T. Ma, A. R. Ondrejka,
B. F. Riddle, M. L. Crawford, R. T. Johnk, IEEE Trans. Electromagn. Compat. 36(3), 169–178, 1994
(citation from memory), and with the room acoustics of J. B. Andersen et al., IEEE Antennas
Propag. Mag. 49(2), 27–33, 2007 (abstract seen).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from envelope.errors import RangeError
from envelope.physics.arrays import (
    SPEED_OF_LIGHT_M_S,
    VACUUM_PERMEABILITY_H_M,
    Z0_OHM,
    Floats,
    checked_frequency,
    checked_positive,
    wavelength_m,
)

__all__ = [
    "decay_time_s",
    "eyring_decay_time_s",
    "metal_diffuse_absorption",
    "quality_factor",
    "skin_depth_m",
]


def quality_factor(
    *, volume_m3: ArrayLike, loss_cross_section_m2: ArrayLike, frequency_hz: ArrayLike
) -> Floats:
    """Q = 2πV/(λ Σσ), with all losses as cross-sections: Aα/4 of walls, Aτ/4 of openings."""
    volume = checked_positive(volume_m3, what="volume", unit="m³")
    loss = checked_positive(loss_cross_section_m2, what="loss cross-section", unit="m²")
    return np.asarray(2.0 * np.pi * volume / (wavelength_m(frequency_hz=frequency_hz) * loss))


def decay_time_s(*, volume_m3: ArrayLike, loss_cross_section_m2: ArrayLike) -> Floats:
    """Time in which the room's energy falls to 1/e, V/(c Σσ): Sabine's, with Σσ = Sα/4. [s]"""
    volume = checked_positive(volume_m3, what="volume", unit="m³")
    loss = checked_positive(loss_cross_section_m2, what="loss cross-section", unit="m²")
    return np.asarray(volume / (SPEED_OF_LIGHT_M_S * loss))


def eyring_decay_time_s(
    *, volume_m3: ArrayLike, surface_m2: ArrayLike, absorption: ArrayLike
) -> Floats:
    """Eyring's decay time −4V/(c S ln(1 − α)), nearer the truth in absorbing rooms. [s]"""
    volume = checked_positive(volume_m3, what="volume", unit="m³")
    surface = checked_positive(surface_m2, what="surface", unit="m²")
    fraction = checked_positive(absorption, what="absorption")
    if not np.all(fraction < 1.0):
        raise RangeError(f"absorption is {float(np.max(fraction)):g}; it must be below 1")
    return np.asarray(-4.0 * volume / (SPEED_OF_LIGHT_M_S * surface * np.log1p(-fraction)))


def skin_depth_m(*, conductivity_s_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Skin depth of a metal that is not magnetic. [m]"""
    conductivity = checked_positive(conductivity_s_m, what="conductivity", unit="S/m")
    frequency = checked_frequency(frequency_hz)
    return np.asarray(1.0 / np.sqrt(np.pi * frequency * VACUUM_PERMEABILITY_H_M * conductivity))


def metal_diffuse_absorption(*, conductivity_s_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Hemisphere mean of what a thick metal wall absorbs, 16 Rs/(3 Z0) with Rs = 1/(σδ)."""
    depth = skin_depth_m(conductivity_s_m=conductivity_s_m, frequency_hz=frequency_hz)
    return np.asarray(16.0 / (3.0 * Z0_OHM * np.asarray(conductivity_s_m) * depth))
