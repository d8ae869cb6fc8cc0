"""Edges of a polygon by bands across it, so that a point need not be held against all of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats

Ints = NDArray[np.int32]

_FEW = 16  # edges up to which one band will do
_EACH = 6  # edges for which there is a band, where there are more


def bands_of(edges: Floats, *, growth: float) -> tuple[Ints, Floats]:
    """Edges band by band, from the polygon's smallest second coordinate to its largest.

    Parameters
    ----------
    edges : (n, 4) float
        From a, b to a, b, of outline and holes. [m]
    growth : float
        By how much edges reach past themselves. [m]

    Returns
    -------
    ends : (bands,) int
        Where each band's edges end.
    listed : (m, 4) float
        The edges, those that several bands touch in each of them.
    """
    low = np.minimum(edges[:, 1], edges[:, 3])
    high = np.maximum(edges[:, 1], edges[:, 3])
    count = 1 if len(edges) <= _FEW else -(-len(edges) // _EACH)
    bottom, height = low.min(), high.max() - low.min()
    per_metre = count / height if height > 0.0 else 0.0
    reach = 4.0 * growth
    first = np.clip((low - reach - bottom) * per_metre, 0, count - 1).astype(int)
    last = np.clip((high + reach - bottom) * per_metre, 0, count - 1).astype(int)
    times = last - first + 1
    edge = np.repeat(np.arange(len(edges)), times)
    band = np.repeat(first - np.cumsum(times) + times, times) + np.arange(times.sum())
    listed = edges[edge[np.argsort(band, kind="stable")]]
    return np.cumsum(np.bincount(band, minlength=count)).astype(np.int32), listed
