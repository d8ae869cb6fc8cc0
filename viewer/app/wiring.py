"""The house wiring beside the edits: faces to click on, and its field, worked out anew in peace.

An edit makes what was worked out old; the pages are told so at once, and the new figures follow
when nobody has edited for a moment. Where nothing has moved the matrix is used again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, cast

import numpy as np

from envelope.building.conduction import conductive_treatments
from envelope.building.job import Job
from envelope.building.wiring import Outlet
from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats
from envelope.text.lengths import format_point
from envelope.text.names import face_title, shown
from envelope.wiring import words
from envelope.wiring.results import WiringResults
from envelope.wiring.spread import has_runs, solve_wiring
from envelope.wiring.system import System
from envelope.wiring_text import field_sentence, verdict
from envelope.works.elevations import Elevation, elevations_of
from viewer.app import protocol
from viewer.app.protocol import Tell, Told
from viewer.app.session import Session, said
from viewer.scene.behind import behind_faces
from viewer.scene.colours import treatment_styles
from viewer.scene.json_types import WiringJson
from viewer.scene.to_json import wiring_to_json
from viewer.scene.wiring import scene_wiring, with_fields

QUIET_S = 0.4  # without an edit, before the field is worked out
_LAMP_M = (0.3, 0.5)  # of a lamp's foot from the wall, and above the floor
_FACES = ("wall", "floor", "ceiling")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """What a page shows of it."""

    tell: Tell
    space: str | None
    plan: str | None


@dataclass(slots=True, kw_only=True, eq=False)
class WiringDesk:
    """The wiring of one job, for the pages that show it.

    Parameters
    ----------
    session : Session
    tell_all : callable
        Tells every page.
    """

    session: Session
    tell_all: Callable[[Told], None]
    _seen: dict[int, _Seen] = field(default_factory=dict)
    _job: Job | None = None
    _solved: WiringResults | None = None
    _system: System | None = None
    _told: protocol.FieldTold | None = None
    _task: asyncio.Task[None] | None = None

    @property
    def tasks(self) -> tuple[asyncio.Task[None], ...]:
        """What is under way."""
        return () if self._task is None else (self._task,)

    def see(self, key: int, tell: Tell, asked: protocol.SeeWiring) -> None:
        """A page shows the faces of a room, or shows them no more."""
        self._seen.pop(key, None)
        if asked.on:
            self._seen[key] = _Seen(tell=tell, space=asked.space, plan=asked.plan)
            self._tell_faces(self._seen[key])

    def join(self, tell: Tell) -> None:
        """A page that has been opened hears how the field stands."""
        if self._told is not None:
            tell(self._told)

    def leave(self, key: int) -> None:
        """A page that has been closed."""
        self._seen.pop(key, None)

    def changed(self) -> None:
        """The job may have changed: what was worked out is old then."""
        job = self.session.job
        if job is None or job is self._job:
            return
        self._job = job
        for seen in self._seen.values():
            self._tell_faces(seen)
        if self._task is not None:
            self._task.cancel()
            self._task = None
        if job.wiring is None or not job.receivers or not has_runs(job.wiring):
            self._solved = self._system = None
            if self._told is not None or job.wiring is not None:
                self._tell(_field("none", "", None, job=job))
            return
        before = self._solved
        waits = "being worked out anew" if before is not None else "being worked out"
        self._tell(_field("old", waits, before, job=job))
        self._task = asyncio.create_task(self._work_out(job))

    def _tell(self, told: protocol.FieldTold) -> None:
        self._told = told
        self.tell_all(told)

    async def _work_out(self, job: Job) -> None:
        await asyncio.sleep(QUIET_S)
        assert job.wiring is not None
        try:
            system, results = await asyncio.to_thread(
                solve_wiring, job, job.wiring, before=self._system
            )
        except EnvelopeError as error:
            if self.session.job is job:
                self._tell(_field("trouble", said(error), None, job=job))
            return
        if self.session.job is not job:
            return  # another one is on its way
        self._system, self._solved = system, results
        self._tell(_field("new", "", results, job=job, coloured=True))

    def _tell_faces(self, seen: _Seen) -> None:
        job = self.session.job
        if job is None or not job.building.spaces:
            return
        known = [space.id for space in job.building.spaces]
        space = seen.space if seen.space in known else known[0]
        plan = next((each for each in job.plans if each.id == seen.plan), job.plans[-1])
        panels = [panel.id for panel in job.building.space(space).panels if panel.kind in _FACES]
        faces = elevations_of(
            job,
            plan,
            panels=panels,
            behind=behind_faces(job, plan),
            bonds=() if job.wiring is None else job.wiring.bonds,
        )
        seen.tell(
            {
                "tell": "wiring",
                "space": space,
                "plan": plan.id,
                "faces": [_face(job, face) for face in faces],
                "conductive": sorted(conductive_treatments(job)),
                "cautions": {
                    "work": list(words.CAUTIONS),
                    "bond": words.BOND,
                    "strip": words.STRIP,
                },
            }
        )


def _field(
    state: Literal["none", "old", "new", "trouble"],
    words_of: str,
    results: WiringResults | None,
    *,
    job: Job,
    coloured: bool = False,
) -> protocol.FieldTold:
    sentences: dict[str, dict[str, str]] = {}
    if results is not None:
        today = {at.receiver: at for at in results.plans[0].receivers}
        sentences = {
            plan.plan: {
                at.receiver: field_sentence(plan, at, today[at.receiver], results.frequency_hz)
                for at in plan.receivers
            }
            for plan in results.plans
        }
    drawn = _drawn(job, results) if coloured or results is None else None
    return {
        "tell": "field",
        "state": state,
        "said": words_of,
        "sentences": sentences,
        "verdict": "" if results is None else verdict(results),
        "wiring": drawn,
    }


def _drawn(job: Job, results: WiringResults | None) -> WiringJson | None:
    wiring = scene_wiring(job)
    if wiring is None:
        return None
    full = with_fields(
        wiring,
        results,
        plans=[plan.id for plan in job.plans],
        receivers=[receiver.id for receiver in job.receivers],
    )
    styles = treatment_styles(tuple(job.treatments))
    return cast(WiringJson, wiring_to_json(full, treatments=styles))


def _face(job: Job, face: Elevation) -> protocol.DrawnFaceTold:
    panel = job.building.panel(face.panel)
    frame, space = panel.frame, job.building.space(panel.space)
    corner = frame.lift(frame.flatten(panel.outline).min(axis=0)[np.newaxis])[0]
    outlets = {} if job.wiring is None else {each.id: each for each in job.wiring.outlets}
    return {
        "panel": face.panel,
        "title": face_title(panel, home=panel.space),
        "kind": face.kind,
        "outline": _flat(face.outline),
        "origin": _flat(corner[:2] - space.origin),
        "axes": [*_flat(frame.u[:2]), *_flat(frame.v[:2])],
        "openings": [
            {
                "kind": each.kind,
                "title": shown(each.panel.rpartition("/")[2], limit=16),
                "outline": _flat(each.outline),
            }
            for each in face.openings
        ],
        "behind": [
            {"id": line.what, "ends": [*_flat(line.start), *_flat(line.stop)], "likely": likely}
            for lines, likely in ((face.runs, False), (face.likely_runs, True))
            for line in lines
        ],
        "strips": [_flat(ring) for ring in face.strips],
        "marks": [
            {
                "id": mark.id,
                "kind": mark.kind,
                "at": _flat(mark.at),
                "lamp": _lamp_at(job, outlets[mark.id]) if mark.id in outlets else None,
            }
            for mark in face.marks
        ],
    }


def _lamp_at(job: Job, outlet: Outlet) -> str:
    """Where a lamp beside an outlet would stand, in the room's coordinates, as it is typed."""
    panel = job.building.panel(outlet.panel)
    space = job.building.space(panel.space)
    away_m, up_m = _LAMP_M
    x, y = (outlet.position_m[:2] + away_m * panel.frame.normal[:2] - space.origin).tolist()
    return format_point((x, y, up_m))


def _flat(points: Floats) -> list[float]:
    return [round(float(value), 4) + 0.0 for value in np.ravel(points)]
