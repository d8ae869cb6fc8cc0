import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics import diffraction
from envelope.physics.diffraction import (
    knife_edge_loss_approximate_db,
    knife_edge_loss_db,
    opening_power_ratio,
)


def test_a_wide_opening_shades_like_a_half_plane():
    """60 m high and wide, one edge near: Fresnel's knife edge within 0.1 dB."""
    frequency, distance = 1e9, 3.0
    wave = 299792458.0 / frequency
    inside = np.array([-0.6, 0.0, 0.4])  # into the shadow of the edge at x = 30
    points = np.column_stack((30.0 + inside, np.zeros(3), np.full(3, distance)))
    ratio = opening_power_ratio(width_m=60.0, height_m=60.0, point_m=points, frequency_hz=frequency)
    expected = knife_edge_loss_db(nu=inside * np.sqrt(2 / wave / distance))
    # the far edges still add their ripple, and half-plane theory is paraxial
    assert -10 * np.log10(ratio) == pytest.approx(expected, abs=0.5)


def test_oblique_beam_lands_where_it_aims():
    """Through a 2 m opening at 30° down, the beam's middle stands 1.155 m off at 2 m depth."""
    travel = (0.0, -0.5, np.sqrt(0.75))
    points = [[0.0, -1.1547, 2.0], [0.0, 2.0, 2.0]]
    ratio = opening_power_ratio(
        width_m=2.0, height_m=2.0, point_m=points, travel=travel, frequency_hz=10e9
    )
    assert 0.5 < ratio[0] < 2.0
    assert ratio[1] < 0.005


def test_mean_over_the_beam_is_what_went_in():
    """Averaged over a plane just behind, all the power of the opening's area is there."""
    side = np.linspace(-1.0, 1.0, 41)
    x, y = np.meshgrid(side, side)
    points = np.column_stack((x.ravel(), y.ravel(), np.full(x.size, 0.3)))
    ratio = opening_power_ratio(width_m=0.8, height_m=0.6, point_m=points, frequency_hz=6e9)
    assert ratio.sum() * 0.05**2 == pytest.approx(0.8 * 0.6, rel=0.03)


@pytest.mark.parametrize("frequency", [0.1e9, 5.8e9, 28e9])
def test_quadrature_has_converged(frequency, monkeypatch):
    """Seventy per cent more nodes change nothing near 0.05 dB: under 1e-6 dB."""
    rng = np.random.default_rng(3)
    points = np.column_stack(
        (rng.uniform(-2, 2, 5), rng.uniform(-2, 2, 5), [0.05, 0.1, 0.5, 2.0, 4.0])
    )
    given = {
        "width_m": 1.2,
        "height_m": 1.4,
        "point_m": points,
        "travel": (0.48, -0.36, 0.8),
        "frequency_hz": frequency,
    }
    usual = opening_power_ratio(**given)
    nodes = diffraction._nodes_along
    monkeypatch.setattr(diffraction, "_nodes_along", lambda *a: int(1.7 * nodes(*a)) + 20)
    assert 10 * np.log10(opening_power_ratio(**given) / usual) == pytest.approx(
        np.zeros(5), abs=1e-6
    )


def test_knife_edge_forms_agree():
    """The approximation stays within 0.25 dB of Fresnel's integral from ν = −0.7 to 10."""
    nu = np.linspace(-0.7, 10.0, 200)
    difference = knife_edge_loss_approximate_db(nu=nu) - knife_edge_loss_db(nu=nu)
    assert np.max(np.abs(difference)) < 0.25
    assert knife_edge_loss_approximate_db(nu=-2.0) == 0.0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"width_m": 0.0}, "opening width is 0 m"),
        ({"point_m": [[0.0, 0.0, -1.0]]}, "distance behind the opening"),
        ({"travel": (0.0, 0.0, -1.0)}, "leads inward"),
        ({"travel": (1.0, 1.0, 1.0)}, "unit vector"),
        ({"frequency_hz": 1e12}, "100 GHz"),
    ],
)
def test_bad_input(change, says):
    given = {"width_m": 1.0, "height_m": 1.0, "point_m": [[0.0, 0.0, 1.0]], "frequency_hz": 1e9}
    with pytest.raises(RangeError, match=says):
        opening_power_ratio(**(given | change))
