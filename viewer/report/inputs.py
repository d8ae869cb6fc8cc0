"""What was measured and what was entered, as tables of a report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from envelope import text
from envelope.building.job import Assembly, Job, Layer, LossCurve, Plan, Source, Treatment
from envelope.exposure.analysis_record import Analysis
from envelope.survey.verdicts import ReadingVerdict, verdicts_of
from envelope.text import trade
from envelope.text.names import shown, source_label
from envelope.text.reading_marks import reading_marks


def source_words(job: Job, source: Source) -> str:
    """A source with its direction or its room, in brackets."""
    name = trade.source_title(job, source.id)
    label = source_label(
        name=name,
        azimuth_rad=source.azimuth_rad,
        elevation_rad=source.elevation_rad,
        space=None if source.space is None else trade.space_title(job, source.space),
    )
    where = label.removeprefix(name).strip(", ")
    return f"{name} ({where})" if where else name


def reading_rows(job: Job, verdicts: Sequence[ReadingVerdict] = ()) -> list[dict[str, str]]:
    """Readings with the day and the state of the work, in the order of the job.

    Parameters
    ----------
    job : Job
    verdicts : sequence of ReadingVerdict, optional
        From `verdicts_of`; readings without one are listed and not judged.
    """
    return [
        {
            "name": shown(each.id),
            "of": each.of,
            "where": each.where,
            "day": each.day,
            "done": each.done,
            "meter": each.meter,
            "level": each.value,
            "spots": str(each.spots),
            "verdict": each.verdict,
        }
        for each in reading_marks(job, verdicts)
    ]


def visit_section(job: Job, analysis: Analysis) -> dict[str, Any]:
    """Readings of the visit, and the levels outside that came of them."""
    return {
        "readings": reading_rows(job, verdicts_of(job)),
        "solved": [
            {"name": trade.source_title(job, each.source), "notes": each.notes}
            for each in analysis.solved
        ],
        "sources": [_source(job, each) for each in job.sources],
        "assumed": job.assumed_source,
    }


def _source(job: Job, source: Source) -> dict[str, str]:
    low, high = source.band_hz
    band = text.frequency((low + high) / 2.0)
    if source.eirp_w is not None:
        strength = f"EIRP {1e3 * source.eirp_w:.3g}{text.SPACE}mW"
    else:
        storeys = sorted(source.level_w_m2.items())
        strength = ", ".join(
            f"{shown(storey)} {text.level(value)}" if storey else text.level(value)
            for storey, value in storeys
        )
    return {
        "name": source_words(job, source),
        "band": band,
        "strength": strength or "not known",
        "good_to": f"±{source.level_tolerance_db:.1f}{text.SPACE}dB",
        "scattered": text.percent(source.scattered),
    }


def inputs_section(job: Job, plan: Plan) -> dict[str, Any]:
    """Assemblies and treatments that the figures use, and where everything stands."""
    used = {element.assembly for element in job.building.elements if element.assembly}
    worn = {name for names in plan.treatments.values() for name in names}
    return {
        "rooms": [
            {
                "name": trade.space_title(job, space.id),
                "storey": shown(space.storey),
                "floor": text.area(
                    sum(p.area_m2 for p in space.panels if p.kind == "floor"), feet=job.feet
                ),
                "volume": text.volume(space.volume_m3, feet=job.feet),
            }
            for space in job.building.spaces
        ],
        "assemblies": [
            {"name": shown(name), "made_of": _assembly(job, job.assemblies[name])}
            for name in sorted(used)
            if name in job.assemblies
        ],
        "treatments": [
            {
                "name": trade.treatment_title(job, name),
                "made_of": _treatment(job, each),
                "in_plan": name in worn,
            }
            for name, each in sorted(job.treatments.items())
        ],
        "receivers": [
            {
                "name": shown(each.title or each.id),
                "space": trade.space_title(job, each.space),
                "height": text.length(
                    float(each.position_m[2]) - job.building.space(each.space).floor_m,
                    feet=job.feet,
                ),
            }
            for each in job.receivers
        ],
        "unknowns": [
            f"{trade.figure_words(job, each.words)}: {each.taken}" for each in job.unknowns
        ],
    }


def _assembly(job: Job, found: Assembly) -> str:
    if found.layers:
        return "; ".join(_layer(job, each) for each in found.layers)
    if found.parts:
        return " + ".join(shown(each) for each in found.parts)
    if found.entry_loss:
        return f"class {found.entry_loss} of 3GPP TR 38.901"
    return _curve(found.loss)


def _layer(job: Job, layer: Layer) -> str:
    if layer.sheet_resistance_ohm_sq is not None:
        return f"sheet of {layer.sheet_resistance_ohm_sq:g}{text.SPACE}Ω/sq"
    maybe = " (perhaps)" if layer.perhaps else ""
    return f"{layer.material} {text.thickness(layer.thickness_m, feet=job.feet)}{maybe}"


def _treatment(job: Job, found: Treatment) -> str:
    coats = f", {found.coats} coats" if found.coats > 1 else ""
    standoff = (
        f", {text.thickness(found.standoff_m, feet=job.feet)} off" if found.standoff_m else ""
    )
    if found.sheet_resistance_ohm_sq is not None:
        what = f"sheet of {found.sheet_resistance_ohm_sq:g}{text.SPACE}Ω/sq a coat"
    elif found.kind == "mesh" and found.wire_diameter_m and found.pitch_m:
        what = (
            f"mesh of {1e3 * found.wire_diameter_m:g}{text.SPACE}mm wire at "
            f"{1e3 * found.pitch_m:g}{text.SPACE}mm"
        )
    elif found.layers:
        what = "; ".join(_layer(job, each) for each in found.layers)
    elif found.table is not None or found.loss is not None:
        what = _curve(found.table or found.loss)
    else:
        what = found.kind
    return f"{what}{coats}{standoff}"


def _curve(curve: LossCurve | None) -> str:
    """A stated loss, at its frequencies."""
    if curve is None:
        return "not stated"
    pairs = zip(curve.frequencies_hz, curve.losses_db, strict=True)
    if not curve.frequencies_hz:
        return text.decibels(float(curve.losses_db[0]))
    return ", ".join(
        f"{text.decibels(float(loss))} at {text.frequency(float(hertz))}" for hertz, loss in pairs
    )
