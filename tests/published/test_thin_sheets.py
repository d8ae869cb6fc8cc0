"""Thin resistive sheets against transmission-line theory.

Source of the rows: the shunt-resistance circuit that textbooks derive (Schelkunoff 1943; Tesche,
Ianoz & Karlsson 1997: citations from memory), computed apart from this code and compared with an
exact layer 10 nm thick in `tmm`. Each row in `authorities/thin_sheets.csv` carries its status.
Where a bare sheet's loss is concerned, the stack solver and the closed form are both checked.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
import tmm

from envelope.physics.bands import cosine_nodes, diffuse_mean
from envelope.physics.materials import material_permittivity
from envelope.physics.sheets import (
    coats_resistance_ohm_sq,
    sheet_loss_db,
    sheet_reflection,
    sheet_resistance_for_loss_ohm_sq,
    sheet_transmission,
)
from envelope.physics.stacks import Dielectric, Sheet, solve

F_HZ = 2.45e9


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "thin_sheets.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def inputs_of(row):
    return dict(part.split("=", 1) for part in row["inputs"].split("; ") if "=" in part)


def resistance_of(given):
    return float(given["Rs_ohm_sq"].split("=")[-1])


def sheet(resistance):
    return Sheet(impedance_ohm=np.array([resistance], dtype=complex))


def test_loss_by_angle_and_polarization():
    """75 rows, TE and TM, within the rows' ten digits."""
    for row in rows("sheet shielding effectiveness"):
        given = inputs_of(row)
        resistance = resistance_of(given)
        cosine = np.cos(np.radians(float(given["angle_deg"])))
        column = 1 if given["pol"] == "TM" else 0
        closed = sheet_transmission(sheet_resistance_ohm_sq=[resistance], cosine=[cosine])
        stack = solve(stack=[sheet(resistance)], frequency_hz=F_HZ, cosine=cosine).transmission
        for passed in (closed[0, 0, column], stack[0, 0, column]):
            assert -10.0 * np.log10(passed) == pytest.approx(float(row["value"]), abs=2e-8), row


def test_reflected_and_absorbed():
    for row in rows("sheet power reflectance"):
        resistance = resistance_of(inputs_of(row))
        found = sheet_reflection(sheet_resistance_ohm_sq=[resistance], cosine=[1.0])[0, 0]
        assert found == pytest.approx(float(row["value"]), rel=1e-9)
    for row in rows("sheet power absorptance"):
        resistance = resistance_of(inputs_of(row))
        found = solve(stack=[sheet(resistance)], frequency_hz=F_HZ, cosine=1.0)
        assert found.front_absorption[0, 0] == pytest.approx(float(row["value"]), rel=1e-9)


def test_diffuse_field():
    """Hemisphere mean over both polarizations; the loss is lower than at normal incidence."""
    cosine, weight = cosine_nodes()
    for row in rows("sheet SE, diffuse"):
        passed = sheet_transmission(
            sheet_resistance_ohm_sq=[resistance_of(inputs_of(row))], cosine=cosine
        )
        mean = diffuse_mean(values=passed, cosine=cosine, weight=weight)
        assert -10.0 * np.log10(mean[0]) == pytest.approx(float(row["value"]), abs=1e-7), row


def test_coats_and_inverse():
    for row in rows("n identical coats"):
        given = inputs_of(row)
        together = coats_resistance_ohm_sq(
            sheet_resistance_ohm_sq=resistance_of(given), coats=int(given["coats"])
        )
        assert sheet_loss_db(sheet_resistance_ohm_sq=together) == pytest.approx(
            float(row["value"]), abs=1e-7
        )
        stack = [sheet(resistance_of(given))] * int(given["coats"])
        found = solve(stack=stack, frequency_hz=F_HZ, cosine=1.0).transmission[0, 0, 0]
        assert -10.0 * np.log10(found) == pytest.approx(float(row["value"]), abs=1e-7)
    for row in rows("sheet resistance giving"):
        loss = float(inputs_of(row)["SE_dB"])
        assert sheet_resistance_for_loss_ohm_sq(loss_db=loss) == pytest.approx(
            float(row["value"]), rel=2e-9
        )
    for row in rows("low-emissivity"):
        assert sheet_loss_db(
            sheet_resistance_ohm_sq=resistance_of(inputs_of(row))
        ) == pytest.approx(float(row["value"]), abs=1e-7)


def test_two_spaced_sheets_are_not_a_sum():
    """Two 10 Ω/sq sheets 61.2 mm apart do what one of 5 Ω/sq does: half a wave."""
    for row in rows("two spaced sheets"):
        gap = float(inputs_of(row)["air gap_m"])
        air = Dielectric(thickness_m=gap, permittivity=np.array([1.0 + 0j]))
        found = solve(stack=[sheet(10.0), air, sheet(10.0)], frequency_hz=F_HZ, cosine=1.0)
        loss = -10.0 * np.log10(found.transmission[0, 0, 0])
        assert loss == pytest.approx(float(row["value"]), abs=1e-7), row


def test_sheet_on_plasterboard():
    """29.107 dB, not the dB of the two added (32.86)."""
    (row,) = rows("sheet + plasterboard")
    permittivity, _ = material_permittivity(material="plasterboard", frequency_hz=[F_HZ])
    # the row was computed with the Recommendation's rounded 17.98 for 17.97510
    rounded = permittivity.real + 1j * permittivity.imag * 17.98 / 17.975104
    board = Dielectric(thickness_m=0.0127, permittivity=rounded)
    found = solve(stack=[sheet(5.0), board], frequency_hz=F_HZ, cosine=1.0)
    loss = -10.0 * np.log10(found.transmission[0, 0, 0])
    assert loss == pytest.approx(float(row["value"]), abs=1e-6)


@pytest.mark.parametrize("degrees", [0.0, 45.0, 75.0, 88.0])
def test_sheet_is_the_limit_of_a_thin_layer_in_tmm(degrees):
    """A lossy layer 1 nm thick in `tmm` has the sheet's transmission within 1e-5 dB."""
    frequency_hz, thickness, resistance = 5e9, 1e-9, 20.0
    conductivity = 1.0 / (resistance * thickness)
    permittivity = 1.0 + 1j * conductivity / (2 * np.pi * frequency_hz * 8.8541878188e-12)
    found = solve(
        stack=[sheet(resistance)], frequency_hz=frequency_hz, cosine=np.cos(np.radians(degrees))
    )
    for column, name in enumerate("sp"):
        other = tmm.coh_tmm(
            name,
            [1.0, np.sqrt(permittivity), 1.0],
            [np.inf, thickness, np.inf],
            np.radians(degrees),
            299792458.0 / frequency_hz,
        )
        difference = 10.0 * np.log10(found.transmission[0, 0, column] / other["T"])
        assert abs(difference) < 1e-5
