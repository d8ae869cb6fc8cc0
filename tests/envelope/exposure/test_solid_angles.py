"""Solid angles of a receiver: closed forms, conventions, and what sealing a panel brings."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.building.job import LossCurve, Plan, Treatment
from envelope.errors import StaleCastError
from envelope.exposure.analysis import analyze, analyze_plan, bench_of
from envelope.exposure.casts import cast_job, points_of
from envelope.rays import Sampling, cast_directions

L_ROOM = "0,0  4,0  4,1.6  2.4,1.6  2.4,3  0,3 m"


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job, open_sky):
    return SimpleNamespace(
        room=room_plain,
        window=window_plain,
        mast=mast_plain,
        read=read_job,
        analyzed=analyzed_job,
        sky=open_sky,
    )


def corner_sr(a: float, b: float, d: float) -> float:
    """A rectangle a × b seen from d over one of its corners (textbook)."""
    return math.atan(a * b / (d * math.sqrt(a * a + b * b + d * d)))


def rectangle_sr(a0: float, a1: float, b0: float, b1: float, d: float) -> float:
    """A rectangle given by its edges' distances from the foot of the perpendicular, signed."""
    return corner_sr(a1, b1, d) - corner_sr(a0, b1, d) - corner_sr(a1, b0, d) + corner_sr(a0, b0, d)


def triangle_sr(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> float:
    """A. Van Oosterom, J. Strackee, IEEE Trans. Biomed. Eng. 30(2), 1983 (from memory)."""
    x, y, z = (float(np.linalg.norm(v)) for v in (a, b, c))
    below = x * y * z + (a @ b) * z + (a @ c) * y + (b @ c) * x
    return 2.0 * math.atan2(abs(float(a @ np.cross(b, c))), float(below))


def only(analysis, plan: int = 0, receiver: int = 0):
    return analysis.plans[plan].receivers[receiver]


CONVEX = {
    "box": {"size": "4 m x 3 m"},
    "flat box": {"size": "9 m x 0.8 m"},
    "triangle": {"footprint": "0,0  5,0  0.4,4 m"},
    "hexagon": {"footprint": "0,0  2,-1  4,0  4,2  2,3  0,2 m"},
}
BENT = {
    "L": ((0, 0), (4, 0), (4, 1.6), (2.4, 1.6), (2.4, 3), (0, 3)),
    "U": ((0, 0), (5, 0), (5, 3), (3.5, 3), (3.5, 1.4), (1.5, 1.4), (1.5, 3), (0, 3)),
}


def walls_crossed(
    corners: tuple[tuple[float, float], ...], height: float, eye: np.ndarray, ways: np.ndarray
) -> np.ndarray:
    """How many faces of a room, walls and caps, each ray crosses; nothing but plane geometry."""
    count = np.zeros(len(ways), dtype=int)
    ring = np.array(corners, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
            edge = b - a
            det = ways[:, 0] * -edge[1] + ways[:, 1] * edge[0]
            off = a - eye[:2]
            t = (off[0] * -edge[1] + off[1] * edge[0]) / det
            along = (ways[:, 0] * off[1] - ways[:, 1] * off[0]) / det
            z = eye[2] + t * ways[:, 2]
            count += (t > 0) & (along >= 0) & (along < 1) & (z > 0) & (z < height)
        for level in (0.0, height):
            t = (level - eye[2]) / ways[:, 2]
            x, y = (eye[k] + t * ways[:, k] for k in range(2))
            inside = np.zeros(len(ways), dtype=bool)
            for (ax, ay), (bx, by) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
                crosses = (ay > y) != (by > y)
                inside ^= crosses & (x < ax + (y - ay) * (bx - ax) / (by - ay))
            count += (t > 0) & inside
    return count


class TestThreeDecibelsOnEverything:
    @pytest.mark.parametrize("raised", [False, True])
    @pytest.mark.parametrize("shape", CONVEX)
    def test_a_convex_space_has_three_decibels_at_any_receiver(self, make, shape, raised):
        plain = make.room(
            assembly=[{"id": "wall", "loss": "3 dB"}, {"id": "pane", "loss": "3 dB"}],
            construction={**make.room()["construction"], "skylight": "pane"},
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "height": "2.4 m",
                    "raised": raised,
                    **CONVEX[shape],
                }
            ],
            site={"grade": "-0.4 m", "reach": "3 m"},
            opening=[
                make.window(at="0.4 m", size="1 m x 1.2 m"),
                {
                    "id": "W2",
                    "on": "room/ceiling",
                    "kind": "skylight",
                    "at": "0.8, 0.45 m",
                    "size": "0.5 m x 0.3 m",
                },
            ],
            receiver=[
                {"id": "bed", "space": "room", "at": "0.6, 0.5, 0.7 m"},
                {"id": "corner", "space": "room", "at": "0.3, 0.02, 2.39 m"},
                {
                    "id": "box",
                    "space": "room",
                    "at": "0.8, 0.35, 0.6 m",
                    "size": "0.6 m x 0.4 m x 0.3 m",
                },
            ],
        )
        for receiver in make.analyzed(make.read(plain)).plans[0].receivers:
            (band,) = receiver.bands
            straight = receiver.exposed_solid_angle_sr / band.open_equivalent_solid_angle_sr
            assert 10.0 * math.log10(straight) == pytest.approx(3.0, abs=1e-12)
            for leak in receiver.panels:
                if leak.solid_angle_sr > 0.0:
                    assert leak.loss_db == pytest.approx(3.0, abs=1e-12)

    @pytest.mark.parametrize("shape", BENT)
    def test_a_bent_space_has_three_for_each_wall_that_a_ray_goes_through(self, make, shape):
        """A ray that leaves one wing and passes the other has crossed three walls, not one."""
        plain = make.room(
            assembly=[{"id": "wall", "loss": "3 dB"}, {"id": "pane", "loss": "3 dB"}],
            site=make.sky,
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "height": "2.4 m",
                    "raised": True,
                    "footprint": "  ".join(f"{x},{y}" for x, y in BENT[shape]) + " m",
                }
            ],
            receiver=[{"id": "bed", "space": "room", "at": "3.6, 0.4, 0.7 m"}],
        )
        job = make.read(plain)
        found = only(analyze(job=job, casts=cast_job(job, sampling=Sampling(points=2**15)))).bands[
            0
        ]
        random = np.random.default_rng(4)
        up = random.uniform(-1.0, 1.0, 400_000)
        turn = random.uniform(0.0, 2 * np.pi, len(up))
        flat = np.sqrt(1.0 - up**2)
        ways = np.column_stack((flat * np.cos(turn), flat * np.sin(turn), up))
        crossed = walls_crossed(BENT[shape], 2.4, np.array([3.6, 0.4, 0.7]), ways)
        assert set(np.unique(crossed)) <= {1, 3, 5}
        assert (crossed > 1).mean() > 0.005
        passed = 10.0 ** (-0.3 * crossed)
        scatter = float(passed.std() / np.sqrt(len(passed)))
        assert found.open_equivalent_solid_angle_sr / (4 * math.pi) == pytest.approx(
            passed.mean(), abs=4 * scatter + 1e-4
        )

    @pytest.mark.parametrize("added_db", [3.0, 12.5, 47.0])
    def test_a_plan_that_treats_all_alike_lowers_all_by_its_loss(self, make, added_db):
        plain = make.room(
            assembly=[
                {"id": "wall", "loss": "5.5 dB"},
                {"id": "pane", "loss": "1.25 dB"},
                {"id": "roof", "loss": "2 dB"},
            ],
            construction={**make.room()["construction"], "roof": "roof"},
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "height": "2.4 m",
                    "size": "4 m x 3 m",
                    "raised": True,
                }
            ],
            site={"grade": "-2 m"},
            opening=[make.window()],
            treatment=[{"id": "t", "kind": "fixed", "loss": f"{added_db} dB"}],
            source=[make.mast(spread="20 deg", scattered=0.3, elevation="10 deg")],
            plan=[{"id": "all", "treat": [{"on": "room/*", "with": ["t"]}]}],
        )
        analysis = make.analyzed(make.read(plain))
        before, after = only(analysis), only(analysis, plan=1)
        for old, new in zip(before.bands, after.bands, strict=True):
            less = old.open_equivalent_solid_angle_sr / new.open_equivalent_solid_angle_sr
            assert 10.0 * math.log10(less) == pytest.approx(added_db, abs=1e-9)
        assert 10 * math.log10(
            before.sources[0].direct_w_m2 / after.sources[0].direct_w_m2
        ) == pytest.approx(added_db, abs=1e-9)


class TestClosedForms:
    def test_a_window_in_an_opaque_room_lets_in_its_solid_angle_times_its_transmission(self, make):
        found = only(make.analyzed(make.read(make.room(opening=[make.window()]))))
        expected = rectangle_sr(1.0 - 1.3, 2.5 - 1.3, 0.9 - 0.7, 2.1 - 0.7, 1.1)
        (band,) = found.bands
        assert band.open_equivalent_solid_angle_sr == pytest.approx(expected * 10**-0.3, abs=1e-9)
        assert band.unshielded_solid_angle_sr == pytest.approx(expected, abs=1e-9)
        (gap,) = found.gaps
        assert gap.panel == "room/W1"
        assert gap.solid_angle_sr == pytest.approx(expected, abs=1e-9)
        assert gap.loss_db == pytest.approx(3.0, abs=1e-9)
        assert gap.share == pytest.approx(1.0, abs=1e-12)
        assert gap.area_m2 == pytest.approx(1.8, abs=1e-12)

    def test_the_same_by_triangles(self, make):
        eye = np.array([1.3, 1.1, 0.7])
        a, b, c, d = (
            np.array(corner) - eye
            for corner in ((1.0, 0, 0.9), (2.5, 0, 0.9), (2.5, 0, 2.1), (1.0, 0, 2.1))
        )
        found = only(make.analyzed(make.read(make.room(opening=[make.window()]))))
        assert found.gaps[0].solid_angle_sr == pytest.approx(
            triangle_sr(a, b, c) + triangle_sr(a, c, d), abs=1e-9
        )

    @pytest.mark.parametrize(("loss", "counts"), [("19.9 dB", True), ("20 dB", False)])
    def test_a_direction_of_the_thresholds_own_loss_is_shielded(self, make, loss, counts):
        assemblies = [{"id": "wall", "loss": "200 dB"}, {"id": "pane", "loss": loss}]
        found = only(
            make.analyzed(make.read(make.room(opening=[make.window()], assembly=assemblies)))
        )
        assert (found.bands[0].unshielded_solid_angle_sr > 0.1) is counts
        assert bool(found.gaps) is counts

    def test_another_threshold(self, make):
        job = make.read(make.room(opening=[make.window()]))
        assert only(make.analyzed(job, threshold_db=3.0)).gaps == ()
        assert len(only(make.analyzed(job, threshold_db=3.1)).gaps) == 1

    def test_a_box_stands_as_the_mean_of_its_points_and_names_the_worst(self, make):
        box = {
            "id": "bed",
            "space": "room",
            "at": "1.3, 1.1, 0.6 m",
            "size": "0.9 m x 1.2 m x 0.2 m",
        }
        job = make.read(make.room(opening=[make.window()], receiver=[box]))
        found = only(make.analyzed(job))
        points = points_of(job.receivers[0])
        assert len(points) == found.points == 2 * 3
        seen = [
            rectangle_sr(1.0 - x, 2.5 - x, 0.9 - z, 2.1 - z, y) * 10**-0.3 for x, y, z in points
        ]
        (band,) = found.bands
        assert band.open_equivalent_solid_angle_sr == pytest.approx(np.mean(seen), abs=1e-9)
        assert found.worst is not None
        assert found.worst.open_equivalent_solid_angle_sr == pytest.approx(max(seen), abs=1e-9)
        assert tuple(found.worst.position_m) == tuple(points[int(np.argmax(seen))])


class TestExposedDirections:
    def test_on_a_slab_all_but_the_floor_is_exposed(self, make):
        found = only(make.analyzed(make.read(make.room(site={"reach": "0 m"}))))
        floor = rectangle_sr(-1.3, 2.7, -1.1, 1.9, 0.7)
        assert found.exposed_solid_angle_sr == pytest.approx(4 * math.pi - floor, abs=1e-9)
        # every wall spans the horizon: its part above it is sampled
        assert found.exposed_above_horizon_sr == pytest.approx(2 * math.pi, abs=2e-2)

    @pytest.mark.parametrize(("reach_m", "floor_m"), [(3.0, 2.75), (0.5, 1.0), (8.0, 2.0)])
    def test_the_ground_blocks_within_its_reach(self, make, reach_m, floor_m):
        """By azimuth: a ray of slope s leaves by a wall at distance d or by the floor below."""
        plain = make.room(
            site={"reach": f"{reach_m} m"},
            storey=[{"id": "ground", "floor": f"{floor_m} m"}],
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "size": "4 m x 3 m",
                    "height": "2.4 m",
                    "raised": True,
                }
            ],
        )
        job = make.read(plain)
        crossings = cast_directions(
            job.building,
            space="room",
            position_m=job.receivers[0].position_m,
            sampling=Sampling(),
        )
        found = float(crossings.solid_angle_sr[crossings.sky > 0].sum())
        x, y, above_floor = 1.3, 1.1, 0.7
        height = floor_m + above_floor
        turn = 2 * math.pi * (np.arange(200_000) + 0.5) / 200_000
        with np.errstate(divide="ignore"):
            to_wall = np.minimum(
                np.where(np.cos(turn) > 0, (4 - x) / np.cos(turn), -x / np.cos(turn)),
                np.where(np.sin(turn) > 0, (3 - y) / np.sin(turn), -y / np.sin(turn)),
            )
        at_foot = above_floor / to_wall  # slope down to the wall's foot
        by_wall = np.minimum(height / (to_wall + reach_m), at_foot)
        steepest = floor_m / reach_m

        def down_to(slope: np.ndarray) -> np.ndarray:
            return slope / np.hypot(1.0, slope)  # ∫cos of the angle below the horizon

        by_floor = np.maximum(down_to(np.full_like(at_foot, steepest)) - down_to(at_foot), 0.0)
        expected = 2 * math.pi + 2 * math.pi * float(np.mean(down_to(by_wall) + by_floor))
        assert found == pytest.approx(expected, abs=2e-3)  # 2e-4 of the sphere

    def test_a_cellar_has_nothing_exposed_and_nothing_breaks(self, make):
        plain = make.room(
            storey=[{"id": "ground", "floor": "-5 m"}],
            panel=[{"on": "room/*", "behind": "earth"}],
        )
        found = only(make.analyzed(make.read(plain)))
        assert found.exposed_solid_angle_sr == 0.0
        assert found.bands[0].open_equivalent_solid_angle_sr == 0.0
        assert not any(leak.share or leak.solid_angle_sr for leak in found.panels)
        assert not found.gaps
        assert found.standard_error == 0.0


def closet_house(make):
    """A bedroom with a window in a reveal, a closet behind a bare opening, a hall behind a door."""
    return make.room(
        site={"grade": "-2 m", "reach": "1 m"},
        construction={**make.room()["construction"], "interior-wall": "stud"},
        assembly=[
            {"id": "wall", "loss": "7 dB"},
            {"id": "stud", "loss": "2.5 dB"},
            {"id": "pane", "loss": "1 dB"},
        ],
        space=[
            {"id": "room", "storey": "ground", "height": "2.4 m", "footprint": L_ROOM},
            {
                "id": "closet",
                "storey": "ground",
                "height": "2.4 m",
                "origin": "2.5, 1.7 m",
                "size": "1.5 m x 1.3 m",
            },
            {
                "id": "hall",
                "storey": "ground",
                "height": "2.4 m",
                "origin": "0, 3.1 m",
                "size": "4 m x 1.5 m",
            },
        ],
        opening=[
            make.window(reveal="0.2 m"),
            {
                "id": "C1",
                "on": "room/4",
                "kind": "open",
                "at": "0.2 m",
                "size": "0.9 m x 2.1 m",
            },
            {"id": "D1", "on": "room/5", "kind": "door", "at": "0.4 m", "size": "0.8 m x 2 m"},
            make.window(id="W2", on="hall/north", reveal="0.1 m"),
        ],
    )


class TestPanels:
    def test_shares_add_up_and_no_panel_is_counted_twice(self, make):
        found = only(make.analyzed(make.read(closet_house(make))))
        (band,) = found.bands
        assert sum(leak.share for leak in found.panels) == pytest.approx(1.0, abs=1e-12)
        assert sum(leak.solid_angle_sr for leak in found.panels) == pytest.approx(
            found.exposed_solid_angle_sr, abs=1e-12
        )
        assert sum(leak.open_equivalent_solid_angle_sr for leak in found.panels) == pytest.approx(
            band.open_equivalent_solid_angle_sr, abs=1e-12
        )
        ids = [leak.panel for leak in found.panels]
        assert len(ids) == len(set(ids))
        # a bare opening passes the attribution on to the space behind it
        assert any(name.startswith("closet/") for name in ids)

    def test_sealing_the_only_gap_leaves_nothing(self, make):
        found = only(make.analyzed(make.read(make.room(opening=[make.window()]))))
        assert found.gaps[0].below_if_treated_db > 150.0

    def test_sealing_is_what_an_opaque_treatment_on_the_panel_gives(self, make):
        """Every panel in turn is made opaque and everything is worked out again."""
        plain = closet_house(make)
        job = make.read(plain)
        tight = Treatment(
            id="tight",
            kind="fixed",
            loss=LossCurve(frequencies_hz=(), losses_db=(280.0,)),
            reflects=1.0,
        )
        job = replace(job, treatments={"tight": tight})
        casts = cast_job(job, sampling=Sampling(points_per_panel=2**8, points=2**10))
        bench = bench_of(job, casts)
        found = analyze_plan(bench=bench, plan=job.plans[0], casts=casts).receivers[0]
        assert len(found.panels) > 12
        for leak in found.panels:
            sealed = Plan(id="sealed", treatments={leak.panel: ("tight",)})
            again = analyze_plan(bench=bench, plan=sealed, casts=casts).receivers[0]
            assert leak.level_if_treated_w_m2 == pytest.approx(
                again.bands[0].isotropic_level, rel=1e-9
            ), leak.panel


class TestCastAgain:
    def test_a_changed_treatment_on_old_casts_is_exactly_what_new_casts_give(self, make, few):
        plain = closet_house(make)
        plain["source"] = [make.mast(spread="6 deg", elevation="12 deg", scattered=0.2)]
        plain["treatment"] = [{"id": "film", "kind": "fixed", "loss": "11 dB"}]
        plain["plan"] = [{"id": "p", "treat": [{"on": "room/W1", "with": ["film"]}]}]
        first = make.read(plain)
        casts = cast_job(first, sampling=few)
        plain["treatment"] = [{"id": "film", "kind": "sheet", "sheet-resistance": "8 ohm/sq"}]
        second = make.read(plain)
        fresh = analyze(job=second, casts=cast_job(second, sampling=few))
        old = analyze(job=second, casts=casts)
        for before, after in zip(old.plans, fresh.plans, strict=True):
            for one, two in zip(before.receivers, after.receivers, strict=True):
                assert one.bands == two.bands
                assert one.panels == two.panels
                assert [s.level_w_m2 for s in one.sources] == [s.level_w_m2 for s in two.sources]

    def test_casts_of_another_geometry_are_refused(self, make, few):
        casts = cast_job(make.read(make.room()), sampling=few)
        other = make.read(make.room(opening=[make.window()]))
        with pytest.raises(StaleCastError, match="another geometry"):
            analyze(job=other, casts=casts)

    def test_one_bench_serves_casts_of_different_samplings(self, make, few):
        job = make.read(closet_house(make))
        casts = cast_job(job, sampling=few)
        finer = cast_job(job, sampling=Sampling(points_per_panel=2**10, points=2**12))
        bench = bench_of(job, casts)
        analyze_plan(bench=bench, plan=job.plans[0], casts=casts)
        kept = analyze_plan(bench=bench, plan=job.plans[0], casts=finer)
        alone = analyze_plan(bench=bench_of(job, finer), plan=job.plans[0], casts=finer)
        assert kept.receivers[0].panels == alone.receivers[0].panels
