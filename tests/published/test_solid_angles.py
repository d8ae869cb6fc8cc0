"""Solid angles of rectangles and triangles.

A. Van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. BME-30(2), 125-126, 1983 (the triangle
formula, seen in public code that cites it) and R. J. Mathar, "Solid Angle of a Rectangular Plate",
MPIA note 2014/2015 (four arctangents, derived anew). The values were computed in both ways, which
agree to 1e-24, and by two-dimensional quadrature, which agrees to 1e-14; they are rounded to 15
digits.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.building.rooms.specs import OpeningSpec
from envelope.geometry.solid_angle import triangle_solid_angle
from envelope.rays import Sampling, cast_directions

FEW = Sampling(points_per_panel=64, points=512)

# x from, x to, y from, y to, distance of the plane from an eye at the origin; solid angle [m], [sr]
RECTANGLES = [
    (-0.5, 0.5, -0.5, 0.5, 1.0, 0.0640942168489749 * 4.0 * np.pi),
    (-1.0, 1.0, -1.0, 1.0, 1.0, 2.0943951023932),
    (-0.6, 0.6, -0.7, 0.7, 2.0, 0.38027454849059),
    (0.4, 1.6, -0.7, 0.7, 2.0, 0.286058839846137),
    (1.9, 3.1, -0.2, 1.2, 1.5, 0.100077534616579),
    (-0.45, 0.45, -0.6, 1.5, 3.0, 0.190969370969244),
    (0.0, 1.0, 0.0, 1.0, 1.0, 0.523598775598299),
]


@pytest.mark.parametrize("case", RECTANGLES)
def test_rectangle_of_two_triangles(case: tuple[float, ...]) -> None:
    x0, x1, y0, y1, distance, solid_angle_sr = case
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    ring = np.column_stack((corners, np.full(4, distance)))
    halves = np.array([ring[[0, 1, 2]], ring[[0, 2, 3]]])
    assert abs(triangle_solid_angle(halves)).sum() == pytest.approx(solid_angle_sr, rel=2e-14)


def test_triangle_with_a_negative_denominator() -> None:
    """Wider than half the sphere of directions: a plain arctangent takes the wrong branch."""
    corners = np.array(
        [
            (1.0, 0.0, 0.05),
            (-0.5, 0.8660254037844386, 0.05),
            (-0.5, -0.8660254037844386, 0.05),
        ]
    )
    assert triangle_solid_angle(corners) == pytest.approx(5.76550677210559, rel=2e-15)


@pytest.mark.parametrize("case", RECTANGLES[:6])
def test_window_seen_across_a_room(
    case: tuple[float, ...], box_room: Callable[..., Building]
) -> None:
    x0, x1, y0, y1, distance, solid_angle_sr = case
    eye = np.array([4.0, distance, 2.0])
    window = OpeningSpec(
        id="W",
        on="room/1",  # the wall y = 0, from x = 0
        kind="window",
        along_m=eye[0] + x0,
        sill_m=eye[2] + y0,
        width_m=x1 - x0,
        height_m=y1 - y0,
    )
    building = box_room(size=(8.0, 4.0, 4.0), openings=(window,))
    cast = cast_directions(building, space="room", position_m=eye, sampling=FEW)
    through = cast.first_panel == building.panel_index["room/W"]
    assert cast.solid_angle_sr[through].sum() == pytest.approx(solid_angle_sr, abs=1e-9)


def test_faces_of_a_room(box_room: Callable[..., Building]) -> None:
    building = box_room(size=(4.0, 3.5, 2.5))
    cast = cast_directions(
        building, space="room", position_m=np.array([1.2, 0.9, 0.6]), sampling=FEW
    )
    expected = {
        "room/east": 0.771944949363483,
        "room/floor": 4.11013482831743,
        "room/ceiling": 1.77013097845903,
    }
    for name, solid_angle_sr in expected.items():
        through = cast.first_panel == building.panel_index[name]
        assert cast.solid_angle_sr[through].sum() == pytest.approx(solid_angle_sr, abs=1e-9)
    assert cast.closure_error_sr == pytest.approx(0.0, abs=1e-9)
