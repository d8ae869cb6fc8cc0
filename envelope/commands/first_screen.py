"""The first screen of `gapcast analyze`: what one needs to decide, in 25 lines.

Today's level and who brings it through what; each plan in a line; the faces that matter most now;
what the figures rest on; the cautions of this job. Everything else is behind `--detail`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape

from envelope.building.job import AS_BUILT, Job
from envelope.building.plan_measures import may_be_done
from envelope.commands.layout import open_console, plain_table
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.assumptions import ASSUMED_SOURCE
from envelope.exposure.decibels import reduction_db
from envelope.exposure.rests import Rest
from envelope.exposure.results import PanelLeak, PlanResult, ReceiverResult
from envelope.text import SPACE, decibels, frequency, level, percent
from envelope.text.cautions import cautions_of
from envelope.text.measures import counted_words
from envelope.text.names import TODAY, face_title, shown, trial_names
from envelope.text.sentences import SAME_DB, change_words, difference_words, short_apart, trial
from envelope.text.trade import figure_words, plan_name, source_title, space_title, titled

MAX_FACES = 5
MAX_PLANS = 8
MAX_RECEIVERS = 2
MAX_CAUTIONS = 4
MAX_RESTS = 4
GROWS = "; the lower steps bring more once the upper ones are done"
WORTH_SAYING_DB = 0.5  # what a source in the house must bring to be named as a free measure
LEAST_SOURCE = 0.05  # of the level, below which a source is not named by itself


def print_first_screen(analysis: Analysis, job: Job) -> None:
    """Print it."""
    console = open_console()
    console.print(f"[bold]{escape(analysis.project)}[/bold]")
    if job.assumed_source:
        console.print(ASSUMED_SOURCE)
    first = analysis.plans[0]
    for receiver in first.receivers[:MAX_RECEIVERS]:
        _print_today(console, receiver, first, job)
    more = [receiver.id for receiver in first.receivers[MAX_RECEIVERS:]]
    if more:
        console.print(f"also: {escape(', '.join(more))} (--receiver NAME shows one alone)")
    if said := counted_words(job, job.plan(first.plan)):
        console.print(escape(said))
    _print_open(console, job)
    if len(analysis.plans) > 1:
        _print_plans(console, analysis.plans, job)
    free = _free(first.receivers[0], job)
    before = _first_elsewhere(first, job)
    if free:  # before the faces, which may be others once it is done
        gains = ", without ".join(f"{name} {change_words(gain)}" for name, gain in free.items())
        before.insert(0, f"Free first (off, moved or on a cable): without {gains}.")
    if before:
        console.print(" ".join(before))
    _print_faces(console, first, job, on=tuple(free))
    _print_rests(console, analysis.rests, job)
    for caution in cautions_of(job, analysis.plans)[:MAX_CAUTIONS]:
        console.print(f"[bold]Caution:[/bold] {escape(caution)}")
    console.print("A prediction: a meter decides. --detail has every table, --json the figures.")


def _print_today(console: Console, receiver: ReceiverResult, plan: PlanResult, job: Job) -> None:
    """The level under the first plan, and who brings it through what."""
    found = receiver.headline
    room = space_title(job, receiver.space)
    when = plan_name(job, plan.plan)
    where = f"[bold]{escape(shown(receiver.name))}[/bold] ({escape(room)}), {escape(when)}"
    outside = short_apart(found.reduction_db, "outside")
    if not receiver.sources:
        console.print(f"{where}: an isotropic field is {outside}.")
        return
    said = f"{where}: [bold]{level(found.level_w_m2)}[/bold]"
    if found.low_w_m2 is not None and found.high_w_m2 is not None:
        low, high = (level(end, unit=False) for end in (found.low_w_m2, found.high_w_m2))
        said += f" ({low} to {high})"
    if plan.plan != AS_BUILT:
        said += f", {short_apart(found.below_as_built_db, TODAY)}"
    console.print(f"{said}, {outside}.")
    console.print("  " + " · ".join(_sources(receiver, job)))


def _sources(receiver: ReceiverResult, job: Job) -> list[str]:
    """Sources by what they bring, with the faces that they come in by; the small ones counted."""
    total = receiver.level_w_m2
    ranked = sorted(receiver.sources, key=lambda each: (-each.level_w_m2, each.id))
    said: list[str] = []
    rest = 0
    for source in ranked:
        share = source.level_w_m2 / total if total > 0.0 else 0.0
        if share < LEAST_SOURCE and said:
            rest += 1
            continue
        ways = " and ".join(
            f"{escape(called(entry.panel, receiver, job))} {percent(entry.share)}"
            for entry in source.entries[:2]
            if entry is source.entries[0] or entry.share >= 0.2
        )
        said.append(
            f"{escape(source_title(job, source.id))} {percent(share)}"
            + (f" (by {ways})" if ways else "")
        )
    if rest:
        said.append(f"{rest} smaller")
    return said


def called(panel: str, receiver: ReceiverResult, job: Job) -> str:
    """What a face is called, with its room where that is not the receiver's own."""
    found = job.building.panel(panel)
    return face_title(found, home=receiver.space, room=space_title(job, found.space))


def _print_open(console: Console, job: Job) -> None:
    """What a model leaves open: the figures and lists below would be believed without it."""
    if not job.questions:
        return
    console.print(
        "[bold]Buy nothing by these figures yet:[/bold] the model leaves open what decides them; "
        "`gapcast check` says how to settle it."
    )
    for question in job.questions:
        console.print(f"open: {escape(question.words)}.", highlight=False)


def _print_plans(console: Console, plans: Sequence[PlanResult], job: Job) -> None:
    receivers = plans[0].receivers[:MAX_RECEIVERS]
    several = len(receivers) > 1
    sources = bool(receivers[0].sources)
    headings = []
    for place, receiver in enumerate(receivers):
        name = f"{escape(shown(receiver.name, limit=20))}: " if several else ""
        # what the brackets mean stands once: a window has no room for it at every place
        headings += [
            f">{name}{'µW/m²' if sources else 'below outside'}",
            f"than {TODAY}" + ("" if place else " (8 times in 10)"),
        ]
    table = plain_table("plan", *headings)
    for plan in plans[:MAX_PLANS]:
        cells = []
        for receiver in plan.receivers[:MAX_RECEIVERS]:
            found = receiver.headline
            cells += [
                level(found.level_w_m2, unit=False) if sources else decibels(found.reduction_db),
                "" if plan.plan == AS_BUILT else _change(receiver),
            ]
        table.add_row(escape(plan_name(job, plan.plan)), *cells)
    console.print(table)
    for plan in plans[1:MAX_PLANS]:
        if said := counted_words(job, job.plan(plan.plan)):
            console.print(escape(f"{plan_name(job, plan.plan)}: {said}"))
    if len(plans) > MAX_PLANS:
        console.print(f"and {len(plans) - MAX_PLANS} more plans (--detail)")


def _change(receiver: ReceiverResult) -> str:
    """A plan's change against today, with its range."""
    against = receiver.against_as_built
    if against is None:
        return change_words(receiver.headline.below_as_built_db)
    return difference_words(against)


def _print_faces(console: Console, plan: PlanResult, job: Job, *, on: Sequence[str]) -> None:
    """The faces that matter most under the first plan, at the first receiver.

    They count what could be switched off as on, and say so: else the first would be treated
    against what costs nothing to end.
    """
    receiver = plan.receivers[0]
    chosen = faces_that_matter(receiver)
    at = escape(shown(receiver.name))
    view = ""
    if receiver.isotropic_ranks:
        band = frequency(receiver.reference.frequency_hz)
        view = f": all directions alike, at {band}, of an isotropic field outside"
    if not chosen:
        console.print(f"No face lowers the level at {at} by itself: see --detail.")
    else:
        table = plain_table(
            "face", ">brings now", "tried with", ">level then", "change",
            ">with those above",
            title=f"What to treat next at {at}, {escape(plan_name(job, plan.plan))}"
            + (f" with {' and '.join(on)} on" if on else "")
            + view
            + (GROWS if steps_grow(receiver, chosen) else ""),
        )  # fmt: skip
        for leak in chosen:
            table.add_row(
                escape(called(leak.panel, receiver, job)),
                percent(leak.share),
                escape(trial_names(titled(job, leak).treated_with)),
                _level(leak.level_if_treated_w_m2, receiver),
                change_words(leak.below_if_treated_db or 0.0),
                _level(leak.level_with_all_before_w_m2, receiver),
            )
        console.print(table)
    worse = [
        f"{called(leak.panel, receiver, job)} ({trial(titled(job, leak))})"
        for leak in receiver.panels
        if leak.below_if_treated_db is not None and leak.below_if_treated_db <= -SAME_DB
    ]
    if worse:
        some = worse[-3:][::-1]
        console.print(f"Alone these make it worse: {escape(', '.join(some))}.")


def _first_elsewhere(plan: PlanResult, job: Job) -> list[str]:
    """The first face at each further receiver."""
    said = []
    for other in plan.receivers[1:MAX_RECEIVERS]:
        first = next(iter(faces_that_matter(other)), None)
        if first is not None:
            said.append(
                f"At {escape(shown(other.name))} first: {escape(called(first.panel, other, job))}, "
                f"{escape(trial(titled(job, first)))}."
            )
    return said


def _free(receiver: ReceiverResult, job: Job) -> dict[str, float]:
    """What sources in the house bring that nothing need be bought against, by title. [dB]"""
    if receiver.isotropic_ranks:
        return {}
    free = {
        each.id
        for each in job.sources
        if any(
            not measure.cost and measure.agreed_by in ("household", "nobody")
            for measure in may_be_done(each, job.building)
        )
    }
    total = receiver.level_w_m2
    found = {}
    for source in sorted(receiver.sources, key=lambda each: (-each.level_w_m2, each.id)):
        gain = reduction_db(total, max(total - source.level_w_m2, 0.0)) if total > 0.0 else 0.0
        if source.id in free and gain >= WORTH_SAYING_DB:
            found[escape(source_title(job, source.id))] = gain
    return found


def faces_that_matter(receiver: ReceiverResult) -> list[PanelLeak]:
    """The faces whose treatment lowers the level, the one that lowers it most first."""
    return [
        leak
        for leak in receiver.panels
        if leak.below_if_treated_db is not None and leak.below_if_treated_db >= SAME_DB
    ][:MAX_FACES]


def steps_grow(receiver: ReceiverResult, chosen: Sequence[PanelLeak]) -> bool:
    """Whether a face brings more once those above it are done than one of those did."""
    band = receiver.reference
    now = band.isotropic_level if receiver.isotropic_ranks else receiver.level_w_m2
    levels = [now]
    levels += [leak.level_with_all_before_w_m2 or 0.0 for leak in chosen]
    gains = [
        reduction_db(before, after) for before, after in itertools.pairwise(levels) if after > 0.0
    ]
    return any(late > early + SAME_DB for early, late in itertools.combinations(gains, 2))


def _level(value_w_m2: float | None, receiver: ReceiverResult) -> str:
    if value_w_m2 is None:
        return ""
    return percent(value_w_m2) if receiver.isotropic_ranks else level(value_w_m2, unit=False)


def _print_rests(console: Console, rests: Sequence[Rest], job: Job) -> None:
    """Which figures move the decision most, and how to settle the first of them."""
    if not rests:
        return
    said = [
        f"{escape(figure_words(job, each.words))} (±{each.moves_db:.1f}{SPACE}dB)"
        for each in rests[:MAX_RESTS]
    ]
    console.print(
        f"[bold]These figures rest on[/bold] {', '.join(said)}. "
        f"To settle the first: {escape(rests[0].settle)}."
    )
