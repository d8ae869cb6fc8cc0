import numpy as np
import pytest

from envelope.errors import RangeError
from envelope.physics.sheets import (
    coats_resistance_ohm_sq,
    data_sheet_resistance_ohm_sq,
    interpolated_loss_db,
    sheet_loss_db,
    sheet_transmission,
)


def test_loss_is_interpolated_in_log_frequency():
    """Halfway between 1 and 4 GHz on a log scale is 2 GHz."""
    loss, in_range = interpolated_loss_db(
        frequencies_hz=[1e9, 4e9], losses_db=[10.0, 20.0], frequency_hz=[0.5e9, 1e9, 2e9, 4e9, 9e9]
    )
    assert loss == pytest.approx([10.0, 10.0, 15.0, 20.0, 20.0])
    assert in_range.tolist() == [False, True, True, True, False]


def test_one_loss_holds_everywhere():
    loss, in_range = interpolated_loss_db(
        frequencies_hz=[], losses_db=[6.0], frequency_hz=[1e9, 50e9]
    )
    assert loss.tolist() == [6.0, 6.0]
    assert in_range.all()


def test_data_sheet_gives_its_own_loss_back():
    at = np.array([0.9e9, 2.45e9, 5.8e9])
    losses = np.array([36.0, 32.0, 25.0])
    resistance, in_range = data_sheet_resistance_ohm_sq(
        frequencies_hz=at, losses_db=losses, frequency_hz=at
    )
    assert sheet_loss_db(sheet_resistance_ohm_sq=resistance) == pytest.approx(losses, abs=1e-12)
    assert in_range.all()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: sheet_transmission(sheet_resistance_ohm_sq=[0.0], cosine=[1.0]), "is 0 Ω/sq"),
        (lambda: sheet_loss_db(sheet_resistance_ohm_sq=-5.0), "is -5 Ω/sq"),
        (lambda: coats_resistance_ohm_sq(sheet_resistance_ohm_sq=5.0, coats=0), "at least 1"),
        (
            lambda: data_sheet_resistance_ohm_sq(
                frequencies_hz=[1e9], losses_db=[20.0], frequency_hz=[1e9]
            ),
            "at least two points",
        ),
        (
            lambda: data_sheet_resistance_ohm_sq(
                frequencies_hz=[2e9, 1e9], losses_db=[20.0, 30.0], frequency_hz=[1e9]
            ),
            "must ascend",
        ),
        (
            lambda: data_sheet_resistance_ohm_sq(
                frequencies_hz=[1e9, 2e9], losses_db=[20.0, 0.0], frequency_hz=[2e9]
            ),
            "loss is 0 dB",
        ),
        (
            lambda: interpolated_loss_db(
                frequencies_hz=[1e9, 2e9], losses_db=[20.0], frequency_hz=[2e9]
            ),
            "2 frequencies but 1 losses",
        ),
        (
            lambda: interpolated_loss_db(
                frequencies_hz=[1e6, 2e9], losses_db=[20.0, 20.0], frequency_hz=[2e9]
            ),
            "30 MHz",
        ),
        (
            lambda: interpolated_loss_db(
                frequencies_hz=[1e9, 2e9], losses_db=[20.0, -1.0], frequency_hz=[2e9]
            ),
            "loss is -1 dB",
        ),
    ],
)
def test_bad_input(make, says):
    with pytest.raises(RangeError, match=says):
        make()
