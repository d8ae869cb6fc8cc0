"""What `gapcast survey` prints: readings, steps, bearings, glass, and what stays open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from rich.markup import escape

from envelope.building.job import AS_BUILT, CoverTest, Job, Reading
from envelope.commands.layout import open_console, plain_table
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.casts import Casts
from envelope.project.measures import point_text
from envelope.survey.bearings import Bearing, bearings_of
from envelope.survey.glazing import Glazing, glazing_found
from envelope.survey.hunt import Hunt, hunt
from envelope.survey.levels import before_work
from envelope.survey.meter_range import MeterRange, short_ranges
from envelope.survey.verdicts import ReadingVerdict, StepVerdict, steps_of, verdicts_of
from envelope.text import SPACE, decibels, level, percent, significant, trade
from envelope.text.decisions import shares_words
from envelope.text.names import TODAY, listed
from envelope.text.sentences import difference_words
from envelope.text.surveys import (
    AS_IN_USE,
    alike_words,
    bearing_words,
    bound_words,
    done_words,
    glass_words,
    look_here_words,
    meter_range_words,
    next_test_words,
    place_words,
    plan_words,
    range_words,
    set_by,
    source_test_words,
    state_words,
    step_words,
    suspected_place_words,
    verdict_words,
)

MAX_RESTS = 4
MAX_SUSPECTS = 5
UNEXPLAINED = 0.5  # of a reading, below which a fault is looked for
NOTHING_LEFT = 0.8  # of no fault, from which none is listed
WORTH_A_WORD = 0.1  # odds of a source from which it is said how to make sure of it
WORTH_TESTING = 0.02  # bits that a test must tell to be proposed


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """Everything that the readings tell."""

    readings: tuple[ReadingVerdict, ...]
    steps: tuple[StepVerdict, ...]
    bearings: tuple[Bearing, ...]
    glazing: tuple[Glazing, ...]
    short_ranges: tuple[MeterRange, ...]  # promises that a meter cannot show
    hunt: Hunt | None  # None where nothing is to be hunted
    analysis: Analysis | None  # None for a job without receivers


def findings_of(job: Job, casts: Casts | None) -> Findings:
    """Judge the readings of a job.

    Parameters
    ----------
    job : Job
        From `solve_levels`.
    casts : Casts or None
        Of the job; None where it has no receivers.
    """
    verdicts = verdicts_of(job)
    analysis = None
    short: tuple[MeterRange, ...] = ()
    if casts is not None:
        analysis = analyze(job=job, casts=casts, with_bands=True, ranked_plans=())
        before = before_work(job)  # a promise knows nothing of what was read after the work
        if before is job:
            short = short_ranges(job, analysis)
        elif before is not None:
            short = short_ranges(job, analyze(job=before, casts=casts, ranked_plans=()))
    return Findings(
        readings=verdicts,
        steps=() if casts is None else steps_of(job, casts=casts),
        bearings=bearings_of(job),
        glazing=glazing_found(job),
        hunt=hunt(job) if _to_hunt(job, verdicts) else None,
        short_ranges=short,
        analysis=analysis,
    )


def _to_hunt(job: Job, verdicts: Sequence[ReadingVerdict]) -> bool:
    """Whether work was done that may have left a leak, or something is not explained."""
    treated = any(each.plan.treatments and each.space for each in job.readings)
    return treated or any(each.explained < UNEXPLAINED for each in verdicts)


def print_findings(job: Job, found: Findings) -> None:
    """Print them on one screen."""
    console = open_console()
    console.print(f"[bold]{escape(job.name)}[/bold]")
    if job.fitted is not None:
        console.print(escape(bound_words(job)))
    if found.analysis is not None:
        _print_levels(console, job, found.analysis)
    if found.readings:
        _print_readings(console, job, found.readings)
    if found.steps:
        _print_steps(console, job, found.steps)
    for short in found.short_ranges:
        console.print(f"[bold]Meter[/bold]: {escape(meter_range_words(job, short))}.")
    if found.hunt is not None:
        _print_hunt(console, job, found.hunt)
    for bearing in found.bearings:
        console.print(escape(bearing_words(job, bearing)))
    for glass in found.glazing:
        console.print(escape(glass_words(job, glass)))
    for scan in job.scans:
        above = 10.0 * float(np.log10(scan.level_w_m2 / scan.beside_w_m2))
        edge = f", {scan.edge}" if scan.edge else ""
        console.print(
            f"Scan {escape(scan.id)} along {escape(trade.face_name(job, scan.along) + edge)}: "
            f"{decibels(above)} above the room beside it ({escape(plan_words(job, scan.plan))})."
        )
    for test in job.cover_tests:
        fell = 10.0 * float(np.log10(test.uncovered_w_m2 / test.level_w_m2))
        console.print(
            f"Cover test {escape(test.id)}: with {escape(_covered(job, test))} under foil the "
            f"level fell by {decibels(fell)} ({escape(plan_words(job, test.plan))})."
        )
    for each in job.resistances:
        console.print(
            f"Resistance {escape(each.id)} on {escape(trade.face_name(job, each.on))}, "
            f"{escape(each.between)}: "
            f"{significant(each.resistance_ohm)}{SPACE}Ω."
        )
    if found.analysis is not None and found.analysis.rests:
        said = [
            f"{escape(trade.figure_words(job, each.words))} (±{each.moves_db:.1f}{SPACE}dB)"
            for each in found.analysis.rests[:MAX_RESTS]
        ]
        console.print(
            f"[bold]Still open[/bold], by how much it moves the plans: {', '.join(said)}. "
            f"To settle the first: {escape(found.analysis.rests[0].settle)}."
        )


def _print_levels(console: Any, job: Job, analysis: Analysis) -> None:
    today = analysis.plan(AS_BUILT)
    for receiver in today.receivers:
        if receiver.low_w_m2 is None or receiver.high_w_m2 is None or not receiver.sources:
            continue
        total = receiver.level_w_m2
        brought = sorted(receiver.sources, key=lambda each: -each.level_w_m2)
        counted = [(each.id, each.level_w_m2) for each in brought]
        told = range_words(receiver.low_w_m2, total, receiver.high_w_m2)
        bed = escape(trade.receiver_title(job, receiver.id))
        parts = escape(shares_words(job, counted))
        console.print(f"{bed}, {TODAY}: [bold]{told}[/bold]: {parts}.")


def _print_readings(console: Any, job: Job, readings: tuple[ReadingVerdict, ...]) -> None:
    by_id = {each.id: each for each in job.readings}
    judged = [(each, by_id[each.reading]) for each in readings]
    # what is the same for all of them is said once, and leaves room for the verdict
    stages = {reading.plan.id for _, reading in judged}
    changed = any(state_words(job, reading) for _, reading in judged)
    headings = ["reading", "visit", ">showed µW/m²", ">without it, expected", "verdict"]
    headings += ["windows, switches"] if changed else []
    headings += ["done"] if len(stages) > 1 else []
    table = plain_table(
        *headings, "where",
        title=f"Each reading beside what all else says of it{_said_of_all(job, judged, changed)}",
        keys=1,
    )  # fmt: skip
    for each, reading in judged:
        sign = {"value": "", "below": "below ", "above": "above "}[reading.shows]
        ends = f"{level(each.low_w_m2, unit=False)} to {level(each.high_w_m2, unit=False)}"
        cells = [
            each.reading,
            each.visit or "",
            sign + level(each.shown_w_m2, unit=False),
            "–" if set_by(job, reading) else ends,
            verdict_words(job, reading, each.explained),
        ]
        cells += [state_words(job, reading)] if changed else []
        cells += [plan_words(job, reading.plan.id)] if len(stages) > 1 else []
        table.add_row(*map(escape, [*cells, place_words(job, reading)]))
    console.print(table)


def _said_of_all(job: Job, judged: Sequence[tuple[ReadingVerdict, Reading]], changed: bool) -> str:
    """What the title says in place of columns."""
    plans = {reading.plan.id for _, reading in judged}
    done = "" if len(plans) > 1 else f"; done: {done_words(job, next(iter(plans)))}"
    return f"{done}; {'else ' if changed else ''}{AS_IN_USE}"


def _print_steps(console: Any, job: Job, steps: tuple[StepVerdict, ...]) -> None:
    table = plain_table(
        "place", "done", ">reached dB", "promised", "verdict", ">odds",
        title="Steps reached beside steps promised, the same place and meter", keys=2,
    )  # fmt: skip
    for each in steps:
        table.add_row(
            escape(trade.receiver_title(job, each.receiver)),
            escape(plan_words(job, each.plan)),
            step_words(each.reached_db, each.doubt_db, at_least=each.at_least),
            difference_words(each.promised),
            each.kept,
            percent(each.odds),
        )
    console.print(table)


def _covered(job: Job, test: CoverTest) -> str:
    return listed([trade.face_name(job, name) for name in test.panels])


def _print_hunt(console: Any, job: Job, found: Hunt) -> None:
    first = found.places[0]
    if not first.name and first.odds >= NOTHING_LEFT:
        console.print(
            f"[bold]The leak that is left[/bold]: none is needed to explain the readings "
            f"({percent(first.odds)})."
        )
        return
    table = plain_table(
        "suspect", ">odds", ">adds at most",
        title="The leak that is left: where a single fault explains the readings", keys=1,
    )  # fmt: skip
    for each in found.likely_places[:MAX_SUSPECTS]:
        added = f"{max(each.excess_db, 0.0):.1f}{SPACE}dB" if each.name else ""
        table.add_row(escape(suspected_place_words(job, each)), percent(each.odds), added)
    console.print(table)
    alike = alike_words(job, found)
    if alike:
        console.print(escape(f"{alike}."))
    if found.test is not None and found.test.tells_bits >= WORTH_TESTING:
        console.print(f"[bold]Next[/bold]: {escape(next_test_words(job, found.test))}.")
    elif first.odds < NOTHING_LEFT:
        console.print(
            "[bold]Next[/bold]: no single cover test parts the suspects. Read at more spots, scan "
            "the joints, and read before each treated face."
        )
    elif first.suspects[0].fault.kind != "source":
        console.print(f"[bold]Next[/bold]: {escape(look_here_words(job, first.name))}.")
    for each in found.likely_places[:MAX_SUSPECTS]:
        if each.suspects[0].fault.kind == "source" and each.odds >= WORTH_A_WORD:
            console.print(escape(f"{source_test_words(job, each)}."))


def blank_row(job: Job, reading: Reading, plan: str) -> dict[str, str]:
    """A planned reading as a row to fill in."""
    row = {
        "id": reading.id,
        "spots": str(reading.spots),
        "off": "; ".join(reading.off),
        "states": "; ".join(
            f"{name}={state}"
            for name, state in reading.plan.states.items()
            if job.plan(plan).states.get(name) != state
        ),
        "meter": reading.meter,
        "plan": "" if plan == AS_BUILT else plan,
        "place": place_words(job, reading).replace(SPACE, " "),
    }
    if len(reading.sources) == 1 and len(job.sources) > 1 and not reading.off:
        row["source"] = reading.sources[0]
    if reading.receiver is not None:
        row["receiver"] = reading.receiver
    elif reading.space is not None:
        space = job.building.space(reading.space)
        x, y, z = (float(each) for each in reading.position_m)
        at = (x - space.origin[0], y - space.origin[1], z - space.floor_m)
        row |= {"space": reading.space, "at": point_text(at, feet=job.feet)}
    else:
        at = tuple(float(each) for each in reading.position_m)  # type: ignore[assignment]
        row["at"] = point_text(at, feet=job.feet)
    return row


def findings_as_plain(job: Job, found: Findings) -> dict[str, Any]:
    """The findings as plain data."""
    fitted = job.fitted
    return {
        "format": 1,
        "project": job.name,
        "effective_draws": None if fitted is None else fitted.effective,
        "widened": fitted is not None and fitted.tempered < 1.0,
        "readings": [
            {
                "id": each.reading,
                "visit": each.visit,
                "shown_w_m2": each.shown_w_m2,
                "expected_w_m2": each.expected_w_m2,
                "low_w_m2": each.low_w_m2,
                "high_w_m2": each.high_w_m2,
                "explained": each.explained,
            }
            for each in found.readings
        ],
        "steps": [
            {
                "receiver": each.receiver,
                "plan": each.plan,
                "before": each.before,
                "after": each.after,
                "reached_db": each.reached_db,
                "doubt_db": each.doubt_db,
                "promised_db": each.promised.below_db,
                "promised_low_db": each.promised.low_db,
                "promised_high_db": each.promised.high_db,
                "odds_kept": each.odds,
                "kept": each.kept,
                "at_least": each.at_least,
            }
            for each in found.steps
        ],
        "bearings": [
            {
                "sources": list(each.sources),
                "azimuth_deg": float(np.degrees(each.azimuth_rad)),
                "doubt_deg": float(np.degrees(each.doubt_rad)),
                "even_share": each.even_share,
                "agrees": each.agrees,
            }
            for each in found.bearings
        ],
        "glazing": [glass_words(job, each) for each in found.glazing],
        "beyond_meter": [
            {
                "meter": each.meter,
                "receiver": each.receiver,
                "plan": each.plan,
                "range_db": each.range_db,
                "promised_db": each.promised_db,
            }
            for each in found.short_ranges
        ],
        "suspects": []
        if found.hunt is None
        else [
            {
                "kind": each.fault.kind,
                "panel": each.fault.panel or None,
                "source": each.fault.source or None,
                "odds": each.odds,
                "excess_db": each.excess_db,
            }
            for each in found.hunt.likely
        ],
        "places": []
        if found.hunt is None
        else [
            {"place": each.name or None, "odds": each.odds, "alike": each.name in found.hunt.alike}
            for each in found.hunt.likely_places
        ],
        "next_test": None
        if found.hunt is None or found.hunt.test is None
        else {
            "cover": found.hunt.test.on,
            "at": found.hunt.test.at,
            "spots": found.hunt.test.spots,
            "falls_db": found.hunt.test.falls_db,
            "else_db": found.hunt.test.else_db,
            "tells_bits": found.hunt.test.tells_bits,
        },
    }
