"""Trees of boxes over panels, as flat arrays, so that a ray need not try every panel.

node ──┬─ left child: the next node      box of a node: that of all panels below it, grown
       └─ right child: as it says
leaf ──> a stretch of panels
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.building.planar import Floats

Ints = NDArray[np.int32]
Longs = NDArray[np.int64]

LEAF = 4  # panels at most in a leaf of a tree
BARE = 16  # panels up to which one leaf is quicker than a tree


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trees:
    """Several trees in one set of arrays."""

    node: Ints  # (nodes, 3): right child, -1 for a leaf; of a leaf from which to which panel
    node_box: Floats  # (nodes, 6): smallest and largest corner
    order: Ints  # panels leaf by leaf, of all trees
    roots: Ints  # (trees,)


def grow(low: Floats, high: Floats, groups: list[Longs]) -> Trees:
    """A tree over each group of boxes, halved by the middles along the longest side.

    Parameters
    ----------
    low, high : (n, 3) float
        Corners of the boxes.
    groups : list of (k,) int
        Which boxes go into each tree, at least one.
    """
    links: list[tuple[int, int, int]] = []
    boxes: list[Floats] = []
    order: list[Longs] = []
    roots = []
    filled = 0
    middle = np.round(low + high, 6)  # rounding elsewhere does not lead to another tree
    for group in groups:
        roots.append(len(links))
        bare = len(group) <= BARE
        # right children wait with the number of their parent, so that left ones come next
        waiting: list[tuple[Longs, int]] = [(group, -1)]
        while waiting:
            members, parent = waiting.pop()
            if parent >= 0:
                links[parent] = (len(links), 0, 0)
            lowest, highest = low[members].min(axis=0), high[members].max(axis=0)
            boxes.append(np.concatenate((lowest, highest)))
            if bare or len(members) <= LEAF:
                links.append((-1, filled, filled + len(members)))
                order.append(members)
                filled += len(members)
                continue
            middles = middle[members]
            axis = int(np.argmax(np.ptp(middles, axis=0)))
            half = len(members) // 2
            rank = np.argpartition(middles[:, axis], half)
            waiting.append((members[rank[half:]], len(links)))
            links.append((0, 0, 0))
            waiting.append((members[rank[:half]], -1))
    return Trees(
        node=np.array(links, dtype=np.int32),
        node_box=np.array(boxes),
        order=np.concatenate(order).astype(np.int32),
        roots=np.array(roots, dtype=np.int32),
    )
