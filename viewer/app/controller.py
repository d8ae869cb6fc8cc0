"""The app without its screen: what pages ask for, and what they are told.

Every message stands in `protocol`; several pages may show one job, and an edit on one of them is
told to all. An edit is answered in two steps: the numbers at the page's receiver at
once, then, after the text has been changed, the other receivers and plans and the 10–90 % bands.

    page ── {"do": "treat", …} ──▶ Desk ──▶ Session (text, undo, file) ──▶ Findings
    pages ◀── {"tell": "columns", …} ──┘
"""

from __future__ import annotations

import asyncio
import hashlib
import threading
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast

from envelope.building.job import AS_BUILT, Job, Plan
from envelope.errors import CancelledError, EnvelopeError
from envelope.exposure.results import PlanResult
from envelope.text.names import shown
from envelope.units import parse_length
from viewer.app import edits, protocol
from viewer.app import model as app_model
from viewer.app.outputs import Outbox
from viewer.app.protocol import Tell, Told
from viewer.app.recent import other_jobs
from viewer.app.results import Findings, Place, place_of
from viewer.app.session import ChangedOnDiskError, Disk, EditError, Session, free_plan_id, said
from viewer.app.skies import Skies
from viewer.app.steps import Steps
from viewer.app.tables import names_told, parts_told, rows_told, tables_told
from viewer.app.trials import Trials, bills_told
from viewer.app.walls import wall_told
from viewer.app.whole import beyond_told, faulty_told, job_told, losses_told
from viewer.app.wiring import WiringDesk
from viewer.scene.build import build_scene, with_results
from viewer.scene.json_types import ColumnJson
from viewer.scene.records import Scene
from viewer.scene.to_json import column_to_json

QUIET_S = 0.4  # without an edit, before what takes longer is worked out
LOOK_S = 2.0  # between looks at the file on disk


@dataclass(slots=True, kw_only=True, eq=False)
class Page:
    """One open page."""

    tell: Tell
    plans: tuple[str, ...] = ()  # that it shows
    receiver: str | None = None
    sees_file: bool = False
    file_told: tuple[str, ...] | None = None  # the text that it was last told, sources kept


@dataclass(slots=True, kw_only=True, eq=False)
class Desk:
    """One job and the pages that show it.

    Parameters
    ----------
    session : Session
    """

    session: Session
    pages: list[Page] = field(default_factory=list)
    _scene: Scene | None = None
    _shows: object = None  # what the scene was made of
    _told: dict[str, object] = field(default_factory=dict)  # plan → what its column was made of
    _skies: Skies = field(init=False)
    _doing: asyncio.Lock = field(default_factory=asyncio.Lock)
    _casting: asyncio.Task[None] | None = None
    _later: asyncio.Task[None] | None = None
    _trials: Trials = field(init=False)
    _wiring: WiringDesk = field(init=False)
    _stop: threading.Event = field(default_factory=threading.Event)
    _stopped: bool = False
    _share: float | None = None
    _disk: Disk = "same"
    outbox: Outbox = field(init=False)
    _steps: Steps = field(init=False)

    def __post_init__(self) -> None:
        self._trials = Trials(self.session)
        self.outbox = Outbox(session=self.session)
        self._skies = Skies(session=self.session)
        self._wiring = WiringDesk(session=self.session, tell_all=self._tell_all)
        self._steps = Steps(session=self.session)

    # Pages

    async def join(self, tell: Tell) -> Page:
        """A page that has been opened; it is told everything."""
        page = Page(tell=tell)
        self.pages.append(page)
        async with self._doing:
            if self._scene is None:
                await self._show()
            else:
                page.tell(self._whole())
                self._wiring.join(tell)
            self._cast_if_needed()
        return page

    def leave(self, page: Page) -> None:
        """A page that has been closed."""
        if page in self.pages:
            self.pages.remove(page)
        self._wiring.leave(id(page))

    async def act(self, page: Page, asked: object) -> None:
        """Do what a page asks. Whatever cannot be done is told to it in a sentence."""
        async with self._doing:
            try:
                message = protocol.read(asked)
                act = _ACTS.get(type(message))
                if act is None:  # one that begins a job: there is one already
                    return
                await act(self, page, message)
            except ChangedOnDiskError as error:
                self._disk = self.session.disk()
                page.tell({"tell": "overwrite", "text": said(error)})
            except EnvelopeError as error:
                page.tell({"tell": "say", "text": said(error), "tone": "bad"})
            self._tell_status()

    async def watch(self) -> None:
        """Look at the file on disk now and then, until cancelled."""
        while True:
            await asyncio.sleep(LOOK_S)
            found = self.session.disk()
            if found != self._disk:
                self._disk = found
                self._tell_status()

    async def close(self) -> None:
        """Stop what is under way, and let others open the job."""
        self._stop.set()
        for task in (self._casting, self._later, *self._trials.tasks, *self._wiring.tasks):
            if task is not None:
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)
        self.session.close()

    # What pages ask for

    async def _look(self, page: Page, asked: protocol.Look) -> None:
        """Plans and receiver that a page shows."""
        known = self._plan_ids()
        page.plans = tuple(name for name in asked.plans if name in known)
        page.receiver = asked.receiver
        await self._refresh()

    async def _treat(self, page: Page, asked: protocol.Treat) -> None:
        plan, panels, treatments = asked.plan, asked.panels, asked.treatments
        findings = self.session.findings
        self._in_file(plan)
        try:
            if findings is not None and plan != AS_BUILT:
                # The numbers first: changing the text takes as long again.
                ahead = self.session.with_treatments(
                    plan=plan, panels=panels, treatments=treatments
                )
                if set(treatments) <= set(self._job().treatments):
                    self._tell_columns([ahead], findings=findings, first=page)
                    await asyncio.sleep(0.002)  # let it go out
            self.session.set_treatments(plan=plan, panels=panels, treatments=treatments)
        finally:
            await self._refresh()

    async def _new_plan(self, page: Page, asked: protocol.NewPlan) -> None:
        self._in_file(asked.beside)
        name = (asked.id or "").strip()
        name = name or free_plan_id(like=asked.beside, taken=self._plan_ids())
        self.session.new_plan(plan=name, beside=asked.beside, copy=asked.how == "copy")
        page.plans = (name, *page.plans[1:])
        await self._refresh()
        page.tell({"tell": "plan", "id": name})

    async def _move(self, page: Page, asked: protocol.Move) -> None:
        x, y, z = (_length_m(each) for each in asked.at)
        self.session.move_receiver(receiver=asked.receiver, at_m=(x, y, z))
        await self._refresh()

    async def _undo(self, page: Page, asked: protocol.Undo) -> None:
        self.session.undo()
        await self._refresh()

    async def _redo(self, page: Page, asked: protocol.Redo) -> None:
        self.session.redo()
        await self._refresh()

    async def _save(self, page: Page, asked: protocol.Save) -> None:
        self.session.save(overwrite=asked.overwrite)
        self._disk = "same"
        page.tell(
            {"tell": "say", "text": f"saved in {shown(self.session.path.name)}", "tone": "plain"}
        )

    async def _read_again(self, page: Page, asked: protocol.ReadAgain) -> None:
        self.session.read_again()
        self._disk = "same"
        await self._refresh()

    async def _text(self, page: Page, asked: protocol.SetText) -> None:
        self.session.set_text(asked.text)
        await self._show()
        self._cast_if_needed()

    async def _set_assembly(self, page: Page, asked: protocol.SetAssembly) -> None:
        """Say what a model's panels are made of; the building is built anew."""
        await asyncio.to_thread(app_model.set_assembly, self.session, asked)
        await self._refresh()

    async def _set_kind(self, page: Page, asked: protocol.SetKind) -> None:
        """Say what kind a model's panels are; the building is built anew."""
        await asyncio.to_thread(app_model.set_kind, self.session, asked)
        await self._refresh()

    async def _take_up(self, page: Page, asked: protocol.TakeUp) -> None:
        self.session.take_up()
        await self._refresh()

    async def _drop(self, page: Page, asked: protocol.Drop) -> None:
        self.session.drop_waiting()

    async def _try_lock(self, page: Page, asked: protocol.TryLock) -> None:
        if self.session.try_lock():
            await self._refresh()
        else:
            text = f"the other window (process {self.session.other_process}) still has the job open"
            page.tell({"tell": "say", "text": text, "tone": "bad"})

    async def _sky_seen(self, page: Page, asked: protocol.SeeSky) -> None:
        if self._scene is not None:
            found = await self._skies.of(asked.receiver, job=self._job(), scene=self._scene)
            if found is not None:
                page.tell({"tell": "sky", "sky": found})

    async def _file(self, page: Page, asked: protocol.SeeFile) -> None:
        page.file_told = None
        page.sees_file = asked.on

    async def _edit(self, page: Page, asked: edits.Edit) -> None:
        """Change a table of the file; what is wrong is told at the field that was typed in."""
        told = await asyncio.to_thread(edits.edit_or_tell, self.session, asked)
        if told is not None:
            page.tell(told)
        if told is None or told["tell"] == "say":
            await self._show()
            self._cast_if_needed()

    def _tell_file(self) -> None:
        """Tell the text and the tables to the pages that show them, where they are new."""
        text = self.session.text
        for page in self.pages:
            if page.sees_file and page.file_told != (text, *self.session.kept):
                first = page.file_told is None
                page.file_told = (text, *self.session.kept)
                page.tell(
                    {
                        "tell": "file",
                        "text": text,
                        "tables": list(tables_told()) if first else [],
                        "rows": rows_told(text),
                        "parts": parts_told(text),
                        "names": names_told(self.session.job, text, kept=self.session.kept),
                    }
                )

    async def _choices(self, page: Page, asked: protocol.SeeChoices) -> None:
        """What a click on each treatment of a face would bring; worked out beside the edits."""
        self._trials.begin((id(page), "choices"), self._trials.choices(page.tell, asked))

    async def _accept(self, page: Page, asked: protocol.Accept) -> None:
        await asyncio.to_thread(app_model.accept, self.session, asked)
        await self._refresh()

    async def _wall(self, page: Page, asked: protocol.SeeWall) -> None:
        page.tell(await asyncio.to_thread(wall_told, self._job(), asked.on))

    async def _see_steps(self, page: Page, asked: protocol.SeeSteps) -> None:
        """What to do first; worked out beside the edits."""

        async def tell() -> None:
            told = await self._steps.told(asked.receiver)
            if told is not None:
                page.tell(told)

        self._trials.begin((id(page), "steps"), tell())

    async def _try_step(self, page: Page, asked: protocol.TryStep) -> None:
        tried = await self._steps.try_out(asked.receiver, asked.number)
        page.plans = (tried["plan"], *page.plans[1:])
        await self._refresh()
        page.tell(tried)

    async def _keep_step(self, page: Page, asked: protocol.KeepStep) -> None:
        name = await asyncio.to_thread(self._steps.keep, asked.title)
        page.plans = (name, *page.plans[1:])
        await self._refresh()
        page.tell({"tell": "plan", "id": name})

    def _in_file(self, plan: str) -> None:
        """Refuse to change what is only tried out."""
        if plan == self._steps.tried:
            raise EditError("this is a step that is tried out: keep it as a plan first")

    async def _wiring_seen(self, page: Page, asked: protocol.SeeWiring) -> None:
        self._wiring.see(id(page), page.tell, asked)

    async def _menu(self, page: Page, asked: protocol.SeeMenu) -> None:
        path = self.session.path
        jobs = await asyncio.to_thread(other_jobs, path, path.parent)
        page.tell(self.outbox.menu(jobs))

    async def _make(self, page: Page, asked: protocol.MakeOutput) -> None:
        """Make something of the job, beside the edits."""

        async def made() -> None:
            page.tell(await self.outbox.make(asked))

        self._trials.begin((id(page), "output"), made())

    async def _save_copy(self, page: Page, asked: protocol.SaveCopy) -> None:
        path = await asyncio.to_thread(self.outbox.save_copy, asked)
        page.tell(
            {"tell": "say", "text": f"copied to {shown(str(path), limit=120)}", "tone": "plain"}
        )

    async def _cast(self, page: Page, asked: protocol.Cast) -> None:
        self._stopped = False
        self._cast_if_needed()

    async def _halt(self, page: Page, asked: protocol.Halt) -> None:
        self._stop.set()

    # What pages are told

    def _tell_all(self, what: Told) -> None:
        for page in self.pages:
            page.tell(what)

    def _tell_status(self) -> None:
        self._tell_file()
        self._tell_all({"tell": "status", **self._status()})

    def _status(self) -> protocol.Status:
        session = self.session
        return {
            "file": shown(session.path.name),
            "folder": shown(str(session.path.parent), limit=120),
            "saved": session.is_saved,
            "mark": hashlib.sha256(session.text.encode()).hexdigest()[:12],
            "undo": None if session.undoes is None else shown(session.undoes),
            "redo": None if session.redoes is None else shown(session.redoes),
            "disk": self._disk,
            "other": session.other_process,
            "waiting": session.waiting is not None,
            "questions": app_model.questions_told(session.job),
            "casting": self._share,
            "stopped": self._stopped,
        }

    def _whole(self) -> Told:
        """Everything, for a page that has nothing yet."""
        job = self._steps.job
        if job is None:
            return faulty_told(self.session, self._status())
        assert self._scene is not None
        return job_told(
            self.session,
            job,
            scene=self._scene,
            status=self._status(),
            losses=self._losses(job.plans),
            tried=self._steps.tried,
        )

    def _losses(self, plans: Sequence[Plan]) -> protocol.Losses:
        """Losses by band of what pages show."""
        wanted = {page.receiver for page in self.pages}
        return losses_told(self._job(), self.session.findings, plans, wanted)

    def _tell_columns(
        self, plans: Sequence[Plan], *, findings: Findings | None, first: Page | None = None
    ) -> None:
        """Tell what is new of some plans; for one page's receiver alone where that is said."""
        assert self._scene is not None
        job = self._job()
        by_id = {plan.id: plan for plan in plans}
        receiver = None
        if first is not None and job.receivers:
            known = [each.id for each in job.receivers]
            receiver = [first.receiver if first.receiver in known else known[0]]
        before = {plan.id: plan.result for plan in self._scene.plans}
        results = []
        for plan in job.plans:
            result = before.get(plan.id)
            if findings is not None and plan.id in by_id:
                result = findings.of(plan=by_id[plan.id], receivers=receiver)
            results.append(result or PlanResult(plan=plan.id, receivers=()))
        seen = _with_plans(job, by_id)
        self._scene = with_results(self._scene, job=seen, results=results)
        self._tell_all(
            {
                "tell": "columns",
                "plans": [plan.id for plan in job.plans],
                "columns": {
                    name: cast(ColumnJson, column_to_json(self._scene, plan=name)) for name in by_id
                },
                "losses": self._losses(plans),
                "bills": bills_told(job, plans),
                "beyond": beyond_told(self.session.findings),
                "tried": self._steps.tried,
            }
        )

    def _lacks(self, plan: Plan) -> bool:
        """Whether something of a plan has not been told yet: a receiver, or a band."""
        job = self._job()
        told = {} if self._scene is None else {each.id: each.result for each in self._scene.plans}
        result = told.get(plan.id)
        if result is None or len(result.receivers) < len(job.receivers):
            return True
        return bool(job.sources) and any(each.low_w_m2 is None for each in result.receivers)

    # What is worked out

    def _job(self) -> Job:
        """The job as pages show it, with the step that is tried out."""
        job = self._steps.job
        if job is None:
            raise EditError("the job has faults: mend them first")
        return job

    def _plan_ids(self) -> list[str]:
        return [] if self._steps.job is None else [plan.id for plan in self._steps.job.plans]

    def _made_of(self, job: Job) -> tuple[object, tuple[Place, ...], bool]:
        """What a scene's shapes and scales depend on."""
        places = tuple(place_of(receiver) for receiver in job.receivers)
        return self.session.now.castings, places, self.session.findings is not None

    async def _refresh(self) -> None:
        """Bring the pages up to the job as it stands, what they show first."""
        job = self._steps.job
        if job is None or self._scene is None or self._shows != self._made_of(job):
            await self._show()
            self._cast_if_needed()
            return
        findings = self.session.findings
        now = {plan.id: _column_of(plan) for plan in job.plans}
        visible = {name for page in self.pages for name in page.plans}
        changed = [plan for plan in job.plans if self._told.get(plan.id) != now[plan.id]]
        if changed or list(self._told) != list(now):
            changed.sort(key=lambda plan: plan.id not in visible)
            self._tell_columns(changed, findings=findings)
            self._told = now
        self._wiring.changed()
        self._work_later()

    async def _show(self) -> None:
        """Make the scene anew and tell it."""
        job, findings = self._steps.job, self.session.findings
        self._told = {}
        if job is None:
            self._scene, self._shows = None, None
            self._tell_all(self._whole())
            return
        self._shows = self._made_of(job)
        self._scene = await asyncio.to_thread(_scene_of, job, findings)
        self._told = {plan.id: _column_of(plan) for plan in job.plans}
        self._tell_all(self._whole())
        self._wiring.changed()
        self._work_later()

    def _cast_if_needed(self) -> None:
        if self._casting is not None or not self.session.needs_cast or self._stopped:
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
            self._stopped = True
        except EnvelopeError as error:
            self._stopped = True
            self._tell_all({"tell": "say", "text": said(error), "tone": "bad"})
        finally:
            self._casting = None
            self._share = None
        async with self._doing:
            await self._refresh()
            self._tell_status()

    def _progress(self, share: float) -> None:
        if self._casting is not None and (self._share is None or share - self._share >= 0.01):
            self._share = share
            self._tell_all({"tell": "progress", "share": share})

    def _work_later(self) -> None:
        """Work out bands and what no page shows, once nobody edits."""
        if self._later is not None:
            self._later.cancel()
        self._later = asyncio.create_task(self._work_out())

    async def _work_out(self) -> None:
        await asyncio.sleep(QUIET_S)
        job, findings = self._steps.job, self.session.findings
        if job is None or findings is None:
            return
        visible = {name for page in self.pages for name in page.plans}
        for plan in sorted(job.plans, key=lambda plan: plan.id not in visible):
            if not self._lacks(plan):
                continue
            for name in (receiver.id for receiver in job.receivers):
                await asyncio.to_thread(findings.of, plan=plan, receivers=[name], with_bands=True)
            async with self._doing:
                if self._steps.job is not job:
                    return
                self._tell_columns([plan], findings=findings)


_ACTS: Mapping[type, Callable[[Desk, Page, Any], Awaitable[None]]] = {
    protocol.Look: Desk._look,
    protocol.Treat: Desk._treat,
    protocol.NewPlan: Desk._new_plan,
    protocol.Move: Desk._move,
    protocol.Undo: Desk._undo,
    protocol.Redo: Desk._redo,
    protocol.Save: Desk._save,
    protocol.ReadAgain: Desk._read_again,
    protocol.SetText: Desk._text,
    protocol.SetAssembly: Desk._set_assembly,
    protocol.SetKind: Desk._set_kind,
    protocol.TakeUp: Desk._take_up,
    protocol.Drop: Desk._drop,
    protocol.TryLock: Desk._try_lock,
    protocol.Cast: Desk._cast,
    protocol.Halt: Desk._halt,
    protocol.SeeSky: Desk._sky_seen,
    protocol.SeeFile: Desk._file,
    protocol.SetKeys: Desk._edit,
    protocol.AddRow: Desk._edit,
    protocol.RemoveRow: Desk._edit,
    protocol.Rename: Desk._edit,
    protocol.SeeChoices: Desk._choices,
    protocol.SeeWiring: Desk._wiring_seen,
    protocol.SeeMenu: Desk._menu,
    protocol.Accept: Desk._accept,
    protocol.SeeWall: Desk._wall,
    protocol.SeeSteps: Desk._see_steps,
    protocol.TryStep: Desk._try_step,
    protocol.KeepStep: Desk._keep_step,
    protocol.MakeOutput: Desk._make,
    protocol.SaveCopy: Desk._save_copy,
}


def _with_plans(job: Job, plans: Mapping[str, Plan]) -> Job:
    return replace(job, plans=tuple(plans.get(plan.id, plan) for plan in job.plans))


def _scene_of(job: Job, findings: Findings | None) -> Scene:
    if findings is None:
        return build_scene(job=job)
    return build_scene(job=job, results=[findings.of(plan=plan) for plan in job.plans])


def _column_of(plan: Plan) -> object:
    return plan.title, tuple(plan.treatments.items())


# What pages send


def _length_m(found: protocol.Length) -> float:
    """A length that was typed with its unit, or dragged to, in metres."""
    return parse_length(found) if isinstance(found, str) else found
