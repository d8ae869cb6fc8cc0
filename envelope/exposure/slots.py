"""Slots whose direction is known: what one passes of a beam depends on how the beam is polarized.

A narrow slot is driven by the magnetic field along it. Tables hold the mean over all directions of
a slot in its panel, which is right for an even field and for a ring. A beam from a source meets a
door's seam at one angle and with one polarization: here the mean is turned into that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Polarization
from envelope.building.model import Panel
from envelope.exposure.apertures import SmallOpening, directed_over_area, passed_over_area
from envelope.exposure.transmission import SMALLEST, Bench, Stacks
from envelope.geometry.plane import Floats
from envelope.physics.apertures import Bracket
from envelope.rays import Beam, Lit

_HEAD_ON = 1e-9  # sine of incidence below which TE and TM are told by the slot itself


def electric_field(polarization: Polarization, directions: Floats) -> Floats:
    """Unit electric fields (n, 3) of rays (n, 3) from a source polarized along or across level."""
    level = np.cross(np.array([0.0, 0.0, 1.0]), directions)
    size = np.linalg.norm(level, axis=1, keepdims=True)
    level = np.where(size > 1e-9, level / np.maximum(size, 1e-9), np.array([1.0, 0.0, 0.0]))
    return level if polarization == "horizontal" else np.cross(directions, level)


def slot_axis(panel: Panel) -> Floats | None:
    """Unit vector (3,) along a panel that is a long rectangle; None for a ring or a corner."""
    if panel.holes or len(panel.outline) != 4:
        return None
    sides = np.roll(panel.outline, -1, axis=0) - panel.outline
    lengths = np.linalg.norm(sides, axis=1)
    longest = int(lengths.argmax())
    return np.asarray(sides[longest] / lengths[longest])


def slot_drive(
    polarization: Polarization, *, directions: Floats, normal: Floats, axis: Floats
) -> tuple[Floats, Floats]:
    """How rays (n, 3) drive a slot along `axis` in a panel: see `slot_directed_cross_section_m2`.

    Returns
    -------
    magnetic_along, mode_across : (n,) float
        Without polarization the mean of any two that stand across one another.
    """
    te = np.cross(normal, directions)  # electric field of a TE wave, magnetic of a TM one
    sine = np.linalg.norm(te, axis=1, keepdims=True)
    te = np.where(sine > _HEAD_ON, te / np.maximum(sine, _HEAD_ON), axis)
    tm = np.cross(te, directions)
    # tangential magnetic fields along the slot, of unit size in the panel
    across_of_te, across_of_tm = np.cross(te, normal) @ axis, te @ axis
    slant = directions @ normal
    if polarization == "unpolarized":
        return 0.5 * ((slant * across_of_te) ** 2 + across_of_tm**2), np.full(len(te), 0.5)
    field = electric_field(polarization, directions)
    share_te, share_tm = (field * te).sum(axis=1), (field * tm).sum(axis=1)
    magnetic = np.cross(directions, field) @ axis
    mode = np.sign(slant) * share_te * -across_of_te + share_tm * across_of_tm
    return magnetic**2, mode**2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Met:
    """Where the rays of a bundle meet one slot."""

    row: int
    entries: NDArray[np.int64]
    cosines: Floats
    magnetic_along: Floats
    mode_across: Floats


def _met(rays: Beam | Lit, bench: Bench, polarization: Polarization) -> tuple[_Met, ...]:
    building = bench.job.building
    ray_of = np.repeat(np.arange(len(rays.sky)), np.diff(rays.start))
    found = []
    for row in np.unique(rays.rows):
        if row >= len(building.patches):  # beside a reveal: the wall
            continue
        panel = building.panel(building.patches[row].panel)
        axis = slot_axis(panel)
        if axis is None or panel.kind not in ("seam", "vent", "open"):
            continue
        entries = np.flatnonzero(rays.rows == row)
        driven, across = slot_drive(
            polarization,
            directions=rays.directions[ray_of[entries]],
            normal=panel.normal,
            axis=axis,
        )
        found.append(
            _Met(
                row=int(row),
                entries=entries,
                cosines=rays.cosines[entries],
                magnetic_along=driven,
                mode_across=across,
            )
        )
    return tuple(found)


def slot_turns(
    rays: Beam | Lit, *, bench: Bench, stacks: Stacks, band: int, polarization: Polarization
) -> list[tuple[NDArray[np.int64], Floats]]:
    """What to add to log transmissions of a bundle's entries: pairs of entries and (k, 2)."""
    slots = bench.kept(("slots met", rays, polarization), lambda: _met(rays, bench, polarization))
    found = []
    for met in slots:
        key = stacks.keys[stacks.of_row[met.row]]
        opening = key.opening
        if opening is None or not opening.is_slot or not bench.counts_as_small(key, band):
            continue
        turn = partial(_turn, opening, met, middle_hz=0.5 * sum(bench.bands_hz[band]))
        found.append(
            (met.entries, bench.kept(("slot", rays, polarization, opening, met.row, band), turn))
        )
    return found


def _turn(opening: SmallOpening, met: _Met, *, middle_hz: float) -> Floats:
    """Logarithms (k, 2) of what a slot passes of rays over the mean that tables hold."""
    frequency_hz = np.array([middle_hz])
    mean = passed_over_area(opening, frequency_hz=frequency_hz, cosines=met.cosines)
    directed = directed_over_area(
        opening,
        frequency_hz=frequency_hz,
        cosines=met.cosines,
        magnetic_along=met.magnetic_along,
        mode_across=met.mode_across,
    )
    return np.asarray(_middle(directed)[0, :, np.newaxis] - _middle(mean)[0])


def _middle(ratio: Bracket) -> Floats:
    """Logarithm of the middle of a bracket."""
    return np.asarray(0.5 * np.log(np.maximum(ratio.low * ratio.high, SMALLEST)))
