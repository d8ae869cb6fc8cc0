"""The wiring's field as tables for people: cautions first, ranges never narrowed to one number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rich.console import Console
from rich.markup import escape

from envelope.building.job import AS_BUILT, Job
from envelope.commands.layout import open_console, plain_table
from envelope.text import field_strength, length, microamperes, volts
from envelope.text.names import face_title
from envelope.text.trade import plan_name, receiver_title
from envelope.wiring import words
from envelope.wiring.results import FieldAt, PlanField, WiringResults
from envelope.wiring_text import (
    against_words,
    agreement_words,
    change_words_of,
    kind_words,
    left_words,
    pointing_words,
    raised_words,
    share_words,
    span_words,
    test_words,
    verdict,
)

_MOST_REMAINING = 10


def print_wiring(results: WiringResults, job: Job) -> None:
    """Everything, in the order in which it matters."""
    console = open_console()
    _head(console, results, job)
    for number, receiver in enumerate(results.plans[0].receivers):
        console.print()
        console.print(f"[bold]{escape(receiver_title(job, receiver.receiver))}[/bold]")
        _fields(console, results, number, job)
        _off(console, results.plans[0].receivers[number])
    _plans(console, results, job)
    _volts(console, results, job)
    _body(console, results, job)
    _readings(console, results, job)
    _reach(console, results, job)
    _tail(console, results)


def _head(console: Console, results: WiringResults, job: Job) -> None:
    console.print(
        f"[bold]{escape(job.name)}[/bold]: electric field of the wiring, "
        f"{results.frequency_hz:g} Hz"
    )
    for caution in words.CAUTIONS:
        console.print(f"Caution: {caution}")
    if results.unknowns:
        console.print(
            f"Not known: {escape(', '.join(results.unknowns))}. Each figure is the range over the "
            f"{results.states} states that this leaves{' (a sample)' if results.sampled else ''}."
        )
    console.print(words.STATEMENT)


def _fields(console: Console, results: WiringResults, number: int, job: Job) -> None:
    table = plain_table(
        "plan",
        ">field",
        ">mean around",
        ">greatest around",
        ">against today",
        title="Field at the receiver (a hand's breadth around a point, or over its box)",
    )
    for plan in results.plans:
        at = plan.receivers[number]
        table.add_row(
            escape(plan_name(job, plan.plan)),
            span_words(at.field_v_m),
            span_words(at.mean_v_m),
            span_words(at.greatest_v_m),
            "" if plan.plan == AS_BUILT else against_words(at.against_as_built),
        )
    console.print(table)
    for plan in results.plans:
        at = plan.receivers[number]
        if at.raised_by is not None:
            console.print(escape(raised_words(_named(plan, job), at)))


def _off(console: Console, at: FieldAt) -> None:
    table = plain_table(
        "off",
        "what",
        ">remains",
        ">of today",
        title="Today, what remains with one thing off, least first",
    )
    for each in at.remaining[:_MOST_REMAINING]:
        table.add_row(
            escape(each.what),
            escape(kind_words(each)),
            span_words(each.field_v_m),
            share_words(each.share),
        )
    console.print(table)
    rest = len(at.remaining) - _MOST_REMAINING
    if rest > 0:
        console.print(f"… and {rest} more that leave as much or more.")


def _plans(console: Console, results: WiringResults, job: Job) -> None:
    if len(results.plans) < 2:
        return
    console.print()
    states = results.plans[0].receivers[0].by_walls
    if len(states) > 1:
        at = escape(receiver_title(job, results.plans[0].receivers[0].receiver))
        table = plain_table(
            "plan",
            *(f">{words.WALL_WORDS[walls]}" for walls in states),
            title=f"Each state of the walls, at {at}",
        )
        for plan in results.plans:
            table.add_row(
                escape(plan_name(job, plan.plan)),
                *(span_words(each) for each in plan.receivers[0].by_walls.values()),
            )
        console.print(table)
    console.print(f"[bold]{escape(verdict(_with_winner(results, job)))}[/bold]")
    floating = [plan_name(job, plan.plan) for plan in results.plans if plan.unbonded]
    if floating:
        console.print(f"{escape(', '.join(floating))}: a coating without a bond. {words.FLOATING}")
    console.print(words.BOND)
    if job.wiring is not None and any(job.wiring.plan(plan.plan).strips for plan in results.plans):
        console.print(words.STRIP)
    for plan in results.plans[1:]:
        said = left_words(_named(plan, job), _at(plan.receivers[0], job))
        if said:
            console.print(escape(said))


def _volts(console: Console, results: WiringResults, job: Job) -> None:
    rows = [(plan.plan, island) for plan in results.plans for island in plan.islands]
    if not rows:
        return
    console.print()
    table = plain_table(
        "plan",
        "coating on",
        "bond",
        ">stands at",
        ">current",
        title="What coatings stand at, and what their bonds carry",
    )
    for plan, island in rows:
        held = ", ".join(island.bonds) or (
            "none, a wall earths it" if island.earthed_by_wall else "floats"
        )
        table.add_row(
            escape(plan_name(job, plan)),
            escape(
                _short(
                    [
                        face_title(job.building.panel(p), home=p.partition("/")[0])
                        for p in island.panels
                    ]
                )
            ),
            escape(held),
            volts(island.volts.low, island.volts.high),
            microamperes(island.current_a.low, island.current_a.high) if island.bonds else "",
        )
    console.print(table)
    console.print(words.BOND_CURRENT)
    if any(island.floats and island.leaf for _, island in rows):
        console.print(words.LEAF)


def _named(plan: PlanField, job: Job) -> PlanField:
    """A plan's field under the name that people know, for sentences."""
    return replace(plan, plan=plan_name(job, plan.plan))


def _at(at: FieldAt, job: Job) -> FieldAt:
    return replace(at, receiver=receiver_title(job, at.receiver))


def _with_winner(results: WiringResults, job: Job) -> WiringResults:
    winner = None if results.winner is None else plan_name(job, results.winner)
    return replace(results, winner=winner)


def _short(panels: Sequence[str]) -> str:
    shown = ", ".join(panels[:4])
    return shown if len(panels) <= 4 else f"{shown} and {len(panels) - 4} more"


def _body(console: Console, results: WiringResults, job: Job) -> None:
    console.print()
    table = plain_table(
        "plan",
        "receiver",
        ">open",
        ">at a meter of 10 MΩ",
        title="Body voltage to earth of somebody who lies there",
        keys=2,
    )
    for plan in results.plans:
        for at in plan.receivers:
            table.add_row(
                escape(plan_name(job, plan.plan)),
                escape(receiver_title(job, at.receiver)),
                volts(at.body_volts.low, at.body_volts.high),
                volts(at.body_meter_volts.low, at.body_meter_volts.high),
            )
    console.print(table)
    console.print(words.BODY)


def _readings(console: Console, results: WiringResults, job: Job) -> None:
    if not results.readings:
        return
    console.print()
    table = plain_table(
        "reading",
        "plan",
        "off",
        "against",
        ">measured",
        ">predicted",
        title="Readings beside what is predicted for their spots",
    )
    for each in results.readings:
        table.add_row(
            escape(each.id),
            escape(plan_name(job, each.plan)),
            escape(", ".join(each.off)) or "nothing",
            "nothing (potential-free)" if each.potential_free else "earth",
            field_strength(each.field_v_m, each.field_v_m),
            span_words(each.predicted_v_m),
        )
    console.print(table)
    if any(not each.potential_free for each in results.readings):
        console.print(
            "A meter on an earth lead shows another quantity, mostly more: compare it with itself "
            "only, before and after."
        )
    for sentence in agreement_words(results):
        console.print(escape(sentence))
    for change in results.changes:
        console.print(escape(change_words_of(change)))
    for test in results.tests:
        console.print(escape(test_words(test)))
    if results.tests:
        console.print(escape(pointing_words(results.tests)))


def _reach(console: Console, results: WiringResults, job: Job) -> None:
    if not results.reaches_m:
        return
    console.print()
    table = plain_table("run", ">reach", title="How far 5 V/m reaches from each run alone")
    for name, reach in sorted(results.reaches_m.items(), key=lambda item: -item[1]):
        table.add_row(escape(name), length(reach, feet=job.feet))
    console.print(table)


def _tail(console: Console, results: WiringResults) -> None:
    console.print()
    for note in results.notes:
        console.print(f"Note: {escape(note)}.")
    console.print(words.MAGNETIC)
    console.print(words.REFERENCE)
