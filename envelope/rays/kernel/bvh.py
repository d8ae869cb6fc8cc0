"""Trees of boxes over panels, as flat arrays, so that a ray need not try every panel.

node ──┬─ left child: the next node      a node holds, of both its children, the box and a ball
       └─ right child: as it says       about the normals of all panels below
leaf ──> a stretch of panels
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.rays.kernel.arrays import Boxes, Floats, Ints, Longs

LEAF = 8  # panels at most in a leaf of a tree
BARE = 16  # panels up to which one leaf is quicker than a tree
_LEFT, _RIGHT = 0, 1  # on which side of its parent a node hangs
_TELLING = 0.9  # radius of a ball of normals from which on it leaves out too few rays
_ROUNDED = 1e-6  # by which balls are larger than what they hold


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trees:
    """Several trees in one set of arrays."""

    node: Ints  # (nodes, 3): right child, -1 for a leaf; of a leaf from which to which panel,
    # else whether a child's ball is small enough to be of use
    node_box: Boxes  # (nodes, 20): smallest and largest corner of the left child, of the right;
    # middle and radius of the left child's ball of normals, of the right's
    order: Ints  # panels leaf by leaf, of all trees
    roots: Ints  # (trees,)


def grow(low: Floats, high: Floats, normals: Floats, groups: list[Longs]) -> Trees:
    """A tree over each group of boxes, halved by the middles along the longest side.

    Parameters
    ----------
    low, high : (n, 3) float
        Corners of the boxes.
    normals : (n, 3) float
        Of the panel in each.
    groups : list of (k,) int
        Which boxes go into each tree, at least one.
    """
    links: list[tuple[int, int, int]] = []
    boxes: list[Floats] = []  # of each node itself, smallest and largest corner
    parents: list[tuple[int, int]] = []  # of each node, and on which side it hangs
    spans: list[tuple[int, int, int]] = []  # from where to where each reaches in `order`; its depth
    order: list[Longs] = []
    roots = []
    filled = 0
    middle = np.round(low + high, 6)  # rounding elsewhere does not lead to another tree
    for group in groups:
        roots.append(len(links))
        bare = len(group) <= BARE
        waiting: list[tuple[Longs, int, int, int]] = [(group, -1, _LEFT, 0)]
        while waiting:
            members, parent, side, depth = waiting.pop()
            if side == _RIGHT:
                links[parent] = (len(links), 0, 0)
            parents.append((parent, side))
            spans.append((filled, filled + len(members), depth))
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
            waiting.append((members[rank[half:]], len(links), _RIGHT, depth + 1))
            waiting.append((members[rank[:half]], len(links), _LEFT, depth + 1))  # the next node
            links.append((0, 0, 0))
    listed = np.concatenate(order).astype(np.int32)
    node, hung = np.array(links, dtype=np.int32), np.array(parents)
    balls = _balls(normals[listed], np.array(spans))
    inner = node[:, 0] >= 0
    node[inner, 1] = _by_parent(balls[:, 3:], hung).min(axis=1)[inner] < _TELLING
    return Trees(
        node=node,
        node_box=np.concatenate(
            (_by_parent(_outward(np.array(boxes)), hung), _by_parent(balls, hung)), axis=1
        ),
        order=listed,
        roots=np.array(roots, dtype=np.int32),
    )


def _balls(normals: Floats, spans: Longs) -> Boxes:
    """Middle and radius of a ball about the normals of each node's panels, (n, 4).

    Parameters
    ----------
    normals : (m, 3) float
        Panel by panel, in the order of the leaves.
    spans : (n, 3) int
        From which of them to which each node reaches, and how deep it is.
    """
    sums = np.concatenate((np.zeros((1, 3)), np.cumsum(normals, axis=0)))
    lengths = spans[:, 1] - spans[:, 0]
    middle = (sums[spans[:, 1]] - sums[spans[:, 0]]) / lengths[:, np.newaxis]
    balls = np.column_stack((middle, np.zeros(len(spans)))).astype(np.float32)
    for depth in range(int(spans[:, 2].max()) + 1):
        level = np.flatnonzero(spans[:, 2] == depth)  # no two of these have a panel in common
        starts = np.cumsum(lengths[level]) - lengths[level]
        panels = np.arange(lengths[level].sum()) + np.repeat(
            spans[level, 0] - starts, lengths[level]
        )
        off = normals[panels] - np.repeat(balls[level, :3], lengths[level], axis=0)
        balls[level, 3] = np.maximum.reduceat(np.linalg.norm(off, axis=1), starts) + _ROUNDED
    return balls


def _outward(boxes: Floats) -> Boxes:
    """Boxes (n, 6) in single precision, rounded outward."""
    near = boxes.astype(np.float32)
    return np.concatenate(
        (np.nextafter(near[:, :3], -np.inf), np.nextafter(near[:, 3:], np.inf)), axis=1
    ).astype(np.float32)


def _by_parent(rows: Boxes, parents: Longs) -> Boxes:
    """Rows (n, k) of nodes, each in the row of its parent: the left child's, the right child's."""
    width = rows.shape[1]
    held = np.zeros((len(rows), 2 * width), dtype=np.float32)
    for side in (_LEFT, _RIGHT):
        child = np.flatnonzero((parents[:, 0] >= 0) & (parents[:, 1] == side))
        held[parents[child, 0], side * width : (side + 1) * width] = rows[child]
    return held
