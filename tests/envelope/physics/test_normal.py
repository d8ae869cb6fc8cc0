"""The normal distribution against SciPy's, a general-purpose library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from envelope.physics.normal import normal_deviates, normal_share_below


def test_the_same_as_scipys() -> None:
    deviates = np.linspace(-8.0, 8.0, 501)
    assert normal_share_below(deviates) == pytest.approx(ndtr(deviates), rel=1e-13)
    shares = np.concatenate(([1e-12], np.linspace(0.001, 0.999, 999), [1.0 - 1e-12]))
    assert normal_deviates(shares) == pytest.approx(ndtri(shares), rel=1e-9, abs=1e-14)
