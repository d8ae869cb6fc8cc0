"""The normal distribution, from the standard library: SciPy's takes long to import."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np

from envelope.physics.arrays import Floats

__all__ = ["normal_deviates", "normal_share_below"]

_STANDARD = NormalDist()
_quantile = np.frompyfunc(_STANDARD.inv_cdf, 1, 1)


def normal_share_below(deviates: Floats) -> Floats:
    """Probability that a standard normal deviate is below each value."""
    values = -np.asarray(deviates, dtype=np.float64) / math.sqrt(2.0)
    # quicker than a ufunc made of it, whose results are objects
    found = np.fromiter(map(math.erfc, values.ravel().tolist()), np.float64, values.size)
    return np.asarray(0.5 * found.reshape(values.shape))


def normal_deviates(shares: Floats) -> Floats:
    """Standard normal deviates below which each share lies, 0 and 1 excluded."""
    return np.asarray(_quantile(np.asarray(shares, dtype=np.float64)), dtype=np.float64)
