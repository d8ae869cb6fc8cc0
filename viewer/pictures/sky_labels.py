"""Where a name stands on a map of directions: in what it names, if there is room for it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from viewer.pictures.labels import Box, overlap

POINTS = 100.0  # of the sheet on which labels are placed, for one radius of the disc


def box_of(middle: tuple[float, float], size: tuple[float, float]) -> Box:
    """The box of a label round its middle."""
    (x, y), (width, height) = middle, size
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def within(
    held: NDArray[np.bool_],
    *,
    size: tuple[float, float],
    spot: tuple[float, float],
    taken: Sequence[Box] = (),
) -> tuple[float, float] | None:
    """Middle of a box that lies wholly in some cells of the disc, as near to a spot as can be.

    Parameters
    ----------
    held : (side, side) bool
        Cells that it may cover, row 0 at the top.
    size : (width, height)
        In hundredths of the radius, as `spot` and the result, which count y downward.
    taken : sequence of Box
        What it must not touch.

    Returns
    -------
    (x, y), or None where no box fits
    """
    side = len(held)
    cell = 2.0 * POINTS / side
    wide, high = math.ceil(size[0] / cell), math.ceil(size[1] / cell)
    if max(wide, high) > side:
        return None
    sums = np.zeros((side + 1, side + 1), dtype=np.int64)
    sums[1:, 1:] = held.cumsum(axis=0).cumsum(axis=1)
    count = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
    rows, columns = np.nonzero(count == wide * high)
    middles = np.column_stack(
        ((columns + wide / 2) * cell - POINTS, (rows + high / 2) * cell - POINTS)
    )
    order = np.hypot(*(middles - spot).T).argsort(kind="stable")
    for x, y in middles[order].tolist():
        if not any(overlap(box_of((x, y), size), other) > 0.0 for other in taken):
            return x, y
    return None
