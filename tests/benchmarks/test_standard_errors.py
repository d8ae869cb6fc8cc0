"""Rooms by chance of `standard_errors.py`: they are all sound, and more rays come closer."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import tomlkit

from envelope.project import load_text
from envelope.rays import Sampling

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def rooms() -> ModuleType:
    """The script, which is no part of a package."""
    spec = importlib.util.spec_from_file_location("standard_errors", HERE / "standard_errors.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_every_room_is_a_job_with_five_plans_and_two_bands(rooms: ModuleType) -> None:
    for seed in range(100, 124):
        job = load_text(tomlkit.dumps(rooms.ordinary_room(seed)), path="room.toml")
        assert [space.id for space in job.building.spaces] == ["bed", "hall", "below"]
        assert len(job.plans) == 5
        assert len(job.sources) == len(rooms.BANDS)


def test_more_rays_state_less_and_come_closer(rooms: ModuleType) -> None:
    """In a bedroom with a door, under all plans together: 64 times the rays, at most a fifth
    of the error."""
    job = load_text(tomlkit.dumps(rooms.ordinary_room(103)), path="room.toml")
    few, many, other = (
        np.array(
            rooms.figures(
                job,
                rooms.crossings_of(
                    job,
                    sampling=Sampling(points_per_panel=points, points=16 * points, seed=seed),
                    bins=rooms.BINS,
                ),
            )
        )
        for points, seed in ((2**6, 1), (2**12, 2), (2**12, 3))
    )
    for figure, stated in ((0, 1), (2, 3)):
        apart = np.abs(few[:, figure] - other[:, figure]).mean()
        closer = np.abs(many[:, figure] - other[:, figure]).mean()
        assert closer < 0.2 * apart
        assert many[:, stated].mean() < few[:, stated].mean()
    assert many[:, 1].mean() < 0.2 * few[:, 1].mean()
    # rays alone: both are in the same bins
    assert np.mean(np.abs(many[:, 0] / other[:, 0] - 1.0) <= many[:, 1] + other[:, 1]) >= 0.95
