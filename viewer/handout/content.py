"""What stands on the page of a hand-out, as plain records that the template lays out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from envelope.building.job import AS_BUILT, Job
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.assumptions import limits_of
from envelope.exposure.differences import Difference
from envelope.exposure.results import PlanResult, ReceiverResult
from envelope.plans.decision import Decision
from envelope.text import level, percent
from envelope.text.cautions import cautions_of
from envelope.text.measures import agreed_measures
from envelope.text.names import plan_title, sentence, shown
from envelope.text.reading_marks import taken_at
from envelope.text.sentences import SAME_DB, WORSE_DB
from viewer.handout import words
from viewer.handout.inline import data_address
from viewer.handout.steps import steps_section
from viewer.scene.colours import cividis_table
from viewer.scene.listing import listed_faces
from viewer.scene.records import Scene
from viewer.scene.wiring import KEY_TITLE, SPOT_COLOURS, share_key

_MAX_ROWS = 6  # faces listed at once; the others wait behind a button
_LISTED_FROM = 0.005  # least share of a face in the list
_PATTERNS = {
    "rising": "M0 8L8 0M0 20L20 0M10 22L30 2",
    "falling": "M0 0L14 14M10 0L24 14M-10 0L4 14M20 0L34 14",
    "cross": "M0 8L8 0M0 20L20 0M10 22L30 2M0 0L14 14M10 0L24 14M-10 0L4 14",
    "upright": "M4 0V14M12 0V14M20 0V14",
    "level": "M0 4H24M0 10H24",
    "grid": "M4 0V14M12 0V14M20 0V14M0 4H24M0 10H24",
    "dots": "M4 4h.1M12 4h.1M20 4h.1M8 10h.1M16 10h.1",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A part of the page for one plan and one receiver, of which one shows at a time."""

    plan: int
    receiver: int
    shows: bool
    body: Mapping[str, Any]


def _cable_key(scene: Scene) -> list[dict[str, str]]:
    """Colours of cables and marks, where the wiring's field was worked out."""
    if scene.wiring is None or not scene.wiring.fields:
        return []
    kinds = dict.fromkeys(spot.kind for spot in scene.wiring.spots)
    entries = [*share_key(), *((SPOT_COLOURS[kind], kind) for kind in kinds)]
    return [{"colour": colour, "words": said} for colour, said in entries]


def content(
    *,
    scene: Scene,
    job: Job,
    analysis: Analysis,
    chosen: int,
    pictures: Mapping[str, bytes],
    decision: Decision | None = None,
    promised: Analysis | None = None,
) -> dict[str, Any]:
    """Everything that the template needs of a job.

    Parameters
    ----------
    scene : Scene
    job : Job
    analysis : Analysis
        Of the scene's plans.
    chosen : int
        Place of the plan to open with.
    pictures : mapping of str to bytes
        PNG by plan.
    decision : Decision, optional
        What to do first at the first receiver.
    promised : Analysis, optional
        Of the job before any work, where readings were taken after it.
    """
    found = _Found(scene=scene, job=job, analysis=analysis, chosen=chosen)
    return {
        "name": shown(scene.name, limit=120),
        "threshold": f"{scene.threshold_db:g}",
        "receivers": [
            {
                "id": shown(each.name),
                "space": shown(scene.spaces[scene.space_index[each.space]].name),
            }
            for each in scene.receivers
        ],
        "storeys": [shown(storey.id) for storey in scene.storeys],
        "rooms": len(scene.spaces),
        "plans": [_plan_row(found, p) for p in range(len(scene.plans))],
        "axis": _axis(found),
        "verdicts": list(found.cases(_verdict)),
        "stills": [_still(found, p, pictures) for p in range(len(scene.plans))],
        "faces": list(found.cases(_faces)),
        "max_rows": _MAX_ROWS,
        "steps": None if decision is None else steps_section(job, decision),
        "some_count": any(found.besides),
        "sources": list(found.cases(_sources)) if scene.sources else [],
        "readings": _readings(found, job, promised or analysis),
        "promised": promised is not None,
        "treatments": [
            {
                "name": shown(style.treatment),
                "letter": style.letter,
                "colour": style.colour,
                "pattern": style.pattern,
                "path": _PATTERNS.get(style.pattern, ""),
            }
            for style in scene.treatments
        ],
        "cable_key": _cable_key(scene),
        "cable_title": KEY_TITLE,
        "transmitters": any(source.position_m is not None for source in scene.sources),
        "blocks": bool(scene.blocks),
        "colours": cividis_table(24),
        "let_in_ticks": words.ticks(low=scene.let_in.low_db, high=scene.let_in.high_db),
        "loss_ticks": words.ticks(low=scene.loss.low_db, high=scene.loss.high_db),
        "assumed": job.assumed_source,
        "beyond": ", ".join(dict.fromkeys(words.material(each) for each in analysis.extrapolated)),
        "notes": [sentence(note) for note in limits_of(job)],
        "here": [sentence(each) for each in cautions_of(job, analysis.plans, for_client=True)],
        "cautions": words.CAUTIONS,
    }


class _Found:
    """Results by place, and what they are compared with."""

    def __init__(self, *, scene: Scene, job: Job, analysis: Analysis, chosen: int) -> None:
        self.scene = scene
        self.besides = [agreed_measures(job, job.plan(plan.id)) for plan in scene.plans]
        self.chosen = chosen
        by_id = {plan.plan: plan for plan in analysis.plans}
        self.plans = [by_id[plan.id] for plan in scene.plans]
        self.titles = [plan_title(plan.id, plan.title) for plan in scene.plans]
        self.today = next((p for p, plan in enumerate(scene.plans) if plan.id == AS_BUILT), None)

    def result(self, p: int, r: int) -> ReceiverResult | None:
        return self.scene.plans[p].receiver(self.scene.receivers[r].id)

    def change(self, p: int, r: int) -> Difference | None:
        """Against today; None for today itself, or where today is not shown."""
        if self.today is None or p == self.today or self.result(self.today, r) is None:
            return None
        before: PlanResult = self.plans[self.today]
        return words.change(before=before, after=self.plans[p], receiver=self.scene.receivers[r].id)

    def cases(self, make: Any) -> Iterator[Case]:
        for p in range(len(self.plans)):
            for r in range(len(self.scene.receivers)):
                result = self.result(p, r)
                if result is not None:
                    yield Case(
                        plan=p,
                        receiver=r,
                        shows=(p, r) == (self.chosen, 0),
                        body=make(self, p, r, result),
                    )

    def top(self, r: int) -> float:
        """The end of the bars at a receiver: no less than any plan's range."""
        ends = [0.0]
        for p in range(len(self.plans)):
            result = self.result(p, r)
            if result is not None:
                one = words.amount(result)
                ends += [one.value, one.high or 0.0]
        return words.rounded_up(max(ends))


def _verdict(found: _Found, p: int, r: int, result: ReceiverResult) -> dict[str, Any]:
    change = found.change(p, r)
    if p == found.today:
        said = words.verdict_today(result)
    elif change is None:
        said = Markup("With <i>{}</i>, <b>{}</b> reach {}.").format(
            words.name(found.titles[p]), words.amount(result).words, words.name(result.name)
        )
    else:
        said = words.verdict(title=found.titles[p], result=result, found=change)
    more = [
        words.uncertainty(result, change),
        words.main_source(found.scene, result),
        words.next_face(found.scene, result),
        words.added(found.scene.plans[p], feet=found.scene.feet),
        words.besides(found.besides[p]),
    ]
    return {
        "said": said,
        "more": [each for each in more if each],
        "warnings": [] if p == found.today else words.source_warnings(found.scene, result),
    }


def _plan_row(found: _Found, p: int) -> dict[str, Any]:
    """A plan's bar and number, for every receiver."""
    levels = []
    for r in range(len(found.scene.receivers)):
        result = found.result(p, r)
        if result is None:
            continue
        one, top, change = words.amount(result), found.top(r), found.change(p, r)
        levels.append(
            {
                "receiver": r,
                "shows": r == 0,
                "bar": f"{100.0 * one.value / top:.2f}",
                "range": None
                if one.low is None or one.high is None
                else (f"{100.0 * one.low / top:.2f}", f"{100.0 * one.high / top:.2f}"),
                "words": one.words,
                "range_words": one.range_words,
                "change": "" if change is None else words.change_words(change),
                "worse": change is not None and words.is_told(change) and change.below_db < 0.0,
            }
        )
    return {"title": found.titles[p], "checked": p == found.chosen, "levels": levels}


def _axis(found: _Found) -> list[dict[str, Any]]:
    """The end of the bars, by receiver."""
    axes = []
    for r in range(len(found.scene.receivers)):
        results = [found.result(p, r) for p in range(len(found.plans))]
        one = next((words.amount(result) for result in results if result is not None), None)
        if one is not None:
            axes.append({"receiver": r, "shows": r == 0, "end": one.said(found.top(r))})
    return axes


def _still(found: _Found, p: int, pictures: Mapping[str, bytes]) -> dict[str, Any]:
    """What stands in for the cutaway in a browser that shows no 3D."""
    result = found.result(p, 0)
    drawn = pictures.get(found.scene.plans[p].id)
    return {
        "plan": p,
        "shows": p == found.chosen,
        "title": found.titles[p],
        "address": None if drawn is None else data_address(drawn),
        "receiver": shown(found.scene.receivers[0].name),
        "words": "" if result is None else words.amount(result).words,
    }


def _faces(found: _Found, p: int, r: int, result: ReceiverResult) -> dict[str, Any]:
    scene = found.scene
    rows = []
    for leak in listed_faces(result):
        if leak.share < _LISTED_FROM:
            continue
        panel = scene.panels[scene.panel_index[leak.panel]]
        worn = " + ".join(shown(each, limit=24) for each in leak.treatments)
        rows.append(
            {
                "id": leak.panel,
                "title": words.client_title(panel, result.space),
                "worn": worn or "untreated",
                "is_gap": leak.is_gap,
                "share": percent(leak.share),
                "bar": f"{max(100.0 * leak.share, 0.6):.2f}",
                "if_treated": words.if_treated(leak),
                "worse": (leak.below_if_treated_db or 0.0) <= -SAME_DB,
            }
        )
    return {
        "rows": rows[:_MAX_ROWS],
        "rest": rows[_MAX_ROWS:],
        "receiver": shown(result.name),
        "plan": found.titles[p],
    }


def _sources(found: _Found, p: int, r: int, result: ReceiverResult) -> dict[str, Any]:
    return {
        "receiver": shown(result.name),
        "plan": found.titles[p],
        "today": p == found.today,
        "rows": [
            {
                "name": shown(words.source_name(found.scene, source.id)),
                "outside": words.source_outside(source),
                "level": level(source.level_w_m2),
                "range": words.source_range(source),
                "change": words.source_change(source),
                "worse": source.below_as_built_db <= -WORSE_DB,
            }
            for source in result.sources
        ],
    }


def _readings(found: _Found, job: Job, promised: Analysis) -> list[dict[str, Any]]:
    """Rows for what a meter shows before and after, beside what was predicted before the work."""
    rows = []
    for receiver in found.scene.receivers:
        for plan, title in zip(found.scene.plans, found.titles, strict=True):
            at = {each.id: each for each in promised.plan(plan.id).receivers}
            result = at.get(receiver.id)
            if result is None or not result.sources:
                continue
            one = words.amount(result)
            taken = taken_at(job, receiver=receiver.id, plan=plan.id)
            rows.append(
                {
                    "receiver": shown(receiver.name),
                    "title": title,
                    "predicted": one.words,
                    "range": one.range_words,
                    "read": "; ".join(each.value for each in taken),
                    "day": "; ".join(" ".join(filter(None, (e.day, e.meter))) for e in taken),
                }
            )
    return rows
