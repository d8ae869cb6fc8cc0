"""`gapcast picture`: a cutaway of one plan or two, all directions, or levels, as a PNG."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from envelope.building.job import Job
from envelope.commands.arguments import add_job, add_threshold, png_path
from envelope.commands.common import analyzed, cast, chosen_plans, nearest, read_job, with_receivers
from envelope.commands.progress import Progress
from envelope.errors import EnvelopeError

if TYPE_CHECKING:
    from viewer.scene.records import Scene

DESCRIPTION = (
    "Draws one PNG: the room as a cutaway, what the receiver sees in all directions, or the "
    "level over the floor."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument("-o", "--output", type=png_path, required=True, help="PNG file to write")
    parser.add_argument(
        "--plan",
        action="append",
        metavar="ID",
        help="plan to draw (default: the last one); given twice, both side by side",
    )
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--sky", action="store_true", help="what the receiver sees in all directions")
    kind.add_argument(
        "--map", action="store_true", help="levels over the floor at the receiver's height"
    )
    parser.add_argument("--receiver", metavar="ID", help="receiver to draw for (default: first)")
    parser.add_argument(
        "--storey",
        metavar="ID",
        help="cutaway of one whole storey, or of all: the whole house (default: the receiver's "
        "room)",
    )
    parser.add_argument(
        "--peel",
        type=int,
        choices=range(1, 10),
        metavar="N",
        help="cutaway of the whole house without its top storey, or its top N",
    )
    parser.add_argument(
        "--colour",
        choices=("let-in", "loss", "treatment", "wiring"),
        default="let-in",
        help="what a cutaway's colours mean (default: let-in); wiring: cables, by what remains of "
        "their electric field when each is off",
    )
    parser.add_argument("--dark", action="store_true", help="dark ground")
    add_threshold(parser)


def run(options: argparse.Namespace) -> int:
    """Draw and write the picture."""
    from viewer.pictures.gl import begin_trial, require_libraries
    from viewer.scene.build import build_scene
    from viewer.scene.titles import with_titles

    job = read_job(options.job)
    names = list(options.plan or [job.plans[-1].id])
    if len(names) > 2:
        raise EnvelopeError(f"{len(names)} plans: a picture shows one plan, or two side by side")
    chosen_plans(job, names)
    if options.sky or options.map:
        if options.storey or options.peel or options.colour != "let-in":
            raise EnvelopeError("--storey, --peel and --colour are for the cutaway alone")
    else:
        _storeys(options, job)
        require_libraries()
        begin_trial()  # while the job is worked out
    if (options.sky or options.map) and len(names) > 1:
        raise EnvelopeError("two plans: only the cutaway shows two side by side")
    if not job.receivers:
        raise EnvelopeError(f"{options.job}: no receiver: there is nothing to draw for")
    if options.map:
        return _map(options, job, names[0])
    job = with_receivers(job, [options.receiver or job.receivers[0].id])
    receiver = job.receivers[0].id
    if options.colour == "wiring":
        from envelope.commands.wiring import wiring_of

        scene = build_scene(job=job, wiring=wiring_of(job, path=options.job, plans=names))
        _draw(options, job, scene, names)
        return 0
    analysis = analyzed(
        job, path=options.job, plans=names, threshold_db=options.threshold, ranked_plans=names
    )
    theme: Literal["light", "dark"] = "dark" if options.dark else "light"
    if options.sky:
        from viewer.pictures.skymap import draw_sky

        draw_sky(
            job=job,
            result=analysis.plans[0],
            receiver=receiver,
            threshold_db=options.threshold,
            path=options.output,
            theme=theme,
        )
        print(options.output)
    else:
        scene = build_scene(job=job, results=analysis.plans, threshold_db=options.threshold)
        scene = with_titles(scene, job)
        _draw(options, job, scene, names)
    return 0


def _draw(options: argparse.Namespace, job: Job, scene: Scene, names: Sequence[str]) -> None:
    """The cutaway, or two side by side."""
    from viewer.pictures.cutaway import before_after, cutaway

    shown: dict[str, Any] = {
        "receiver": job.receivers[0].id,
        "path": options.output,
        "theme": "dark" if options.dark else "light",
        "quantity": options.colour,
        **_storeys(options, job),
    }
    if len(names) == 2:
        before_after(scene, before=names[0], after=names[1], **shown)
    else:
        cutaway(scene, plan=names[0], **shown)
    print(options.output)


def _storeys(options: argparse.Namespace, job: Job) -> dict[str, Any]:
    """Which rooms a cutaway shows, as its own words.

    Raises
    ------
    EnvelopeError
        Where there is no such storey, or nothing would be left.
    """
    known = [storey.id for storey in job.building.storeys]
    if options.peel:
        if options.storey not in (None, "all"):
            raise EnvelopeError("--peel takes storeys off the whole house: it goes with no storey")
        if options.peel >= len(known):
            raise EnvelopeError(
                f"{options.peel} storeys to take off, of {len(known)}: one must be left"
            )
        return {"whole": True, "peeled": options.peel}
    if options.storey is None:
        return {}
    if options.storey in known:
        return {"storey": options.storey}
    if options.storey == "all":
        return {"whole": True}
    raise EnvelopeError(
        f"no storey {options.storey!r} in this job: {nearest(options.storey, [*known, 'all'])}"
    )


def _map(options: argparse.Namespace, job: Job, name: str) -> int:
    """Draw the levels over the floor of the receiver's room."""
    from envelope.exposure.level_map import floor_levels
    from viewer.pictures.level_map import draw_heat_map

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
