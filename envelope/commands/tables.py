"""Results as tables for people. Every table also has a sentence that needs no decibels."""

from __future__ import annotations

import math
import shutil
import sys
from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from envelope.building.job import Job
from envelope.exposure.judging import Coats, StackLoss
from envelope.exposure.results import Analysis, ReceiverResult, SourceResult

OPEN_HORIZON = (
    "Directions count as blocked where the ray meets earth, or meets the ground close to the "
    "building: a convention of surveys, not physics."
)
READINGS = (
    "A single reading in a room that reflects scatters by 5.6 dB about the level: average many "
    "places. Bands hold tolerances of materials, source and the model, not that scatter."
)
ESTIMATE = "Predictions are estimates: a meter decides."
USUAL, NARROWEST = 132, 100  # columns; squeezed below this a table breaks its numbers over lines
MOST_GAPS = 8  # in a table for people
SMALLEST_M2 = 0.005  # of a footprint that is told
WORSE_DB = 0.5  # from which it is said that a plan makes a level worse


class _Console(Console):
    """A console that leaves a reader who has gone to whoever runs the command."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def open_console() -> Console:
    width = shutil.get_terminal_size((USUAL, 24)).columns
    return _Console(width=max(width, NARROWEST), highlight=False, emoji=False, file=sys.stdout)


def plain_table(*columns: str, title: str | None = None) -> Table:
    """A plain table; a column whose heading begins with ">" is set to the right."""
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
        header_style="dim",
    )
    for index, column in enumerate(columns):
        right = column.startswith(">")
        table.add_column(
            column.removeprefix(">"),
            justify="right" if right else "left",
            no_wrap=index == 0 or column in ("plan", "largest gap", ">10–90 % band"),
            overflow="fold",
        )
    return table


def db(value: float, digits: int = 1) -> str:
    """Decibels; a sign of infinity where nothing passes, and no minus before a zero."""
    if math.isinf(value):
        return "∞"
    return f"{round(value, digits) + 0.0:.{digits}f} dB"


def level(value_w_m2: float, unit: str = " µW/m²") -> str:
    """A level in µW/m² with three digits."""
    micro = value_w_m2 * 1e6
    if micro == 0.0:
        return f"0{unit}"
    if micro < 0.001:
        return f"{micro:.1e}{unit}"
    digits = max(0, 2 - math.floor(math.log10(micro)))
    return f"{micro:,.{digits}f}{unit}".replace(",", " ")


def percent(share: float) -> str:
    """A share in percent."""
    return f"{100.0 * share:.0f} %" if share >= 0.095 else f"{100.0 * share:.1f} %"


def named(treatments: Sequence[str]) -> str:
    """Treatments, or 'none'."""
    return " + ".join(treatments) if treatments else "none"


def frequency(value_hz: float) -> str:
    """A frequency in the unit that people say."""
    if value_hz >= 1e9:
        return f"{value_hz / 1e9:.4g} GHz"
    return f"{value_hz / 1e6:.4g} MHz"


def _counted(summary: dict[str, Any], what: str) -> str:
    number = summary[what]
    return f"{number} {what.removesuffix('s') if number == 1 else what}"


def print_summary(summary: dict[str, Any]) -> None:
    """What `check` understood."""
    console = open_console()
    console.print(f"[bold]{escape(summary['project'])}[/bold]: no faults")
    console.print(
        f"{_counted(summary, 'storeys')}, {_counted(summary, 'spaces')}, "
        f"{summary['volume_m3']:.1f} m³, {_counted(summary, 'panels')}, "
        f"{_counted(summary, 'openings')}, {_counted(summary, 'sources')}, "
        f"{_counted(summary, 'receivers')}"
    )
    console.print(f"plans: {escape(', '.join(summary['plans']))}")
    for note in summary["notes"]:
        console.print(f"note: {escape(note)}")


def print_analysis(analysis: Analysis, job: Job) -> None:
    """Every plan and receiver: solid angles, ranked gaps, sources."""
    console = open_console()
    console.print(f"[bold]{escape(analysis.project)}[/bold]")
    if job.assumed_source:
        console.print(
            "No source in the file: an even field from all exposed directions at 2.45 GHz is "
            "assumed."
        )
    for plan in analysis.plans:
        for receiver in plan.receivers:
            console.print()
            storey = job.building.space(receiver.space).storey
            console.rule(
                f"[bold]plan {escape(plan.plan)}[/bold] · {escape(receiver.id)} "
                f"({escape(receiver.space)}, storey {escape(storey)})",
                align="left",
                characters="─",
            )
            _print_receiver(console, receiver, analysis.threshold_db)
    console.print()
    for note in analysis.notes:
        console.print(f"note: {escape(note)}")
    _print_extrapolated(console, analysis.extrapolated)
    console.print(f"{OPEN_HORIZON} {ESTIMATE}", style="dim")
    if job.sources:
        console.print(READINGS, style="dim")


def _print_extrapolated(console: Console, names: Sequence[str]) -> None:
    if names:
        console.print(
            "material data used beyond the frequencies that its source covers: "
            + escape(", ".join(names))
        )


def _print_receiver(console: Console, receiver: ReceiverResult, threshold_db: float) -> None:
    console.print(
        f"exposed {receiver.exposed_solid_angle_sr:.3f} sr "
        f"({receiver.exposed_above_horizon_sr:.3f} above the horizon) of {4 * math.pi:.3f} sr; "
        f"closure error {receiver.closure_error_sr:+.1e} sr, "
        f"standard error {100 * receiver.standard_error:.2f} %"
        + (f"; mean over {receiver.points} points" if receiver.points > 1 else "")
    )
    bands = plain_table(
        "band",
        f">unshielded (below {threshold_db:g} dB)",
        ">open-equivalent",
        ">isotropic reduction",
    )
    for band in receiver.bands:
        bands.add_row(
            frequency(band.frequency_hz),
            f"{band.unshielded_solid_angle_sr:.3f} sr",
            f"{band.open_equivalent_solid_angle_sr:.4f} sr",
            db(band.isotropic_reduction_db),
        )
    console.print(bands)
    _print_gaps(console, receiver)
    if receiver.sources:
        _print_sources(console, receiver)
    if receiver.worst is not None:
        worst = receiver.worst
        place = ", ".join(f"{part:.2f}" for part in worst.position_m)
        console.print(
            f"worst point at {place} m: isotropic reduction {db(worst.isotropic_reduction_db)}"
            + (f", level {level(worst.level_w_m2)}" if receiver.sources else "")
        )


def _print_gaps(console: Console, receiver: ReceiverResult) -> None:
    if not receiver.gaps:
        console.print("[bold]no gaps[/bold]: no panel lets more through than the threshold")
        return
    first = receiver.gaps[0]
    console.print(
        f"[bold]{escape(first.panel)} lets in {percent(first.share)} of what comes straight to "
        f"{escape(receiver.id)} from all directions.[/bold]"
    )
    gaps = plain_table(
        "gap", "kind", "treatment", ">solid angle", ">loss", ">lets in", ">share",
        *([">of the level"] if receiver.sources else []), ">reduction if sealed",
    )  # fmt: skip
    for gap in receiver.gaps[:MOST_GAPS]:
        gaps.add_row(
            escape(gap.panel),
            gap.kind,
            escape(named(gap.treatments)),
            f"{gap.solid_angle_sr:.4f} sr",
            db(gap.loss_db),
            f"{gap.open_equivalent_solid_angle_sr:.4f} sr",
            percent(gap.share),
            *([percent(gap.share_total or 0.0)] if receiver.sources else []),
            db(gap.reduction_if_sealed_db),
        )
    console.print(gaps)
    if len(receiver.gaps) > MOST_GAPS:
        console.print(f"and {len(receiver.gaps) - MOST_GAPS} smaller ones (--csv lists all)")


def _between(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{level(low, '')} – {level(high, '')}"


def _print_sources(console: Console, receiver: ReceiverResult) -> None:
    table = plain_table(
        "source", "band", ">outside", ">direct", ">diffuse", f">at {escape(receiver.id)}",
        ">10–90 % band", ">below outside", ">below as-built", "direct mostly through",
        title="levels in µW/m²",
    )  # fmt: skip
    for source in receiver.sources:
        path = source.paths[0] if source.paths else None
        table.add_row(
            escape(source.id),
            frequency(source.frequency_hz),
            level(source.outside_w_m2, ""),
            level(source.direct_w_m2, ""),
            level(source.diffuse_w_m2, ""),
            level(source.level_w_m2, ""),
            _between(source.low_w_m2, source.high_w_m2),
            db(source.reduction_db),
            db(source.below_as_built_db),
            f"{escape(path.panel)} {percent(path.share)}" if path and path.share > 0 else "",
        )
    if len(receiver.sources) > 1:
        table.add_row(
            "all", "", level(receiver.outside_w_m2, ""), "", "", level(receiver.level_w_m2, ""),
            _between(receiver.low_w_m2, receiver.high_w_m2),
        )  # fmt: skip
    console.print(table)
    for source in receiver.sources:
        _print_landing(console, source)
    for source in receiver.sources:
        if source.below_as_built_db < -WORSE_DB:
            console.print(
                f"[bold]{escape(source.id)} is {-source.below_as_built_db:.1f} dB stronger at "
                f"{escape(receiver.id)} than with no treatment[/bold]: what gets in stays in."
            )


def _print_landing(console: Console, source: SourceResult) -> None:
    """Where the beam through the most open gap lands, if it is an opening."""
    path = next((p for p in source.paths if p.is_gap and p.landings), None)
    if path is None:
        return
    places = ", ".join(
        f"{escape(landing.on)} {landing.area_m2:.2f} m²"
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


def print_loss(found: StackLoss, coats: Sequence[Coats], title: str) -> None:
    """Loss of a stack by frequency and angle, and what further coats bring."""
    console = open_console()
    console.print(f"[bold]{escape(title)}[/bold], from the room outward")
    angles = [f">{angle:.0f}°" for angle in found.angle_deg]
    table = plain_table(
        "frequency", *angles, ">even field", ">reflects", title="loss in dB, TE / TM"
    )
    for index, hertz in enumerate(found.frequency_hz):
        cells = []
        for column, angle in enumerate(found.angle_deg):
            te, tm = found.loss_db[index, column]
            cells.append(f"{te:.1f}" if angle == 0.0 else f"{te:.1f} / {tm:.1f}")
        table.add_row(
            frequency(float(hertz)),
            *cells,
            f"{found.diffuse_loss_db[index]:.1f}",
            percent(float(found.diffuse_reflection[index])),
        )
    console.print(table)
    for each in coats:
        counts = [f">{count}" for count in each.coats]
        title = f"coats of {escape(each.treatment)}: loss in an even field"
        further = plain_table("frequency", *counts, title=title)
        for index, hertz in enumerate(found.frequency_hz):
            further.add_row(
                frequency(float(hertz)), *(db(float(row[index])) for row in each.diffuse_loss_db)
            )
        console.print(further)
    _print_extrapolated(console, found.extrapolated)
    console.print(
        "An even field from all directions meets less loss than a ray head-on: the figure of a "
        "data sheet is the first column.",
        style="dim",
    )


def print_comparison(variants: Sequence[tuple[str | None, Analysis]]) -> None:
    """Plans as rows; one block a receiver; storeys as further rows."""
    console = open_console()
    first = variants[0][1]
    console.print(f"[bold]{escape(first.project)}[/bold]")
    receivers = list(dict.fromkeys(r.id for plan in first.plans for r in plan.receivers))
    for name in receivers:
        with_storey = any(storey is not None for storey, _ in variants)
        sample = next(r for plan in first.plans for r in plan.receivers if r.id == name)
        table = plain_table(
            *(["storey"] if with_storey else []),
            "plan", ">exposed", ">unshielded", ">isotropic",
            *(f">{escape(source.id)}" for source in sample.sources),
            *([">all sources", ">10–90 % band"] if sample.sources else []),
            "largest gap",
            title=f"at {escape(name)}: solid angles in sr"
            + (", levels in µW/m²" if sample.sources else ""),
        )  # fmt: skip
        for storey, analysis in variants:
            for plan in analysis.plans:
                receiver = next(r for r in plan.receivers if r.id == name)
                band = receiver.bands[0]
                gap = receiver.gaps[0] if receiver.gaps else None
                table.add_row(
                    *([escape(storey or "")] if with_storey else []),
                    escape(plan.plan),
                    f"{receiver.exposed_solid_angle_sr:.2f}",
                    f"{band.unshielded_solid_angle_sr:.2f}",
                    db(band.isotropic_reduction_db),
                    *(level(source.level_w_m2, "") for source in receiver.sources),
                    *(
                        [
                            level(receiver.level_w_m2, ""),
                            _between(receiver.low_w_m2, receiver.high_w_m2),
                        ]
                        if receiver.sources
                        else []
                    ),
                    f"{escape(gap.panel)} {percent(gap.share)}" if gap else "none",
                )
        console.print()
        console.print(table)
    console.print()
    _print_worse(console, variants)
    console.print(f"{OPEN_HORIZON} {ESTIMATE}", style="dim")


def _print_worse(console: Console, variants: Sequence[tuple[str | None, Analysis]]) -> None:
    """Say for which source a plan makes matters worse than no treatment does."""
    for storey, analysis in variants:
        where = f" on storey {escape(storey)}" if storey else ""
        for plan in analysis.plans:
            for receiver in plan.receivers:
                for source in receiver.sources:
                    if source.below_as_built_db < -WORSE_DB:
                        console.print(
                            f"[bold]{escape(plan.plan)}{where}: {escape(source.id)} is "
                            f"{-source.below_as_built_db:.1f} dB stronger at "
                            f"{escape(receiver.id)} than with no treatment[/bold]"
                        )
