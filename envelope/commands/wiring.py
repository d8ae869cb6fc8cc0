"""`gapcast wiring`: the 50/60 Hz electric field of the house wiring at the bed."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence

from envelope.building.job import Job
from envelope.building.wiring import Wiring
from envelope.commands.arguments import add_job, png_path
from envelope.commands.common import chosen_plans, with_receivers
from envelope.commands.progress import Progress
from envelope.commands.wiring_tables import print_wiring
from envelope.errors import EnvelopeError
from envelope.project import load
from envelope.wiring.results import WiringResults
from envelope.wiring.serialise import wiring_as_plain
from envelope.wiring.spread import has_runs, solve_wiring

DESCRIPTION = (
    "Computes the electric field of the house wiring at 50 or 60 Hz: how strong it is at each "
    "receiver, what remains with each circuit, run and device off, and what coating, bonds and "
    "strips bring. What is not known (walls, routes, phases, plugs) is computed every way, and "
    "shown as a range."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument(
        "--plan",
        action="append",
        metavar="ID",
        help="only this plan beside as-built; may be given several times",
    )
    parser.add_argument(
        "--receiver", action="append", metavar="ID", help="only this receiver; likewise"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument(
        "-o",
        "--png",
        dest="png",
        type=png_path,
        metavar="FILE",
        help="draw the field over the floor at the receiver's height, and the cables by what "
        "remains when each is off",
    )


def run(options: argparse.Namespace) -> int:
    """Solve and print."""
    job = load(options.job)
    chosen = [plan.id for plan in chosen_plans(job, options.plan)]
    job = with_receivers(job, options.receiver)
    wiring = solvable(job, path=options.job)
    progress = Progress("field of the wiring")
    system, results = solve_wiring(job, wiring, plans=chosen, progress=progress)
    progress.done()
    if options.json:
        print(json.dumps(wiring_as_plain(results), indent=2, allow_nan=False))
    else:
        print_wiring(results, job)
    if options.png is not None:
        from viewer.pictures.wiring_map import save_wiring_map

        save_wiring_map(system, results, chosen, options.png)
    return 0


def solvable(job: Job, *, path: str) -> Wiring:
    """The wiring of a job of which a field can be computed.

    Raises
    ------
    EnvelopeError
        Where there is no run, or nobody to compute it for.
    """
    if job.wiring is None or not job.wiring.circuits:
        raise EnvelopeError(
            f"{path}: no wiring: add supply, [[circuit]] and [[outlet]] or [[cable]]"
        )
    if not job.receivers:
        raise EnvelopeError(f"{path}: no receiver: add [[receiver]] where the pillow is")
    if not has_runs(job.wiring):
        raise EnvelopeError(
            f"{path}: no circuit has a run: give a circuit two [[outlet]]s or a [[cable]]"
        )
    return job.wiring


def wiring_of(job: Job, *, path: str, plans: Sequence[str]) -> WiringResults:
    """The wiring's field under some plans, for a picture.

    Parameters
    ----------
    job : Job
    path : str
        Of its file, for messages.
    plans : sequence of str
    """
    return solve_wiring(job, solvable(job, path=path), plans=plans)[1]
