"""Wire meshes against K. F. Casey, IEEE Trans. Electromagn. Compat. 30(3), 298–306, 1988, and the
thin-wire grid of N. Marcuvitz, Waveguide Handbook, 1951.

Casey's abstract was seen, his equation is from memory; the handbook's citation is from memory.
The rows were computed apart from this code, the "exact parallel-cylinder grid" by a solution that
uses neither formula. Internal impedance: textbook Bessel-function solution.
"""

import csv
import re
from pathlib import Path

import pytest

from envelope.physics.meshes import (
    mesh_inductance_h_sq,
    mesh_loss_db,
    mesh_sheet_impedance_ohm,
    wire_internal_impedance_ohm_m,
)


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "wire_meshes.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def number(row, key):
    return float(re.search(rf"{key}=([\d.e-]+)", row["inputs"])[1])


def mesh(row, model):
    conductivity = float(re.search(r"([\d.]+e\d) S/m", row["inputs"])[1])
    return mesh_loss_db(
        sheet_impedance_ohm=mesh_sheet_impedance_ohm(
            wire_diameter_m=number(row, "wire_dia_mm") / 1e3,
            pitch_m=number(row, "pitch_mm") / 1e3,
            conductivity_s_m=conductivity,
            frequency_hz=number(row, "f_GHz") * 1e9,
            model=model,
        )
    )


def test_averaged_boundary_mesh():
    """Casey 1988 (equation from memory), eleven rows at ten digits."""
    for row in rows("wire mesh SE"):
        assert mesh(row, "averaged") == pytest.approx(float(row["value"]), abs=1e-6), row


def test_thin_wire_grid_and_exact_cylinders():
    """The thin-wire rows at their digits; the exact ones within what the formula leaves out."""
    close = {"0.05": 0.05}  # wires of a quarter of the pitch: thin no longer
    for row in rows("wire grid SE"):
        found = float(mesh(row, "thin-wire"))
        if "thin-wire" in row["inputs"]:
            assert found == pytest.approx(float(row["value"]), abs=1e-6), row
        else:
            allowed = close.get(re.search(r"wire_dia_mm=([\d.]+)", row["inputs"])[1], 0.01)
            assert found == pytest.approx(float(row["value"]), abs=allowed), row


def test_averaged_mesh_is_the_conservative_one():
    for row in rows("wire mesh SE"):
        assert mesh(row, "averaged") < mesh(row, "thin-wire")


def test_inductance():
    for row in rows("mesh sheet inductance"):
        found = mesh_inductance_h_sq(
            wire_diameter_m=number(row, "wire_dia_mm") / 1e3, pitch_m=number(row, "pitch_mm") / 1e3
        )
        assert found == pytest.approx(float(row["value"]), rel=1e-9)


def test_wire_internal_impedance():
    """Six printed digits."""
    for row in rows("wire internal"):
        found = wire_internal_impedance_ohm_m(
            wire_diameter_m=number(row, "dia_mm") / 1e3,
            conductivity_s_m=float(re.search(r"([\d.]+e\d) S/m", row["inputs"])[1]),
            frequency_hz=number(row, "f_GHz") * 1e9,
        )
        real, imaginary = row["value"].split("+j")
        assert found.real == pytest.approx(float(real), rel=5e-6)
        assert found.imag == pytest.approx(float(imaginary), rel=5e-6)
