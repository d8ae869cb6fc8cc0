"""Every ray's chain of walls, panes and rooms, against a walker that shares nothing with ours.

`ray_oracle.py` runs a million rays in each of fifty houses; here some thousands in a few, among
them those in which the walk once lost a room behind two jambs, and took a wall that only lay in the
plane of a jamb for the one that the jamb stands in.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

PATH = Path(__file__).parent / "ray_oracle.py"


@pytest.fixture(scope="module")
def oracle() -> ModuleType:
    spec = importlib.util.spec_from_file_location("ray_oracle", PATH)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("seed", [0, 6, 8, 12, 13, 31])
def test_both_walkers_agree_on_every_ray(oracle: ModuleType, seed: int) -> None:
    found = oracle.compare(seed, 20_000)
    assert found.rays > 15_000
    assert found.edges < 20
    assert found.wrong == []


def test_rays_meet_everything_that_a_house_has(oracle: ModuleType) -> None:
    """Else the comparison would say little."""
    house = oracle.house_by_chance(12)
    met = set()
    for space, start, ways in oracle.rays_of(house, 10_000, oracle.np.random.default_rng(3)):
        starts = oracle.np.tile(start, (len(ways), 1))
        walks = oracle.walk(house, starts, ways, oracle.np.full(len(ways), space))
        met |= set(walks.codes.ravel().tolist())
        assert set(walks.sky.tolist()) <= {0, 1, 2}
    assert met == {-1, *range(len(oracle.NAMES))}
