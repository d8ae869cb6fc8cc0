"""A job that is being worked on: its text, what can be done to it, and what is found for it.

Every edit takes the text before to the text after, so that undo is the text before, byte for byte.
What has not been saved waits in a recovery file beside the job. Nothing here knows a screen.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from envelope.building.job import AS_BUILT, Job, Plan, Receiver
from envelope.errors import EnvelopeError, Fault, FaultsError
from envelope.project import load_text
from envelope.project.edit import (
    ChangedOnDiskError,
    EditError,
    Opened,
    add_plan,
    copy_plan,
    move_receiver,
    open_text,
    save,
    set_treatment,
)
from envelope.project.load import MOST_BYTES, load_with_model
from envelope.project.model import Modelled
from envelope.rays import DEFAULT, Sampling
from envelope.text import length
from envelope.text.lengths import format_point
from envelope.text.names import shown
from viewer.app.files import JobLock, Recovery, recovery_path
from viewer.app.results import Castings, Findings

__all__ = ["ChangedOnDiskError", "EditError", "FaultyEditError", "Session", "Step"]

MOST_STEPS = 500  # that can be undone
Disk = Literal["same", "changed", "gone"]


class FaultyEditError(EditError):
    """An edit that the job would have faults with; it was not taken."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(self.faults[0].message)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """The job at one moment of its editing."""

    text: str
    label: str  # what was done to come here
    job: Job | None  # None where the text has faults
    faults: tuple[Fault, ...]
    castings: Castings  # shared by all steps that leave building and sources as they are
    modelled: Modelled | None = None  # the model that the spaces come from


class Session:
    """One job file, opened for work.

    Parameters
    ----------
    path : Path
        The job file. It need not be sound: then `faults` says what is wrong.
    sampling : Sampling
        How many rays are cast.

    Raises
    ------
    ProjectFileError
        Where there is no text to work on: no such file, not UTF-8, too large.
    """

    def __init__(self, path: Path, *, sampling: Sampling = DEFAULT) -> None:
        self.path = Path(os.path.abspath(path))
        self._sampling = sampling
        self._opened: Opened = open_text(self.path)
        self._seen: tuple[int, int] | None = self._stamp()
        self._lock = JobLock(self.path)
        self._lock.acquire()
        self._recovery = Recovery(path=recovery_path(self.path))
        self._steps = [self._step(self._opened.text, label="open")]
        self._at = 0
        self._waiting = self._left_over()
        self.kept: dict[str, Callable[[str], str]] = {}  # source without a level yet → adds it

    # What there is

    @property
    def now(self) -> Step:
        """The job as it stands."""
        return self._steps[self._at]

    @property
    def text(self) -> str:
        """Text as it stands, saved or not."""
        return self.now.text

    @property
    def job(self) -> Job | None:
        """The job, or None where the text has faults."""
        return self.now.job

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong with the text."""
        return self.now.faults

    @property
    def is_saved(self) -> bool:
        """Whether the file holds what stands here."""
        return self.text == self._opened.text

    @property
    def undoes(self) -> str | None:
        """What an undo would take back."""
        return self.now.label if self._at > 0 else None

    @property
    def redoes(self) -> str | None:
        """What a redo would do again."""
        return self._steps[self._at + 1].label if self._at + 1 < len(self._steps) else None

    @property
    def waiting(self) -> str | None:
        """Unsaved text of an earlier session, which is to be taken up or dropped first."""
        return self._waiting

    @property
    def other_process(self) -> int | None:
        """Process id of another app that has the job open; then nothing can be changed here."""
        return self._lock.holder

    # Edits

    def with_treatments(
        self, *, plan: str, panels: Sequence[str], treatments: Sequence[str]
    ) -> Plan:
        """A plan as it would be with other treatments on some panels; nothing is changed."""
        before = self._plan(plan)
        known = self._sound().building.panel_index
        for panel in panels:
            if panel not in known:
                raise EditError(f"there is no face {shown(panel)} in this job")
        worn = {**before.treatments, **{panel: tuple(treatments) for panel in panels}}
        return replace(before, treatments={panel: on for panel, on in worn.items() if on})

    def set_treatments(
        self, *, plan: str, panels: Sequence[str], treatments: Sequence[str]
    ) -> bool:
        """Give panels these treatments, the one on the surface first; none leaves them bare.

        Returns
        -------
        bool
            Whether anything changed.
        """
        if plan != AS_BUILT:
            worn = self._plan(plan).treatments
            panels = [p for p in panels if worn.get(p, ()) != tuple(treatments)]
            if not panels:
                return False
        text = self._editable()
        for panel in panels:
            text = set_treatment(text=text, plan=plan, panel=panel, treatments=treatments)
        what = " + ".join(treatments) or "nothing"
        where = panels[0] if len(panels) == 1 else f"{len(panels)} faces"
        self._do(text, label=f"{what} on {where}")
        return True

    def new_plan(self, *, plan: str, beside: str, copy: bool = False) -> None:
        """Add a plan that starts as another one is.

        A copy stands on its own; without, the plan extends the other and follows its changes.
        """
        self._plan(beside)
        text = self._editable()
        text = (
            copy_plan(text=text, plan=plan, of=beside)
            if copy
            else add_plan(text=text, plan=plan, extends=beside)
        )
        self._do(text, label=f"new plan {plan}")

    def move_receiver(self, *, receiver: str, at_m: tuple[float, float, float]) -> None:
        """Put a receiver elsewhere in its space: its own coordinates, height above its floor."""
        text = move_receiver(text=self._editable(), receiver=receiver, at_m=at_m)
        place = format_point(at_m)
        if self._sound().feet:
            place = ", ".join(length(each, feet=True) for each in at_m)
        self._do(text, label=f"move {receiver} to {place}")

    def local_m(self, receiver: Receiver) -> tuple[float, float, float]:
        """Where a receiver stands in its space's own coordinates. [m]"""
        space = self._sound().building.space(receiver.space)
        x, y, z = receiver.position_m.tolist()
        return x - float(space.origin[0]), y - float(space.origin[1]), z - space.floor_m

    def set_text(self, text: str, *, label: str = "edit the text") -> None:
        """Take another text, sound or not."""
        self._editable()
        if len(text.encode("utf-8")) > MOST_BYTES:
            raise EditError(f"the text is longer than the {MOST_BYTES / 1e6:g} MB of a job file")
        if text != self.text:
            self._push(self._step(text, label=label))

    def rebuild(self, text: str, *, label: str) -> None:
        """Take a text in which anything may have changed, the building too, but which is sound."""
        self._editable()
        if text == self.text:
            return
        step = self._step(text, label=label)
        if step.job is None:
            raise FaultyEditError(step.faults)
        self._push(step)

    def edit(
        self,
        change: Callable[[str], str],
        *,
        label: str,
        casts_stay: bool,
        plans_only: bool = False,
    ) -> None:
        """Change the text; the edit is refused where the job would have faults with it.

        Parameters
        ----------
        change : callable
            From the text before to the text after.
        label : str
            What undo says of it.
        casts_stay : bool
            Whether building, sources and receivers' rooms stay as they are, so that nothing is
            cast anew.
        plans_only : bool
            Whether treatments stay as they are too, so that what was found for other plans holds.
        """
        text = change(self._editable())
        if not casts_stay:
            self.rebuild(text, label=label)
        elif text != self.text:
            kept = self.now.castings if plans_only else self.now.castings.renewed()
            self._do(text, label=label, castings=kept)

    def undo(self) -> None:
        """Go one edit back."""
        self._go(self._at - 1)

    def redo(self) -> None:
        """Do again what was undone."""
        self._go(self._at + 1)

    # The file

    def save(self, *, overwrite: bool = False) -> None:
        """Write the text into the file.

        Raises
        ------
        ChangedOnDiskError
            Where the file is no longer what was read and `overwrite` is not set.
        """
        self._editable()
        self._opened = save(opened=self._opened, text=self.text, overwrite=overwrite)
        self._seen = self._stamp()
        self._recovery.drop()

    def disk(self) -> Disk:
        """What has become of the file since it was read or written here."""
        stamp = self._stamp()
        if stamp is None:
            return "gone"
        if stamp == self._seen:
            return "same"
        try:
            digest = hashlib.sha256(self.path.read_bytes()).hexdigest()
        except OSError:
            return "gone"
        if digest != self._opened.sha256:
            return "changed"
        self._seen = stamp
        return "same"

    def read_again(self) -> None:
        """Take what the file holds now; what stood here can be had back by undo."""
        self._editable()
        opened = open_text(self.path)
        self._opened, self._seen = opened, self._stamp()
        if opened.text != self.text:
            self._push(self._step(opened.text, label="read the file again"))
        self._keep()

    def take_up(self) -> None:
        """Go on with the unsaved text of an earlier session."""
        waiting, self._waiting = self._waiting, None
        if waiting is not None:
            self.set_text(waiting, label="take up unsaved edits")

    def drop_waiting(self) -> None:
        """Forget the unsaved text of an earlier session."""
        if self._waiting is not None:
            self._waiting = None
            self._recovery.drop()

    def try_lock(self) -> bool:
        """Whether this app may change the job now; it reads the file again where it just may."""
        if self._lock.held:
            return True
        if not self._lock.acquire():
            return False
        if self.disk() == "changed":
            self.read_again()
        self._waiting = self._left_over()
        return True

    def close(self) -> None:
        """Let others open the job. What is not saved stays in the recovery file."""
        self._lock.release()

    # Findings

    @property
    def needs_cast(self) -> bool:
        """Whether a receiver stands where nothing has been cast yet."""
        return self.job is not None and bool(self.now.castings.missing(self.job))

    def cast(
        self,
        *,
        progress: Callable[[float], None] | None = None,
        cancel: Callable[[], bool] | None = None,
    ) -> None:
        """Cast what is missing; may run beside edits, which it does not see."""
        step = self.now
        if step.job is not None:
            step.castings.cast(step.job, progress=progress, cancel=cancel)

    @property
    def findings(self) -> Findings | None:
        """What is found for the job as it stands; None until it has been cast."""
        return None if self.job is None else self.now.castings.findings(self.job)

    # Within

    def _sound(self) -> Job:
        if self.job is None:
            raise EditError("the job has faults: mend them first")
        return self.job

    def _plan(self, name: str) -> Plan:
        try:
            return self._sound().plan(name)
        except KeyError:
            raise EditError(f"there is no plan {shown(name)} in this job") from None

    def _editable(self) -> str:
        """The text, where it may be changed."""
        if self.other_process is not None:
            raise EditError(
                f"this job is open in another window of the program (process "
                f"{self.other_process}): close it there first"
            )
        if self._waiting is not None:
            raise EditError("take up or drop the unsaved edits of the last time first")
        return self.text

    def _step(self, text: str, *, label: str) -> Step:
        job: Job | None = None
        modelled: Modelled | None = None
        faults: tuple[Fault, ...] = ()
        try:
            job, modelled = load_with_model(text, path=self.path.name, folder=self.path.parent)
            job = _solved(job)
        except FaultsError as error:
            faults = error.faults
        castings = Castings(sampling=self._sampling)
        return Step(
            text=text, label=label, job=job, faults=faults, castings=castings, modelled=modelled
        )

    def _do(self, text: str, *, label: str, castings: Castings | None = None) -> None:
        """Take a text that leaves the building and its sources as they are."""
        if text == self.text:
            return
        building = self._sound().building
        try:
            job = load_text(text, path=self.path.name, folder=self.path.parent, building=building)
            job = _solved(job)  # kept from before where no reading has changed
        except FaultsError as error:
            raise FaultyEditError(error.faults) from None
        kept = castings or self.now.castings
        self._push(replace(self.now, text=text, label=label, job=job, castings=kept))

    def _push(self, step: Step) -> None:
        self._steps = [*self._steps[: self._at + 1], step][-MOST_STEPS - 1 :]
        self._at = len(self._steps) - 1
        self._keep()

    def _go(self, at: int) -> None:
        self._editable()
        if 0 <= at < len(self._steps):
            self._at = at
            self._keep()

    def _keep(self) -> None:
        """Put what is not saved where it survives the program."""
        if self.is_saved:
            self._recovery.drop()
        else:
            self._recovery.write(self.text)

    def _left_over(self) -> str | None:
        if not self._lock.held:
            return None  # the other app's unsaved edits are none of ours
        text = self._recovery.read()
        if text is None:
            return None
        if text == self._opened.text:
            self._recovery.drop()
            return None
        return text

    def _stamp(self) -> tuple[int, int] | None:
        try:
            found = os.stat(self.path)
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size


def _solved(job: Job) -> Job:
    """The job with the levels that its readings give."""
    if not (job.readings or job.unsolved):  # and nothing of the survey is loaded
        return job
    from envelope.survey import solve_levels

    return solve_levels(job)


def free_plan_id(*, like: str, taken: Sequence[str]) -> str:
    """An id for a new plan: that of the one it starts from, with the next number that is free."""
    stem, _, number = like.rpartition("-")
    if not stem or not number.isdecimal():
        stem = "plan" if like == AS_BUILT else like
    count = 2 if stem in taken else 1
    while f"{stem}-{count}" in taken:
        count += 1
    return f"{stem}-{count}"


def said(error: EnvelopeError) -> str:
    """An error as one line for the screen."""
    return str(error).splitlines()[0] if str(error) else type(error).__name__
