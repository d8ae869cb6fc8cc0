"""Splines against SciPy's `CubicSpline`, a general-purpose library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from envelope.errors import RangeError
from envelope.physics.interpolation import even_spline


@pytest.mark.parametrize("count", [4, 5, 9, 65])
def test_the_same_as_scipys(count: int) -> None:
    rng = np.random.default_rng(count)
    nodes = np.linspace(0.2, 0.97, count)
    values = rng.normal(size=(count, 2, 2))
    at = np.concatenate((nodes, rng.uniform(0.2, 0.97, size=300)))
    found = even_spline(first=0.2, last=0.97, values=values, at=at)
    assert found == pytest.approx(CubicSpline(nodes, values, axis=0)(at), abs=1e-11)


def test_a_cubic_comes_back_exactly() -> None:
    nodes, at = np.linspace(-1.0, 2.0, 7), np.linspace(-1.0, 2.0, 50)
    found = even_spline(first=-1.0, last=2.0, values=nodes**3 - nodes, at=at)
    assert found == pytest.approx(at**3 - at, abs=1e-13)


def test_too_few_nodes_are_refused() -> None:
    with pytest.raises(RangeError, match="3 nodes from 0 to 1; allowed: at least 4, rising"):
        even_spline(first=0.0, last=1.0, values=np.zeros(3), at=np.zeros(1))
