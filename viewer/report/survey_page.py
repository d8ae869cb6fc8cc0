"""The sheet for a visit with the meter: where to read, what to expect, blanks, drawings."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

import numpy as np
from markupsafe import Markup

from envelope import text
from envelope.building.conduction import is_conductive
from envelope.building.job import Job, Plan
from envelope.survey.planned import Planned
from envelope.text import trade
from envelope.text.names import listed, shown
from envelope.text.surveys import (
    AS_IN_USE,
    EXPECTED,
    difference_range_words,
    done_words,
    place_words,
    plan_words,
    range_words,
    state_words,
)
from envelope.works.elevations import elevations_of
from viewer.report.render import Sheet, render
from viewer.report.sections import drawings_section

_PLAN_MM = 118.0  # the longer side of a room's plan at most
_INK, _SOFT, _MARK, _GLASS = "#1d2b2d", "#5a6668", "#23494d", "#5b8fa8"


def survey_page(job: Job, planned: Sequence[Planned], *, plan: str, sheet: Sheet) -> str:
    """The sheet as HTML.

    Parameters
    ----------
    job : Job
    planned : sequence of Planned
        What to read, from `envelope.survey.planned`.
    plan : str
        Id of what has been done by the time of the visit.
    sheet : Sheet
    """
    places = [each for each in planned if len(each.readings) == 1]
    numbers = {each.readings[0].id: number for number, each in enumerate(places, 1)}
    rooms = list(dict.fromkeys(bed.space for bed in job.receivers))
    # hands' measures, in whole feet or tenths of a metre
    near_m, clear_m, away_m = (0.6096, 0.3048, 0.9144) if job.feet else (0.5, 0.3, 1.0)
    values = {
        "plan": done_words(job, plan),
        "near": text.length(near_m, feet=job.feet),
        "clear": text.length(clear_m, feet=job.feet),
        "away": text.length(away_m, feet=job.feet),
        "places": [_place(job, each, numbers[each.readings[0].id]) for each in places],
        "expected": EXPECTED,
        "switches": [_pair(job, each) for each in planned if each.kind == "switch"],
        "windows": [_window(job, each) for each in planned if each.kind == "window"],
        "joints": _joints(job, rooms),
        "coats": _coats(job, job.plan(plan)),
        "rooms": [
            {
                "title": trade.space_title(job, room),
                "svg": Markup(room_plan_svg(job, room, places, numbers)),
            }
            for room in rooms
        ],
        "drawings": drawings_section(
            job, elevations_of(job, job.plan(plan), panels=_walls(job, rooms))
        ),
    }
    return render("survey.html.j2", job=job, sheet=sheet, values=values)


def _walls(job: Job, rooms: Sequence[str]) -> list[str]:
    panels = job.building.panels
    return [each.id for each in panels if each.kind == "wall" and each.space in rooms]


def _place(job: Job, each: Planned, number: int) -> dict[str, Any]:
    reading = each.readings[0]
    why = "what the promise is about" if each.kind == "bed" else ""
    if each.plan and each.narrows_db >= 0.05:
        why = f"narrows “{plan_words(job, each.plan)}” by {each.narrows_db:.1f} dB"
    least = next((m.lowest_w_m2 for m in job.meters if m.id == reading.meter), 0.0)
    if each.low < least:
        why = f"{why}; " if why else ""
        why += f"may lie below the least that {shown(reading.meter)} shows, {text.level(least)}"
    return {
        "number": number,
        "id": reading.id,
        "where": place_words(job, reading),
        "states": state_words(job, reading) or AS_IN_USE,
        "spots": reading.spots,
        "expected": range_words(each.low, each.expected, each.high),
        "why": why,
    }


def _pair(job: Job, each: Planned) -> dict[str, Any]:
    on, off = each.readings
    return {
        "ids": f"{on.id}, {off.id}",
        "what": _with_id(trade.source_title(job, each.about), each.about),
        "where": place_words(job, on),
        "expected": difference_range_words(each.low, each.expected, each.high),
    }


def _window(job: Job, each: Planned) -> dict[str, Any]:
    first, second = each.readings
    return {
        "ids": f"{first.id}, {second.id}",
        "what": _with_id(trade.opening_title(job, each.about), each.about),
        "where": place_words(job, first),
        "expected": difference_range_words(each.low, each.expected, each.high),
    }


def _with_id(title: str, name: str) -> str:
    """A title with the id that the drawings and the table have."""
    return shown(name) if title == shown(name) else f"{title} ({shown(name)})"


def _joints(job: Job, rooms: Sequence[str]) -> list[dict[str, Any]]:
    """Openings of the rooms whose edges are to be scanned, and the gaps beside them."""
    found = []
    for panel in job.building.panels:
        if panel.space in rooms and panel.kind in ("window", "door", "hatch", "skylight", "vent"):
            edges = "left, right, top, sill" if panel.kind != "door" else "left, right, top, gap"
            found.append({"what": trade.face_name(job, panel.id), "edges": edges})
    return found


def _coats(job: Job, plan: Plan) -> list[str]:
    """Faces under a coating, between whose far corners and bond a resistance is read."""
    return [
        trade.face_name(job, panel)
        for panel, names in plan.treatments.items()
        if any(is_conductive(job.treatments[name]) for name in names)
        and job.building.panel(panel).kind in ("wall", "floor", "ceiling")
    ]


def room_plan_svg(job: Job, room: str, places: Sequence[Planned], numbers: dict[str, int]) -> str:
    """A room from above with its openings and numbered places, north as the file has it.

    Parameters
    ----------
    job : Job
    room : str
        Id of a space.
    places : sequence of Planned
    numbers : dict
        The number of each place by its reading's id.
    """
    space = job.building.space(room)
    floors = [each.outline[:, :2] for each in space.panels if each.kind == "floor"]
    corners = np.concatenate(floors or [each.outline[:, :2] for each in space.panels])
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = _PLAN_MM / float((high - low).max())
    size = (high - low) * scale + 20.0

    def at(point: np.ndarray) -> tuple[float, float]:
        x, y = (np.asarray(point)[:2] - low) * scale + 10.0
        return float(x), float(size[1] - y)

    parts = []
    for floor in floors:
        outline = " ".join(f"{x:.2f},{y:.2f}" for x, y in map(at, floor))
        parts.append(
            f'<polygon points="{outline}" fill="#fff" stroke="{_INK}" stroke-width="0.7"/>'
        )
    for panel in space.panels:
        if panel.kind not in ("window", "door"):
            continue
        host = job.building.panel(panel.host or panel.id)  # its leaf may hang behind the wall
        back_m = float((host.outline[0] - panel.outline[0]) @ panel.normal)
        ends = (panel.outline + back_m * panel.normal)[:, :2]
        middle = ends.mean(axis=0)
        far = ends[np.argmax(((ends - middle) ** 2).sum(axis=1))]
        (x1, y1), (x2, y2) = at(far), at(2 * middle - far)
        colour = _GLASS if panel.kind == "window" else _SOFT
        parts.append(
            f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" '
            f'stroke="{colour}" stroke-width="2"/>'
        )
        name = escape(panel.id.rpartition("/")[2])
        x, y = at(middle + 0.16 * panel.normal[:2])
        side = float(panel.normal[0])  # beside a wall that runs up the page, clear of its line
        anchor = "middle" if abs(side) < 0.7 else "start" if side > 0.0 else "end"
        parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" class="n" style="text-anchor:{anchor}">{name}</text>'
        )
    for each in places:
        reading = each.readings[0]
        if reading.space != room:
            continue
        x, y = at(reading.position_m)
        parts.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="3" fill="{_MARK}"/>')
        number = numbers[reading.id]
        parts.append(f'<text x="{x:.2f}" y="{y + 1.1:.2f}" class="p">{number}</text>')
    inside = [numbers[e.readings[0].id] for e in places if e.readings[0].space == room]
    title = f"Plan of {escape(shown(room))} with places {listed([str(n) for n in inside])}"
    style = (
        f".p{{font:bold 3.2px sans-serif;fill:#fff;text-anchor:middle}}"
        f".n{{font:3.2px sans-serif;fill:{_SOFT};text-anchor:middle}}"
    )
    return (
        f'<svg role="img" viewBox="0 0 {size[0]:.1f} {size[1]:.1f}" '
        f'style="width:{size[0]:.1f}mm;max-width:100%;height:auto">'
        f"<title>{title}</title><style>{style}</style>{''.join(parts)}</svg>"
    )
