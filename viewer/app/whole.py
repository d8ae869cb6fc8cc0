"""Everything about a job at once, for a page that has nothing yet."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import cast

from envelope.building.job import Job, Plan
from envelope.text.names import shown
from viewer.app import model as app_model
from viewer.app import protocol
from viewer.app.describing import layers_said, treatment_said
from viewer.app.results import Findings
from viewer.app.session import Session
from viewer.app.trials import bills_told
from viewer.scene.json_types import SceneJson
from viewer.scene.records import Scene
from viewer.scene.to_json import to_json


def faulty_told(session: Session, status: protocol.Status) -> protocol.FaultyTold:
    """A job that has faults: its text, and each fault with its line."""
    return {
        "tell": "faulty",
        "status": status,
        "text": session.text,
        "faults": [
            {
                "line": fault.location.line if fault.location else None,
                "key": fault.location.key if fault.location else None,
                "text": fault.message,
            }
            for fault in session.faults
        ],
    }


def job_told(
    session: Session,
    job: Job,
    *,
    scene: Scene,
    status: protocol.Status,
    losses: protocol.Losses,
    tried: str | None,
) -> protocol.JobTold:
    """A sound job as pages show it.

    Parameters
    ----------
    session : Session
    job : Job
        The session's, with a plan that is tried out if there is one.
    scene : Scene
        Of that job.
    status : Status
    losses : Losses
        By band, of what pages show.
    tried : str or None
        Id of the plan that is tried out.
    """
    return {
        "tell": "job",
        "status": status,
        "scene": cast(SceneJson, to_json(scene)),
        "assemblies": {
            name: layers_said(each, feet=job.feet) for name, each in job.assemblies.items()
        },
        "treatments": {
            name: treatment_said(each, feet=job.feet) for name, each in job.treatments.items()
        },
        "titles": {name: shown(each.title or name) for name, each in job.treatments.items()},
        "only_on": {name: list(panels) for name, panels in job.only_on.items()},
        "places": {each.id: session.local_m(each) for each in job.receivers},
        "origins": {
            space.id: (float(space.origin[0]), float(space.origin[1]))
            for space in job.building.spaces
        },
        "losses": losses,
        "bills": bills_told(job, job.plans),
        "beyond": beyond_told(session.findings),
        "assumed": job.assumed_source,
        "tried": tried,
        "model": app_model.said_by_model(session),
    }


def beyond_told(findings: Findings | None) -> list[str]:
    """What was used outside the range of its source or formula."""
    if findings is None:
        return []
    return [shown(each, limit=200) for each in findings.bench.extrapolated]


def losses_told(
    job: Job, findings: Findings | None, plans: Sequence[Plan], wanted: Collection[str | None]
) -> protocol.Losses:
    """Losses by band of some plans at some receivers and the first one.

    Parameters
    ----------
    job : Job
    findings : Findings or None
        None while nothing has been cast.
    plans : sequence of Plan
    wanted : collection of str or None
        Ids of receivers; those that the job does not have are left out.
    """
    if findings is None:
        return {}
    names = {*wanted, job.receivers[0].id} & {receiver.id for receiver in job.receivers}
    return {
        plan.id: {
            name: {
                panel: [round(value, 2) if value < 1e6 else None for value in values]
                for panel, values in findings.losses_db(plan=plan, receiver=name).items()
            }
            for name in names
            if name is not None
        }
        for plan in plans
    }
