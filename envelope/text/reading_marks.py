"""What a picture, a record or a hand-out shows of each reading: where, how much, when, explained?

One record for all of them, so that a reading is worded the same wherever it is shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from envelope.building.ground_reflection import without_ground_partners
from envelope.building.job import Job, Reading
from envelope.geometry.plane import Floats, frozen
from envelope.survey.verdicts import ReadingVerdict
from envelope.text import trade
from envelope.text.names import shown
from envelope.text.numbers import SPACE, level
from envelope.text.surveys import (
    HARDLY,
    SURELY,
    done_words,
    opening_states,
    plan_words,
    verdict_words,
)

Stands = Literal["explained", "not explained", "cannot be told", "not judged"]
FEW_SOURCES = 2  # up to which a reading of all of them names each


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingMark:
    """One reading as people see it."""

    id: str
    position_m: Floats  # (3,) in the building's coordinates
    space: str | None  # id; None outdoors
    receiver: str | None  # id of the receiver that it was taken at
    where: str  # "pillow in bedroom, garden window open"
    value: str  # "330 µW/m²", "below 0.1 µW/m²"
    of: str  # the sources heard, and which were off
    visit: str  # id, "" where it names none
    day: str  # ISO date of the visit, "" where it names none
    plan: str  # id of what had been done, "as-built" for nothing
    done: str  # the same in words: "nothing yet", "“Walls and ceiling”"
    stage: str  # the same as a heading: "today", "Walls and ceiling"
    meter: str  # its id and how it read
    spots: int
    stands: Stands
    explained: float | None  # odds that the job explains it, 0 to 1; None where not judged
    verdict: str  # "explained, 19 to 1"; "" where not judged
    expected: str  # 10–90 % range by all else that is known; "" where not judged


def reading_marks(job: Job, verdicts: Sequence[ReadingVerdict] = ()) -> tuple[ReadingMark, ...]:
    """What there is to show of every reading, in the order of the job.

    Parameters
    ----------
    job : Job
    verdicts : sequence of ReadingVerdict, optional
        From `envelope.survey.verdicts.verdicts_of`; readings without one are not judged.
    """
    judged = {each.reading: each for each in verdicts}
    days = {visit.id: visit.date.isoformat() for visit in job.visits}
    return tuple(_mark(job, each, judged.get(each.id), days) for each in job.readings)


def taken_at(job: Job, *, receiver: str, plan: str) -> tuple[ReadingMark, ...]:
    """Readings of all that is heard at a receiver under a plan, windows and switches as stated.

    Parameters
    ----------
    job : Job
    receiver, plan : str
        Ids.
    """
    everything = {source.id for source in job.sources}
    daily = tuple(sorted(job.plan(plan).states.items()))
    return tuple(
        mark
        for mark, each in zip(reading_marks(job), job.readings, strict=True)
        if each.receiver == receiver
        and each.plan.id == plan
        and not each.off
        and everything <= set(each.sources)
        and tuple(sorted(each.plan.states.items())) == daily
    )


def _mark(
    job: Job, reading: Reading, verdict: ReadingVerdict | None, days: dict[str, str]
) -> ReadingMark:
    odds = None if verdict is None else verdict.explained
    ends = (
        ""
        if verdict is None
        else f"{level(verdict.low_w_m2, unit=False)} to {level(verdict.high_w_m2)}"
    )
    return ReadingMark(
        id=reading.id,
        position_m=frozen(np.asarray(reading.position_m)),
        space=reading.space,
        receiver=reading.receiver,
        where=_where(job, reading),
        value=value_words(reading),
        of=_heard(job, reading),
        visit=reading.visit or "",
        day=days.get(reading.visit or "", ""),
        plan=reading.plan.id,
        done=done_words(job, reading.plan.id),
        stage=plan_words(job, reading.plan.id),
        meter=" ".join(part for part in (shown(reading.meter), reading.detector) if part),
        spots=reading.spots,
        stands=_stands(odds),
        explained=odds,
        verdict="" if odds is None else verdict_words(job, reading, odds),
        expected=ends,
    )


def value_words(reading: Reading) -> str:
    """What the meter showed, a bound as a bound."""
    sign = {"value": "", "below": f"below{SPACE}", "above": f"above{SPACE}"}[reading.shows]
    return sign + level(reading.level_w_m2)


def _where(job: Job, reading: Reading) -> str:
    where = "outdoors" if reading.space is None else trade.space_title(job, reading.space)
    if reading.receiver is not None:
        where = f"{trade.receiver_title(job, reading.receiver)} in {where}"
    return ", ".join((where, *opening_states(job, reading)))


def _heard(job: Job, reading: Reading) -> str:
    heard = ", ".join(dict.fromkeys(trade.source_title(job, name) for name in reading.sources))
    every = {source.id for source in without_ground_partners(job).sources}
    every -= set(reading.off)
    if len(every) > FEW_SOURCES and every <= set(reading.sources):
        heard = "all sources"
    without = ", ".join(dict.fromkeys(trade.source_title(job, name) for name in reading.off))
    return heard + (f" (off: {without})" if without else "")


def _stands(odds: float | None) -> Stands:
    if odds is None:
        return "not judged"
    if odds >= SURELY:
        return "explained"
    return "not explained" if odds <= HARDLY else "cannot be told"
