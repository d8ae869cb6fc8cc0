"""Results as tables for people. Every table also has a sentence that needs no decibels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.text import Text

from envelope.building.job import Job
from envelope.commands.layout import open_console, plain_table
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.assumptions import ASSUMED_SOURCE
from envelope.exposure.results import LevelSum, ReceiverResult, SourceResult
from envelope.text import (
    area,
    compared,
    frequency,
    length,
    level,
    percent,
    steradians,
    volume,
)

OPEN_HORIZON = (
    "Directions count as blocked where the ray meets earth, or meets the ground close to the "
    "building: a convention of surveys, not physics."
)
READINGS = (
    "A single reading in a room that reflects scatters by 5.6 dB about the level: average many "
    "places. Bands hold tolerances of materials, source and the model, not that scatter."
)
ESTIMATE = "Predictions are estimates: a meter decides."
EVEN_FIELD = ASSUMED_SOURCE  # stands at the head rather than among the notes
MOST_GAPS = 8  # in a table for people
SMALLEST_M2 = 0.005  # of a footprint that is told
WORSE_DB = 0.5  # from which it is said that a plan makes a level worse


def db(value: float, digits: int = 1) -> str:
    """Decibels; a sign of infinity where nothing passes, and no minus before a zero."""
    if math.isinf(value):
        return "∞"
    return f"{round(value, digits) + 0.0:.{digits}f} dB"


def bare(value_w_m2: float) -> str:
    """A level where the table's title states the unit."""
    return level(value_w_m2, unit=False)


def named(treatments: Sequence[str]) -> str:
    """Treatments, or 'none'."""
    return " + ".join(treatments) if treatments else "none"


def _counted(summary: dict[str, Any], what: str) -> str:
    number = summary[what]
    return f"{number} {what.removesuffix('s') if number == 1 else what}"


def print_summary(summary: dict[str, Any], *, feet: bool) -> None:
    """What `check` understood."""
    console = open_console()
    console.print(f"[bold]{escape(summary['project'])}[/bold]: no faults")
    console.print(
        f"{_counted(summary, 'storeys')}, {_counted(summary, 'spaces')}, "
        f"{volume(summary['volume_m3'], feet=feet)}, {_counted(summary, 'panels')}, "
        f"{_counted(summary, 'openings')}, {_counted(summary, 'sources')}, "
        f"{_counted(summary, 'readings') + ', ' if summary['readings'] else ''}"
        f"{_counted(summary, 'receivers')}"
    )
    console.print(f"plans: {escape(', '.join(summary['plans']))}")
    _print_faces(console, summary["faces"], feet=feet)
    for note in summary["notes"]:
        console.print(f"note: {escape(note)}")


def _print_faces(console: Console, faces: list[dict[str, Any]], *, feet: bool) -> None:
    """What lies behind each face of a room, for someone who knows the house to look over."""
    for space in dict.fromkeys(face["space"] for face in faces):
        console.print(f"behind the faces of {escape(space)}:")
        own = [face for face in faces if face["space"] == space]
        widest = max(len(face["face"]) for face in own)
        for face in own:
            parts = face["behind"]
            said = ", ".join(
                (f"{area(part['area_m2'], feet=feet)} " if len(parts) > 1 else "")
                + part["what"]
                + (f" ({part['assembly']})" if part["assembly"] else "")
                for part in parts
            )
            whole = area(face["area_m2"], feet=feet)
            console.print(f"  {escape(face['face']):<{widest}}  {whole}: {escape(said)}")


def print_analysis(analysis: Analysis, job: Job) -> None:
    """Every plan and receiver: solid angles, ranked gaps, sources."""
    console = open_console()
    console.print(f"[bold]{escape(analysis.project)}[/bold]")
    if job.assumed_source:
        console.print(EVEN_FIELD)
    for plan in analysis.plans:
        for receiver in plan.receivers:
            console.print()
            storey = job.building.space(receiver.space).storey
            _print_heading(
                console,
                f"[bold]plan {escape(plan.plan)}[/bold] · {escape(receiver.id)} "
                f"({escape(receiver.space)}, storey {escape(storey)})",
            )
            for sentence in in_words(receiver, is_treated=plan.plan != "as-built"):
                console.print(sentence)
            _print_receiver(console, receiver, analysis.threshold_db, job)
    console.print()
    for note in analysis.notes:
        if note != EVEN_FIELD:
            console.print(f"note: {escape(note)}")
    print_extrapolated(console, analysis.extrapolated)
    console.print(f"{OPEN_HORIZON} {ESTIMATE}", style="dim")
    if job.sources:
        console.print(READINGS, style="dim")


def _print_heading(console: Console, words: str) -> None:
    """Words that begin a line across the terminal, or stand above nothing where they fill it."""
    left = console.width - Text.from_markup(words).cell_len - 1
    console.print(words + (f" [dim]{'─' * left}[/dim]" if left > 0 else ""))


def print_extrapolated(console: Console, names: Sequence[str]) -> None:
    """Say which data and formulas were used beyond the range of their source."""
    if names:
        console.print(
            "used beyond the range of their source or formula: " + escape(", ".join(names))
        )


def in_words(receiver: ReceiverResult, *, is_treated: bool) -> list[str]:
    """What a plan comes to at a receiver, in sentences of markup that need no table."""
    at = escape(receiver.id)
    if not receiver.sources:
        band = receiver.bands[0]
        said = f"An even field reaches {at} {_apart(band.isotropic_reduction_db, 'outside')}"
        if is_treated:
            said += f", {_apart(band.isotropic_below_as_built_db, 'as-built')}"
        return [f"[bold]{said}.[/bold]"]
    total = receiver.total
    who = "All sources together bring"
    if len(receiver.sources) == 1:
        who = f"{escape(receiver.sources[0].id)} brings"
    said = f"{who} {level(total.level_w_m2)} to {at}"
    if total.low_w_m2 is not None and total.high_w_m2 is not None:
        said += f" (eight times in ten between {bare(total.low_w_m2)} and {bare(total.high_w_m2)})"
    said += f": {_apart(total.reduction_db, 'outside')}"
    if is_treated:
        said += f", {_apart(total.below_as_built_db, 'as-built')}"
    return [f"[bold]{said}.[/bold]"]


def _apart(below_db: float, what: str) -> str:
    """How far one level lies from another, in decibels and as a factor."""
    words = compared(below_db)
    if words == "the same":
        return f"the same as {what}"
    if math.isinf(below_db):
        return f"nothing of what is {what}"
    side = "below" if below_db > 0.0 else "above"
    return f"{db(abs(below_db))} {side} {what} ({words})"


def _print_receiver(
    console: Console, receiver: ReceiverResult, threshold_db: float, job: Job
) -> None:
    feet = job.feet
    console.print(
        f"exposed {receiver.exposed_solid_angle_sr:.3f} sr "
        f"({receiver.exposed_above_horizon_sr:.3f} above the horizon) of {4 * math.pi:.3f} sr; "
        f"closure error {receiver.closure_error_sr:+.1e} sr, "
        f"standard error {100 * receiver.standard_error:.2f} %"
        + (f"; mean over {receiver.points} points" if receiver.points > 1 else "")
    )
    bands = plain_table(
        "band centre",
        f">unshielded (below {threshold_db:g} dB)",
        ">open-equivalent",
        ">isotropic reduction",
    )
    for band in receiver.bands:
        bands.add_row(
            frequency(band.frequency_hz),
            steradians(band.unshielded_solid_angle_sr),
            steradians(band.open_equivalent_solid_angle_sr),
            db(band.isotropic_reduction_db),
        )
    console.print(bands)
    _print_gaps(console, receiver, threshold_db, job)
    if receiver.sources:
        _print_sources(console, receiver, feet=feet)
    if receiver.worst is not None:
        worst = receiver.worst
        place = ", ".join(f"{part:.2f}" for part in worst.position_m) + " m"
        if feet:
            place = ", ".join(length(float(part), feet=True) for part in worst.position_m)
        console.print(
            f"worst point at {place}: isotropic reduction {db(worst.isotropic_reduction_db)}"
            + (f", level {level(worst.level_w_m2)}" if receiver.sources else "")
        )


def leakiest(receiver: ReceiverResult) -> str:
    """The face that lets in most, gap or not, with its share; nothing where nothing comes in."""
    first = receiver.panels[0] if receiver.panels else None
    if first is None or first.share <= 0.0:
        return "none"
    return f"{escape(first.panel)} {percent(first.share)}" + ("" if first.is_gap else ", no gap")


def _print_leakiest(
    console: Console, receiver: ReceiverResult, threshold_db: float, job: Job
) -> None:
    first = receiver.panels[0] if receiver.panels else None
    if first is None or first.share <= 0.0:
        console.print(f"Nothing comes straight to {escape(receiver.id)}.")
        return
    console.print(
        "All directions counted alike, the leakiest face is "
        f"[bold]{escape(_called(first.panel, job))}: it lets in {percent(first.share)}[/bold] of "
        f"what comes straight to {escape(receiver.id)}. It is [bold]"
        f"{'a gap' if first.is_gap else 'no gap'}[/bold]: its loss, {db(first.loss_db)}, is "
        f"{'below' if first.is_gap else 'not below'} the threshold of {threshold_db:g} dB."
    )


def _called(panel: str, job: Job) -> str:
    """A panel's id, with the side where it is a wall that is known by its number."""
    aliases = next(each.aliases for each in job.building.panels if each.id == panel)
    sides = [alias.rpartition("/")[2] for alias in aliases]
    side = next((side for side in sides if side in ("north", "east", "south", "west")), None)
    return panel if side is None else f"{panel} (the {side} wall)"


def _count(gaps: int) -> str:
    if gaps == 0:
        return "[bold]no gaps[/bold]: no face has a loss below the threshold"
    return "One face is a gap:" if gaps == 1 else f"{gaps} faces, jambs included, are gaps:"


def _print_gaps(console: Console, receiver: ReceiverResult, threshold_db: float, job: Job) -> None:
    _print_leakiest(console, receiver, threshold_db, job)
    console.print(_count(len(receiver.gaps)))
    if not receiver.gaps:
        return
    gaps = plain_table(
        "gap", "kind", "treatment", ">solid angle", ">loss", ">open-equivalent", ">share",
        *([">share of the level"] if receiver.sources else []), ">reduction if sealed",
    )  # fmt: skip
    for gap in receiver.gaps[:MOST_GAPS]:
        gaps.add_row(
            escape(gap.panel),
            gap.kind,
            escape(named(gap.treatments)),
            steradians(gap.solid_angle_sr),
            db(gap.loss_db),
            steradians(gap.open_equivalent_solid_angle_sr),
            percent(gap.share),
            *([percent(gap.share_total or 0.0)] if receiver.sources else []),
            db(gap.reduction_if_sealed_db),
        )
    console.print(gaps)
    if len(receiver.gaps) > MOST_GAPS:
        console.print(f"and {len(receiver.gaps) - MOST_GAPS} smaller ones (--csv lists all)")


def between(low: float | None, high: float | None) -> str:
    """A 10–90 % band where the table's title states the unit."""
    return "" if low is None or high is None else f"{bare(low)} – {bare(high)}"


def _print_sources(console: Console, receiver: ReceiverResult, *, feet: bool) -> None:
    table = plain_table(
        "source", "band centre", ">outside", ">direct", ">diffuse", f">at {escape(receiver.id)}",
        ">10–90 % band", ">below outside", ">below as-built", "direct mostly through",
        title="levels in µW/m²",
    )  # fmt: skip
    for source in receiver.sources:
        path = source.paths[0] if source.paths else None
        table.add_row(
            escape(source.id),
            frequency(source.frequency_hz),
            bare(source.outside_w_m2),
            bare(source.direct_w_m2),
            bare(source.diffuse_w_m2),
            bare(source.level_w_m2),
            between(source.low_w_m2, source.high_w_m2),
            db(source.reduction_db),
            db(source.below_as_built_db),
            f"{escape(path.panel)} {percent(path.share)}" if path and path.share > 0 else "",
        )
    for band in receiver.bands:
        if 1 < len(band.sources) < len(receiver.sources):
            table.add_row(
                "all of one band", frequency(band.frequency_hz), *_sum(receiver.in_band(band))
            )
    if len(receiver.sources) > 1:
        table.add_row("all", "", *_sum(receiver.total))
    console.print(table)
    for source in receiver.sources:
        _print_landing(console, source, feet=feet)
    for source in receiver.sources:
        if source.below_as_built_db < -WORSE_DB:
            stays = source.diffuse_w_m2 > source.direct_w_m2
            console.print(
                f"[bold]{escape(source.id)} is {-source.below_as_built_db:.1f} dB stronger at "
                f"{escape(receiver.id)} than as built[/bold]"
                f"{': what gets in stays in' if stays else ''}."
            )


def _sum(levels: LevelSum) -> tuple[str, ...]:
    return (
        bare(levels.outside_w_m2),
        bare(levels.direct_w_m2),
        bare(levels.diffuse_w_m2),
        bare(levels.level_w_m2),
        between(levels.low_w_m2, levels.high_w_m2),
        db(levels.reduction_db),
        db(levels.below_as_built_db),
    )


def _print_landing(console: Console, source: SourceResult, *, feet: bool) -> None:
    """Where the beam through the most open gap lands, if it is an opening."""
    path = next((p for p in source.paths if p.is_gap and p.landings), None)
    if path is None:
        return
    places = ", ".join(
        f"{escape(landing.on)} {area(landing.area_m2, feet=feet)}"
        for landing in path.landings[:3]
        if landing.area_m2 >= SMALLEST_M2
    )
    if not places:
        return
    console.print(f"{escape(source.id)} through {escape(path.panel)} lands on {places}")


def without_infinities(value: Any) -> Any:
    """The same data with null for what is infinite, as JSON needs it."""
    if isinstance(value, dict):
        return {key: without_infinities(each) for key, each in value.items()}
    if isinstance(value, list):
        return [without_infinities(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
