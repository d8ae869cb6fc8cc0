"""Transmission and reflection of a stack of layers, seen from either side.

    front │ Dielectric │ Sheet │ Dielectric │ Cavity │ Dielectric │ Block │ back
          └────────── leaf ─────────────────┘        └── leaf ────┘
          └────────────────────── run ───────────────────────────┘

- Inside a **leaf** waves add in phase. Reading from its last item to its first, the admittance
  that the wave looks into and the ratio of the electric fields at an item's two faces follow from
  ``exp(−2jq)``, which only ever decays: a metre of concrete at 60 GHz gives a tiny number or
  zero, never an overflow.
- Across a **cavity**, whose width varies by more than a quarter wave in a real building, powers
  add: T₁T₂/(1 − R₁R₂) with the reflections that face the cavity. That is the exact mean over the
  phase.
- A **block** has a loss that holds at every angle. It is multiplied on: no echoes between it and
  its neighbours, T = T₁T₂; what is reflected is R₁ + T₁²R₂, which can never exceed 1 − T.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from envelope.errors import RangeError
from envelope.physics.arrays import (
    SPEED_OF_LIGHT_M_S,
    Z0_OHM,
    Complexes,
    Floats,
    checked_cosine,
    checked_fraction,
    checked_frequency,
    checked_not_negative,
)

__all__ = [
    "Block",
    "Cavity",
    "Coefficients",
    "Dielectric",
    "Item",
    "Sheet",
    "reversed_stack",
    "solve",
    "solve_many",
]


def _checked_permittivity(permittivity: ArrayLike) -> Complexes:
    values = np.asarray(permittivity, dtype=np.complex128)
    if not np.all(values.real >= 1.0 - 1e-12):
        raise RangeError(
            f"relative permittivity is {float(np.min(values.real)):g}; it must be 1 or more"
        )
    if not np.all(values.imag <= 0.0):
        raise RangeError("a layer gives energy: the imaginary part of its permittivity must be ≤ 0")
    return values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dielectric:
    """A layer of material, or an air gap whose width holds within a quarter wave."""

    thickness_m: Floats  # (...)
    permittivity: Complexes  # (..., f); loss is a negative imaginary part

    def __post_init__(self) -> None:
        thickness = checked_not_negative(self.thickness_m, what="layer thickness", unit="m")
        object.__setattr__(self, "thickness_m", thickness)
        object.__setattr__(self, "permittivity", _checked_permittivity(self.permittivity))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A conductor far thinner than its skin depth, or a mesh: a shunt impedance per square."""

    impedance_ohm: Complexes  # (..., f), of the TE wave, and of TM unless that is given
    impedance_tm_ohm: Complexes | None = None  # (..., f)

    def __post_init__(self) -> None:
        for name in ("impedance_ohm", "impedance_tm_ohm"):
            given = getattr(self, name)
            if given is None:
                continue
            values = np.asarray(given, dtype=np.complex128)
            if not np.all((values.real >= 0.0) & (np.abs(values) > 0.0)):
                raise RangeError(
                    "a sheet's impedance must not be zero and its resistance not negative"
                )
            object.__setattr__(self, name, values)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cavity:
    """A gap whose width varies: what stands before and behind it is combined in power.

    A fill (mineral wool) weakens each passage by its own loss; its faces do not reflect, and
    the leaves reflect as they do in air.
    """

    thickness_m: Floats  # (...)
    permittivity: Complexes  # (..., f)

    def __post_init__(self) -> None:
        thickness = checked_not_negative(self.thickness_m, what="cavity width", unit="m")
        object.__setattr__(self, "thickness_m", thickness)
        object.__setattr__(self, "permittivity", _checked_permittivity(self.permittivity))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """A loss that is the same at every angle and polarization, with what it reflects."""

    loss_db: Floats  # (..., f)
    reflects: Floats  # (..., f), power fraction, the same from both sides

    def __post_init__(self) -> None:
        loss = checked_not_negative(self.loss_db, what="loss", unit="dB")
        reflects = checked_fraction(self.reflects, what="reflected fraction")
        if not np.all(10.0 ** (-loss / 10.0) + reflects <= 1.0 + 1e-9):
            raise RangeError(
                "more comes out than goes in: the fraction reflected and the fraction passed "
                "of a fixed loss must not exceed 1 together"
            )
        object.__setattr__(self, "loss_db", loss)
        object.__setattr__(self, "reflects", reflects)


Item = Dielectric | Sheet | Cavity | Block


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coefficients:
    """Power fractions of a stack, each (..., f, a, 2): frequency, angle, polarization."""

    transmission: Floats  # the same in both directions
    front_reflection: Floats
    back_reflection: Floats | None  # None where nobody asked for it

    @property
    def front_absorption(self) -> Floats:
        """What the stack keeps of a wave that arrives at its front."""
        return 1.0 - self.transmission - self.front_reflection

    @property
    def back_absorption(self) -> Floats:
        """What the stack keeps of a wave that arrives at its back."""
        assert self.back_reflection is not None
        return 1.0 - self.transmission - self.back_reflection


def reversed_stack(stack: Sequence[Item]) -> tuple[Item, ...]:
    """The same stack seen from its back."""
    return tuple(reversed(stack))


class _Wave(NamedTuple):
    """How one layer carries the wave, each (..., 2 or 1, f, a).

    `lost` is 1 − exp(−2jq), exact for thin layers; y is the layer's admittance along the normal
    over that of free space.
    """

    admittance: Complexes  # y
    lost: Complexes
    kept: Complexes  # 1 + exp(−2jq)
    admittance_kept: Complexes  # y (1 + exp(−2jq))
    admittance_lost: Complexes  # y (1 − exp(−2jq))
    passed: Complexes  # 2 y exp(−jq)


class _Powers(NamedTuple):
    """Transmission and the two reflections, each (..., 2, f, a)."""

    transmission: Floats
    front: Floats
    back: Floats | None  # None where it does not count


class _Solver:
    """Frequencies and angles of one call; what a layer does is worked out once in it."""

    def __init__(self, *, frequency_hz: Floats, cosine: Floats, backs: bool) -> None:
        self.backs = backs
        self.wavenumber = 2.0 * np.pi * frequency_hz[:, np.newaxis] / SPEED_OF_LIGHT_M_S
        self.cosine_squared = cosine * cosine
        self.outside = np.stack((cosine, 1.0 / cosine))[:, np.newaxis, :]  # (2, 1, a)
        self.shape = (frequency_hz.size, cosine.size)
        self._waves: dict[int, _Wave] = {}
        self._shunts: dict[int, Complexes] = {}
        self._leaves: dict[tuple[tuple[int, ...], bool], _Powers] = {}
        self._swept: dict[tuple[int, ...], tuple[Complexes, Complexes]] = {}

    def wave(self, layer: Dielectric) -> _Wave:
        found = self._waves.get(id(layer))
        if found is None:
            root, phase = self._phase(layer)
            permittivity = layer.permittivity[..., np.newaxis, :, np.newaxis]
            own = np.concatenate((root, permittivity / root), axis=-3)
            lost = -np.expm1(-2j * phase)
            kept = np.asarray(2.0 - lost, dtype=np.complex128)
            found = _Wave(
                admittance=own,
                lost=lost,
                kept=kept,
                admittance_kept=own * kept,
                admittance_lost=own * lost,
                passed=2.0 * own * np.exp(-1j * phase),
            )
            self._waves[id(layer)] = found
        return found

    def _phase(self, layer: Dielectric | Cavity) -> tuple[Complexes, Complexes]:
        """Normal wave number over that of free space, and the layer's complex phase."""
        permittivity = layer.permittivity[..., np.newaxis, :, np.newaxis]
        # ε − sin² written so that air at grazing incidence keeps its digits
        root = np.sqrt((permittivity - 1.0) + self.cosine_squared)
        thickness = layer.thickness_m[..., np.newaxis, np.newaxis, np.newaxis]
        phase = np.asarray(self.wavenumber * thickness * root, dtype=np.complex128)
        return np.asarray(root, dtype=np.complex128), phase

    def shunt(self, sheet: Sheet) -> Complexes:
        found = self._shunts.get(id(sheet))
        if found is None:
            te = sheet.impedance_ohm
            tm = te if sheet.impedance_tm_ohm is None else sheet.impedance_tm_ohm
            te, tm = np.broadcast_arrays(te, tm)
            found = (Z0_OHM / np.stack((te, tm), axis=-2))[..., np.newaxis]
            self._shunts[id(sheet)] = found
        return found

    def sweep(self, leaf: Sequence[Item]) -> tuple[Complexes, Complexes]:
        """Admittance looked into at the leaf's front, and E(back) over E(front).

        Leaves that end alike, such as one wall under several treatments, share their ends.
        """
        behind = self.outside.astype(np.complex128)
        ratio: Complexes = np.ones((1, 1, 1), dtype=np.complex128)
        name: tuple[int, ...] = ()
        for item in reversed(leaf):
            name = (*name, id(item))
            found = self._swept.get(name)
            if found is None:
                found = self._swept[name] = self._before(item, behind, ratio)
            behind, ratio = found
        return behind, ratio

    def _before(
        self, item: Item, behind: Complexes, ratio: Complexes
    ) -> tuple[Complexes, Complexes]:
        """What `sweep` finds with one more item in front."""
        if isinstance(item, Sheet):
            return behind + self.shunt(item), ratio
        assert isinstance(item, Dielectric)
        wave = self.wave(item)
        # cosh and sinh of the phase times 2 exp(−jq): no term grows with thickness
        below = wave.admittance_kept + behind * wave.lost
        ratio = ratio * (wave.passed / below)
        behind = wave.admittance * (behind * wave.kept + wave.admittance_lost) / below
        return behind, ratio

    def leaf(self, leaf: Sequence[Item], *, back: bool) -> _Powers:
        name = tuple(id(item) for item in leaf), back
        if name not in self._leaves:
            self._leaves[name] = self._solved(leaf, back=back)
        return self._leaves[name]

    def _solved(self, leaf: Sequence[Item], *, back: bool) -> _Powers:
        if not leaf:
            nothing = np.zeros((2, 1, 1))
            return _Powers(nothing + 1.0, nothing, nothing)
        admittance, ratio = self.sweep(leaf)
        return _Powers(
            transmission=_squared(2.0 * self.outside / (self.outside + admittance) * ratio),
            front=self._reflected(admittance),
            back=self._reflected(self.sweep(leaf[::-1])[0]) if back else None,
        )

    def _reflected(self, admittance: Complexes) -> Floats:
        return _squared((self.outside - admittance) / (self.outside + admittance))

    def across(self, near: _Powers, cavity: Cavity, far: _Powers) -> _Powers:
        """Two leaves and the cavity between them, in power."""
        assert near.back is not None
        _, phase = self._phase(cavity)
        passed = np.exp(2.0 * phase.imag)
        echo = 1.0 - near.back * far.front * passed**2
        back = far.back
        if back is not None:
            back = back + (far.transmission * passed) ** 2 * near.back / echo
        return _Powers(
            transmission=near.transmission * passed * far.transmission / echo,
            front=near.front + (near.transmission * passed) ** 2 * far.front / echo,
            back=back,
        )

    def run(self, items: Sequence[Item]) -> _Powers:
        cavities = [index for index, item in enumerate(items) if isinstance(item, Cavity)]
        edges = [-1, *cavities, len(items)]
        leaves = [
            self.leaf(items[start + 1 : stop], back=self.backs or stop < len(items))
            for start, stop in pairwise(edges)
        ]
        total = leaves[0]
        for index, far in zip(cavities, leaves[1:], strict=True):
            cavity = items[index]
            assert isinstance(cavity, Cavity)
            total = self.across(total, cavity, far)
        return total

    def stack(self, items: Sequence[Item]) -> Coefficients:
        parts: list[_Powers] = []
        start = 0
        for index, item in enumerate(items):
            if isinstance(item, Block):
                if index > start:
                    parts.append(self.run(items[start:index]))
                parts.append(_block(item))
                start = index + 1
        if start < len(items) or not parts:
            parts.append(self.run(items[start:]))
        total = parts[0]
        for part in parts[1:]:
            back = None
            if part.back is not None and total.back is not None:
                back = part.back + part.transmission**2 * total.back
            total = _Powers(
                transmission=total.transmission * part.transmission,
                front=total.front + total.transmission**2 * part.front,
                back=back,
            )
        return Coefficients(
            transmission=self._finished(total.transmission),
            front_reflection=self._finished(total.front),
            back_reflection=None if total.back is None else self._finished(total.back),
        )

    def _finished(self, powers: Floats) -> Floats:
        full = np.empty((*powers.shape[:-3], *self.shape, 2))
        full[..., 0], full[..., 1] = powers[..., 0, :, :], powers[..., -1, :, :]
        return full


def _squared(amplitude: Complexes) -> Floats:
    return np.asarray(amplitude.real**2 + amplitude.imag**2)


def _block(block: Block) -> _Powers:
    axes = (..., np.newaxis, slice(None), np.newaxis)
    passed = 10.0 ** (-np.atleast_1d(block.loss_db)[axes] / 10.0)
    reflected = np.atleast_1d(block.reflects)[axes]
    return _Powers(passed, reflected, reflected)


def solve_many(
    *,
    stacks: Sequence[Sequence[Item]],
    frequency_hz: ArrayLike,
    cosine: ArrayLike,
    backs: bool = False,
) -> tuple[Coefficients, ...]:
    """Transmission and reflection of many stacks at the same frequencies and angles.

    Parameters
    ----------
    stacks : sequence of sequences of items
        Each from front to back. The same item (the very object) in several stacks is worked out
        once.
    frequency_hz : (f,) float
        [Hz]
    cosine : (a,) float
        Cosine of incidence in the air outside, above 0.
    backs : bool
        Work out `back_reflection` too.

    Returns
    -------
    coefficients : one for each stack
        Arrays (..., f, a, 2); the leading axes are those of the items (for example draws of a
        tolerance), broadcast together.

    Notes
    -----
    Plane waves, layers infinite and even, not magnetic, air on both sides. Interfaces and slabs
    as in [1]_, the layered medium by the textbook recursion of admittances.

    References
    ----------
    .. [1] Recommendation ITU-R P.2040-3, 2023, sec. 2.2.2 (seen in a public primer that
       restates it).

    Examples
    --------
    >>> glass = Dielectric(thickness_m=np.array(0.006), permittivity=np.array([6.31 - 0.088j]))
    >>> (found,) = solve_many(stacks=[[glass]], frequency_hz=[2.45e9], cosine=[1.0])
    >>> found.transmission.round(3)
    array([[[0.637, 0.637]]])
    """
    frequency = np.atleast_1d(checked_frequency(frequency_hz))
    cosines = np.atleast_1d(checked_cosine(cosine))
    solver = _Solver(frequency_hz=frequency, cosine=cosines, backs=backs)
    return tuple(solver.stack(tuple(stack)) for stack in stacks)


def solve(*, stack: Sequence[Item], frequency_hz: ArrayLike, cosine: ArrayLike) -> Coefficients:
    """Transmission and reflection of one stack; see `solve_many`."""
    return solve_many(stacks=[stack], frequency_hz=frequency_hz, cosine=cosine, backs=True)[0]
