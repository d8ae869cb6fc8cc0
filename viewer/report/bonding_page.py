"""The bonding plan on paper: conductors, bond points, tests, and drawings of the walls."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from envelope.building.job import Job, Plan
from envelope.works.bonding import BondedIsland
from envelope.works.takeoff import TakeOff
from viewer.report.render import Sheet, render
from viewer.report.sections import bonding_section, drawings_section, faces_of_plan, plan_words


def bonding_page(
    job: Job,
    plan: Plan,
    found: TakeOff,
    bonding: Sequence[BondedIsland],
    *,
    sheet: Sheet,
    shares: Mapping[str, float] | None = None,
) -> str:
    """The bonding plan as HTML.

    Parameters
    ----------
    job : Job
    plan : Plan
    found : TakeOff
        Of the plan.
    bonding : sequence of BondedIsland
        Of the plan.
    sheet : Sheet
    shares : mapping of str to float, optional
        Share of the level that comes in by each ring, by panel.
    """
    faces = [
        face
        for face in faces_of_plan(job, plan, found, bonding)
        if face.kind == "wall" or face.strips
    ]
    values = {
        "plan": plan_words(plan),
        "bonding": bonding_section(job, bonding, shares=shares),
        "drawings": drawings_section(job, faces),
    }
    return render("bonding.html.j2", job=job, sheet=sheet, values=values)
