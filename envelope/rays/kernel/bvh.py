"""Trees of boxes over panels, as flat arrays, so that a ray need not try every panel.

node ──┬─ left child: the next node      a node holds the boxes of both its children
       └─ right child: as it says
leaf ──> a stretch of panels
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.rays.kernel.arrays import Boxes, Floats, Ints, Longs

LEAF = 8  # panels at most in a leaf of a tree
BARE = 16  # panels up to which one leaf is quicker than a tree
_LEFT, _RIGHT = 0, 6  # columns of a node's boxes from which each child's begins


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trees:
    """Several trees in one set of arrays."""

    node: Ints  # (nodes, 3): right child, -1 for a leaf; of a leaf from which to which panel
    node_box: Boxes  # (nodes, 12): smallest and largest corner of the left child, of the right
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
    boxes: list[Floats] = []  # of each node itself, smallest and largest corner
    parents: list[tuple[int, int]] = []  # of each node, and on which side it hangs
    order: list[Longs] = []
    roots = []
    filled = 0
    middle = np.round(low + high, 6)  # rounding elsewhere does not lead to another tree
    for group in groups:
        roots.append(len(links))
        bare = len(group) <= BARE
        waiting: list[tuple[Longs, int, int]] = [(group, -1, _LEFT)]
        while waiting:
            members, parent, side = waiting.pop()
            if side == _RIGHT:
                links[parent] = (len(links), 0, 0)
            parents.append((parent, side))
            boxes.append(np.concatenate((low[members].min(axis=0), high[members].max(axis=0))))
            if bare or len(members) <= LEAF:
                links.append((-1, filled, filled + len(members)))
                order.append(members)
                filled += len(members)
                continue
            middles = middle[members]
            axis = int(np.argmax(np.ptp(middles, axis=0)))
            half = len(members) // 2
            rank = np.argpartition(middles[:, axis], half)
            waiting.append((members[rank[half:]], len(links), _RIGHT))
            waiting.append((members[rank[:half]], len(links), _LEFT))  # the next node
            links.append((0, 0, 0))
    return Trees(
        node=np.array(links, dtype=np.int32),
        node_box=_by_parent(np.array(boxes), np.array(parents)),
        order=np.concatenate(order).astype(np.int32),
        roots=np.array(roots, dtype=np.int32),
    )


def _by_parent(boxes: Floats, parents: Longs) -> Boxes:
    """Boxes (n, 6), rounded outward, each in the row of its parent."""
    near = boxes.astype(np.float32)
    outward = np.concatenate(
        (np.nextafter(near[:, :3], -np.inf), np.nextafter(near[:, 3:], np.inf)), axis=1
    ).astype(np.float32)
    held = np.zeros((len(boxes), 12), dtype=np.float32)
    for side in (_LEFT, _RIGHT):
        child = np.flatnonzero((parents[:, 0] >= 0) & (parents[:, 1] == side))
        held[parents[child, 0], side : side + 6] = outward[child]
    return held
