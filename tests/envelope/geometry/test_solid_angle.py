from __future__ import annotations

import numpy as np
import pytest

from envelope.geometry.solid_angle import spread_over_triangles, triangle_solid_angle
from envelope.rays.sobol import scrambled


def spread(corners: np.ndarray, count: int = 4096) -> tuple[np.ndarray, float]:
    unit = corners / np.linalg.norm(corners, axis=1)[:, np.newaxis]
    whole = float(abs(triangle_solid_angle(unit)))
    square = scrambled(seed=(3,), scrambles=1).points(0, count)[0]
    directions = spread_over_triangles(
        np.broadcast_to(unit, (count, 3, 3)),
        np.full(count, whole),
        first=square[:, 0],
        second=square[:, 1],
    )
    return directions, whole


def share(corners: np.ndarray, directions: np.ndarray) -> float:
    """Of directions within a triangle, told by the signs of three determinants."""
    sides = [np.cross(corners[k], corners[(k + 1) % 3]) for k in range(3)]
    sign = np.sign(np.linalg.det(corners))
    return float(np.all([sign * (directions @ side) >= 0.0 for side in sides], axis=0).mean())


def test_far_slivers_keep_their_digits() -> None:
    """3 mm × 2 m at 4 m, against the closed form of a rectangle with a corner on the axis."""
    ring = np.array([(4.0, 0.0, 0.0), (4.0, 0.003, 0.0), (4.0, 0.003, 2.0), (4.0, 0.0, 2.0)])
    halves = triangle_solid_angle(np.array([ring[[0, 1, 2]], ring[[0, 2, 3]]]))
    # atan(xy / (d sqrt(x² + y² + d²))) with x = 0.003, y = 2, d = 4, in 40-digit arithmetic
    assert abs(halves.sum()) == pytest.approx(3.354101085798266497e-4, rel=1e-14, abs=0.0)


def test_winding_gives_the_sign() -> None:
    corners = np.array([(1.0, 0.0, 0.2), (0.0, 1.0, 0.1), (0.3, 0.2, 1.0)])
    assert triangle_solid_angle(corners) == -triangle_solid_angle(corners[::-1])
    assert triangle_solid_angle(corners) > 0.0


@pytest.mark.parametrize(
    "corners",
    [
        np.eye(3),
        np.eye(3)[::-1],
        np.array([(4.0, 0.0, 0.0), (4.0, 0.003, 0.0), (4.0, 0.003, 2.0)]),
        np.array([(4.0, 0.003, 0.0), (4.0, 0.003, 2.0), (4.0, 0.0, 0.0)]),
        np.array([(4.0, 0.003, 2.0), (4.0, 0.0, 0.0), (4.0, 0.003, 0.0)]),
        np.array([(1.0, 0.0, 0.05), (-0.5, 0.866, 0.05), (-0.5, -0.866, 0.05)]),
        np.array([(0.02, 0.0, -0.001), (-3.0, 1.0, -0.001), (-3.0, -2.0, -0.001)]),
    ],
)
def test_directions_fill_the_triangle_evenly(corners: np.ndarray) -> None:
    """Each corner's third of the triangle gets its share of the points."""
    directions, whole = spread(corners)
    assert np.linalg.norm(directions, axis=1) == pytest.approx(1.0, abs=1e-15)
    assert share(corners, directions) == 1.0
    middle = corners.mean(axis=0)
    for k in range(3):
        part = np.array([corners[k], corners[(k + 1) % 3], middle])
        expected = abs(float(triangle_solid_angle(part))) / whole
        assert share(part, directions) == pytest.approx(expected, abs=4e-3)


def test_a_sliver_is_filled_from_edge_to_edge() -> None:
    corners = np.array([(4.0, 0.0, 0.0), (4.0, 0.003, 0.0), (4.0, 0.003, 2.0)])
    directions, _ = spread(corners, count=2**16)
    points = directions * (4.0 / directions[:, :1])
    across = points[:, 1] - 0.0015 * points[:, 2]
    assert across.min() > 0.0
    assert across.min() < 1e-5 * 0.003 * 10
    assert points[:, 1].max() == pytest.approx(0.003, rel=1e-4)
    assert points[:, 1].max() < 0.003 * (1.0 + 1e-12)
