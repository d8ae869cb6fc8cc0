"""Which boxes touch, without trying every pair."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from envelope.geometry.plane import Floats

CHUNK = 4000  # boxes looked up in one go

Pairs = tuple[NDArray[np.intp], NDArray[np.intp]]


def touching(
    lows: Floats, highs: Floats, *, seeking: tuple[Floats, Floats] | None = None
) -> Iterator[Pairs]:
    """Pairs of boxes that touch or overlap, some thousands of boxes at a time.

    Parameters
    ----------
    lows, highs : (n, 3) float
        Corners of the boxes. [m]
    seeking : two (m, 3) float, optional
        Corners of the boxes that look for others; the boxes themselves where it is left out, each
        then finds itself too. [m]

    Yields
    ------
    seekers, found : (k,) int
        Row of the seeking box, rising, and of the box that it touches, rising within each.
    """
    sought_lows, sought_highs = (lows, highs) if seeking is None else seeking
    # The tree looks at two axes, best those along which the boxes are strewn the widest.
    one, two, rest = np.argsort(-np.ptp(np.concatenate((lows, highs)), axis=0), kind="stable")
    tree = shapely.STRtree(shapely.box(lows[:, one], lows[:, two], highs[:, one], highs[:, two]))
    for start in range(0, len(sought_lows), CHUNK):
        low, high = sought_lows[start : start + CHUNK], sought_highs[start : start + CHUNK]
        boxes = shapely.box(low[:, one], low[:, two], high[:, one], high[:, two])
        seekers, found = tree.query(boxes)
        met = (lows[found, rest] <= high[seekers, rest]) & (
            highs[found, rest] >= low[seekers, rest]
        )
        seekers, found = seekers[met], found[met]
        order = np.lexsort((found, seekers))
        yield seekers[order] + start, found[order]
