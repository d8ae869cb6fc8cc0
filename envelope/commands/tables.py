"""Results as tables for people. Every table also has a sentence that needs no decibels."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.text import Text

from envelope.building.job import AS_BUILT, Job
from envelope.commands.layout import open_console, plain_table
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.assumptions import ASSUMED_SOURCE
from envelope.exposure.rests import Rest
from envelope.exposure.results import LevelSum, ReceiverResult, SourceResult
from envelope.text import area, decibels, frequency, length, level, percent, steradians, volume
from envelope.text.names import TODAY, face_title, shown, treatment_names, trial_names
from envelope.text.sentences import (
    SAME_DB,
    WORSE_DB,
    apart,
    brings,
    change_words,
    trial,
    trial_sentence,
)
from envelope.text.trade import (
    figure_words,
    plan_name,
    receiver_title,
    source_title,
    space_title,
    titled,
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
LEAST_SHARE = 0.001  # of the level, below which a face that is no gap has no row
SMALLEST_M2 = 0.005  # of a footprint that is told


def bare(value_w_m2: float) -> str:
    """A level where the table's title states the unit."""
    return level(value_w_m2, unit=False)


def _counted(summary: dict[str, Any], what: str) -> str:
    number = summary[what]
    return f"{number} {what.removesuffix('s') if number == 1 else what}"


def print_summary(
    summary: dict[str, Any], *, titles: Sequence[tuple[str, str]], feet: bool
) -> None:
    """What `check` understood.

    Parameters
    ----------
    summary : dict
        As JSON has it.
    titles : sequence of (str, str)
        Ids, to be typed, and what other output calls them.
    feet : bool
        Whether lengths are in feet.
    """
    console = open_console()
    console.print(f"[bold]{escape(summary['project'])}[/bold]: no faults")
    console.print(
        f"{_counted(summary, 'storeys')}, {_counted(summary, 'spaces')}, "
        f"{volume(summary['volume_m3'], feet=feet)}, {_counted(summary, 'panels')}, "
        f"{_counted(summary, 'openings')}, {_counted(summary, 'sources')}, "
        f"{_counted(summary, 'readings') + ', ' if summary['readings'] else ''}"
        f"{_counted(summary, 'receivers')}"
    )
    counts = summary["wiring"] or {}
    said = [_counted(counts, what) for what in counts if counts[what]]
    if said:
        console.print(f"wiring: {', '.join(said)}")
    console.print(f"plans: {escape(', '.join(summary['plans']))}")
    if titles:
        pairs = "; ".join(f"{name} = {title}" for name, title in titles)
        console.print(f"titles, and the ids to type: {escape(pairs)}")
    _print_faces(console, summary["faces"], feet=feet)
    print_questions(console, summary["questions"])
    alike: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for each in summary["unstated"]:
        alike.setdefault(
            tuple(each[key] for key in ("table", "key", "taken", "settle")), []
        ).append(each)
    for (table, key, taken, settle), same in alike.items():
        console.print(
            escape(
                f"not stated: {_places(table, same)}: {key}. "
                f"{taken[:1].upper()}{taken[1:]}. To settle it, {settle}."
            )
        )
    for note in summary["notes"]:
        console.print(f"note: {escape(note)}")


def _places(table: str, same: Sequence[Mapping[str, Any]]) -> str:
    """Where things of one kind stand, such as "house.toml:9 source 'mast', 21 source 'router'"."""
    said: list[str] = []
    for each in same:
        path = "" if said or each["line"] is None else f"{each['path']}:"
        line = "" if each["line"] is None else f"{each['line']} "
        said.append(f"{path}{line}{table} '{each['id']}'")
    return ", ".join(said)


def print_questions(console: Console, questions: Sequence[Mapping[str, Any]]) -> None:
    """What a model leaves open, each with how to settle it."""
    for each in questions:
        console.print(
            escape(f"open: {each['words']}. To settle it, {each['settle']}."), highlight=False
        )


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


def print_rests(console: Console, rests: Sequence[Rest], job: Job) -> None:
    """What the figures rest on, the one that moves them most first."""
    if not rests:
        return
    console.print()
    console.print("[bold]These figures rest on[/bold]")
    for rest in rests:
        what = (
            "today's level" if rest.plan == AS_BUILT else f"what {plan_name(job, rest.plan)} brings"
        )
        console.print(
            escape(
                f"  {figure_words(job, rest.words)}, which moves {what} at "
                f"{receiver_title(job, rest.receiver)} by "
                f"±{rest.moves_db:.1f} dB: {rest.taken}. To settle it, {rest.settle}."
            )
        )


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
                f"[bold]plan {escape(plan_name(job, plan.plan))}[/bold] · "
                f"{escape(shown(receiver.name))} ({escape(space_title(job, receiver.space))}, "
                f"storey {escape(storey)})",
            )
            for sentence in in_words(receiver, job, is_treated=plan.plan != AS_BUILT):
                console.print(sentence)
            _print_receiver(console, receiver, analysis.threshold_db, job)
    console.print()
    print_rests(console, analysis.rests, job)
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


def in_words(receiver: ReceiverResult, job: Job, *, is_treated: bool) -> list[str]:
    """What a plan comes to at a receiver, in sentences of markup that need no table."""
    at = escape(shown(receiver.name))
    found = receiver.headline
    if receiver.sources:
        who = "All sources together bring"
        if len(receiver.sources) == 1:
            who = f"{escape(source_title(job, receiver.sources[0].id))} brings"
        said = f"{who} {level(found.level_w_m2)} to {at}"
        if found.low_w_m2 is not None and found.high_w_m2 is not None:
            said += (
                f" (eight times in ten between {bare(found.low_w_m2)} and {bare(found.high_w_m2)})"
            )
        said += f": {apart(found.reduction_db, 'outside')}"
    else:
        said = f"An isotropic field reaches {at} {apart(found.reduction_db, 'outside')}"
    if is_treated:
        said += f", {apart(found.below_as_built_db, TODAY)}"
    return [f"[bold]{said}.[/bold]"]


def errors_in_words(receiver: ReceiverResult) -> str:
    """Which standard errors the rays reached, and whether that is what was asked for."""
    said = (
        f"standard error of the open-equivalent {_fine_percent(receiver.standard_error)}, "
        f"of the unshielded {_fine_percent(receiver.unshielded_error)} of the sphere"
    )
    if receiver.asked_error is None:
        return said
    asked = _fine_percent(receiver.asked_error)
    if receiver.is_as_exact_as_asked:
        return f"{said}; asked for: at most {asked}"
    return f"{said}; {receiver.rays:,} rays did not reach the {asked} asked for: try --fine"


def _fine_percent(share: float) -> str:
    return f"{100.0 * share:.2f} %" if share >= 1e-4 else f"{100.0 * share:.2g} %"


def _print_receiver(
    console: Console, receiver: ReceiverResult, threshold_db: float, job: Job
) -> None:
    feet = job.feet
    console.print(
        f"exposed {receiver.exposed_solid_angle_sr:.3f} sr "
        f"({receiver.exposed_above_horizon_sr:.3f} above the horizon) of {4 * math.pi:.3f} sr; "
        f"closure error {receiver.closure_error_sr:+.1e} sr"
        + (f"; mean over {receiver.points} points" if receiver.points > 1 else "")
    )
    console.print(errors_in_words(receiver))
    bands = plain_table(
        "band centre",
        f">unshielded (below {threshold_db:g} dB)",
        ">its error",
        ">open-equivalent",
        ">isotropic reduction",
    )
    for band in receiver.bands:
        bands.add_row(
            frequency(band.frequency_hz),
            steradians(band.unshielded_solid_angle_sr),
            f"±{steradians(band.unshielded_error_sr)}",
            steradians(band.open_equivalent_solid_angle_sr),
            decibels(band.isotropic_reduction_db),
        )
    console.print(bands)
    _print_panels(console, receiver, job)
    if receiver.sources:
        _print_sources(console, receiver, job)
    if receiver.worst is not None:
        worst = receiver.worst
        place = ", ".join(f"{part:.2f}" for part in worst.position_m) + " m"
        if feet:
            place = ", ".join(length(float(part), feet=True) for part in worst.position_m)
        console.print(
            f"worst point at {place}: isotropic reduction {decibels(worst.isotropic_reduction_db)}"
            + (f", level {level(worst.level_w_m2)}" if receiver.sources else "")
        )


def matters_most(receiver: ReceiverResult, job: Job) -> str:
    """The face whose treatment helps most, with what it does; nothing where none helps."""
    first = receiver.panels[0] if receiver.panels else None
    if first is None or first.below_if_treated_db is None or first.below_if_treated_db < SAME_DB:
        return "none alone"
    title = face_title(
        job.building.panel(first.panel),
        home=receiver.space,
        room=space_title(job, job.building.panel(first.panel).space),
    )
    return f"{escape(title)}, {escape(trial(titled(job, first)))}"


def _print_first(console: Console, receiver: ReceiverResult, job: Job) -> None:
    first = receiver.panels[0] if receiver.panels else None
    if first is None or first.below_if_treated_db is None or first.below_if_treated_db < SAME_DB:
        console.print("Treating one more face alone lowers nothing.")
        return
    console.print(
        f"The face that matters most now is [bold]{escape(_called(first.panel, job))}[/bold]: "
        f"{escape(brings(first, receiver))}. {escape(trial_sentence(titled(job, first), receiver))}"
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
    return "One face is a gap" if gaps == 1 else f"{gaps} faces, jambs included, are gaps"


def _print_panels(console: Console, receiver: ReceiverResult, job: Job) -> None:
    """Faces of the room in the order in which treating them helps, those that count for nothing
    left out."""
    _print_first(console, receiver, job)
    at = frequency(receiver.reference.frequency_hz)
    console.print(_count(len(receiver.gaps)) + f" at {at}")
    rows = [leak for leak in receiver.panels if leak.share >= LEAST_SHARE or leak.is_gap]
    unit = ">of the field then" if receiver.isotropic_ranks else ">level then"
    table = plain_table(
        "face", "kind", "treatment", ">brings now", ">straight, all directions",
        f">loss at {at}", "tried with", unit, ">change",
    )  # fmt: skip
    for leak in rows:
        after = leak.level_if_treated_w_m2
        change = leak.below_if_treated_db
        has_it = leak.treated_with == leak.treatments
        named = titled(job, leak)
        table.add_row(
            escape(leak.panel) + (" · gap" if leak.is_gap else ""),
            leak.kind,
            escape(treatment_names(named.treatments)),
            percent(leak.share),
            percent(leak.direct_share),
            decibels(leak.loss_db),
            "has it" if has_it else escape(trial_names(named.treated_with)),
            "" if after is None or has_it else _after(after, receiver),
            "" if change is None or has_it else change_words(change),
        )
    console.print(table)


def _after(value_w_m2: float, receiver: ReceiverResult) -> str:
    return percent(value_w_m2) if receiver.isotropic_ranks else bare(value_w_m2)


def between(low: float | None, high: float | None) -> str:
    """A 10–90 % band where the table's title states the unit."""
    return "" if low is None or high is None else f"{bare(low)} – {bare(high)}"


def _print_sources(console: Console, receiver: ReceiverResult, job: Job) -> None:
    at = escape(shown(receiver.name))
    table = plain_table(
        "source", "band centre", ">outside", ">direct", ">diffuse", f">at {at}",
        ">10–90 % band", ">below outside", ">below today", "direct mostly through",
        title="levels in µW/m²",
    )  # fmt: skip
    for source in receiver.sources:
        path = source.paths[0] if source.paths else None
        table.add_row(
            escape(source_title(job, source.id)),
            frequency(source.frequency_hz),
            bare(source.outside_w_m2),
            bare(source.direct_w_m2),
            bare(source.diffuse_w_m2),
            bare(source.level_w_m2),
            between(source.low_w_m2, source.high_w_m2),
            decibels(source.reduction_db),
            decibels(source.below_as_built_db),
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
        _print_landing(console, source, job)
    for source in receiver.sources:
        if source.below_as_built_db < -WORSE_DB:
            stays = source.diffuse_w_m2 > source.direct_w_m2
            console.print(
                f"[bold]{escape(source_title(job, source.id))} is "
                f"{-source.below_as_built_db:.1f} dB stronger at {at} than today[/bold]"
                f"{': what gets in stays in' if stays else ''}."
            )


def _sum(levels: LevelSum) -> tuple[str, ...]:
    return (
        bare(levels.outside_w_m2),
        bare(levels.direct_w_m2),
        bare(levels.diffuse_w_m2),
        bare(levels.level_w_m2),
        between(levels.low_w_m2, levels.high_w_m2),
        decibels(levels.reduction_db),
        decibels(levels.below_as_built_db),
    )


def _print_landing(console: Console, source: SourceResult, job: Job) -> None:
    """Where the beam through the most open gap lands, if it is an opening."""
    path = next((p for p in source.paths if p.is_gap and p.landings), None)
    if path is None:
        return
    places = ", ".join(
        f"{escape(landing.on)} {area(landing.area_m2, feet=job.feet)}"
        for landing in path.landings[:3]
        if landing.area_m2 >= SMALLEST_M2
    )
    if not places:
        return
    console.print(
        f"{escape(source_title(job, source.id))} through {escape(path.panel)} lands on {places}"
    )


def without_infinities(value: Any) -> Any:
    """The same data with null for what is infinite, as JSON needs it."""
    if isinstance(value, dict):
        return {key: without_infinities(each) for key, each in value.items()}
    if isinstance(value, list):
        return [without_infinities(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
