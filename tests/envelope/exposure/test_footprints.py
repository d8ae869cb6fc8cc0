"""Where beams land: footprints worked out by hand, and by rays that share nothing with them."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from envelope.building.job import Receiver
from envelope.exposure.footprints import Light, landings


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job):
    return SimpleNamespace(
        room=room_plain,
        window=window_plain,
        mast=mast_plain,
        read=read_job,
        analyzed=analyzed_job,
    )


def southern(elevation_deg: float, aside_deg: float = 0.0) -> Light:
    """A beam that travels north and down."""
    up, aside = math.radians(elevation_deg), math.radians(aside_deg)
    return Light(
        direction=np.array(
            [
                math.cos(up) * math.sin(aside),
                math.cos(up) * math.cos(aside),
                -math.sin(up),
            ]
        )
    )


def on(found) -> dict[str, float]:
    return {landing.on: landing.area_m2 for landing in found}


def through(job, panel: str, light: Light, receivers=()):
    building = job.building
    gap = building.panel(panel)
    return landings(
        gap=gap,
        panels=building.space(gap.space).panels,
        receivers=receivers,
        light=light,
    )


class TestByHand:
    """The window stands from x = 1 to 2.5 m and z = 0.9 to 2.1 m; the room is 3 m deep."""

    def test_at_45_degrees_it_lands_on_the_floor(self, make):
        job = make.read(make.room(opening=[make.window()]))
        (landing,) = through(job, "room/W1", southern(45.0))
        assert landing.on == "room/floor"
        assert landing.area_m2 == pytest.approx(1.5 * 1.2, abs=1e-9)
        (polygon,) = landing.polygons
        low, high = polygon.min(axis=0), polygon.max(axis=0)
        assert tuple(low) == pytest.approx((1.0, 0.9, 0.0), abs=1e-9)
        assert tuple(high) == pytest.approx((2.5, 2.1, 0.0), abs=1e-9)

    def test_at_30_degrees_it_bends_up_the_wall_and_its_cross_section_is_kept(self, make):
        job = make.read(make.room(opening=[make.window()]))
        found = on(through(job, "room/W1", southern(30.0)))
        near = 0.9 / math.tan(math.radians(30))
        height = 2.1 - 3.0 * math.tan(math.radians(30))
        assert found == {
            "room/floor": pytest.approx(1.5 * (3.0 - near), abs=1e-9),
            "room/3": pytest.approx(1.5 * height, abs=1e-9),
        }
        crossing = found["room/floor"] * 0.5 + found["room/3"] * math.cos(math.radians(30))
        assert crossing == pytest.approx(1.8 * math.cos(math.radians(30)), abs=1e-9)

    def test_the_bed_catches_its_part_on_top_and_at_its_side(self, make):
        bed = Receiver(
            id="bed",
            space="room",
            position_m=np.array([1.5, 1.5, 0.25]),
            size_m=np.array([1.0, 1.0, 0.5]),
        )
        job = make.read(make.room(opening=[make.window()]))
        found = through(job, "room/W1", southern(45.0), receivers=[bed])
        # top: y from 0.4 to 1.6 where lit, the bed from 1 to 2; front, at y = 1: z up to 0.5
        assert found[0].on == "bed"
        assert found[0].area_m2 == pytest.approx(1.0 * 0.6 + 1.0 * 0.5, abs=1e-9)
        assert on(found)["room/floor"] == pytest.approx(1.8, abs=1e-9)  # a bed throws no shadow

    def test_a_niche_cuts_the_beam_off(self, make):
        """A reveal of 0.3 m: at 45° its sill catches the lowest 0.3 m of the beam."""
        job = make.read(make.room(opening=[make.window(reveal="0.3 m")]))
        found = on(through(job, "room/W1", southern(45.0)))
        assert found == {
            "room/floor": pytest.approx(1.5 * 0.9, abs=1e-6),
            "room/W1/sill": pytest.approx(1.5 * 0.3, abs=1e-6),
        }

    def test_a_beam_from_inside_lands_nowhere(self, make):
        job = make.read(make.room(opening=[make.window()]))
        assert through(job, "room/W1", Light(direction=np.array([0.0, -1.0, 0.0]))) == ()

    def test_a_point_spreads(self, make):
        """From 2 m before the window's middle: on the far wall 5/2 of its size, less the caps."""
        job = make.read(make.room(opening=[make.window()]))
        light = Light(point=np.array([1.6, -2.0, 1.2]))
        found = on(through(job, "room/W1", light))
        # upward through z = 2.1 the slope is 0.45: the ceiling is met from y = 2/3 m on
        assert found["room/3"] == pytest.approx(1.5 * 2.5 * (2.4 - 0.45), abs=1e-6)
        # the ceiling's image: from the edge's height at distance t = 1.2/0.45 to the wall, 5 m
        lit = 1.5 / 2.0 * (5.0**2 - (1.2 / 0.45) ** 2) / 2.0
        assert found["room/ceiling"] == pytest.approx(lit, abs=1e-6)
        assert set(found) == {"room/3", "room/ceiling"}


def first_hits(job, gap, light: Light, count: int) -> dict[str, float]:
    """Areas by rays: even points on the gap, the nearest panel that each ray leaves through."""
    random = np.random.default_rng(11)
    flat = shapely.Polygon(gap.frame.flatten(gap.outline))
    low_a, low_b, high_a, high_b = flat.bounds
    points = gap.frame.lift(
        np.column_stack(
            (random.uniform(low_a, high_a, count), random.uniform(low_b, high_b, count))
        )
    )
    assert flat.area == pytest.approx((high_a - low_a) * (high_b - low_b), rel=1e-9)
    ways = light.along(points)
    nearest = np.full(count, np.inf)
    hit = np.full(count, -1)
    area = np.zeros(count)
    panels = job.building.space(gap.space).panels
    start = np.einsum("ij,j->i", ways, gap.normal)  # of the beam, across which areas are kept
    for index, panel in enumerate(panels):
        along = ways @ panel.normal
        if panel is gap:
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            t = ((panel.frame.origin - points) @ panel.normal) / along
        t = np.where(np.isfinite(t), t, -1.0)
        at = panel.frame.flatten(points + t[:, np.newaxis] * ways)
        shape = shapely.Polygon(
            panel.frame.flatten(panel.outline), [panel.frame.flatten(h) for h in panel.holes]
        )
        shapely.prepare(shape)
        meets = (along < 0) & (t > 1e-9) & (t < nearest)
        meets[meets] = shapely.contains_xy(shape, at[meets])
        nearest[meets], hit[meets] = t[meets], index
        with np.errstate(divide="ignore", invalid="ignore"):
            grown = (1.0 + t) ** 2 if light.point is not None else 1.0
            seen = flat.area / count * start / -along * grown
        area[meets] = seen[meets]
    return {
        panel.id: float(area[hit == index].sum())
        for index, panel in enumerate(panels)
        if (hit == index).any()
    }


LIGHTS = {
    "steep": southern(50.0, 20.0),
    "grazing": southern(4.0, -35.0),
    "sideways": southern(15.0, 60.0),
    "level": southern(0.0, 10.0),
    "from below": southern(-25.0, 15.0),
    "point above": Light(point=np.array([2.5, -3.0, 4.0])),
    "point at the sill": Light(point=np.array([4.0, -1.5, 0.9])),
    "point at mid-height": Light(point=np.array([0.4, -0.7, 1.4])),
}


class TestAgainstRays:
    @pytest.mark.parametrize("light", LIGHTS.values(), ids=LIGHTS.keys())
    @pytest.mark.parametrize("reveal", ["0 m", "0.2 m"])
    def test_in_a_bent_room_with_a_niche(self, make, light, reveal):
        plain = make.room(
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "height": "2.4 m",
                    "footprint": "0,0  5,0  5,3  3.5,3  3.5,1.4  1.5,1.4  1.5,3  0,3 m",
                }
            ],
            opening=[make.window(at="0.8 m", reveal=reveal), make.window(id="W2", on="room/2")],
            receiver=[{"id": "bed", "space": "room", "at": "0.6, 0.5, 0.7 m"}],
        )
        job = make.read(plain)
        gap = job.building.panel("room/W1")
        exact = on(through(job, "room/W1", light))
        sampled = first_hits(job, gap, light, 60_000)
        whole = sum(sampled.values())
        for panel in exact.keys() | sampled.keys():
            assert exact.get(panel, 0.0) == pytest.approx(
                sampled.get(panel, 0.0), abs=0.012 * whole
            ), panel

    @pytest.mark.parametrize("name", ["steep", "grazing", "sideways", "level", "from below"])
    def test_the_cross_section_of_a_parallel_beam_is_kept(self, make, name):
        plain = make.room(opening=[make.window(reveal="0.25 m")])
        job = make.read(plain)
        building = job.building
        light = LIGHTS[name]
        gap = building.panel("room/W1")
        kept = sum(
            area * -float(light.direction @ building.panel(panel).normal)
            for panel, area in on(through(job, "room/W1", light)).items()
        )
        assert kept == pytest.approx(gap.area_m2 * float(light.direction @ gap.normal), abs=1e-5)

    def test_pieces_add_up_to_the_area_and_lie_on_their_panel(self, make):
        """A wall that leaks lands around the window's own shadow-free hole."""
        plain = make.room(
            opening=[make.window(), make.window(id="W2", on="room/3")],
            assembly=[{"id": "wall", "loss": "5 dB"}, {"id": "pane", "loss": "3 dB"}],
        )
        job = make.read(plain)
        found = through(job, "room/1", southern(5.0))
        assert len(found) >= 3
        for landing in found:
            panel = job.building.panel(landing.on)
            total = 0.0
            for ring in landing.polygons:
                assert np.abs((ring - panel.frame.origin) @ panel.normal).max() < 1e-9
                total += shapely.Polygon(panel.frame.flatten(ring)).area
            assert total == pytest.approx(landing.area_m2, abs=1e-9)


def test_a_source_tells_where_its_beam_lands(make):
    plain = make.room(
        opening=[make.window()],
        receiver=[
            {
                "id": "bed",
                "space": "room",
                "at": "1.5, 1.5, 0.26 m",
                "size": "1 m x 1 m x 0.5 m",
            }
        ],
        source=[make.mast(elevation="45 deg")],
    )
    (source,) = make.analyzed(make.read(plain)).plans[0].receivers[0].sources
    (path,) = [path for path in source.paths if path.panel == "room/W1"]
    assert [landing.on for landing in path.landings] == ["bed", "room/floor"]
    assert path.landings[1].area_m2 == pytest.approx(1.8, abs=1e-9)
