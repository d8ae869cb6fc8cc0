"""Shares of a bin on either side of the threshold."""

from __future__ import annotations

import numpy as np
import pytest

from envelope.exposure.unshielded import _passed, _shares

START = np.array([0])


def share_of(one: float, other: float, *, limit: float) -> float:
    """Of a signature of one crossing, from its log transmissions at the two ends of its bin."""
    ends = [np.full((1, 1, 2), value) for value in (one, other)]
    least, most = (_passed(each(*ends), START) for each in (np.minimum, np.maximum))
    return float(_shares(least, most, limit)[0, 0])


@pytest.mark.parametrize("limit", [1e-2, 1e-6])
def test_logarithms_count_as_evenly_spread(limit: float) -> None:
    """The threshold a quarter of the way down from what passes most."""
    most, least = np.log(limit) + 0.1, np.log(limit) - 0.3
    assert share_of(least, most, limit=limit) == pytest.approx(0.25)
    assert share_of(most, least, limit=limit) == pytest.approx(0.25)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("blocked", [-800.0, -1e5, -np.inf])
def test_what_lets_nothing_through_is_shielded(blocked: float) -> None:
    """A transmission too small for a number, at both ends of a bin or at one."""
    assert share_of(blocked, blocked, limit=1e-2) == 0.0
    assert 0.0 <= share_of(blocked, np.log(0.5), limit=1e-2) <= 1.0
    assert share_of(np.log(0.5), np.log(0.5), limit=1e-2) == 1.0
