"""The first screen of `gapcast decide`: one page that someone can act on."""

from __future__ import annotations

from rich.console import Console
from rich.markup import escape

from envelope import text
from envelope.building.job import Job
from envelope.commands.decide_brief import NARROW, print_brief
from envelope.commands.layout import open_console, plain_table
from envelope.commands.tables import print_rests
from envelope.plans.decision import Decision, FreeMeasure, Step
from envelope.plans.steps import front_taken_off
from envelope.plans.stops import doubtful_steps
from envelope.text.cautions import SHIELDED_DB, cautions_of_plans
from envelope.text.decisions import (
    agreement_words,
    bed_moves,
    bed_words,
    begins_without_words,
    chosen_lines,
    cost_words,
    counted_words,
    frames_words,
    kept_words,
    not_offered_words,
    now_or_never_words,
    only_room,
    out_of_reach_words,
    prices_missing,
    rival_words,
    shares_words,
    spared_words,
    step_lines,
    stop_words,
    undone_words,
    worse_words,
)
from envelope.text.measures import measure_words
from envelope.text.sentences import difference_words
from envelope.text.trade import figure_words, receiver_title, source_title

_MOST_WORSE = 3
_MOST_FREE = 3
_MOST_RESTS = 3
_MOST_RIVALS = 1
_MOST_NOT_WORTH = 1  # changes named of a step that is not worth doing
_MOST_CAUTIONS = 4
_MOST_SPARED = 1
_PARTS_DB = 1.0  # from which the plans behind the sequence are worth a line
_MOST_LEVELS = 3  # receivers that get a column each
_LEFT_UNDONE = 1.02  # the factor from which a measure that is not done is worth a line


def print_decision(job: Job, decision: Decision, *, detail: bool = False) -> None:
    """Print what one acts on: today, free measures, the sequence, where to stop, what not to do.

    Parameters
    ----------
    job : Job
    decision : Decision
    detail : bool
        Print the plans behind the sequence, and all that the figures rest on, too.
    """
    console = open_console()
    if console.width < NARROW and not detail:
        print_brief(console, job, decision)
        return
    several = len(decision.levels_w_m2) > 1
    at = (
        f" at {escape(receiver_title(job, decision.receiver))}, the worst place," if several else ""
    )
    if decision.shares or decision.sources:
        console.print(f"[bold]Counted[/]: {escape(counted_words(job, decision))}.")
    console.print(
        f"[bold]Today[/]{at} {text.level(decision.levels_w_m2[0][1])}: "
        f"{escape(shares_words(job, decision.by_source))}."
    )
    if said := begins_without_words(job):
        console.print(f"[bold]Note[/]: {escape(said)}.")
    _print_free(console, job, decision)
    if decision.bed:
        free = bed_moves(job, decision.bed)
        label = "Free first" if free else "Bed"
        console.print(f"[bold]{label}[/]: {escape(bed_words(job, decision.bed))}.")
    _print_steps(console, job, decision)
    _print_stop(console, job, decision)
    _print_not_now(console, job, decision)
    _print_rests(console, job, decision)
    _print_cautions(console, job, decision)
    if detail:
        _print_detail(console, job, decision)


def _print_free(console: Console, job: Job, decision: Decision) -> None:
    for each in decision.free[:_MOST_FREE]:
        cents = int(each.change.cost * 100)
        cost = f", {escape(cost_words(job, decision, cents))}" if cents else ""
        console.print(
            f"[bold]{_label(each)}[/]: "
            f"{escape(source_title(job, each.source))}, "
            f"{escape(measure_words(job, each.change))}{cost}: "
            f"{_after(each)}; "
            f"{escape(agreement_words(each))}."
        )
    ends = decision.steps[decision.stop_after - 1].level_w_m2 if decision.stop_after else 0.0
    if decision.undone_w_m2 is not None and decision.undone_w_m2 > ends * _LEFT_UNDONE:
        console.print(
            f"  If {escape(undone_words(job, decision))}, step {decision.stop_after} ends at "
            f"{text.level(decision.undone_w_m2)}; --leave-sources plans without it."
        )


def _label(free: FreeMeasure) -> str:
    if free.change.agreed_by == "unknown":
        return "Ask first"
    return "At a source" if free.change.cost else "Free first"


def _after(free: FreeMeasure) -> str:
    """The level with a measure, and the change."""
    if free.level_w_m2 <= 0.0:
        return "nothing arrives any more"
    return f"{text.level(free.level_w_m2)}, {difference_words(free.gain)}"


def _print_steps(console: Console, job: Job, decision: Decision) -> None:
    money = decision.candidates.priced
    if not decision.steps:
        console.print("Nothing on offer lowers the level.")
        return
    target = decision.target_w_m2 is not None
    names = [name for name, _ in sorted(decision.levels_w_m2)]
    several = len(names) > 1
    each_level = 1 < len(names) <= _MOST_LEVELS
    columns = ["", "do"]
    called = [receiver_title(job, name) for name in names]
    columns += [f">{name}: after" for name in called] if each_level else [">level after"]
    columns += [">brings, dB", *(["at"] if several and not each_level else [])]
    columns += [">target met"] if target else []
    columns += [f">cost {job.costs.currency}", ">so far"] if money else [">area", ">so far"]
    tax = f", costs before tax of {text.percent(float(job.costs.tax))}" if job.costs.tax else ""
    room = only_room(job, decision)
    where = f", all in {escape(room)}" if room else ""
    title = f"In this order{where}{tax if money else ''}"
    table = plain_table(*columns, title=title, keys=1)
    for number, step in enumerate(decision.steps, 1):
        mark = f"{number}" if number <= decision.stop_after else f"({number})"
        table.add_row(
            mark,
            escape(_does(job, step, all_of_it=number <= decision.stop_after, room=room)),
            *(
                [text.level(dict(step.levels_w_m2)[name]) for name in names]
                if each_level
                else [text.level(step.level_w_m2)]
            ),
            f"{_number(step.gain.below_db)} ({_number(step.gain.low_db)} to "
            f"{_number(step.gain.high_db)})".replace(" ", text.SPACE),
            *([escape(receiver_title(job, step.gain_at))] if several and not each_level else []),
            *([text.percent(step.target_odds or 0.0)] if target else []),
            _cost(step.cents, money=money, feet=job.feet),
            _cost(step.total_cents, money=money, feet=job.feet),
        )
    console.print(table)


def _does(job: Job, step: Step, *, all_of_it: bool, room: str) -> str:
    """All that a step does; of one that is not worth doing how it begins.

    The room is left out where all is done in one, which the title of the table then names.
    """
    lines = step_lines(job, step)
    if room:
        lines = tuple(line.replace(f" of {room}: ", ": ", 1) for line in lines)
    if all_of_it or len(lines) <= _MOST_NOT_WORTH:
        return "; ".join(lines)
    return f"{'; '.join(lines[:_MOST_NOT_WORTH])}; and {len(lines) - _MOST_NOT_WORTH} more"


def _print_stop(console: Console, job: Job, decision: Decision) -> None:
    if decision.steps:
        stop, _, why = stop_words(decision).partition(":")
        left = escape(shares_words(job, decision.left, most=2))
        console.print(f"[bold]{stop}[/]:{why}. What is left then: {left}.")
    for number, rival in doubtful_steps(decision.steps, decision.stops)[:_MOST_RIVALS]:
        console.print(f"[bold]Not sure[/]: {escape(rival_words(job, number, rival))}.")
    if (said := out_of_reach_words(decision)) is not None:
        what, _, most = said.partition(":")
        console.print(f"[bold]{what}[/]:{most}.")
    if not decision.candidates.priced:
        console.print(
            "Prices are missing, so the order is by area: "
            f"{escape(prices_missing(job, decision.candidates.unpriced))}."
        )


def _print_not_now(console: Console, job: Job, decision: Decision) -> None:
    """What is not to be done, and why."""
    if decision.worse:
        console.print(
            "[bold]Never by itself[/], the room gets worse than "
            f"{text.level(decision.start_w_m2)}: "
            + "; ".join(
                f"{escape(worse_words(job, decision, each))} ({text.level(each.level_w_m2)})"
                for each in decision.worse[:_MOST_WORSE]
            )
            + "."
        )
    for unit, number in decision.now_or_never:
        console.print(f"[bold]Now or never[/]: {escape(now_or_never_words(job, unit, number))}.")
    if any(step.gain.below_db < 0.0 for step in decision.steps):
        console.print("A step that raises the level is done together with the next one.")
    stay = []
    if decision.candidates.kept:
        stay.append(kept_words(job, decision.candidates.kept))
    if decision.candidates.nothing_offered:
        stay.append(not_offered_words(decision.candidates.nothing_offered))
    if stay:
        console.print(f"Left as they are: {escape('; '.join(stay))}.")
    if frames := frames_words(job, decision):
        console.print(f"[bold]Frames[/]: {escape(frames)}.")
    if decision.candidates.goes_nowhere:
        names = escape(", ".join(decision.candidates.goes_nowhere))
        console.print(f"{names}: may go only on faces that stay as they are, so on none.")


def _print_rests(console: Console, job: Job, decision: Decision) -> None:
    """What the outcome stands or falls with, and what to measure before anything is bought."""
    if decision.rests:
        said = ", ".join(
            f"{escape(figure_words(job, each.words))} (±{each.moves_db:.1f}{text.SPACE}dB)"
            for each in decision.rests[:_MOST_RESTS]
        )
        told = any(
            each.settle == decision.rests[0].settle for each in decision.spared[:_MOST_SPARED]
        )
        settle = "" if told else f" To settle the first: {escape(decision.rests[0].settle)}."
        console.print(f"[bold]Stands or falls with[/] {said}.{settle}")
    for each in decision.spared[:_MOST_SPARED]:
        console.print(f"[bold]Measure first[/]: {escape(spared_words(job, decision, each))}.")
    front = decision.front
    proved = front.finished and front.slack == 0.0
    if len(front.cents) > 1 and (not proved or _apart_db(decision) > _PARTS_DB):
        console.print(_front(decision))


def _print_cautions(console: Console, job: Job, decision: Decision) -> None:
    worth = decision.steps[: decision.stop_after]
    if not worth:
        return
    rooms = {receiver.id: receiver.space for receiver in job.receivers}
    blocked = [rooms[decision.receiver]] if worth[-1].so_far.below_db >= SHIELDED_DB else []
    for caution in cautions_of_plans(job, [worth[-1].plan], blocked=blocked)[:_MOST_CAUTIONS]:
        console.print(f"[bold]Caution[/]: {escape(caution)}")


def _print_detail(console: Console, job: Job, decision: Decision) -> None:
    print_rests(console, decision.rests, job)
    money = decision.candidates.priced
    table = plain_table(
        f">cost {job.costs.currency}" if money else ">area", ">level", "what",
        title="Plans that no other beats, whatever was bought before", keys=1,
    )  # fmt: skip
    front = front_taken_off(job, decision)
    units = decision.candidates.units
    for cents, level, plan in zip(front.cents, front.levels_w_m2, front.plans, strict=True):
        chosen = chosen_lines(job, units, plan.tolist())
        table.add_row(
            _cost(int(cents), money=money, feet=job.feet),
            text.level(float(level)),
            escape("; ".join(chosen)) or "nothing",
        )
    console.print(table)
    console.print(_front(decision))


def _front(decision: Decision) -> str:
    front = decision.front
    said = (
        "proved"
        if front.finished and front.slack == 0.0
        else f"proved within {text.percent(front.slack)}"
        if front.finished
        else "the search was stopped early, better plans may exist"
    )
    basis = " with costs by area" if decision.candidates.priced else ""
    return (
        f"Behind the steps are {len(front.cents)} plans that no other beats{basis} ({said}). Free "
        f"to undo what was bought, they are {_decibels(_apart_db(decision))} lower on average."
    )


def _apart_db(decision: Decision) -> float:
    """By how much plans that no other beats lie below the sequence, on average over the money."""
    return decision.chain.mean_db - decision.chain.front_mean_db


def _number(value_db: float) -> str:
    # adding zero takes the sign off what rounds to nothing
    return f"{round(value_db, 1) + 0.0:.1f}".replace("-", "−")


def _decibels(value_db: float) -> str:
    return f"{_number(value_db)}{text.SPACE}dB"


def _cost(cents: int, *, money: bool, feet: bool) -> str:
    return text.grouped(cents / 100.0) if money else text.area(cents / 100.0, feet=feet)
