"""`gapcast view`: the room in a browser, or in a window of its own; without a job, a form."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from envelope.commands.arguments import add_plans_and_threshold, port
from envelope.errors import EnvelopeError

DESCRIPTION = (
    "Shows the room as a cutaway in a browser on this machine, with no network: pick a face, "
    "change its treatment, save back into the file; without a job, a form begins one."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("job", type=Path, nargs="?", help="project file (TOML)")
    parser.add_argument("--window", action="store_true", help="a window of its own instead")
    parser.add_argument("--port", type=port, help="port on the loopback (default: a free one)")
    parser.add_argument("--no-browser", action="store_true", help="print the address, open nothing")
    add_plans_and_threshold(parser)


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
    from envelope.text.names import shown
    from viewer.pictures.figure import figure
    from viewer.pictures.gl import require_window
    from viewer.scene.build import build_scene

    job = read_job(options.job)
    chosen_plans(job, options.plan)  # says which there is not; all plans share one scale
    require_window()
    analysis = analyzed(job, path=options.job, plans=None, threshold_db=options.threshold)
    scene = build_scene(job=job, results=analysis.plans, threshold_db=options.threshold)
    plan = options.plan[0] if options.plan else analysis.plans[-1].plan
    figure(scene, plan=plan).show(title=f"gapcast: {shown(scene.name, limit=60)}")
    return 0
