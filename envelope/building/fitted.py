"""What readings leave open of a job's figures, as draws that all of its plans share.

Plain data: `envelope.survey` makes it from the readings, `envelope.exposure.tolerances.draw` puts
it in place of draws that know nothing of readings.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from envelope.building.sources import MIRRORED
from envelope.geometry.plane import Floats

_LOOSE = 0.3  # of a source's own error, by which a level that was read may be off beside it
_LEAST = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedPlace:
    """How far levels at one place lie from what the model says of it, as readings there tell.

    A reading belongs to a plan and to the sources that it heard, so a place may have several: the
    errors of two of them at one place move together by what they have in common.
    """

    # of each: the plan without treatment first, of one plan what heard most first
    plans: tuple[str, ...]
    covariance_db2: Floats  # (n, n) of their errors before anything was read
    work_db2: tuple[float, ...]  # (n,) of it what a plan's work is off by, one figure everywhere
    error_db: Floats  # (n, draws) of those errors
    parts_w_m2: tuple[Mapping[str, tuple[float, float]], ...]  # by source: direct, diffuse
    shift_db: tuple[float, ...]  # (n,) by which what was read lies above the model's level

    def shift_of(self, plan: str, source: str) -> float:
        """Decibels to put on what a source brings under a plan.

        As readings under the plan that heard it have it, else as those under the first plan have
        it; 0 where none of them heard it.
        """
        for name in (plan, self.plans[0]):
            of_plan = [at for at, own in enumerate(self.plans) if own == name]
            shifts = shifts_db(
                [self.parts_w_m2[at] for at in of_plan], [self.shift_db[at] for at in of_plan]
            )
            if source in shifts:
                return shifts[source]
        return 0.0


def heard_in(parts: Mapping[str, tuple[float, float]]) -> frozenset[str]:
    """Sources that bring something of a level."""
    return frozenset(_powers(parts))


def source_of(name: str, names: Container[str]) -> str:
    """The source that a part is of: what the ground mirrors is its source's."""
    source = name.removesuffix(MIRRORED)
    return source if source in names else name


def shifts_db(
    levels: Sequence[Mapping[str, tuple[float, float]]], whole_db: Sequence[float]
) -> dict[str, float]:
    """By how much each source brings more, where levels of some of them are so much higher. [dB]

    Parameters
    ----------
    levels : (n,) mappings of str to (float, float)
        Direct and diffuse part of each level by source, what heard most first. [W/m²]
    whole_db : (n,) float
        By how much each level is higher. [dB]

    Returns
    -------
    shifts_db : dict of str to float
        Of the sources that bring something.

    Notes
    -----
    Errors of different sources are independent and equally large, so a level of shares w is off by
    Σ w e, and what is known of some levels tells of e as normal deviates do. What the first level
    then lacks goes to all of its sources alike.
    """
    powers = [_powers(parts) for parts in levels]
    names = sorted({name for power in powers for name in power})
    if not names:
        return {}
    share = np.array([[power.get(name, 0.0) for name in names] for power in powers])
    share /= np.maximum(share.sum(axis=1, keepdims=True), _LEAST)
    known = share @ share.T + _LOOSE**2 * np.eye(len(share))
    shift_db = share.T @ np.linalg.solve(known, np.array(whole_db))
    first = share[0] > 0.0
    if first.any():
        whole = float(share[0] @ 10.0 ** (shift_db / 10.0))
        shift_db = shift_db + first * (whole_db[0] - 10.0 * np.log10(whole))
    found = dict(zip(names, shift_db.tolist(), strict=True))
    return {
        name: found[source_of(name, parts)]
        for parts in levels
        for name, part in parts.items()
        if sum(part) > 0.0
    }


def _powers(parts: Mapping[str, tuple[float, float]]) -> dict[str, float]:
    """What each source brings, direct and diffuse, its mirrored partner with it. [W/m²]"""
    found: dict[str, float] = {}
    for name, part in parts.items():
        if sum(part) > 0.0:
            own = source_of(name, parts)
            found[own] = found.get(own, 0.0) + sum(part)
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """A job's figures as its readings leave them, each with the nominal draw first."""

    count: int  # size of the sample that was drawn from, without the nominal draw
    seed: int  # of that sample
    chosen: NDArray[np.int64]  # (draws,) which of the sample each draw is
    level: Mapping[str, Floats]  # (draws,) factors on each source's level, by source id
    duty: Mapping[str, Floats]  # (draws,) deviates of the duties that nobody states
    effective: float  # how many independent draws these are worth
    shift_db: float = 0.0  # middle of the model's error indoors, which all places share
    places: Mapping[str, FittedPlace] = field(default_factory=dict)  # by receiver id
    tempered: float = 1.0  # below 1 where readings and file agree so badly that bands were widened

    def factor_of(self, receiver: str, plan: str, source: str) -> float:
        """Factor on what a source brings to a receiver, to what readings show it to be."""
        place = self.places.get(receiver)
        shift_db = self.shift_db + (0.0 if place is None else place.shift_of(plan, source))
        return float(10.0 ** (shift_db / 10.0))
