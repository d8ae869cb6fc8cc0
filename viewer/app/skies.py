"""All directions around a receiver, for the pages; cast once for each place where it stands."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import cast

from envelope.building.job import Job
from viewer.app.results import Place, place_of
from viewer.app.session import Session
from viewer.scene.json_types import SkyJson
from viewer.scene.records import Scene
from viewer.scene.sky import Sky, losses_db, sky_json
from viewer.scene.sky_cache import moved_skies_json, sky_or_recall


@dataclass(slots=True, kw_only=True)
class Skies:
    """What has been cast of them for one job.

    Parameters
    ----------
    session : Session
    """

    session: Session
    _cast: dict[tuple[object, Place], Sky] = field(default_factory=dict)

    async def of(self, name: str, *, job: Job, scene: Scene) -> SkyJson | None:
        """All directions around a receiver under every plan; None before the job is worked out."""
        findings = self.session.findings
        if findings is None:
            return None
        receiver = {each.id: each for each in job.receivers}.get(name)
        if receiver is None:
            return None
        key = (self.session.now.castings, place_of(receiver))
        if key not in self._cast:
            self._cast[key] = await asyncio.to_thread(sky_or_recall, job, receiver)
        sky = self._cast[key]

        def told() -> SkyJson:
            losses = [losses_db(sky, bench=findings.bench, plan=plan) for plan in job.plans]
            scale = (scene.loss.low_db, scene.loss.high_db)
            found = sky_json(sky, job=job, losses=losses, scale_db=scale)
            moved = moved_skies_json(job, name, job.plans, findings.bench, scale)
            return cast(SkyJson, found | {"moved": moved})

        return await asyncio.to_thread(told)
