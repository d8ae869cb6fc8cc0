import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.bands import (
    band_mean,
    band_nodes,
    cosine_bins,
    cosine_nodes,
    diffuse_mean,
)
from envelope.physics.materials import material_permittivity
from envelope.physics.stacks import Dielectric, Sheet, solve

COSINES = np.cos(np.radians([0.0, 30.0, 60.0, 80.0]))


def layers(parts, frequency):
    return [
        Dielectric(
            thickness_m=thickness,
            permittivity=material_permittivity(material=name, frequency_hz=frequency)[0],
        )
        for name, thickness in parts
    ]


CONCRETE = [("concrete", 0.2)]
DOUBLE_PANE = [("glass", 0.006), ("air", 0.012), ("glass", 0.006)]


@pytest.mark.parametrize("parts", [CONCRETE, DOUBLE_PANE], ids=["concrete", "double pane"])
@pytest.mark.parametrize(
    ("lowest", "highest", "within_db"),
    [
        (0.703e9, 0.803e9, 1e-7),
        (1.805e9, 1.88e9, 1e-7),
        (3.3e9, 3.8e9, 1e-7),
        (5.15e9, 5.875e9, 1e-7),
        (24.25e9, 27.5e9, 4e-3),
    ],
)
def test_nine_nodes_are_enough(parts, lowest, highest, within_db):
    """Against 400 nodes, the worst over 0° to 80° and both polarizations."""
    means = []
    for count in (None, 400):
        given = {} if count is None else {"count": count}
        frequency, weight = band_nodes(lowest_hz=lowest, highest_hz=highest, **given)
        found = solve(stack=layers(parts, frequency), frequency_hz=frequency, cosine=COSINES)
        means.append(band_mean(values=found.transmission, weight=weight))
    assert means[0].shape == (4, 2)
    assert np.max(np.abs(10 * np.log10(means[0] / means[1]))) < within_db


def test_band_edges():
    frequency, weight = band_nodes(lowest_hz=2e9, highest_hz=2e9)
    assert frequency.tolist() == [2e9]
    assert weight.tolist() == [1.0]
    frequency, weight = band_nodes(lowest_hz=1e9, highest_hz=3e9)
    assert weight.sum() == pytest.approx(1.0)
    assert weight @ frequency == pytest.approx(2e9)
    with pytest.raises(RangeError, match="lower end must come first"):
        band_nodes(lowest_hz=3e9, highest_hz=1e9)
    with pytest.raises(RangeError, match="30 MHz"):
        band_nodes(lowest_hz=3e6, highest_hz=1e9)


def test_hemisphere_means_of_powers_of_the_cosine():
    """2∫μ^n μ dμ = 2/(n + 2)."""
    for cosine, weight in (cosine_nodes(), cosine_bins(count=16, per_bin=3)):
        assert weight.sum() == pytest.approx(1.0)
        for power in range(4):
            values = np.stack((cosine**power, cosine**power), axis=-1)
            mean = diffuse_mean(values=values, cosine=cosine, weight=weight)
            assert mean == pytest.approx(2 / (power + 2), rel=1e-7)
            plain = diffuse_mean(
                values=cosine**power, cosine=cosine, weight=weight, polarized=False
            )
            assert plain == pytest.approx(mean)


def test_bins_are_even_in_the_cosine():
    cosine, weight = cosine_bins(count=4)
    assert cosine.tolist() == [0.125, 0.375, 0.625, 0.875]
    assert weight.tolist() == [0.25] * 4
    cosine, weight = cosine_bins(count=4, per_bin=2)
    assert cosine.reshape(4, 2).mean(axis=1) == pytest.approx([0.125, 0.375, 0.625, 0.875])
    assert weight.reshape(4, 2).sum(axis=1) == pytest.approx([0.25] * 4)


def mean_errors_db(stack, frequency, count, per_bin):
    """Error of the mean transmission over a hemisphere of directions that bins make."""
    fine, fine_weight = cosine_nodes(count=300)
    exact = solve(stack=stack, frequency_hz=frequency, cosine=fine).transmission.mean(axis=-1)
    cosine, weight = cosine_bins(count=count, per_bin=per_bin)
    found = solve(stack=stack, frequency_hz=frequency, cosine=cosine).transmission.mean(axis=-1)
    return float(np.max(np.abs(10 * np.log10((found @ weight) / (exact @ fine_weight)))))


def test_error_of_32_cosine_bins():
    """Walls and panes: below 0.01 dB. A bare good sheet is steep near grazing and needs nodes."""
    frequency = np.array([0.9e9, 2.45e9, 3.5e9, 5.8e9])
    for parts in (CONCRETE, DOUBLE_PANE, [("plasterboard", 0.0127)]):
        assert mean_errors_db(layers(parts, frequency), frequency, 32, 1) < 1e-3
    coated = [
        Sheet(impedance_ohm=np.full(4, 5.0 + 0j)),
        *layers([("plasterboard", 0.0127)], frequency),
    ]
    assert mean_errors_db(coated, frequency, 32, 1) < 0.05
    for resistance, centre, nodes in ((5.0, 0.4, 1e-3), (1.0, 2.9, 0.1)):
        bare = [Sheet(impedance_ohm=np.full(4, resistance + 0j))]
        assert mean_errors_db(bare, frequency, 32, 1) == pytest.approx(centre, abs=0.05)
        assert mean_errors_db(bare, frequency, 32, 4) < nodes
