from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.rays.building_arrays import geometry_of
from envelope.rays.kernel import arrays as tables


def test_tables_are_made_once(box_room: Callable[..., Building]) -> None:
    building = box_room()
    assert geometry_of(building) is geometry_of(building)
    assert geometry_of(box_room()) is not geometry_of(building)


def test_far_houses_have_the_same_tables(random_house_specs: Callable) -> None:
    specs = random_house_specs(np.random.default_rng(3), flat_openings=False)
    near = geometry_of(specs.build()).tables
    far = geometry_of(specs.moved(shift_m=(1000.0, -700.0)).build()).tables
    for here, there in zip(near, far, strict=True):
        assert here == pytest.approx(there, abs=1e-9)


def test_triangles_fill_panels_and_leave_holes_free(three_storey_house: Building) -> None:
    geometry = geometry_of(three_storey_house)
    for panel, triangles in zip(three_storey_house.panels, geometry.triangles, strict=True):
        edges = triangles[:, 1:] - triangles[:, :1]
        normals = 0.5 * np.cross(edges[:, 0], edges[:, 1])
        areas = np.linalg.norm(normals, axis=1)
        assert areas.sum() == pytest.approx(panel.area_m2, rel=1e-12)
        corners = triangles.reshape(-1, 3) + geometry.middle
        known = np.concatenate((panel.outline, *panel.holes))
        apart = np.linalg.norm(corners[:, np.newaxis] - known, axis=2).min(axis=1)
        assert apart.max() < 1e-12


def test_a_reveal_knows_what_it_runs_into_and_the_patch_beside_it(
    three_storey_house: Building,
) -> None:
    found = geometry_of(three_storey_house).tables
    flanks = set()
    for index, panel in enumerate(three_storey_house.panels):
        host, patch = found.panel[index, [tables.HOST, tables.HOST_PATCH]]
        if panel.kind != "reveal":
            assert (host, patch) == (-1, -1)
            continue
        flank = three_storey_house.panels[host]
        assert three_storey_house.patches[patch].panel == flank.id
        if flank.id == panel.host:
            own = three_storey_house.patches_of[panel.id][0]
            assert three_storey_house.patches[patch].element == own.element
        else:  # a sill on the floor has no wall below it, nor a head at the ceiling one above it
            assert panel.id.endswith({"floor": "/sill", "ceiling": "/head"}[flank.kind])
            assert flank.space == panel.space
            assert panel.outline[:, 2] == pytest.approx(flank.outline[0, 2], abs=0.03)
        flanks.add(flank.kind)
    assert flanks >= {"wall", "floor"}


def test_the_ball_holds_the_building(three_storey_house: Building) -> None:
    geometry = geometry_of(three_storey_house)
    corners = np.vstack([panel.outline for panel in three_storey_house.panels]) - geometry.middle
    assert np.linalg.norm(corners, axis=1).max() == pytest.approx(geometry.radius_m, rel=1e-12)
    assert corners.min(axis=0) == pytest.approx(-corners.max(axis=0), abs=1e-12)
