"""Thin conductive sheets: coatings, films, foils far thinner than their skin depth."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from envelope.errors import RangeError
from envelope.physics.arrays import (
    Z0_OHM,
    Bools,
    Floats,
    checked_cosine,
    checked_frequency,
    checked_not_negative,
    checked_positive,
)

__all__ = [
    "coats_resistance_ohm_sq",
    "data_sheet_resistance_ohm_sq",
    "interpolated_loss_db",
    "sheet_loss_db",
    "sheet_reflection",
    "sheet_resistance_for_loss_ohm_sq",
    "sheet_transmission",
]


def coats_resistance_ohm_sq(*, sheet_resistance_ohm_sq: ArrayLike, coats: int) -> Floats:
    """Sheet resistance of several equal coats, one on the other: they stand in parallel.

    Holds while they lie within λ/20 of each other. [Ω/sq]
    """
    resistance = checked_positive(sheet_resistance_ohm_sq, what="sheet resistance", unit="Ω/sq")
    if coats < 1:
        raise RangeError(f"{coats} coats; there must be at least 1")
    return np.asarray(resistance / coats)


def _ratio(sheet_resistance_ohm_sq: ArrayLike, cosine: ArrayLike) -> Floats:
    """Z0/2Rs as each polarization sees it: (m, n, 2), TE then TM."""
    resistance = checked_positive(sheet_resistance_ohm_sq, what="sheet resistance", unit="Ω/sq")
    cosines = checked_cosine(cosine)
    ratio = Z0_OHM / (2.0 * np.atleast_1d(resistance))[..., np.newaxis]
    return np.stack((ratio / cosines, ratio * cosines), axis=-1)


def sheet_transmission(*, sheet_resistance_ohm_sq: ArrayLike, cosine: ArrayLike) -> Floats:
    """Power transmission of a thin conductive sheet in air.

    Parameters
    ----------
    sheet_resistance_ohm_sq : (m,) float
        [Ω/sq]
    cosine : (n,) float
        Cosine of incidence.

    Returns
    -------
    transmission : (m, n, 2) float
        TE, TM. [-]

    Notes
    -----
    A shunt resistance on a line of wave impedance Z0/cos θ (TE) or Z0 cos θ (TM):
    t = 1/(1 + Z0/(2Rs cos θ)) and 1/(1 + Z0 cos θ/(2Rs)). Textbook transmission-line theory,
    derived, and checked against an exact layer 10 nm thick.

    Examples
    --------
    >>> sheet_transmission(sheet_resistance_ohm_sq=[Z0_OHM], cosine=[1.0]).round(4)
    array([[[0.4444, 0.4444]]])
    """
    return (1.0 + _ratio(sheet_resistance_ohm_sq, cosine)) ** -2


def sheet_reflection(*, sheet_resistance_ohm_sq: ArrayLike, cosine: ArrayLike) -> Floats:
    """Power reflection of a thin conductive sheet in air; shapes as `sheet_transmission`."""
    ratio = _ratio(sheet_resistance_ohm_sq, cosine)
    return (ratio / (1.0 + ratio)) ** 2


def sheet_loss_db(*, sheet_resistance_ohm_sq: ArrayLike) -> Floats:
    """Shielding effectiveness of a sheet in air at normal incidence, 20 lg(1 + Z0/2Rs). [dB]"""
    resistance = checked_positive(sheet_resistance_ohm_sq, what="sheet resistance", unit="Ω/sq")
    return np.asarray(20.0 / np.log(10.0) * np.log1p(Z0_OHM / (2.0 * resistance)))


def sheet_resistance_for_loss_ohm_sq(*, loss_db: ArrayLike) -> Floats:
    """Sheet resistance that gives a loss at normal incidence in air. [Ω/sq]

    Examples
    --------
    >>> sheet_resistance_for_loss_ohm_sq(loss_db=30.0).round(3)
    np.float64(6.151)
    """
    loss = checked_positive(loss_db, what="loss", unit="dB")
    return np.asarray(Z0_OHM / (2.0 * np.expm1(loss * np.log(10.0) / 20.0)))[()]


def interpolated_loss_db(
    *, frequencies_hz: ArrayLike, losses_db: ArrayLike, frequency_hz: ArrayLike
) -> tuple[Floats, Bools]:
    """A loss by frequency, its points joined in dB over log frequency.

    Parameters
    ----------
    frequencies_hz, losses_db : (k,) float
        The points, ascending in frequency. One loss without a frequency holds everywhere.
    frequency_hz : (f,) float
        Where the loss is wanted. [Hz]

    Returns
    -------
    loss_db : (f,) float
        Beyond the first and last point their loss is held. [dB]
    in_range : (f,) bool
        False where it is held.
    """
    wanted = checked_frequency(frequency_hz)
    at = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    losses = np.atleast_1d(checked_not_negative(losses_db, what="loss", unit="dB"))
    if at.size == 0 and losses.size == 1:
        return np.full(wanted.shape, losses[0]), np.ones(wanted.shape, dtype=np.bool_)
    if at.size != losses.size:
        raise RangeError(f"{at.size} frequencies but {losses.size} losses; each point needs both")
    checked_frequency(at)
    if not np.all(np.diff(at) > 0.0):
        raise RangeError("the points of a loss by frequency must ascend in frequency")
    loss = np.interp(np.log(wanted), np.log(at), losses)
    return np.asarray(loss), np.asarray((wanted >= at[0]) & (wanted <= at[-1]))


def data_sheet_resistance_ohm_sq(
    *, frequencies_hz: ArrayLike, losses_db: ArrayLike, frequency_hz: ArrayLike
) -> tuple[Floats, Bools]:
    """Sheet resistance that gives a data sheet's loss at normal incidence.

    Parameters
    ----------
    frequencies_hz, losses_db : (k,) float
        At least two points, ascending in frequency, each loss above zero.
    frequency_hz : (f,) float
        [Hz]

    Returns
    -------
    sheet_resistance_ohm_sq : (f,) float
        Real: a data sheet says nothing of phase, and a resistance is the choice that
        neither resonates with its neighbours nor hides angle. [Ω/sq]
    in_range : (f,) bool
        False beyond the first and last point, whose losses are held.
    """
    points = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64)).size
    if points < 2:
        raise RangeError("a data sheet's table needs at least two points of frequency and loss")
    loss, in_range = interpolated_loss_db(
        frequencies_hz=frequencies_hz, losses_db=losses_db, frequency_hz=frequency_hz
    )
    return np.asarray(sheet_resistance_for_loss_ohm_sq(loss_db=loss)), in_range
