from __future__ import annotations

import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest
import shapely

from envelope.building.model import Building, Panel
from envelope.building.rooms.specs import OpeningSpec
from envelope.errors import CancelledError, RangeError
from envelope.rays import (
    FINE,
    Sampling,
    cast_chain,
    cast_cone,
    cast_directions,
    cast_even,
    cast_lit,
    cast_point,
)

FEW = Sampling(points_per_panel=64, points=512)
EYE = np.array([1.0, 1.0, 1.0])


def rows_of(building: Building, rows: np.ndarray) -> list[str]:
    patches = len(building.patches)
    return [building.patches[row % patches].panel + "*" * int(row >= patches) for row in rows]


def silhouette(panels: tuple[Panel, ...], direction: np.ndarray) -> float:
    """Area of the shadow of panels on a plane square to a direction. [m²]"""
    u = np.cross(direction, (0.0, 0.0, 1.0))
    u /= np.linalg.norm(u)
    axes = np.stack((u, np.cross(direction, u)))
    flat = [shapely.Polygon(panel.outline @ axes.T).buffer(0) for panel in panels]
    return float(shapely.union_all(flat).area)


def towards(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    azimuth, elevation = np.radians((azimuth_deg, elevation_deg))
    return np.array(
        [
            np.sin(azimuth) * np.cos(elevation),
            np.cos(azimuth) * np.cos(elevation),
            np.sin(elevation),
        ]
    )


def test_bins_hold_their_cosines(box_room: Callable[..., Building]) -> None:
    """A narrow look at the near wall: every cosine between its edge's and 1."""
    building = box_room()
    cast = cast_directions(building, space="room", position_m=EYE, bins=10)
    wall = building.panel_index["room/south"]
    bins = cast.entries[cast.start[:-1]][cast.first_panel == wall] % 10
    # its farthest corner is 3 m aside and 1.4 m up from 1 m off
    assert bins.max() == 9
    assert bins.min() == int(10 / np.sqrt(1.0 + 9.0 + 1.4**2))
    assert cast.bins == 10
    assert (np.diff(cast.start) >= 1).all()
    for k in range(len(cast.sky)):
        entries = cast.entries[cast.start[k] : cast.start[k + 1]]
        assert (np.diff(entries) >= 0).all()


def test_sky_codes_add_up(box_room: Callable[..., Building]) -> None:
    """Half the sphere is above the horizon; below it, slab and near ground are blocked.

    From 1 m up and 1 m off the nearest walls, grade at the floor: a wall's point at height z is
    seen through if the ground is met over 3 m from it, which needs z > 3 (1 - z) / distance.
    """
    building = box_room(size=(2.0, 2.0, 2.4))
    cast = cast_directions(building, space="room", position_m=EYE, sampling=FINE)
    parts = [float(cast.solid_angle_sr[cast.sky == code].sum()) for code in range(3)]
    assert parts[2] == pytest.approx(2.0 * np.pi, abs=1e-9)
    # at azimuth φ off a wall's normal the wall is 1/cos φ away, and the ground 3 m beyond that is
    # met below elevation atan(1 / (3 + 1/cos φ)): integrate the sine of that over eight octants
    azimuth = (np.arange(100_000) + 0.5) / 100_000 * np.pi / 4.0
    steepest = np.arctan(1.0 / (3.0 + 1.0 / np.cos(azimuth)))
    assert parts[1] == pytest.approx(2.0 * np.pi * np.sin(steepest).mean(), abs=5e-4)
    assert sum(parts) == pytest.approx(4.0 * np.pi, abs=1e-9)


def test_more_threads_or_chunks_change_nothing(
    three_storey_house: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    position = np.array([1.0, 1.0, 3.4])
    sampling = Sampling(points_per_panel=512, points=4096)
    one = cast_directions(
        three_storey_house, space="bedroom", position_m=position, sampling=sampling
    )
    monkeypatch.setattr("envelope.rays.parallel._CHUNK", 2**9)
    monkeypatch.setattr("envelope.rays.parallel._UNITE_AT", 100)
    monkeypatch.setattr("os.cpu_count", lambda: 3)
    other = cast_directions(
        three_storey_house, space="bedroom", position_m=position, sampling=sampling
    )
    assert one.rays == other.rays
    for name in ("first_panel", "sky", "start", "entries"):
        assert (getattr(one, name) == getattr(other, name)).all()
    assert one.weights_sr == pytest.approx(other.weights_sr, rel=1e-12)


def test_little_room_for_crossings_changes_nothing(
    three_storey_house: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    position = np.array([1.0, 1.0, 3.4])
    sampling = Sampling(points_per_panel=512, points=4096)
    one = cast_directions(
        three_storey_house, space="bedroom", position_m=position, sampling=sampling
    )
    monkeypatch.setattr("envelope.rays.parallel._ROOM_EACH", 0)
    other = cast_directions(
        three_storey_house, space="bedroom", position_m=position, sampling=sampling
    )
    assert (one.entries == other.entries).all()
    assert one.weights_sr == pytest.approx(other.weights_sr, rel=1e-12)


def test_progress_rises_to_one(three_storey_house: Building) -> None:
    shares: list[float] = []
    cast_directions(
        three_storey_house,
        space="bedroom",
        position_m=np.array([1.0, 1.0, 3.4]),
        sampling=FEW,
        progress=shares.append,
    )
    assert shares == sorted(shares)
    assert shares[0] > 0.0
    assert shares[-1] == 1.0


def test_a_cast_can_be_stopped(three_storey_house: Building) -> None:
    asked: list[bool] = []

    def stop() -> bool:
        asked.append(True)
        return len(asked) == 2

    with pytest.raises(CancelledError, match="stopped"):
        cast_directions(
            three_storey_house,
            space="bedroom",
            position_m=np.array([1.0, 1.0, 3.4]),
            sampling=FEW,
            cancel=stop,
        )
    assert len(asked) == 2


def test_a_cast_needs_little_memory(three_storey_house: Building) -> None:
    """Below 40 bytes a ray, the chunks under way included."""
    arguments = {"space": "bedroom", "position_m": np.array([1.0, 1.0, 3.4])}
    cast_directions(three_storey_house, sampling=FEW, **arguments)  # type: ignore[arg-type]
    tracemalloc.start()
    cast = cast_directions(three_storey_house, **arguments)  # type: ignore[arg-type]
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert cast.rays > 2**18
    assert peak < 40 * cast.rays


@pytest.mark.parametrize(
    ("position", "space", "message"),
    [
        ((9.0, 1.0, 1.0), "room", r"the receiver at \(9, 1, 1\) m is not inside space 'room'"),
        ((4.0, 1.0, 1.0), "room", "is not inside space"),
        ((np.nan, 1.0, 1.0), "room", "is not inside space"),
        ((1.0, 1.0, 1.0), "attic", "there is no space 'attic'; allowed: room"),
    ],
)
def test_receivers_that_cannot_be(
    box_room: Callable[..., Building],
    position: tuple[float, float, float],
    space: str,
    message: str,
) -> None:
    with pytest.raises(RangeError, match=message):
        cast_directions(box_room(), space=space, position_m=np.array(position), sampling=FEW)


def test_sampling_says_what_it_allows() -> None:
    with pytest.raises(RangeError, match=r"points_per_panel is 4; allowed: 8 to 2\^30"):
        Sampling(points_per_panel=4)


def test_a_cone_is_evenly_filled(box_room: Callable[..., Building]) -> None:
    axis = towards(60.0, 20.0)
    beam = cast_cone(
        box_room(), space="room", position_m=EYE, direction=axis, spread_rad=0.3, count=1024
    )
    cosine = beam.directions @ axis
    assert beam.weights.sum() == pytest.approx(1.0)
    assert beam.solid_angle_sr == pytest.approx(2.0 * np.pi * (1.0 - np.cos(0.3)), rel=1e-12)
    assert cosine.min() >= np.cos(0.3) - 1e-12
    assert cosine.mean() == pytest.approx(0.5 * (1.0 + np.cos(0.3)), abs=1e-4)
    assert np.cross(beam.directions.mean(axis=0), axis) == pytest.approx(0.0, abs=1e-3)
    half = cosine > 0.5 * (1.0 + np.cos(0.3))  # half the cone's solid angle
    assert half.mean() == pytest.approx(0.5, abs=2e-3)


def test_a_source_without_spread_is_one_ray(two_rooms: Callable[..., Building]) -> None:
    building = two_rooms()
    beam = cast_cone(
        building,
        space="left",
        position_m=EYE,
        direction=np.array([3.0, 0.0, 4.0]) / 5.0,
        spread_rad=0.0,
    )
    assert rows_of(building, beam.rows) == ["left/ceiling"]
    assert beam.cosines == pytest.approx([0.8])
    assert (beam.sky[0], beam.solid_angle_sr, beam.weights[0]) == (2, 0.0, 1.0)
    assert building.panels[beam.first_panel[0]].id == "left/ceiling"


def test_a_ray_to_a_point_ends_there(two_rooms: Callable[..., Building]) -> None:
    """From (1, 1, 1) to (9, 2, 1) outdoors: it meets x = 4 at y = 1 + 3/8, is shifted 0.1 m, and
    is aimed anew from (4.1, 1.375)."""
    building = two_rooms()
    beam = cast_point(
        building,
        space="left",
        position_m=EYE,
        target_m=np.array([9.0, 2.0, 1.0]),
        target_space=None,
    )
    assert rows_of(building, beam.rows) == ["left/2", "right/2"]
    assert beam.cosines == pytest.approx([8.0 / np.hypot(8.0, 1.0), 4.9 / np.hypot(4.9, 0.625)])
    assert beam.sky[0] == 2
    inside = cast_point(
        building,
        space="left",
        position_m=EYE,
        target_m=np.array([6.0, 2.0, 1.0]),
        target_space="right",
    )
    assert rows_of(building, inside.rows) == ["left/2"]
    same = cast_point(
        building,
        space="left",
        position_m=EYE,
        target_m=np.array([3.0, 2.0, 0.5]),
        target_space="left",
    )
    assert len(same.rows) == 0
    assert same.start.tolist() == [0, 0]
    assert (same.first_panel[0], same.sky[0]) == (-1, 1)


def test_a_point_behind_the_ground_is_blocked(two_rooms: Callable[..., Building]) -> None:
    beam = cast_point(
        two_rooms(),
        space="left",
        position_m=EYE,
        target_m=np.array([-9.0, 1.0, -2.0]),
        target_space=None,
    )
    assert beam.sky[0] == 0


def test_points_in_the_wrong_place(two_rooms: Callable[..., Building]) -> None:
    building = two_rooms()
    with pytest.raises(RangeError, match="said to be outdoors but lies in space 'right'"):
        cast_chain(building, source_m=np.array([5.0, 1.0, 1.0]))
    with pytest.raises(RangeError, match=r"the source at .* is not inside space 'left'"):
        cast_lit(building, space="right", target_m=np.array([5.0, 1, 1]), target_space="left")
    with pytest.raises(RangeError, match="neither of a direction and a point given"):
        cast_chain(building)
    with pytest.raises(RangeError, match="both of a direction and a point given"):
        cast_lit(building, space="left", direction=towards(0, 0), target_m=EYE)
    with pytest.raises(RangeError, match="a direction of length 0"):
        cast_chain(building, direction=np.zeros(3))


def test_lit_area_is_the_silhouette(
    box_room: Callable[..., Building], three_storey_house: Building
) -> None:
    direction = towards(130.0, 25.0)
    building = box_room()
    lit = cast_lit(building, space="room", direction=direction, points_per_panel=256)
    assert lit.area_m2.sum() == pytest.approx(silhouette(building.panels, direction), rel=1e-9)
    assert (lit.directions == direction).all()
    # with niches, then bent as well: where a ray comes back through another room it was shifted
    for space, tolerance in (("bedroom", 3e-4), ("kitchen", 3e-4), ("landing", 6e-3)):
        lit = cast_lit(three_storey_house, space=space, direction=direction, points_per_panel=2**12)
        shadow = silhouette(three_storey_house.space(space).panels, direction)
        assert lit.area_m2.sum() == pytest.approx(shadow, rel=tolerance)


def test_lit_points_lie_on_their_panels(three_storey_house: Building) -> None:
    lit = cast_lit(three_storey_house, space="bedroom", direction=towards(200.0, 5.0))
    assert {three_storey_house.panels[k].space for k in np.unique(lit.panel)} == {"bedroom"}
    for k in np.unique(lit.panel):
        panel = three_storey_house.panels[k]
        points = lit.points[lit.panel == k]
        assert (points - panel.frame.origin) @ panel.normal == pytest.approx(0.0, abs=1e-9)
    first = lit.start[:-1]
    patches = len(three_storey_house.patches)
    owners = [three_storey_house.patches[row % patches].panel for row in lit.rows[first]]
    assert owners == [three_storey_house.panels[k].id for k in lit.panel]


def test_a_room_below_lights_the_floor_only(three_storey_house: Building) -> None:
    lit = cast_lit(
        three_storey_house,
        space="bedroom",
        target_m=np.array([2.0, 2.0, 1.2]),
        target_space="kitchen",
    )
    names = {three_storey_house.panels[k].id for k in np.unique(lit.panel)}
    assert "bedroom/floor" in names
    assert names <= {"bedroom/floor", *(n for n in names if n.count("/") == 2)}  # and sills
    floor = lit.panel == three_storey_house.panel_index["bedroom/floor"]
    cosine = lit.directions[floor] @ (0.0, 0.0, -1.0)
    assert lit.area_m2[floor].sum() == pytest.approx(4.2 * 4.0 * cosine.mean(), rel=1e-9)
    assert (lit.sky[floor] == 1).all()


def test_a_source_in_the_space_itself_lights_it_from_no_side(
    box_room: Callable[..., Building],
) -> None:
    lit = cast_lit(box_room(), space="room", target_m=EYE, target_space="room")
    assert len(lit.panel) == 0
    assert lit.start.tolist() == [0]


def test_a_chain_starts_on_the_lit_side(three_storey_house: Building) -> None:
    direction = towards(215.0, 20.0)
    chain = cast_chain(three_storey_house, direction=direction, count=2**13)
    shadow = silhouette(three_storey_house.panels, direction)
    assert chain.weights.sum() == pytest.approx(shadow, rel=5e-3)
    assert (chain.space[chain.start[:-1]] == -1).all()
    assert (np.diff(chain.start) >= 1).all()
    normals = np.array([panel.normal for panel in three_storey_house.panels])
    heads = chain.side[chain.start[:-1]]
    assert chain.cosines[chain.start[:-1]] == pytest.approx(-normals[heads] @ direction, abs=1e-12)


def test_a_chain_from_a_point(box_room: Callable[..., Building]) -> None:
    building = box_room()
    chain = cast_chain(building, source_m=EYE, source_space="room", count=2**10)
    assert chain.weights.sum() == pytest.approx(4.0 * np.pi, rel=1e-9)
    assert (chain.space == 0).all()
    outside = cast_chain(building, source_m=np.array([10.0, 1.5, 1.2]), count=2**10)
    # the wall x = 4 seen squarely from 6 m: 4 atan(ab / d√(a² + b² + d²)), a = 1.5, b = 1.2
    solid_angle_sr = 4.0 * np.arctan(1.8 / (6.0 * np.sqrt(1.5**2 + 1.2**2 + 36.0)))
    assert outside.weights.sum() == pytest.approx(solid_angle_sr, rel=1e-9)
    assert (outside.side[outside.start[:-1]] == building.panel_index["room/2"]).all()


def test_an_even_field_brings_half_its_measure(box_room: Callable[..., Building]) -> None:
    """A convex body takes π times its surface from a whole sphere of unit radiance.

    High over the ground, so that next to nothing is blocked; every panel takes its own share.
    """
    building = box_room(floor_m=500.0, raised=True)
    chain = cast_even(building, count=2**12)
    area = sum(panel.area_m2 for panel in building.panels)
    assert chain.weights.sum() == pytest.approx(np.pi * area, rel=1e-3)
    # through and out again by another panel: the mean chord is 4 V / S
    assert (np.diff(chain.start) == 2).all()
    volume = building.spaces[0].volume_m3
    normals = np.array([panel.normal for panel in building.panels])
    leaving = chain.side[chain.start[:-1] + 1]
    entering = chain.side[chain.start[:-1]]
    assert (leaving != entering).all()
    share = chain.weights[entering == building.panel_index["room/floor"]].sum() / np.pi
    assert share == pytest.approx(building.panel("room/floor").area_m2, rel=1e-3)
    assert volume > 0.0
    assert normals.shape == (6, 3)


def test_a_bare_hole_between_spaces(two_rooms: Callable[..., Building]) -> None:
    hole = OpeningSpec(id="H", on="left/2", kind="open", along_m=1.0, width_m=1.0, height_m=2.0)
    building = two_rooms(openings=(hole,))
    cast = cast_directions(building, space="left", position_m=EYE, sampling=Sampling())
    spaces = {building.panels[k].space for k in np.unique(cast.first_panel)}
    assert spaces == {"left", "right"}
    assert building.panel_index["left/H"] not in cast.first_panel
    assert abs(cast.closure_error_sr) < 1e-3


def test_a_source_a_hair_above_the_horizon_is_no_trouble(box_room: Callable[..., Building]) -> None:
    """Its way to the ground is longer than any number."""
    building = box_room()
    level = cast_chain(building, direction=np.array([1.0, 0.0, 0.0]))
    hair = cast_chain(building, direction=np.array([1.0, 0.0, -1e-310]))
    assert (level.rows == hair.rows).all()
