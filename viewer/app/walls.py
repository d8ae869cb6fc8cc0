"""Faces as the pages draw them, to put windows, doors and outlets on."""

from __future__ import annotations

from envelope.building.job import AS_BUILT, Job
from envelope.building.selectors import SelectionError, select
from envelope.text.names import face_title
from envelope.works.elevations import elevations_of
from viewer.app import protocol


def wall_told(job: Job, on: str) -> protocol.WallTold:
    """The elevation of the wall that `on` names, seen from inside.

    Parameters
    ----------
    job : Job
    on : str
        As a row of the file names it, such as "bedroom/1" or "bedroom/south".
    """
    told: protocol.WallTold = {
        "tell": "wall",
        "on": on,
        "panel": None,
        "title": "",
        "outline": [],
        "openings": [],
        "marks": [],
        "trouble": None,
    }
    try:
        panels = select(job.building, on)
    except SelectionError as error:
        told["trouble"] = str(error)
        return told
    found = [job.building.panel(each) for each in panels]
    if len(found) != 1 or found[0].kind != "wall":
        told["trouble"] = "only a single wall is drawn: type the lengths"
        return told
    (face,) = elevations_of(job, job.plan(AS_BUILT), panels=[found[0].id])
    told["panel"] = found[0].id
    told["title"] = face_title(found[0], home=None)
    told["outline"] = [(float(x), float(y)) for x, y in face.outline]
    told["openings"] = [
        {
            "id": each.panel,
            "kind": each.kind,
            "low": (float(each.low[0]), float(each.low[1])),
            "high": (float(each.high[0]), float(each.high[1])),
        }
        for each in face.openings
    ]
    told["marks"] = [
        {"id": each.id, "kind": each.kind, "at": (float(each.at[0]), float(each.at[1]))}
        for each in face.marks
    ]
    return told
