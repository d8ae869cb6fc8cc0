"""`gapcast compare`: plans side by side, also with the receiver's room on other storeys."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from typing import Any

from envelope.building.job import Job
from envelope.commands import compare_tables
from envelope.commands.arguments import add_analysis_arguments, add_job, add_output_switches
from envelope.commands.common import analyzed, read_job, stops_for_questions
from envelope.errors import EnvelopeError, FaultsError
from envelope.exposure import serialise as as_json
from envelope.exposure.analysis_record import Analysis
from envelope.project import load
from envelope.survey import solve_levels

DESCRIPTION = (
    "Sets the plans of a job side by side: what is unshielded, the leakiest face, and the "
    "level at each receiver against outside and against today."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_analysis_arguments(parser)
    add_output_switches(parser, csv=False)
    parser.add_argument(
        "--storeys",
        metavar="A,B",
        help="put the receiver's room on each of these storeys in turn",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One analysis of the comparison, and the storey that the room was put on, if any."""

    storey: str | None
    analysis: Analysis
    assumed_source: bool


def _on_storeys(options: argparse.Namespace) -> list[Variant]:
    as_drawn = read_job(options.job)
    if not as_drawn.receivers:
        raise EnvelopeError(
            f"{options.job}: no receiver: add [[receiver]] with the place of the pillow"
        )
    room = as_drawn.receivers[0].space
    variants = []
    for name in options.storeys.split(","):
        storey = name.strip()
        try:
            job = load(options.job, storey_of={room: storey})
            job = solve_levels(job, as_drawn=as_drawn)
        except FaultsError as error:
            raise EnvelopeError(
                f"{options.job}: with {room} on storey {storey} instead:\n{error}"
            ) from error
        variants.append(_variant(job, options, storey=storey))
    return variants


def _variant(job: Job, options: argparse.Namespace, *, storey: str | None) -> Variant:
    return Variant(
        storey=storey,
        assumed_source=job.assumed_source,
        analysis=analyzed(
            job,
            path=options.job,
            plans=options.plan,
            threshold_db=options.threshold,
            receivers=options.receiver,
            fine=options.fine,
            error=options.error,
            edges=options.edges,
        ),
    )


def run(options: argparse.Namespace) -> int:
    """Print the comparison."""
    job = read_job(options.job)
    if stops_for_questions(job, as_json=options.json):
        return 1
    variants = _on_storeys(options) if options.storeys else [_variant(job, options, storey=None)]
    if options.json:
        plain: list[dict[str, Any]] = [
            {"storey": variant.storey, **as_json.analysis_as_plain(variant.analysis)}
            for variant in variants
        ]
        print(json.dumps({"format": 1, "variants": plain}, indent=2))
    else:
        compare_tables.print_comparison(
            [(v.storey, v.analysis) for v in variants],
            job=job,
        )
    return 0
