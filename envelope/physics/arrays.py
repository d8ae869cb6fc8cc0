"""Array types of this package, its physical constants, and the guards that every formula uses."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envelope.errors import RangeError

__all__ = [
    "FREQUENCY_HIGHEST_HZ",
    "FREQUENCY_LOWEST_HZ",
    "SPEED_OF_LIGHT_M_S",
    "VACUUM_PERMEABILITY_H_M",
    "VACUUM_PERMITTIVITY_F_M",
    "Z0_OHM",
    "Bools",
    "Complexes",
    "Floats",
    "checked_cosine",
    "checked_fraction",
    "checked_frequency",
    "checked_not_negative",
    "checked_positive",
    "wavelength_m",
]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Bools = NDArray[np.bool_]

# The speed of light is exact; the impedance is CODATA 2022 (typed from memory; the 2018 value
# differs at 1e-9), and the other two follow from these, so that they agree with each other.
SPEED_OF_LIGHT_M_S: Final = 299_792_458.0
Z0_OHM: Final = 376.730313412
VACUUM_PERMITTIVITY_F_M: Final = 1.0 / (Z0_OHM * SPEED_OF_LIGHT_M_S)
VACUUM_PERMEABILITY_H_M: Final = Z0_OHM / SPEED_OF_LIGHT_M_S

# Below, a room is no longer large against the wave and walls do not act as rays meet them;
# above, the tables of building materials end.
FREQUENCY_LOWEST_HZ: Final = 30e6
FREQUENCY_HIGHEST_HZ: Final = 100e9


def _checked(values: ArrayLike, allowed: Bools, *, what: str, unit: str, limit: str) -> None:
    if not np.all(allowed):
        found = float(np.asarray(values, dtype=np.float64)[~allowed].flat[0])
        shown = f"{found:g} {unit}".rstrip()
        raise RangeError(f"{what} is {shown}; it must be {limit}")


def checked_frequency(frequency_hz: ArrayLike) -> Floats:
    """Frequencies as an array; RangeError unless all lie between 30 MHz and 100 GHz."""
    values = np.asarray(frequency_hz, dtype=np.float64)
    allowed = (values >= FREQUENCY_LOWEST_HZ) & (values <= FREQUENCY_HIGHEST_HZ)
    _checked(values, allowed, what="frequency", unit="Hz", limit="from 30 MHz to 100 GHz")
    return values


def checked_cosine(cosine: ArrayLike) -> Floats:
    """Cosines of incidence as an array; RangeError unless all lie above 0 and up to 1."""
    values = np.asarray(cosine, dtype=np.float64)
    allowed = (values > 0.0) & (values <= 1.0 + 1e-12)
    _checked(values, allowed, what="cosine of incidence", unit="", limit="above 0, at most 1")
    return np.minimum(values, 1.0)


def checked_positive(values: ArrayLike, *, what: str, unit: str = "") -> Floats:
    """Values as an array; RangeError unless all are finite and above zero."""
    array = np.asarray(values, dtype=np.float64)
    allowed = np.isfinite(array) & (array > 0.0)
    _checked(array, allowed, what=what, unit=unit, limit="above zero")
    return array


def checked_not_negative(values: ArrayLike, *, what: str, unit: str = "") -> Floats:
    """Values as an array; RangeError unless all are finite and zero or more."""
    array = np.asarray(values, dtype=np.float64)
    allowed = np.isfinite(array) & (array >= 0.0)
    _checked(array, allowed, what=what, unit=unit, limit="zero or more")
    return array


def checked_fraction(values: ArrayLike, *, what: str) -> Floats:
    """Values as an array; RangeError unless all lie from 0 to 1 (rounding is forgiven)."""
    array = np.asarray(values, dtype=np.float64)
    allowed = (array >= -1e-12) & (array <= 1.0 + 1e-12)
    _checked(array, allowed, what=what, unit="", limit="from 0 to 1")
    return np.clip(array, 0.0, 1.0)


def wavelength_m(*, frequency_hz: ArrayLike) -> Floats:
    """Wavelength in air. [m]

    Examples
    --------
    >>> wavelength_m(frequency_hz=2.45e9).round(4)
    np.float64(0.1224)
    """
    return np.asarray(SPEED_OF_LIGHT_M_S / checked_frequency(frequency_hz))[()]
