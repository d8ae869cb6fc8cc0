"""Coated glass found from one reading through an open window and one through it shut.

A low-emissivity coating cannot be seen, and loses twenty decibels and more where plain glass loses
one or two. What each glazing of the starter library would make of the pair is computed with the
room around it, so that what comes in elsewhere, or is scattered about, does not count as glass; and
the two readings are weighed under each as all readings are, with fading, meter and places' errors.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.glazed import is_glazed
from envelope.building.ground_reflection import without_ground_partners
from envelope.building.job import Job, Reading
from envelope.building.library import ASSEMBLIES
from envelope.building.model import Panel
from envelope.exposure.tolerances import TENTH
from envelope.survey.binding import question_of
from envelope.survey.joint import settle
from envelope.survey.responses import responses, unit

PLAIN = ("single-glazing", "double-glazing", "triple-glazing")
COATED = ("double-low-e-hard", "double-low-e", "triple-low-e")
SAME_SPOT_M = 0.5
DRAWS, EACH = 40, 4  # members of the sample of figures, and draws under each
SURE = 0.8  # odds from which glass is called coated; up to the rest of it, plain


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
    odds_coated: float  # by the evidence of both readings, coated as likely as plain beforehand

    @property
    def coated(self) -> bool | None:
        """Whether it is; None where the pair cannot tell."""
        if self.odds_coated >= SURE:
            return True
        return False if self.odds_coated <= 1.0 - SURE else None


def glazing_found(job: Job) -> tuple[Glazing, ...]:
    """What each pair of readings through one window, open and shut, says of its glass.

    Parameters
    ----------
    job : Job
        Its readings indoors count where two name the same sources at the same spot (within half a
        metre) and the state of one window is all that differs.
    """
    return tuple(
        _judged(job, opened, shut, window)
        for opened in job.readings
        for shut in job.readings
        for window in _window_between(job, opened, shut)
    )


def _window_between(job: Job, opened: Reading, shut: Reading) -> Iterator[str]:
    """The one window or glass door that stands open in one reading and is shut in the other."""
    if opened.space is None or opened.space != shut.space or opened.sources != shut.sources:
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
    if is_pair and any(is_glazed(job, panel) for panel in _leaves(job, name)):
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
    tried = {
        name: _tried(job, opened, shut, window, name)
        for name in dict.fromkeys((*PLAIN, *COATED, said))
    }
    expected = {name: each.lowers_db for name, each in tried.items()}
    nearest = min((*PLAIN, *COATED), key=lambda name: abs(expected[name] - measured_db))
    top = max(each.log_evidence for each in tried.values())
    plain, coated = (
        float(np.mean([np.exp(tried[name].log_evidence - top) for name in names]))
        for names in (PLAIN, COATED)
    )
    odds = coated / max(plain + coated, 1e-300)
    return Glazing(
        opening=window,
        open_reading=opened.id,
        shut_reading=shut.id,
        measured_db=measured_db,
        doubt_db=tried[said].doubt_db,
        said=said,
        said_db=expected[said],
        nearest=nearest,
        nearest_db=expected[nearest],
        odds_coated=odds,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    """What a glazing would make of the pair, and how likely it makes what was read."""

    lowers_db: float
    doubt_db: float
    log_evidence: float


def _assembly_of(job: Job, shut: Reading, window: str) -> str:
    """Assembly of a window's pane when it is shut."""
    pane = _leaves(job, window)[0].id
    patch = job.building.patches_of[pane][0]
    return shut.plan.assemblies.get(pane) or job.building.elements[patch.element].assembly or ""


def _tried(job: Job, opened: Reading, shut: Reading, window: str, glazing: str) -> _Tried:
    """The pair with another glazing in the window, weighed as all readings are (`joint`)."""
    panes = {panel.id: glazing for panel in _leaves(job, window)}
    reglazed = replace(shut, plan=replace(shut.plan, assemblies={**shut.plan.assemblies, **panes}))
    assemblies = {**job.assemblies}
    if glazing not in assemblies:
        assemblies[glazing] = ASSEMBLIES[glazing]
    asked = without_ground_partners(
        replace(job, assemblies=assemblies, readings=(opened, reglazed), fitted=None)
    )
    open_ids = tuple(each.id for each in asked.sources if not each.has_level)
    asked = replace(asked, sources=tuple(unit(each) for each in asked.sources))
    heard = responses(asked, draws=DRAWS)
    question = question_of(asked, heard, solved=open_ids)[0]
    expected_db = 10.0 * np.log10(heard.whole.sum(axis=1))
    if open_ids:  # the level is free: only the difference of the two tells of the glass
        shift_db = expected_db[0] - question.shown_db[0]
        question = replace(question, shown_db=question.shown_db + shift_db)
    spread = [each.spread_db() for each in question.noise]
    return _Tried(
        lowers_db=float(expected_db[0] - expected_db[1]),
        doubt_db=TENTH * float(np.hypot(spread[0], spread[1])),
        log_evidence=settle(question, each=EACH).log_evidence,
    )


def _db(ratio: float) -> float:
    return float(10.0 * np.log10(ratio))
