"""Opaque blocks outdoors, such as a neighbour's house: where a ray meets one. Compiled."""

from __future__ import annotations

import math

from envelope.rays.kernel.arrays import Floats, Ints
from envelope.rays.kernel.jit import called

Vector = tuple[float, float, float]


@called
def to_block(
    block: Ints,
    block_plane: Floats,
    point: Vector,
    way: Vector,
) -> float:
    """Distance along a ray to the nearest block, infinite where it meets none. [m]

    Parameters
    ----------
    block : (blocks, 2) int
        From which plane to which.
    block_plane : (planes, 4) float
        Outward normal and offset of each side of a convex block.
    """
    best = math.inf
    for b in range(len(block)):
        near, far = 0.0, math.inf
        for k in range(block[b, 0], block[b, 1]):
            row = block_plane[k]
            along = row[0] * way[0] + row[1] * way[1] + row[2] * way[2]
            above = row[0] * point[0] + row[1] * point[1] + row[2] * point[2] - row[3]
            if along == 0.0:
                if above > 0.0:
                    near = math.inf
            elif along < 0.0:
                near = max(near, -above / along)
            else:
                far = min(far, -above / along)
        if near <= far and near < best:
            best = near
    return best
