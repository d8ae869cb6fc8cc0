"""The tracing of power itself: closed forms, detailed balance, decay."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from power_tracing import SPEED_M_S, facets_of, from_outside, from_transmitter, isotropic, trace

BINS = 8


def plain(building, *, reflection, transmission, absorption_m2=None):
    """Facets that all reflect and transmit alike at every angle."""
    shape = (len(building.patches), BINS)
    return facets_of(
        building,
        reflection=np.full(shape, reflection),
        transmission=np.full(shape, transmission),
        absorption_m2=np.zeros(len(building.spaces)) if absorption_m2 is None else absorption_m2,
    )


def open_all_round(facets):
    """As if nothing lay on earth."""
    return replace(facets, open=facets.beyond < 0)


@pytest.mark.parametrize("scattering", [0.0, 0.4, 1.0])
def test_a_lossless_room_in_an_even_field_holds_what_is_outside(box_room, scattering):
    """Detailed balance: τ of it direct, 1 − τ after reflections."""
    facets = open_all_round(plain(box_room(), reflection=0.7, transmission=0.3))
    rays = from_outside(facets, directions=isotropic(4000), density_w_m2=1.0, count=40_000, seed=2)
    assert rays.power_w.sum() == pytest.approx(0.3 * facets.area_m2.sum() / 4, rel=0.02)
    found = trace(facets, rays, scattering=scattering)
    assert found.lost_share == 0.0
    assert found.direct.mean() == pytest.approx(0.3, rel=0.02)
    assert found.diffuse.mean() == pytest.approx(0.7, rel=0.02)
    assert found.entered.sum(axis=1) == pytest.approx(found.diffuse[:, 0])


def test_two_lossless_rooms_in_an_even_field(two_rooms):
    """The wall between brings each of them what it takes."""
    facets = open_all_round(plain(two_rooms(), reflection=0.5, transmission=0.5))
    rays = from_outside(facets, directions=isotropic(4000), density_w_m2=1.0, count=40_000, seed=3)
    found = trace(facets, rays, scattering=0.3)
    both = found.direct.mean(axis=0) + found.diffuse.mean(axis=0)
    assert both == pytest.approx([1.0, 1.0], rel=0.03)


def test_straight_from_a_transmitter(box_room):
    """P/(4πr²) at a spot 2 m away, black walls."""
    facets = plain(box_room(), reflection=0.0, transmission=0.0)
    rays = from_transmitter(position_m=(1.0, 1.5, 1.2), space=0, power_w=2.0, count=600_000, seed=1)
    spot = np.array([[2.8, 1.3, 1.0, 3.2, 1.7, 1.4]])
    found = trace(facets, rays, scattering=0.3, probes=spot)
    assert found.probe_direct.mean() == pytest.approx(2.0 / (4 * math.pi * 2.0**2), rel=0.06)
    assert found.diffuse.sum() == 0.0


@pytest.mark.parametrize("body_m2", [0.0, 0.3])
def test_weak_absorption_and_rough_walls_make_the_field_of_the_balance(box_room, body_m2):
    """S (A α/4 + σ) = P (1 − α): a few percent of absorption are even enough for 3 %."""
    absorbed = 0.03
    facets = plain(
        box_room(), reflection=1 - absorbed, transmission=0.0, absorption_m2=np.array([body_m2])
    )
    rays = from_transmitter(position_m=(1.0, 1.5, 1.2), space=0, power_w=1.0, count=4000, seed=1)
    found = trace(facets, rays, scattering=1.0)
    area = facets.area_m2.sum()
    assert area == pytest.approx(2 * (4 * 3 + 4 * 2.4 + 3 * 2.4))
    expected = (1 - absorbed) / (area * absorbed / 4 + body_m2)
    assert found.diffuse.mean() == pytest.approx(expected, rel=0.03)


def decay_time_s(found, *, step_s, first, last):
    """Time in which the traced power falls to 1/e, from the slope between two steps."""
    time = (np.arange(len(found.decay)) + 0.5) * step_s
    slope = np.polyfit(time[first:last], np.log(found.decay[first:last]), 1)[0]
    return -1.0 / slope


def test_decay_lies_between_eyrings_and_sabines_time(box_room):
    """4 × 3.5 × 2.5 m, half absorbed: Eyring 10.29 ns, Sabine 14.26 ns (closed forms).

    With rough walls Eyring's is the nearer (Steinböck et al. 2013, abstract). Paths of unequal
    length make it longer: Eyring over 1 + γ²/2 · ln(1 − α), 11.9 ns with γ² = 0.4 (Kuttruff, Room
    Acoustics; from memory).
    """
    facets = plain(box_room(size=(4.0, 3.5, 2.5)), reflection=0.5, transmission=0.0)
    rays = from_transmitter(position_m=(1.0, 1.5, 1.2), space=0, power_w=1.0, count=60_000, seed=1)
    found = trace(facets, rays, scattering=1.0, step_s=1e-9, steps=60)
    traced_ns = 1e9 * decay_time_s(found, step_s=1e-9, first=15, last=50)
    assert 10.29 < traced_ns < 11.9 * 1.03
    assert found.decay[0] / (1e-9 * SPEED_M_S) == pytest.approx(1.0, rel=0.02)  # all of 1 W
