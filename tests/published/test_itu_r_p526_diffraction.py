"""Diffraction against Recommendation ITU-R P.526 (knife edge) and the first Rayleigh–Sommerfeld
integral.

P.526 sec. 4.1: the approximation was seen in public code that cites P.526-5, the limit −0.78 is
from memory. The exact knife edge is Fresnel's integral. The rows for a rectangular opening were
computed apart from this code with 400 × 400 Gauss nodes.
"""

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.physics.diffraction import (
    beam_edge_width_m,
    fresnel_parameter,
    knife_edge_loss_approximate_db,
    knife_edge_loss_db,
    opening_power_ratio,
)

POINTS = {
    "on axis, 2 m": (0.0, 0.0, 2.0),
    "on axis, 0.5 m": (0.0, 0.0, 0.5),
    "on axis, 4 m": (0.0, 0.0, 4.0),
    "edge-on (grazing vertical edge), 2 m": (0.6, 0.0, 2.0),
    "0.4 m inside shadow of vertical edge, 2 m": (1.0, 0.0, 2.0),
    "0.9 m inside shadow of vertical edge, 2 m": (1.5, 0.0, 2.0),
    "diagonal shadow: 1.0 m across, 1.1 m up, 2 m": (1.0, 1.1, 2.0),
}


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "itu_r_p526_diffraction.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def number(row, key):
    return float(re.search(rf"{key}=([\d.+-]+|inf)", row["inputs"])[1])


def test_knife_edge():
    for row in rows("knife-edge loss, exact"):
        found = knife_edge_loss_db(nu=number(row, "nu"))
        assert found == pytest.approx(float(row["value"]), abs=1e-8), row
    for row in rows("knife-edge loss, P.526"):
        found = knife_edge_loss_approximate_db(nu=number(row, "nu"))
        assert found == pytest.approx(float(row["value"]), abs=1e-8), row


def test_fresnel_parameter():
    def parameter(row):
        return fresnel_parameter(
            clearance_m=number(row, "h"),
            distance_m=number(row, "d2"),
            source_distance_m=number(row, "d1"),
            frequency_hz=number(row, "f_GHz") * 1e9,
        )

    (row,) = rows("nu =")
    assert parameter(row) == pytest.approx(float(row["value"]), rel=1e-9)
    for row in rows("knife-edge loss at that nu"):
        assert knife_edge_loss_db(nu=parameter(row)) == pytest.approx(float(row["value"]), abs=1e-7)
    (row,) = rows("first Fresnel")
    width = beam_edge_width_m(distance_m=2.0, frequency_hz=2.45e9)
    assert width == pytest.approx(float(row["value"]), rel=1e-9)


def test_rectangular_opening():
    """1.2 × 1.4 m window at 0.9 to 5.8 GHz, in the beam and in the shadow, within 1e-6 dB."""
    checked = 0
    for row in rows("field relative to no screen, Rayleigh"):
        place = row["inputs"].split("; ", 1)[1].rsplit("; f_GHz", 1)[0]
        ratio = opening_power_ratio(
            width_m=1.2,
            height_m=1.4,
            point_m=[POINTS[place]],
            frequency_hz=number(row, "f_GHz") * 1e9,
        )
        assert 10 * np.log10(ratio[0]) == pytest.approx(float(row["value"]), abs=1e-6), row
        checked += 1
    assert checked == 15
