"""Rooms, sills and niches off by millimetres: every ray ends, and no sphere is more than whole.

`tight_houses.py` casts hundreds; here are a few, and the house in which rays once went round and
round between a niche and the ceiling below it.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, SpaceSpec
from envelope.errors import GeometryError
from envelope.geometry.plane import frozen
from envelope.rays import Sampling, cast_chain, cast_directions, cast_lit, cast_point

PATH = Path(__file__).parent / "tight_houses.py"
FEW = Sampling(points_per_panel=2**8, points=2**12)
ROUTER_M = np.array((1.5, 2.0, 1.2))
BED_M = np.array((1.3, 1.5, 3.4))


@pytest.fixture(scope="module")
def houses() -> ModuleType:
    spec = importlib.util.spec_from_file_location("tight_houses", PATH)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("seed", [2011, 3076, 5048])
def test_houses_off_by_millimetres(houses: ModuleType, seed: int) -> None:
    """In the first a sill lies back to back with the ceiling below, 1.5 mm of it.

    In the second a place lies in a doorway, within the thickness of its wall: a ray shifted past
    that wall, on another storey, would have been aimed back into it, to and fro. In the third two
    rooms lap by half a millimetre, and a ray leaves the one at the edge where it is in the other.
    """
    assert houses.faults_of(seed) == []


def test_rooms_that_overlap_by_millimetres_are_refused_by_name(houses: ModuleType) -> None:
    with pytest.raises(GeometryError, match="spaces r01 and r11 overlap, at r01/1"):
        houses.tight_house(1012)


def jutting(sill_m: float, *, reveal_m: float, slab_m: float) -> Building:
    """An upper room that juts out over a smaller one, with a window just above its floor."""

    def room(name: str, storey: str, floor_m: float, x: float, y: float) -> SpaceSpec:
        corners = frozen([(x, y), (4.0, y), (4.0, 4.0), (x, 4.0)])
        return SpaceSpec(id=name, storey=storey, corners=corners, height_m=2.4, floor_m=floor_m)

    floor_m = 2.4 + slab_m
    return build_building(
        site=Site(),
        storeys=[Storey(id="low", floor_m=0.0), Storey(id="high", floor_m=floor_m)],
        spaces=[room("below", "low", 0.0, 0.0, 0.0), room("above", "high", floor_m, -1.0, -1.0)],
        openings=[
            OpeningSpec(id=f"w{wall}", on=f"above/{wall}", kind="window", along_m=along,
                        sill_m=sill_m, width_m=2.0, height_m=1.2, reveal_m=reveal_m)
            for wall, along in ((1, 1.5), (2, 1.0), (4, 1.5))
        ],
        panels=(),
        construction=dict.fromkeys(
            ("exterior-wall", "interior-wall", "floor", "slab", "roof", "window"), "wall"
        ),
    )  # fmt: skip


@pytest.mark.parametrize("slab_m", [0.001, 0.3])
@pytest.mark.parametrize("reveal_m", [0.1, 0.3])
def test_a_niche_just_above_the_floor_of_a_room_that_juts_out(
    reveal_m: float, slab_m: float
) -> None:
    for sill_m in (0.0, 0.0005, 0.001, 0.003, 0.01, 0.03):
        building = jutting(sill_m, reveal_m=reveal_m, slab_m=slab_m)
        cast_chain(building, source_m=ROUTER_M, source_space="below", count=2**13)
        for home, target, space in (("above", ROUTER_M, "below"), ("below", BED_M, "above")):
            cast_lit(building, space=home, target_m=target, target_space=space)
        rays = cast_directions(building, space="above", position_m=BED_M, sampling=FEW)
        assert abs(rays.closure_error_sr) < 1e-2
        exposed = rays.solid_angle_sr[rays.sky > 0].sum()
        assert 2.0 * np.pi < exposed < 4.0 * np.pi


def test_a_source_in_the_niche_beside_the_one_that_a_ray_leaves_by() -> None:
    """A router on a sill: out by one niche's jamb, through the wall, in by the next one's."""
    building = build_building(
        site=Site(),
        storeys=[Storey(id="s", floor_m=0.0)],
        spaces=[
            SpaceSpec(id="room", storey="s", height_m=2.4, floor_m=0.0,
                      corners=frozen([(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]))
        ],
        openings=[
            OpeningSpec(id=name, on="room/1", kind="window", along_m=along, sill_m=0.9,
                        width_m=1.0, height_m=1.2, reveal_m=0.3)
            for name, along in (("w", 0.5), ("v", 1.505))
        ],
        panels=(),
        construction=dict.fromkeys(("exterior-wall", "slab", "roof", "window"), "wall"),
    )  # fmt: skip
    beam = cast_point(building, space="room", position_m=np.array((0.5, 1.0, 1.2)),
                      target_m=np.array((1.6, -0.2, 1.2)), target_space="room")  # fmt: skip
    patches = len(building.patches)
    met = [building.patches[row % patches].panel for row in beam.rows]
    assert met == ["room/w/jamb-left", "room/1", "room/v/jamb-right"]


@pytest.mark.parametrize("lap_m", [-0.0005, 0.0, 0.0003])
def test_rooms_that_lap_by_less_than_is_refused_touch(lap_m: float) -> None:
    """As where one storey is measured in inches, the next in millimetres: none gets lost."""
    corners = frozen([(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)])
    building = build_building(
        site=Site(),
        storeys=[Storey(id="low", floor_m=0.0), Storey(id="high", floor_m=2.4 - lap_m)],
        spaces=[
            SpaceSpec(id="below", storey="low", corners=corners, height_m=2.4, floor_m=0.0),
            SpaceSpec(
                id="above", storey="high", corners=corners, height_m=2.4, floor_m=2.4 - lap_m
            ),
        ],
        openings=[],
        panels=(),
        construction=dict.fromkeys(("exterior-wall", "floor", "slab", "roof"), "wall"),
    )
    (patch,) = building.patches_of["below/ceiling"]
    assert (patch.behind, patch.far) == ("space", "above/floor")
    assert building.patches_of["above/floor"][0].far == "below/ceiling"
    up = cast_point(building, space="below", position_m=np.array((1.0, 1.0, 1.0)),
                    target_m=np.array((1.1, 1.0, 4.0)), target_space="above")  # fmt: skip
    assert len(up.rows) == 1


def test_past_the_strip_below_a_sill_a_ray_meets_nothing_of_the_niche() -> None:
    """It has met that wall, and with 3 dB on everything it has 3 dB, not the pane's as well."""
    building = jutting(0.01, reveal_m=0.3, slab_m=0.3)
    walls = [panel for panel in building.panels if panel.id == "above/1"]
    eye = np.array((1.5, 1.0, 3.0))
    strip = np.array((1.5, -1.0, 2.7 + 0.009))  # of the wall, 9 of its 10 mm up
    target = strip + 0.2 * (strip - eye)
    beam = cast_point(building, space="above", position_m=eye, target_m=target, target_space=None)
    patches = len(building.patches)
    assert [building.patches[row % patches].panel for row in beam.rows] == [walls[0].id]
    up = np.array((1.5, 1.0, 2.7001))
    strip = np.array((1.5, -1.0, 2.7 + 0.0095))  # from below the sill up into the niche
    beam = cast_point(building, space="above", position_m=up,
                      target_m=strip + 0.2 * (strip - up), target_space=None)  # fmt: skip
    assert [building.patches[row % patches].panel for row in beam.rows] == [walls[0].id]
