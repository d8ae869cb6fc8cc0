"""Readings with a source off and on, in a world whose truth is known: what is then said of work.

    python tests/benchmarks/survey_switched.py --jobs 100

As `survey_worlds.py`, in rooms with a router beside them, and with an error of the model for each
source by itself. The bed is read before the work with the router on, off, or both ways, and after
it with the router off, which the plan has wired, off at night, or on. What comes out is how
often the truth lies in the 10–90 % ranges of the levels at the bed before and after the work, of
what the work brings, and of what the router alone brings, and by how much middles are off.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import survey_worlds as worlds
import tomlkit

from envelope.building.job import AS_BUILT
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.differences import LevelDraws, difference
from envelope.exposure.model_error import shared_db
from envelope.exposure.tolerances import TENTH, draw, drawn_freely
from envelope.exposure.uncertainty import level_band, level_draws
from envelope.project import load_text
from envelope.survey import solve_levels
from envelope.survey.responses import responses

SPOTS = 9
AT_BED = {"receiver": "bed", "spots": SPOTS, "tolerance": "2 dB"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Whether a figure's 10–90 % range holds the truth, and by how much its middle is off."""

    figure: str
    inside: bool
    off_db: float
    width_db: float


def written(random: np.random.Generator) -> dict[str, Any]:
    """A job as its planner writes it: a router beside the room, the bed read as it may be."""
    plain = worlds.written(random)
    masts = [each for each in plain["source"] if each["id"] != "router"]
    for each in masts:
        each.setdefault("level", "300 uW/m2")
    router = {
        "id": "router",
        "space": "den",
        "at": f"{random.uniform(0.4, 2.0):.3f}, {random.uniform(0.4, 2.0):.3f}, 1 m",
        "band": "2.4-2.48 GHz",
        "eirp": f"{10 ** random.uniform(-0.5, 2.0):.4g} mW",
        "duty": 1.0,
    }
    plain["source"] = [*masts, router]
    (plan,) = plain["plan"]
    does = str(random.choice(["", "cable", "off-at-night"]))
    if does:
        plan["measures"] = [{"source": "router", "do": does}]
    before = [("before-on", []), ("before-off", ["router"])]
    kept = int(random.integers(3))
    plain["reading"] = [
        {"id": name, "off": off, **AT_BED}
        for number, (name, off) in enumerate(before)
        if kept in (number, 2)
    ]
    plain["reading"].append(
        {
            "id": "after",
            "plan": "treated",
            **AT_BED,
            **({} if does == "cable" else {"off": ["router"]}),
        }
    )
    return plain


def judged(seed: int) -> list[Outcome]:
    """Plant a world, read it, survey it, and compare."""
    random = np.random.default_rng((8_117, seed))
    plain = written(random)
    for each in plain["reading"]:
        each["level"] = "100 uW/m2"
    known = load_text(tomlkit.dumps(plain), path="job.toml")
    count = 40
    heard = responses(known, draws=count, seed=seed)
    member = 1 + int(random.integers(count))
    casts = cast_job(known, sampling=worlds.FEW)
    bench = bench_of(known, casts)
    world = drawn_freely(known, count=count, seed=seed)
    on = replace(known.plan("treated"), measures={})
    today, treated = (
        level_draws(bench=bench, plan=plan, casts=casts, draws=world)
        for plan in (known.plan(AS_BUILT), on)
    )
    names = [each.id for each in known.sources]
    shared = shared_db() * random.standard_normal() / TENTH
    own = {name: _own_errors(today, treated, name, random) for name in names}
    meter = 2.0 * random.standard_normal() / TENTH
    for row, reading in enumerate(plain["reading"]):
        after = int(reading["id"] == "after")
        there = [name for name in heard.sources if name in known.readings[row].sources]
        if after:
            there = [name for name in there if name != "router"]
        column = [heard.sources.index(name) for name in there]
        error = np.array([10 ** (own[name][after] / 10) for name in there])
        level = heard.drawn[row, column, member] * heard.strength[column, member] * error
        straight = heard.direct[row, column] / heard.whole[row, column] * level
        shown = worlds._faded(straight, level - straight, SPOTS, random)
        error_db = shared + meter + worlds.AGAIN_DB * random.standard_normal() / TENTH
        reading["level"] = f"{shown * 10 ** (error_db / 10):.6e} W/m2"
    solved = solve_levels(load_text(tomlkit.dumps(plain), path="job.toml"))
    assert solved.fitted is not None
    bench, drawn = bench_of(solved, casts), draw(solved)
    before, after_ = (
        level_draws(bench=bench, plan=solved.plan(name), casts=casts, draws=drawn)
        for name in (AS_BUILT, "treated")
    )
    silent = ["router"] if known.plan("treated").measures else []
    left = [name for name in names if name not in silent]

    def truth(of: LevelDraws, at: int, some: Sequence[str]) -> float:
        levels = [
            of.level_w_m2("bed", [name])[member] * 10 ** ((shared + own[name][at]) / 10)
            for name in some
        ]
        return float(sum(levels))

    true_today, true_then = truth(today, 0, names), truth(treated, 1, left)
    step = difference(before, after_, "bed")
    return [
        _level("before", before, before, None, true_today),
        _level("after", after_, before, None, true_then),
        _level("router", before, before, ["router"], truth(today, 0, ["router"])),
        _of(
            "step", step.below_db, step.low_db, step.high_db, 10 * np.log10(true_today / true_then)
        ),
    ]


def _level(
    figure: str, of: LevelDraws, as_built: LevelDraws, some: Sequence[str] | None, truth: float
) -> Outcome:
    band = level_band(of, "bed", some, as_built=as_built)
    middle = 10 * np.log10(of.level_w_m2("bed", some)[0])
    low, high = (middle + 10 * np.log10(each) for each in (band.low, band.high))
    return _of(figure, middle, low, high, 10 * np.log10(truth))


def _of(figure: str, middle: float, low: float, high: float, truth: float) -> Outcome:
    return Outcome(
        figure=figure,
        inside=bool(low <= truth <= high),
        off_db=float(truth - middle),
        width_db=float(high - low),
    )


def _own_errors(
    today: LevelDraws, treated: LevelDraws, source: str, random: np.random.Generator
) -> np.ndarray:
    """The model's own errors of one source at the bed, before and after treatment. [dB]"""
    some = [source]
    one, other = (
        each.own_db("bed", some, as_built=today) / TENTH * random.standard_normal()
        for each in (today, treated)
    )
    # correlated by a half, as the model takes errors of two plans to be
    turned = other * np.sqrt(0.75)
    sigma = [each.own_db("bed", some, as_built=today) for each in (today, treated)]
    if sigma[0] > 0.0:
        turned += 0.5 * one * sigma[1] / sigma[0]
    return np.array([one, turned])


def table(found: list[Outcome]) -> str:
    """A row for each figure."""
    lines = [
        "| figure | in its 10–90 % range | truth less middle, 10, 50, 90 of 100 | range |",
        "| --- | --- | --- | --- |",
    ]
    for name in dict.fromkeys(each.figure for each in found):
        some = [each for each in found if each.figure == name]
        off = np.quantile([each.off_db for each in some], (0.1, 0.5, 0.9))
        lines.append(
            f"| {name} | {sum(each.inside for each in some)} of {len(some)} "
            f"| {', '.join(f'{each:.1f}' for each in off)} dB "
            f"| {np.median([each.width_db for each in some]):.1f} dB |"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=100)
    worlds.quickly()
    sys.stdout.write(table(list(worlds.outcomes(parser.parse_args().jobs, judged))) + "\n")
