from __future__ import annotations

import numpy as np
import pytest

from envelope.geometry.directions import axes_across


@pytest.mark.parametrize("length", [1e-6, 1.0, 1e6])
def test_the_two_axes_and_the_direction_are_a_right_handed_basis(length: float) -> None:
    rng = np.random.default_rng(5)
    ways = rng.normal(size=(200, 3))
    ways = np.concatenate((ways, np.eye(3), -np.eye(3), np.eye(3) + 1e-12))
    for way in ways / np.linalg.norm(ways, axis=1)[:, np.newaxis]:
        u, v = axes_across(length * way)
        basis = np.stack((u, v, way))
        assert basis @ basis.T == pytest.approx(np.eye(3), abs=1e-14)
        assert np.linalg.det(basis) == pytest.approx(1.0, abs=1e-14)
