"""Azimuths from a directional antenna that is turned round, and its pattern."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import Job, Plan, Reading
from envelope.project import load_text
from envelope.survey.antenna import heard_at, heard_from_all_sides
from envelope.survey.bearings import bearings_of

BASE = Path(__file__).parents[1] / "project" / "data" / "bedroom.toml"
WIDTH = np.radians(60.0)


def job_with(azimuth_deg: float, *, rest: float, turns: int, seed: int = 0) -> Job:
    """The bedroom with readings of a mast at an azimuth, every 360/turns degrees."""
    random = np.random.default_rng(seed)
    job = load_text(BASE.read_text(encoding="utf-8"), path="house.toml")
    plan = Plan(id="as-built", treatments={})
    found = []
    for number, facing in enumerate(np.linspace(0.0, 2 * np.pi, turns, endpoint=False)):
        off = abs((facing - np.radians(azimuth_deg) + np.pi) % (2 * np.pi) - np.pi)
        shown = float(heard_at(np.array(off), beamwidth_rad=WIDTH, back_db=15.0)) + rest
        shown *= 10 ** (0.1 * 1.5 * random.standard_normal())
        found.append(
            Reading(
                id=f"turn-{number}",
                sources=("mast",),
                position_m=np.array([-8.0, -8.0, 1.5]),
                level_w_m2=1e-4 * shown,
                plan=plan,
                facing_rad=float(facing),
                beamwidth_rad=WIDTH,
            )
        )
    sources = tuple(replace(each, elevation_rad=0.0) for each in job.sources)
    return replace(job, readings=tuple(found), sources=sources)


def test_the_pattern_is_at_half_power_at_half_its_width() -> None:
    """3GPP TR 38.901 V17.0.0, table 7.3-1: 12 (θ/θ_3dB)² dB, 3 dB at half the width."""
    found = heard_at(np.array([0.0, 0.5 * WIDTH, np.pi]), beamwidth_rad=WIDTH, back_db=15.0)
    assert 10 * np.log10(found) == pytest.approx([0.0, -3.0, -15.0])


def test_its_mean_over_the_sphere_is_that_of_an_integral() -> None:
    angle = np.linspace(0.0, np.pi, 200_001)
    pattern = heard_at(angle, beamwidth_rad=WIDTH, back_db=15.0)
    expected = 0.5 * np.trapezoid(pattern * np.sin(angle), angle)
    found = heard_from_all_sides(beamwidth_rad=WIDTH, back_db=15.0)
    assert found == pytest.approx(expected, rel=2e-3)


def test_azimuths_lie_within_their_doubt_as_often_as_they_say() -> None:
    inside, off_deg = 0, []
    for seed in range(60):
        azimuth = float(np.random.default_rng((9, seed)).uniform(0, 360))
        (found,) = bearings_of(job_with(azimuth, rest=0.05, turns=8, seed=seed))
        off = (np.degrees(found.azimuth_rad) - azimuth + 180) % 360 - 180
        inside += abs(np.radians(off)) <= found.doubt_rad
        off_deg.append(off)
    assert 38 <= inside <= 57  # 80 in 100 of 60: 48, give or take three standard deviations
    assert np.std(off_deg) < 8.0


def test_an_even_field_has_no_bearing() -> None:
    (found,) = bearings_of(job_with(90.0, rest=100.0, turns=8))
    assert not found.is_found
    assert found.agrees is None
    assert found.even_share > 0.9


def test_a_file_that_says_another_azimuth_is_told() -> None:
    job = job_with(100.0, rest=0.02, turns=12)
    stated = replace(job, sources=tuple(replace(s, azimuth_rad=3.0) for s in job.sources))
    (found,) = bearings_of(stated)
    assert found.agrees is False
    assert np.degrees(found.azimuth_rad) == pytest.approx(100.0, abs=6.0)
    assert bearings_of(replace(job, readings=job.readings[:2])) == ()
