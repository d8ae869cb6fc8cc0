"""`gapcast bed`: where in the room the level at the pillow is lowest, plan by plan."""

from __future__ import annotations

import argparse
import json
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from rich.markup import escape

from envelope.building.job import BED_M, Job, Receiver
from envelope.commands.arguments import add_job, add_output_switches
from envelope.commands.common import cast, chosen_plans, nearest, read_job
from envelope.commands.layout import open_console, plain_table
from envelope.commands.progress import Progress
from envelope.errors import EnvelopeError, UnitError
from envelope.exposure.analysis import bench_of
from envelope.files import write_atomically
from envelope.plans.bed import SIDE_M, BedPlan, bed_places, moved_to
from envelope.project.edit_table import set_key
from envelope.project.measures import point_text
from envelope.text import SPACE, length, level
from envelope.text.decisions import BED_DB, where_words
from envelope.text.sentences import change_words
from envelope.text.trade import plan_name, receiver_title, space_title
from envelope.units import parse_length, parse_size

_APART_DB = 0.1  # from which two screens show different levels
_SAME_SPAN_DB = 2.0  # a room within which levels lie so near is told as being the same all over

DESCRIPTION = (
    "Maps the level over the room at the height of the pillow and finds the places where the bed "
    "can stand and the level is lowest, before and after treatment: moving the bed is free."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_output_switches(parser, csv=False)
    parser.add_argument("--receiver", metavar="ID", help="the pillow (default: the first receiver)")
    parser.add_argument(
        "--plan", action="append", metavar="ID", help="only this plan; may be given several times"
    )
    parser.add_argument(
        "--size",
        metavar="WIDTH x LENGTH",
        help=f'of the bed, such as "4 ft 6 in x 6 ft 8 in" (default that of the job, else '
        f"{BED_M[0]} m x {BED_M[1]} m)",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="write the job with the bed at the best place under the last plan, for pictures and "
        "further plans",
    )
    parser.add_argument(
        "--side",
        metavar="LENGTH",
        help=f"what must be free along one long side (default {SIDE_M} m)",
    )


def run(options: argparse.Namespace) -> int:
    """Find the places and print them."""
    job = read_job(options.job)
    receiver = _receiver(job, options.receiver, options.job)
    size, side = _dimensions(options)
    alone = replace(job, receivers=(receiver,), occupants=_people(job))
    casts = cast(alone, path=options.job)
    progress = Progress("levels over the floor")
    found = bed_places(
        alone,
        casts=casts,
        bench=bench_of(alone, casts),
        receiver=receiver,
        plans=chosen_plans(job, options.plan),
        size_m=size,
        side_m=side,
        progress=progress,
    )
    progress.done()
    if options.output is not None:
        text = _with_bed(job, receiver, found[-1], path=options.job)
        write_atomically(options.output, text.encode())
    if options.json:
        print(json.dumps(_json(job, receiver, found), indent=2, ensure_ascii=False))
    else:
        _print(job, receiver, found)
        if options.output is not None:
            under = plan_name(job, found[-1].plan)
            print(f"{options.output}: the job with the bed at the best place under {under}")
    return 0


def _with_bed(job: Job, receiver: Receiver, found: BedPlan, *, path: Path) -> str:
    """The job's text with the bed at the best place; every other line as it was."""
    there = moved_to(receiver, found.best)
    space = job.building.space(receiver.space)
    at = there.position_m - np.array([*space.origin, space.floor_m])
    row = job.receivers.index(receiver)
    text = Path(path).read_text(encoding="utf-8")
    place = point_text(tuple(at.round(4).tolist()), feet=job.feet)
    text = set_key(text=text, table="receiver", row=row, key="at", value=place)
    if there.size_m is not None and _turned(receiver, there):
        sides = [point_text((round(float(each), 4),), feet=job.feet) for each in there.size_m]
        text = set_key(text=text, table="receiver", row=row, key="size", value=" x ".join(sides))
    bed = {} if receiver.bed is None else _bed_stated(text, row)
    value = {**bed, "head": found.best.head}
    return set_key(text=text, table="receiver", row=row, key="bed", value=value)


def _turned(before: Receiver, after: Receiver) -> bool:
    """Whether a box lies the other way round."""
    assert before.size_m is not None
    assert after.size_m is not None
    return not np.allclose(before.size_m, after.size_m)


def _bed_stated(text: str, row: int) -> dict[str, Any]:
    """What the file says of the bed."""
    return dict(tomllib.loads(text)["receiver"][row].get("bed", {}))


def _receiver(job: Job, name: str | None, path: Path) -> Receiver:
    if not job.receivers:
        raise EnvelopeError(f"{path}: no receiver: add [[receiver]] with the place of the pillow")
    known = [each.id for each in job.receivers]
    if name is not None and name not in known:
        raise EnvelopeError(f"no receiver {name!r} in this job: {nearest(name, known)}")
    return job.receivers[0 if name is None else known.index(name)]


def _people(job: Job) -> dict[str, int]:
    """Who sleeps in the other rooms absorbs as before."""
    return {**{each.space: 1 for each in job.receivers}, **job.occupants}


def _dimensions(options: argparse.Namespace) -> tuple[tuple[float, float] | None, float]:
    size, side = None, SIDE_M
    try:
        if options.size is not None:
            wide, long = parse_size(options.size, count=2)
            size = (wide, long)
    except UnitError as error:
        raise EnvelopeError(f"--size: {error}") from None
    try:
        if options.side is not None:
            side = parse_length(options.side)
    except UnitError as error:
        raise EnvelopeError(f"--side: {error}") from None
    if size is not None and not (min(size) >= 0.3 and max(size) <= 3.0):
        raise EnvelopeError("--size: a bed is from 0.3 m to 3 m wide and long")
    if not 0.0 <= side <= 3.0:
        raise EnvelopeError("--side: allowed is 0 m to 3 m")
    return size, side


def _print(job: Job, receiver: Receiver, found: Sequence[BedPlan]) -> None:
    console = open_console()
    origin = job.building.space(receiver.space).origin
    at = ", ".join(
        length(float(receiver.position_m[axis] - origin[axis]), feet=job.feet) for axis in (0, 1)
    )
    console.print(
        f"[bold]{escape(receiver_title(job, receiver.id))}[/] of "
        f"{escape(space_title(job, receiver.space))}, now at {at}"
    )
    table = plain_table("plan", ">here", "best place", ">there", "change", ">room spans")
    for plan in found:
        for number, place in enumerate(plan.places):
            below = 10.0 * float(np.log10(plan.now_w_m2 / place.level_w_m2))
            first = number == 0
            table.add_row(
                escape(plan_name(job, plan.plan)) if first else "",
                level(plan.now_w_m2) if first else "",
                where_words(job, place, receiver.space),
                level(place.level_w_m2),
                change_words(below),
                f"{plan.span_db:.1f}{SPACE}dB" if first else "",
            )
    console.print(table)
    for plan in found:
        if plan.below_db < BED_DB:
            why = (
                "what is left is much the same all over the room"
                if plan.span_db < _SAME_SPAN_DB
                else "it stands well as it is"
            )
            console.print(
                f"{escape(plan_name(job, plan.plan))}: moving the bed brings only "
                f"{max(plan.below_db, 0.0):.1f}{SPACE}dB, {why}."
            )
    if apart := read_apart(job, receiver.id):
        console.print(escape(apart))
    console.print(
        "Coordinates are the room's own. A prediction: read the level at both places before the "
        "bed is moved for good."
    )


def read_apart(job: Job, receiver: str) -> str:
    """Why levels here are not those of `analyze`, where the bed was read and other places were not.

    What readings add at the bed alone says nothing of another place, so no place gets it.
    """
    place = None if job.fitted is None else job.fitted.places.get(receiver)
    # the first is of the level that most was heard of
    shift_db = 0.0 if place is None else place.shift_db[0]
    if abs(shift_db) < _APART_DB:
        return ""
    way = "lower" if shift_db < 0.0 else "higher"
    return (
        f"Readings at {receiver} put its level {abs(shift_db):.1f}{SPACE}dB {way} than the model "
        "does. That is in analyze, and not here, since no other place was read so: "
        "compare these levels with one another."
    )


def places_json(found: Sequence[BedPlan]) -> list[dict[str, Any]]:
    """Places under each plan as plain data."""
    return [
        {
            "plan": plan.plan,
            "here_w_m2": plan.now_w_m2,
            "lowest_w_m2": plan.lowest_w_m2,
            "highest_w_m2": plan.highest_w_m2,
            "places": [
                {
                    "head": place.head,
                    "pillow_m": list(place.pillow_m),
                    "level_w_m2": place.level_w_m2,
                }
                for place in plan.places
            ],
        }
        for plan in found
    ]


def _json(job: Job, receiver: Receiver, found: Sequence[BedPlan]) -> dict[str, Any]:
    return {
        "format": 1,
        "project": job.name,
        "receiver": receiver.id,
        "space": receiver.space,
        "plans": places_json(found),
    }
