"""Tables of `gapcast compare`: plans as rows, storeys as further rows, one block a receiver."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.markup import escape

from envelope.building.job import AS_BUILT, Job
from envelope.commands.layout import PlainTable, open_console, plain_table
from envelope.commands.tables import (
    ESTIMATE,
    EVEN_FIELD,
    OPEN_HORIZON,
    READINGS,
    bare,
    between,
    matters_most,
    print_extrapolated,
)
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.comparisons import on_another_storey, pairs_among
from envelope.exposure.differences import NO_CHANGE, Difference
from envelope.exposure.results import (
    LevelSum,
    PlanResult,
    ReceiverResult,
    SourceResult,
)
from envelope.text import decibels, frequency, steradians
from envelope.text.measures import counted_words
from envelope.text.names import shown
from envelope.text.sentences import WORSE_DB, change_words, difference_words, odds_words
from envelope.text.trade import plan_name, receiver_title, source_title

LEVELS = (">direct", ">diffuse", ">level", ">10–90 % band", ">below outside", ">below today")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A receiver under one plan, on one storey where several are compared."""

    storey: str | None
    plan: PlanResult
    title: str  # of the plan
    receiver: ReceiverResult

    @property
    def is_treated(self) -> bool:
        return self.plan.plan != AS_BUILT

    def keys(self) -> tuple[str, ...]:
        storey = () if self.storey is None else (escape(self.storey),)
        return (*storey, escape(self.title))


def print_comparison(variants: Sequence[tuple[str | None, Analysis]], *, job: Job) -> None:
    """Solid angles, matters most now and levels of each plan; then each source by itself."""
    console = open_console()
    first = variants[0][1]
    console.print(f"[bold]{escape(first.project)}[/bold]")
    if job.assumed_source:
        console.print(EVEN_FIELD)
    names = list(dict.fromkeys(r.id for plan in first.plans for r in plan.receivers))
    for name in names:
        _print_block(console, job, name, list(_rows(variants, job, name)), first.threshold_db)
        _print_pairs(console, job, name, variants)
    console.print()
    for plan in first.plans:
        if said := counted_words(job, job.plan(plan.plan)):
            console.print(escape(f"{plan_name(job, plan.plan)}: {said}"))
    for note in dict.fromkeys(note for _, analysis in variants for note in analysis.notes):
        if note != EVEN_FIELD:
            console.print(f"note: {escape(note)}")
    _print_worse(console, job, variants)
    beyond = dict.fromkeys(name for _, analysis in variants for name in analysis.extrapolated)
    print_extrapolated(console, list(beyond))
    console.print(f"{OPEN_HORIZON} {ESTIMATE}", style="dim")
    if not job.assumed_source:
        console.print(READINGS, style="dim")


def _rows(variants: Sequence[tuple[str | None, Analysis]], job: Job, name: str) -> Iterator[_Row]:
    for storey, analysis in variants:
        for plan in analysis.plans:
            receiver = next(each for each in plan.receivers if each.id == name)
            title = plan_name(job, plan.plan)
            yield _Row(storey=storey, plan=plan, title=title, receiver=receiver)


def _print_block(
    console: Console, job: Job, name: str, rows: Sequence[_Row], threshold_db: float
) -> None:
    console.print()
    at = receiver_title(job, name)
    sources = rows[0].receiver.sources
    if sources:
        what = (
            "all sources together" if len(sources) > 1 else escape(source_title(job, sources[0].id))
        )
        title = f"at {escape(at)}: level in µW/m², {what}"
        console.print(_total_levels(title, rows))
        if len(sources) > 1:
            console.print()
            console.print(_source_levels(job, at, rows))
        console.print()
    console.print(_solid_angles(job, at, rows, threshold_db))


def _keys(rows: Sequence[_Row]) -> tuple[str, ...]:
    return ("plan",) if rows[0].storey is None else ("storey", "plan")


def _solid_angles(job: Job, at: str, rows: Sequence[_Row], threshold_db: float) -> PlainTable:
    band = rows[0].receiver.reference
    exposed = {steradians(row.receiver.exposed_solid_angle_sr) for row in rows}
    alike = len(exposed) == 1
    keys = _keys(rows)
    table = plain_table(
        *keys, *([] if alike else [">exposed"]), ">unshielded", ">isotropic reduction",
        "matters most now", ">gaps",
        title=f"at {escape(at)}: all directions alike, at {frequency(band.frequency_hz)}"
        f" (unshielded: below {threshold_db:g} dB"
        + (f"; {exposed.pop()} are exposed)" if alike else ")"),
        keys=len(keys),
    )  # fmt: skip
    for row in rows:
        receiver = row.receiver
        band = receiver.reference
        table.add_row(
            *row.keys(),
            *([] if alike else [steradians(receiver.exposed_solid_angle_sr)]),
            steradians(band.unshielded_solid_angle_sr),
            decibels(band.isotropic_reduction_db),
            matters_most(receiver, job),
            str(len(receiver.gaps)),
        )
    return table


def _total_levels(title: str, rows: Sequence[_Row]) -> PlainTable:
    keys = _keys(rows)
    totals = [row.receiver.total for row in rows]
    outside = {bare(total.outside_w_m2) for total in totals}
    alike = len(outside) == 1
    table = plain_table(
        *keys, *([] if alike else [">outside"]), *LEVELS, "than today (8 times in 10)",
        title=title + (f"; {outside.pop()} outside" if alike else ""), keys=len(keys),
    )  # fmt: skip
    for row, total in zip(rows, totals, strict=True):
        table.add_row(
            *row.keys(),
            *([] if alike else [bare(total.outside_w_m2)]),
            *_cells(total, is_treated=row.is_treated),
            _than_today(row, total) if row.is_treated else "",
        )
    return table


def _than_today(row: _Row, total: LevelSum) -> str:
    """A plan's change against today, with its range."""
    against = row.receiver.against_as_built
    if against is None:
        return change_words(total.below_as_built_db)
    return difference_words(against)


def _print_pairs(
    console: Console, job: Job, name: str, variants: Sequence[tuple[str | None, Analysis]]
) -> None:
    """Each plan against the one before it, and each storey against the first, with ranges."""
    said = []
    for storey, analysis in variants:
        where = "" if storey is None else f" on storey {storey}"
        said += [
            f"{plan_name(job, pair.plan)} against {plan_name(job, pair.against)}{where}: "
            f"{_with_odds(pair.difference)}"
            for pair in pairs_among(analysis.plans)
            if pair.receiver == name
        ]
    first_storey, first = variants[0]
    for storey, analysis in variants[1:]:
        for before, after in zip(first.plans, analysis.plans, strict=True):
            found = on_another_storey(before, after, name)
            if found is not None:
                said.append(
                    f"{plan_name(job, after.plan)}, storey {storey} against {first_storey}: "
                    f"{_with_odds(found)}"
                )
    if said:
        console.print()
        console.print(f"at {escape(receiver_title(job, name))}, 8 times in 10:")
        for line in said:
            console.print(f"  {escape(line)}")


def _with_odds(found: Difference) -> str:
    """A difference with its range and, where there is one, the odds of the order."""
    words = difference_words(found)
    return words if words == difference_words(NO_CHANGE) else f"{words}; {odds_words(found)}"


def _cells(levels: LevelSum | SourceResult, *, is_treated: bool) -> tuple[str, ...]:
    """One row's cells under the headings `LEVELS`."""
    return (
        bare(levels.direct_w_m2),
        bare(levels.diffuse_w_m2),
        bare(levels.level_w_m2),
        between(levels.low_w_m2, levels.high_w_m2),
        decibels(levels.reduction_db),
        decibels(levels.below_as_built_db) if is_treated else "",
    )


def _source_levels(job: Job, at: str, rows: Sequence[_Row]) -> PlainTable:
    """Each source by itself, and those of one band together where it has several."""
    keys = _keys(rows)
    table = plain_table(
        "source", *keys, ">outside", *LEVELS,
        title=f"at {escape(at)}: level in µW/m², each source", keys=len(keys) + 1,
    )  # fmt: skip

    def add(what: str, each: Sequence[LevelSum | SourceResult]) -> None:
        for row, levels in zip(rows, each, strict=True):
            table.add_row(
                what if row is rows[0] else "",
                *row.keys(),
                bare(levels.outside_w_m2),
                *_cells(levels, is_treated=row.is_treated),
            )

    first = rows[0].receiver
    for index, source in enumerate(first.sources):
        add(escape(source_title(job, source.id)), [row.receiver.sources[index] for row in rows])
    for index, band in enumerate(first.bands):
        if 1 < len(band.sources) < len(first.sources):
            inside = [row.receiver.in_band(row.receiver.bands[index]) for row in rows]
            add(f"all at {frequency(band.frequency_hz)}", inside)
    return table


def _print_worse(
    console: Console, job: Job, variants: Sequence[tuple[str | None, Analysis]]
) -> None:
    """Say for which source a plan makes matters worse than no treatment does."""
    for storey, analysis in variants:
        where = f" on storey {escape(storey)}" if storey else ""
        for plan in analysis.plans:
            for receiver in plan.receivers:
                for source in receiver.sources:
                    if source.below_as_built_db < -WORSE_DB:
                        console.print(
                            f"[bold]{escape(plan_name(job, plan.plan))}{where}: "
                            f"{escape(source_title(job, source.id))} is "
                            f"{-source.below_as_built_db:.1f} dB stronger at "
                            f"{escape(shown(receiver.name))} than today[/bold]"
                        )
