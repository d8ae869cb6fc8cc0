"""Trials of changes beside the edits: what each choice would bring, told to the page that asks."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Sequence
from typing import Any

from envelope.building.job import Job, Plan
from envelope.errors import EnvelopeError
from envelope.pricing.bill import Bill
from envelope.works.takeoff import cost_of
from viewer.app import protocol
from viewer.app.describing import bill_told, choice_told
from viewer.app.outlook import (
    Choice,
    Stack,
    outcome,
    toggles,
    with_stack,
)
from viewer.app.protocol import Tell
from viewer.app.results import Findings
from viewer.app.session import Session, said


class Trials:
    """Trials that are under way, one of each sort for each page.

    Parameters
    ----------
    session : Session
        Whose job is tried; it is never changed here.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._under_way: dict[tuple[int, str], asyncio.Task[None]] = {}

    @property
    def tasks(self) -> tuple[asyncio.Task[None], ...]:
        """What is under way."""
        return tuple(self._under_way.values())

    def begin(self, key: tuple[int, str], work: Coroutine[Any, Any, None]) -> None:
        """Start a trial in place of the one before under the same key."""
        before = self._under_way.pop(key, None)
        if before is not None:
            before.cancel()
        task = asyncio.create_task(work)
        self._under_way[key] = task
        task.add_done_callback(lambda done: self._ended(key, done))

    def _ended(self, key: tuple[int, str], task: asyncio.Task[None]) -> None:
        if self._under_way.get(key) is task:
            del self._under_way[key]

    async def choices(self, tell: Tell, asked: protocol.SeeChoices) -> None:
        """What a click on each treatment of a face would bring."""
        ready = self._ready(asked.plan, asked.receiver)
        if ready is None:
            return
        job, plan, findings = ready
        worn = plan.treatments.get(asked.panel, ())
        panels = [each for each in asked.panels if each in job.building.panel_index]
        now = await asyncio.to_thread(_tried, job, findings, asked.receiver, plan, worn)
        choices: dict[str, protocol.ChoiceTold] = {}
        may = [each for each in job.treatments if each in worn or job.may_go(each, asked.panel)]
        for name, stack in zip(may, toggles(worn, may), strict=True):
            changed = with_stack(plan, panels, stack)
            tried = await asyncio.to_thread(_tried, job, findings, asked.receiver, changed, stack)
            choices[name] = choice_told(tried[0], now=now[0], bill=tried[1], bill_now=now[1])
        if self._session.job is job:
            tell({"tell": "choices", "plan": plan.id, "panel": asked.panel, "choices": choices})

    def _ready(self, plan: str, receiver: str) -> tuple[Job, Plan, Findings] | None:
        """Job, plan and findings, where there are such and the receiver has been cast."""
        job, findings = self._session.job, self._session.findings
        if job is None or findings is None or not findings.has(receiver):
            return None
        found = next((each for each in job.plans if each.id == plan), None)
        return None if found is None else (job, found, findings)


def bills_told(job: Job, plans: Sequence[Plan]) -> dict[str, protocol.BillTold]:
    """What plans cost; one that cannot be priced says why."""
    told: dict[str, protocol.BillTold] = {}
    for plan in plans:
        try:
            told[plan.id] = bill_told(cost_of(job, plan))
        except EnvelopeError as error:
            told[plan.id] = {"total": None, "unpriced": [said(error)]}
    return told


def _tried(
    job: Job, findings: Findings, receiver: str, plan: Plan, stack: Stack
) -> tuple[Choice, Bill | None]:
    try:
        bill = cost_of(job, plan)
    except EnvelopeError:
        bill = None
    return outcome(findings, plan, receiver, stack), bill
