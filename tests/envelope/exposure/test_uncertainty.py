"""The 10–90 % band: planted tolerances come out again, and every plan gets the same draws."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.exposure.analysis import analyze, analyze_plan, bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.tolerances import DRAWS, draw

MANY = 1000  # a tenth percentile is then good to a quarter of a decibel


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, few):
    return SimpleNamespace(
        room=room_plain, window=window_plain, mast=mast_plain, read=read_job, few=few
    )


def bands_db(job, few, *, plan: int = 0, count: int = MANY) -> list[tuple[float, float]]:
    """Low and high of each source over its level, then of all together. [dB]"""
    casts = cast_job(job, sampling=few)
    result = analyze_plan(
        bench=bench_of(job, casts), plan=job.plans[plan], casts=casts, draws=draw(job, count=count)
    )
    (receiver,) = result.receivers
    rows = [*receiver.sources, receiver]
    return [
        tuple(10 * math.log10(limit / row.level_w_m2) for limit in (row.low_w_m2, row.high_w_m2))
        for row in rows
    ]


def walls(make, **changes):
    """A room whose walls send nothing back: all that arrives comes straight through a wall."""
    plain = make.room(
        assembly=[
            {"id": "wall", "loss": "6 dB", "reflects": 0.0, "loss-tolerance": "0 dB"},
            {"id": "pane", "loss": "1 dB", "reflects": 0.0, "loss-tolerance": "0 dB"},
        ],
        receiver=[{"id": "bed", "space": "room", "at": "1.6, 1.1, 1.4 m"}],
        source=[make.mast()],
    )
    return {**plain, **changes}


class TestPlantedTolerances:
    @pytest.mark.parametrize("level_db", [0.0, 3.0, 12.0])
    def test_level_and_model_add_in_squares(self, make, level_db):
        source = make.mast(**{"level-tolerance": f"{level_db} dB"})
        one, both = bands_db(make.read(walls(make, source=[source])), make.few, count=DRAWS)
        expected = math.hypot(5.0, level_db)
        assert one == pytest.approx((-expected, expected), abs=0.1)
        assert both == pytest.approx(one, abs=1e-12)

    def test_a_coats_resistance_is_good_to_thirty_percent(self, make):
        plain = walls(
            make,
            assembly=[
                {"id": "wall", "layers": [{"sheet-resistance": "5 ohm/sq"}]},
                {"id": "pane", "loss": "1 dB"},
            ],
            source=[make.mast(**{"level-tolerance": "0 dB"})],
        )
        plain["space"] = [{**plain["space"][0], "furnishing": "1000 m2"}]  # no diffuse part
        (low, high), _ = bands_db(make.read(plain), make.few)

        def loss_db(ohm: float) -> float:
            return 20 * math.log10(1 + 376.730313412 / (2 * ohm))

        less = loss_db(5 / 1.3) - loss_db(5.0)  # what 30 % less resistance brings
        expected = math.hypot(5.0, less)
        assert less == pytest.approx(2.2, abs=0.1)
        assert (-low, high) == pytest.approx((expected, expected), rel=0.08)

    @pytest.mark.parametrize(("tolerance", "half_db"), [(None, 2.0), ("4 dB", 4.0)])
    @pytest.mark.parametrize("kind", ["loss", "entry-loss", "fixed"])
    def test_a_stated_loss_is_good_to_two_decibels_or_what_is_said(
        self, make, kind, tolerance, half_db
    ):
        said = {} if tolerance is None else {"loss-tolerance": tolerance}
        exact = {"loss-tolerance": "0 dB"}
        wall = {"id": "wall", "loss": "0 dB", "reflects": 0.0, **exact}
        if kind == "loss":
            wall = {"id": "wall", "loss": "20 dB", "reflects": 0.0, **said}
        elif kind == "entry-loss":
            wall = {"id": "wall", "entry-loss": "coated-glass", **said}
        plain = walls(
            make,
            assembly=[wall, {"id": "pane", "loss": "1 dB"}],
            treatment=[{"id": "t", "kind": "fixed", "loss": "20 dB", "reflects": 0.0, **said}],
            plan=[{"id": "p", "treat": [{"on": "room/*", "with": ["t"]}]}],
            source=[make.mast(**{"level-tolerance": "0 dB"})],
        )
        plain["space"] = [{**plain["space"][0], "furnishing": "1000 m2"}]  # no diffuse part
        found, _ = bands_db(make.read(plain), make.few, plan=int(kind == "fixed"), count=DRAWS)
        expected = math.hypot(5.0, half_db)
        assert found == pytest.approx((-expected, expected), abs=0.1)

    def test_two_products_on_the_way_are_independent(self, make):
        """4 dB each: √(25 + 16 + 16), where one that moved both alike would give √(25 + 64)."""
        wall = {"id": "wall", "loss": "20 dB", "reflects": 0.0, "loss-tolerance": "4 dB"}
        plain = walls(
            make,
            assembly=[wall, {"id": "pane", "loss": "1 dB"}],
            treatment=[{"id": "t", "kind": "fixed", "loss": "20 dB", "reflects": 0.0,
                        "loss-tolerance": "4 dB"}],
            plan=[{"id": "p", "treat": [{"on": "room/*", "with": ["t"]}]}],
            source=[make.mast(**{"level-tolerance": "0 dB"})],
        )  # fmt: skip
        plain["space"] = [{**plain["space"][0], "furnishing": "1000 m2"}]
        found, _ = bands_db(make.read(plain), make.few, plan=1, count=DRAWS)
        expected = math.sqrt(25.0 + 16.0 + 16.0)
        assert found == pytest.approx((-expected, expected), abs=0.4)

    def test_at_a_beams_edge_the_direction_counts_most(self, make):
        def width(at: str, tolerance: str = "5 deg") -> float:
            plain = walls(
                make,
                assembly=[
                    {"id": "wall", "loss": "40 dB", "reflects": 0.0},
                    {"id": "pane", "loss": "0 dB"},
                ],
                opening=[make.window()],
                receiver=[{"id": "bed", "space": "room", "at": at}],
                source=[make.mast(spread="2 deg", **{"direction-tolerance": tolerance})],
            )
            (low, high), _ = bands_db(make.read(plain), make.few, count=600)
            return high - low

        middle, edge = width("1.75, 1.1, 1.5 m"), width("2.45, 1.1, 1.5 m")
        assert middle == pytest.approx(2 * math.hypot(5.0, 3.0), rel=0.1)
        assert edge > middle + 15.0
        assert width("2.40, 1.1, 1.5 m", "0.1 deg") < middle + 2.0

    def test_a_slot_carries_its_bracket(self, make):
        door = {
            "id": "D1",
            "on": "room/1",
            "kind": "door",
            "at": "1.55 m",
            "size": "0.1 m x 2 m",
            "undercut": "8 mm",
        }
        plain = walls(
            make,
            assembly=[
                {"id": "wall", "loss": "200 dB", "reflects": 0.0},
                {"id": "pane", "loss": "200 dB", "reflects": 0.0},
            ],
            opening=[door],
            receiver=[{"id": "bed", "space": "room", "at": "1.6, 1.1, 0.004 m"}],
            source=[make.mast(spread="0.01 deg", **{"direction-tolerance": "0.01 deg"})],
        )
        slot, _ = bands_db(make.read(plain), make.few)
        plain["opening"] = [{**door, "undercut": "0 mm", "state": "open"}]
        bare, _ = bands_db(make.read(plain), make.few)
        assert slot[1] - slot[0] > bare[1] - bare[0] + 0.5


class TestTogether:
    def test_two_sources_vary_less_than_one_of_them_by_its_level(self, make):
        source = {"level-tolerance": "10 dB"}
        plain = walls(make, source=[make.mast(**source), make.mast(id="other", **source)])
        one, two, both = bands_db(make.read(plain), make.few)
        # the two together: less apart than either, never less than the model's own error
        assert one == pytest.approx(two, abs=1.5)
        assert 2 * 5.0 < both[1] - both[0] < one[1] - one[0] - 1.0

    def test_every_plan_gets_the_same_draws(self, make):
        plain = walls(
            make,
            treatment=[
                {
                    "id": "a",
                    "kind": "fixed",
                    "loss": "7 dB",
                    "reflects": 0.0,
                    "loss-tolerance": "0 dB",
                }
            ],
            plan=[{"id": "p", "treat": [{"on": "room/*", "with": ["a"]}]}],
            source=[make.mast(scattered=0.2)],
        )
        job = make.read(plain)
        before, after = (bands_db(job, make.few, plan=k, count=200) for k in (0, 1))
        for one, two in zip(before, after, strict=True):
            assert one == pytest.approx(two, abs=1e-9)

    def test_the_first_draw_is_the_nominal_one_and_the_seed_is_kept(self, make):
        job = make.read(walls(make))
        one, two = draw(job), draw(job)
        assert one.count == DRAWS + 1
        assert one.occupant_m2[0] == 0.30  # of an adult, as the level has it
        assert np.median(one.occupant_m2[1:]) == pytest.approx(0.30, abs=1e-3)
        assert one.level[0, 0] == 1.0
        assert not one.aside[:, 0].any()
        assert np.array_equal(one.level, two.level)
        wall = "assembly wall"
        assert np.array_equal(one.tolerances.thickness(wall), two.tolerances.thickness(wall))
        other = draw(job, seed=1)
        assert other.level[0, 1] != one.level[0, 1]
        assert other.tolerances.thickness(wall)[1] != one.tolerances.thickness(wall)[1]

    def test_the_band_spans_the_level_in_a_room_with_everything(self, make):
        plain = make.room(
            assembly=[
                {"id": "wall", "layers": [
                    {"material": "plasterboard", "thickness": "12.5 mm"},
                    {"material": "air", "thickness": "90 mm"},
                    {"material": "brick", "thickness": "102 mm"}]},
                {"id": "pane", "layers": [{"material": "glass", "thickness": "6 mm"}]},
            ],
            opening=[make.window(reveal="0.1 m")],
            treatment=[{"id": "coat", "kind": "sheet", "sheet-resistance": "6 ohm/sq"}],
            source=[make.mast(azimuth="200 deg", elevation="10 deg", spread="5 deg",
                              scattered=0.2, band="1805-1880 MHz"),
                    {"id": "meter", "at": "2, -6, 1 m", "band": "868 MHz", "eirp": "14 dBm"}],
            plan=[{"id": "p", "treat": [{"on": "room/walls", "with": ["coat"]}]}],
        )  # fmt: skip
        job = make.read(plain)
        casts = cast_job(job, sampling=make.few)
        for plan in analyze(job=job, casts=casts, with_bands=True).plans:
            (receiver,) = plan.receivers
            for row in (*receiver.sources, receiver):
                assert row.low_w_m2 < row.level_w_m2 < row.high_w_m2
                # the middle of the band lies near what was computed
                middle = math.sqrt(row.low_w_m2 * row.high_w_m2)
                assert abs(10 * math.log10(middle / row.level_w_m2)) < 3.0

    def test_one_bench_serves_any_number_of_draws(self, make):
        job = make.read(walls(make, source=[make.mast(scattered=0.3)]))
        casts = cast_job(job, sampling=make.few)
        bench = bench_of(job, casts)
        lows = [
            analyze_plan(
                bench=bench, plan=job.plans[0], casts=casts, draws=draw(job, count=count)
            ).receivers[0].low_w_m2
            for count in (50, 400, 50)
        ]  # fmt: skip
        assert lows[0] == lows[2] != lows[1]
