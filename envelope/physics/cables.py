"""What a room sees of a cable: its cross-section resolved in two dimensions.

From a distance that is large against it, a cable acts as one wire, exact but for dipole terms:
its potential is Σ w_i V_i over its conductors and its radius is the one of a bare wire with the
same charge at the same potential. Conductors carry free charge, the surfaces of insulation and
jacket bound charge, both constant on straight pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.physics.arrays import VACUUM_PERMITTIVITY_F_M, Floats
from envelope.physics.tables.cables import CrossSection

__all__ = [
    "Equivalent",
    "equivalent_wire",
]

_REFERENCE_M = 1.0  # at which the potential is taken as 0
_TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Equivalent:
    """The single wire that stands for a cable."""

    weights: tuple[float, ...]  # share of each conductor's voltage; they add up to 1
    radius_m: float


def equivalent_wire(section: CrossSection, *, pieces: int = 72) -> Equivalent:
    """Weights of the conductors and radius of the wire that stands for a cable.

    Parameters
    ----------
    section : CrossSection
        Conductors, insulation, jacket.
    pieces : int
        Straight pieces around each circle; a jacket has three times as many.
    """
    conductors = section.conductors_m
    start, end, owner, inside, outside = _outlines(section, pieces)
    middle = (start + end) / 2.0
    along = end - start
    length = np.hypot(along[:, 0], along[:, 1])
    normal = np.stack((along[:, 1], -along[:, 0]), axis=1) / length[:, np.newaxis]
    logarithm, gradient = _influence(middle, start, end)
    scale = 1.0 / (2.0 * np.pi * VACUUM_PERMITTIVITY_F_M)
    system = np.empty((len(middle), len(middle)))
    metal = owner >= 0
    system[metal] = scale * (logarithm[metal] + length * np.log(_REFERENCE_M))
    # At a surface of two dielectrics the flux density is continuous:
    # ε_in (E_n − σ/2ε0) = ε_out (E_n + σ/2ε0).
    across = -scale * np.einsum("ija,ia->ij", gradient, normal)
    jump = (inside - outside)[:, np.newaxis] * across
    np.fill_diagonal(jump, -(inside + outside) / (2.0 * VACUUM_PERMITTIVITY_F_M))
    system[~metal] = jump[~metal]
    volts = (owner[:, np.newaxis] == np.arange(len(conductors))).astype(np.float64)
    charge = np.linalg.solve(system, volts)
    total = (charge * length[:, np.newaxis]).sum(axis=0)  # free and bound: what the room sees
    capacitance = float(total.sum())
    return Equivalent(
        weights=tuple((total / capacitance).tolist()),
        radius_m=float(_REFERENCE_M * np.exp(-2.0 * np.pi * VACUUM_PERMITTIVITY_F_M / capacitance)),
    )


def _outlines(
    section: CrossSection, pieces: int
) -> tuple[Floats, Floats, NDArray[np.intp], Floats, Floats]:
    """Pieces of all outlines: ends, conductor (−1: dielectric), permittivity inside and outside."""
    starts, ends, owners, insides, outsides = [], [], [], [], []

    def add(ring: Floats, owner: int, inside: float, outside: float) -> None:
        starts.append(ring)
        ends.append(np.roll(ring, -1, axis=0))
        owners.append(np.full(len(ring), owner))
        insides.append(np.full(len(ring), inside))
        outsides.append(np.full(len(ring), outside))

    jacketed = section.jacket_radius_m > 0.0
    around = section.jacket_permittivity if jacketed else 1.0
    insulation = section.insulation_permittivity
    outer = section.insulation_m or tuple(radius for _, _, radius in section.conductors_m)
    for number, ((x, y, radius), cover) in enumerate(zip(section.conductors_m, outer, strict=True)):
        covered = cover > radius
        add(_circle(x, y, radius, pieces), number, 1.0, insulation if covered else around)
        if covered and insulation != around:
            add(_circle(x, y, cover, pieces), -1, insulation, around)
    if jacketed and around != 1.0:
        ring = _stadium(section.jacket_half_m, section.jacket_radius_m, 3 * pieces)
        add(ring, -1, around, 1.0)
    return (
        np.concatenate(starts),
        np.concatenate(ends),
        np.concatenate(owners),
        np.concatenate(insides),
        np.concatenate(outsides),
    )


def _circle(x: float, y: float, radius: float, pieces: int) -> Floats:
    turn = 2.0 * np.pi * np.arange(pieces) / pieces
    radius = radius * np.sqrt(turn[1] / np.sin(turn[1]))  # corners outside: the circle's own area
    return np.stack((x + radius * np.cos(turn), y + radius * np.sin(turn)), axis=1)


def _stadium(half: float, radius: float, pieces: int) -> Floats:
    """A flat jacket's outline, anticlockwise; a circle where the straight part is nothing."""
    if half == 0.0:
        return _circle(0.0, 0.0, radius, pieces)
    turn = np.linspace(-np.pi / 2.0, np.pi / 2.0, pieces // 4 + 1)
    end = np.stack((half + radius * np.cos(turn), radius * np.sin(turn)), axis=1)
    straight = np.linspace(half, -half, pieces // 4 + 1)[1:-1]
    top = np.stack((straight, np.full(len(straight), radius)), axis=1)
    return np.concatenate((end, top, -end, -top))


def _influence(points: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """∫ ln(1/r) dl (m, k) of straight pieces at points, and its gradient (m, k, 2)."""
    along = end - start
    length = np.hypot(along[:, 0], along[:, 1])
    tangent = along / length[:, np.newaxis]
    normal = np.stack((tangent[:, 1], -tangent[:, 0]), axis=1)
    offset = points[:, np.newaxis] - start
    first = np.einsum("ija,ja->ij", offset, tangent)
    height = np.einsum("ija,ja->ij", offset, normal)
    second = first - length
    near = np.log(np.maximum(first * first + height * height, _TINY))
    far = np.log(np.maximum(second * second + height * height, _TINY))
    flat = np.abs(height) < 1e-14
    safe = np.where(flat, 1.0, height)
    turn = np.where(flat, 0.0, np.arctan(first / safe) - np.arctan(second / safe))
    value = length - 0.5 * (first * near - second * far) - height * turn
    gradient = -0.5 * (near - far)[..., np.newaxis] * tangent - turn[..., np.newaxis] * normal
    return value, gradient
