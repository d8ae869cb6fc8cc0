"""The wiring's field as tables for people: cautions first, ranges never narrowed to one number."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape

from envelope.building.job import AS_BUILT, Job
from envelope.commands.layout import open_console, plain_table
from envelope.text import SPACE, field_strength, length, microamperes, volts
from envelope.wiring import words
from envelope.wiring.results import FieldAt, PlanField, Remaining, Span, WiringResults

_MOST_REMAINING = 10
_LEAST_GAIN = 0.98  # a thing whose absence brings less than this is left out of a plan's line


def print_wiring(results: WiringResults, job: Job) -> None:
    """Everything, in the order in which it matters."""
    console = open_console()
    _head(console, results, job)
    for number, receiver in enumerate(results.plans[0].receivers):
        console.print()
        console.print(f"[bold]{escape(receiver.receiver)}[/bold]")
        _fields(console, results, number)
        _off(console, results.plans[0].receivers[number])
    _plans(console, results, job)
    _volts(console, results)
    _body(console, results)
    _readings(console, results)
    _reach(console, results, job)
    _tail(console, results)


def span(value: Span) -> str:
    """A field's range."""
    return field_strength(value.low, value.high)


def against(ratio: Span) -> str:
    """A ratio to as-built, in words that need no decibels."""
    low, high = (f"{value:.2g}" if value >= 0.01 else "0.01" for value in (ratio.low, ratio.high))
    if ratio.high < 0.01:
        return "below 0.01 times"
    return f"{low} times" if low == high else f"{low} to {high} times"


def shares(share: Span) -> str:
    """A share of today's field, which may be more than all of it."""
    low, high = (f"{100.0 * value:.0f}" for value in (share.low, share.high))
    return f"{low}{SPACE}%" if low == high else f"{low}{SPACE}to{SPACE}{high}{SPACE}%"


def verdict(results: WiringResults) -> str:
    """Which plan wins in every state, or that it is not decided."""
    if len(results.plans) < 2:
        return "There is no plan to compare."
    if results.winner is not None:
        return (
            f"{results.winner} has the least field at every receiver in every one of the "
            f"{results.states} states that were computed."
            if results.states > 1
            else f"{results.winner} has the least field at every receiver."
        )
    return f"Which plan is best is {words.NOT_DECIDED}. No plan has the least field in every state."


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


def _fields(console: Console, results: WiringResults, number: int) -> None:
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
            escape(plan.plan),
            span(at.field_v_m),
            span(at.mean_v_m),
            span(at.greatest_v_m),
            "" if plan.plan == AS_BUILT else against(at.against_as_built),
        )
    console.print(table)
    for plan in results.plans:
        at = plan.receivers[number]
        if at.raised_by is not None:
            console.print(_raises(plan, at))


def _raises(plan: PlanField, at: FieldAt) -> str:
    """Why a plan raises the field, and what helps."""
    run = escape(str(at.raised_by))
    least = " in some states" if at.against_as_built.low < 1.0 else ""
    if plan.floats:
        return (
            f"{escape(plan.plan)} raises the field{least}: its coating floats and carries the "
            f"voltage of {run} to where it was not. Bond it."
        )
    return (
        f"{escape(plan.plan)} raises the field{least}: {run} stays live beside a coating at earth, "
        f"which steepens the field between them. Coat or switch off {run} as well."
    )


def _off(console: Console, at: FieldAt) -> None:
    table = plain_table(
        "off",
        "what",
        ">remains",
        ">of today",
        title="As built, what remains with one thing off, least first",
    )
    for each in at.remaining[:_MOST_REMAINING]:
        table.add_row(
            escape(each.what),
            _kind(each),
            span(each.field_v_m),
            shares(each.share),
        )
    console.print(table)
    rest = len(at.remaining) - _MOST_REMAINING
    if rest > 0:
        console.print(f"… and {rest} more that leave as much or more.")


def _kind(each: Remaining) -> str:
    words_of = {"circuit": "circuit", "device": "device, unplugged"}
    return words_of.get(each.kind, f"run of {escape(each.circuit)}, elsewhere or screened")


def _plans(console: Console, results: WiringResults, job: Job) -> None:
    if len(results.plans) < 2:
        return
    console.print()
    states = results.plans[0].receivers[0].by_walls
    if len(states) > 1:
        table = plain_table(
            "plan",
            *(f">{words.WALL_WORDS[walls]}" for walls in states),
            title=f"Each state of the walls, at {escape(results.plans[0].receivers[0].receiver)}",
        )
        for plan in results.plans:
            table.add_row(
                escape(plan.plan), *(span(each) for each in plan.receivers[0].by_walls.values())
            )
        console.print(table)
    console.print(f"[bold]{escape(verdict(results))}[/bold]")
    floating = [plan.plan for plan in results.plans if plan.floats]
    if floating:
        console.print(f"{escape(', '.join(floating))}: a coating without a bond. {words.FLOATING}")
    console.print(f"[dim]{words.BOND}[/dim]")
    if job.wiring is not None and any(job.wiring.plan(plan.plan).strips for plan in results.plans):
        console.print(f"[dim]{words.STRIP}[/dim]")
    for plan in results.plans[1:]:
        _what_is_left(console, plan)


def _what_is_left(console: Console, plan: PlanField) -> None:
    """Under a plan, the thing whose absence helps most."""
    at = plan.receivers[0]
    best = at.remaining[0] if at.remaining else None
    if plan.off or best is None:
        return
    if best.field_v_m.high < _LEAST_GAIN * at.field_v_m.high:
        console.print(
            f"With {escape(plan.plan)}, {escape(best.what)} off leaves {span(best.field_v_m)} at "
            f"{escape(at.receiver)}."
        )


def _volts(console: Console, results: WiringResults) -> None:
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
        held = ", ".join(island.bonds) or ("a wall" if island.earthed_by_wall else "floats")
        table.add_row(
            escape(plan),
            escape(_short(island.panels)),
            escape(held),
            volts(island.volts.low, island.volts.high),
            microamperes(island.current_a.low, island.current_a.high) if island.bonds else "",
        )
    console.print(table)
    console.print(words.BOND_CURRENT)
    if any(island.floats and island.leaf for _, island in rows):
        console.print(words.LEAF)


def _short(panels: Sequence[str]) -> str:
    shown = ", ".join(panels[:4])
    return shown if len(panels) <= 4 else f"{shown} and {len(panels) - 4} more"


def _body(console: Console, results: WiringResults) -> None:
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
                escape(plan.plan),
                escape(at.receiver),
                volts(at.body_volts.low, at.body_volts.high),
                volts(at.body_meter_volts.low, at.body_meter_volts.high),
            )
    console.print(table)
    console.print(words.BODY)


def _readings(console: Console, results: WiringResults) -> None:
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
            escape(each.plan),
            escape(", ".join(each.off)) or "nothing",
            "nothing (potential-free)" if each.potential_free else "earth",
            field_strength(each.field_v_m, each.field_v_m),
            span(each.predicted_v_m),
        )
    console.print(table)
    if any(not each.potential_free for each in results.readings):
        console.print(
            "A meter on an earth lead shows another quantity, mostly more: compare it with itself "
            "only, before and after."
        )
    if results.states > 1 or results.states_left == 0:
        console.print(
            f"{results.states_left} of {results.states} states agree with the potential-free "
            "readings within a factor of 1.5"
            + (
                "; none does: something that was not entered is live."
                if results.states_left == 0
                else "."
            )
        )
    for test in results.tests:
        console.print(
            f"{escape(test.what)} off: {field_strength(test.before_v_m, test.before_v_m)} became "
            f"{field_strength(test.after_v_m, test.after_v_m)}; predicted "
            f"{span(test.predicted_after_v_m)}."
        )
    if results.tests:
        first = results.tests[0]
        if first.after_v_m < 0.7 * first.before_v_m:
            console.print(f"The readings point at {escape(first.what)}.")
        else:
            console.print(
                "No circuit that was tried takes away a third: look for one that was not."
            )


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
