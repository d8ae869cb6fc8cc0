"""How fast casts are, as ratios within one run, since times depend on the machine."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import trimesh
from trimesh.ray.ray_triangle import RayMeshIntersector

from envelope.building.model import Building
from envelope.rays import Sampling, cast_directions
from envelope.rays.building_arrays import geometry_of

EYE = np.array([1.0, 1.0, 3.4])


def least_time(action: Callable[[], object], repeats: int = 3) -> float:
    """Processor time, since other work on the machine must not count."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        action()
        times.append(time.process_time() - start)
    return min(times)


def test_a_whole_walk_costs_less_than_a_general_first_hit(three_storey_house: Building) -> None:
    """Rays aimed, walked to the sky and merged: over 4 times as many as trimesh finds first hits.

    15 times where this was written.
    """
    geometry = geometry_of(three_storey_house)
    mesh = trimesh.Trimesh(
        vertices=np.concatenate(geometry.triangles).reshape(-1, 3),
        faces=np.arange(3 * sum(len(t) for t in geometry.triangles)).reshape(-1, 3),
        process=False,
    )
    engine = RayMeshIntersector(mesh)
    ways = np.random.default_rng(1).normal(size=(500, 3))
    starts = np.tile(EYE - geometry.middle, (len(ways), 1))
    sampling = Sampling(points_per_panel=2**10, points=2**14)

    def cast() -> int:
        return cast_directions(
            three_storey_house, space="bedroom", position_m=EYE, sampling=sampling
        ).rays

    rays = cast()  # compiled by now
    ours = least_time(cast) / rays
    theirs = least_time(lambda: engine.intersects_first(starts, ways)) / len(ways)
    assert theirs > 4.0 * ours


def test_cost_grows_with_the_rays_not_faster(three_storey_house: Building) -> None:
    """Eight times the points cost at most twelve times the time."""

    def cast(power: int) -> float:
        sampling = Sampling(points_per_panel=2**power, points=2 ** (power + 4))
        return least_time(
            lambda: cast_directions(
                three_storey_house, space="bedroom", position_m=EYE, sampling=sampling
            )
        )

    cast(8)
    assert cast(12) < 12.0 * cast(9)


def test_a_far_house_costs_no_more(random_house_specs: Callable) -> None:
    specs = random_house_specs(np.random.default_rng(5), flat_openings=False)
    sampling = Sampling(points_per_panel=2**10, points=2**14)
    times = []
    for shift in ((0.0, 0.0), (1000.0, -700.0)):
        building = specs.moved(shift_m=shift).build()
        eye = np.array([1.1 + shift[0], 0.9 + shift[1], 0.8])

        def cast(building: Building = building, eye: np.ndarray = eye) -> object:
            return cast_directions(building, space="r00", position_m=eye, sampling=sampling)

        cast()
        times.append(least_time(cast))
    assert times[1] < 1.5 * times[0]
