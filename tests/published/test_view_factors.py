"""View factors of rectangles by cosine-weighted rays.

J. R. Howell, "A Catalog of Radiation Heat Transfer Configuration Factors", configurations C-11
(identical opposed rectangles) and C-14 (rectangles at right angles with a common edge). The
formulas from memory; C-11 seen in public code that cites Incropera's table 13.2. The values agree
with four-dimensional Gauss quadrature and numerical integration to all 10 digits that those gave.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import qmc

from envelope.building.model import Building
from envelope.rays.building_arrays import geometry_of
from envelope.rays.parallel import follow

# 2^18 points in four dimensions; other seeds scatter by 1.5e-4
TOLERANCE = 5e-4


def from_the_floor(building: Building, size: tuple[float, float, float]) -> dict[str, float]:
    """Share of the energy that an even, diffuse floor sends to each panel."""
    geometry = geometry_of(building)
    points = qmc.Sobol(4, rng=7).random_base2(18)
    starts = np.column_stack((points[:, :2] * size[:2], np.zeros(len(points)))) - geometry.middle
    radius, turn = np.sqrt(points[:, 2]), 2.0 * np.pi * points[:, 3]
    directions = np.column_stack(
        (radius * np.cos(turn), radius * np.sin(turn), np.sqrt(1.0 - points[:, 2]))
    )
    trace = follow(geometry, starts=starts, directions=directions, home=0)
    counts = np.bincount(trace.first, minlength=len(building.panels)) / len(points)
    return {panel.id: float(counts[k]) for k, panel in enumerate(building.panels)}


@pytest.mark.parametrize(
    ("width", "length", "separation", "factor"),
    [(1.0, 1.0, 1.0, 0.199824895698387), (1.2, 1.4, 2.0, 0.105626634287798)],
)
def test_opposed_rectangles_c11(
    box_room: Callable[..., Building],
    width: float,
    length: float,
    separation: float,
    factor: float,
) -> None:
    size = (width, length, separation)
    shares = from_the_floor(box_room(size=size), size)
    assert shares["room/ceiling"] == pytest.approx(factor, abs=TOLERANCE)
    assert sum(shares.values()) == pytest.approx(1.0, abs=1e-12)
    assert shares["room/floor"] == 0.0


@pytest.mark.parametrize(
    ("edge", "height", "depth", "factor"),
    [
        (1.0, 1.0, 1.0, 0.200043776075403),
        (4.0, 2.5, 3.5, 0.182340908842423),
        (1.0, 2.0, 1.0, 0.232852602795362),
    ],
)
def test_rectangles_with_a_common_edge_c14(
    box_room: Callable[..., Building], edge: float, height: float, depth: float, factor: float
) -> None:
    size = (edge, depth, height)  # wall 1 stands on the floor's edge along x
    shares = from_the_floor(box_room(size=size), size)
    assert shares["room/1"] == pytest.approx(factor, abs=TOLERANCE)
    assert shares["room/3"] == pytest.approx(factor, abs=TOLERANCE)
