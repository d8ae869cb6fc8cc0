"""Sources: what comes straight in, worked out by hand, and what of a room they light."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.exposure.beams import polarization_weights
from envelope.exposure.casts import cast_job, direction_of


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job, open_sky, few):
    return SimpleNamespace(
        room=room_plain,
        window=window_plain,
        mast=mast_plain,
        read=read_job,
        analyzed=analyzed_job,
        sky=open_sky,
        few=few,
    )


def source_of(analysis, plan: int = 0, receiver: int = 0, source: int = 0):
    return analysis.plans[plan].receivers[receiver].sources[source]


IN_BEAM = "1.6, 1.1, 1.4 m"
BESIDE = "3.4, 1.1, 1.4 m"


class TestDirections:
    def test_in_the_beam_stands_the_level_outside_times_the_panes_transmission(self, make):
        plain = make.room(
            assembly=[{"id": "wall", "loss": "17 dB"}, {"id": "pane", "loss": "4 dB"}],
            opening=[make.window()],
            receiver=[
                {"id": "a", "space": "room", "at": IN_BEAM},
                {"id": "b", "space": "room", "at": BESIDE},
            ],
            source=[make.mast()],
        )
        analysis = make.analyzed(make.read(plain))
        inside, beside = source_of(analysis), source_of(analysis, receiver=1)
        assert inside.direct_w_m2 == pytest.approx(1e-3 * 10**-0.4, rel=1e-12)
        assert beside.direct_w_m2 == pytest.approx(1e-3 * 10**-1.7, rel=1e-12)
        assert inside.outside_w_m2 == beside.outside_w_m2 == pytest.approx(1e-3, rel=1e-12)
        assert inside.diffuse_w_m2 == beside.diffuse_w_m2  # one room, one diffuse field
        assert inside.level_w_m2 == inside.direct_w_m2 + inside.diffuse_w_m2
        assert inside.reduction_db == pytest.approx(
            10 * math.log10(inside.outside_w_m2 / inside.level_w_m2), abs=1e-12
        )
        assert inside.paths[0].panel == "room/W1"
        assert inside.paths[0].share == pytest.approx(1.0, abs=1e-12)
        assert inside.paths[0].level_w_m2 == pytest.approx(inside.direct_w_m2, rel=1e-12)
        assert beside.paths[0].panel == "room/1"
        assert beside.paths[0].loss_db == pytest.approx(17.0, abs=1e-9)
        assert beside.paths[0].is_gap  # 17 dB is below the threshold of 20 dB

    def test_a_cone_half_on_the_window_brings_the_mean_of_both(self, make):
        """The plane x = 1 m through the window's edge halves the cone."""
        plain = make.room(
            assembly=[{"id": "wall", "loss": "30 dB"}, {"id": "pane", "loss": "0 dB"}],
            opening=[make.window()],
            receiver=[{"id": "a", "space": "room", "at": "1.0, 1.1, 1.5 m"}],
            source=[make.mast(spread="8 deg")],
        )
        found = source_of(make.analyzed(make.read(plain)))
        assert found.direct_w_m2 == pytest.approx(1e-3 * 0.5 * (1.0 + 1e-3), rel=2e-3)
        whole = 2 * math.pi * (1 - math.cos(math.radians(8)))
        assert found.unshielded_solid_angle_sr == pytest.approx(whole / 2, rel=2e-3)

    @pytest.mark.parametrize(
        ("north", "azimuth", "through"),
        [
            ("0 deg", "180 deg", "room/1"),
            ("15 deg", "195 deg", "room/1"),  # project south is true 195°
            ("-20 deg", "160 deg", "room/1"),
            ("0 deg", "90 deg", "room/2"),
            ("90 deg", "90 deg", "room/3"),  # +y points east
            ("0 deg", "0 deg", "room/3"),
            ("0 deg", "270 deg", "room/4"),
        ],
    )
    def test_azimuths_are_true(self, make, north, azimuth, through):
        plain = make.room(
            site={"north": north, "reach": "0 m"},
            assembly=[{"id": "wall", "loss": "6 dB"}, {"id": "pane", "loss": "0 dB"}],
            source=[make.mast(azimuth=azimuth)],
        )
        job = make.read(plain)
        found = source_of(make.analyzed(job))
        assert found.paths[0].panel == through
        assert found.paths[0].share == pytest.approx(1.0, abs=1e-12)
        (wall,) = [p for p in job.building.panels if p.id == through]
        assert direction_of(job.sources[0], job.building) == pytest.approx(-wall.normal, abs=1e-12)

    def test_lit_areas_are_projected_along_the_direction(self, make):
        """From azimuth 150°, elevation 40°: south and east walls and the roof."""
        plain = make.room(
            assembly=[{"id": "wall", "loss": "40 dB"}, {"id": "pane", "loss": "3 dB"}],
            opening=[make.window()],
            source=[make.mast(azimuth="150 deg", elevation="40 deg")],
        )
        found = source_of(make.analyzed(make.read(plain)))
        up, flat = math.sin(math.radians(40)), math.cos(math.radians(40))
        south, east = flat * math.cos(math.radians(30)), flat * math.sin(math.radians(30))
        assert found.lit_area_m2 == pytest.approx(
            4 * 2.4 * south + 3 * 2.4 * east + 4 * 3 * up, rel=1e-12
        )
        assert found.unshielded_area_m2 == pytest.approx(1.5 * 1.2 * south, rel=1e-12)
        by_panel = {path.panel: path for path in found.paths}
        assert by_panel["room/W1"].lit_area_m2 == pytest.approx(1.8 * south, rel=1e-12)
        assert by_panel["room/1"].lit_area_m2 == pytest.approx((9.6 - 1.8) * south, rel=1e-12)
        assert by_panel["room/ceiling"].lit_area_m2 == pytest.approx(12 * up, rel=1e-12)
        assert [path.panel for path in found.paths if path.is_gap] == ["room/W1"]
        assert by_panel["room/W1"].loss_db == pytest.approx(3.0, abs=1e-12)

    def test_a_blocked_source_brings_nothing(self, make):
        plain = make.room(
            site={"reach": "3 m"},
            assembly=[{"id": "wall", "loss": "3 dB"}, {"id": "pane", "loss": "0 dB"}],
            panel=[{"on": "room/1", "behind": "earth"}, {"on": "room/3", "behind": "earth"}],
            source=[make.mast(), make.mast(id="below", azimuth="0 deg", elevation="-60 deg")],
        )
        found = make.analyzed(make.read(plain), with_bands=True).plans[0].receivers[0]
        for source in found.sources:
            assert source.low_w_m2 == source.high_w_m2 == 0.0
            assert source.direct_w_m2 == source.diffuse_w_m2 == 0.0
            assert source.lit_area_m2 == source.unshielded_area_m2 == 0.0
            assert source.reduction_db == math.inf
            assert source.below_as_built_db == 0.0

    def test_a_mast_in_the_valley_comes_in_from_below_the_horizon(self, make):
        """At −20° the ground is met 0.8 m and more away, beyond its reach."""
        plain = make.room(
            site={"grade": "-0.3 m", "reach": "0.5 m"},
            assembly=[
                {"id": "wall", "loss": "6 dB", "reflects": 0.5},
                {"id": "pane", "loss": "0 dB"},
            ],
            space=[{**make.room()["space"][0], "raised": True}],
            receiver=[{"id": "a", "space": "room", "at": IN_BEAM}],
            source=[make.mast(elevation="-20 deg"), make.mast(id="above", elevation="20 deg")],
        )
        below, above = make.analyzed(make.read(plain)).plans[0].receivers[0].sources
        assert below.direct_w_m2 == pytest.approx(1e-3 * 10**-0.6, rel=1e-12)
        assert below.lit_area_m2 == pytest.approx(above.lit_area_m2, rel=1e-9)  # floor for roof
        assert below.diffuse_w_m2 == pytest.approx(above.diffuse_w_m2, rel=0.02)

    @pytest.mark.parametrize("reach", ["0 m", "3 m", "50 m"])
    def test_the_grounds_reach_takes_nothing_from_a_source_that_is_stated(self, make, reach):
        """At −40° the ground is met within reach: straight, lit, diffuse and landing all agree."""
        plain = make.room(
            site={"grade": "-2 m", "reach": reach},
            assembly=[
                {"id": "wall", "loss": "6 dB", "reflects": 0.4},
                {"id": "pane", "loss": "0 dB"},
            ],
            space=[{**make.room()["space"][0], "raised": True, "occupants": 0}],
            receiver=[{"id": "a", "space": "room", "at": IN_BEAM}],
            source=[make.mast(elevation="-40 deg"), make.mast(id="above", elevation="40 deg")],
        )
        below, above = make.analyzed(make.read(plain)).plans[0].receivers[0].sources
        assert below.direct_w_m2 == pytest.approx(1e-3 * 10**-0.6, rel=1e-12)
        south, up = 4 * 2.4 * math.cos(math.radians(40)), 4 * 3 * math.sin(math.radians(40))
        assert below.lit_area_m2 == pytest.approx(south + up, rel=1e-9)
        assert below.diffuse_w_m2 == pytest.approx(above.diffuse_w_m2, rel=0.02)
        assert below.unshielded_solid_angle_sr == pytest.approx(above.unshielded_solid_angle_sr)
        landed = [landing.area_m2 for path in below.paths for landing in path.landings]
        assert sum(landed) > 15.0

    def test_earth_behind_a_panel_stops_a_source_from_below(self, make):
        """A slab on the ground: from −40° the south wall alone is lit, and the bed through it."""
        plain = make.room(
            site={"grade": "0 m", "reach": "3 m"},
            assembly=[
                {"id": "wall", "loss": "6 dB", "reflects": 0.4},
                {"id": "pane", "loss": "0 dB"},
            ],
            receiver=[
                {"id": "low", "space": "room", "at": "1.6, 2.5, 0.3 m"},
                {"id": "high", "space": "room", "at": "1.6, 0.5, 1.8 m"},
            ],
            source=[make.mast(elevation="-40 deg")],
        )
        low, high = make.analyzed(make.read(plain)).plans[0].receivers
        assert low.sources[0].direct_w_m2 == 0.0
        assert high.sources[0].direct_w_m2 == pytest.approx(1e-3 * 10**-0.6, rel=1e-12)
        lit = 4 * 2.4 * math.cos(math.radians(40))
        assert low.sources[0].lit_area_m2 == pytest.approx(lit, rel=1e-9)

    def test_the_scattered_share_comes_evenly_from_the_exposed_directions(self, make):
        plain = make.room(
            assembly=[{"id": "wall", "loss": "200 dB"}, {"id": "pane", "loss": "5 dB"}],
            opening=[make.window()],
            receiver=[{"id": "b", "space": "room", "at": BESIDE}],
            source=[make.mast(scattered=0.3)],
        )
        found = make.analyzed(make.read(plain)).plans[0].receivers[0]
        (source,) = found.sources
        # the beam misses the bed: only the scattered part comes straight
        assert source.direct_w_m2 == pytest.approx(
            0.3
            * 1e-3
            * found.bands[0].open_equivalent_solid_angle_sr
            / found.exposed_solid_angle_sr,
            rel=1e-12,
        )
        assert found.bands[0].open_equivalent_solid_angle_sr > 0.0

    def test_levels_are_those_of_the_storey(self, make):
        plain = make.room(
            storey=[{"id": "low", "floor": "0 m"}, {"id": "high", "floor": "2.8 m"}],
            space=[
                {"id": name, "storey": storey, "size": "4 m x 3 m", "height": "2.4 m"}
                for name, storey in (("room", "low"), ("upper", "high"))
            ],
            assembly=[{"id": "wall", "loss": "6 dB"}, {"id": "pane", "loss": "0 dB"}],
            receiver=[
                {"id": "a", "space": "room", "at": IN_BEAM},
                {"id": "b", "space": "upper", "at": IN_BEAM},
            ],
            source=[make.mast(level={"low": "10 uW/m2", "high": "70 uW/m2"})],
        )
        low, high = make.analyzed(make.read(plain)).plans[0].receivers
        assert low.sources[0].outside_w_m2 == pytest.approx(10e-6, rel=1e-12)
        assert high.sources[0].outside_w_m2 == pytest.approx(70e-6, rel=1e-12)
        assert low.sources[0].direct_w_m2 == pytest.approx(10e-6 * 10**-0.6, rel=1e-12)
        assert high.sources[0].direct_w_m2 == pytest.approx(70e-6 * 10**-0.6, rel=1e-12)


class TestPoints:
    def house(self, make, **changes):
        return make.room(
            storey=[{"id": "low", "floor": "0 m"}, {"id": "high", "floor": "2.8 m"}],
            space=[
                {"id": name, "storey": storey, "size": "4 m x 3 m", "height": "2.5 m"}
                for name, storey in (("kitchen", "low"), ("room", "high"))
            ],
            construction={**make.room()["construction"], "floor": "joists"},
            assembly=[
                {"id": "wall", "loss": "8 dB"},
                {"id": "joists", "loss": "9 dB"},
                {"id": "pane", "loss": "0 dB"},
            ],
            receiver=[{"id": "bed", "space": "room", "at": "2.2, 1.4, 0.6 m"}],
            **changes,
        )

    def test_a_router_in_the_room_below(self, make):
        router = {
            "id": "router",
            "space": "kitchen",
            "at": "1.0, 1.0, 1.2 m",
            "band": "2.4-2.4835 GHz",
            "eirp": "20 dBm",
        }
        found = source_of(make.analyzed(make.read(self.house(make, source=[router]))))
        square = 1.2**2 + 0.4**2 + (2.8 + 0.6 - 1.2) ** 2
        outside = 0.1 / (4 * math.pi * square)
        assert found.outside_w_m2 == pytest.approx(outside, rel=1e-12)
        assert found.direct_w_m2 == pytest.approx(outside * 10**-0.9, rel=1e-12)
        assert found.paths[0].panel == "room/floor"
        assert found.unshielded_solid_angle_sr is None

    def test_a_meter_outdoors(self, make):
        meter = {"id": "meter", "at": "2.2, -5.0, 3.4 m", "band": "868 MHz", "eirp": "14 dBm"}
        found = source_of(make.analyzed(make.read(self.house(make, source=[meter]))))
        outside = 10**1.4 * 1e-3 / (4 * math.pi * 6.4**2)
        assert found.outside_w_m2 == pytest.approx(outside, rel=1e-12)
        assert found.direct_w_m2 == pytest.approx(outside * 10**-0.8, rel=1e-12)
        assert found.paths[0].panel == "room/1"

    def test_a_source_in_the_same_room_comes_through_nothing(self, make):
        phone = {
            "id": "phone",
            "space": "room",
            "at": "1.2, 1.4, 0.6 m",
            "band": "868 MHz",
            "eirp": "1 mW",
        }
        job = make.read(self.house(make, source=[phone]))
        found = source_of(make.analyzed(job, with_bands=True))
        assert found.low_w_m2 < found.level_w_m2 < found.high_w_m2
        assert found.direct_w_m2 == pytest.approx(1e-3 / (4 * math.pi), rel=1e-12)
        assert found.lit_area_m2 == 0.0
        assert found.diffuse_w_m2 > 0.0
        assert sum(path.level_w_m2 for path in found.paths) == 0.0

    def test_a_box_gets_the_mean_of_its_points(self, make):
        plain = self.house(
            make,
            source=[{"id": "m", "at": "2, -3, 3.4 m", "band": "868 MHz", "eirp": "1 W"}],
        )
        plain["receiver"] = [
            {"id": "bed", "space": "room", "at": "2, 1.5, 0.6 m", "size": "0.2 m x 1.6 m x 0.2 m"}
        ]
        job = make.read(plain)
        points = [p.position_m for p in cast_job(job, sampling=make.few).receivers[0].points]
        levels = [1 / (4 * math.pi * np.sum((p - np.array([2, -3, 3.4])) ** 2)) for p in points]
        found = source_of(make.analyzed(job))
        assert len(points) == 3
        assert found.outside_w_m2 == pytest.approx(np.mean(levels), rel=1e-12)
        assert found.direct_w_m2 == pytest.approx(np.mean(levels) * 10**-0.8, rel=1e-12)


class TestPolarization:
    def test_horizontal_at_a_wall_seen_from_the_horizon_is_parallel_to_the_plane_of_incidence(
        self,
    ):
        way = np.array([[math.sin(0.7), math.cos(0.7), 0.0]])
        wall = np.array([[0.0, -1.0, 0.0]])
        assert polarization_weights("horizontal", directions=way, normals=wall) == pytest.approx(
            np.array([[0.0, 1.0]]), abs=1e-12
        )
        assert polarization_weights("vertical", directions=way, normals=wall) == pytest.approx(
            np.array([[1.0, 0.0]]), abs=1e-12
        )

    def test_at_a_ceiling_horizontal_is_across(self):
        way = np.array([[0.6, 0.0, 0.8]])
        ceiling = np.array([[0.0, 0.0, -1.0]])
        assert polarization_weights("horizontal", directions=way, normals=ceiling) == (
            pytest.approx(np.array([[1.0, 0.0]]), abs=1e-12)
        )

    def test_shares_of_any_ray_add_up(self):
        random = np.random.default_rng(3)
        ways, walls = (random.standard_normal((200, 3)) for _ in range(2))
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        walls /= np.linalg.norm(walls, axis=1, keepdims=True)
        one, two = (
            polarization_weights(name, directions=ways, normals=walls)
            for name in ("horizontal", "vertical")
        )
        assert one.sum(axis=1) == pytest.approx(np.ones(200), abs=1e-12)
        assert one + two == pytest.approx(np.ones((200, 2)), abs=1e-12)
        assert (one >= 0.0).all()

    @pytest.mark.parametrize(("polarization", "column"), [("vertical", 0), ("horizontal", 1)])
    def test_a_polarized_mast_meets_the_sheet_as_te_or_tm(self, make, polarization, column):
        plain = make.room(
            assembly=[
                {"id": "wall", "layers": [{"sheet-resistance": "50 ohm/sq"}]},
                {"id": "pane", "loss": "0 dB"},
            ],
            receiver=[{"id": "a", "space": "room", "at": "3.2, 0.5, 1.2 m"}],
            source=[make.mast(azimuth="120 deg", polarization=polarization, spread="0.01 deg")],
        )
        found = source_of(make.analyzed(make.read(plain)))
        # azimuth 120° on the east wall: 30° from its normal, the south wall is not met
        cosine = math.cos(math.radians(30))
        ratio = 376.730313412 / (2 * 50.0)
        passed = (1 + ratio * (1 / cosine if column == 0 else cosine)) ** -2
        assert found.paths[0].panel == "room/2"
        assert found.direct_w_m2 == pytest.approx(1e-3 * passed, rel=1e-4)


def test_what_comes_through_a_closet_without_a_door_is_a_gap_of_its_own(make):
    """A bare opening passes the path on to the closet's outer wall, with that wall's loss."""
    plain = make.room(
        assembly=[{"id": "wall", "loss": "7 dB"}, {"id": "pane", "loss": "1 dB"}],
        space=[
            {"id": "room", "storey": "ground", "height": "2.4 m", "size": "3 m x 3 m"},
            {
                "id": "closet",
                "storey": "ground",
                "height": "2.4 m",
                "origin": "3.1, 0 m",
                "size": "1 m x 3 m",
            },
        ],
        opening=[
            {"id": "C1", "on": "room/2", "kind": "open", "at": "0.5 m", "size": "2 m x 2.1 m"}
        ],
        receiver=[{"id": "bed", "space": "room", "at": "1.1, 1.5, 0.8 m"}],
        source=[make.mast(azimuth="90 deg", elevation="2 deg")],
    )
    found = source_of(make.analyzed(make.read(plain)))
    first = found.paths[0]
    assert first.panel == "closet/2"
    assert first.share == pytest.approx(1.0, abs=1e-12)
    assert first.loss_db == pytest.approx(7.0, abs=1e-9)
    assert first.is_gap
    assert first.level_w_m2 == pytest.approx(found.direct_w_m2, rel=1e-12)
