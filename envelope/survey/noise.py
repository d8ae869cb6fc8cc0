"""How far a meter's reading may lie from the level that it is of, as tables of log likelihood.

A reading averages n places of a field that fades from spot to spot, and is never taken quite in
the same way twice. The first is a gamma deviate, the second a normal one in decibels; what is
tabulated is their sum, in decibels, for values and for bounds alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import lgamma
from typing import Literal

import numpy as np

from envelope.geometry.plane import Floats

Shows = Literal["value", "below", "above"]  # what a meter shows of a level

_PER_DB = np.log(10.0) / 10.0
STEP_DB = 0.1
REACH_DB = 90.0
STEADY = 3e3  # shape from which fading is far below what a meter resolves (0.08 dB)
_LEAST = 1e-280


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """Log likelihood of one reading over how far it lies above the level it is of."""

    grid_db: Floats  # (g,)
    log: Floats  # (g,)
    slope: Floats  # (g,) per decibel
    bend: Floats  # (g,) second derivative, never above 0
    shape: float  # of the fading
    sigma_db: float  # of the rest

    def spread_db(self) -> float:
        """Standard deviation of readings about the level, fading and the rest together. [dB]"""
        return float(np.hypot(fading_sigma_db(self.shape), self.sigma_db))

    def at(self, miss_db: Floats) -> tuple[Floats, Floats, Floats]:
        """Log likelihood, its slope and its bend where a reading lies so far above the level."""
        place = np.clip(miss_db, self.grid_db[0], self.grid_db[-1])
        found = [np.interp(place, self.grid_db, each) for each in (self.log, self.slope, self.bend)]
        # beyond the table the slope goes on
        return found[0] + found[1] * (miss_db - place), found[1], found[2]


@lru_cache(maxsize=256)
def noise_of(*, shape: float, sigma_db: float, shows: Shows = "value") -> Noise:
    """Tabulate the likelihood of a reading.

    Parameters
    ----------
    shape : float
        Of the gamma deviate that fading makes of a mean over spots, about 1.
    sigma_db : float
        Standard deviation of what else keeps a reading from being repeated. [dB]
    shows : str
        "value"; or that the meter only showed the level to be "below" or "above" a bound.
    """
    grid = np.arange(-REACH_DB, REACH_DB + 0.5 * STEP_DB, STEP_DB)
    if shape >= STEADY:
        log = -0.5 * (grid / sigma_db) ** 2 - np.log(sigma_db * np.sqrt(2.0 * np.pi))
    else:
        fading = np.exp(_log_fading(grid, shape))
        normal = np.exp(-0.5 * (grid / sigma_db) ** 2)
        spread = np.convolve(fading, normal / normal.sum(), mode="same")
        log = np.log(np.maximum(spread, _LEAST))
    if shows != "value":
        mass = np.exp(log) * STEP_DB
        # a meter shows less than a bound where the deviate lies below the miss, and the reverse
        share = np.cumsum(mass) if shows == "below" else np.cumsum(mass[::-1])[::-1]
        log = np.log(np.maximum(share / mass.sum(), _LEAST))
    slope = np.gradient(log, STEP_DB)
    bend = np.minimum(np.gradient(slope, STEP_DB), 0.0)
    return Noise(grid_db=grid, log=log, slope=slope, bend=bend, shape=shape, sigma_db=sigma_db)


def fading_sigma_db(shape: float) -> float:
    """Standard deviation of a gamma deviate in decibels: 5.57 for one spot of a diffuse field."""
    if shape >= STEADY:
        return 0.0
    from scipy.special import polygamma  # takes long to import

    return float(np.sqrt(polygamma(1, shape)) / _PER_DB)


def _log_fading(level_db: Floats, shape: float) -> Floats:
    """Log density of a gamma deviate with a mean of 1, in decibels."""
    log = _PER_DB * level_db
    return np.asarray(shape * (np.log(shape) + log - np.exp(log)) - lgamma(shape) + np.log(_PER_DB))
