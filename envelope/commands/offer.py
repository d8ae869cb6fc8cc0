"""`gapcast offer`: one page for the client to sign, with up to three plans as options."""

from __future__ import annotations

import argparse

from envelope.building.job import AS_BUILT
from envelope.commands.arguments import add_job
from envelope.commands.common import analyzed, chosen_plans, nearest, read_job
from envelope.commands.documents import add_page, sheet_of, write_offer
from envelope.errors import EnvelopeError, RangeError
from envelope.works.offer import MAX_OPTIONS

DESCRIPTION = (
    "Writes an offer for paper as one file: for each plan what is done, the level today and "
    "after with its range, material, labour and tax, what is not included, what the promise rests "
    "on, when it counts as kept, and lines for choice, date and signature."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_page(parser, required=True)
    parser.add_argument(
        "--plan",
        action="append",
        metavar="ID",
        help=f"an option; up to {MAX_OPTIONS} (default: the job's last ones)",
    )
    parser.add_argument("--receiver", metavar="ID", help="whose level is promised (default: first)")


def run(options: argparse.Namespace) -> int:
    """Analyse the plans and write the page."""
    sheet = sheet_of(options)
    job = read_job(options.job)
    known = [receiver.id for receiver in job.receivers]
    receiver = options.receiver or (known[0] if known else None)
    if receiver not in known:
        raise EnvelopeError(
            f"no receiver {receiver!r} in this job: {nearest(str(receiver), known)}"
        )
    plans = (
        chosen_plans(job, options.plan)
        if options.plan
        else tuple(plan for plan in job.plans if plan.treatments)[-MAX_OPTIONS:]
    )
    analysis = analyzed(
        job,
        path=options.job,
        plans=[AS_BUILT, *(plan.id for plan in plans)],
        threshold_db=20.0,
        receivers=[receiver],
    )
    try:
        write_offer(options.output, job, analysis, plans=plans, receiver=receiver, sheet=sheet)
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    count = "1 option" if len(plans) == 1 else f"{len(plans)} options"
    print(f"{options.output}: an offer with {count}")
    return 0
