"""Holes, tubes and slots in a panel that is far tighter than they are.

Everything here is a cross-section [m²]: power passed over power density arriving, the density
counted across the direction of travel. The geometric one is A cos θ. Mind that its mean over a
hemisphere of arrival is A/2, while a diffuse field loses A/4 of its scalar density through it.

These are formulas for openings in a thin conducting plane. They hold where the panel around is at
least `TIGHTER_DB` tighter than the opening; elsewhere weight by area.

Where they come from: round holes are Bethe's; tubes and ducts below cut-off follow from waveguide
theory; slots are derived here, by Babinet's principle from a strip and from a short-circuited
dipole, and what joins the narrow slot to the wide one and the short one to the endless one is an
interpolation of ours with no source; so is the bracket of a honeycomb (common practice).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from envelope.errors import RangeError
from envelope.physics.arrays import (
    SPEED_OF_LIGHT_M_S,
    Bools,
    Floats,
    checked_cosine,
    checked_fraction,
    checked_frequency,
    checked_positive,
    wavelength_m,
)

__all__ = [
    "TIGHTER_DB",
    "Bracket",
    "duct_attenuation_db",
    "hole_cross_section_m2",
    "hole_in_range",
    "hole_mean_cross_section_m2",
    "honeycomb_transmission",
    "slot_cross_section_m2",
    "slot_directed_cross_section_m2",
    "slot_in_range",
    "slot_is_wide",
    "slot_ratio_across",
    "slot_ratio_along",
    "slot_rule_db",
    "tube_attenuation_db",
]

TIGHTER_DB: Final = 10.0

# 16/(9π)·(ka)^4·a² meets half the geometric area here, (9π²/32)^(1/4).
_HOLE_CROSSOVER: Final = (9.0 * np.pi**2 / 32.0) ** 0.25
_TE11_ROOT: Final = 1.8411837813406593  # first zero of J1'

# The slit's constant 2 ln(8/γ), γ = exp(Euler's constant): a strip of width w scatters as a wire
# of radius w/4.
_SLIT_CONSTANT: Final = 2.0 * (np.log(8.0) - np.euler_gamma)
_NARROW: Final = 0.4  # kw up to which a moment solution agrees within 1 %
_MODEL_SPREAD: Final = 0.05
_WIDE: Final = 1.0  # kw from which the geometric area stands
_LONG: Final = 2.0  # wavelengths from which a slot counts as endless
# Short-circuited half-wave dipole, directivity 1.64, by Babinet: ½ D²λ²/π.
_RESONANT: Final = 0.5 * 1.64**2 / np.pi


class Bracket(NamedTuple):
    """Least and greatest value that theory leaves open."""

    low: Floats
    high: Floats


def _wavenumber(frequency_hz: ArrayLike) -> Floats:
    return np.asarray(2.0 * np.pi * checked_frequency(frequency_hz) / SPEED_OF_LIGHT_M_S)


def hole_cross_section_m2(
    *, diameter_m: float, frequency_hz: ArrayLike, cosine: ArrayLike
) -> Floats:
    """Cross-section of a round hole, by angle and polarization.

    Parameters
    ----------
    diameter_m : float
        [m]
    frequency_hz : (f,) float
        [Hz]
    cosine : (a,) float
        Cosine of incidence.

    Returns
    -------
    cross_section_m2 : (f, a, 2) float
        TE, TM. [m²]

    Notes
    -----
    Small holes (64/27π) k⁴a⁶ at normal incidence, times cos²θ for TE and 1 + ¼ sin²θ for TM [1]_
    (coefficients from memory; the first follows by Babinet from the polarizability of a disc).
    From ka = 1.2908 on, where the hemisphere means meet, the geometric A cos θ.

    References
    ----------
    .. [1] H. A. Bethe, Phys. Rev. 66, 163, 1944.
    """
    radius = 0.5 * float(checked_positive(diameter_m, what="hole diameter", unit="m"))
    size = np.atleast_1d(_wavenumber(frequency_hz))[:, np.newaxis] * radius
    cosines = np.atleast_1d(checked_cosine(cosine))
    small = 64.0 / (27.0 * np.pi) * size**4 * radius**2
    geometric = np.pi * radius**2 * cosines
    te = np.where(size < _HOLE_CROSSOVER, small * cosines**2, geometric)
    tm = np.where(size < _HOLE_CROSSOVER, small * (1.25 - 0.25 * cosines**2), geometric)
    return np.stack((te, tm), axis=-1)


def hole_mean_cross_section_m2(*, diameter_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Mean of a round hole's cross-section over a hemisphere: (16/9π) k⁴a⁶, at most A/2. [m²]"""
    radius = 0.5 * checked_positive(diameter_m, what="hole diameter", unit="m")
    size = _wavenumber(frequency_hz) * radius
    return np.minimum(16.0 / (9.0 * np.pi) * size**4, np.pi / 2.0) * radius**2


def hole_in_range(*, diameter_m: ArrayLike, frequency_hz: ArrayLike) -> Bools:
    """Whether the hole is small (ka ≤ 0.5), so that Bethe's leading term holds within 1 dB."""
    radius = 0.5 * checked_positive(diameter_m, what="hole diameter", unit="m")
    return np.asarray(_wavenumber(frequency_hz) * radius <= 0.5)


def _below_cutoff_db(cutoff_hz: Floats, depth_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    depth = checked_positive(depth_m, what="depth", unit="m")
    share = checked_frequency(frequency_hz) / cutoff_hz
    decay = 2.0 * np.pi * cutoff_hz / SPEED_OF_LIGHT_M_S * np.sqrt(np.maximum(1.0 - share**2, 0.0))
    return np.asarray(20.0 / np.log(10.0) * decay * depth)


def duct_attenuation_db(
    *, width_m: ArrayLike, depth_m: ArrayLike, frequency_hz: ArrayLike
) -> Floats:
    """Loss along a rectangular duct below cut-off (TE10), 0 above it. [dB]

    Notes
    -----
    27.29 dB for each width of depth, times √(1 − (f/fc)²), fc = c/2w with w the larger inside
    dimension. Waveguide theory, derived.
    """
    width = checked_positive(width_m, what="duct width", unit="m")
    return _below_cutoff_db(np.asarray(SPEED_OF_LIGHT_M_S / (2.0 * width)), depth_m, frequency_hz)


def tube_attenuation_db(
    *, diameter_m: ArrayLike, depth_m: ArrayLike, frequency_hz: ArrayLike
) -> Floats:
    """Loss along a round tube below cut-off (TE11), 0 above it. [dB]

    Notes
    -----
    31.98 dB for each diameter of depth, times √(1 − (f/fc)²), fc = 1.8412 c/(πD). Waveguide
    theory, derived.
    """
    diameter = checked_positive(diameter_m, what="tube diameter", unit="m")
    cutoff = np.asarray(_TE11_ROOT * SPEED_OF_LIGHT_M_S / (np.pi * diameter))
    return _below_cutoff_db(cutoff, depth_m, frequency_hz)


def honeycomb_transmission(
    *, cell_m: float, depth_m: float, open_fraction: float, frequency_hz: ArrayLike
) -> Bracket:
    """Transmission of a honeycomb vent, its cells taken as tubes of the cell's width.

    Parameters
    ----------
    cell_m, depth_m : float
        Inside width of a cell across its largest direction, and its length. [m]
    open_fraction : float
        Open area over the vent's area.
    frequency_hz : (f,) float
        [Hz]

    Returns
    -------
    transmission : Bracket of (f,) float
        High: the tube's loss alone, every mouth filled. Low: times what a hole of the cell's
        width lets into the tube. Common practice, no source for the bracket.
    """
    share = float(checked_fraction(open_fraction, what="open fraction"))
    loss = tube_attenuation_db(diameter_m=cell_m, depth_m=depth_m, frequency_hz=frequency_hz)
    high = share * 10.0 ** (-loss / 10.0)
    mouth = hole_mean_cross_section_m2(diameter_m=cell_m, frequency_hz=frequency_hz)
    return Bracket(low=high * mouth / (np.pi * cell_m**2 / 8.0), high=high)


def slot_ratio_across(*, width_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Cross-section over area of an endless slot at normal incidence, E across it.

    Notes
    -----
    πλ / (w [π² + (2 ln(8/γ) − 2 ln kw)²]) with 2 ln(8/γ) = 3.0045: by Babinet from a strip that
    scatters as a wire of radius w/4; derived, and within 1 % of a moment solution for kw ≤ 0.4.
    From there it is led over to the geometric area at kw = 1, where the two nearly meet.

    Narrow is not tight: 3 mm at 1.84 GHz passes 2.7 times its area.

    Examples
    --------
    >>> slot_ratio_across(width_m=0.003, frequency_hz=1.84e9).round(1)
    np.float64(2.7)
    """
    width = checked_positive(width_m, what="slot width", unit="m")
    size = _wavenumber(frequency_hz) * width
    narrow = 2.0 * np.pi**2 / (size * (np.pi**2 + (_SLIT_CONSTANT - 2.0 * np.log(size)) ** 2))
    return np.asarray(_led_over(narrow, size))[()]


def slot_ratio_along(*, width_m: ArrayLike, frequency_hz: ArrayLike) -> Floats:
    """Cross-section over area of an endless slot at normal incidence, E along it.

    Notes
    -----
    π²(kw)³/256, at most 1: by Babinet from the polarizability πw²/4 of a strip; derived. A moment
    solution lies 6 % above it at kw = 0.4 and at most 2.5 dB (at kw = 2), where E across, which
    passes far more, decides.
    """
    width = checked_positive(width_m, what="slot width", unit="m")
    size = _wavenumber(frequency_hz) * width
    return np.asarray(np.minimum(np.pi**2 / 256.0 * size**3, 1.0))[()]


def _wide_share(size: Floats) -> Floats:
    return np.clip((size - _NARROW) / (_WIDE - _NARROW), 0.0, 1.0)


def _led_over(narrow: Floats, size: Floats) -> Floats:
    share = _wide_share(size)
    return (1.0 - share) * narrow + share


def _slot_dipole_m2(length: float, width: float, wavenumber: Floats) -> Floats:
    """Cross-section of a slot far shorter than λ/2, E across it at normal incidence.

    k⁴α²/12π with α the polarizability of the complementary plate along the slot, an ellipse of
    the slot's length and width: (4π/3)a³e²/(K − E). Derived; Bethe's circle is its limit.
    """
    semi = 0.5 * max(length, width)
    squared = max(1.0 - (width / length) ** 2, 1e-6) if length > width else 1e-6
    plate = 4.0 * np.pi / 3.0 * semi**3 * squared / _ellipse_difference(squared)
    return wavenumber**4 * plate**2 / (12.0 * np.pi)


def _ellipse_difference(parameter: float) -> float:
    """K − E, the complete elliptic integrals of a parameter m = k², by the arithmetic-geometric
    mean: DLMF 19.8.5 and 19.8.6, K − E = K Σ 2^(n−1) c_n², which loses no digits for small m.
    """
    mean, other, part = 1.0, math.sqrt(1.0 - parameter), parameter  # a, g, c²
    total, weight = 0.0, 0.5
    while True:
        total += weight * part
        if part < 1e-32 * mean:
            return math.pi / (2.0 * mean) * total
        half = 0.5 * (mean - other)
        mean, other = 0.5 * (mean + other), math.sqrt(mean * other)
        part, weight = half * half, 2.0 * weight


class _Slot(NamedTuple):
    """Head-on cross-sections (f,) of a slot, and how far it is on the way to a wide opening."""

    across: Bracket  # E across it
    along: Floats  # E along it
    wide: Floats  # 0 narrow … 1 lit as its projected area is


def _slot(width_m: float, length_m: float, frequency_hz: ArrayLike) -> _Slot:
    width = float(checked_positive(width_m, what="slot width", unit="m"))
    length = float(checked_positive(length_m, what="slot length", unit="m"))
    if width > length:
        raise RangeError(f"the slot is {width:g} m wide but {length:g} m long; width is the lesser")
    frequency = np.atleast_1d(checked_frequency(frequency_hz))
    wavenumber = _wavenumber(frequency)
    wavelength = 2.0 * np.pi / wavenumber
    area = width * length

    endless = area * np.atleast_1d(slot_ratio_across(width_m=width, frequency_hz=frequency))
    dipole = _slot_dipole_m2(length, width, wavenumber)
    detuned = np.maximum(1.0 - (2.0 * length / wavelength) ** 2, 1e-3) ** 2
    resonant = np.minimum(dipole / detuned, _RESONANT * wavelength**2)
    is_long = length >= _LONG * wavelength
    low = np.where(is_long, endless, np.minimum(endless, dipole)) * (1.0 - _MODEL_SPREAD)
    high = np.where(is_long, endless, np.maximum(endless, resonant)) * (1.0 + _MODEL_SPREAD)
    # Shorter than a wavelength or so the endless slot is no lower limit of the high value.
    high = np.where(length < 0.5 * wavelength, resonant * (1.0 + _MODEL_SPREAD), high)

    along = area * np.atleast_1d(slot_ratio_along(width_m=width, frequency_hz=frequency))
    along = np.where(length < 0.5 * wavelength, np.minimum(along, dipole), along)
    return _Slot(
        across=Bracket(low=np.minimum(low, high), high=high),
        along=along,
        wide=_wide_share(wavenumber * width),
    )


def slot_cross_section_m2(
    *, width_m: float, length_m: float, frequency_hz: ArrayLike, cosine: ArrayLike
) -> Bracket:
    """Cross-section of a slot whose direction in its panel is even or unknown.

    Parameters
    ----------
    width_m, length_m : float
        [m]
    frequency_hz : (f,) float
        [Hz]
    cosine : (a,) float
        Cosine of incidence.

    Returns
    -------
    cross_section_m2 : Bracket of (f, a, 2) float
        TE, TM, each the mean over the angle between the slot and the plane of incidence. [m²]

    Notes
    -----
    A narrow slot is driven by the magnetic field along it: TE ½cos²θ, TM ½ of the value with E
    across at normal incidence. It does not fall with cos θ as its projected area does.

    Two wavelengths long or more, the bracket is `slot_ratio_across` ±5 %. Shorter, the
    slot may resonate: high is what a resonant half-wave slot takes, ½·1.64²λ²/π, approached from
    below by its dipole moment over (1 − (2L/λ)²)²; low is the lesser of that dipole alone and
    the endless slot.
    """
    slot = _slot(width_m, length_m, frequency_hz)
    cosines = np.atleast_1d(checked_cosine(cosine))
    wide = slot.wide[:, np.newaxis]
    along = slot.along[:, np.newaxis] * cosines

    def by_angle(across: Floats) -> Floats:
        # a slot as wide as λ/2π and more is lit as its projected area is
        te = (1.0 - wide) * cosines**2 + wide * cosines
        tm = (1.0 - wide) + wide * cosines
        driven = np.stack((te, tm), axis=-1) * across[:, np.newaxis, np.newaxis]
        return 0.5 * (driven + along[..., np.newaxis])

    return Bracket(low=by_angle(slot.across.low), high=by_angle(slot.across.high))


def slot_directed_cross_section_m2(
    *,
    width_m: float,
    length_m: float,
    frequency_hz: ArrayLike,
    cosine: ArrayLike,
    magnetic_along: ArrayLike,
    mode_across: ArrayLike,
) -> Bracket:
    """Cross-section of a slot whose direction is known, for waves of known polarization.

    Parameters
    ----------
    width_m, length_m : float
        [m]
    frequency_hz : (f,) float
        [Hz]
    cosine : (n,) float
        Cosine of incidence of each wave.
    magnetic_along : (n,) float
        Squared part of each wave's magnetic field (of unit size) that lies along the slot.
    mode_across : (n,) float
        The same of the direction of its magnetic field in the panel, TE and TM fields of unit size
        there: the share of the wave that has its electric field across the slot.

    Returns
    -------
    cross_section_m2 : Bracket of (f, n) float
        [m²]

    Notes
    -----
    The mean over all directions of the slot in its panel is `slot_cross_section_m2`.
    """
    slot = _slot(width_m, length_m, frequency_hz)
    cosines = np.atleast_1d(checked_cosine(cosine))
    driven, across = np.atleast_1d(magnetic_along), np.atleast_1d(mode_across)
    wide = slot.wide[:, np.newaxis]
    along = slot.along[:, np.newaxis] * cosines * (1.0 - across)
    factor = (1.0 - wide) * driven + wide * cosines * across
    return Bracket(
        low=slot.across.low[:, np.newaxis] * factor + along,
        high=slot.across.high[:, np.newaxis] * factor + along,
    )


def slot_in_range(*, width_m: ArrayLike, length_m: ArrayLike, frequency_hz: ArrayLike) -> Bools:
    """Whether the slot is narrow (kw ≤ 0.4) and at least two wavelengths long."""
    width = checked_positive(width_m, what="slot width", unit="m")
    length = checked_positive(length_m, what="slot length", unit="m")
    narrow = _wavenumber(frequency_hz) * width <= _NARROW
    return np.asarray(narrow & (length >= _LONG * wavelength_m(frequency_hz=frequency_hz)))


def slot_is_wide(*, width_m: ArrayLike, length_m: ArrayLike, frequency_hz: ArrayLike) -> Bools:
    """Whether the slot is wide (kw ≥ 1) and long, so that its area stands."""
    width = checked_positive(width_m, what="slot width", unit="m")
    length = checked_positive(length_m, what="slot length", unit="m")
    wide = _wavenumber(frequency_hz) * width >= _WIDE
    return np.asarray(wide & (length >= _LONG * wavelength_m(frequency_hz=frequency_hz)))


def slot_rule_db(*, length_m: ArrayLike, frequency_hz: ArrayLike, count: int = 1) -> Floats:
    """Designers' rule for slots in a shield: 20 lg(λ/2L) − 10 lg n, never below 0 for one. [dB]

    Notes
    -----
    H. W. Ott, Electromagnetic Compatibility Engineering, 2009, sec. 6.10 (seen quoted, not the
    book); n slots in one straight line. It speaks of the field at the slot and overstates what
    leaks far from a small one: for comparison, not used for levels.
    """
    length = checked_positive(length_m, what="slot length", unit="m")
    if count < 1:
        raise RangeError(f"{count} slots; there must be at least 1")
    half = 0.5 * wavelength_m(frequency_hz=frequency_hz)
    return np.asarray(20.0 * np.log10(np.maximum(half / length, 1.0)) - 10.0 * np.log10(count))
