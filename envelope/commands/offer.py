"""`gapcast offer`: one page for the client to sign, with up to three plans as options."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from envelope.building.job import AS_BUILT, Job, Plan
from envelope.commands.arguments import add_job
from envelope.commands.common import (
    cast,
    chosen_plans,
    nearest,
    read_job,
    stops_for_questions,
    with_receivers,
)
from envelope.commands.documents import add_page, sheet_of, write_offer
from envelope.errors import EnvelopeError, RangeError
from envelope.works.offer import MAX_OPTIONS

if TYPE_CHECKING:
    from envelope.exposure.casts import Casts

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
    parser.add_argument(
        "--step",
        action="append",
        type=int,
        metavar="N",
        help="offer the sequence of `gapcast decide --leave-sources` up to this step, since no "
        "promise counts on a router that is off; may be given several times",
    )
    parser.add_argument("--receiver", metavar="ID", help="whose level is promised (default: first)")


def _options(
    job: Job, casts: Casts, names: Sequence[str] | None, steps: Sequence[int] | None
) -> tuple[Plan, ...]:
    """Plans that are offered: named ones and steps of the sequence, else the job's last ones."""
    chosen = chosen_plans(job, names) if names else ()
    if steps:
        chosen += _steps(job, casts, sorted(set(steps)))
    return chosen or tuple(plan for plan in job.plans if plan.treatments)[-MAX_OPTIONS:]


def _steps(job: Job, casts: Casts, numbers: Sequence[int]) -> tuple[Plan, ...]:
    """The sequence up to each step, with nothing done about sources; it is printed.

    Its steps are not those of `gapcast decide` where that switches a router off first.

    Raises
    ------
    EnvelopeError
        Where there is no such step.
    """
    from envelope.plans.decide import decide
    from envelope.text.decisions import step_words, steps_title, stop_words

    found = decide(job, casts=casts, receiver=job.receivers[0].id, leave_sources=True)
    steps = found.steps
    for number in numbers:
        if not 1 <= number <= len(steps):
            raise EnvelopeError(f"--step {number}: the sequence has steps 1 to {len(steps)}")
    print("the sequence of `gapcast decide --leave-sources`, which leaves every source on:")
    for number, step in enumerate(steps[: max(numbers)], 1):
        print(f"  step {number}: {step_words(job, step)}")
    print(f"  {stop_words(found)}")
    for number in sorted(set(numbers) - set(found.stops)):
        print(
            f"  step {number} is no place to stop: what is bought last up to there brings too "
            "little, or no difference that can be told"
        )
    return tuple(
        replace(steps[number - 1].plan, title=steps_title(job, steps[:number]))
        for number in numbers
    )


def run(options: argparse.Namespace) -> int:
    """Analyse the plans and write the page."""
    from envelope.exposure.analysis import analyze

    sheet = sheet_of(options)
    job = read_job(options.job)
    known = [receiver.id for receiver in job.receivers]
    receiver = options.receiver or (known[0] if known else None)
    if receiver not in known:
        raise EnvelopeError(
            f"no receiver {receiver!r} in this job: {nearest(str(receiver), known)}"
        )
    if stops_for_questions(job, as_json=False):
        return 1
    if job.assumed_source:
        raise EnvelopeError(
            f"{options.job}: no source: an offer promises a level, so survey at least one"
        )
    seen = with_receivers(job, [receiver])
    casts = cast(seen, path=options.job)
    plans = _options(seen, casts, options.plan, options.step)
    analysis = analyze(
        job=seen,
        casts=casts,
        plans=[job.plan(AS_BUILT), *plans],
        with_bands=True,
        ranked_plans=(),
    )
    try:
        write_offer(options.output, job, analysis, plans=plans, receiver=receiver, sheet=sheet)
    except RangeError as error:
        raise EnvelopeError(f"{options.job}: {error}") from None
    count = "1 option" if len(plans) == 1 else f"{len(plans)} options"
    print(f"{options.output}: an offer with {count}")
    return 0
