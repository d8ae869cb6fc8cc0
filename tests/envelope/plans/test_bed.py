"""Places for the bed against a plain search of the map, and the map against the analysis."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job, Receiver
from envelope.cli import main
from envelope.errors import RangeError
from envelope.exposure.analysis import analyze_plan, bench_of
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.level_map import floor_levels
from envelope.plans.bed import BedPlan, bed_places, places_on

Maker = Callable[..., Job]
DOOR = (
    '[[treatment]]\nid = "coating"',
    '[[opening]]\nid = "D1"\non = "bedroom/north"\nkind = "door"\nat = "0.2 m"\n'
    'size = "0.8 m x 2.0 m"\n\n[[treatment]]\nid = "coating"',
)
KIND = ('window = "pane"', 'window = "pane"\ndoor = "pane"')


@pytest.fixture(scope="module")
def job(small_job: Maker) -> Job:
    return small_job("[]", DOOR, KIND)


@pytest.fixture(scope="module")
def casts(job: Job) -> Casts:
    return cast_job(job)


@pytest.fixture(scope="module")
def found(job: Job, casts: Casts) -> tuple[BedPlan, ...]:
    return bed_places(
        job,
        casts=casts,
        bench=bench_of(job, casts),
        receiver=job.receivers[0],
        plans=job.plans,
        most=1000,
    )


def test_the_map_is_what_the_analysis_gives_at_its_points(
    job: Job, casts: Casts, found: tuple[BedPlan, ...]
) -> None:
    points = found[0].floor.points
    picked = np.random.default_rng(3).choice(len(points), size=6, replace=False)
    there = replace(
        job,
        receivers=tuple(
            Receiver(id=f"p{n}", space="bedroom", position_m=points[n]) for n in picked
        ),
    )
    again = cast_job(there)
    for plan, each in zip(job.plans, found, strict=True):
        result = analyze_plan(
            bench=bench_of(there, again), plan=plan, casts=again, with_ranks=False
        )
        levels = np.array([receiver.level_w_m2 for receiver in result.receivers])
        mapped = each.floor.level_w_m2[each.floor.inside][picked]
        assert np.abs(10.0 * np.log10(mapped / levels)).max() < 0.1


def test_fewer_casts_of_all_directions_change_next_to_nothing(
    job: Job, casts: Casts, monkeypatch: pytest.MonkeyPatch
) -> None:
    point = job.receivers[0]
    maps = []
    for apart in (0.6, 0.2):
        monkeypatch.setattr("envelope.exposure.level_map.NODES_APART_M", apart)
        levels = floor_levels(job=job, casts=casts, plan=job.plans[0], receiver=point, step_m=0.2)
        maps.append(levels.level_w_m2[levels.inside])
    assert np.abs(10.0 * np.log10(maps[0] / maps[1])).max() < 0.25


def test_every_place_holds_the_bed_and_none_is_missed(job: Job, found: tuple[BedPlan, ...]) -> None:
    """The room is 3.6 by 3 m, with a door in its north wall near the east corner."""
    every = places_on(found[0].floor, job=job, size_m=(0.9, 2.0), side_m=0.6)
    places = {(each.head, *np.round(each.pillow_m[:2], 3).tolist()) for each in every}
    expected = set()
    x, y = found[0].floor.x_m, found[0].floor.y_m
    door = (3.6 - 0.2 - 0.8, 3.6 - 0.2)  # the opening counts from the right-hand corner
    cells = 0.1
    for head in ("north", "south"):
        for left in range(len(x) - 9 + 1):
            low, high = left * cells, left * cells + 0.9
            beside = [(low - 0.6, low), (high, high + 0.6)]
            ways = []
            for one, other in beside:
                inside = one > -1e-9 and other < 3.6 + 1e-9
                ways.append(inside and not (_meets(one, other, door) and head == "north"))
            blocked = _meets(low, high, door) and head == "north"
            if any(ways) and not blocked:
                row = len(y) - 1 - 3 if head == "north" else 3
                expected.add((head, round(float(x[left + 4]), 3), round(float(y[row]), 3)))
    north_south = {place for place in places if place[0] in ("north", "south")}
    assert north_south == expected


def _meets(low: float, high: float, door: tuple[float, float]) -> bool:
    return low < door[1] - 1e-9 and high > door[0] + 1e-9


def test_best_comes_first_and_treatment_evens_the_room_out(found: tuple[BedPlan, ...]) -> None:
    today, treated = found
    for plan in found:
        levels = [place.level_w_m2 for place in plan.places]
        assert levels == sorted(levels)
        assert plan.best.level_w_m2 == plan.lowest_w_m2
    assert treated.span_db < today.span_db


def test_a_bed_that_fits_nowhere_is_said(
    job: Job, casts: Casts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("envelope.plans.bed.STEP_M", 0.5)
    with pytest.raises(RangeError, match="fits nowhere in bedroom"):
        bed_places(
            job,
            casts=casts,
            bench=bench_of(job, casts),
            receiver=job.receivers[0],
            plans=job.plans[:1],
            size_m=(2.9, 2.9),
            side_m=2.0,
        )


def test_the_command_prints_places_and_json(
    small_text: Callable[..., str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("envelope.plans.bed.STEP_M", 0.3)
    path = tmp_path / "flat.toml"
    path.write_text(small_text("[]"), "utf-8")
    assert main(["bed", str(path), "--size", "3 ft x 6 ft 8 in"]) == 0
    assert "pillow of bedroom, now at 0.70" in capsys.readouterr().out.replace("\xa0", " ")
    assert main(["bed", str(path), "--plan", "all", "--json"]) == 0
    (plan,) = json.loads(capsys.readouterr().out)["plans"]
    assert plan["places"][0]["level_w_m2"] == plan["lowest_w_m2"]
    assert main(["bed", str(path), "--size", "3 ft x 6"]) == 2
    assert "without a unit" in capsys.readouterr().err
