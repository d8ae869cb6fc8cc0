"""Levels: conversions between power density, field strength and decibels; ground reflection;
published reference lines."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from envelope.errors import RangeError
from envelope.physics.arrays import (
    SPEED_OF_LIGHT_M_S,
    Z0_OHM,
    Complexes,
    Floats,
    checked_frequency,
    checked_not_negative,
    checked_positive,
    wavelength_m,
)
from envelope.physics.tables import reference_levels

__all__ = [
    "breakpoint_distance_m",
    "density_from_dbm_m2",
    "density_from_eirp_w_m2",
    "density_from_field_w_m2",
    "density_to_dbm_m2",
    "field_from_density_v_m",
    "field_to_dbuv_m",
    "ground_factor",
    "ground_reflection",
    "loss_db",
    "received_dbm",
    "reference_level_w_m2",
    "reference_lines",
    "transmission_from_loss",
]


def loss_db(*, transmission: ArrayLike) -> Floats:
    """Transmission loss −10 lg T; infinite where nothing passes. [dB]"""
    passed = checked_not_negative(transmission, what="transmission")
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10(passed) + 0.0)


def transmission_from_loss(*, loss_db: ArrayLike) -> Floats:
    """Power fraction 10^(−L/10) of a loss. [-]"""
    return np.asarray(10.0 ** (-np.asarray(loss_db, dtype=np.float64) / 10.0))


def density_from_field_w_m2(*, field_v_m: ArrayLike) -> Floats:
    """Power density of a plane wave from its field strength, E²/Z0. [W/m²]"""
    return np.asarray(np.square(np.asarray(field_v_m, dtype=np.float64)) / Z0_OHM)


def field_from_density_v_m(*, density_w_m2: ArrayLike) -> Floats:
    """Field strength √(S Z0) that a plane wave of that power density has. [V/m]"""
    density = checked_not_negative(density_w_m2, what="power density", unit="W/m²")
    return np.sqrt(density * Z0_OHM)


def field_to_dbuv_m(*, field_v_m: ArrayLike) -> Floats:
    """Field strength in dB above 1 µV/m."""
    return 120.0 + 20.0 * np.log10(checked_positive(field_v_m, what="field strength", unit="V/m"))


def density_to_dbm_m2(*, density_w_m2: ArrayLike) -> Floats:
    """Power density in dB above 1 mW/m²."""
    density = checked_positive(density_w_m2, what="power density", unit="W/m²")
    return 30.0 + 10.0 * np.log10(density)


def density_from_dbm_m2(*, level_dbm_m2: ArrayLike) -> Floats:
    """Power density of a level in dB above 1 mW/m². [W/m²]"""
    return np.asarray(10.0 ** ((np.asarray(level_dbm_m2, dtype=np.float64) - 30.0) / 10.0))


def density_from_eirp_w_m2(*, eirp_w: ArrayLike, distance_m: ArrayLike) -> Floats:
    """Power density EIRP/(4πr²) in free space. [W/m²]"""
    power = checked_not_negative(eirp_w, what="EIRP", unit="W")
    distance = checked_positive(distance_m, what="distance", unit="m")
    return np.asarray(power / (4.0 * np.pi * distance**2))


def received_dbm(
    *, density_w_m2: ArrayLike, frequency_hz: ArrayLike, gain_dbi: ArrayLike = 0.0
) -> Floats:
    """Power that a matched antenna of that gain delivers, S G λ²/4π. [dBm]"""
    density = checked_positive(density_w_m2, what="power density", unit="W/m²")
    area = wavelength_m(frequency_hz=frequency_hz) ** 2 / (4.0 * np.pi)
    return np.asarray(30.0 + 10.0 * np.log10(density * area) + np.asarray(gain_dbi))


def ground_reflection(*, sine: ArrayLike, permittivity: ArrayLike) -> Complexes:
    """Fresnel's reflection of flat ground.

    Parameters
    ----------
    sine : (...) float
        Sine of the elevation angle.
    permittivity : (...) complex
        Of the ground; loss is a negative imaginary part.

    Returns
    -------
    reflection : (..., 2) complex
        Horizontal, vertical polarization; both −1 at grazing incidence.
    """
    rise = np.asarray(sine, dtype=np.float64)
    ground = np.asarray(permittivity, dtype=np.complex128)
    root = np.sqrt(ground - (1.0 - rise) * (1.0 + rise))
    horizontal = (rise - root) / (rise + root)
    vertical = (ground * rise - root) / (ground * rise + root)
    return np.stack((horizontal, vertical), axis=-1)


def ground_factor(
    *,
    source_height_m: ArrayLike,
    receiver_height_m: ArrayLike,
    distance_m: ArrayLike,
    permittivity: ArrayLike,
    frequency_hz: ArrayLike,
) -> Complexes:
    """Field of the direct ray and its ground reflection together, over the direct ray's.

    Parameters
    ----------
    source_height_m, receiver_height_m, distance_m : broadcastable float
        Heights above flat ground and the distance along it. [m]
    permittivity : complex
        Of the ground.
    frequency_hz : float
        [Hz]

    Returns
    -------
    factor : (..., 2) complex
        Horizontal, vertical; 20 lg of its modulus is the gain in dB, up to 6.02.

    Notes
    -----
    F = 1 + Γ (r₁/r₂) exp(−jk(r₂ − r₁)), textbook two-ray model, antennas without a pattern.
    """
    low = checked_not_negative(receiver_height_m, what="receiver height", unit="m")
    high = checked_not_negative(source_height_m, what="source height", unit="m")
    along = checked_positive(distance_m, what="distance", unit="m")
    wavenumber = 2.0 * np.pi * checked_frequency(frequency_hz) / SPEED_OF_LIGHT_M_S
    direct = np.hypot(along, high - low)
    mirrored = np.hypot(along, high + low)
    # 4 h₁ h₂ over the sum keeps the digits that the difference of two long paths would lose
    detour = 4.0 * high * low / (mirrored + direct)
    reflection = ground_reflection(sine=(high + low) / mirrored, permittivity=permittivity)
    turn = direct / mirrored * np.exp(-1j * wavenumber * detour)
    return np.asarray(1.0 + reflection * turn[..., np.newaxis])


def breakpoint_distance_m(
    *, source_height_m: ArrayLike, receiver_height_m: ArrayLike, frequency_hz: ArrayLike
) -> Floats:
    """Distance 4 h₁h₂/λ beyond which direct and reflected ray no longer alternate. [m]"""
    high = checked_positive(source_height_m, what="source height", unit="m")
    low = checked_positive(receiver_height_m, what="receiver height", unit="m")
    return np.asarray(4.0 * high * low / wavelength_m(frequency_hz=frequency_hz))


def reference_lines() -> dict[str, str]:
    """The published reference lines that are known: key and what it is."""
    return dict(reference_levels.SOURCES)


def reference_level_w_m2(*, line: str, frequency_hz: ArrayLike) -> Floats:
    """A published reference level, as a line to compare with. [W/m²]

    It is shown as it stands in its source; it says nothing of what a level does to anyone.

    Examples
    --------
    >>> reference_level_w_m2(line="icnirp-2020", frequency_hz=[900e6, 2.45e9])
    array([ 4.5, 10. ])
    """
    if line not in reference_levels.LINES:
        known = ", ".join(reference_levels.LINES)
        raise RangeError(f"unknown reference line {line!r}; known are {known}")
    f_mhz = np.atleast_1d(checked_frequency(frequency_hz)) / 1e6
    level = np.full(f_mhz.shape, np.nan)
    for lowest, highest, scale, exponent in reference_levels.LINES[line]:
        inside = (f_mhz >= lowest) & (f_mhz <= highest)
        level[inside] = scale * f_mhz[inside] ** exponent
    return level
