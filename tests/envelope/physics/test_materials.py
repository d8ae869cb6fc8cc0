import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.materials import (
    canonical_name,
    conductivity_permittivity,
    entry_loss_db,
    entry_loss_names,
    loss_tangent_permittivity,
    material_names,
    material_permittivity,
    metal_conductivity_s_m,
)


def test_every_name_is_understood():
    for name in material_names():
        permittivity, in_range = material_permittivity(material=name, frequency_hz=[2e9, 5e9])
        assert permittivity.shape == in_range.shape == (2,)
        assert np.all(permittivity.real >= 1.0)
        assert np.all(permittivity.imag <= 0.0)


def test_air_is_vacuum_everywhere():
    permittivity, in_range = material_permittivity(material="air", frequency_hz=[30e6, 100e9])
    assert np.all(permittivity == 1.0)
    assert np.all(in_range)


@pytest.mark.parametrize(
    ("spelt", "meant"),
    [
        ("Plasterboard", "plasterboard"),
        ("dry wall", None),
        ("drywall", "plasterboard"),
        ("wet_ground", "wet-ground"),
        ("  Ceiling Board ", "ceiling-board"),
        ("aluminum", "aluminium"),
    ],
)
def test_spellings(spelt, meant):
    if meant is None:
        with pytest.raises(RangeError, match="drywall"):
            canonical_name(spelt)
    else:
        assert canonical_name(spelt) == meant


def test_unknown_material_offers_the_nearest():
    with pytest.raises(RangeError, match=r"unknown material 'concret'.*concrete"):
        material_permittivity(material="concret", frequency_hz=[1e9])
    with pytest.raises(RangeError, match=r"unknown metal 'coper'.*copper"):
        metal_conductivity_s_m(metal="coper")
    with pytest.raises(RangeError, match=r"unknown entry-loss material 'wod'.*wood"):
        entry_loss_db(material="wod", frequency_hz=[1e9])


def test_range_flags_at_their_edges():
    _, in_range = material_permittivity(
        material="plywood", frequency_hz=[0.99e9, 1e9, 40e9, 40.1e9]
    )
    assert in_range.tolist() == [False, True, True, False]
    for name in entry_loss_names():
        _, in_range = entry_loss_db(material=name, frequency_hz=[0.4e9, 0.5e9])
        assert in_range.tolist() == [False, True]


@pytest.mark.parametrize("frequency", [29e6, 101e9, 0.0, -1.0, np.nan])
def test_frequency_outside_is_refused(frequency):
    with pytest.raises(RangeError, match="30 MHz to 100 GHz"):
        material_permittivity(material="glass", frequency_hz=[1e9, frequency])


def test_own_materials():
    by_loss = loss_tangent_permittivity(
        relative_permittivity=4.0, loss_tangent=0.02, frequency_hz=[1e9, 2e9]
    )
    assert by_loss == pytest.approx([4.0 - 0.08j, 4.0 - 0.08j])
    # σ/(2πf ε0) = 0.01 · 17.97510 at 1 GHz
    by_current = conductivity_permittivity(
        relative_permittivity=4.0, conductivity_s_m=0.01, frequency_hz=[1e9]
    )
    assert by_current[0].imag == pytest.approx(-0.1797510, abs=1e-7)
    with pytest.raises(RangeError, match="1 or more"):
        loss_tangent_permittivity(relative_permittivity=0.5, loss_tangent=0.0, frequency_hz=1e9)
    with pytest.raises(RangeError, match="zero or more"):
        loss_tangent_permittivity(relative_permittivity=2.0, loss_tangent=-0.1, frequency_hz=1e9)
    with pytest.raises(RangeError, match="1 or more"):
        conductivity_permittivity(relative_permittivity=0.0, conductivity_s_m=0.0, frequency_hz=1e9)
    with pytest.raises(RangeError, match="zero or more"):
        conductivity_permittivity(
            relative_permittivity=2.0, conductivity_s_m=-1.0, frequency_hz=1e9
        )
