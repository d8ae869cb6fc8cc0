"""Blocks outdoors: what a neighbour's house hides."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numba
import numpy as np
import pytest

from envelope.building.model import Building, Obstacle, Site
from envelope.geometry.plane import frozen
from envelope.rays import Sampling, cast_chain, cast_cone, cast_directions
from envelope.rays.kernel.arrays import Floats, Ints
from envelope.rays.kernel.obstacles import Vector, to_block

EYE = np.array([2.0, 1.5, 1.2])


def square(low: float, high: float, y: float, *, top: float, half: float = 1.0) -> Obstacle:
    """A block south of the room, from x = 2 − half to 2 + half."""
    corners = frozen([(2 - half, y - 1.0), (2 + half, y - 1.0), (2 + half, y), (2 - half, y)])
    return Obstacle(id="shed", corners=corners, low_m=low, high_m=top if high is None else high)


def with_block(building: Building, obstacle: Obstacle) -> Building:
    return replace(building, obstacles=(obstacle,), digest=building.digest + obstacle.id)


def test_distance_to_a_block_by_hand() -> None:
    block = square(0.0, 2.0, -3.0, top=2.0)
    rows = np.array([[0, len(block.planes)]], dtype=np.int32)
    south = (0.0, -1.0, 0.0)

    @numba.njit
    def distance(block: Ints, planes: Floats, point: Vector, way: Vector) -> float:
        return to_block(block, planes, point, way)  # which Python cannot call

    def away(*point: float, way: Vector = south) -> float:
        return float(distance(rows, np.array(block.planes), point, way))

    assert away(2.0, 1.0, 1.0) == pytest.approx(4.0)
    assert math.isinf(away(2.0, 1.0, 2.5))
    assert math.isinf(away(2.0, 1.0, 1.0, way=(0.0, 1.0, 0.0)))
    assert math.isinf(away(2.0, -9.0, 1.0))


def test_a_block_hides_its_own_solid_angle(box_room: Callable[..., Building]) -> None:
    """The front of a block, seen square on, as a rectangle's closed form (four arctangents)."""
    room = box_room(size=(4.0, 3.0, 2.4))
    room = replace(room, site=Site(grade_m=-50.0, reach_m=0.0))
    hidden = with_block(room, square(0.2, 2.2, -4.0, top=2.2))
    few = Sampling(points_per_panel=2**13, points=2**16)
    kwargs = {"space": room.spaces[0].id, "position_m": EYE, "sampling": few}
    open_sky, behind = (
        float(cast.solid_angle_sr[cast.sky > 0].sum())
        for cast in (cast_directions(room, **kwargs), cast_directions(hidden, **kwargs))
    )
    distance = 5.5

    def corner(x: float, z: float) -> float:
        return math.atan2(x * z, distance * math.sqrt(x * x + z * z + distance**2))

    front = 4.0 * corner(1.0, 1.0)  # 2 m wide, 1 m above and below the eye
    assert open_sky - behind == pytest.approx(front, rel=0.02)


def test_a_block_stops_a_beam_and_a_chain(box_room: Callable[..., Building]) -> None:
    room = box_room(size=(4.0, 3.0, 2.4))
    room = replace(room, site=Site(grade_m=-50.0, reach_m=0.0))
    wide = with_block(room, square(-50.0, 60.0, -4.0, top=60.0, half=60.0))
    south = np.array([0.0, -1.0, 0.0])
    beam = {"space": room.spaces[0].id, "position_m": EYE, "direction": south, "spread_rad": 0.05}
    assert (cast_cone(room, **beam).sky > 0).all()
    assert (cast_cone(wide, **beam).sky == 0).all()
    assert len(cast_chain(room, direction=south).weights) > 0
    assert len(cast_chain(wide, direction=south).weights) == 0
