"""`gapcast analyze`: unshielded solid angle, ranked gaps and level at the bed, for each plan."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from envelope.building.job import AS_BUILT
from envelope.commands.arguments import (
    add_analysis_arguments,
    add_output_switches,
    processes,
    steradian_count,
)
from envelope.commands.common import analyzed, chosen_plans, read_job
from envelope.commands.first_screen import print_first_screen
from envelope.exposure.analysis_record import Analysis
from envelope.text import SPACE, frequency

DESCRIPTION = (
    "Casts rays between each receiver and the outside and says, for each plan, how much is "
    "unshielded, which faces are the gaps, and what each source brings to the receiver: "
    "straight, thrown about in the room, and in all."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "job",
        type=Path,
        nargs="+",
        help="project file (TOML); several, or a folder of them, are analysed side by side into "
        "one table",
    )
    add_analysis_arguments(parser)
    add_output_switches(parser, csv=True)
    parser.add_argument(
        "--detail", action="store_true", help="print every table in place of the first screen"
    )
    parser.add_argument(
        "--jobs",
        type=processes,
        metavar="N",
        help="of several jobs: so many at a time (default: one for each core)",
    )
    parser.add_argument(
        "--results",
        type=Path,
        metavar="FOLDER",
        default=Path("gapcast-results"),
        help="of several jobs: where results are kept, so that a stopped run goes on (default: "
        "gapcast-results)",
    )
    parser.add_argument(
        "--isotropic",
        action="store_true",
        help="rank faces by a field from all directions alike, diffuse part included, in place of "
        "the job's sources",
    )
    parser.add_argument(
        "--fail-over",
        type=steradian_count,
        metavar="SR",
        help="exit with 1 where more than this many steradians are unshielded, under any plan, at "
        "any receiver, in any band; as-built counts only where --plan names it or the job has no "
        "other plan",
    )


def over(analysis: Analysis, *, allowed_sr: float, untreated: bool) -> list[str]:
    """Where more than so much is unshielded: one sentence for each plan and receiver.

    A sentence speaks of the band in which most is. The plan without treatment counts only where
    `untreated` or where there is no other.
    """
    others = [plan for plan in analysis.plans if plan.plan != AS_BUILT]
    sentences = []
    for plan in analysis.plans if untreated or not others else others:
        for receiver in plan.receivers:
            most = max(receiver.bands, key=lambda band: band.unshielded_solid_angle_sr)
            found = most.unshielded_solid_angle_sr
            if found > allowed_sr:
                band = frequency(most.frequency_hz).replace(SPACE, " ")  # in one line as it is
                sentences.append(
                    f"plan {plan.plan}, receiver {receiver.id}, {band}: "
                    f"{found:.3g} sr are unshielded, more than the {allowed_sr:g} sr allowed"
                )
    return sentences


def run(options: argparse.Namespace) -> int:
    """Analyse and print; exit code 1 where more is unshielded than was asked to fail on."""
    if len(options.job) > 1 or options.job[0].is_dir():
        from envelope.commands.batch import analyze_many

        return analyze_many(options)
    (path,) = options.job
    job = read_job(path)
    ranked_plans = None
    brief = not (options.json or options.csv or options.detail)
    if brief:  # the first screen ranks one plan only
        ranked_plans = [plan.id for plan in chosen_plans(job, options.plan)[:1]]
    analysis = analyzed(
        job,
        path=path,
        plans=options.plan,
        threshold_db=options.threshold,
        receivers=options.receiver,
        fine=options.fine,
        error=options.error,
        edges=options.edges,
        isotropic=options.isotropic,
        ranked_plans=ranked_plans,
        brief=brief,
    )
    # what one way of printing needs is loaded for it alone
    if options.json:
        from envelope.exposure import serialise as as_json

        print(json.dumps(as_json.analysis_as_plain(analysis), indent=2))
    elif options.csv:
        from envelope.exposure import serialise as as_json

        print(as_json.gaps_as_csv(analysis), end="")
    elif options.detail:
        from envelope.commands import tables

        tables.print_analysis(analysis, job)
    else:
        print_first_screen(analysis, job)
    if options.fail_over is not None:
        sentences = over(analysis, allowed_sr=options.fail_over, untreated=bool(options.plan))
        print(*sentences, sep="\n", end="\n" if sentences else "", file=sys.stderr)
        return 1 if sentences else 0
    return 0
