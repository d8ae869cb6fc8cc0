"""What to do first, for the pages: worked out on demand, once for each state of the job.

Words of steps, costs and measures are those of the command line (`envelope.text.decisions`).
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field, replace

from envelope import text
from envelope.building.job import Job, Plan
from envelope.errors import EnvelopeError
from envelope.plans.decision import Decision, Step
from envelope.project.edit_table import add_row
from envelope.project.plan_entry import plan_entry
from envelope.text.decisions import (
    agreement_words,
    bed_moves,
    cost_words,
    frames_words,
    not_offered_words,
    prices_missing,
    refused_words,
    step_lines,
    step_words,
    stop_words,
    worse_words,
)
from envelope.text.measures import measure_words
from envelope.text.names import shown
from envelope.text.sentences import change_words, difference_words
from envelope.text.trade import receiver_title, source_title
from viewer.app import protocol
from viewer.app.session import EditError, Session, free_plan_id, said
from viewer.scene.decision_plot import decision_plot

_TRIED = "tried-out"  # id of a plan that is not in the file
_MOST = 4  # lines of what is worse, and of what the figures rest on


@dataclass(slots=True, kw_only=True)
class Steps:
    """The sequences of one job, and the step of them that is tried out.

    Parameters
    ----------
    session : Session
    """

    session: Session
    _found: dict[tuple[int, str | None], tuple[Job, Decision]] = field(default_factory=dict)
    _tried: tuple[Job, Plan] | None = None
    _with: Job | None = None  # the job with what is tried out

    @property
    def job(self) -> Job | None:
        """The job as pages show it: with the plan that is tried out, while nothing else changes."""
        job = self.session.job
        if self._tried is None or self._tried[0] is not job:
            self._tried = self._with = None
            return job
        return self._with

    @property
    def tried(self) -> str | None:
        """Id of the plan that is tried out."""
        job = self.job
        return None if job is None or self._tried is None else self._tried[1].id

    async def told(self, receiver: str | None) -> protocol.StepsTold | None:
        """The sequence in words; None where the job has changed meanwhile."""
        told = _nothing(receiver)
        job = self.session.job
        try:
            decision = await self._decide(receiver)
        except EnvelopeError as error:
            told["trouble"] = said(error) if job is None else refused_words(job, error)
            return told
        if job is None or self.session.job is not job:
            return None
        return _told(job, decision, receiver)

    async def try_out(self, receiver: str | None, number: int) -> protocol.TriedTold:
        """Add a step's plan to what pages show.

        Raises
        ------
        EditError
            Where the sequence has no such step.
        """
        decision = await self._decide(receiver)
        job = self.session.job
        if job is None or not 1 <= number <= len(decision.steps):
            raise EditError("there is no such step any more: look at the sequence again")
        step = decision.steps[number - 1]
        taken = [plan.id for plan in job.plans]
        name = _TRIED if _TRIED not in taken else free_plan_id(like=_TRIED, taken=taken)
        plan = replace(step.plan, id=name, title=f"Up to step {number}, not in the file")
        self._tried = (job, plan)
        self._with = replace(job, plans=(*job.plans, plan))
        done = "; ".join(
            f"{source_title(job, each.device)}: {measure_words(job, each)}" for each in step.sources
        )
        note = f"Counted on here: {shown(done, limit=300)}." if done else ""
        return {"tell": "tried", "plan": name, "number": number, "note": note}

    def keep(self, title: str) -> str:
        """Write what is tried out into the file; answers the plan's id.

        Raises
        ------
        EditError
            Where nothing is tried out.
        """
        job = self.job
        if job is None or self._tried is None:
            raise EditError("nothing is tried out: choose a step first")
        plan = self._tried[1]
        taken = [each.id for each in job.plans if each.id != plan.id]
        name = free_plan_id(like="steps", taken=taken)
        entry = plan_entry(job, plan, name=name, title=title.strip())
        self.session.edit(
            lambda text: add_row(text=text, table="plan", entry=entry),
            label=f"new plan {name}",
            casts_stay=True,
            plans_only=True,
        )
        return name

    async def _decide(self, receiver: str | None) -> Decision:
        job, findings = self.session.job, self.session.findings
        if job is None or findings is None:
            raise EditError("the job is not worked out yet")
        if job.questions:
            raise EditError(
                "nothing is advised yet: answer first, above, what the model leaves open"
            )
        key = (id(job), receiver)
        if key not in self._found or self._found[key][0] is not job:
            from envelope.plans.decide import decide  # takes long to import

            decision = await asyncio.to_thread(decide, job, casts=findings.casts, receiver=receiver)
            self._found = {kept: each for kept, each in self._found.items() if each[0] is job} | {
                key: (job, decision)
            }
        return self._found[key][1]


def _nothing(receiver: str | None) -> protocol.StepsTold:
    return {
        "tell": "steps",
        "receiver": receiver,
        "of": "",
        "today": "",
        "free": [],
        "first": [],
        "then": [],
        "rest": [],
        "stop": "",
        "worse": [],
        "rests": [],
        "notes": [],
        "plot": None,
        "trouble": None,
    }


def _told(job: Job, decision: Decision, receiver: str | None) -> protocol.StepsTold:
    today_w_m2 = decision.levels_w_m2[0][1]
    numbers = {id(step): number for number, step in enumerate(decision.steps, 1)}

    def at(step: Step) -> str:
        """Where a step's gain counts: at the receiver that was worst before it."""
        return f" at {receiver_title(job, step.gain_at)}" if len(decision.levels_w_m2) > 1 else ""

    def step_told(step: Step) -> protocol.StepTold:
        return {
            "number": numbers[id(step)],
            "does": [shown(each, limit=160) for each in step_lines(job, step)],
            "level": text.level(step.level_w_m2),
            "share": step.level_w_m2 / today_w_m2 if today_w_m2 > 0.0 else 0.0,
            "change": difference_words(step.gain) + at(step),
            "cost": cost_words(job, decision, step.cents),
            "total": cost_words(job, decision, step.total_cents),
            "warns": ""
            if step.gain.below_db >= 0.0
            else "raises the level by itself: do it together with the next one",
        }

    notes = []
    if not decision.candidates.priced:
        missing = shown(prices_missing(job, decision.candidates.unpriced), limit=300)
        notes.append(f"Prices are missing, so the order is by area: {missing}.")
    elif job.costs.tax:
        notes.append(f"Costs are before tax of {text.percent(float(job.costs.tax))}.")
    if decision.candidates.nothing_offered:
        notes.append(f"Left as they are: {not_offered_words(decision.candidates.nothing_offered)}.")
    if frames := frames_words(job, decision):
        notes.append(f"{shown(frames, limit=300)}.")
    free: list[protocol.FreeTold] = [
        {
            "words": f"{source_title(job, each.source)}: {measure_words(job, each.change)}",
            "change": difference_words(each.gain),
            "agreed": agreement_words(each, for_client=True),
        }
        for each in decision.free[:_MOST]
    ]
    free += [
        {
            "words": where,
            "change": f"{change_words(below_db)} today",
            "agreed": "no step counts on it",
        }
        for where, below_db in bed_moves(job, decision.bed)
    ]
    return {
        **_nothing(receiver),
        "of": receiver_title(job, decision.receiver),
        "today": text.level(today_w_m2),
        "free": free,
        "first": [step_told(step) for step in decision.first],
        "then": [step_told(step) for step in decision.then],
        "rest": [step_told(step) for step in decision.not_worth],
        "stop": f"{stop_words(decision)}." if decision.steps else "",
        "worse": [
            f"{shown(worse_words(job, decision, each), limit=120)}: {text.level(each.level_w_m2)}, "
            f"from {text.level(decision.start_w_m2)}"
            for each in decision.worse[:_MOST]
        ],
        "rests": [
            shown(f"{each.words}: {each.taken}. To settle it, {each.settle}.", limit=300)
            for each in decision.rests[:3]
        ],
        "notes": notes,
        "plot": _plot_told(job, decision) if decision.steps else None,
    }


def _plot_told(job: Job, decision: Decision) -> protocol.PlotTold:
    plot = decision_plot(job, decision)
    return {
        "across": plot.across,
        "up": plot.up,
        "today": plot.today_w_m2,
        "start": plot.start_w_m2,
        "steps": [
            {
                "number": each.number,
                "cost": each.cost,
                "level": each.level_w_m2,
                "low": each.low_w_m2,
                "high": each.high_w_m2,
                "worth": each.is_worth,
                "words": f"Step {each.number}: {shown(step_words(job, step), limit=300)}. "
                f"{text.level(each.level_w_m2)} left, eight times in ten between "
                f"{text.level(each.low_w_m2)} and {text.level(each.high_w_m2)}; "
                f"{cost_words(job, decision, step.total_cents)} so far.",
            }
            for each, step in zip(plot.steps, decision.steps, strict=True)
        ],
        "front": list(plot.front),
        "costs": [{"value": each.value, "words": each.words} for each in plot.costs],
        "levels": [{"value": each.value, "words": each.words} for each in plot.levels],
    }
