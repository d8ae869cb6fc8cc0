"""Readings of the job for the pages: at once where and how much, soon after whether explained."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from envelope.building.job import Job
from envelope.survey.verdicts import verdicts_of
from viewer.app import protocol
from viewer.app.pages import Pages
from viewer.scene.json_types import ReadingJson
from viewer.scene.readings import readings_json


@dataclass(slots=True, kw_only=True, eq=False)
class Readings:
    """What pages have been told of the readings.

    Parameters
    ----------
    pages : Pages
    """

    pages: Pages
    _told: protocol.ReadingsTold | None = None
    _judged: Job | None = None

    @property
    def told(self) -> protocol.ReadingsTold | None:
        """What a page that joins is told."""
        return self._told

    def show(self, job: Job) -> None:
        """Tell them as they stand; a verdict stays until the next one is worked out."""
        if self._judged is job:
            return
        before = {each["id"]: each for each in self._told["readings"]} if self._told else {}
        self._tell([_kept(each, before.get(each["id"])) for each in readings_json(job)])

    async def judge(self, job: Job) -> None:
        """Judge them, beside the edits, and tell."""
        if not job.readings or self._judged is job:
            return
        verdicts = await asyncio.to_thread(verdicts_of, job)
        self._judged = job
        self._tell(readings_json(job, verdicts))

    def _tell(self, readings: list[ReadingJson]) -> None:
        told: protocol.ReadingsTold = {"tell": "readings", "readings": readings}
        if told != self._told and (readings or self._told):
            self._told = told
            self.pages.tell_all(told)


def _kept(now: ReadingJson, before: ReadingJson | None) -> ReadingJson:
    """The reading as it was judged, where it is still the same: its verdict follows in a moment."""
    if before is None:
        return now
    same = (
        before["at"] == now["at"]
        and before["plan"] == now["plan"]
        and before["where"] == now["where"]
        and before["label"].startswith(now["label"])
    )
    return before if same else now
