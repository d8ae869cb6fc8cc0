"""Which panels get more points, so that a cast's standard errors come to what was asked for.

A cast knows no materials: a change of them must not cast again, nor move a figure by other points.
So errors are looked at under trial losses, whole decibels by the kind of element: as a house of
the ordinary kind is built, and with those parts of the receiver's room treated that plans treat
together, up to all of them and all but one. Rounds of doubled points go to the panels that bring
the most error for a ray, until every trial's errors are small enough or the rays run out. What was
reached under the plans of a job is told afterwards, from the losses that they do have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.building.model import Building, ElementKind, Panel, Patch
from envelope.geometry.plane import Floats
from envelope.rays.kernel.arrays import Longs
from envelope.rays.records import SCRAMBLES, STUDENT_T, Signatures

BUILT_DB: dict[ElementKind, int] = {
    "exterior-wall": 8,
    "interior-wall": 4,
    "floor": 8,
    "slab": 12,
    "roof": 5,
    "window": 2,
    "skylight": 2,
    "door": 3,
    "hatch": 3,
}  # others, holes among them, lose nothing
TREATED_DB = 20
STEP_DB = 20  # below which a direction counts as unshielded
# What plans treat together in the receiver's room, beside nothing and all of it.
WALLS, OVERHEAD, BELOW, GLASS, DOORS = range(5)
GROUPS = {
    "wall": WALLS, "reveal": WALLS, "ceiling": OVERHEAD, "floor": BELOW, "window": GLASS,
    "skylight": GLASS, "door": DOORS, "hatch": DOORS,
}  # fmt: skip
TRIALS: tuple[frozenset[int], ...] = (
    frozenset(),
    frozenset({WALLS}),
    frozenset({WALLS, GLASS}),
    frozenset({WALLS, OVERHEAD, GLASS}),
    frozenset({WALLS, OVERHEAD, BELOW, DOORS}),
    frozenset({WALLS, OVERHEAD, BELOW, GLASS, DOORS}),
)
FALL = 1.5  # power of the number of points by which a variance falls
ROUNDS = 6
_BITS = 62 // len(TRIALS)  # for each trial's loss along a ray, so that one number holds them all
_MOST_DB = 2**_BITS  # eighty walls
_PLACES = _BITS * np.arange(len(TRIALS))
_PASSED = 10.0 ** (-0.1 * np.arange(_MOST_DB))
_AT_ONCE = 2  # doublings of a panel's points in a round, whose variance is only roughly known
_SAFE = 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials:
    """Trial losses, and what the rays of each aim add up to under them."""

    packed_db: Longs  # (2 * patches,) loss of each row of a crossing, trial by trial in `_BITS`
    found: Floats  # (figures, aims, 8) transmissions, unshielded and exposed rays

    @classmethod
    def of(cls, building: Building, *, space: str, aims: int) -> Trials:
        """Losses of a building round a receiver's space, with nothing added up as yet."""
        return cls(
            packed_db=(trial_losses_db(building, space=space) << _PLACES).sum(axis=1),
            found=np.zeros((2 * len(TRIALS) + 1, aims, SCRAMBLES)),
        )

    def sums(self, parts: Sequence[Signatures], bins: int) -> Floats:
        """What signatures add up to under each trial: (figures, 8)."""
        return sum(
            (_sums(part, bins=bins, packed_db=self.packed_db) for part in parts if len(part.sky)),
            np.zeros((len(self.found), SCRAMBLES)),
        )

    def add(self, aim: int, sums: Floats) -> None:
        """Add what some rays of an aim, told by its index, came to."""
        self.found[:, aim] += sums


def trial_losses_db(building: Building, *, space: str) -> NDArray[np.int64]:
    """Loss (2 * patches, trials) of each row of a crossing, in whole decibels. [dB]

    They are whole so that a sum along a ray does not hang on the order of its terms.
    """
    home = {panel.id: panel for panel in building.space(space).panels}
    built = np.array(
        [BUILT_DB.get(building.elements[patch.element].kind, 0) for patch in building.patches]
    )
    reveal = np.array([building.panel(patch.panel).kind == "reveal" for patch in building.patches])
    groups = [_group(patch, building, home) for patch in building.patches]
    treated = np.array([[group in trial for trial in TRIALS] for group in groups])
    own = np.where(reveal, 0, built)[:, np.newaxis] + TREATED_DB * treated
    return np.concatenate((own, np.repeat(built[:, np.newaxis], len(TRIALS), axis=1)))


def _group(patch: Patch, building: Building, home: dict[str, Panel]) -> int | None:
    """Group of what a patch belongs to in the receiver's room; None elsewhere."""
    panel = home.get(patch.panel)
    if panel is None and patch.partner is not None:
        panel = home.get(building.patches[patch.partner].panel)
    return None if panel is None else GROUPS.get(panel.kind)


def _sums(signatures: Signatures, *, bins: int, packed_db: Longs) -> Floats:
    """Sums (figures, 8) of the transmission, of what is unshielded, and of what is exposed.

    All trials' losses are added up along the rays at once, several in one number.
    """
    along = np.add.reduceat(packed_db[signatures.entries // bins], signatures.start[:-1])
    along_db = (along >> _PLACES[:, np.newaxis]) & (_MOST_DB - 1)
    exposed = (signatures.sky > 0).astype(np.float64)
    through = np.concatenate(
        (_PASSED[along_db] * exposed, (along_db < STEP_DB) * exposed, exposed[np.newaxis])
    )
    return np.asarray(through @ signatures.weights_sr)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scatter:
    """How much each aim brings to the error of each figure, over what that may have."""

    share: Floats  # (figures, aims) of the variance allowed

    @classmethod
    def of(cls, sums_sr: Floats, *, error: float) -> Scatter:
        """Scatter of sums (figures, aims, 8), already in steradians. [sr]"""
        count = sums_sr.shape[-1]
        variance = np.var(sums_sr, axis=2, ddof=1) * (STUDENT_T**2 / count)
        trials = len(TRIALS)
        # sorted, so that the order of the panels does not matter
        whole = np.sort(sums_sr[:trials].mean(axis=2), axis=1).sum(axis=1)
        allowed = np.full(len(sums_sr), 4.0 * np.pi * error)
        allowed[:trials] = error * whole
        allowed *= _SAFE
        share = np.zeros_like(variance)
        np.divide(
            variance, allowed[:, np.newaxis] ** 2, out=share, where=allowed[:, np.newaxis] > 0.0
        )
        return cls(share=share)

    @property
    def reached(self) -> Floats:
        """Variance (figures,) of each figure over what is allowed; at most 1 where reached."""
        return np.asarray(np.sort(self.share, axis=1).sum(axis=1))


def doublings(scatter: Scatter, *, rays: Longs, room: int) -> Longs:
    """How often the points of each aim (aims,) are to be doubled.

    Parameters
    ----------
    scatter : Scatter
        As it is now.
    rays : (aims,) int
        Rays walked for them; those that another panel stops are not.
    room : int
        Rays that may still be cast.
    """
    share = scatter.share.copy()
    times = np.zeros(len(rays), dtype=np.int64)
    fall = 2.0**-FALL
    while True:
        short = Scatter(share=share).reached > 1.0
        gain = (share[short].sum(axis=0) * (1.0 - fall)) / (rays << times)
        best = float(gain.max(initial=0.0))
        chosen = (gain > 0.5 * best) & (times < _AT_ONCE)
        if not short.any() or not chosen.any():
            return times
        cost = int((rays[chosen] << times[chosen]).sum())
        if cost > room:
            return times
        room -= cost
        times[chosen] += 1
        share[:, chosen] *= fall
