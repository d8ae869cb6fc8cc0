"""What a meter can show at all: the room left between what it reads and the least that it shows.

A step can only be read as far as the level before the work lies above the meter's floor. That is
the dynamic range of a test set-up: IEEE Std 299-2006 asks of it that it exceed the loss to be
shown by a margin (6 dB; from memory, the clause is not verified).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from envelope.building.job import AS_BUILT, Job, Meter
from envelope.exposure.analysis_record import Analysis

# By which the dynamic range is to exceed what it is to show: IEEE Std 299-2006, value from memory.
MARGIN_DB = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterRange:
    """One step at one place, beside what a meter can show of it."""

    meter: str
    receiver: str
    plan: str
    range_db: float  # from the level today down to the least that the meter shows
    promised_db: float  # by how much the plan is to lower the level
    left_w_m2: float  # what is to be left
    lowest_w_m2: float  # the least that the meter shows

    @property
    def is_below(self) -> bool:
        """Whether what is to be left lies below the meter's floor altogether."""
        return self.promised_db >= self.range_db


def dynamic_range_db(*, level_w_m2: float, lowest_w_m2: float) -> float:
    """How far a level may fall before a meter shows nothing of it. [dB]

    Examples
    --------
    >>> round(dynamic_range_db(level_w_m2=1e-3, lowest_w_m2=1e-6), 6)
    30.0
    """
    return 10.0 * float(np.log10(level_w_m2 / lowest_w_m2))


def short_ranges(job: Job, analysis: Analysis) -> tuple[MeterRange, ...]:
    """Steps that a meter of the job cannot show with the margin.

    Parameters
    ----------
    job : Job
        With its meters; one without a stated floor says nothing.
    analysis : Analysis
        Of today and of plans.
    """
    today = _levels(analysis, AS_BUILT)
    found = []
    meters: list[Meter] = [each for each in job.meters if each.lowest_w_m2 > 0.0]
    plans = [each.plan for each in analysis.plans if each.plan != AS_BUILT]
    for meter, plan in product(meters, plans):
        for receiver, left in _levels(analysis, plan).items():
            before = today.get(receiver, 0.0)
            if before <= 0.0 or left <= 0.0:
                continue
            room = dynamic_range_db(level_w_m2=before, lowest_w_m2=meter.lowest_w_m2)
            promised = dynamic_range_db(level_w_m2=before, lowest_w_m2=left)
            if promised > 0.0 and promised + MARGIN_DB > room:
                found.append(
                    MeterRange(
                        meter=meter.id,
                        receiver=receiver,
                        plan=plan,
                        range_db=room,
                        promised_db=promised,
                        left_w_m2=left,
                        lowest_w_m2=meter.lowest_w_m2,
                    )
                )
    return tuple(found)


def _levels(analysis: Analysis, plan: str) -> Mapping[str, float]:
    """Levels at receivers that hear a source, by their ids."""
    return {each.id: each.level_w_m2 for each in analysis.plan(plan).receivers if each.sources}
