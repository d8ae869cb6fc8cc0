"""Holes, ducts and slots against waveguide theory, H. A. Bethe and H. W. Ott.

- Waveguide below cut-off: derived, in every textbook (for example D. M. Pozar, Microwave
  Engineering).
- H. A. Bethe, Phys. Rev. 66, 163, 1944: coefficients from memory, re-derived from dipole moments.
- Slot rule: H. W. Ott, Electromagnetic Compatibility Engineering, 2009, sec. 6.10, seen quoted.
- Slots by polarization: no printed table at hand; the closed forms are checked here against
  integral equations of the complementary strip (Babinet), solved in the test.
"""

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.special import hankel2

from envelope.physics.apertures import (
    duct_attenuation_db,
    hole_cross_section_m2,
    hole_in_range,
    hole_mean_cross_section_m2,
    slot_ratio_across,
    slot_ratio_along,
    slot_rule_db,
    tube_attenuation_db,
)

C_M_S = 299792458.0


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "apertures.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def number(row, key):
    return float(re.search(rf"{key}=([\d.e-]+)", row["inputs"])[1])


def test_ducts_below_cutoff():
    for row in rows("rectangular waveguide"):
        found = duct_attenuation_db(
            width_m=number(row, "width_mm") / 1e3,
            depth_m=number(row, "depth_mm") / 1e3,
            frequency_hz=number(row, "f_GHz") * 1e9,
        )
        assert found == pytest.approx(float(row["value"]), abs=1e-6), row
    for row in rows("circular waveguide"):
        found = tube_attenuation_db(
            diameter_m=number(row, "diameter_mm") / 1e3,
            depth_m=number(row, "depth_mm") / 1e3,
            frequency_hz=number(row, "f_GHz") * 1e9,
        )
        assert found == pytest.approx(float(row["value"]), abs=1e-6), row


def test_attenuation_far_below_cutoff():
    """27.29 and 31.98 dB for each width or diameter of depth."""
    far_below = {"width_m": 1e-4, "depth_m": 1e-4, "frequency_hz": 3e8}
    (row,) = rows("attenuation per width")
    assert duct_attenuation_db(**far_below) == pytest.approx(float(row["value"]), abs=1e-6)
    far_below = {"diameter_m": 1e-4, "depth_m": 1e-4, "frequency_hz": 3e8}
    (row,) = rows("attenuation per diameter")
    assert tube_attenuation_db(**far_below) == pytest.approx(float(row["value"]), abs=1e-6)


def test_small_round_holes():
    """Bethe's leading term, and the rows' own remark on where it no longer holds."""
    for row in rows("small hole"):
        diameter, frequency = number(row, "diameter_mm") / 1e3, number(row, "f_GHz") * 1e9
        found = hole_cross_section_m2(diameter_m=diameter, frequency_hz=frequency, cosine=1.0)
        assert found[0, 0] == pytest.approx(float(row["value"]), rel=1e-8), row
        in_range = bool(hole_in_range(diameter_m=diameter, frequency_hz=frequency))
        assert in_range == ("outside" not in row["status"])


def test_hemisphere_mean_of_a_small_hole():
    """16/(9π) k⁴a⁶, also as the mean of the values by angle."""
    (row,) = rows("isotropic")
    frequency, diameter = 1e9, 0.01
    size = 2 * np.pi * frequency / C_M_S * diameter / 2
    expected = float(row["value"]) * size**4 * (diameter / 2) ** 2
    mean = hole_mean_cross_section_m2(diameter_m=diameter, frequency_hz=frequency)
    assert mean == pytest.approx(expected, rel=1e-9)
    node, weight = np.polynomial.legendre.leggauss(8)
    by_angle = hole_cross_section_m2(
        diameter_m=diameter, frequency_hz=frequency, cosine=0.5 * (node + 1)
    )
    assert by_angle[0].mean(axis=-1) @ (0.5 * weight) == pytest.approx(expected, rel=1e-9)


def test_slot_rule():
    for row in rows("slot/seam"):
        found = slot_rule_db(
            length_m=number(row, "L_mm") / 1e3, frequency_hz=number(row, "f_GHz") * 1e9
        )
        assert found == pytest.approx(float(row["value"]), abs=1e-7), row
    for row in rows("N equal slots"):
        found = slot_rule_db(
            length_m=number(row, "L_mm") / 1e3,
            frequency_hz=number(row, "f_GHz") * 1e9,
            count=int(number(row, "N")),
        )
        assert found == pytest.approx(float(row["value"]), abs=1e-7), row


def strip_log_moments(order, points):
    """∫ ln|x − t| Tn(t)/√(1−t²) dt at the points x."""
    if order == 0:
        return np.full(points.shape, -np.pi * np.log(2.0))
    return -np.pi / order * np.cos(order * np.arccos(points))


def ratio_by_moments_across(size, terms=20, nodes=301):
    """Half the scattering width of a strip over its width, E along it (its slot: across)."""
    half = size / 2
    angle = (np.arange(nodes) + 0.5) * np.pi / nodes
    match = np.cos((np.arange(terms) + 0.5) * np.pi / terms)
    distance = np.abs(match[:, np.newaxis] - np.cos(angle))
    smooth = hankel2(0, half * distance) + 2j / np.pi * np.log(distance)
    matrix = np.empty((terms, terms), dtype=complex)
    for order in range(terms):
        matrix[:, order] = (smooth @ np.cos(order * angle)) * np.pi / nodes
        matrix[:, order] -= 2j / np.pi * strip_log_moments(order, match)
    current = np.linalg.solve(matrix * half / 4, np.ones(terms))
    return 0.5 * (current[0] * np.pi * half).real / size


def ratio_by_moments_along(size, terms=6, nodes=200):
    """The same with E across the strip (its slot: along), by Galerkin's method.

    J = Σ c sin((n+1)φ), x = cos φ; both derivatives are moved off the kernel, whose logarithm
    is taken out as −ln 2 − Σ (2/n) cos nφ cos nφ'.
    """
    half = size / 2
    a = (np.arange(nodes) + 0.5) * np.pi / nodes
    b = (np.arange(nodes + 1) + 0.5) * np.pi / (nodes + 1)
    distance = np.abs(np.cos(a)[:, np.newaxis] - np.cos(b))
    smooth = hankel2(0, half * distance) + 2j / np.pi * np.log(distance)

    def kernel_moment(row, column):
        """∫∫ cos(row φ) cos(column φ') H0 dφ dφ'"""
        value = np.cos(row * a) @ smooth @ np.cos(column * b) * np.pi**2 / nodes / (nodes + 1)
        if row == column == 0:
            value += 2j / np.pi * np.pi**2 * np.log(2.0)
        elif row == column:
            value += 2j / np.pi * 2.0 / row * (np.pi / 2) ** 2
        return value

    top = terms + 2
    moments = np.array([[kernel_moment(m, n) for n in range(top)] for m in range(top)])
    matrix = np.empty((terms, terms), dtype=complex)
    for m in range(1, terms + 1):
        for n in range(1, terms + 1):
            # sin mφ sin φ = ½ (cos (m−1)φ − cos (m+1)φ)
            product = 0.25 * (
                moments[m - 1, n - 1]
                - moments[m - 1, n + 1]
                - moments[m + 1, n - 1]
                + moments[m + 1, n + 1]
            )
            matrix[m - 1, n - 1] = half**2 * product - m * n * moments[m, n]
    drive = np.zeros(terms)
    drive[0] = np.pi / 2 * half
    current = np.linalg.solve(matrix / 4, drive)
    return 0.5 * (current[0] * np.pi / 2 * half).real / size


@pytest.mark.parametrize("size", [0.02, 0.05, 0.1157, 0.2, 0.4])
def test_slot_across_against_moments(size):
    """The closed form within 1 % of the integral equation up to kw = 0.4."""
    width = 0.005
    frequency = size * C_M_S / (2 * np.pi * width)
    found = slot_ratio_across(width_m=width, frequency_hz=frequency)
    assert found == pytest.approx(ratio_by_moments_across(size), rel=0.01)


@pytest.mark.parametrize("size", [0.02, 0.1157, 0.4])
def test_slot_along_against_moments(size):
    """π²(kw)³/256 within 6 % of the integral equation up to kw = 0.4."""
    width = 0.005
    frequency = size * C_M_S / (2 * np.pi * width)
    found = slot_ratio_along(width_m=width, frequency_hz=frequency)
    assert found == pytest.approx(ratio_by_moments_along(size), rel=0.06)


def test_narrow_slot_passes_more_than_its_area():
    """2.7 times at 3 mm and 5 times at 1 mm, 1.84 GHz: from a moment solution made apart."""
    assert slot_ratio_across(width_m=3e-3, frequency_hz=1.84e9) == pytest.approx(2.7, abs=0.05)
    assert slot_ratio_across(width_m=1e-3, frequency_hz=1.84e9) == pytest.approx(5.0, abs=0.15)
    assert slot_ratio_along(width_m=3e-3, frequency_hz=1.84e9) < 1e-4
