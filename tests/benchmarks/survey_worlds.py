"""Random rooms with readings in a world whose truth is known: what surveys are judged by.

    python tests/benchmarks/survey_worlds.py --jobs 200

Every figure that a job states with a tolerance, or not at all, is drawn for the world from
another sample than the survey's own; so are the model's errors, the meter's, and fading. The
survey knows the job and what the meter showed. What comes out is how often the level at the bed,
before and after treatment, lies in its 10–90 % range, and whether its ranks are even.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import tomlkit

from envelope.building.job import AS_BUILT
from envelope.errors import LevelsError
from envelope.exposure import casts as casting
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.differences import LevelDraws, errors_left
from envelope.exposure.model_error import shared_db
from envelope.exposure.tolerances import TENTH, draw, drawn_freely
from envelope.exposure.uncertainty import level_band, level_draws
from envelope.physics.normal import normal_share_below
from envelope.project import load_text
from envelope.rays import Sampling
from envelope.survey import direction_tolerance, solve_levels
from envelope.survey import responses as answering
from envelope.survey.binding import question_of
from envelope.survey.responses import responses

FEW = Sampling(points_per_panel=2**6, points=2**10)
AGAIN_DB = 1.0  # 10–90 % half-width, as the survey takes it
WALLS = ("timber-wall", "solid-brick-wall", "stud-wall")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One plan's level at the bed in the world, and what the survey says of it."""

    plan: str
    inside: bool
    rank: float  # share of what the survey holds possible that lies below the truth
    width_db: float  # of the 10–90 % range
    wide_db: float  # the same without readings
    effective: float


def quickly() -> None:
    """Cast few rays: what they miss is the same in the world and in the survey."""
    for name, count in (("BEAM", 2**8), ("WIDE", 2**9), ("LIT", 2**6), ("CHAIN", 2**10)):
        setattr(casting, name, count)
    direction_tolerance.RAYS = 2**9
    answering.FEW = FEW


def written(random: np.random.Generator) -> dict[str, Any]:
    """A job as its planner writes it."""
    x, y = random.uniform(3.0, 5.5), random.uniform(2.6, 4.5)
    masts = [_mast(f"mast-{number}", random) for number in range(int(random.integers(1, 3)))]
    router = {
        "id": "router",
        "space": "den",
        "at": f"{random.uniform(0.4, 2.0):.3f}, {random.uniform(0.4, 2.0):.3f}, 1 m",
        "band": "2.4-2.48 GHz",
        "eirp": f"{10 ** random.uniform(0.5, 2.3):.4g} mW",
    }
    sources = [*masts, *([router] if random.random() < 0.6 else [])]
    if random.random() < 0.4:
        masts[0].pop("level")
    return {
        "format": 1,
        "name": "a room by chance",
        "construction": {
            "exterior-wall": str(random.choice(WALLS)),
            "interior-wall": "stud-wall",
            "slab": "ground-slab",
            "roof": "ceiling-and-tiled-roof",
            "window": str(random.choice(["double-glazing", "double-low-e", "double-unknown"])),
            "door": "hollow-wood-door",
        },
        "storey": [{"id": "ground", "floor": "0 m"}],
        "space": [
            _space("room", f"{x:.3f} m x {y:.3f} m", "0, 0 m"),
            _space("den", f"2.5 m x {y:.3f} m", f"{x + 0.12:.3f}, 0 m"),
        ],
        "opening": [
            {
                "id": "W1",
                "on": f"room/{random.choice(['south', 'north', 'west'])}",
                "kind": "window",
                "at": "0.5 m",
                "sill": "0.8 m",
                "size": f"{random.uniform(0.7, 1.6):.3f} m x {random.uniform(0.7, 1.4):.3f} m",
            }
        ],
        "treatment": [
            {"id": "coating", "kind": "sheet", "sheet-resistance": "5 ohm/sq"},
            {"id": "film", "kind": "sheet", "sheet-resistance": "10 ohm/sq"},
        ],
        "source": sources,
        "receiver": [{"id": "bed", "space": "room", "at": "1, 1, 0.7 m"}],
        "plan": [
            {
                "id": "treated",
                "treat": [
                    {"on": "room/walls", "with": "coating"},
                    {"on": "room/W1", "with": "film"},
                ],
            }
        ],
        "reading": _readings(random, [each["id"] for each in sources], x, y),
    }


def _space(name: str, size: str, origin: str) -> dict[str, Any]:
    return {"id": name, "storey": "ground", "size": size, "height": "2.4 m", "origin": origin}


def _mast(name: str, random: np.random.Generator) -> dict[str, Any]:
    return {
        "id": name,
        "azimuth": f"{random.uniform(0, 360):.3f} deg",
        "elevation": f"{random.uniform(1, 25):.3f} deg",
        "band": str(random.choice(["900-950 MHz", "1805-1880 MHz", "3.5 GHz"])),
        "level": f"{10 ** random.uniform(1.5, 3.5):.4g} uW/m2",
    }


def _readings(
    random: np.random.Generator, sources: list[str], x: float, y: float
) -> list[dict[str, Any]]:
    """One at the bed in half of the jobs, and one to four about the room, of all sources."""
    places = [("1", "1", "0.7")] if random.random() < 0.5 else []
    for _ in range(int(random.integers(1, 5))):
        place = random.uniform(0.25, 0.75, 2) * (x, y)
        places.append((f"{place[0]:.3f}", f"{place[1]:.3f}", f"{random.uniform(0.5, 1.7):.3f}"))
    return [
        {
            "id": f"r{number}",
            "source": sources,
            "space": "room",
            "at": f"{', '.join(place)} m",
            "level": "100 uW/m2",
            "spots": int(random.choice([1, 3, 9])),
            "tolerance": "2 dB",
        }
        for number, place in enumerate(places)
    ]


def judged(seed: int) -> list[Outcome]:
    """Plant a world, read it, survey it, and compare."""
    random = np.random.default_rng((4_211, seed))
    plain = written(random)
    job = load_text(tomlkit.dumps(plain), path="job.toml")
    planted = 10.0 ** random.uniform(1.5, 3.5) * 1e-6
    known = replace(
        job,
        sources=tuple(
            each
            if each.has_level
            else replace(each, level_w_m2={"": planted}, level_tolerance_db=0.0)
            for each in job.sources
        ),
    )
    count = 40
    heard = responses(known, draws=count, seed=seed)
    member = 1 + int(random.integers(count))
    question, places = question_of(known, heard, solved=())
    shared = shared_db() * random.standard_normal() / TENTH
    casts = cast_job(known, sampling=FEW)
    bench = bench_of(known, casts)
    world = drawn_freely(known, count=count, seed=seed)
    today, treated = (
        level_draws(bench=bench, plan=known.plan(name), casts=casts, draws=world)
        for name in (AS_BUILT, "treated")
    )
    own = _own_errors(today, treated, random)
    errors = np.array(
        [
            own[0]
            if error.place.receiver
            else random.standard_normal() * np.sqrt(question.place_covariance_db2[at, at])
            for at, error in enumerate(places)
        ]
    )
    meter = random.standard_normal() / TENTH
    for row, reading in enumerate(plain["reading"]):
        level = heard.drawn[row, :, member] * heard.strength[:, member]
        straight = heard.direct[row] / heard.whole[row] * level
        shown = _faded(straight, level - straight, reading["spots"], random)
        error_db = shared + errors[question.place[row]] + 2.0 * meter
        error_db += AGAIN_DB * random.standard_normal() / TENTH
        reading["level"] = f"{shown * 10 ** (error_db / 10):.6e} W/m2"
    asked = load_text(tomlkit.dumps(plain), path="job.toml")
    solved = solve_levels(asked)
    assert solved.fitted is not None
    bench = bench_of(solved, casts)
    drawn = draw(solved)
    found: list[Outcome] = []
    before: LevelDraws | None = None
    for truth_draws, error, name in ((today, own[0], AS_BUILT), (treated, own[1], "treated")):
        truth = truth_draws.level_w_m2("bed")[member] * 10 ** ((shared + error) / 10)
        levels = level_draws(bench=bench, plan=solved.plan(name), casts=casts, draws=drawn)
        before = before or levels
        band = level_band(levels, "bed", as_built=before)
        nominal = levels.level_w_m2("bed")[0]
        free = level_band(truth_draws, "bed", as_built=today)
        found.append(
            Outcome(
                plan=name,
                inside=nominal * band.low <= truth <= nominal * band.high,
                rank=_rank(levels, before, truth),
                width_db=10 * np.log10(band.high / band.low),
                wide_db=10 * np.log10(free.high / free.low),
                effective=solved.fitted.effective,
            )
        )
    return found


def _own_errors(today: LevelDraws, treated: LevelDraws, random: np.random.Generator) -> np.ndarray:
    """The model's own errors at the bed before and after treatment. [dB]"""
    prior = errors_left((today, treated), "bed", as_built=today).covariance_db2
    values, vectors = np.linalg.eigh(prior)
    return vectors @ (np.sqrt(np.maximum(values, 0.0)) * random.standard_normal(2))


def _faded(
    straight: np.ndarray, spread: np.ndarray, spots: int, random: np.random.Generator
) -> float:
    """Mean over spots of steady waves and a room's field, in one polarization."""
    total = 0.0
    for one, rest in zip(straight, np.maximum(spread, 0.0), strict=True):
        waves = np.sqrt(0.5 * rest) * random.standard_normal((2, spots))
        turn = random.uniform(0.0, 2.0 * np.pi, spots)
        steady = np.sqrt(one) * np.stack((np.cos(turn), np.sin(turn)))
        total += float(((waves + steady) ** 2).sum(axis=0).mean())
    return total


def _rank(levels: LevelDraws, as_built: LevelDraws, truth: float) -> float:
    left = errors_left((levels,), "bed", as_built=as_built)
    drawn_db = 10 * np.log10(levels.level_w_m2("bed")) + left.shift_db[0]
    if levels.place("bed") is None:
        sigma = levels.own_db("bed", as_built=as_built) / TENTH
    else:
        sigma = float(np.sqrt(max(left.covariance_db2[0, 0], 0.0)))
    away = (10 * np.log10(truth) - drawn_db[1:]) / max(sigma, 1e-3)
    return float(normal_share_below(away).mean())


Judged = TypeVar("Judged")


def outcomes(jobs: int, judge: Callable[[int], Sequence[Judged]]) -> Iterator[Judged]:
    """What comes of so many random jobs, each made and judged by its seed."""
    found = 0
    for seed in itertools.count():
        try:
            yield from judge(seed)
        except LevelsError:  # nothing is left for a source whose level nobody states
            continue
        found += 1
        if found == jobs:
            return


def table(found: list[Outcome]) -> str:
    """A row for the level before treatment and one for it after."""
    lines = [
        "| level at the bed | in its 10–90 % range | ranks in fifths | range | without readings |",
        "| --- | --- | --- | --- | --- |",
    ]
    for plan in dict.fromkeys(each.plan for each in found):
        some = [each for each in found if each.plan == plan]
        fifths = np.histogram([each.rank for each in some], bins=5, range=(0.0, 1.0))[0]
        lines.append(
            f"| {plan} | {sum(each.inside for each in some)} of {len(some)} "
            f"| {', '.join(map(str, fifths))} "
            f"| {np.median([each.width_db for each in some]):.1f} dB "
            f"| {np.median([each.wide_db for each in some]):.1f} dB |"
        )
    effective = [each.effective for each in found]
    return "\n".join(
        [
            *lines,
            f"\nEffective draws: {min(effective):.0f} at least, "
            f"{np.median(effective):.0f} in the median.",
        ]
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=200)
    quickly()
    sys.stdout.write(table(list(outcomes(parser.parse_args().jobs, judged))) + "\n")
