"""`gapcast picture`: the room as a cutaway, one plan or two side by side, as a PNG."""

from __future__ import annotations

import argparse
from typing import Literal

from envelope.building.job import Job
from envelope.commands.common import analyzed, cast, chosen_plans, with_receivers
from envelope.commands.progress import Progress
from envelope.errors import EnvelopeError
from envelope.exposure.floor_levels import floor_levels
from envelope.exposure.results import PlanResult
from envelope.project import load


def run(options: argparse.Namespace) -> int:
    """Draw and write the picture."""
    from viewer.gl import require_offscreen
    from viewer.scene import build_scene

    job = load(options.job)
    names = list(options.plan or [job.plans[-1].id])
    if len(names) > 2:
        raise EnvelopeError(f"{len(names)} plans: a picture shows one plan, or two side by side")
    chosen_plans(job, names)
    if not (options.sky or options.map):
        require_offscreen()
    if (options.sky or options.map) and len(names) > 1:
        raise EnvelopeError("two plans: only the cutaway shows two side by side")
    if not job.receivers:
        raise EnvelopeError(f"{options.job}: no receiver: there is nothing to draw for")
    if options.map:
        return _map(options, job, names[0])
    job = with_receivers(job, [options.receiver or job.receivers[0].id])
    receiver = job.receivers[0].id
    analysis = analyzed(
        job,
        path=options.job,
        plans=names,
        threshold_db=options.threshold,
    )
    results: list[PlanResult] = [
        next(result for result in analysis.plans if result.plan == name) for name in names
    ]
    theme: Literal["light", "dark"] = "dark" if options.dark else "light"
    if options.sky:
        from viewer.skymap import draw_sky

        draw_sky(
            job=job,
            result=results[0],
            receiver=receiver,
            threshold_db=options.threshold,
            path=options.output,
            theme=theme,
        )
    else:
        from viewer.pictures import before_after, cutaway

        scene = build_scene(job=job, results=results, threshold_db=options.threshold)
        if len(names) == 2:
            before_after(
                scene,
                before=names[0],
                after=names[1],
                receiver=receiver,
                path=options.output,
                theme=theme,
            )
        else:
            cutaway(scene, plan=names[0], receiver=receiver, path=options.output, theme=theme)
    print(options.output)
    return 0


def _map(options: argparse.Namespace, job: Job, name: str) -> int:
    """Draw the levels over the floor of the receiver's room."""
    from viewer.heatmap import draw_heat_map

    if not job.sources:
        raise EnvelopeError(f"{options.job}: no source: there are no levels to draw")
    receiver = with_receivers(job, [options.receiver or job.receivers[0].id]).receivers[0]
    casts = cast(job, path=options.job)
    plan = job.plan(name)
    progress = Progress("levels over the floor")
    levels = floor_levels(job=job, casts=casts, plan=plan, receiver=receiver, progress=progress)
    progress.done()
    draw_heat_map(
        levels,
        job=job,
        plan=plan,
        receiver=receiver,
        path=options.output,
        theme="dark" if options.dark else "light",
    )
    print(options.output)
    return 0
