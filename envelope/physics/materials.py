"""Complex permittivity of building materials, metals and whatever a job defines itself."""

from __future__ import annotations

import difflib
import math

import numpy as np
from numpy.typing import ArrayLike

from envelope.errors import RangeError
from envelope.physics.arrays import (
    VACUUM_PERMITTIVITY_F_M,
    Bools,
    Complexes,
    Floats,
    checked_frequency,
)
from envelope.physics.tables import metals, p2040, tr38901

__all__ = [
    "UNKNOWN_BOARD",
    "board_permittivity",
    "canonical_name",
    "conductivity_permittivity",
    "entry_loss_db",
    "entry_loss_names",
    "is_material",
    "loss_tangent_permittivity",
    "material_names",
    "material_permittivity",
    "metal_conductivity_s_m",
]

# A board that nobody has looked at: anything between the two.
UNKNOWN_BOARD = "unknown-board"
_BOARDS = ("wood", "plywood")

# American spelling beside the international one.
_METAL_ALIASES = {
    "aluminum": "aluminium",
    "bronze": "phosphor-bronze",
    "stainless": "stainless-steel",
}


def _plain(name: str) -> str:
    return "-".join(name.strip().lower().replace("_", " ").replace("-", " ").split())


def _nearest(name: str, allowed: list[str]) -> str:
    close = difflib.get_close_matches(_plain(name), allowed, n=3, cutoff=0.5)
    return (
        f"the nearest names are {', '.join(close)}" if close else f"known are {', '.join(allowed)}"
    )


def material_names() -> tuple[str, ...]:
    """Every name that `material_permittivity` understands, aliases included, sorted."""
    names = {
        UNKNOWN_BOARD,
        *p2040.CLASSES,
        *p2040.ALIASES,
        *metals.CONDUCTIVITY_S_M,
        *_METAL_ALIASES,
    }
    return tuple(sorted(names))


def is_material(name: str) -> bool:
    """Whether `material_permittivity` understands a name, in any spelling."""
    plain = _plain(name)
    return p2040.ALIASES.get(plain, plain) in p2040.CLASSES or plain in material_names()


def canonical_name(name: str) -> str:
    """The table's own name of a material, from any spelling that is understood.

    Examples
    --------
    >>> canonical_name("Ceiling_Tile"), canonical_name("aluminum")
    ('ceiling-board', 'aluminium')
    """
    plain = _plain(name)
    plain = p2040.ALIASES.get(plain, _METAL_ALIASES.get(plain, plain))
    if plain != UNKNOWN_BOARD and plain not in {*p2040.CLASSES, *metals.CONDUCTIVITY_S_M}:
        raise RangeError(f"unknown material {name!r}; {_nearest(name, list(material_names()))}")
    return plain


def metal_conductivity_s_m(*, metal: str) -> float:
    """Conductivity of a metal. [S/m] RangeError, with the nearest names, for any other word."""
    plain = _plain(metal)
    plain = _METAL_ALIASES.get(plain, plain)
    if plain not in metals.CONDUCTIVITY_S_M:
        raise RangeError(
            f"unknown metal {metal!r}; {_nearest(metal, sorted(metals.CONDUCTIVITY_S_M))}"
        )
    return metals.CONDUCTIVITY_S_M[plain]


def conductivity_permittivity(
    *, relative_permittivity: ArrayLike, conductivity_s_m: ArrayLike, frequency_hz: ArrayLike
) -> Complexes:
    """Complex relative permittivity ε' − jσ/(2πf ε0) of a conducting dielectric.

    Parameters
    ----------
    relative_permittivity, conductivity_s_m, frequency_hz : broadcastable float
        Real part, 1 or more [-]; conductivity, 0 or more [S/m]; frequency [Hz].

    Returns
    -------
    permittivity : complex
        For the time factor exp(+jωt): loss is a negative imaginary part. [-]

    Notes
    -----
    P.2040 rounds 1/(2π ε0 · 1 GHz) to 17.98; the exact 17.9751 is used here. In a thick lossy
    wall the difference is 0.027 % of the loss in dB.
    """
    frequency = checked_frequency(frequency_hz)
    real = np.asarray(relative_permittivity, dtype=np.float64)
    conductivity = np.asarray(conductivity_s_m, dtype=np.float64)
    if not np.all(real >= 1.0):
        raise RangeError(f"relative permittivity is {float(np.min(real)):g}; it must be 1 or more")
    if not np.all(conductivity >= 0.0):
        raise RangeError(
            f"conductivity is {float(np.min(conductivity)):g} S/m; it must be zero or more"
        )
    lost = conductivity / (2.0 * math.pi * frequency * VACUUM_PERMITTIVITY_F_M)
    return np.asarray(real - 1j * lost, dtype=np.complex128)


def loss_tangent_permittivity(
    *, relative_permittivity: ArrayLike, loss_tangent: ArrayLike, frequency_hz: ArrayLike
) -> Complexes:
    """Complex relative permittivity ε'(1 − j tan δ), the same at every frequency given."""
    frequency = checked_frequency(frequency_hz)
    real = np.asarray(relative_permittivity, dtype=np.float64)
    tangent = np.asarray(loss_tangent, dtype=np.float64)
    if not np.all(real >= 1.0):
        raise RangeError(f"relative permittivity is {float(np.min(real)):g}; it must be 1 or more")
    if not np.all(tangent >= 0.0):
        raise RangeError(f"loss tangent is {float(np.min(tangent)):g}; it must be zero or more")
    return np.asarray(real * (1.0 - 1j * tangent) + 0.0 * frequency, dtype=np.complex128)


def material_permittivity(*, material: str, frequency_hz: ArrayLike) -> tuple[Complexes, Bools]:
    """Complex relative permittivity of a tabulated material or metal.

    Parameters
    ----------
    material : str
        A class of P.2040-3, a metal, or an alias; see `material_names`.
    frequency_hz : (f,) float
        [Hz]

    Returns
    -------
    permittivity : (f,) complex
        Loss is a negative imaginary part. [-]
    in_range : (f,) bool
        False where the table's own frequency range ends: the value is an extrapolation and must
        be shown as one. Metals hold at every frequency allowed.

    References
    ----------
    .. [1] Recommendation ITU-R P.2040-3, 2023, Table 3 and its equations for ε' and σ; see
       `envelope.physics.tables.p2040` for how it was seen.

    Examples
    --------
    >>> permittivity, in_range = material_permittivity(material="glass", frequency_hz=[2.45e9])
    >>> permittivity.round(3), in_range
    (array([6.31-0.088j]), array([ True]))
    """
    name = canonical_name(material)
    frequency = checked_frequency(frequency_hz)
    if name == UNKNOWN_BOARD:
        return board_permittivity(share=0.5, frequency_hz=frequency)
    if name in metals.CONDUCTIVITY_S_M:
        permittivity = conductivity_permittivity(
            relative_permittivity=1.0,
            conductivity_s_m=metals.CONDUCTIVITY_S_M[name],
            frequency_hz=frequency,
        )
        return permittivity, np.ones(frequency.shape, dtype=np.bool_)
    row = p2040.CLASSES[name]
    f_ghz = frequency / 1e9
    permittivity = conductivity_permittivity(
        relative_permittivity=row.a * f_ghz**row.b,
        conductivity_s_m=row.c * f_ghz**row.d,
        frequency_hz=frequency,
    )
    return permittivity, (f_ghz >= row.lowest_ghz) & (f_ghz <= row.highest_ghz)


def board_permittivity(*, share: ArrayLike, frequency_hz: ArrayLike) -> tuple[Complexes, Bools]:
    """Complex relative permittivity of a board between wood (share 0) and plywood (1).

    Parameters
    ----------
    share : (...) float
        0 to 1.
    frequency_hz : (f,) float
        [Hz]

    Returns
    -------
    permittivity : (..., f) complex
        [-]
    in_range : (f,) bool
        Where the tables of both hold.

    Notes
    -----
    The real part runs straight, loss in proportion: plywood's lies thirty times above wood's,
    and boards are found at every order in between. Common practice, no source.
    """
    (wood, wood_holds), (plywood, plywood_holds) = (
        material_permittivity(material=name, frequency_hz=frequency_hz) for name in _BOARDS
    )
    part = np.asarray(share, dtype=np.float64)[..., np.newaxis]
    real = (1.0 - part) * wood.real + part * plywood.real
    lost = (-wood.imag) ** (1.0 - part) * (-plywood.imag) ** part
    return np.asarray(real - 1j * lost), wood_holds & plywood_holds


def entry_loss_names() -> tuple[str, ...]:
    """Names of the materials whose entry loss 3GPP TR 38.901 tabulates."""
    return tuple(tr38901.LOSSES_DB)


def entry_loss_db(*, material: str, frequency_hz: ArrayLike) -> tuple[Floats, Bools]:
    """Penetration loss of a material for network planning: one value for every angle.

    Parameters
    ----------
    material : str
        One of `entry_loss_names`.
    frequency_hz : (f,) float
        [Hz]

    Returns
    -------
    loss_db : (f,) float
        [dB]
    in_range : (f,) bool
        False outside 0.5–100 GHz, where the report does not speak.

    References
    ----------
    .. [1] 3GPP TR 38.901, Table 7.4.3-1; see `envelope.physics.tables.tr38901`.
    """
    plain = _plain(material)
    if plain not in tr38901.LOSSES_DB:
        near = _nearest(material, list(tr38901.LOSSES_DB))
        raise RangeError(f"unknown entry-loss material {material!r}; {near}")
    base, slope = tr38901.LOSSES_DB[plain]
    f_ghz = checked_frequency(frequency_hz) / 1e9
    in_range = (f_ghz >= tr38901.LOWEST_GHZ) & (f_ghz <= tr38901.HIGHEST_GHZ)
    return np.asarray(base + slope * f_ghz), np.asarray(in_range)
