"""`gapcast loss`: a stack by itself, so that a treatment can be judged before it is bought."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from envelope.building.job import Job
from envelope.commands import loss_tables
from envelope.commands.arguments import add_job, png_path
from envelope.commands.common import nearest
from envelope.commands.tables import without_infinities
from envelope.errors import EnvelopeError
from envelope.exposure.bands import bands_of
from envelope.exposure.stack_loss import (
    Coats,
    StackLoss,
    WholeBuildings,
    further_coats,
    judge,
    stands_outside,
    whole_buildings,
)
from envelope.geometry.plane import Floats
from envelope.project import load
from envelope.text import frequency
from envelope.units import parse_frequency

DESCRIPTION = (
    "Judges one stack by itself, before it is bought: what an assembly with treatments on its "
    "inner face lets through and throws back, by frequency and angle, and what each further "
    "coat brings."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    parser.add_argument("--assembly", metavar="ID", help="assembly; without it, air")
    parser.add_argument(
        "--treatment", action="append", metavar="ID", help="treatment, the one on the surface first"
    )
    parser.add_argument(
        "--at", action="append", metavar="FREQUENCY", help='frequency, such as "2.45 GHz"'
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument("--png", type=png_path, metavar="FILE", help="draw the curves too")


USUAL_HZ = (0.9e9, 1.8e9, 2.45e9, 3.5e9, 5.5e9)
NEAR = 1.1  # a usual frequency within this factor of one of the job's own says nothing new


def _known(name: str, known: list[str], what: str) -> str:
    if name not in known:
        raise EnvelopeError(f"no {what} {name!r} in this job: {nearest(name, known)}")
    return name


def _frequencies(options: argparse.Namespace, job: Job) -> np.ndarray:
    if options.at:
        return np.array(sorted(parse_frequency(text) for text in options.at))
    return listed_hz([0.5 * (low + high) for low, high in bands_of(job)] if job.sources else [])


def listed_hz(own_hz: Sequence[float]) -> np.ndarray:
    """The frequencies that a job is about, and usual ones where none of its own is near. [Hz]"""
    own = {frequency(hertz): hertz for hertz in sorted(own_hz, reverse=True)}.values()
    usual = [
        hertz
        for hertz in USUAL_HZ
        if all(max(hertz, each) / min(hertz, each) > NEAR for each in own)
    ]
    return np.array(sorted([*own, *usual]))


def _as_plain(
    found: StackLoss, coats: tuple[Coats, ...], buildings: tuple[WholeBuildings, ...]
) -> dict[str, Any]:
    return {
        "format": 1,
        "frequency_hz": found.frequency_hz.tolist(),
        "angle_deg": found.angle_deg.tolist(),
        "loss_db": {"te": found.loss_db[..., 0].tolist(), "tm": found.loss_db[..., 1].tolist()},
        "reflection": {
            "te": found.reflection[..., 0].tolist(),
            "tm": found.reflection[..., 1].tolist(),
        },
        "diffuse_loss_db": found.diffuse_loss_db.tolist(),
        "diffuse_reflection": found.diffuse_reflection.tolist(),
        "extrapolated": list(found.extrapolated),
        "further_coats": [
            {
                "treatment": each.treatment,
                "coats": list(each.coats),
                "diffuse_loss_db": each.diffuse_loss_db.tolist(),
            }
            for each in coats
        ],
        "whole_buildings": [
            {
                "kind": each.kind,
                "source": each.source,
                "low_db": None if each.low_db is None else _known_only(each.low_db),
                "middle_db": _known_only(each.middle_db),
                "high_db": None if each.high_db is None else _known_only(each.high_db),
            }
            for each in buildings
        ],
    }


def _known_only(values: Floats) -> list[float | None]:
    """Numbers for JSON, which knows no nan."""
    return [None if np.isnan(value) else float(value) for value in values]


def run(options: argparse.Namespace) -> int:
    """Judge one stack and print, or draw, what it does."""
    job = load(options.job)
    treatments = [
        _known(name, list(job.treatments), "treatment") for name in options.treatment or []
    ]
    assembly = options.assembly
    if assembly is not None:
        _known(assembly, list(job.assemblies), "assembly")
    elif not treatments:
        raise EnvelopeError(
            "nothing to judge: name an --assembly, a --treatment or both; "
            f"this job has the assemblies {', '.join(job.assemblies)} "
            f"and the treatments {', '.join(job.treatments)}"
        )
    frequency_hz = _frequencies(options, job)
    found = judge(job, assembly=assembly, treatments=treatments, frequency_hz=frequency_hz)
    coats = further_coats(job, assembly=assembly, treatments=treatments, frequency_hz=frequency_hz)
    outer = assembly is not None and stands_outside(job, assembly)
    buildings = whole_buildings(frequency_hz) if outer else ()
    title = " + ".join([*reversed(treatments), *([assembly] if assembly else [])])
    if options.png is not None:
        from viewer.pictures.loss_curves import draw_loss

        sweep = np.geomspace(
            max(frequency_hz[0] / 1.3, 30e6), min(frequency_hz[-1] * 1.3, 100e9), 241
        )
        swept = judge(job, assembly=assembly, treatments=treatments, frequency_hz=sweep)
        draw_loss(swept, title=title, path=options.png)
    if options.json:
        print(json.dumps(without_infinities(_as_plain(found, coats, buildings)), indent=2))
    else:
        loss_tables.print_loss(found, coats, title, assembly=assembly, buildings=buildings)
    return 0
