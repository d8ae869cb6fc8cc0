"""The app without its screen: what pages ask for, and what they are told.

Every message stands in `protocol`; several pages may show one job, and an edit on one of them is
told to all. An edit is answered in two steps: the numbers at the page's receiver at
once, then, after the text has been changed, the other receivers and plans and the 10–90 % bands.

    page ── {"do": "treat", …} ──▶ Desk ──▶ Session (text, undo, file) ──▶ Findings
    pages ◀── {"tell": "columns", …} ── Display ◀──────────────────────────────┘
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from envelope.building.job import AS_BUILT
from envelope.errors import EnvelopeError, UnitError
from envelope.text.names import shown
from envelope.units import parse_length
from viewer.app import edits, protocol
from viewer.app import model as app_model
from viewer.app.display import Display
from viewer.app.outputs import Outbox
from viewer.app.pages import Page, Pages
from viewer.app.protocol import Tell
from viewer.app.readings import Readings
from viewer.app.recent import other_jobs
from viewer.app.session import ChangedOnDiskError, EditError, Session, free_plan_id, said
from viewer.app.skies import Skies
from viewer.app.steps import Steps
from viewer.app.trials import Trials
from viewer.app.walls import wall_told
from viewer.app.wiring import WiringDesk

LOOK_S = 2.0  # between looks at the file on disk


@dataclass(slots=True, kw_only=True, eq=False)
class Desk:
    """One job and the pages that show it.

    Parameters
    ----------
    session : Session
    """

    session: Session
    outbox: Outbox = field(init=False)
    _doing: asyncio.Lock = field(default_factory=asyncio.Lock)
    _pages: Pages = field(init=False)
    _display: Display = field(init=False)
    _skies: Skies = field(init=False)
    _trials: Trials = field(init=False)
    _wiring: WiringDesk = field(init=False)
    _steps: Steps = field(init=False)

    def __post_init__(self) -> None:
        self.outbox = Outbox(session=self.session)
        self._pages = Pages(session=self.session)
        self._skies = Skies(session=self.session)
        self._trials = Trials(self.session)
        self._wiring = WiringDesk(session=self.session, tell_all=self._pages.tell_all)
        self._steps = Steps(session=self.session)
        self._display = Display(
            session=self.session,
            pages=self._pages,
            steps=self._steps,
            wiring=self._wiring,
            readings=Readings(pages=self._pages),
            doing=self._doing,
        )

    # Pages

    async def begin(self) -> None:
        """Work the job out before a page is there to show it: a browser takes its time."""
        async with self._doing:
            if self._display.scene is None:
                await self._display.show()
            self._display.cast_if_needed()

    async def join(self, tell: Tell) -> Page:
        """A page that has been opened; it is told everything."""
        page = Page(tell=tell)
        if self._doing.locked() and self._display.told is not None:
            page.tell(self._display.told)  # as it stood; what is being worked out follows
        self._pages.open.append(page)
        async with self._doing:
            if self._display.scene is None:
                await self._display.show()
            else:
                page.tell(self._display.whole())
                if self._display.readings.told is not None:
                    page.tell(self._display.readings.told)
                self._wiring.join(tell)
                self._display.work_later()
            self._display.cast_if_needed()
        return page

    def leave(self, page: Page) -> None:
        """A page that has been closed."""
        if page in self._pages.open:
            self._pages.open.remove(page)
        self._wiring.leave(id(page))

    async def act(self, page: Page, asked: object) -> None:
        """Do what a page asks. Whatever cannot be done is told to it in a sentence."""
        async with self._doing:
            message = None
            try:
                message = protocol.read(asked)
                act = _ACTS.get(type(message))
                if act is None:  # one that begins a job: there is one already
                    return
                await act(self, page, message)
            except ChangedOnDiskError as error:
                self._display.disk = self.session.disk()
                page.tell({"tell": "overwrite", "text": said(error)})
            except EnvelopeError as error:
                form = _FORMS.get(type(message))
                if form is None:
                    page.tell({"tell": "say", "text": said(error), "tone": "bad"})
                else:
                    field = error.field if isinstance(error, _FieldError) else None
                    page.tell(
                        {"tell": "trouble", "at": form, "field": field, "message": said(error)}
                    )
            self._display.tell_status()

    async def watch(self) -> None:
        """Look at the file on disk now and then, until cancelled."""
        while True:
            await asyncio.sleep(LOOK_S)
            found = self.session.disk()
            if found != self._display.disk:
                self._display.disk = found
                self._display.tell_status()

    async def close(self) -> None:
        """Stop what is under way, and let others open the job."""
        self._display.halt()
        for task in (*self._display.tasks, *self._trials.tasks, *self._wiring.tasks):
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
        self.session.close()

    # What pages ask for

    async def _look(self, page: Page, asked: protocol.Look) -> None:
        """Plans and receiver that a page shows."""
        known = self._display.plan_ids()
        page.plans = tuple(name for name in asked.plans if name in known)
        page.receiver = asked.receiver
        await self._display.refresh()

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
                if set(treatments) <= set(self._display.job().treatments):
                    self._display.tell_columns([ahead], findings=findings, first=page)
                    await asyncio.sleep(0.002)  # let it go out
            self.session.set_treatments(plan=plan, panels=panels, treatments=treatments)
        finally:
            await self._display.refresh()

    async def _new_plan(self, page: Page, asked: protocol.NewPlan) -> None:
        self._in_file(asked.beside)
        name = (asked.id or "").strip()
        name = name or free_plan_id(like=asked.beside, taken=self._display.plan_ids())
        self.session.new_plan(plan=name, beside=asked.beside, copy=asked.how == "copy")
        page.plans = (name, *page.plans[1:])
        await self._display.refresh()
        page.tell({"tell": "plan", "id": name})

    async def _move(self, page: Page, asked: protocol.Move) -> None:
        x, y, z = (_length_m(each, field=k) for k, each in enumerate(asked.at))
        self.session.move_receiver(receiver=asked.receiver, at_m=(x, y, z))
        await self._display.refresh()

    async def _undo(self, page: Page, asked: protocol.Undo) -> None:
        self.session.undo()
        await self._display.refresh()

    async def _redo(self, page: Page, asked: protocol.Redo) -> None:
        self.session.redo()
        await self._display.refresh()

    async def _save(self, page: Page, asked: protocol.Save) -> None:
        self.session.save(overwrite=asked.overwrite)
        self._display.disk = "same"
        page.tell(
            {"tell": "say", "text": f"saved in {shown(self.session.path.name)}", "tone": "plain"}
        )

    async def _read_again(self, page: Page, asked: protocol.ReadAgain) -> None:
        self.session.read_again()
        self._display.disk = "same"
        await self._display.refresh()

    async def _text(self, page: Page, asked: protocol.SetText) -> None:
        self.session.set_text(asked.text)
        await self._display.show()
        self._display.cast_if_needed()

    async def _set_assembly(self, page: Page, asked: protocol.SetAssembly) -> None:
        """Say what a model's panels are made of; the building is built anew."""
        await asyncio.to_thread(app_model.set_assembly, self.session, asked)
        await self._display.refresh()

    async def _set_kind(self, page: Page, asked: protocol.SetKind) -> None:
        """Say what kind a model's panels are; the building is built anew."""
        await asyncio.to_thread(app_model.set_kind, self.session, asked)
        await self._display.refresh()

    async def _take_up(self, page: Page, asked: protocol.TakeUp) -> None:
        self.session.take_up()
        await self._display.refresh()

    async def _drop(self, page: Page, asked: protocol.Drop) -> None:
        self.session.drop_waiting()

    async def _try_lock(self, page: Page, asked: protocol.TryLock) -> None:
        if self.session.try_lock():
            await self._display.refresh()
        else:
            text = f"the other window (process {self.session.other_process}) still has the job open"
            page.tell({"tell": "say", "text": text, "tone": "bad"})

    async def _sky_seen(self, page: Page, asked: protocol.SeeSky) -> None:
        if self._display.scene is not None:
            found = await self._skies.of(
                asked.receiver, job=self._display.job(), scene=self._display.scene
            )
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
            await self._display.show()
            self._display.cast_if_needed()

    async def _choices(self, page: Page, asked: protocol.SeeChoices) -> None:
        """What a click on each treatment of a face would bring; worked out beside the edits."""
        self._trials.begin((id(page), "choices"), self._trials.choices(page.tell, asked))

    async def _accept(self, page: Page, asked: protocol.Accept) -> None:
        await asyncio.to_thread(app_model.accept, self.session, asked)
        await self._display.refresh()

    async def _wall(self, page: Page, asked: protocol.SeeWall) -> None:
        page.tell(await asyncio.to_thread(wall_told, self._display.job(), asked.on))

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
        await self._display.refresh()
        page.tell(tried)

    async def _keep_step(self, page: Page, asked: protocol.KeepStep) -> None:
        name = await asyncio.to_thread(self._steps.keep, asked.title)
        page.plans = (name, *page.plans[1:])
        await self._display.refresh()
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
        self._display.stopped = False
        self._display.cast_if_needed()

    async def _halt(self, page: Page, asked: protocol.Halt) -> None:
        self._display.halt()


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


# What pages send


class _FieldError(EnvelopeError):
    """What cannot be read, and in which field of its form it was typed."""

    def __init__(self, message: str, *, field: int) -> None:
        super().__init__(message)
        self.field = field


# Forms that say themselves what is wrong with what was typed into them.
_FORMS: Mapping[type, Literal["place", "plan", "copy"]] = {
    protocol.Move: "place",
    protocol.NewPlan: "plan",
    protocol.SaveCopy: "copy",
}


def _length_m(found: protocol.Length, *, field: int) -> float:
    """A length that was typed with its unit, or dragged to, in metres."""
    try:
        return parse_length(found) if isinstance(found, str) else found
    except UnitError as error:
        raise _FieldError(str(error), field=field) from None
