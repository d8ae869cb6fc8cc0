"""What pages show of a job: its scene, a column a plan, and how far the casting is.

Numbers of what pages show come first; bands and the rest follow once nobody edits.
"""

from __future__ import annotations

import asyncio
import hashlib
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

from envelope.building.job import Job, Plan
from envelope.errors import CancelledError, EnvelopeError
from envelope.exposure.results import PlanResult
from envelope.text.names import shown
from viewer.app import model as app_model
from viewer.app import protocol
from viewer.app.pages import Page, Pages
from viewer.app.protocol import Told
from viewer.app.readings import Readings
from viewer.app.results import Findings, Place, place_of
from viewer.app.session import Disk, EditError, Session, said
from viewer.app.steps import Steps
from viewer.app.trials import bills_told
from viewer.app.whole import beyond_told, faulty_told, job_told, losses_told
from viewer.app.wiring import WiringDesk
from viewer.scene.build import build_scene, with_results
from viewer.scene.json_types import ColumnJson
from viewer.scene.records import Scene
from viewer.scene.to_json import column_to_json

QUIET_S = 0.4  # without an edit, before what takes longer is worked out


@dataclass(slots=True, kw_only=True, eq=False)
class Display:
    """One job on all its pages.

    Parameters
    ----------
    session : Session
    pages : Pages
    steps : Steps
        A step that is tried out is shown as a plan.
    wiring : WiringDesk
    readings : Readings
    doing : asyncio.Lock
        Held by whatever changes the job or what pages show of it.
    """

    session: Session
    pages: Pages
    steps: Steps
    wiring: WiringDesk
    doing: asyncio.Lock
    readings: Readings
    scene: Scene | None = None
    stopped: bool = False
    disk: Disk = "same"
    told: Told | None = None  # to every page when the scene was last made
    _shows: object = None  # what the scene was made of
    _told: dict[str, object] = field(default_factory=dict)  # plan → what its column was made of
    _casting: asyncio.Task[None] | None = None
    _later: asyncio.Task[None] | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _share: float | None = None

    @property
    def tasks(self) -> tuple[asyncio.Task[None], ...]:
        """What is under way."""
        return tuple(each for each in (self._casting, self._later) if each is not None)

    def halt(self) -> None:
        """Stop casting."""
        self._stop.set()

    # What pages are told

    def tell_status(self) -> None:
        """Tell how the job stands, and the text where it is new."""
        self.pages.tell_file()
        self.pages.tell_all({"tell": "status", **self._status()})

    def _status(self) -> protocol.Status:
        session = self.session
        return {
            "file": shown(session.path.name),
            "folder": shown(str(session.path.parent), limit=120),
            "saved": session.is_saved,
            "mark": hashlib.sha256(session.text.encode()).hexdigest()[:12],
            "undo": None if session.undoes is None else shown(session.undoes),
            "redo": None if session.redoes is None else shown(session.redoes),
            "disk": self.disk,
            "other": session.other_process,
            "waiting": session.waiting is not None,
            "questions": app_model.questions_told(session.job),
            "casting": self._share,
            "stopped": self.stopped,
        }

    def whole(self) -> Told:
        """Everything, for a page that has nothing yet."""
        job = self.steps.job
        if job is None:
            return faulty_told(self.session, self._status())
        assert self.scene is not None
        return job_told(
            self.session,
            job,
            scene=self.scene,
            status=self._status(),
            losses=self._losses(job.plans),
            tried=self.steps.tried,
        )

    def _losses(self, plans: Sequence[Plan]) -> protocol.Losses:
        """Losses by band of what pages show."""
        return losses_told(self.job(), self.session.findings, plans, self.pages.receivers)

    def tell_columns(
        self, plans: Sequence[Plan], *, findings: Findings | None, first: Page | None = None
    ) -> None:
        """Tell what is new of some plans; for one page's receiver alone where that is said."""
        assert self.scene is not None
        job = self.job()
        by_id = {plan.id: plan for plan in plans}
        receiver = None
        if first is not None and job.receivers:
            known = [each.id for each in job.receivers]
            receiver = [first.receiver if first.receiver in known else known[0]]
        before = {plan.id: plan.result for plan in self.scene.plans}
        results = []
        for plan in job.plans:
            result = before.get(plan.id)
            if findings is not None and plan.id in by_id:
                result = findings.of(plan=by_id[plan.id], receivers=receiver)
            results.append(result or PlanResult(plan=plan.id, receivers=()))
        seen = _with_plans(job, by_id)
        self.scene = with_results(self.scene, job=seen, results=results)
        self.pages.tell_all(
            {
                "tell": "columns",
                "plans": [plan.id for plan in job.plans],
                "columns": {
                    name: cast(ColumnJson, column_to_json(self.scene, plan=name)) for name in by_id
                },
                "losses": self._losses(plans),
                "bills": bills_told(job, plans),
                "beyond": beyond_told(self.session.findings),
                "tried": self.steps.tried,
            }
        )

    def _lacks(self, plan: Plan) -> bool:
        """Whether something of a plan has not been told yet: a receiver, or a band."""
        job = self.job()
        told = {} if self.scene is None else {each.id: each.result for each in self.scene.plans}
        result = told.get(plan.id)
        if result is None or len(result.receivers) < len(job.receivers):
            return True
        return bool(job.sources) and any(each.low_w_m2 is None for each in result.receivers)

    # What is worked out

    def job(self) -> Job:
        """The job as pages show it, with the step that is tried out."""
        job = self.steps.job
        if job is None:
            raise EditError("the job has faults: mend them first")
        return job

    def plan_ids(self) -> list[str]:
        """Plans that pages may show."""
        return [] if self.steps.job is None else [plan.id for plan in self.steps.job.plans]

    def _made_of(self, job: Job) -> tuple[object, tuple[Place, ...], bool]:
        """What a scene's shapes and scales depend on."""
        places = tuple(place_of(receiver) for receiver in job.receivers)
        return self.session.now.castings, places, self.session.findings is not None

    async def refresh(self) -> None:
        """Bring the pages up to the job as it stands, what they show first."""
        job = self.steps.job
        if job is None or self.scene is None or self._shows != self._made_of(job):
            await self.show()
            self.cast_if_needed()
            return
        findings = self.session.findings
        now = {plan.id: _column_of(plan) for plan in job.plans}
        visible = self.pages.plans
        changed = [plan for plan in job.plans if self._told.get(plan.id) != now[plan.id]]
        if changed or list(self._told) != list(now):
            changed.sort(key=lambda plan: plan.id not in visible)
            self.tell_columns(changed, findings=findings)
            self._told = now
        self.readings.show(self.session.job or job)
        self.wiring.changed()
        self.work_later()

    async def show(self) -> None:
        """Make the scene anew and tell it."""
        job, findings = self.steps.job, self.session.findings
        self._told = {}
        if job is None:
            self.scene, self._shows = None, None
            self._tell_whole()
            return
        self._shows = self._made_of(job)
        self.scene = await asyncio.to_thread(_scene_of, job, findings)
        self._told = {plan.id: _column_of(plan) for plan in job.plans}
        self._tell_whole()
        self.readings.show(self.session.job or job)
        self.wiring.changed()
        self.work_later()

    def _tell_whole(self) -> None:
        self.told = self.whole()
        self.pages.tell_all(self.told)

    def cast_if_needed(self) -> None:
        """Start casting what is missing, unless it was stopped."""
        if self._casting is not None or not self.session.needs_cast or self.stopped:
            return
        self._stop.clear()
        self._casting = asyncio.create_task(self._cast_all())

    async def _cast_all(self) -> None:
        loop = asyncio.get_running_loop()

        def progress(share: float) -> None:
            loop.call_soon_threadsafe(self._progress, share)

        try:
            while self.session.needs_cast:
                self._progress(0.0)
                await asyncio.to_thread(
                    self.session.cast, progress=progress, cancel=self._stop.is_set
                )
        except CancelledError:
            self.stopped = True
        except EnvelopeError as error:
            self.stopped = True
            self.pages.tell_all({"tell": "say", "text": said(error), "tone": "bad"})
        finally:
            self._casting = None
            self._share = None
        async with self.doing:
            await self.refresh()
            self.tell_status()

    def _progress(self, share: float) -> None:
        if self._casting is not None and (self._share is None or share - self._share >= 0.01):
            self._share = share
            self.pages.tell_all({"tell": "progress", "share": share})

    def work_later(self) -> None:
        """Work out bands and what no page shows, once nobody edits and somebody looks."""
        if self._later is not None:
            self._later.cancel()
        if not self.pages.open:
            return
        self._later = asyncio.create_task(self._work_out())

    async def _work_out(self) -> None:
        await asyncio.sleep(QUIET_S)
        job, findings = self.steps.job, self.session.findings
        if job is None or findings is None:
            return
        visible = self.pages.plans
        for plan in sorted(job.plans, key=lambda plan: plan.id not in visible):
            if not self._lacks(plan):
                continue
            for name in (receiver.id for receiver in job.receivers):
                await asyncio.to_thread(findings.of, plan=plan, receivers=[name], with_bands=True)
            async with self.doing:
                if self.steps.job is not job:
                    return
                self.tell_columns([plan], findings=findings)
        if self.session.job is not None and self.steps.job is job:
            await self.readings.judge(self.session.job)


def _with_plans(job: Job, plans: Mapping[str, Plan]) -> Job:
    return replace(job, plans=tuple(plans.get(plan.id, plan) for plan in job.plans))


def _scene_of(job: Job, findings: Findings | None) -> Scene:
    if findings is None:
        return build_scene(job=job)
    return build_scene(job=job, results=[findings.of(plan=plan) for plan in job.plans])


def _column_of(plan: Plan) -> object:
    return plan.title, tuple(plan.treatments.items())
