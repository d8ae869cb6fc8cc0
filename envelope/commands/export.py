"""`gapcast export`: the analysed scene for other programs, as GLB, OBJ, STL, PLY or CSV."""

from __future__ import annotations

import argparse
from pathlib import Path

from envelope.building.job import Job, Plan
from envelope.commands.arguments import add_job, add_threshold
from envelope.commands.common import analyzed, chosen_plans, read_job
from envelope.errors import EnvelopeError
from envelope.exchange import (
    Annotations,
    PanelFinding,
    flush_openings,
    panels_csv,
    to_glb,
    to_obj,
    to_ply,
    to_stl,
)
from envelope.exposure.results import ReceiverResult
from envelope.files import write_atomically
from envelope.project.embedded import carried
from envelope.project.load import decode, read_bytes, toml_document

DESCRIPTION = (
    "Writes the rooms with what each face wears and lets in under a plan, for other programs."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument("-o", "--output", type=Path, required=True, help="file to write")
    parser.add_argument("--plan", metavar="ID", help="plan to write (default: the last one)")
    parser.add_argument("--receiver", metavar="ID", help="where losses count (default: first)")
    add_threshold(parser)


FORMATS = (".glb", ".csv", ".obj", ".stl", ".ply")


def findings(result: ReceiverResult) -> dict[str, PanelFinding]:
    """What an analysis found for each panel of the receiver's space, by panel id."""
    return {
        leak.panel: PanelFinding(
            loss_db=leak.loss_db + 0.0,  # no minus zero
            share=leak.share,
            solid_angle_sr=leak.solid_angle_sr,
            is_gap=leak.is_gap,
        )
        for leak in result.panels
    }


def written(job: Job, *, format: str, notes: Annotations) -> bytes:
    """Bytes of an export; `format` is one of `FORMATS`."""
    building = job.building
    if format == ".glb":
        return to_glb(building, notes=notes)
    if format == ".csv":
        return panels_csv(building, notes=notes).encode()
    if format == ".obj":
        return to_obj(building, notes=notes).encode()
    return to_stl(building) if format == ".stl" else to_ply(building)


def _annotations(
    job: Job, plan: Plan, options: argparse.Namespace
) -> tuple[Annotations, ReceiverResult | None]:
    """Treatments of the plan and, where the job has a receiver, what it finds there."""
    name = str(options.job)
    tables = carried(toml_document(decode(read_bytes(name), path=name), path=name), job)
    if not job.receivers:
        return Annotations(treatments=plan.treatments, tables=tables), None
    receiver = options.receiver or job.receivers[0].id
    analysis = analyzed(
        job,
        path=options.job,
        plans=[plan.id],
        threshold_db=options.threshold,
        receivers=[receiver],
    )
    result = analysis.plans[0].receivers[0]
    notes = Annotations(treatments=plan.treatments, findings=findings(result), tables=tables)
    return notes, result


def run(options: argparse.Namespace) -> int:
    """Analyse one plan and write it."""
    output: Path = options.output
    format = output.suffix.lower()
    if format not in FORMATS:
        raise EnvelopeError(
            f"{output}: files that end in {format or 'nothing'} cannot be written; "
            f"{', '.join(FORMATS)} can"
        )
    job = read_job(options.job)
    plan = chosen_plans(job, [options.plan] if options.plan else None)[-1]
    carries = format in (".glb", ".csv", ".obj")
    notes, result = _annotations(job, plan, options) if carries else (Annotations(), None)
    write_atomically(output, written(job, format=format, notes=notes))
    print(f"wrote {output}: {len(job.building.panels)} panels, {_with_what(plan, result, carries)}")
    if job.wiring is not None and format != ".glb":
        print(f"{format[1:].upper()} holds nothing of the wiring: export a GLB to keep it")
    if not carries:
        flush = flush_openings(job.building)
        if flush:
            print(f"{format[1:].upper()} cannot tell these from their wall: {', '.join(flush)}")
    return 0


def _with_what(plan: Plan, result: ReceiverResult | None, carries: bool) -> str:
    if not carries:
        return "shapes only"
    if result is None:
        return f"treatments of plan {plan.id}; no receiver, so neither loss nor share"
    return f"treatments of plan {plan.id}, loss and share at {result.id}"
