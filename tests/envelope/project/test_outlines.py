"""Corners of rooms from sizes, footprints and walks."""

import math

import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.project.outlines import footprint_corners, size_corners, walk_corners


def test_a_size() -> None:
    assert size_corners("4.2 m x 3.6 m") == ((0.0, 0.0), (4.2, 0.0), (4.2, 3.6), (0.0, 3.6))


def test_a_walk_closes_itself() -> None:
    corners = walk_corners("E 13 ft 9 in; N 8 ft 6 in; W 4 ft 11 in; N 3 ft 3 in; W 8 ft 10 in; S")
    expected = [
        (0, 0),
        (4.191, 0),
        (4.191, 2.5908),
        (2.6924, 2.5908),
        (2.6924, 3.5814),
        (0, 3.5814),
    ]
    np.testing.assert_allclose(corners, expected, rtol=0.0, atol=1e-12)


def test_a_last_leg_that_is_given_is_checked_and_may_be_rounded() -> None:
    walk_corners("E 4 m; N 3 m; W 4 m; S 3 m")
    walk_corners("E 4 m; N 3 m; W 4 m; S 3.0004 m")
    with pytest.raises(RangeError, match=r"it ends 0\.0010 m south of where it began"):
        walk_corners("E 4 m; N 3 m; W 4 m; S 3.001 m")


def test_a_diagonal_walk() -> None:
    corners = walk_corners("SE 1 m; NE 1 m; NW 1 m; SW")
    half = math.sqrt(0.5)
    np.testing.assert_allclose(
        corners, [(0, 0), (half, -half), (2 * half, 0), (half, half)], rtol=0.0, atol=1e-12
    )


def test_a_bay() -> None:
    corners = footprint_corners("0,0  4,0  4,3  3,3  2.5,3.5  1.5,3.5  1,3  0,3 m")
    assert len(corners) == 8


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("0,0 4,0 4,3 4,1 0,1 m", "wall 2 meets wall 4"),  # runs back over itself
        ("0,0 4,0 4,3 2,0 0,3 m", "wall 1 meets wall 3"),  # a corner on a wall
        ("0,0 2,0 2,2 4,2 4,4 2,4 2,2 0,2 m", "wall 2 meets wall 6"),  # corner to corner
        ("0,0 4,3 4,0 0,3 m", "wall 1 meets wall 3"),
        ("0,0 8,0 4,0 4,3 m", "wall 1 meets wall 3"),  # a spike
    ],
)
def test_crossings(text: str, says: str) -> None:
    with pytest.raises(RangeError, match=says):
        footprint_corners(text)


@pytest.mark.parametrize("east_m", [0.0, 1000.0])
def test_random_stars_pass_and_their_reverse_is_clockwise(east_m: float) -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        angles = np.sort(rng.uniform(0.0, 2.0 * np.pi, 12)) + 0.05 * np.arange(12)
        angles *= 2.0 * np.pi / (2.0 * np.pi + 0.6)
        reach = rng.uniform(1.0, 3.0, 12)
        points = np.column_stack((east_m + reach * np.cos(angles), reach * np.sin(angles)))
        text = "; ".join(f"{x:.4f}, {y:.4f}" for x, y in points) + " m"
        assert len(footprint_corners(text)) == 12
        back = "; ".join(f"{x:.4f}, {y:.4f}" for x, y in points[::-1]) + " m"
        with pytest.raises(RangeError, match="runs clockwise"):
            footprint_corners(back)


def test_most_corners() -> None:
    text = "; ".join(f"{number}, 0" for number in range(401)) + " m"
    with pytest.raises(RangeError, match="has 401 corners: at most 400"):
        footprint_corners(text)
