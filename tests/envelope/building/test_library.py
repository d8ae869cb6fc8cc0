"""The starter assemblies: known materials only, marked as typical, and of a plausible loss."""

from __future__ import annotations

import math
import re
from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.building.library import ASSEMBLIES, TYPICAL
from envelope.building.model import Building, Site
from envelope.exposure.stacks import Stacker, StackKey
from envelope.physics.stacks import solve

FREQUENCY_HZ = np.array([2.45e9])


def _job() -> Job:
    nothing = Building(
        site=Site(), storeys=(), spaces=(), panels=(), patches=(), elements=(), digest=""
    )
    return Job(
        name="library",
        building=nothing,
        assemblies=ASSEMBLIES,
        treatments={},
        sources=(),
        receivers=(),
        plans=(),
    )


def _loss_db(name: str) -> float:
    key = StackKey(near=(), assembly=name, forward=True, far=())
    items = Stacker(job=_job(), frequency_hz=FREQUENCY_HZ).items(key)
    found = solve(stack=items, frequency_hz=FREQUENCY_HZ, cosine=[1.0])
    passed = float(found.transmission.mean())
    return -10.0 * math.log10(passed) if passed > 0.0 else math.inf


def test_physics_takes_every_one_within_the_range_of_its_sources() -> None:
    stacker = Stacker(job=_job(), frequency_hz=FREQUENCY_HZ)
    for name in ASSEMBLIES:
        stacker.items(StackKey(near=(), assembly=name, forward=True, far=()))
    assert not stacker.extrapolated


def test_every_one_is_marked_and_named_as_a_project_file_names_things() -> None:
    assert len(ASSEMBLIES) == 47
    for name, assembly in ASSEMBLIES.items():
        assert assembly.id == name
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", name)
        assert assembly.note.startswith(TYPICAL)
        assert assembly.layers
        assert not assembly.parts  # so that one can be taken without another


def test_thicknesses_are_those_of_buildings() -> None:
    for assembly in ASSEMBLIES.values():
        total_m = sum(layer.thickness_m for layer in assembly.layers)
        assert 0.0003 < total_m < 1.2
        for layer in assembly.layers:
            if layer.material is None:
                assert layer.sheet_resistance_ohm_sq is not None
                assert 1.0 <= layer.sheet_resistance_ohm_sq <= 30.0
            elif layer.material == "air":
                assert layer.cavity == (layer.thickness_m >= 0.04)
            else:
                assert 0.0 < layer.thickness_m <= 0.5


@pytest.mark.parametrize(
    ("name", "least_db", "most_db"),
    [
        # wide brackets around what such things are commonly held to lose at 2.45 GHz; no source
        ("stud-wall", 0.1, 4.0),
        ("timber-wall", 1.0, 12.0),
        ("cavity-brick-wall", 3.0, 20.0),
        ("concrete-wall", 12.0, 45.0),
        ("single-glazing", 0.1, 5.0),
        ("double-glazing", 0.1, 8.0),
        ("solid-wood-door", 0.5, 6.0),
        ("double-low-e", 20.0, 40.0),
        ("double-low-e-hard", 15.0, 30.0),
        ("triple-low-e", 40.0, 80.0),
        ("foil-insulated-wall", 50.0, 400.0),
        ("metal-roof", 100.0, np.inf),
        ("steel-door", 100.0, np.inf),
    ],
)
def test_losses_are_of_the_right_order(name: str, least_db: float, most_db: float) -> None:
    assert least_db <= _loss_db(name) <= most_db


def test_what_is_left_out_is_said() -> None:
    for name in ("reinforced-slab", "concrete-floor", "concrete-wall"):
        assert re.search(r"bars (is|are) left out", ASSEMBLIES[name].note), name
    assert "without the lath" in ASSEMBLIES["metal-lath-wall"].note
    for name, assembly in ASSEMBLIES.items():
        if any(layer.material in ("metal", "aluminium") for layer in assembly.layers):
            assert "seams" in assembly.note, name


def test_nobody_can_change_it() -> None:
    with pytest.raises(TypeError):
        ASSEMBLIES["stud-wall"] = ASSEMBLIES["log-wall"]  # type: ignore[index]
    with pytest.raises(FrozenInstanceError):
        ASSEMBLIES["stud-wall"].note = ""  # type: ignore[misc]
