"""`gapcast analyze`: unshielded solid angle, ranked gaps and level at the bed, for each plan."""

from __future__ import annotations

import argparse
import json
import sys

from envelope.commands import as_json, tables
from envelope.commands.common import analyzed
from envelope.exposure.results import Analysis
from envelope.project import load


def largest_unshielded_sr(analysis: Analysis, *, untreated: bool) -> float:
    """The largest unshielded solid angle over plans, receivers and bands. [sr]

    The plan without treatment counts only where `untreated` or where there is no other.
    """
    others = [plan for plan in analysis.plans if plan.plan != "as-built"]
    plans = analysis.plans if untreated or not others else others
    return max(
        (
            band.unshielded_solid_angle_sr
            for plan in plans
            for receiver in plan.receivers
            for band in receiver.bands
        ),
        default=0.0,
    )


def run(options: argparse.Namespace) -> int:
    """Analyse and print; exit code 1 where more is unshielded than was asked to fail on."""
    job = load(options.job)
    analysis = analyzed(
        job,
        path=options.job,
        plans=options.plan,
        threshold_db=options.threshold,
        receivers=options.receiver,
        fine=options.fine,
        edges=options.edges,
    )
    if options.json:
        print(json.dumps(as_json.analysis_as_plain(analysis), indent=2))
    elif options.csv:
        print(as_json.gaps_as_csv(analysis), end="")
    else:
        tables.print_analysis(analysis, job)
    if options.fail_over is not None:
        found = largest_unshielded_sr(analysis, untreated=bool(options.plan))
        if found > options.fail_over:
            print(
                f"{found:.3g} sr are unshielded, more than the {options.fail_over:g} sr allowed",
                file=sys.stderr,
            )
            return 1
    return 0
