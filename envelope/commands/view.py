"""`gapcast view`: the room in a browser, or in a window of its own; without a job, a form."""

from __future__ import annotations

import argparse
import sys

from envelope.errors import EnvelopeError


def run(options: argparse.Namespace) -> int:
    """Show and serve until the last page or the window is closed."""
    if not options.window:
        if options.job is not None:  # a model may take a while, and so may the libraries
            print(f"Opening {options.job} ...", file=sys.stderr, flush=True)
        from viewer.app.server import run as serve

        return serve(options.job, open_browser=not options.no_browser, port=options.port)
    if options.job is None:
        raise EnvelopeError("a window needs a job: gapcast view JOB --window")
    if options.plan is not None and len(options.plan) > 1:
        raise EnvelopeError(f"{len(options.plan)} plans: a window shows one")
    from envelope.commands.common import analyzed, chosen_plans, read_job
    from viewer.pictures.figure import figure
    from viewer.pictures.gl import require_window
    from viewer.scene.build import build_scene
    from viewer.scene.wording import shown

    job = read_job(options.job)
    chosen_plans(job, options.plan)  # says which there is not; all plans share one scale
    require_window()
    analysis = analyzed(job, path=options.job, plans=None, threshold_db=options.threshold)
    scene = build_scene(job=job, results=analysis.plans, threshold_db=options.threshold)
    plan = options.plan[0] if options.plan else analysis.plans[-1].plan
    figure(scene, plan=plan).show(title=f"gapcast: {shown(scene.name, limit=60)}")
    return 0
