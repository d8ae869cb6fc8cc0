import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.meshes import (
    mesh_in_range,
    mesh_inductance_h_sq,
    mesh_sheet_impedance_ohm,
    wire_internal_impedance_ohm_m,
)


def test_wire_has_its_direct_current_resistance_when_thin():
    """1 µm of copper at 30 MHz is far thinner than the skin depth: 1/(σπr²)."""
    found = wire_internal_impedance_ohm_m(
        wire_diameter_m=1e-6, conductivity_s_m=5.8e7, frequency_hz=30e6
    )
    assert found.real == pytest.approx(1 / (5.8e7 * np.pi * 0.25e-12), rel=1e-6)


def test_thick_wire_does_not_overflow():
    """10 mm at 100 GHz: surface resistance √(πfμ/σ) over the circumference, both parts alike."""
    found = wire_internal_impedance_ohm_m(
        wire_diameter_m=0.01, conductivity_s_m=5.8e7, frequency_hz=100e9
    )
    expected = np.sqrt(np.pi * 100e9 * 4e-7 * np.pi / 5.8e7) / (np.pi * 0.01)
    assert found.real == pytest.approx(expected, rel=1e-4)
    assert found.imag == pytest.approx(expected, rel=1e-4)


def test_range_flag():
    flags = mesh_in_range(pitch_m=0.0127, frequency_hz=[0.9e9, 2.3e9, 2.5e9])
    assert flags.tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"wire_diameter_m": 1e-3, "pitch_m": 0.9e-3}, "must be larger than its wire's diameter"),
        ({"wire_diameter_m": 1e-3, "pitch_m": 1e-3}, "must be larger"),
        ({"wire_diameter_m": 0.0, "pitch_m": 1e-3}, "wire diameter is 0 m"),
        ({"wire_diameter_m": 1e-4, "pitch_m": -1e-3}, "mesh pitch is -0.001 m"),
        (
            {"wire_diameter_m": 1e-3, "pitch_m": 2e-3, "model": "thin-wire"},
            "use the averaged model",
        ),
    ],
)
def test_bad_input(given, says):
    with pytest.raises(RangeError, match=says):
        mesh_inductance_h_sq(**given)


def test_bad_metal():
    with pytest.raises(RangeError, match="wire conductivity is 0 S/m"):
        mesh_sheet_impedance_ohm(
            wire_diameter_m=1e-4, pitch_m=1e-3, conductivity_s_m=0.0, frequency_hz=1e9
        )


def test_skin_effect_agrees_with_scipys_bessel_functions():
    """scipy.special.ive, from far below one skin depth to a thousand of them."""
    from scipy.special import ive

    diameter = np.geomspace(1e-8, 2e-2, 400)
    found = wire_internal_impedance_ohm_m(
        wire_diameter_m=diameter, conductivity_s_m=5.8e7, frequency_hz=3e9
    )
    gamma = np.sqrt(1j * 2.0 * np.pi * 3e9 * 4e-7 * np.pi * 5.8e7)
    bessel = ive(0, gamma * diameter / 2) / ive(1, gamma * diameter / 2)
    expected = gamma / (np.pi * diameter * 5.8e7) * bessel
    assert np.abs(gamma * diameter / 2).max() > 1000
    assert found == pytest.approx(expected, rel=1e-8)
