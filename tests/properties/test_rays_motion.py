"""Turning, moving, mirroring and re-ordering a building change no solid angle.

Those of unhidden panels stay within 1e-9, the rest within twice the stated error.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.building.rooms.specs import OpeningSpec
from envelope.geometry.plane import frozen
from envelope.rays import Crossings, Sampling, cast_directions, standard_error

SAMPLING = Sampling(points_per_panel=2**11, points=2**14)


def table(building: Building, cast: Crossings) -> dict[tuple[str, int], np.ndarray]:
    """Weights (8,) by first panel and sky."""
    found: dict[tuple[str, int], np.ndarray] = {}
    for panel, sky, weights in zip(cast.first_panel, cast.sky, cast.weights_sr, strict=True):
        key = (building.panels[panel].id, int(sky))
        found[key] = found.get(key, 0.0) + weights
    return found


def assert_alike(one: dict, other: dict) -> None:
    for key in one.keys() | other.keys():
        here, there = (found.get(key, np.zeros(8)) for found in (one, other))
        apart = abs(here.mean() - there.mean())
        assert apart <= 1e-9 + 2.0 * (standard_error(here) + standard_error(there)) + 2e-4, key


@pytest.fixture(scope="module")
def house(random_house_specs: Callable) -> Callable[..., Building]:
    specs = random_house_specs(np.random.default_rng(31), flat_openings=False)

    def build(
        turn_rad: float = 0.0, shift_m: tuple[float, float] = (0.0, 0.0), *, backward: bool = False
    ) -> Building:
        moved = specs.moved(turn_rad=turn_rad, shift_m=shift_m)
        if backward:
            moved = replace(moved, spaces=moved.spaces[::-1], openings=moved.openings[::-1])
        return moved.build()

    return build


@pytest.mark.parametrize(
    ("turn_rad", "shift_m"), [(0.3, (0.0, 0.0)), (0.0, (1000.0, -700.0)), (2.0, (-40.0, 1000.0))]
)
def test_turned_and_moved(
    house: Callable[..., Building], turn_rad: float, shift_m: tuple[float, float]
) -> None:
    eye = np.array([1.1, 0.9, 0.8])
    cosine, sine = np.cos(turn_rad), np.sin(turn_rad)
    there = np.array(
        [
            cosine * eye[0] - sine * eye[1] + shift_m[0],
            sine * eye[0] + cosine * eye[1] + shift_m[1],
            eye[2],
        ]
    )
    building, moved = house(), house(turn_rad, shift_m)
    one = cast_directions(building, space="r00", position_m=eye, sampling=SAMPLING)
    other = cast_directions(moved, space="r00", position_m=there, sampling=SAMPLING)
    assert_alike(table(building, one), table(moved, other))


def test_spaces_in_another_order(house: Callable[..., Building]) -> None:
    eye = np.array([1.1, 0.9, 0.8])
    building, backward = house(), house(backward=True)
    assert building.panels[0].id != backward.panels[0].id
    one = cast_directions(building, space="r00", position_m=eye, sampling=SAMPLING)
    other = cast_directions(backward, space="r00", position_m=eye, sampling=SAMPLING)
    here, there = table(building, one), table(backward, other)
    assert here.keys() == there.keys()
    for key, weights in here.items():  # the very same rays: only sums run in another order
        np.testing.assert_allclose(there[key], weights, rtol=0.0, atol=1e-12, err_msg=str(key))


def test_mirrored(box_room: Callable[..., Building], box_room_specs: Callable) -> None:
    """About x = 0: an L-shaped room with a window in each of two walls."""
    corners = np.array([(0, 0), (4, 0), (4, 2), (2.2, 2), (2.2, 3.5), (0, 3.5)], dtype=float)
    flipped = (corners * (-1.0, 1.0))[::-1]

    def build(ring: np.ndarray, first: str, second: str, *, from_left: bool) -> Building:
        openings = [
            OpeningSpec(
                id=name,
                on=on,
                kind="window",
                along_m=0.5,
                from_left=from_left,
                sill_m=0.9,
                width_m=0.8,
                height_m=1.0,
                reveal_m=0.15,
            )
            for name, on in (("A", first), ("B", second))
        ]
        specs = box_room_specs(openings=openings)
        return replace(specs, spaces=(replace(specs.spaces[0], corners=frozen(ring)),)).build()

    # wall 1 (y = 0) becomes wall 5 of the flipped ring, wall 2 (x = 4) its wall 4
    plain = build(corners, "room/1", "room/2", from_left=False)
    mirror = build(flipped, "room/5", "room/4", from_left=True)
    eye = np.array([1.0, 2.6, 0.8])
    one = cast_directions(plain, space="room", position_m=eye, sampling=SAMPLING)
    other = cast_directions(
        mirror, space="room", position_m=eye * (-1.0, 1.0, 1.0), sampling=SAMPLING
    )
    names = {f"room/{k}": f"room/{6 - k if k < 6 else 6}" for k in range(1, 7)}

    def reflected(name: str) -> str:
        swapped = name.replace("left", "%").replace("right", "left").replace("%", "right")
        return names.get(swapped, swapped)

    there = {(reflected(name), sky): w for (name, sky), w in table(mirror, other).items()}
    assert_alike(table(plain, one), there)


def test_closed_forms_do_not_move(box_room_specs: Callable) -> None:
    """Unhidden panels of a turned, shifted box: to 1e-9 whatever the frame."""
    few = Sampling(points_per_panel=64, points=512)
    specs = box_room_specs()
    eye = np.array([1.2, 0.7, 1.0])
    values = []
    for turn_rad, shift_m in ((0.0, (0.0, 0.0)), (0.3, (0.0, 0.0)), (1.1, (1000.0, -700.0))):
        cosine, sine = np.cos(turn_rad), np.sin(turn_rad)
        there = np.array(
            [
                cosine * eye[0] - sine * eye[1] + shift_m[0],
                sine * eye[0] + cosine * eye[1] + shift_m[1],
                eye[2],
            ]
        )
        building = specs.moved(turn_rad=turn_rad, shift_m=shift_m).build()
        cast = cast_directions(building, space="room", position_m=there, sampling=few)
        values.append(np.bincount(cast.first_panel, weights=cast.solid_angle_sr))
        assert abs(cast.closure_error_sr) < 1e-9
    assert values[1] == pytest.approx(values[0], abs=1e-9)
    assert values[2] == pytest.approx(values[0], abs=1e-9)
