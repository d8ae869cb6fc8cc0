"""What goes round the outside: power traced through two windows, and waves along a wall."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from power_tracing import trace
from traced_rooms import FEW, bare, facets_under, rays_of

from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load_text

CORNER = """format = 1
name = "two rooms at an inner corner"
[site]
reach = "0 m"
[construction]
exterior-wall = "wall"
interior-wall = "wall"
floor = "wall"
roof = "wall"
window = "pane"
[[assembly]]
id = "wall"
loss = "200 dB"
reflects = 0.5
[[assembly]]
id = "pane"
loss = "1 dB"
reflects = 0.1
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "west"
storey = "ground"
size = "4 m x 4 m"
height = "2.4 m"
[[space]]
id = "north"
storey = "ground"
origin = "4.1 m, 4.1 m"
size = "4 m x 4 m"
height = "2.4 m"
[[opening]]
id = "WA"
on = "west/2"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1.5 m x 1.2 m"
[[opening]]
id = "WB"
on = "north/1"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1.5 m x 1.2 m"
[[source]]
id = "router"
space = "west"
at = "1, 2, 1.2 m"
band = "2.45 GHz"
eirp = "20 dBm"
[[receiver]]
id = "bed"
space = "north"
at = "2, 2, 1 m"
"""


def test_across_an_inner_corner_as_much_as_is_traced():
    """Both windows see each other: the bound is then an estimate, within a factor of 1.5."""
    job = bare(load_text(CORNER, path="corner.toml"))
    (source,) = analyze(job=job, casts=cast_job(job, sampling=FEW)).plans[0].receivers[0].sources
    facets = facets_under(job, "as-built")
    rays = rays_of(job, facets, count=200_000)
    shut = trace(facets, rays, scattering=1.0, watched=1)
    assert (shut.direct + shut.diffuse)[:, 1].max() < 1e-12 * shut.diffuse[:, 0].mean()
    found = trace(facets, rays, scattering=1.0, watched=1, outdoors=True)
    traced = float(found.diffuse[:, 1].mean())
    noise = float(found.diffuse[:, 1].std(ddof=1)) / math.sqrt(len(found.diffuse))
    assert noise < 0.1 * traced
    assert traced < 1.2 * source.round_outside_w_m2
    assert traced > 0.5 * source.round_outside_w_m2
    # 30 dB and more below the room that it leaves
    assert traced < 1e-3 * found.diffuse[:, 0].mean()


@pytest.mark.parametrize("distance_m", [2.0, 4.0])
def test_along_a_wall_waves_stay_below_the_bound(distance_m):
    """Incoherent plane waves through an aperture, seen in the plane of its wall.

    Second Rayleigh–Sommerfeld integral (field across the wall's edge; the first gives nothing
    there), summed over a hemisphere of directions: the density stays below S A/(4π d²) in this
    polarization, so below S A/(8π d²) in the mean of both.
    """
    width, height, wave = 0.5, 0.4, 299_792_458.0 / 2.45e9
    k = 2 * math.pi / wave
    x = (np.arange(40) + 0.5) / 40 * width - width / 2
    y = (np.arange(32) + 0.5) / 32 * height - height / 2
    apart_x = distance_m - x
    away = np.hypot(apart_x[:, np.newaxis], y)
    spread = np.exp(-1j * k * away) / away * (width / 40) * (height / 32)
    polar, polar_weight = np.polynomial.legendre.leggauss(48)
    cosine = 0.5 * (polar + 1.0)
    turn = 2 * math.pi * (np.arange(96) + 0.5) / 96
    sine = np.sqrt(1.0 - cosine**2)
    density = 0.0
    for c, s, weight in zip(cosine, sine, 0.5 * polar_weight, strict=True):
        across = np.exp(-1j * k * s * np.cos(turn)[:, np.newaxis] * x)
        upward = np.exp(-1j * k * s * np.sin(turn)[:, np.newaxis] * y)
        field = k * c / (2 * math.pi) * np.einsum("tx,xy,ty->t", across, spread, upward)
        density += weight * (2 * math.pi / 96) * float((np.abs(field) ** 2).sum())
    density /= 4 * math.pi  # of an isotropic field of unit density
    bound = width * height / (4 * math.pi * distance_m**2)
    assert density < bound
    assert density > 0.02 * bound  # a bound, and not an idle one
