import pytest

from envelope.errors import RangeError
from envelope.physics.cavities import decay_time_s, eyring_decay_time_s, quality_factor


def test_decay_time_is_quality_over_angular_frequency():
    """35 m³ that lose 0.5 m²: 35/(c·0.5) s."""
    quality = quality_factor(volume_m3=35.0, loss_cross_section_m2=0.5, frequency_hz=2e9)
    time = decay_time_s(volume_m3=35.0, loss_cross_section_m2=0.5)
    assert time == pytest.approx(35.0 / (299792458.0 * 0.5))
    assert quality / (2 * 3.141592653589793 * 2e9) == pytest.approx(time, rel=1e-12)


def test_full_absorption_is_refused():
    with pytest.raises(RangeError, match="below 1"):
        eyring_decay_time_s(volume_m3=35.0, surface_m2=60.0, absorption=1.0)
    with pytest.raises(RangeError, match="loss cross-section is 0"):
        decay_time_s(volume_m3=35.0, loss_cross_section_m2=0.0)
