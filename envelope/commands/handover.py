"""`gapcast handover`: the file that stays with the house: where coating lies, care, readings."""

from __future__ import annotations

import argparse

from envelope.building.job import AS_BUILT
from envelope.commands.arguments import add_job
from envelope.commands.common import analyzed, chosen_plans, nearest, read_job, stops_for_questions
from envelope.commands.documents import add_page, ordered, sheet_of, write_hand_over
from envelope.errors import EnvelopeError, RangeError

DESCRIPTION = (
    "Writes the hand-over file of a plan that was carried out: where the coating lies and must not "
    "be drilled, how to patch and test it, slots for photos, readings before and after beside "
    "what was promised, calls and alarms that were tried, care, and when to measure again."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_page(parser, required=True)
    parser.add_argument(
        "--plan", metavar="ID", help="plan that was carried out (default: the last one)"
    )
    parser.add_argument(
        "--receiver", metavar="ID", help="whose level was promised (default: first)"
    )


def run(options: argparse.Namespace) -> int:
    """Work the plan out and write the file."""
    sheet = sheet_of(options)
    job = read_job(options.job)
    if stops_for_questions(job, as_json=False):
        return 1
    plan = chosen_plans(job, [options.plan])[0] if options.plan else job.plans[-1]
    known = [receiver.id for receiver in job.receivers]
    receiver = options.receiver or (known[0] if known else None)
    if receiver not in (None, *known):
        raise EnvelopeError(
            f"no receiver {receiver!r} in this job: {nearest(str(receiver), known)}"
        )
    try:
        order = ordered(job, plan)
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    analysis = None
    if receiver is not None and not job.assumed_source:
        from envelope.survey.levels import before_work

        promised = before_work(job)  # what was read after the work is no part of the promise
        analysis = analyzed(
            job if promised is None else promised,
            path=options.job,
            plans=[AS_BUILT, plan.id],
            threshold_db=20.0,
            receivers=[receiver],
            ranked_plans=(),
        )
    write_hand_over(
        options.output,
        job,
        plan,
        sheet=sheet,
        order=order,
        analysis=analysis,
        receiver=receiver,
    )
    print(f"{options.output}: the hand-over file")
    return 0
