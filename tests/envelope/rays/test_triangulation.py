"""What fills a panel and seeds its points follows its shape alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Panel
from envelope.geometry.plane import Floats
from envelope.rays.triangulation import filling, seed_of


def rectangle(x: float, z: float, width: float, height: float) -> Floats:
    return np.array(
        [[x, 3.0, z], [x + width, 3.0, z], [x + width, 3.0, z + height], [x, 3.0, z + height]]
    )


def wall(outline: Floats, *holes: Floats) -> Panel:
    return Panel(id="room/3", space="room", kind="wall", outline=outline, holes=holes)


SHAPES = {
    "rectangle": wall(rectangle(0, 0, 4, 2.4)[::-1]),
    "square with a square hole": wall(
        rectangle(0, 0, 2, 2)[::-1], rectangle(0.5, 0.5, 1, 1)
    ),
    "four equal windows": wall(
        rectangle(0, 0, 8, 2.4)[::-1], *(rectangle(0.5 + 2 * k, 0.7, 1, 1) for k in range(4))
    ),
    "gable": wall(
        np.array([[0, 3, 0], [0, 3, 2], [2, 3, 3.5], [4, 3, 2], [4, 3, 0]], dtype=float)
    ),
    "regular": wall(
        np.array([[np.sin(a), 3, np.cos(a)] for a in np.arange(12) * np.pi / 6])
    ),
}  # fmt: skip


def area(triangles: Floats) -> float:
    sides = triangles[:, 1:] - triangles[:, :1]
    return float(0.5 * np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1).sum())


def disturbed(panel: Panel, rng: np.random.Generator) -> Panel:
    """Rings from another corner, holes in another order, corners more on straight lines, noise."""

    def ring(corners: Floats) -> Floats:
        corners = np.roll(corners, int(rng.integers(len(corners))), axis=0)
        more = corners[0] + rng.uniform(0.2, 0.8) * (corners[1] - corners[0])
        corners = np.insert(corners, 1, more, axis=0)
        return np.roll(corners + rng.normal(scale=2e-7, size=corners.shape), 1, axis=0)

    holes = [ring(hole) for hole in panel.holes]
    rng.shuffle(holes)
    return replace(panel, id="other/name", outline=ring(panel.outline), holes=tuple(holes))


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_triangles_and_seed_stay_those_of_the_shape(name: str) -> None:
    panel = SHAPES[name]
    triangles = filling(panel)
    assert area(triangles) == pytest.approx(panel.area_m2, rel=1e-12)
    corners = {tuple(corner) for ring in (panel.outline, *panel.holes) for corner in ring.tolist()}
    assert {tuple(corner) for corner in triangles.reshape(-1, 3).tolist()} == corners
    seed = seed_of(triangles, np.zeros(3))
    rng = np.random.default_rng(5)
    for _ in range(40):
        again = filling(disturbed(panel, rng))
        assert again.shape == triangles.shape
        np.testing.assert_allclose(again, triangles, atol=2e-6)
        assert seed_of(again, np.zeros(3)) == seed


def test_seeds_of_panels_differ_by_place_size_and_facing() -> None:
    panels = [
        wall(rectangle(0, 0, 4, 2.4)[::-1]),
        wall(rectangle(0, 0, 4, 2.4)),
        wall(rectangle(0.3, 0, 4, 2.4)[::-1]),
        wall(rectangle(0.5, 0.3, 3, 1.8)[::-1]),
    ]
    seeds = {seed_of(filling(panel), np.zeros(3)) for panel in panels}
    assert len(seeds) == 4


def test_a_house_elsewhere_has_the_same_seeds() -> None:
    triangles = filling(wall(rectangle(0, 0, 4, 2.4)))
    far = np.array([1.0e6, -2.0e6, 30.0])
    assert seed_of(triangles + far, far) == seed_of(triangles, np.zeros(3))
