"""`gapcast report`: the whole job on paper, from the visit to the last reading."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from envelope.building.job import AS_BUILT, Job
from envelope.commands.arguments import add_job
from envelope.commands.common import (
    cast,
    chosen_plans,
    nearest,
    read_job,
    stops_for_questions,
    with_receivers,
)
from envelope.commands.documents import add_page, report_parts, sheet_of, write_report
from envelope.errors import EnvelopeError, RangeError
from envelope.text.names import plan_title

if TYPE_CHECKING:
    from envelope.exposure.analysis_record import Analysis

DESCRIPTION = (
    "Writes the report of a job as one file for paper: the job in a paragraph, visit, pictures, "
    "what to do first and why, plans compared with their ranges, the chosen plan, quantities, "
    "bonding, the order of the work, drawings, limits, sources, and every input."
)

_TYPE = 1.5  # words of a picture that stands on half a page are read there
_PICTURE = (1040, 700)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_page(parser, required=True)
    parser.add_argument("--plan", metavar="ID", help="plan that was chosen (default: the last one)")
    parser.add_argument(
        "--receiver", metavar="ID", help="whose level the report is about (default: first)"
    )
    parser.add_argument("--bare", action="store_true", help="leave pictures out")


def run(options: argparse.Namespace) -> int:
    """Work the job out and write its report."""
    from envelope.exposure.analysis import analyze
    from envelope.plans.decide import decide
    from viewer.pictures.gl import begin_trial

    sheet = sheet_of(options)
    if not options.bare:
        begin_trial()  # while the job is worked out
    job = read_job(options.job)
    if stops_for_questions(job, as_json=False):
        return 1
    plan = chosen_plans(job, [options.plan])[0] if options.plan else job.plans[-1]
    known = [receiver.id for receiver in job.receivers]
    receiver = options.receiver or (known[0] if known else None)
    if receiver not in known:
        raise EnvelopeError(
            f"no receiver {receiver!r} in this job: {nearest(str(receiver), known)}"
        )
    if not plan.treatments and not (job.wiring and job.wiring.plan(plan.id).strips):
        raise EnvelopeError(f"plan {plan.id!r} treats nothing: there is nothing to report on")
    seen = with_receivers(job, [receiver])
    casts = cast(seen, path=options.job)
    analysis = analyze(
        job=seen, casts=casts, plans=job.plans, with_bands=True, ranked_plans=[AS_BUILT, plan.id]
    )
    decision, undecided = None, ""
    try:
        decision = decide(seen, casts=casts, receiver=receiver)
    except EnvelopeError as error:
        undecided = f"No sequence can be given: {error}."
    try:
        parts = report_parts(
            job,
            analysis,
            plan=plan,
            receiver=receiver,
            decision=decision,
            undecided=undecided,
            pictures={} if options.bare else _pictures(seen, analysis, plan.id, receiver),
            source_text=Path(options.job).read_text("utf-8"),
        )
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    write_report(options.output, job, analysis, parts=parts, sheet=sheet)
    print(f"{options.output}: the report")
    return 0


def _pictures(job: Job, analysis: Analysis, plan: str, receiver: str) -> dict[str, bytes]:
    """Room today and under the plan side by side; none where nothing can be drawn."""
    from viewer.pictures.gl import can_draw

    if not can_draw():
        return {}
    from viewer.pictures.cutaway import Look, cutaway
    from viewer.pictures.skymap import draw_sky
    from viewer.scene.build import build_scene
    from viewer.scene.titles import with_titles

    found: dict[str, bytes] = {}
    title = plan_title(plan, job.plan(plan).title)
    with tempfile.TemporaryDirectory() as folder:
        drawn = Path(folder) / "drawn.png"
        scene = build_scene(job=job, results=analysis.plans, threshold_db=analysis.threshold_db)
        scene = with_titles(scene, job)
        look: Look = {"size": _PICTURE, "receiver": receiver}
        for caption, which in (("The room today", AS_BUILT), (f"With {title}", plan)):
            cutaway(scene, plan=which, path=drawn, type_size=_TYPE, **look)
            found[caption] = drawn.read_bytes()
        today = analysis.plan(AS_BUILT)
        draw_sky(
            job=job,
            result=today,
            receiver=receiver,
            threshold_db=analysis.threshold_db,
            path=drawn,
        )
        found["All directions from there today: where the field outside gets in"] = (
            drawn.read_bytes()
        )
    return found
