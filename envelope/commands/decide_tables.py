"""The first screen of `gapcast decide`: one page that someone can act on."""

from __future__ import annotations

from dataclasses import replace

from rich.console import Console
from rich.markup import escape

from envelope import text
from envelope.building.conduction import is_conductive
from envelope.building.islands import floating
from envelope.building.job import Job
from envelope.commands.layout import open_console, plain_table
from envelope.commands.tables import print_rests
from envelope.plans.decision import Decision
from envelope.text.decisions import (
    agreement_words,
    cost_words,
    kept_words,
    measure_words,
    now_or_never_words,
    spared_words,
    step_words,
    worse_words,
)
from envelope.text.sentences import difference_words

_MOST_SOURCES = 4
_MOST_WORSE = 3
_MOST_FREE = 4
_MOST_SPARED = 1
_LEFT_UNDONE = 1.02  # the factor from which a measure that is not done is worth a line


def print_decision(job: Job, decision: Decision) -> None:
    """Print today, free measures, the sequence, where to stop, what not to do, cautions."""
    console = open_console()
    several = len(decision.levels_w_m2) > 1
    at = f" at {escape(decision.receiver)}, the worst place," if several else ""
    console.print(
        f"[bold]Today[/]{at} {text.level(decision.levels_w_m2[0][1])}: {_sources(decision)}."
    )
    _print_free(console, job, decision)
    _print_steps(console, job, decision)
    _print_rest(console, job, decision)


def _sources(decision: Decision) -> str:
    total = sum(level for _, level in decision.by_source)
    parts = [
        f"{escape(name)} {text.percent(level / total)}"
        for name, level in decision.by_source[:_MOST_SOURCES]
        if total > 0.0
    ]
    return ", ".join(parts) or "nothing arrives"


def _print_free(console: Console, job: Job, decision: Decision) -> None:
    if not decision.free:
        return
    console.print("\n[bold]Free first[/]")
    for each in decision.free[:_MOST_FREE]:
        cents = int(each.change.cost * 100)
        cost = f", {escape(cost_words(job, decision, cents))}" if cents else ""
        console.print(
            f"  {escape(each.source)}: {escape(measure_words(job, each.change))}{cost}: "
            f"{text.level(each.level_w_m2)}, {difference_words(each.gain)}; "
            f"{escape(agreement_words(each))}."
        )
    ends = decision.steps[decision.stop_after - 1].level_w_m2 if decision.stop_after else 0.0
    if decision.undone_w_m2 is not None and decision.undone_w_m2 > ends * _LEFT_UNDONE:
        console.print(
            f"  Left undone, step {decision.stop_after} ends at {text.level(decision.undone_w_m2)};"
            " --leave-sources plans without them."
        )


def _print_steps(console: Console, job: Job, decision: Decision) -> None:
    console.print()
    money = decision.candidates.priced
    if not decision.steps:
        console.print("Nothing on offer lowers the level.")
        return
    target = decision.target_w_m2 is not None
    columns = ["", "do", ">level after", ">this step", ">range", ">odds"]
    columns += [">target met"] if target else []
    columns += [f">cost {job.costs.currency}", ">so far"] if money else [">area", ">so far"]
    table = plain_table(*columns, title="In this order", keys=1)
    for number, step in enumerate(decision.steps, 1):
        mark = f"{number}" if number <= decision.stop_after else f"({number})"
        table.add_row(
            mark,
            escape(step_words(job, step)),
            text.level(step.level_w_m2),
            _decibels(step.gain.below_db),
            f"{_number(step.gain.low_db)} to {_number(step.gain.high_db)}",
            text.percent(step.gain.odds),
            *([text.percent(step.target_odds or 0.0)] if target else []),
            _cost(step.cents, money=money, feet=job.feet),
            _cost(step.total_cents, money=money, feet=job.feet),
        )
    console.print(table)


def _print_rest(console: Console, job: Job, decision: Decision) -> None:
    if decision.steps:
        after = decision.stop_after
        stop = "Do none of them" if after == 0 else f"Stop after step {after}"
        console.print(f"\n[bold]{stop}[/]: {decision.why_stop}.")
    if decision.target_w_m2 is not None and decision.best_w_m2 >= decision.target_w_m2:
        console.print(
            f"The target of {text.level(decision.target_w_m2)} is out of reach: everything on "
            f"offer together comes to {text.level(decision.best_w_m2)}."
        )
    if decision.worse:
        console.print(
            "[bold]Not by itself[/], it makes the room worse: "
            + "; ".join(
                f"{escape(worse_words(job, each))} ({text.level(each.level_w_m2)})"
                for each in decision.worse[:_MOST_WORSE]
            )
            + "."
        )
    for unit, number in decision.now_or_never:
        console.print(f"[bold]Now or never[/]: {escape(now_or_never_words(job, unit, number))}.")
    if any(step.gain.below_db < 0.0 for step in decision.steps):
        console.print("A step that raises the level is done together with the next one.")
    console.print(_front(decision))
    # its steps are plans of its own making: "step-2"
    print_rests(
        console,
        [replace(each, plan=each.plan.replace("step-", "step ")) for each in decision.rests[:3]],
    )
    for each in decision.spared[:_MOST_SPARED]:
        console.print(f"[bold]Measure first[/]: {escape(spared_words(job, decision, each))}.")
    if not decision.candidates.priced:
        console.print(
            "Prices are missing, so the order is by area: "
            + "; ".join(escape(each) for each in decision.candidates.unpriced[:3])
            + "."
        )
    elif job.costs.tax:
        console.print(f"Costs are before tax of {text.percent(float(job.costs.tax))}.")
    if decision.candidates.nothing_offered:
        kinds = ", ".join(decision.candidates.nothing_offered)
        console.print(f"No plan of the job puts anything on: {kinds}. They stay as they are.")
    if decision.candidates.kept:
        console.print(f"Left as they are: {escape(kept_words(job, decision.candidates.kept))}.")
    if decision.candidates.goes_nowhere:
        names = escape(", ".join(decision.candidates.goes_nowhere))
        console.print(f"{names}: may go only on faces that stay as they are, so on none.")
    used = {
        name for step in decision.steps for names in step.plan.treatments.values() for name in names
    }
    if any(is_conductive(job.treatments[name]) for name in used):
        console.print(
            "[bold]Caution[/]: conductive coating, film and mesh need one bond for each connected "
            "area, made by a licensed electrician under the local code with the power off and "
            "proved dead, never to neutral, pipes or a separate rod. Keep egress windows and "
            "ventilation free, and try phones and linked alarms afterwards."
        )
        bare = [number for number, step in enumerate(decision.steps, 1) if floating(job, step.plan)]
        if bare and job.wiring is not None and job.wiring.bonds:
            console.print(
                f"No bond point of the job lies on a part of what step {bare[0]} coats: the step "
                "includes a bond there, so add "
                + escape("[[bond]]")
                + " before it is put on. A coating that floats can stand at tens of volts near "
                "live cables."
            )
        elif bare:
            console.print(
                "No bond point is in the job: each of these coatings includes its bond, so add "
                + escape("[[bond]]")
                + " before any is put on. A coating that floats can stand at tens of volts near "
                "live cables."
            )


def _front(decision: Decision) -> str:
    front = decision.front
    apart = decision.chain.mean_db - decision.chain.front_mean_db
    said = (
        "proved: no other plan of these measures is cheaper and better"
        if front.finished and front.slack == 0.0
        else f"proved within {text.percent(front.slack)}"
        if front.finished
        else "the search was stopped early, better plans may exist"
    )
    return (
        f"Behind it: {len(front.cents)} plans that no other beats ({said}); buying in this order "
        f"costs {_decibels(apart)} on average against choosing afresh for each sum."
    )


def _number(value_db: float) -> str:
    # adding zero takes the sign off what rounds to nothing
    return f"{round(value_db, 1) + 0.0:.1f}".replace("-", "−")


def _decibels(value_db: float) -> str:
    return f"{_number(value_db)}{text.SPACE}dB"


def _cost(cents: int, *, money: bool, feet: bool) -> str:
    return text.grouped(cents / 100.0) if money else text.area(cents / 100.0, feet=feet)
