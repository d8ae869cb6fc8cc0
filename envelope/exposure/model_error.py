"""The model's own error of a level: what plans share, and what each plan has for itself.

    shared    what reaches the house, and outer walls as they are: cancels between plans
    own       how far the diffuse field at one spot lies from the room's mean,
              and gaps in the workmanship of a treatment: does not cancel

The diffuse field is taken to be the same all over a room. It is not: near a window it is
stronger, and where walls reflect while ceiling and floor absorb it depends on how rough things
are. Power was traced through random rooms, bare, partly and wholly coated, with reflections
from nearly specular to mostly scattered, and compared with the balance spot by spot; what stands
here was fitted to that (`tests/independent`, `tests/benchmarks/nonuniformity.py`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from envelope.exposure.tolerances import TENTH
from envelope.geometry.plane import Floats

__all__ = [
    "SHARED_DB",
    "WORKMANSHIP",
    "difference_own_db",
    "diffuse_error_db",
    "own_db",
    "shared_db",
]

# Half-width of a 10–90 % band. Common practice, no source. As a standard deviation it is 3.9 dB;
# 3GPP TR 38.901 has 4.4 dB for the penetration loss of a building whose walls are not known.
SHARED_DB: Final = 5.0
# Standard deviation of the diffuse field at a spot about the balance, per unit of the room's mean
# absorption and of the standard deviation of absorption over its faces. Fitted to 11,340
# spots in 30 traced rooms under nine plans: 81 in 100 lie within the 10–90 % range. [dB]
_MEAN_DB: Final = 4.8
_SPREAD_DB: Final = 5.4
# Of the decibels that a plan brings, half a 10–90 % band. Common practice, no source.
WORKMANSHIP: Final = 0.1
# Where the field is strong under one plan it tends to be strong under another: in the traced
# rooms their errors are correlated by 0.05 to 0.91, by 0.49 in the mean.
_CORRELATION: Final = 0.5


def shared_db() -> float:
    """Half-width of the 10–90 % range of the error that all plans of a job share. [dB]"""
    return SHARED_DB


def diffuse_error_db(
    *,
    area_m2: Floats,
    space: NDArray[np.int64],
    reflection: Floats,
    absorption_m2: Floats,
) -> Floats:
    """How far the diffuse field at a spot may lie from what the balance says of its room.

    Parameters
    ----------
    area_m2 : (p,) float
        Area of each patch. [m²]
    space : (p,) int
        Space that the patch bounds, 0 to s − 1.
    reflection : (..., p) float
        Hemisphere means seen from the patch's own space.
    absorption_m2 : (..., s) float
        Absorption cross-sections of people and furnishing in each space. [m²]

    Returns
    -------
    half_width_db : (..., s) float
        Half of the 10–90 % range. [dB]

    Notes
    -----
    σ² = (4.8 ᾱ)² + (5.4 σ_α)², in dB: ᾱ is the mean absorption 1 − R over the room's faces, with
    four times the cross-section of what stands in it over their area; σ_α is the standard
    deviation over the faces alone. Both by area.
    """
    absorbed = 1.0 - reflection
    onto = np.zeros((len(area_m2), absorption_m2.shape[-1]))
    onto[np.arange(len(area_m2)), space] = area_m2
    total = onto.sum(axis=0)
    mean = absorbed @ onto / total
    spread = np.maximum(absorbed**2 @ onto / total - mean**2, 0.0)
    whole = np.minimum(mean + 4.0 * absorption_m2 / total, 1.0)
    return np.asarray(TENTH * np.sqrt((_MEAN_DB * whole) ** 2 + _SPREAD_DB**2 * spread))


def own_db(
    *,
    level_w_m2: float,
    diffuse_w_m2: Floats,
    error_db: Floats,
    as_built_w_m2: float,
) -> float:
    """Half-width of the 10–90 % range of the error that a plan has for itself.

    Parameters
    ----------
    level_w_m2 : float
        Level of the plan at a receiver. [W/m²]
    diffuse_w_m2 : (sources,) float
        The diffuse part of it from each source. [W/m²]
    error_db : (sources,) float
        From `diffuse_error_db`, for the receiver's space in each source's band. [dB]
    as_built_w_m2 : float
        Level without treatment at the same place. [W/m²]

    Returns
    -------
    half_width_db : float
        [dB]

    Notes
    -----
    The diffuse parts of several sources move together. What workmanship may take away or bring
    is a tenth of the decibels by which the plan moves the level.
    """
    if level_w_m2 <= 0.0:
        return 0.0
    uneven = float(np.dot(diffuse_w_m2, error_db)) / level_w_m2
    moved = abs(10.0 * np.log10(level_w_m2 / as_built_w_m2)) if as_built_w_m2 > 0.0 else 0.0
    return float(np.hypot(uneven, WORKMANSHIP * moved))


def difference_own_db(*, one_db: float, other_db: float) -> float:
    """Half-width of the 10–90 % range of the model's error in the difference of two plans.

    Parameters
    ----------
    one_db, other_db : float
        `own_db` of each plan. [dB]

    Returns
    -------
    half_width_db : float
        What both share is not in it. [dB]

    Examples
    --------
    >>> round(difference_own_db(one_db=1.0, other_db=3.0), 2)
    2.65
    """
    return float(np.sqrt(one_db**2 + other_db**2 - 2.0 * _CORRELATION * one_db * other_db))
