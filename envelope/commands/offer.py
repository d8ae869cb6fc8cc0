"""`gapcast offer`: one page for the client to sign, with up to three plans as options."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from envelope.building.job import AS_BUILT
from envelope.commands.arguments import add_job
from envelope.commands.common import analyzed, chosen_plans, nearest, read_job
from envelope.errors import EnvelopeError, MissingExtraError, RangeError
from envelope.files import write_atomically
from envelope.works.offer import MAX_OPTIONS, offer_of

DESCRIPTION = (
    "Writes an offer for paper as one HTML file: for each plan what is done, the level today and "
    "after with its range, material, labour and tax, what is not included, what the promise rests "
    "on, when it counts as kept, and lines for choice, date and signature."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument("-o", "--output", type=Path, required=True, help="HTML file to write")
    parser.add_argument(
        "--plan",
        action="append",
        metavar="ID",
        help=f"an option; up to {MAX_OPTIONS} (default: the job's last ones)",
    )
    parser.add_argument("--receiver", metavar="ID", help="whose level is promised (default: first)")
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="paper size (default: a4)"
    )
    parser.add_argument(
        "--practice", type=Path, metavar="FILE", help="TOML file with your [practice]"
    )


def run(options: argparse.Namespace) -> int:
    """Analyse the plans and write the page."""
    try:
        from viewer.report.pages import offer_page
        from viewer.report.practice import Practice, read_practice
    except ModuleNotFoundError as error:
        raise MissingExtraError(library="Jinja2", extra="viewer") from error
    practice = Practice() if options.practice is None else read_practice(options.practice)
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
        offer = offer_of(job, analysis, plans, receiver)
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    page = offer_page(job, offer, practice=practice, day=date.today(), paper=options.paper)
    write_atomically(options.output, page.encode("utf-8"))
    count = "1 option" if len(plans) == 1 else f"{len(plans)} options"
    paper = {"a4": "A4", "letter": "letter"}[options.paper]
    print(f"{options.output}: an offer with {count}, to be printed on {paper} paper")
    return 0
