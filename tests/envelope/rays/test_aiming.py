from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.building.rooms.specs import OpeningSpec
from envelope.rays.aiming import Aim, aims
from envelope.rays.building_arrays import Geometry, geometry_of


def seen(building: Building, eye: tuple[float, float, float]) -> tuple[Geometry, list[Aim]]:
    geometry = geometry_of(building)
    return geometry, aims(
        geometry,
        panels=range(len(building.panels)),
        eye=np.array(eye) - geometry.middle,
        seed=(1,),
    )


def test_panels_are_cut_at_the_horizon(box_room: Callable[..., Building]) -> None:
    building = box_room()
    _, found = seen(building, (1.0, 1.0, 1.0))
    parts = [(building.panels[aim.panel].kind, aim.above) for aim in found]
    assert sorted(parts) == sorted(
        [("wall", True), ("wall", False)] * 4 + [("floor", False), ("ceiling", True)]
    )
    for above in (True, False):
        total = sum(aim.solid_angle_sr for aim in found if aim.above is above)
        assert total == pytest.approx(2.0 * np.pi, rel=1e-12)
        for aim in found:
            if aim.above is above:
                heights = aim.directions(0, 64)[:, 2]
                assert ((heights >= 0.0) == above).all()


def test_each_ray_meets_its_panel(box_room: Callable[..., Building]) -> None:
    window = OpeningSpec(
        id="W", on="room/1", kind="window", along_m=1, sill_m=0.8, width_m=1.2, height_m=1.0
    )
    building = box_room(openings=(window,))
    geometry, found = seen(building, (1.3, 0.7, 1.1))
    eye = np.array([1.3, 0.7, 1.1]) - geometry.middle
    for aim in found:
        ways = aim.directions(0, 256)
        frame = building.panels[aim.panel].frame
        reach = ((frame.origin - geometry.middle - eye) @ frame.normal) / (ways @ frame.normal)
        flat = frame.flatten(eye + ways * reach[:, np.newaxis] + geometry.middle)
        corners = frame.flatten(building.panels[aim.panel].outline)
        assert (reach > 0.0).all()
        assert (flat > corners.min(axis=0) - 1e-9).all()
        assert (flat < corners.max(axis=0) + 1e-9).all()
        for hole in building.panels[aim.panel].holes:
            edges = frame.flatten(hole)
            within = (flat > edges.min(axis=0) + 1e-9) & (flat < edges.max(axis=0) - 1e-9)
            assert not within.all(axis=1).any()


def test_nothing_hides_a_panel_of_a_plain_box(box_room: Callable[..., Building]) -> None:
    _, found = seen(box_room(), (1.0, 1.0, 1.0))
    assert all(len(aim.hiders) == 0 for aim in found)


def test_a_niche_hides_its_glazing(box_room: Callable[..., Building]) -> None:
    window = OpeningSpec(
        id="W",
        on="room/1",
        kind="window",
        along_m=1.0,
        sill_m=0.8,
        width_m=1.2,
        height_m=1.0,
        reveal_m=0.2,
    )
    building = box_room(openings=(window,))
    _, found = seen(building, (3.5, 2.0, 1.1))
    hiders = {
        building.panels[aim.panel].id: {building.panels[k].id for k in aim.hiders} for aim in found
    }
    assert "room/1" in hiders["room/W"]
    # whatever its cone may touch, nothing deeper than a panel hides that panel
    assert "room/W" not in hiders["room/2"] | hiders["room/W/sill"]


def test_a_panel_seen_edge_on_or_from_behind_is_not_aimed_at(
    two_rooms: Callable[..., Building],
) -> None:
    building = two_rooms()
    geometry = geometry_of(building)
    stretch = range(*(int(k) for k in geometry.tables.space[0]))
    eye = np.array([2.0, 0.0, 1.0]) - geometry.middle  # in the plane of left/1
    found = aims(geometry, panels=stretch, eye=eye, seed=(1,))
    assert "left/1" not in {building.panels[aim.panel].id for aim in found}
    outside = np.array([2.0, -5.0, 1.0]) - geometry.middle
    behind = aims(geometry, panels=stretch, eye=outside, seed=(1,), behind=True)
    assert {building.panels[aim.panel].id for aim in behind} == {"left/1"}
