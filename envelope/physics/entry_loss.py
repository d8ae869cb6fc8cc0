"""What others measured on whole buildings: reference figures, for comparison only.

A stack of layers is one wall, seen from one side. These are statistics over many buildings and
places in them, with inner walls, furniture and the street before the house: larger, and wider.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from envelope.errors import RangeError
from envelope.physics.arrays import Bools, Floats, checked_frequency
from envelope.physics.materials import entry_loss_db
from envelope.physics.tables import p2109, tr38901

__all__ = ["building_entry_loss_db", "composite_wall_loss_db"]

_STEEPEST_DEG: Final = 90.0


def building_entry_loss_db(
    *,
    building: str,
    frequency_hz: ArrayLike,
    share: ArrayLike,
    elevation_deg: float = 0.0,
) -> tuple[Floats, Bools]:
    """Entry loss that a share of buildings and places in them does not exceed.

    Parameters
    ----------
    building : str
        "traditional" or "thermally-efficient" (coated glass, foil-faced insulation).
    frequency_hz : (f,) float
        [Hz]
    share : (p,) float
        Between 0 and 1.
    elevation_deg : float
        Of the path at the façade, −90 to 90. [deg]

    Returns
    -------
    loss_db : (p, f) float
        [dB]
    in_range : (f,) bool
        False outside 0.08–100 GHz, where the Recommendation does not speak.

    Notes
    -----
    10 log10(10^(A/10) + 10^(B/10) + 10^(C/10)): two lognormal losses and C = −3 dB.

    References
    ----------
    .. [1] Recommendation ITU-R P.2109-2, section 3; see `envelope.physics.tables.p2109` for how
       it was seen.

    Examples
    --------
    >>> loss_db, _ = building_entry_loss_db(
    ...     building="traditional", frequency_hz=[2.45e9], share=[0.1, 0.5, 0.9]
    ... )
    >>> loss_db[:, 0].round(1)
    array([ 5.8, 15.2, 27.7])
    """
    if building not in p2109.BUILDINGS:
        raise RangeError(
            f"unknown kind of building {building!r}; known are {', '.join(p2109.BUILDINGS)}"
        )
    shares = np.asarray(share, dtype=np.float64)[:, np.newaxis]
    if not np.all((shares > 0.0) & (shares < 1.0)):
        raise RangeError("a share of buildings lies between 0 and 1, without either")
    if not -_STEEPEST_DEG <= elevation_deg <= _STEEPEST_DEG:
        raise RangeError(f"elevation is {elevation_deg:g}°; it must be between −90° and 90°")
    known = p2109.BUILDINGS[building]
    f_ghz = checked_frequency(frequency_hz) / 1e9
    log_f = np.log10(f_ghz)
    deviate = ndtri(shares)
    median = known.r + known.s * log_f + known.t * log_f**2
    first = (
        median + p2109.PER_DEGREE_DB * abs(elevation_deg) + (known.u + known.v * log_f) * (deviate)
    )
    second = known.w + known.x * log_f + (known.y + known.z * log_f) * deviate
    power = sum(10.0 ** (part / 10.0) for part in (first, second, np.array(p2109.FLOOR_DB)))
    in_range = (f_ghz >= p2109.LOWEST_GHZ) & (f_ghz <= p2109.HIGHEST_GHZ)
    return np.asarray(10.0 * np.log10(power)), np.asarray(in_range)


def composite_wall_loss_db(*, model: str, frequency_hz: ArrayLike) -> tuple[Floats, Bools]:
    """Mean loss of an outer wall made of glass and concrete, for network planning.

    Parameters
    ----------
    model : str
        "low-loss" (30 % clear glass) or "high-loss" (70 % coated glass), the rest concrete.
    frequency_hz : (f,) float
        [Hz]

    Returns
    -------
    loss_db : (f,) float
        5 dB for oblique incidence are in it. [dB]
    in_range : (f,) bool
        False outside 0.5–100 GHz, where the report does not speak.

    References
    ----------
    .. [1] 3GPP TR 38.901, Table 7.4.3-2; see `envelope.physics.tables.tr38901`.

    Examples
    --------
    >>> composite_wall_loss_db(model="low-loss", frequency_hz=[2.45e9])[0].round(2)
    array([12.16])
    """
    if model not in tr38901.COMPOSITES:
        raise RangeError(
            f"unknown model of an outer wall {model!r}; known are {', '.join(tr38901.COMPOSITES)}"
        )
    passed = np.zeros(checked_frequency(frequency_hz).shape)
    in_range = np.ones(passed.shape, dtype=np.bool_)
    for material, part in tr38901.COMPOSITES[model].items():
        loss, known = entry_loss_db(material=material, frequency_hz=frequency_hz)
        passed += part * 10.0 ** (-loss / 10.0)
        in_range &= known
    return np.asarray(tr38901.OBLIQUE_DB - 10.0 * np.log10(passed)), in_range
