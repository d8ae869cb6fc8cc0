"""Solid angles of whole casts: exact where nothing hides a panel, and close where something does.

The independent answer is `exact_visibility`: every panel projected on the target's plane.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely

from envelope.building.model import Building, Site, Space, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, SpaceSpec
from envelope.geometry.plane import frozen
from envelope.rays import FINE, Crossings, Sampling, cast_directions, standard_error

Visibility = Callable[[Space, np.ndarray], dict[str, float]]

CONSTRUCTION = dict.fromkeys(("exterior-wall", "interior-wall", "floor", "roof", "door"), "wall")


def prism(corners: object, height_m: float, *, openings: tuple[OpeningSpec, ...] = ()) -> Building:
    return build_building(
        site=Site(),
        storeys=(Storey(id="ground", floor_m=0.0),),
        spaces=(SpaceSpec(id="room", storey="ground", corners=frozen(corners), height_m=height_m),),
        openings=openings,
        panels=(),
        construction=CONSTRUCTION,
    )


def convex_room(rng: np.random.Generator) -> tuple[Building, np.ndarray]:
    turns = np.sort(rng.uniform(0.0, 2.0 * np.pi, rng.integers(5, 9)))
    corners = np.column_stack((3.0 * np.cos(turns), 2.0 * np.sin(turns)))
    corners = np.vstack((corners, [(3.2, 0.0), (-3.2, 0.0), (0.0, 2.2), (0.0, -2.2)]))
    hull = shapely.get_coordinates(
        shapely.orient_polygons(shapely.convex_hull(shapely.MultiPoint(corners)))
    )[:-1]
    eye = np.append(rng.uniform(-0.9, 0.9, 2), rng.uniform(0.2, 2.2))
    return prism(hull, 2.4), eye


def bent_room(rng: np.random.Generator) -> tuple[Building, np.ndarray]:
    """An L or a U with an eye somewhere in it."""
    a, b = rng.uniform(3.0, 6.0, 2)
    u, v = rng.uniform(0.25, 0.7) * a, rng.uniform(0.25, 0.7) * b
    if rng.integers(2):
        corners = [(0, 0), (a, 0), (a, v), (u, v), (u, b), (0, b)]
    else:
        w = u + rng.uniform(0.2, 0.6) * (a - u)
        corners = [(0, 0), (a, 0), (a, b), (w, b), (w, v), (0.6 * u, v), (0.6 * u, b), (0, b)]
    height = rng.uniform(2.2, 3.0)
    floor = shapely.Polygon(corners).buffer(-0.1)
    while not floor.contains(shapely.Point(place := rng.uniform((0.0, 0.0), (a, b)))):
        pass
    return prism(corners, height), np.append(place, rng.uniform(0.2, height - 0.2))


def by_panel(building: Building, cast: Crossings) -> np.ndarray:
    """Weights (panels, 8) by the panel that the rays left through."""
    table = np.zeros((len(building.panels), cast.weights_sr.shape[1]))
    np.add.at(table, cast.first_panel, cast.weights_sr)
    return table


def errors(
    building: Building, eye: np.ndarray, exact: dict[str, float], sampling: Sampling
) -> tuple[np.ndarray, np.ndarray]:
    """Error and stated error of each panel's solid angle. [sr]"""
    cast = cast_directions(building, space="room", position_m=eye, sampling=sampling)
    table = by_panel(building, cast)
    truth = np.array([exact[panel.id] for panel in building.panels])
    return table.mean(axis=1) - truth, standard_error(table)


def test_the_independent_answer_closes(exact_visibility: Visibility) -> None:
    rng = np.random.default_rng(11)
    for _ in range(10):
        building, eye = bent_room(rng)
        total = sum(exact_visibility(building.space("room"), eye).values())
        assert total == pytest.approx(4.0 * np.pi, abs=1e-9)


def test_convex_rooms_are_exact(exact_visibility: Visibility) -> None:
    rng = np.random.default_rng(12)
    few = Sampling(points_per_panel=64, points=512)
    for _ in range(10):
        building, eye = convex_room(rng)
        exact = exact_visibility(building.space("room"), eye)
        error, stated = errors(building, eye, exact, few)
        assert np.abs(error).max() < 1e-9
        assert stated.max() < 1e-9
        cast = cast_directions(building, space="room", position_m=eye, sampling=few)
        assert abs(cast.closure_error_sr) < 1e-9
        assert cast.weights_sr.sum(axis=0) == pytest.approx(4.0 * np.pi, abs=1e-9)


def test_hidden_panels_at_the_default_sampling(exact_visibility: Visibility) -> None:
    rng = np.random.default_rng(13)
    for _ in range(4):
        building, eye = bent_room(rng)
        exact = exact_visibility(building.space("room"), eye)
        error, stated = errors(building, eye, exact, Sampling())
        assert (stated > 0.0).any()
        assert np.abs(error).max() < 1e-3
        assert abs(error.sum()) < 1e-3


def test_hidden_panels_at_the_fine_sampling(exact_visibility: Visibility) -> None:
    building, eye = bent_room(np.random.default_rng(14))
    exact = exact_visibility(building.space("room"), eye)
    error, stated = errors(building, eye, exact, FINE)
    assert (stated > 0.0).any()
    assert np.abs(error).max() < 1e-4


def test_the_stated_error_covers_the_true_one(exact_visibility: Visibility) -> None:
    """In at least 95 of 100 rooms: for the sphere as a whole and for the panel most in doubt."""
    rng = np.random.default_rng(15)
    whole = panel = 0
    for seed in range(100):
        building, eye = bent_room(rng)
        exact = exact_visibility(building.space("room"), eye)
        sampling = Sampling(points_per_panel=2**8, points=2**11, seed=seed)
        cast = cast_directions(building, space="room", position_m=eye, sampling=sampling)
        stated = float(standard_error(cast.weights_sr.sum(axis=0)))
        whole += abs(cast.closure_error_sr) <= stated + 1e-9
        error, each = errors(building, eye, exact, sampling)
        doubtful = int(np.argmax(each))
        panel += abs(error[doubtful]) <= each[doubtful] + 1e-9
    assert whole >= 95
    assert panel >= 95


def test_the_error_falls_fast_enough(exact_visibility: Visibility) -> None:
    """At least as the number of points to the power of -0.65, over a factor of 32."""
    rng = np.random.default_rng(16)
    few, many = [], []
    for seed in range(12):
        building, eye = bent_room(rng)
        exact = exact_visibility(building.space("room"), eye)
        for power, found in ((6, few), (11, many)):
            sampling = Sampling(points_per_panel=2**power, points=2 ** (power + 3), seed=seed)
            found.append(errors(building, eye, exact, sampling)[0])
    rms = [np.sqrt(np.mean(np.concatenate(found) ** 2)) for found in (few, many)]
    assert np.log(rms[1] / rms[0]) / np.log(2.0**5) <= -0.65


def test_a_narrow_undercut_round_the_corner(exact_visibility: Visibility) -> None:
    """3 mm under a door, half of it hidden: right within 1 % at the default sampling."""
    door = OpeningSpec(
        id="D", on="room/2", kind="door", along_m=1.0, width_m=0.8, height_m=2.0, undercut_m=0.003
    )
    corners = [(0, 0), (5, 0), (5, 3), (3, 3), (3, 1.6), (2.4, 1.6), (2.4, 3), (0, 3)]
    building = prism(corners, 2.4, openings=(door,))
    eye = np.array([0.6, 2.0, 0.7])
    exact = exact_visibility(building.space("room"), eye)["room/D/undercut"]
    cast = cast_directions(building, space="room", position_m=eye)
    found = by_panel(building, cast).mean(axis=1)[building.panel_index["room/D/undercut"]]
    assert 0.0 < exact < 1e-4
    assert found == pytest.approx(exact, rel=0.01)


def test_a_space_of_every_kind_of_opening(
    three_storey_house: Building, exact_visibility: Visibility
) -> None:
    """Reveals, rings, undercuts, a light: each panel of each space, hidden or not."""
    for space in three_storey_house.spaces:
        stretch = [three_storey_house.panel_index[panel.id] for panel in space.panels]
        floor = three_storey_house.panel(f"{space.id}/floor")
        eye = floor.outline[0] * 0.6 + floor.outline[1:3].mean(axis=0) * 0.4 + (0.0, 0.0, 0.7)
        cast = cast_directions(
            three_storey_house,
            space=space.id,
            position_m=eye,
            sampling=Sampling(points_per_panel=2**11, points=2**13),
        )
        exact = exact_visibility(space, eye)
        open_panels = {p.id for p in space.panels if p.kind == "open"}
        table = by_panel(three_storey_house, cast).mean(axis=1)
        for index, panel in zip(stretch, space.panels, strict=True):
            if panel.id not in open_panels:
                assert table[index] == pytest.approx(exact[panel.id], abs=1e-3)
        passed_on = table.sum() - table[stretch].sum()
        passed_on += sum(table[three_storey_house.panel_index[name]] for name in open_panels)
        assert passed_on == pytest.approx(sum(exact[name] for name in open_panels), abs=1e-3)
