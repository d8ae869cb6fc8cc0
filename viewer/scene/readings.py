"""Readings as marks in a picture: where the meter was held, what it showed, if it is explained."""

from __future__ import annotations

from collections.abc import Sequence

from envelope.building.job import Job
from envelope.survey.verdicts import ReadingVerdict
from envelope.text.names import shown
from envelope.text.reading_marks import ReadingMark, Stands, reading_marks
from viewer.scene.json_types import ReadingJson

# Told apart by shade as much as by hue, and by words beside them.
READING_COLOURS: dict[Stands, str] = {
    "explained": "#0b5f6b",
    "not explained": "#8e1f2f",
    "cannot be told": "#585d62",
    "not judged": "#585d62",
}


def readings_json(job: Job, verdicts: Sequence[ReadingVerdict] = ()) -> list[ReadingJson]:
    """Every reading of a job as pages show it.

    Parameters
    ----------
    job : Job
    verdicts : sequence of ReadingVerdict, optional
        From `verdicts_of`; readings without one are shown and not judged.
    """
    return [_reading(each) for each in reading_marks(job, verdicts)]


def _reading(mark: ReadingMark) -> ReadingJson:
    x, y, z = (round(float(each), 4) for each in mark.position_m)
    judged = f": {mark.stands}" if mark.stands in ("explained", "not explained") else ""
    lines = [
        mark.value + (f", {mark.verdict}" if mark.verdict else ""),
        f"expected {mark.expected}" if mark.expected else "",
        f"of {mark.of}" if mark.of else "",
        f"{mark.stage}, {mark.day}" if mark.day else mark.stage,
    ]
    return {
        "id": mark.id,
        "at": (x, y, z),
        "space": mark.space,
        "plan": mark.plan,
        "stands": mark.stands,
        "colour": READING_COLOURS[mark.stands],
        "label": f"read {mark.value}{judged}",
        "where": shown(mark.where, limit=120),
        "lines": [shown(each, limit=160) for each in lines if each],
    }
