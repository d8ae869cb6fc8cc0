import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.apertures import (
    duct_attenuation_db,
    hole_cross_section_m2,
    hole_mean_cross_section_m2,
    honeycomb_transmission,
    slot_cross_section_m2,
    slot_in_range,
    slot_ratio_across,
    slot_ratio_along,
    slot_rule_db,
    tube_attenuation_db,
)

C_M_S = 299792458.0


def test_hole_mean_joins_the_geometric_mean():
    """Half the area from ka = 1.2908 on, without a step."""
    radius = 0.02
    edge = 1.2908 * C_M_S / (2 * np.pi * radius)
    mean = hole_mean_cross_section_m2(
        diameter_m=2 * radius, frequency_hz=[0.5 * edge, 0.9999 * edge, 1.0001 * edge, 3 * edge]
    )
    half = np.pi * radius**2 / 2
    assert mean[1:] == pytest.approx([half] * 3, rel=1e-3)
    assert mean[0] == pytest.approx(half / 16, rel=1e-3)


def test_large_hole_is_geometric():
    found = hole_cross_section_m2(diameter_m=0.3, frequency_hz=5e9, cosine=[1.0, 0.5])
    assert found[0, :, 0] == pytest.approx(np.pi * 0.15**2 * np.array([1.0, 0.5]))


def test_above_cutoff_nothing_is_lost():
    assert duct_attenuation_db(width_m=0.1, depth_m=1.0, frequency_hz=1.6e9) == 0.0
    assert tube_attenuation_db(diameter_m=0.1, depth_m=1.0, frequency_hz=1.8e9) == 0.0


def test_honeycomb_bracket():
    """4 mm cells 20 mm deep: 31.98 · 5 dB at most times what their mouths pass."""
    low, high = honeycomb_transmission(
        cell_m=0.004, depth_m=0.02, open_fraction=0.95, frequency_hz=[1e9, 60e9]
    )
    assert -10 * np.log10(high[0]) == pytest.approx(31.98 * 5 + 0.22, abs=0.1)
    assert low[0] < 1e-4 * high[0]
    # 60 GHz is above the cells' cut-off at 43.9 GHz
    assert high[1] == low[1] == pytest.approx(0.95)


def test_slot_ratios_join_the_area():
    """E across from kw = 1, E along from kw = 3 on; no step where the narrow formula ends."""
    width = 0.01
    edge = C_M_S / (2 * np.pi * width)
    across = slot_ratio_across(width_m=width, frequency_hz=[0.39999 * edge, 0.40001 * edge])
    assert across[0] == pytest.approx(across[1], rel=1e-3)
    across = slot_ratio_across(width_m=width, frequency_hz=[edge, 2 * edge])
    assert across == pytest.approx([1.0, 1.0])
    along = slot_ratio_along(width_m=width, frequency_hz=[edge, 3 * edge])
    assert along == pytest.approx([0.03855, 1.0], rel=1e-3)


def test_wide_slot_is_geometric():
    low, high = slot_cross_section_m2(
        width_m=0.1, length_m=1.0, frequency_hz=10e9, cosine=[1.0, 0.4]
    )
    assert 0.5 * (low + high)[0, :, 0] == pytest.approx([0.1, 0.04])
    assert low[..., 0] == pytest.approx(low[..., 1])


def test_long_slot_by_angle():
    """3 mm × 2 m at 1.84 GHz, normal incidence: half of 2.7 areas, in a narrow bracket."""
    low, high = slot_cross_section_m2(
        width_m=0.003, length_m=2.0, frequency_hz=1.84e9, cosine=[1.0, 0.5]
    )
    assert low.shape == high.shape == (1, 2, 2)
    middle = 0.5 * (low + high) / (0.003 * 2.0)
    assert middle[0, 0] == pytest.approx([1.35, 1.35], abs=0.03)
    assert middle[0, 1, 0] == pytest.approx(middle[0, 0, 0] / 4, rel=1e-3)
    assert middle[0, 1, 1] == pytest.approx(middle[0, 0, 1], rel=1e-3)
    assert high / low == pytest.approx(np.full((1, 2, 2), 1.05 / 0.95), rel=1e-3)


def test_short_slot_is_a_dipole():
    """As long as wide it is Bethe's hole, (64/27π) k⁴a⁶, but for the model's 5 %."""
    frequency = 300e6
    low, high = slot_cross_section_m2(
        width_m=0.02, length_m=0.02, frequency_hz=frequency, cosine=1.0
    )
    bethe = hole_cross_section_m2(diameter_m=0.02, frequency_hz=frequency, cosine=1.0)[0, 0, 0]
    assert low[0, 0, 0] == pytest.approx(0.975 * bethe, rel=1e-3)
    # and the detuning (1 − (2L/λ)²)^−2 of 0.32 %
    assert high[0, 0, 0] == pytest.approx(0.5 * (1.0 + 1.05 * 1.0032) * bethe, rel=1e-3)


def test_resonant_slot_has_a_wide_bracket():
    """A slot of half a wave takes up to ½·1.64²λ²/π over two: far more than its area."""
    frequency = 1e9
    wave = C_M_S / frequency
    low, high = slot_cross_section_m2(
        width_m=0.002, length_m=wave / 2, frequency_hz=frequency, cosine=1.0
    )
    assert high[0, 0, 0] == pytest.approx(0.5 * 1.05 * 0.428 * wave**2, rel=0.01)
    assert high[0, 0, 0] > 10 * low[0, 0, 0]
    assert low[0, 0, 0] > 0.0


@pytest.mark.parametrize("length", [0.01, 0.05, 0.15, 0.2, 0.5, 2.0])
@pytest.mark.parametrize("frequency", [30e6, 0.9e9, 5.8e9, 60e9])
def test_bracket_is_in_order(length, frequency):
    low, high = slot_cross_section_m2(
        width_m=0.003, length_m=length, frequency_hz=frequency, cosine=[1.0, 0.1]
    )
    assert np.all(low > 0.0)
    assert np.all(low <= high)


def test_slot_range_flag():
    flags = slot_in_range(width_m=0.003, length_m=2.0, frequency_hz=[0.1e9, 1e9, 10e9])
    assert flags.tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: hole_mean_cross_section_m2(diameter_m=0.0, frequency_hz=1e9), "hole diameter"),
        (lambda: duct_attenuation_db(width_m=-1.0, depth_m=1.0, frequency_hz=1e9), "duct width"),
        (
            lambda: tube_attenuation_db(diameter_m=1.0, depth_m=0.0, frequency_hz=1e9),
            "depth is 0 m",
        ),
        (lambda: slot_rule_db(length_m=1.0, frequency_hz=1e9, count=0), "at least 1"),
        (
            lambda: slot_cross_section_m2(width_m=0.2, length_m=0.1, frequency_hz=1e9, cosine=1.0),
            "width is the lesser",
        ),
        (
            lambda: honeycomb_transmission(
                cell_m=0.01, depth_m=0.02, open_fraction=1.5, frequency_hz=1e9
            ),
            "open fraction is 1.5",
        ),
    ],
)
def test_bad_input(make, says):
    with pytest.raises(RangeError, match=says):
        make()
