"""The report of a job on paper: from the visit to the last reading, in words for a client."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from envelope import text
from envelope.building.job import AS_BUILT, Job, Plan
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.rests import Rest
from envelope.exposure.results import PlanResult, ReceiverResult
from envelope.plans.decision import Decision, Step
from envelope.text import trade
from envelope.text.cautions import cautions_of
from envelope.text.decisions import (
    agreement_words,
    as_today_words,
    bed_moves,
    cost_words,
    step_words,
    stop_words,
    worse_words,
)
from envelope.text.measures import agreed_measures, measure_words
from envelope.text.names import face_title, listed, shown
from envelope.text.sentences import change_words, difference_words
from envelope.works.offer import NOT_INCLUDED
from envelope.works.takeoff import take_off
from envelope.works.workorder import WorkOrder
from viewer.report import levels
from viewer.report.inputs import inputs_section, source_words, visit_section
from viewer.report.render import Sheet, render
from viewer.report.sections import (
    bonding_section,
    drawings_section,
    faces_of_plan,
    order_section,
    plan_words,
    step_rows,
)

FREE_DB = 0.5  # what a source in the house must bring to be named as a free measure
MAX_WAYS = 4  # faces named as the main ways in
MAX_WORSE = 4
SOURCES = (
    "Walls, floors, glass: layers of material after Recommendation ITU-R P.2040-3, at every angle "
    "and both polarizations.",
    "Coatings and films: thin resistive sheets; meshes: wire grids, the more cautious of two "
    "published formulas.",
    "Level in the room: direct beams and the diffuse field of coupled rooms, a balance of power as "
    "for reverberant enclosures.",
    "Resistances: direct current in thin sheets, solved on the coated faces as one surface.",
    "Ranges: 300 draws of everything that is not known, the same for every plan; a range holds "
    "eight times in ten.",
    "Quantities: the faces themselves; spread rates, spare, laps and hems as the job states them, "
    "else common practice.",
)
LIMITS = (
    "Furniture beyond what it absorbs, trees, the shape of the ground and resonances below some "
    "300 MHz are not modelled, nor is workmanship beyond a tenth of the decibels gained.",
    "A single reading in a reflecting room scatters by several decibels: average many places.",
    "Sources that appear or grow stronger after the visit are in no figure.",
    "Predictions are estimates; a meter decides. Nothing here speaks of health.",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReportParts:
    """What a report is made of, each worked out before."""

    plan: Plan  # that was chosen
    receiver: str  # id
    order: WorkOrder  # of the plan
    decision: Decision | None = None  # None where nothing is on offer
    undecided: str = ""  # why there is none
    pictures: Mapping[str, bytes] = field(default_factory=dict)  # PNG by caption
    wiring: tuple[str, ...] = ()  # sentences on its electric field
    wiring_picture: bytes | None = None
    source_text: str = ""  # of the job's file
    ring_shares: Mapping[str, float] = field(default_factory=dict)


def report_page(job: Job, analysis: Analysis, parts: ReportParts, *, sheet: Sheet) -> str:
    """The report as HTML.

    Parameters
    ----------
    job : Job
    analysis : Analysis
        Of today and of all plans that are compared, with bands.
    parts : ReportParts
    sheet : Sheet
    """
    found = _Found(job, analysis, parts)
    faces = faces_of_plan(job, parts.plan, parts.order.take_off, parts.order.bonding)
    values = {
        "receiver": trade.receiver_title(job, parts.receiver),
        "plan": plan_words(parts.plan),
        "summary": list(found.summary()),
        "cautions": cautions_of(job, analysis.plans, for_client=True),
        "visit": visit_section(job, analysis),
        "pictures": [
            {"caption": caption, "address": _address(data)}
            for caption, data in parts.pictures.items()
        ],
        "ways": found.ways(),
        "first": found.first(),
        "undecided": parts.undecided,
        "plans": found.plans(),
        "as_today": found.as_today(),
        "beside": list(found.beside()),
        "chosen": found.chosen(),
        "wiring": parts.wiring,
        "wiring_picture": None if parts.wiring_picture is None else _address(parts.wiring_picture),
        "order": order_section(job, parts.plan, parts.order.take_off),
        "bonding": bonding_section(job, parts.order.bonding, shares=parts.ring_shares),
        "steps": step_rows(job, parts.order.steps),
        "never": step_rows(job, parts.order.now_or_never),
        "drawings": drawings_section(job, faces),
        "not_included": NOT_INCLUDED,
        "rests": [f"{what}: {each.taken}" for what, each in found.rests()],
        "limits": LIMITS,
        "extrapolated": analysis.extrapolated,
        "sources": SOURCES,
        "inputs": inputs_section(job, parts.plan),
        "settle": [f"{what}: {each.settle}" for what, each in found.rests()],
        "notes": analysis.notes,
        "source_text": parts.source_text,
    }
    return render("report.html.j2", job=job, sheet=sheet, values=values)


def _address(data: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(data).decode('ascii')}"


class _Found:
    """Figures of the plans at one receiver."""

    def __init__(self, job: Job, analysis: Analysis, parts: ReportParts) -> None:
        self.job, self.analysis, self.parts = job, analysis, parts
        self.results = {result.plan: result for result in analysis.plans}
        self.today: PlanResult = self.results[AS_BUILT]
        self.name = trade.receiver_title(job, parts.receiver)

    def rests(self) -> list[tuple[str, Rest]]:
        """Figures that the comparison rests on, with their names."""
        return [(trade.figure_words(self.job, each.words), each) for each in self.analysis.rests]

    def at(self, plan: str) -> ReceiverResult:
        return levels.at_receiver(self.results[plan], self.parts.receiver)

    def change(self, plan: str) -> str:
        found = levels.paired(self.today, self.results[plan], self.today, self.parts.receiver)
        return levels.change(found)

    def summary(self) -> Iterator[str]:
        """The job in a paragraph."""
        job, at_today = self.job, self.at(AS_BUILT)
        building = job.building
        rooms = "1 room" if len(building.spaces) == 1 else f"{len(building.spaces)} rooms"
        storeys = "one storey" if len(building.storeys) == 1 else f"{len(building.storeys)} storeys"
        yield (
            f"This report is about {self.name} in {trade.space_title(job, at_today.space)}, in a "
            f"building of which {rooms} on {storeys} were taken up."
        )
        if job.assumed_source:
            yield "No source was surveyed: a field that comes alike from all sides stands for them."
        else:
            yield f"Surveyed: {listed([source_words(job, each) for each in job.sources])}."
        yield (f"Today {levels.amount(at_today)} reach {self.name}{self._range(at_today)}.")
        strongest = max(at_today.sources, key=lambda each: each.level_w_m2, default=None)
        if strongest is not None and at_today.level_w_m2 > 0.0:
            share = strongest.level_w_m2 / at_today.level_w_m2
            source = next(each for each in job.sources if each.id == strongest.id)
            entry = strongest.main_entry
            by = "" if entry is None else f", mostly through the {self._face(entry.panel)}"
            name = shown(source.title or source.id)
            yield f"{text.percent(share)} of it is brought by {name}{by}."
        plan = self.parts.plan
        after = self.at(plan.id)
        yield (
            f"The chosen plan, {plan_words(plan)}, leaves {levels.amount(after)}"
            f"{self._range(after)}: {self.change(plan.id)}."
        )

    def _range(self, found: ReceiverResult) -> str:
        said = levels.amount_range(found)
        return f" ({said})" if said else ""

    def _face(self, panel: str) -> str:
        found = self.job.building.panel(panel)
        home = self.at(AS_BUILT).space
        return face_title(found, home=home, room=trade.space_title(self.job, found.space))

    def ways(self) -> list[dict[str, str]]:
        """Faces by which most of the level comes in today."""
        leaks = sorted(self.at(AS_BUILT).panels, key=lambda each: -each.share)
        return [
            {"face": self._face(leak.panel), "share": text.percent(leak.share)}
            for leak in leaks[:MAX_WAYS]
            if leak.share > 0.0
        ]

    def first(self) -> dict[str, Any] | None:
        """What to do first, and where to stop."""
        decision = self.parts.decision
        if decision is None:
            return None
        free = [
            {
                "what": trade.source_title(self.job, each.source),
                "do": measure_words(self.job, each.change),
                "change": difference_words(each.gain),
                "who": agreement_words(each, for_client=True),
            }
            for each in decision.free
            if each.gain.below_db >= FREE_DB
        ] + [
            {"what": "the bed", "do": where, "change": change_words(below_db), "who": "today"}
            for where, below_db in bed_moves(self.job, decision.bed)
        ]
        numbers = {id(step): number for number, step in enumerate(decision.steps, 1)}
        groups = (
            ("First", decision.first),
            ("Then, as far as the money goes", decision.then),
            ("Not worth it, or not to be told", decision.not_worth),
        )
        return {
            "free": free,
            "groups": [
                {
                    "title": title,
                    "rows": [self._step(decision, numbers[id(step)], step) for step in steps],
                }
                for title, steps in groups
                if steps
            ],
            "stop": stop_words(decision) if decision.steps else "",
            "priced": decision.candidates.priced,
            "worse": [
                f"{worse_words(self.job, decision, each)} ({text.decibels(each.above_db)} more)"
                for each in decision.worse[:MAX_WORSE]
            ],
        }

    def _step(self, decision: Decision, number: int, step: Step) -> dict[str, Any]:
        return {
            "number": number,
            "what": step_words(self.job, step),
            "cost": cost_words(self.job, decision, step.cents),
            "level": text.level(step.level_w_m2),
            "gain": difference_words(step.gain),
        }

    def plans(self) -> list[dict[str, Any]]:
        """Every plan that was worked out, beside today."""
        rows = []
        for plan in self.job.plans:
            if plan.id not in self.results:
                continue
            at = self.at(plan.id)
            bill = take_off(self.job, plan).bill
            priced = any(line.amount is not None for line in bill.lines)
            told = levels.paired(self.today, self.results[plan.id], self.today, self.parts.receiver)
            rows.append(
                {
                    "title": plan_words(plan),
                    "chosen": plan.id == self.parts.plan.id,
                    "level": levels.amount(at),
                    "range": levels.amount_range(at),
                    "change": "" if plan.id == AS_BUILT else levels.change(told),
                    "worse": plan.id != AS_BUILT and told.can_be_told and told.below_db < 0.0,
                    "cost": trade.money(bill.total, bill.currency) if priced else "",
                }
            )
        return rows

    def as_today(self) -> str:
        """Why levels compared are not those that are led to first."""
        plan = self.parts.plan
        brought = {each.id: each.level_w_m2 for each in self.at(plan.id).sources}
        return as_today_words(self.job, [(plan_words(plan), brought)], counting=[plan])

    def beside(self) -> Iterator[str]:
        """Each plan beside the chosen one."""
        chosen = self.parts.plan
        for plan in self.job.plans:
            if plan.id in (AS_BUILT, chosen.id) or plan.id not in self.results:
                continue
            found = levels.paired(
                self.results[plan.id],
                self.results[chosen.id],
                self.today,
                self.parts.receiver,
            )
            yield levels.between(plan_words(plan), plan_words(chosen), found)

    def chosen(self) -> dict[str, Any]:
        """The chosen plan: what is treated, and when the promise counts as kept."""
        plan = self.parts.plan
        after = self.at(plan.id)
        told = levels.paired(self.today, self.results[plan.id], self.today, self.parts.receiver)
        high = after.headline.high_w_m2
        promised = told.low_db > 0.0 and high is not None and bool(after.sources)
        worn: dict[str, list[str]] = {}
        for panel, names in plan.treatments.items():
            for name in names:
                worn.setdefault(name, []).append(panel)
        return {
            "worn": [
                {
                    "what": trade.treatment_title(self.job, name),
                    "where": trade.faces_by_room(self.job, panels),
                }
                for name, panels in sorted(worn.items())
            ],
            "besides": list(agreed_measures(self.job, plan)),
            "accepted": text.level(high) if promised and high is not None else "",
            "spots": self.job.defaults.count("spots"),
        }
