"""The first screen of `gapcast decide` on a narrow terminal: 25 lines that one can act on.

What someone needs is printed in any case: today, the first step, where to stop, what harms, what to
measure first, cautions. The rest is left out, the least important first, until the lines fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rich.console import Console, RenderableType
from rich.markup import escape

from envelope import text
from envelope.building.job import Job
from envelope.commands.layout import PlainTable, plain_table
from envelope.plans.decision import Decision, FreeMeasure, Step
from envelope.plans.stops import doubtful_steps
from envelope.text.cautions import SHIELDED_DB, cautions_of_plans
from envelope.text.decisions import (
    agreement_words,
    bed_moves,
    bed_words,
    begins_without_words,
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
from envelope.text.measures import state_words
from envelope.text.sentences import change_words
from envelope.text.trade import figure_words, receiver_title, source_title

LINES = 25
NARROW = 100  # columns below which the screen is brief
_LEFT_UNDONE = 1.02  # the factor from which a measure that is not done is worth a line
_KEPT = 0  # never left out


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """Something to print; parts of the highest rank are left out first."""

    rank: int
    what: RenderableType


def print_brief(console: Console, job: Job, decision: Decision) -> None:
    """Print what one acts on in as many lines as a screen has.

    Parameters
    ----------
    console : Console
    job : Job
    decision : Decision
    """
    lines = _fitted(console, list(_parts(job, decision, all_steps=True)))
    if len(lines) >= LINES:
        lines = _fitted(console, list(_parts(job, decision, all_steps=False)))
    for line in lines:
        print(line)
    print("More, and every amount: --detail, or a wider window.")


def _fitted(console: Console, parts: list[_Part]) -> list[str]:
    """Lines of as many parts as fit, with one to spare."""
    while True:
        lines = [line for part in parts for line in _lines(console, part)]
        rank = max(part.rank for part in parts)
        if len(lines) < LINES or rank == _KEPT:
            return lines
        parts.remove(next(part for part in reversed(parts) if part.rank == rank))


def _lines(console: Console, part: _Part) -> list[str]:
    with console.capture() as taken:
        console.print(part.what)
    return taken.get().splitlines()


def _parts(job: Job, decision: Decision, *, all_steps: bool) -> Iterator[_Part]:
    several = len(decision.levels_w_m2) > 1
    at = f" at {escape(receiver_title(job, decision.receiver))}, the worst," if several else ""
    if decision.shares or decision.sources:
        yield _Part(rank=_KEPT, what=f"[bold]Counted[/]: {escape(counted_words(job, decision))}.")
    shares = escape(shares_words(job, decision.by_source, most=2 if several else 3))
    today = text.level(decision.levels_w_m2[0][1])
    yield _Part(rank=_KEPT, what=f"[bold]Today[/]{at} {today}: {shares}.")
    if said := begins_without_words(job):
        yield _Part(rank=_KEPT, what=f"[bold]Note[/]: {escape(said)}.")
    yield from _free(job, decision)
    if not decision.steps:
        yield _Part(rank=_KEPT, what="Nothing on offer lowers the level.")
    else:
        yield _Part(rank=_KEPT, what=_steps(job, decision, all_of_them=all_steps))
        yield from _stop(job, decision)
    yield from _not_now(job, decision)
    yield from _rests(job, decision)
    if said := _cautions(job, decision):
        yield _Part(rank=_KEPT, what=f"[bold]Caution[/]: {escape(said)}.")


def _free(job: Job, decision: Decision) -> Iterator[_Part]:
    asked = False
    # what is counted on, then what is to be asked, the rest where there is room
    for each in sorted(decision.free, key=lambda free: (not free.counted, not _is_open(free))):
        done = f"{source_title(job, each.source)} {state_words(job, each.change)}"
        gain = (
            f"{text.level(each.level_w_m2)}, {change_words(each.gain.below_db)}"
            if each.level_w_m2 > 0.0
            else "nothing arrives any more"
        )
        unknown = _is_open(each)
        label = "At a source" if each.change.cost else "Free first"
        label = "Free first, counted on" if each.counted else "Ask first" if unknown else label
        who = "" if each.counted else f"; {agreement_words(each, for_client=not unknown)}"
        yield _Part(
            rank=_KEPT if each.counted or (unknown and not asked) else 5,
            what=f"[bold]{label}[/]: {escape(done)}, {gain}{escape(who)}.",
        )
        asked = asked or unknown
    ends = decision.steps[decision.stop_after - 1].level_w_m2 if decision.stop_after else 0.0
    if decision.undone_w_m2 is not None and decision.undone_w_m2 > ends * _LEFT_UNDONE:
        yield _Part(
            rank=2,
            what=f"  If {escape(undone_words(job, decision))}, step {decision.stop_after} ends at "
            f"{text.level(decision.undone_w_m2)}.",
        )
    if decision.bed:
        label = "Free first" if bed_moves(job, decision.bed) else "Bed"
        words = escape(bed_words(job, decision.bed))
        yield _Part(rank=3, what=f"[bold]{label}[/]: {words}.")


def _is_open(free: FreeMeasure) -> bool:
    """Whether nobody has said whose the source is."""
    return free.change.agreed_by == "unknown"


def _steps(job: Job, decision: Decision, *, all_of_them: bool) -> PlainTable:
    """The sequence, a line a step; without what is not worth doing where room is short."""
    money = decision.candidates.priced
    room = only_room(job, decision)
    several = len(decision.levels_w_m2) > 1
    title = "In this order" + (f", all in {escape(room)}" if room else "")
    title += "; the level is that of the worst place" if several else ""
    title += f"; {job.costs.currency} before tax" if money and job.costs.tax else ""
    table = plain_table(
        "",
        "do",
        ">µW/m²",
        ">brings, dB",
        *([">target met"] if decision.target_w_m2 is not None else []),
        f">so far {job.costs.currency}".replace(" ", text.SPACE) if money else ">so far",
        title=title,
        keys=1,
    )
    last = len(decision.steps) if all_of_them else max(decision.stop_after, 1)
    for number, step in enumerate(decision.steps[:last], 1):
        gain = step.gain
        ends = f"{_number(gain.below_db)} ({_number(gain.low_db)} to {_number(gain.high_db)})"
        target = [text.percent(step.target_odds or 0.0)]
        cents = step.total_cents / 100.0
        table.add_row(
            f"{number}" if number <= decision.stop_after else f"({number})",
            escape(_does(job, step, room=room, whole=number == 1)),
            text.level(step.level_w_m2, unit=False),
            ends.replace(" ", text.SPACE),
            *(target if decision.target_w_m2 is not None else []),
            text.grouped(cents) if money else text.area(cents, feet=job.feet),
        )
    return table


def _does(job: Job, step: Step, *, room: str, whole: bool) -> str:
    """All that the first step does; of others how they begin, without its amount."""
    lines = step_lines(job, step)
    if room:
        lines = tuple(line.replace(f" of {room}: ", ": ", 1) for line in lines)
    if whole:
        return "; ".join(lines)
    first = lines[0].rsplit(", ", 1)[0] if step.changes[0].area_m2 else lines[0]
    return first + (f" +{len(lines) - 1}" if len(lines) > 1 else "")


def _stop(job: Job, decision: Decision) -> Iterator[_Part]:
    stop, _, why = stop_words(decision).partition(":")
    left = escape(shares_words(job, decision.left, most=2))
    yield _Part(rank=_KEPT, what=f"[bold]{stop}[/]:{why}. Left then: {left}.")
    for number, rival in doubtful_steps(decision.steps, decision.stops)[:1]:
        words = escape(rival_words(job, number, rival))
        yield _Part(rank=4, what=f"[bold]Not sure[/]: {words}.")
    if (said := out_of_reach_words(decision)) is not None:
        what, _, most = said.partition(":")
        yield _Part(rank=_KEPT, what=f"[bold]{what}[/]:{most}.")
    if not decision.candidates.priced:
        missing = escape(prices_missing(job, decision.candidates.unpriced[:1]))
        yield _Part(rank=_KEPT, what=f"Prices are missing, so the order is by area: {missing}.")


def _not_now(job: Job, decision: Decision) -> Iterator[_Part]:
    """What is not to be done, and why."""
    if decision.worse:
        first, more = decision.worse[0], len(decision.worse) - 1
        others = f" and {more} more" if more else ""
        yield _Part(
            rank=_KEPT,
            what=f"[bold]Never by itself[/], it raises {text.level(decision.start_w_m2)} to "
            f"{text.level(first.level_w_m2)}: {escape(worse_words(job, decision, first))}{others}.",
        )
    if any(step.gain.below_db < 0.0 for step in decision.steps):
        what = "A step that raises the level is done together with the next one."
        yield _Part(rank=_KEPT, what=what)
    for unit, number in decision.now_or_never:
        words = escape(now_or_never_words(job, unit, number))
        rank = _KEPT if number is not None else 5
        yield _Part(rank=rank, what=f"[bold]Now or never[/]: {words}.")
    if frames := frames_words(job, decision):
        yield _Part(rank=1, what=f"[bold]Frames[/]: {escape(frames)}.")
    stay = []
    if decision.candidates.kept:
        stay.append(kept_words(job, decision.candidates.kept))
    if decision.candidates.nothing_offered:
        stay.append(not_offered_words(decision.candidates.nothing_offered))
    if stay:
        yield _Part(rank=4, what=f"Left as they are: {escape('; '.join(stay))}.")


def _rests(job: Job, decision: Decision) -> Iterator[_Part]:
    """What to measure before anything is bought, and what the outcome stands or falls with."""
    for spared in decision.spared[:1]:
        words = escape(spared_words(job, decision, spared))
        yield _Part(rank=_KEPT, what=f"[bold]Measure first[/]: {words}.")
    for rest in decision.rests[:1]:
        told = bool(decision.spared)
        settle = "" if told else f" To settle it: {escape(rest.settle)}."
        yield _Part(
            rank=3 if told else _KEPT,
            what=f"[bold]Stands or falls with[/] {escape(figure_words(job, rest.words))} "
            f"(±{rest.moves_db:.1f}{text.SPACE}dB).{settle}",
        )


def _cautions(job: Job, decision: Decision) -> str:
    """The cautions of what is worth doing, each as far as its first break."""
    worth = decision.steps[: decision.stop_after]
    if not worth:
        return ""
    rooms = {receiver.id: receiver.space for receiver in job.receivers}
    blocked = [rooms[decision.receiver]] if worth[-1].so_far.below_db >= SHIELDED_DB else []
    found = cautions_of_plans(job, [worth[-1].plan], blocked=blocked)
    return "; ".join(each.partition(";")[0].partition(": ask")[0].rstrip(".") for each in found)


def _number(value_db: float) -> str:
    # adding zero takes the sign off what rounds to nothing
    return f"{round(value_db, 1) + 0.0:.1f}".replace("-", "−")
