"""Ground beside a building: of a surface, of a solid, of a slope, of one that is not there."""

from __future__ import annotations

import numpy as np
import pytest

from envelope.exchange.ifc.terrain import grade_of, top_at

ROOMS = np.array(
    [(x, y, z) for x in (0.0, 8.0) for y in (0.0, 6.0) for z in (-2.5, 0.0, 2.5)], dtype=float
)


def quad(corners: list[tuple[float, float, float]]) -> np.ndarray:
    a, b, c, d = (np.array(corner) for corner in corners)
    return np.array([[a, b, c], [a, c, d]])


def plane(height: float, slope: float = 0.0, reach: float = 30.0) -> np.ndarray:
    def z(x: float) -> float:
        return height + slope * x

    return quad(
        [(-reach, -reach, z(-reach)), (reach, -reach, z(reach)), (reach, reach, z(reach)),
         (-reach, reach, z(-reach))]
    )  # fmt: skip


def test_a_surface() -> None:
    found = grade_of(terrain=plane(-0.15), rooms=ROOMS)
    assert found is not None
    assert found.height_m == pytest.approx(-0.15)
    assert not found.slopes


def test_a_solid_counts_by_its_top() -> None:
    """A slab of earth from −6.5 to −0.15 m, its underside meshed finer than its top."""
    bottom = np.concatenate([plane(-6.5, reach=reach) for reach in (30, 20, 10, 5)])
    side = quad([(-30, -30, -6.5), (30, -30, -6.5), (30, -30, -0.15), (-30, -30, -0.15)])
    solid = np.concatenate([bottom, side, plane(-0.15)])
    found = grade_of(terrain=solid, rooms=ROOMS)
    assert found is not None
    assert found.height_m == pytest.approx(-0.15)


def test_a_hollow_for_the_cellar_does_not_count() -> None:
    """Under the house the terrain is dug out; beside it the ground is at 0.2 m."""
    pit = quad([(0, 0, -3), (8, 0, -3), (8, 6, -3), (0, 6, -3)])
    around = [
        quad([(-20, -20, 0.2), (20, -20, 0.2), (20, -0.3, 0.2), (-20, -0.3, 0.2)]),
        quad([(-20, 6.3, 0.2), (20, 6.3, 0.2), (20, 20, 0.2), (-20, 20, 0.2)]),
        quad([(-20, -0.3, 0.2), (-0.3, -0.3, 0.2), (-0.3, 6.3, 0.2), (-20, 6.3, 0.2)]),
        quad([(8.3, -0.3, 0.2), (20, -0.3, 0.2), (20, 6.3, 0.2), (8.3, 6.3, 0.2)]),
    ]
    found = grade_of(terrain=np.concatenate([pit, *around]), rooms=ROOMS)
    assert found is not None
    assert found.height_m == pytest.approx(0.2)


def test_a_slope_says_so() -> None:
    found = grade_of(terrain=plane(0.0, slope=0.1), rooms=ROOMS)
    assert found is not None
    assert found.slopes
    assert (found.low_m, found.high_m) == pytest.approx((-0.06, 0.86), abs=0.02)
    assert found.height_m == pytest.approx(0.4, abs=0.05)  # the middle of the house


def test_a_terrain_that_does_not_reach_the_house() -> None:
    far = plane(0.0, reach=3.0) + np.array([100.0, 0.0, 0.0])
    assert grade_of(terrain=far, rooms=ROOMS) is None
    assert grade_of(terrain=np.zeros((0, 3, 3)), rooms=ROOMS) is None


def test_the_topmost_triangle_counts() -> None:
    both = np.concatenate([plane(1.0), plane(2.0, slope=0.1)])
    heights = top_at(both, np.array([(0.0, 0.0), (5.0, 1.0), (99.0, 0.0)]))
    assert heights[:2] == pytest.approx([2.0, 2.5])
    assert heights[2] == -np.inf
