from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from envelope.rays.sobol import scrambled, unscrambled


def test_plain_points_are_those_of_scipy() -> None:
    """In another order, as SciPy counts in Gray code; a power of two holds the same points."""
    for power in (4, 7, 12):
        ours = unscrambled().points(0, 2**power)[0] - 2.0**-33
        theirs = qmc.Sobol(2, scramble=False).random_base2(power)
        assert (ours[np.lexsort(ours.T)] == theirs[np.lexsort(theirs.T)]).all()


def test_a_stretch_is_the_stretch_of_the_whole() -> None:
    sequence = scrambled(seed=(5,))
    assert (sequence.points(100, 200) == sequence.points(0, 256)[:, 100:200]).all()


@pytest.mark.parametrize("columns", [1, 32, 1024])
def test_every_scramble_is_a_net(columns: int) -> None:
    """1024 points fall one into each cell of every grid of 1024 equal cells."""
    for points in scrambled(seed=(1, 2)).points(0, 1024):
        cells = np.floor(points * [columns, 1024 // columns]).astype(int)
        assert len(np.unique(cells, axis=0)) == 1024


def test_scrambles_differ_and_seeds_repeat() -> None:
    one, again, other = (scrambled(seed=seed).points(0, 64) for seed in ((1,), (1,), (2,)))
    assert (one == again).all()
    assert not np.isclose(one, other).any(axis=(1, 2)).all()
    assert len(np.unique(one[:, 0, 0])) == 8


def test_points_stay_inside_the_square() -> None:
    points = scrambled(seed=(9,)).points(0, 2**14)
    assert points.min() > 0.0
    assert points.max() < 1.0
