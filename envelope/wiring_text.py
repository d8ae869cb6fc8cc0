"""Sentences on the wiring's field, worded once for the terminal, the app, pictures and pages.

Ranges are never narrowed to one number.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from envelope.building.job import AS_BUILT
from envelope.text import SPACE, field_strength
from envelope.text.names import listed, plan_title, shown
from envelope.wiring import words
from envelope.wiring.results import (
    FieldAt,
    PlanField,
    PlanTest,
    Remaining,
    Span,
    SwitchTest,
    WiringResults,
)

_MATTERS = 0.8  # of today's field: what leaves more is not worth a sentence
_LEAST_GAIN = 0.98  # a thing whose absence brings less than this is left out of a plan's line
_TAKES_AWAY = 0.7  # of a reading, by a circuit that the readings point at

Name = Callable[[str], str]


def span_words(value: Span) -> str:
    """A field's range."""
    return field_strength(value.low, value.high)


def against_words(ratio: Span) -> str:
    """A ratio to as-built, in words that need no decibels.

    Examples
    --------
    >>> against_words(Span(low=0.5, high=1.2)), against_words(Span(low=0.001, high=0.002))
    ('0.5 to 1.2 times', 'below 0.01 times')
    """
    low, high = (f"{value:.2g}" if value >= 0.01 else "0.01" for value in (ratio.low, ratio.high))
    if ratio.high < 0.01:
        return "below 0.01 times"
    return f"{low} times" if low == high else f"{low} to {high} times"


def share_words(share: Span) -> str:
    """A share of today's field, which may be more than all of it.

    Examples
    --------
    >>> share_words(Span(low=0.77, high=1.13))
    '77\\xa0to\\xa0113\\xa0%'
    """
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


def raised_words(plan: PlanField, at: FieldAt) -> str:
    """Why a plan raises the field at a receiver, and what helps; nothing where it does not."""
    if at.raised_by is None:
        return ""
    least = " in some states" if at.against_as_built.low < 1.0 else ""
    if plan.floats:
        return (
            f"{plan.plan} raises the field{least}: its coating floats and carries the "
            f"voltage of {at.raised_by} to where it was not. It needs a bond: {words.BOND_SHORT}"
        )
    return (
        f"{plan.plan} raises the field{least}: {at.raised_by} stays live beside a coating at "
        f"earth, which steepens the field between them. Coat or switch off {at.raised_by} as well."
    )


def left_words(plan: PlanField, at: FieldAt) -> str:
    """Under a plan, the thing whose absence helps most; nothing where none does."""
    best = at.remaining[0] if at.remaining else None
    if plan.off or best is None or best.field_v_m.high >= _LEAST_GAIN * at.field_v_m.high:
        return ""
    return (
        f"With {plan.plan}, {best.what} off leaves {span_words(best.field_v_m)} at {at.receiver}."
    )


def kind_words(each: Remaining) -> str:
    """What is switched off, unplugged or laid elsewhere."""
    kinds = {"circuit": "circuit", "device": "device, unplugged"}
    return kinds.get(each.kind, f"run of {each.circuit}, elsewhere or screened")


def field_headline(plan: str, field: str, receiver: str) -> tuple[str, ...]:
    """A plan in parts of one line: its field at a receiver, in words, where it is worked out."""
    if not field:
        return (plan_title(plan),)
    return (plan_title(plan), f"{field} from the wiring at {shown(receiver)}")


def field_sentence(plan: PlanField, at: FieldAt, today: FieldAt, frequency_hz: float) -> str:
    """The field under a plan at a receiver, beside today's, and what is wrong with the plan."""
    said = f"{span_words(at.field_v_m)} at {frequency_hz:g}{SPACE}Hz from the wiring"
    if plan.plan != AS_BUILT:
        said += f", {against_words(at.against_as_built)} today's"
    said += "."
    if plan.unbonded:
        said += " A coating of this plan has no bond: it is not proposed so."
    elif at.raised_by is not None:
        said += f" {raised_words(plan, at)}"
    return said


def test_words(test: SwitchTest) -> str:
    """One switch-off test beside its prediction."""
    before, after = (
        field_strength(value, value, unit=False) for value in (test.before_v_m, test.after_v_m)
    )
    return (
        f"{test.what} off: {before}{SPACE}V/m became {after}{SPACE}V/m; predicted "
        f"{span_words(test.predicted_after_v_m)}."
    )


def pointing_words(tests: Sequence[SwitchTest]) -> str:
    """What the switch-off tests point at; nothing where there is none."""
    if not tests:
        return ""
    if tests[0].after_v_m < _TAKES_AWAY * tests[0].before_v_m:
        return f"The readings point at {tests[0].what}."
    return "No circuit that was tried takes away a third: look for one that was not."


def change_words_of(change: PlanTest) -> str:
    """A reading before and after a plan, beside its prediction where they are one quantity."""
    before, after = (field_strength(each, each) for each in (change.before_v_m, change.after_v_m))
    measured = change.after_v_m / max(change.before_v_m, 1e-9)
    said = f"{change.plan}: {before} before became {after}, {measured:.2g} times"
    if not change.potential_free:
        return f"{said}, both against earth."
    return f"{said}; predicted {against_words(change.predicted_ratio)}."


def agreement_words(results: WiringResults) -> tuple[str, ...]:
    """How many states agree with the readings, and what that decides."""
    free = [each for each in results.readings if each.potential_free]
    if not free:
        return ()
    if results.states_left == 0:
        return (
            "No state agrees with the potential-free readings within a factor of 1.5: something "
            "that was not entered is live, or lies elsewhere.",
        )
    if results.states == 1:
        return ("The potential-free readings agree within a factor of 1.5.",)
    said = [
        f"{results.states_left} of {results.states} states agree with the potential-free readings "
        "within a factor of 1.5."
    ]
    if results.left_open:
        left = [f"{name}: {' or '.join(words_of)}" for name, words_of in results.left_open]
        said.append(f"They leave {'; '.join(left)}.")
    if results.winner is None and results.winner_left is not None:
        said.append(f"In every state that agrees {results.winner_left} has the least field.")
    return tuple(said)


def paragraph(
    results: WiringResults,
    *,
    plan: str,
    name: Name = shown,
    receiver: str | None = None,
    strips: bool = False,
) -> tuple[str, ...]:
    """What a client should know of the wiring's field, in plain sentences.

    Parameters
    ----------
    results : WiringResults
    plan : str
        That is told beside today.
    name : callable, optional
        How a name from the file is written, such as between marks that isolate its direction.
    receiver : str, optional
        At which the field is told; the first one if not given.
    strips : bool
        Whether the plan has strips along a circuit, which have a caution of their own.
    """
    number = next(
        (k for k, at in enumerate(results.plans[0].receivers) if at.receiver == receiver), 0
    )
    today = results.plans[0].receivers[number]
    sentences = [
        f"The cables behind the walls make an electric field of about "
        f"{span_words(today.field_v_m)} at {name(today.receiver)} today, which a field meter can "
        f"check ({results.frequency_hz:g} Hz; this has nothing to do with radio).",
        _decisive(today, name),
    ]
    others = [at for k, at in enumerate(results.plans[0].receivers) if k != number]
    if others and receiver is None:
        there = [f"{span_words(at.field_v_m)} at {name(at.receiver)}" for at in others]
        sentences.append(f"It is about {listed(there)}.")
    beside = next((each for each in results.plans if each.plan == plan), None)
    if beside is not None and plan != AS_BUILT:
        at = beside.receivers[number]
        sentences.append(
            f"With {name(plan_title(plan))} it is about {span_words(at.field_v_m)} at "
            f"{name(at.receiver)}."
        )
        if beside.unbonded:
            sentences.append(
                "In that plan a coating is not connected to earth yet. It must not stay so: a "
                "fault could make it live, and no breaker would trip."
            )
        elif at.raised_by is not None:
            sentences.append(
                f"That may be more than today, because {name(at.raised_by)} stays live beside the "
                "earthed coating."
            )
    sentences.append(pointing_words(results.tests))
    if results.unknowns:
        sentences.append(
            f"Not known yet: {', '.join(results.unknowns)}; therefore the range. A meter, "
            "circuit by circuit, decides."
        )
    if beside is not None and beside.islands:
        sentences.append(words.BOND)
    if strips:
        sentences.append(words.STRIP)
    return tuple(each for each in sentences if each)


def _decisive(today: FieldAt, name: Name) -> str:
    """The circuit or device whose absence helps most."""
    best = next(
        (each for each in today.remaining if each.kind != "run" and each.share.high < _MATTERS),
        None,
    )
    if best is None:
        return "No circuit alone decides it."
    does = "unplugged" if best.kind == "device" else "switched off at the board"
    return f"With {name(best.what)} {does}, about {span_words(best.field_v_m)} would remain."
