"""Unit conversions, free space, two-ray ground reflection and published reference lines.

- Conversions and free space: definitions with Z0 of CODATA, computed apart from this code.
- Two-ray factors: textbook formula with Fresnel's coefficients (for example T. S. Rappaport;
  J. D. Parsons), computed apart.
- ICNIRP 2020, Health Physics 118(5), 483–524, Table 5: seen in a public source that quotes it.
- 47 CFR 1.1310, Table 1(B): seen in copies of the rule.
"""

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.physics.levels import (
    breakpoint_distance_m,
    density_from_eirp_w_m2,
    density_from_field_w_m2,
    density_to_dbm_m2,
    field_from_density_v_m,
    field_to_dbuv_m,
    ground_factor,
    received_dbm,
    reference_level_w_m2,
)
from envelope.physics.materials import conductivity_permittivity


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "levels.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def number(row, key):
    return float(re.search(rf"{key}=([\d.e+-]+)", row["inputs"])[1])


def close(row, found, scale=1.0):
    assert scale * found == pytest.approx(float(row["value"]), rel=2e-9, abs=1e-8), row


def test_conversions():
    for row in rows("E -> S"):
        close(row, density_from_field_w_m2(field_v_m=number(row, "E")), 1e6)
    for row in rows("E -> dBuV/m"):
        close(row, field_to_dbuv_m(field_v_m=number(row, "E")))
    for row in rows("S -> E"):
        close(row, field_from_density_v_m(density_w_m2=1e-6 * number(row, "S")))
    for row in rows("S -> dBm/m2"):
        close(row, density_to_dbm_m2(density_w_m2=1e-6 * number(row, "S")))
    for row in rows("received power"):
        found = received_dbm(
            density_w_m2=1e-6 * number(row, "S"), frequency_hz=1e6 * number(row, "f_MHz")
        )
        close(row, found)


def eirp_w(row):
    amount, unit = re.match(r"([\d.]+) (mW|W|kW)", row["inputs"]).groups()
    return float(amount) * {"mW": 1e-3, "W": 1.0, "kW": 1e3}[unit]


def test_free_space():
    for row in rows("free-space power density"):
        close(row, density_from_eirp_w_m2(eirp_w=eirp_w(row), distance_m=number(row, "r")), 1e6)
    for row in rows("free-space E"):
        density = density_from_eirp_w_m2(eirp_w=eirp_w(row), distance_m=number(row, "r"))
        close(row, field_from_density_v_m(density_w_m2=density))


def test_two_rays():
    """Eight rows within 1e-6 dB."""
    for row in rows("two-ray"):
        frequency = 1e9 * number(row, "f_GHz")
        factor = ground_factor(
            source_height_m=number(row, "h_t"),
            receiver_height_m=number(row, "h_r"),
            distance_m=number(row, "; d"),
            permittivity=conductivity_permittivity(
                relative_permittivity=number(row, "eps_r"),
                conductivity_s_m=number(row, "sigma"),
                frequency_hz=frequency,
            ),
            frequency_hz=frequency,
        )
        gain = 20 * np.log10(abs(factor[0 if row["inputs"].endswith("H") else 1]))
        assert gain == pytest.approx(float(row["value"]), abs=1e-6), row
    (row,) = rows("breakpoint")
    found = breakpoint_distance_m(source_height_m=30.0, receiver_height_m=1.5, frequency_hz=0.9e9)
    close(row, found)


def test_reference_lines():
    for line, quantity in (("icnirp-2020", "ICNIRP 2020 GP"), ("fcc", "FCC MPE")):
        for row in rows(quantity):
            found = reference_level_w_m2(line=line, frequency_hz=1e6 * number(row, "f_MHz"))
            close(row, found[0], 1e6)
    (row,) = rows("ICNIRP/FCC")
    both = [
        reference_level_w_m2(line=name, frequency_hz=900e6)[0] for name in ("icnirp-2020", "fcc")
    ]
    close(row, both[0] / both[1])
