"""Planted levels come out of readings: random rooms whose walls are not quite what is written.

The world that is measured has its walls, its sources' directions and its error drawn by chance,
and the meter's spots fade; the job that solves knows only what is written. Nothing of the solver is
used to make the readings: they are levels of an ordinary analysis.
"""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import pytest
import tomlkit

from envelope.building.job import Job, Solved
from envelope.errors import LevelsError
from envelope.exposure import casts
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.physics.tables.occupants import CROSS_SECTION_HIGH_M2, CROSS_SECTION_LOW_M2
from envelope.project import load_text
from envelope.rays import Sampling
from envelope.survey import binding, responses, solve_levels
from envelope.survey import direction_tolerance as aside

JOBS = 100
FEW = Sampling(points_per_panel=2**6, points=2**10)
TENTH = 1.2815515594457831  # a normal deviate's ninetieth percentile
# Half-widths of 10–90 % bands, as `exposure.tolerances` states them.
SHEET, THICKNESS, PERMITTIVITY, CONDUCTIVITY = 0.30, 0.05, 0.10, 0.30
MODEL_DB, OPEN_AIR_DB, DIRECTION_DEG = 5.0, 3.0, 5.0
WALLS = ("timber", "brick", "foil")


def written(random: np.random.Generator) -> dict[str, Any]:
    """A job as its planner writes it, its sources with the levels that are planted."""
    x, y = random.uniform(3.0, 5.5), random.uniform(2.5, 4.5)
    wall = {"id": "W1", "on": "room/1", "kind": "window", "at": "0.5 m", "sill": "0.8 m"}
    with_den = random.random() < 0.4
    sources = [_mast("mast", random)]
    if random.random() < 0.5:
        sources.append(_router(random) if with_den else _mast("tower", random))
    spaces = [_space("room", f"{x:.3f} m x {y:.3f} m", "0, 0 m")]
    if with_den:
        spaces.append(_space("den", f"2.5 m x {y:.3f} m", f"{x + 0.1:.3f}, 0 m"))
    return {
        "format": 1,
        "name": "a room by chance",
        "site": {"reach": "1 m"},
        "construction": {
            "exterior-wall": str(random.choice(WALLS)),
            "interior-wall": "timber",
            "floor": "brick",
            "slab": "brick",
            "roof": str(random.choice(WALLS)),
            "window": "pane",
        },
        "material": [
            {"id": "board", "permittivity": 2.9, "conductivity": "0.02 S/m"},
            {"id": "clay", "permittivity": 3.9, "conductivity": "0.03 S/m"},
            {"id": "plate", "permittivity": 6.3, "conductivity": "0.02 S/m"},
        ],
        "assembly": [
            {"id": "timber", "layers": [_layer("board", 12.5), _layer("board", 18.0)]},
            {"id": "brick", "layers": [_layer("clay", 102.0)]},
            {
                "id": "foil",
                "layers": [_layer("board", 12.5), {"sheet-resistance": "60 ohm/sq"}],
            },
            {"id": "pane", "layers": [_layer("plate", 4.0)]},
        ],
        "storey": [{"id": "ground", "floor": "0 m"}],
        "space": spaces,
        "opening": [
            {**wall, "size": f"{random.uniform(0.6, 1.6):.3f} m x {random.uniform(0.6, 1.4):.3f} m"}
        ],
        "source": sources,
        "receiver": [{"id": "bed", "space": "room", "at": "1, 1, 0.7 m"}],
        "reading": _readings(random, [source["id"] for source in sources], x, y),
    }


def _space(name: str, size: str, origin: str) -> dict[str, Any]:
    return {"id": name, "storey": "ground", "size": size, "height": "2.4 m", "origin": origin}


def _layer(material: str, millimetres: float) -> dict[str, Any]:
    return {"material": material, "thickness": f"{millimetres} mm"}


def _mast(name: str, random: np.random.Generator) -> dict[str, Any]:
    return {
        "id": name,
        "azimuth": f"{random.uniform(0, 360):.3f} deg",
        "elevation": f"{random.uniform(1, 25):.3f} deg",
        "band": str(random.choice(["900-950 MHz", "1805-1880 MHz", "3.5 GHz"])),
        "scattered": float(random.choice([0.0, 0.2])),
        "level": f"{10 ** random.uniform(1.0, 4.0):.6g} uW/m2",
    }


def _router(random: np.random.Generator) -> dict[str, Any]:
    return {
        "id": "router",
        "space": "den",
        "at": f"{random.uniform(0.4, 2.0):.3f}, {random.uniform(0.4, 2.0):.3f}, 1 m",
        "band": "2.4-2.48 GHz",
        "eirp": f"{10 ** random.uniform(0.0, 2.0):.6g} mW",
    }


def _readings(
    random: np.random.Generator, sources: list[str], x: float, y: float
) -> list[dict[str, Any]]:
    """One reading of each source, and up to three more, of one source or of both together."""
    readings = []
    count = int(random.integers(len(sources), 5))
    for number in range(count):
        heard = [sources[number]] if number < len(sources) else [str(random.choice(sources))]
        if number >= 1 and random.random() < 0.5:
            heard = list(sources)
        place = random.uniform(0.3, 0.7, 2) * (x, y)
        reading = {
            "id": f"r{number}",
            "source": heard,
            "space": "room",
            "at": f"{place[0]:.3f}, {place[1]:.3f}, {random.uniform(0.5, 1.8):.3f} m",
            "spots": int(random.choice([1, 3, 6, 20])),
            "tolerance": f"{random.choice([0.0, 2.0, 3.0])} dB",
        }
        if heard == ["mast"] and random.random() < 0.3:
            del reading["space"]
        readings.append(reading)
    return readings


def as_it_is(plain: dict[str, Any], random: np.random.Generator) -> dict[str, Any]:
    """The world behind a job: everything tolerated drawn, readings in rooms as receivers."""

    def factor(half_width: float) -> float:
        return float(np.exp(np.log1p(half_width) * random.standard_normal() / TENTH))

    world = copy.deepcopy(plain)
    thick, held, led, sheet = (
        factor(width) for width in (THICKNESS, PERMITTIVITY, CONDUCTIVITY, SHEET)
    )
    for material in world["material"]:
        material["permittivity"] = 1.0 + (material["permittivity"] - 1.0) * held
        material["conductivity"] = f"{float(material['conductivity'].split()[0]) * led} S/m"
    for layer in (layer for made in world["assembly"] for layer in made["layers"]):
        for key, by in (("thickness", thick), ("sheet-resistance", sheet)):
            if key in layer:
                value, unit = layer[key].split()
                layer[key] = f"{float(value) * by} {unit}"
    for source in world["source"]:
        if "azimuth" in source:
            azimuth, elevation = (float(source[key].split()[0]) for key in ("azimuth", "elevation"))
            beside, up = DIRECTION_DEG * random.standard_normal(2) / TENTH
            azimuth += beside / np.cos(np.radians(elevation))
            source["azimuth"] = f"{azimuth % 360.0} deg"
            source["elevation"] = f"{elevation + up} deg"
    for space in world["space"]:  # nobody there, but what absorbs as much
        space["occupants"] = 0
        if space["id"] == "room":
            body = random.uniform(CROSS_SECTION_LOW_M2, CROSS_SECTION_HIGH_M2)
            space["furnishing"] = f"{body} m2"
    world["receiver"] = [
        {key: reading[key] for key in ("id", "space", "at")}
        for reading in world.pop("reading")
        if "space" in reading
    ]
    return world


def measured(plain: dict[str, Any], random: np.random.Generator) -> dict[str, Any]:
    """The job with what a meter shows in its world, and without the levels that were planted."""
    job = load_text(tomlkit.dumps(as_it_is(plain, random)), path="world.toml")
    parts: dict[tuple[str, str], tuple[float, float]] = {}
    if job.receivers:
        (found,) = analyze(job=job, casts=cast_job(job, sampling=FEW), ranked_plans=()).plans
        for receiver in found.receivers:
            for source in receiver.sources:
                straight = sum(path.level_w_m2 for path in source.paths)
                parts[receiver.id, source.id] = (straight, source.level_w_m2 - straight)
    model_db, meter = MODEL_DB * random.standard_normal() / TENTH, random.standard_normal() / TENTH
    asked = copy.deepcopy(plain)
    for reading in asked["reading"]:
        error_db = float(reading["tolerance"].split()[0]) * meter
        if "space" in reading:
            error_db += model_db
            shown = sum(
                _faded(*parts[reading["id"], name], spots=reading["spots"], random=random)
                for name in reading["source"]
            )
        else:  # eight metres off, on the side that faces the mast
            error_db += OPEN_AIR_DB * random.standard_normal() / TENTH
            (mast,) = (source for source in plain["source"] if source["id"] == "mast")
            azimuth = np.radians(float(mast["azimuth"].split()[0]))
            reading["at"] = f"{2 + 8 * np.sin(azimuth)}, {2 + 8 * np.cos(azimuth)}, 1.5 m"
            shown = float(mast["level"].split()[0]) * 1e-6
        reading["level"] = f"{shown * 10 ** (error_db / 10)!r} W/m2"
    for source in asked["source"]:
        source.pop("level", None)
        source.pop("eirp", None)
    return asked


def _faded(straight: float, spread: float, *, spots: int, random: np.random.Generator) -> float:
    """Mean over spots of a steady wave and a room's field, in one polarization."""
    waves = np.sqrt(0.5 * spread) * (random.standard_normal((2, spots)))
    turn = random.uniform(0.0, 2.0 * np.pi, spots)
    steady = np.sqrt(straight) * np.stack((np.cos(turn), np.sin(turn)))
    return float(((waves + steady) ** 2).sum(axis=0).mean())


def planted(job: Job, plain: dict[str, Any]) -> list[tuple[float, Solved]]:
    """What was planted beside what came out."""
    levels = {}
    for source in plain["source"]:
        text = source.get("level") or source["eirp"]
        levels[source["id"]] = float(text.split()[0]) * (1e-6 if "level" in source else 1e-3)
    return [(levels[source.id], source.solved) for source in job.sources if source.solved]


def quickly(patch: pytest.MonkeyPatch) -> None:
    """Few rays and few draws: what they miss is small beside the errors that are planted."""
    for name, count in (("BEAM", 2**9), ("WIDE", 2**10), ("LIT", 2**6), ("CHAIN", 2**11)):
        patch.setattr(casts, name, count)
    patch.setattr(responses, "DRAWS", 120)
    patch.setitem(binding.bind.__kwdefaults__, "samples", (300,))  # not more where few agree
    patch.setattr(aside, "RAYS", 2**9)


@pytest.fixture(scope="module")
def solved() -> list[list[tuple[float, Solved]]]:
    """A hundred jobs solved; those that say that they cannot be are not among them."""
    found: list[list[tuple[float, Solved]]] = []
    refused: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        quickly(patch)
        for seed in range(2 * JOBS):
            random = np.random.default_rng((771, seed))
            plain = written(random)
            asked = measured(plain, random)
            try:
                job = solve_levels(load_text(tomlkit.dumps(asked), path="asked.toml"))
            except LevelsError as error:
                refused.append(str(error))
                continue
            found.append(planted(job, plain))
            if len(found) == JOBS:
                break
    assert len(found) == JOBS
    assert len(refused) <= JOBS // 10
    assert all("nothing is left for" in text or "told apart" in text for text in refused)
    return found


def test_planted_levels_lie_in_the_wide_band_of_95_of_100_jobs(solved):
    held = [all(one.lowest <= truth <= one.highest for truth, one in job) for job in solved]
    assert sum(held) >= 95


def test_the_narrow_band_holds_as_many_as_it_says(solved):
    one_each = [job[0] for job in solved]
    held = sum(one.low <= truth <= one.high for truth, one in one_each)
    assert 68 <= held <= 92  # 80 in 100, give or take three standard deviations


def test_levels_come_out_neither_high_nor_low(solved):
    off_db = [10 * np.log10(one.value / truth) for job in solved for truth, one in job]
    assert abs(np.median(off_db)) < 1.5


def test_bands_are_no_wider_than_the_errors_that_were_planted(solved):
    width_db = [10 * np.log10(job[0][1].high / job[0][1].low) for job in solved]
    assert np.median(width_db) < 14.0
