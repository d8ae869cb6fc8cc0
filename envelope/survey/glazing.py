"""Coated glass found from one reading through an open window and one through it shut.

A low-emissivity coating cannot be seen, and loses twenty decibels and more where plain glass loses
one or two. What each glazing of the starter library would make of the pair is computed with the
room around it, so that what comes in elsewhere, or is scattered about, does not count as glass.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import Job, Reading
from envelope.building.library import ASSEMBLIES
from envelope.building.model import Panel
from envelope.survey.responses import Responses, responses

PLAIN = ("single-glazing", "double-glazing", "triple-glazing")
COATED = ("double-low-e-hard", "double-low-e", "triple-low-e")
SAME_SPOT_M = 0.5
# Standard deviation of one reading in a diffuse field, one polarization (5.57 dB), and of a reading
# taken again at the same place (1 dB half-width of a 10–90 % band; common practice, no source).
SCATTER_DB = 5.57
AGAIN_DB = 1.0 / 1.2816
TENTH = 1.2815515594457831
DRAWS = 8  # the nominal one counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Glazing:
    """What a pair of readings says of a window's glass."""

    opening: str
    open_reading: str
    shut_reading: str
    measured_db: float  # by which the shut window lowers the reading
    doubt_db: float  # half-width of the 10–90 % range
    said: str  # assembly that the job names
    said_db: float  # what that would make of the pair
    nearest: str  # glazing of the library that comes nearest
    nearest_db: float
    coated: bool | None  # None where the pair cannot tell

    @property
    def sentence(self) -> str:
        """The finding, for people."""
        what = {
            True: "its glass is coated",
            False: "its glass is plain",
            None: "this does not tell coated glass from plain",
        }[self.coated]
        start = (
            f"readings {self.open_reading} and {self.shut_reading}: shut, {self.opening} lowers "
            f"the reading by {self.measured_db:.1f} dB (give or take {self.doubt_db:.1f}): {what}"
        )
        if self.coated is None:
            return f"{start}. Read close to the window, at more spots."
        said = f"the job says {self.said}, which would make it {self.said_db:.1f} dB"
        if abs(self.said_db - self.measured_db) <= self.doubt_db:
            return f"{start}; {said}."
        return (
            f"{start}, most like {self.nearest} ({self.nearest_db:.1f} dB); {said}: correct its "
            "assembly."
        )


def glazing_found(job: Job) -> tuple[Glazing, ...]:
    """What each pair of readings through one window, open and shut, says of its glass.

    Parameters
    ----------
    job : Job
        Its readings indoors count where two name the same single source at the same spot (within
        half a metre) and the state of one window is all that differs.
    """
    return tuple(
        _judged(job, opened, shut, window)
        for opened in job.readings
        for shut in job.readings
        for window in _window_between(job, opened, shut)
    )


def _window_between(job: Job, opened: Reading, shut: Reading) -> Iterator[str]:
    """The one window that stands open in one reading and is shut in the other."""
    if opened.space is None or opened.space != shut.space or opened.sources != shut.sources:
        return
    if len(opened.sources) != 1:
        return
    if float(np.linalg.norm(opened.position_m - shut.position_m)) > SAME_SPOT_M:
        return
    states = {**opened.plan.states}, {**shut.plan.states}
    names = {*states[0], *states[1]}
    differing = [name for name in sorted(names) if states[0].get(name) != states[1].get(name)]
    if len(differing) != 1:
        return
    (name,) = differing
    is_pair = states[0].get(name) == "open" and states[1].get(name, "shut") == "shut"
    if is_pair and any(panel.kind == "window" for panel in _leaves(job, name)):
        yield name


def _leaves(job: Job, opening: str) -> list[Panel]:
    """Panes of an opening on all its sides."""
    return [
        panel
        for panel in job.building.panels
        if panel.host is not None and panel.id == f"{panel.space}/{opening}"
    ]


def _judged(job: Job, opened: Reading, shut: Reading, window: str) -> Glazing:
    measured_db = _db(opened.level_w_m2 / shut.level_w_m2)
    said = _assembly_of(job, shut, window)
    heard = {name: _lowered(job, opened, shut, window, name) for name in (*PLAIN, *COATED, said)}
    expected = {name: _db(float(each.whole[0, 0] / each.whole[1, 0])) for name, each in
                heard.items()}  # fmt: skip
    doubt_db = _doubt_db(heard[said], (opened, shut))
    nearest = min((*PLAIN, *COATED), key=lambda name: abs(expected[name] - measured_db))
    plain = max(expected[name] for name in PLAIN)
    coated = min(expected[name] for name in COATED)
    verdict: bool | None = None
    if measured_db - doubt_db > plain:
        verdict = True
    elif measured_db + doubt_db < coated:
        verdict = False
    return Glazing(
        opening=window,
        open_reading=opened.id,
        shut_reading=shut.id,
        measured_db=measured_db,
        doubt_db=doubt_db,
        said=said,
        said_db=expected[said],
        nearest=nearest,
        nearest_db=expected[nearest],
        coated=verdict,
    )


def _assembly_of(job: Job, shut: Reading, window: str) -> str:
    """Assembly of a window's pane when it is shut."""
    pane = _leaves(job, window)[0].id
    patch = job.building.patches_of[pane][0]
    return shut.plan.assemblies.get(pane) or job.building.elements[patch.element].assembly or ""


def _lowered(job: Job, opened: Reading, shut: Reading, window: str, glazing: str) -> Responses:
    """Responses of the pair with another glazing in the window."""
    panes = {panel.id: glazing for panel in _leaves(job, window)}
    reglazed = replace(shut, plan=replace(shut.plan, assemblies={**shut.plan.assemblies, **panes}))
    assemblies = {**job.assemblies}
    if glazing not in assemblies:
        assemblies[glazing] = ASSEMBLIES[glazing]
    asked = replace(job, assemblies=assemblies, readings=(opened, reglazed))
    return responses(asked, draws=DRAWS)


def _doubt_db(heard: Responses, pair: tuple[Reading, Reading]) -> float:
    """Half-width of the 10–90 % range of the pair's ratio; the meter and the source cancel. [dB]"""
    variance = 0.0
    for row, reading in enumerate(pair):
        scattered = float(heard.spread[row, 0] / heard.whole[row, 0])
        variance += (SCATTER_DB * scattered) ** 2 / reading.spots + AGAIN_DB**2
    return TENTH * float(np.sqrt(variance))


def _db(ratio: float) -> float:
    return float(10.0 * np.log10(ratio))
