"""What to do first, on the client's page: what each step does, leaves and costs; no decibels."""

from __future__ import annotations

from dataclasses import dataclass

from envelope.building.job import Job
from envelope.exposure.differences import Difference
from envelope.plans.decision import Decision, Step
from envelope.text import compared, level, percent
from envelope.text.decisions import (
    agreement_words,
    bed_moves,
    cost_words,
    step_lines,
    stop_words,
    worse_words,
)
from envelope.text.measures import measure_words
from envelope.text.names import shown
from envelope.text.numbers import SPACE
from envelope.text.trade import receiver_title, source_title
from viewer.handout.words import CAN_BE_TOLD, is_told

_MOST_WORSE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """One step as the page lays it out; `bar` is what remains of today's level, in percent."""

    number: int  # 0 for what is free
    does: tuple[str, ...]
    remains: str
    share: str
    bar: str
    range: str
    cost: str
    total: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsSection:
    """The sequence in three groups, what costs nothing, and what not to do by itself."""

    receiver: str
    today: str
    free: tuple[str, ...]
    start: StepRow | None  # what the free measures that the steps count on leave
    groups: tuple[tuple[str, tuple[StepRow, ...]], ...]
    stop: str
    worse: tuple[str, ...]
    priced: bool
    tax: str


def steps_section(job: Job, decision: Decision) -> StepsSection:
    """What the page says of a decision.

    Parameters
    ----------
    job : Job
    decision : Decision
        Of `envelope.plans.decide`, for the receiver that the page opens with.
    """
    today_w_m2 = decision.levels_w_m2[0][1]
    numbers = {id(step): number for number, step in enumerate(decision.steps, 1)}

    def bar_of(level_w_m2: float) -> tuple[str, str]:
        share = level_w_m2 / today_w_m2 if today_w_m2 > 0.0 else 0.0
        return percent(share), f"{100.0 * min(share, 1.0):.2f}"

    def row(step: Step) -> StepRow:
        share, bar = bar_of(step.level_w_m2)
        return StepRow(
            number=numbers[id(step)],
            does=tuple(shown(each, limit=160) for each in step_lines(job, step)),
            remains=level(step.level_w_m2),
            share=share,
            bar=bar,
            range=_against_today(step.so_far),
            cost=cost_words(job, decision, step.cents),
            total=cost_words(job, decision, step.total_cents),
        )

    counted = [each for each in decision.free if each.counted]
    start = None
    if counted:
        share, bar = bar_of(decision.start_w_m2)
        start = StepRow(
            number=0,
            does=tuple(
                f"{source_title(job, each.source)}: {measure_words(job, each.change)}"
                for each in counted
            ),
            remains=level(decision.start_w_m2),
            share=share,
            bar=bar,
            # one measure's range is known; that of several together is not worked out
            range=_against_today(counted[0].gain) if len(counted) == 1 else "",
            cost="nothing",
            total="nothing",
        )
    groups = (
        ("Do first", decision.first),
        ("Then, as far as the money goes", decision.then),
        ("Not worth its money", decision.not_worth),
    )
    return StepsSection(
        receiver=receiver_title(job, decision.receiver),
        today=level(today_w_m2),
        free=tuple(
            f"{source_title(job, each.source)}: {measure_words(job, each.change)} "
            f"({_by_itself(each.gain)}; {agreement_words(each, for_client=True)})"
            for each in decision.free
            if not each.counted  # those stand in the table, before the first step
        )
        + tuple(
            f"{where} ({compared(below_db)})" for where, below_db in bed_moves(job, decision.bed)
        ),
        start=start,
        groups=tuple(
            (title, tuple(row(step) for step in steps)) for title, steps in groups if steps
        ),
        stop=stop_words(decision) if decision.steps else "",
        worse=tuple(
            shown(worse_words(job, decision, each), limit=120)
            for each in decision.worse[:_MOST_WORSE]
        ),
        priced=decision.candidates.priced,
        tax=percent(float(job.costs.tax)) if decision.candidates.priced and job.costs.tax else "",
    )


def _against_today(found: Difference) -> str:
    """The range of all that has been done so far, against today."""
    if not is_told(found):
        return CAN_BE_TOLD
    low, high = (compared(end) for end in sorted((found.low_db, found.high_db), key=abs))
    number, _, unit = low.replace(SPACE, " ").partition(" ")
    same = unit and high.replace(SPACE, " ").endswith(f" {unit}")
    return f"{number} to {high}" if same else f"{low} to {high}"


def _by_itself(found: Difference) -> str:
    return compared(found.below_db) if is_told(found) else CAN_BE_TOLD
