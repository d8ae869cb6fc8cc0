"""What readings leave open of a job's figures, as draws that all of its plans share.

Plain data: `envelope.survey` makes it from the readings, `envelope.exposure.tolerances.draw` puts
it in place of draws that know nothing of readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedPlace:
    """How far levels at one place lie from what the model says of it, as readings there tell.

    A reading belongs to a plan, so a place may have several: the errors of two plans at one place
    move together by what the plans have in common.
    """

    plans: tuple[str, ...]  # under which the place was read, the one without treatment first
    covariance_db2: Floats  # (plans, plans) of their errors before anything was read
    error_db: Floats  # (plans, draws) of those errors
    parts_w_m2: tuple[Mapping[str, tuple[float, float]], ...]  # by plan, source: direct, diffuse
    shift_db: tuple[float, ...]  # (plans,) by which what was read lies above the model's level

    def shift_of(self, plan: str) -> float:
        """Decibels to put on a plan's level: as it was read, else as the first plan was."""
        at = self.plans.index(plan) if plan in self.plans else 0
        return self.shift_db[at]


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

    def factor_of(self, receiver: str, plan: str) -> float:
        """Factor on a plan's level at a receiver, to what readings show it to be."""
        place = self.places.get(receiver)
        shift_db = self.shift_db + (0.0 if place is None else place.shift_of(plan))
        return float(10.0 ** (shift_db / 10.0))
