"""Levels over a floor: the analysis at every point, and a beam where geometry puts it."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.building.job import Receiver
from envelope.errors import CancelledError, RangeError, StaleCastError
from envelope.exposure.analysis import analyze, bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.level_map import floor_levels
from envelope.survey import solve_levels


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, few):
    return SimpleNamespace(
        room=room_plain, window=window_plain, mast=mast_plain, read=read_job, few=few
    )


def moved(job, position_m):
    """The job with its first receiver somewhere else."""
    first = job.receivers[0]
    here = Receiver(id=first.id, space=first.space, position_m=np.asarray(position_m))
    return replace(job, receivers=(here,))


def source_levels(job, sampling, plan="as-built"):
    """Levels of an analysis at the first receiver, by source."""
    found = analyze(
        job=job, casts=cast_job(job, sampling=sampling), plans=[job.plan(plan)], threshold_db=20.0
    )
    return {source.id: source.level_w_m2 for source in found.plans[0].receivers[0].sources}


def mapped(job, sampling, *, plan="as-built", **switches):
    casts = cast_job(job, sampling=sampling)
    return floor_levels(
        job=job, casts=casts, plan=job.plan(plan), receiver=job.receivers[0], **switches
    )


# Walls that reflect nothing and let through a little; a pane of 3 dB; a coat on the walls.
ASSEMBLIES = [
    {"id": "wall", "loss": "12 dB", "reflects": 0.4},
    {"id": "pane", "loss": "3 dB", "reflects": 0.1},
]


def lively(make):
    """Sources of each kind, scattered and not, in a room with a reflecting wall."""
    return make.read(
        make.room(
            assembly=ASSEMBLIES,
            opening=[make.window()],
            treatment=[{"id": "coat", "kind": "sheet", "sheet-resistance": "10 ohm/sq"}],
            source=[
                make.mast(azimuth="200 deg", elevation="12 deg", spread="8 deg", scattered=0.3),
                make.mast(id="far", azimuth="20 deg", elevation="5 deg", spread="0.01 deg"),
                {"id": "lamp", "space": "room", "at": "3.1, 2.2, 1.4 m", "band": "2.45 GHz",
                 "eirp": "10 dBm"},
                {"id": "gate", "at": "2.0, -6.0, 1.0 m", "band": "868 MHz", "eirp": "14 dBm"},
            ],
            plan=[{"id": "coated", "treat": [{"on": "room/walls", "with": "coat"}]}],
        )
    )  # fmt: skip


def test_every_point_has_what_the_analysis_finds_there(make):
    job = lively(make)
    casts = cast_job(job, sampling=make.few)
    bench = bench_of(job, casts)
    for plan in ("as-built", "coated"):
        levels = floor_levels(
            job=job,
            casts=casts,
            bench=bench,
            plan=job.plan(plan),
            receiver=job.receivers[0],
            step_m=0.7,
        )
        assert levels.inside.shape == (5, 6)
        assert levels.inside.all()
        for row, column in ((0, 2), (2, 1), (4, 5)):
            place = (levels.x_m[column], levels.y_m[row], levels.height_m)
            exact = source_levels(moved(job, place), make.few, plan)
            for name, level in exact.items():
                found = levels.by_source_w_m2[name][row, column]
                # the cone has 256 rays instead of 4096, the scattered part 1024 instead of 4096
                rounding = 0.02 if name == "mast" else 1e-9
                assert found == pytest.approx(level, rel=rounding), (plan, name, place)
            total = sum(levels.by_source_w_m2[name][row, column] for name in exact)
            assert levels.level_w_m2[row, column] == pytest.approx(total, rel=1e-12)


def test_at_the_receiver_it_is_what_the_receiver_has(make):
    # a room of 4 × 3 m in steps of 1 m has a point at (1.5, 1.5)
    job = moved(lively(make), (1.5, 1.5, 0.7))
    levels = mapped(job, make.few, step_m=1.0, plan="coated")
    assert levels.x_m.tolist() == [0.5, 1.5, 2.5, 3.5]
    assert levels.y_m.tolist() == [0.5, 1.5, 2.5]
    assert levels.height_m == 0.7
    whole = sum(source_levels(job, make.few, "coated").values())
    assert levels.level_w_m2[1, 1] == pytest.approx(whole, rel=0.01)


def test_at_the_receiver_it_is_what_readings_leave_there(make):
    """A level read at the bed moves the whole room's, so that map and analysis say one figure."""
    read = {"space": "room", "at": "1.5, 1.5, 0.7 m", "level": "3000 uW/m2", "spots": 9}
    plain = make.room(
        assembly=ASSEMBLIES,
        opening=[make.window()],
        source=[make.mast(azimuth="200 deg", elevation="12 deg", scattered=0.1)],
        reading=[{"id": "there", "source": "mast", **read}],
    )
    plain["receiver"][0]["at"] = read["at"]
    job = solve_levels(make.read(plain))
    assert abs(10.0 * math.log10(job.factor_at(job.receivers[0].id, "as-built", "mast"))) > 1.0
    levels = mapped(job, make.few, step_m=1.0)
    whole = sum(source_levels(job, make.few).values())
    assert levels.level_w_m2[1, 1] == pytest.approx(whole, rel=0.02)


def test_a_beam_lies_where_geometry_puts_it(make):
    # A window from x = 1 to 2.5 m and z = 0.9 to 2.1 m in the wall y = 0; the source due south at
    # 30°, so at z = 0.7 the beam lies from y = 0.2 / tan 30° to 1.4 / tan 30°, as wide as the
    # window. Nothing else lets anything in, and nothing reflects.
    job = make.read(
        make.room(
            assembly=[
                {"id": "wall", "loss": "200 dB", "reflects": 0.0},
                {"id": "pane", "loss": "3 dB", "reflects": 0.0},
            ],
            opening=[make.window()],
            source=[make.mast(elevation="30 deg", spread="0.01 deg")],
        )
    )
    levels = mapped(job, make.few, step_m=0.1)
    x, y = np.meshgrid(levels.x_m, levels.y_m)
    near, far = 0.2 / math.tan(math.radians(30)), 1.4 / math.tan(math.radians(30))
    lit = (x > 1.0) & (x < 2.5) & (y > near) & (y < far)
    assert 250 < lit.sum() < 350  # 15 columns by 21 rows or so
    through = 1e-3 * 10.0**-0.3
    assert levels.level_w_m2[lit] == pytest.approx(through, rel=1e-6)
    assert levels.level_w_m2[~lit].max() < 1e-12
    assert levels.outside_w_m2 == pytest.approx(1e-3)


def test_a_wide_source_blurs_the_edge_of_its_beam(make):
    strip = [{"id": "room", "storey": "ground", "size": "4 m x 1.2 m", "height": "2.4 m"}]
    plain = make.room(
        space=strip,
        receiver=[{"id": "bed", "space": "room", "at": "1.3, 0.6, 0.7 m"}],
        opening=[make.window()],
        source=[make.mast(elevation="30 deg")],
    )
    sharp = mapped(make.read(plain), make.few, step_m=0.1)
    plain["source"] = [make.mast(elevation="30 deg", spread="6 deg")]
    soft = mapped(make.read(plain), make.few, step_m=0.1)
    row = int(np.abs(sharp.y_m - 1.0).argmin())

    def partly(levels):
        direct = levels.level_w_m2[row] - np.nanmin(levels.level_w_m2)
        return int(((direct > 0.05 * direct.max()) & (direct < 0.95 * direct.max())).sum())

    # 12° across over the 1.15 m from the pane smear each edge over 0.24 m; 1° over 0.02 m
    assert partly(sharp) <= 2
    assert 4 <= partly(soft) <= 7


def test_outside_the_room_there_is_nothing(make):
    job = make.read(
        make.room(
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "footprint": "0,0  4,0  4,1.6  2.4,1.6  2.4,3  0,3 m",
                    "height": "2.4 m",
                }
            ],
            opening=[make.window()],
            source=[make.mast()],
        )
    )
    levels = mapped(job, make.few, step_m=0.4)
    x, y = np.meshgrid(levels.x_m, levels.y_m)
    notch = (x > 2.4) & (y > 1.6)
    assert notch.sum() > 8
    assert np.array_equal(levels.inside, ~notch)
    assert np.isnan(levels.level_w_m2[notch]).all()
    assert np.isfinite(levels.level_w_m2[~notch]).all()
    assert levels.points.shape == (int((~notch).sum()), 3)
    assert levels.points[:, 2] == pytest.approx(0.7)


def test_no_level_is_given_on_top_of_a_transmitter(make):
    job = make.read(
        make.room(
            source=[{"id": "lamp", "space": "room", "at": "0.5, 0.5, 0.7 m", "band": "2.45 GHz",
                     "eirp": "0 dBm"}]
        )
    )  # fmt: skip
    levels = mapped(job, make.few, step_m=1.0)
    assert not levels.inside[0, 0]
    assert levels.inside.sum() == 11


def test_another_plan_casts_nothing_again(make, monkeypatch):
    job = lively(make)
    casts = cast_job(job, sampling=make.few)
    bench = bench_of(job, casts)
    given = {"job": job, "casts": casts, "bench": bench, "receiver": job.receivers[0]}
    first = floor_levels(**given, plan=job.plan("as-built"), step_m=1.0)
    import envelope.exposure.level_map as module

    monkeypatch.setattr(module, "cast_cones", None)
    monkeypatch.setattr(module, "cast_lines", None)
    monkeypatch.setattr(module, "cast_directions", None)
    coated = floor_levels(**given, plan=job.plan("coated"), step_m=1.0)
    again = floor_levels(**given, plan=job.plan("as-built"), step_m=1.0)
    assert np.array_equal(first.level_w_m2, again.level_w_m2)
    assert (coated.by_source_w_m2["far"] < first.by_source_w_m2["far"]).all()


def test_sources_that_stand_alike_share_their_rays(make, monkeypatch):
    """The bands of one mast: cast once, and each has the level that it has alone."""
    import envelope.exposure.level_map as module

    masts = [
        make.mast(id=name, azimuth=azimuth, elevation="12 deg", spread="8 deg")
        for name, azimuth in (("low", "200 deg"), ("high", "200 deg"), ("other", "190 deg"))
    ]
    job = make.read(make.room(assembly=ASSEMBLIES, opening=[make.window()], source=masts))
    alone = mapped(replace(job, sources=job.sources[1:2]), make.few, step_m=1.0)
    cast, count = module.cast_cones, []

    def counted(*arguments, **switches):
        count.append(switches["direction"])
        return cast(*arguments, **switches)

    monkeypatch.setattr(module, "cast_cones", counted)
    together = mapped(job, make.few, step_m=1.0)
    assert len(count) == 2
    levels = together.by_source_w_m2
    assert np.array_equal(levels["high"], alone.level_w_m2, equal_nan=True)
    assert not np.array_equal(levels["other"], levels["high"], equal_nan=True)


def test_it_tells_how_far_it_is_and_can_be_stopped(make):
    job = make.read(make.room(opening=[make.window()], source=[make.mast(scattered=0.2)]))
    told: list[float] = []
    mapped(job, make.few, step_m=1.0, progress=told.append)
    assert told == pytest.approx([k / 13 for k in range(14)])  # a source, and twelve points
    with pytest.raises(CancelledError):
        mapped(job, make.few, step_m=1.0, cancel=lambda: True)


@pytest.mark.parametrize(
    ("step_m", "message"),
    [
        (0.01, "0.01 m between points of a floor; allowed: 0.05 to 2 m"),
        (3.0, "3 m between points of a floor; allowed: 0.05 to 2 m"),
        (math.nan, "nan m between points"),
    ],
)
def test_a_step_out_of_range_is_refused(make, step_m, message):
    job = make.read(make.room(source=[make.mast()]))
    with pytest.raises(RangeError, match=message):
        mapped(job, make.few, step_m=step_m)


def test_too_many_points_are_refused(make):
    hall = [{"id": "room", "storey": "ground", "size": "40 m x 30 m", "height": "3 m"}]
    job = make.read(make.room(space=hall, source=[make.mast()]))
    with pytest.raises(RangeError, match="480000 points over the floor of room; allowed: up to"):
        mapped(job, make.few, step_m=0.05)


def test_without_a_source_there_is_no_level(make):
    job = make.read(make.room())
    if job.sources:  # an assumed field has no level either
        pytest.fail("the reader gives this job a source")
    with pytest.raises(RangeError, match="0 sources"):
        mapped(job, make.few)


def test_casts_of_another_geometry_are_refused(make):
    job = make.read(make.room(source=[make.mast()]))
    casts = cast_job(job, sampling=make.few)
    other = make.read(make.room(source=[make.mast()], opening=[make.window()]))
    with pytest.raises(StaleCastError):
        floor_levels(
            job=other, casts=casts, plan=other.plan("as-built"), receiver=other.receivers[0]
        )
