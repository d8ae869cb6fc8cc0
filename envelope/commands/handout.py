"""`gapcast handout`: one HTML file for the client, which opens from disk and needs no network."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from envelope.building.job import AS_BUILT
from envelope.commands.arguments import add_job, add_plans_and_threshold
from envelope.commands.common import cast, chosen_plans, read_job
from envelope.commands.wiring_account import wiring_account
from envelope.errors import EnvelopeError, MissingExtraError

if TYPE_CHECKING:
    from envelope.building.job import Job
    from envelope.exposure.casts import Casts
    from envelope.exposure.transmission import Bench
    from envelope.plans.decision import Decision
    from viewer.pictures.cutaway import Underway
    from viewer.scene.records import Scene

DESCRIPTION = (
    "Writes one HTML file that explains the plans to a client and opens without a network."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument("-o", "--output", type=Path, required=True, help="HTML file to write")
    add_plans_and_threshold(parser)


_PICTURE = (880, 605)  # in a browser without WebGL, about as large as the cutaway
_PICTURES_AT_MOST = 12  # each adds about a twentieth of a megabyte


def run(options: argparse.Namespace) -> int:
    """Write the hand-out."""
    from envelope.exposure.analysis import analyze, bench_of
    from envelope.exposure.varying_rows import expect
    from envelope.plans.candidates import panels_on_offer

    try:
        from viewer.handout.build import write_handout
        from viewer.handout.wiring import wiring_section
    except ModuleNotFoundError as error:
        raise MissingExtraError(library="Jinja2", extra="viewer") from error
    from viewer.pictures.gl import begin_trial
    from viewer.scene.build import build_scene
    from viewer.scene.sky_cache import skies_json
    from viewer.scene.titles import with_titles

    _check_name(options.output)
    begin_trial()  # while the job is worked out
    job = read_job(options.job)
    casts = cast(job, path=options.job)
    bench = bench_of(job, casts)  # one for the analysis and the decision
    expect(bench, panels_on_offer(job, base=job.plan(AS_BUILT)))
    analysis = analyze(
        job=job,
        bench=bench,
        casts=casts,
        plans=chosen_plans(job, options.plan),
        threshold_db=options.threshold,
        with_bands=True,
        cumulated=False,  # the page shows what each face does by itself
    )
    before = _before_work(job)
    promised = None  # the same where nothing was read after work
    if before is not None and before is not job:
        promised = analyze(
            job=before, casts=casts, plans=chosen_plans(before, options.plan), with_bands=True,
            threshold_db=options.threshold, ranked_plans=(),
        )  # fmt: skip
    shown = analysis.plans[-1].plan
    account = wiring_account(job, shown, plans=[each.plan for each in analysis.plans])
    scene = build_scene(
        job=job,
        results=analysis.plans,
        threshold_db=options.threshold,
        wiring=None if account is None else account.results,
    )
    scene = with_titles(scene, job)
    shows = dict.fromkeys([shown, *(each.plan for each in analysis.plans)])
    drawn = _begun(scene, list(shows)[:_PICTURES_AT_MOST])
    skies = skies_json(job=job, results=analysis.plans)
    decision = _decision(job, casts, bench)  # while they are drawn
    write_handout(
        options.output,
        scene=scene,
        job=job,
        analysis=analysis,
        date=date.today(),
        skies=skies,
        pictures={plan: picture.png(passed_on=True) for plan, picture in drawn.items()},
        plan=shown,
        more="" if account is None else wiring_section(account.sentences, picture=account.picture),
        decision=decision,
        promised=promised,
    )
    print(options.output)
    return 0


def _before_work(job: Job) -> Job | None:
    """The job as its plans were promised; see `envelope.survey.levels.before_work`."""
    if not job.readings:  # and nothing of the survey is loaded
        return job
    from envelope.survey.levels import before_work

    return before_work(job)


def _begun(scene: Scene, plans: Sequence[str]) -> dict[str, Underway]:
    """Pictures of plans, begun; none where nothing can be drawn."""
    from viewer.pictures.gl import can_draw

    if not can_draw():
        return {}
    from viewer.pictures.cutaway import begin_cutaway

    return {plan: begin_cutaway(scene, plan=plan, size=_PICTURE) for plan in plans}


def _decision(job: Job, casts: Casts, bench: Bench) -> Decision | None:
    """What to do first at the first receiver; nothing where nothing is on offer."""
    from envelope.plans.decide import decide

    if not job.sources:
        return None
    try:
        return decide(job, casts=casts, receiver=job.receivers[0].id, bench=bench)
    except EnvelopeError:
        return None


def _check_name(path: Path) -> None:
    """Refuse a name that a browser would not open."""
    if path.suffix.lower() not in (".html", ".htm"):
        raise EnvelopeError(f"{path}: a hand-out is a page: its name must end in .html")
