import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.levels import (
    density_from_dbm_m2,
    density_from_field_w_m2,
    density_to_dbm_m2,
    field_from_density_v_m,
    ground_factor,
    ground_reflection,
    loss_db,
    reference_level_w_m2,
    reference_lines,
    transmission_from_loss,
)


def test_there_and_back():
    density = np.array([1e-9, 8.5e-4, 3.0])
    assert density_from_dbm_m2(level_dbm_m2=density_to_dbm_m2(density_w_m2=density)) == (
        pytest.approx(density, rel=1e-14)
    )
    field = field_from_density_v_m(density_w_m2=density)
    assert density_from_field_w_m2(field_v_m=field) == pytest.approx(density, rel=1e-14)
    assert transmission_from_loss(loss_db=[3.0, 20.0]) == pytest.approx([0.501187, 0.01], rel=1e-6)


def test_loss_of_nothing_is_infinite():
    found = loss_db(transmission=[1.0, 0.01, 0.0])
    assert found.tolist() == [0.0, 20.0, np.inf]
    assert not np.signbit(found[0])


def test_ground_reflects_all_at_grazing_and_fades_at_the_brewster_angle():
    assert ground_reflection(sine=0.0, permittivity=15.0 - 0.3j) == pytest.approx([-1.0, -1.0])
    # tan(elevation) = 1/√ε
    brewster = np.sin(np.arctan(1 / np.sqrt(15.0)))
    assert abs(ground_reflection(sine=brewster, permittivity=15.0)[1]) < 1e-12


def test_receiver_on_the_ground_at_grazing_hears_little():
    """Both rays equal and opposite."""
    factor = ground_factor(
        source_height_m=0.01,
        receiver_height_m=0.01,
        distance_m=1000.0,
        permittivity=15.0 - 0.3j,
        frequency_hz=1e9,
    )
    assert np.all(np.abs(factor) < 1e-3)


def test_reference_lines_join_and_cover():
    """The pieces meet, and every frequency that is allowed has a value."""
    for line in reference_lines():
        level = reference_level_w_m2(line=line, frequency_hz=np.geomspace(30e6, 100e9, 400))
        assert np.all(np.isfinite(level))
        assert np.all(np.abs(np.diff(np.log(level))) < 0.03)
    with pytest.raises(RangeError, match="icnirp-2020, fcc"):
        reference_level_w_m2(line="other", frequency_hz=1e9)
