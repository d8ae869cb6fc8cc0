"""What a directional antenna hears, as a share of what comes from where it faces.

The pattern is 3GPP TR 38.901 V17.0.0, table 7.3-1, taken as round: 12 (ψ/ψ_3dB)² dB below the
middle at an angle ψ off it, and never below what it hears from behind.
"""

from __future__ import annotations

import numpy as np

from envelope.geometry.plane import Floats

_NODES = 400


def heard_at(angle_rad: Floats, *, beamwidth_rad: float, back_db: float) -> Floats:
    """Share (...) of a power density that arrives at an angle off the middle, 1 in the middle."""
    below_db = np.minimum(12.0 * (np.asarray(angle_rad) / beamwidth_rad) ** 2, back_db)
    return np.asarray(10.0 ** (-below_db / 10.0))


def heard_from_all_sides(*, beamwidth_rad: float, back_db: float) -> float:
    """Share of a field that arrives from all sides alike: the mean of the pattern over the sphere.

    Examples
    --------
    >>> round(heard_from_all_sides(beamwidth_rad=1.0472, back_db=200.0), 3)  # 10.3 dBi
    0.093
    """
    cosine = (np.arange(_NODES) + 0.5) / _NODES * 2.0 - 1.0
    pattern = heard_at(np.arccos(cosine), beamwidth_rad=beamwidth_rad, back_db=back_db)
    return float(pattern.mean())
