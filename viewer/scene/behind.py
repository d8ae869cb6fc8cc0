"""What the wiring has behind each face, for the drawings of faces."""

from __future__ import annotations

import numpy as np
import shapely

from envelope.building.conduction import conductive_treatments
from envelope.building.job import Job, Plan
from envelope.geometry.plane import Floats
from envelope.wiring.islands import pieces_behind, strips_of
from envelope.wiring.routing import Run, entered_runs, routed_runs, routes_of
from envelope.works.elevations import Behind


def behind_faces(job: Job, plan: Plan) -> dict[str, Behind]:
    """Runs and strips by panel; nothing where the job says nothing of its wiring.

    A circuit whose route is not known has no run drawn: what is not known is not placed.
    """
    wiring = job.wiring
    if wiring is None:
        return {}
    entered = [run for run in entered_runs(job, wiring) if run.device is None]
    routed = [
        run
        for circuit in wiring.circuits
        for routes in [routes_of(circuit)]
        if len(routes) == 1
        for run in routed_runs(job, wiring, circuit, routes[0])
    ]
    areas = strips_of(job, wiring.plan(plan.id), [*entered, *routed], conductive_treatments(job))
    found = {}
    for panel in job.building.panels:
        strips = _rings(areas[panel.id]) if panel.id in areas else ()
        one = Behind(
            runs=_pieces(job, panel.id, entered),
            likely_runs=_pieces(job, panel.id, routed),
            strips=strips,
        )
        if one.runs or one.likely_runs or one.strips:
            found[panel.id] = one
    return found


def _pieces(job: Job, panel: str, runs: list[Run]) -> tuple[tuple[str, Floats], ...]:
    face = job.building.panel(panel)
    if face.kind not in ("wall", "floor", "ceiling"):
        return ()
    return tuple((run.id, ends) for run in runs for ends, _ in pieces_behind(face, [run]))


def _rings(area: shapely.Geometry) -> tuple[Floats, ...]:
    parts = [part for part in shapely.get_parts(area) if part.area > 0.0]
    return tuple(np.asarray(part.exterior.coords)[:-1] for part in parts)
