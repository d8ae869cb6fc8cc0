"""Whether a point of a plane lies in a polygon: the polygon prepared, and the compiled test.

A polygon is prepared in the quickest of three ways that fits it:

    BOXED     its box without rectangles cut out of it, such as a wall with windows
    CONVEX    what lies on the inner side of a few lines
    BANDED    its edges, sorted into bands across it, so that a point is tested against few of them
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from envelope.rays.kernel import arrays as columns
from envelope.rays.kernel.arrays import GROWTH, Floats, Ints, Longs
from envelope.rays.kernel.jit import called, inlined

_ON_ONE_LINE = 1e-9  # two coordinates this near are one [m]
_MAX_SIDES = 8
_MAX_CUT_EDGES = 256  # of a polygon that is looked at for rectangles cut out of its box
_ONE_BAND_EDGES = 16  # edges up to which one band will do
_EDGES_PER_BAND = 6  # where there are more


def cuts_of(rings: list[Floats], *, growth: float) -> Floats | None:
    """What is cut out of a polygon's box, where that is rectangles along its axes; else None.

    Parameters
    ----------
    rings : list of (n, 2) float
        Outline and holes. [m]
    growth : float
        By how much the polygon reaches past its edges. [m]

    Returns
    -------
    cuts : (k, 4) float or None
        Smallest and largest coordinates of each rectangle: a point in the box, grown, that is
        strictly inside none of these is in the polygon, grown.
    """
    if len(rings) == 1 and is_box(rings[0]):
        return np.empty((0, 4))
    if sum(map(len, rings)) > _MAX_CUT_EDGES or not all(map(_along_axes, rings)):
        return None
    columns_at, rows_at = (_distinct(np.concatenate(rings)[:, axis]) for axis in (0, 1))
    covered = np.zeros((len(rows_at) - 1, len(columns_at) - 1), dtype=bool)  # cell by cell
    for ring in rings:
        column = np.searchsorted(columns_at, ring[:, 0], side="right") - 1
        row = np.searchsorted(rows_at, ring[:, 1], side="right") - 1
        for c, one, other in zip(column, row, np.roll(row, -1), strict=True):
            covered[min(one, other) : max(one, other), :c] ^= True  # by edges to the right of it
    found = _rectangles(~covered)
    if found is None:
        return None
    if not len(found):
        return np.empty((0, 4))
    cuts = np.column_stack(
        (
            columns_at[found[:, 0]],
            rows_at[found[:, 1]],
            columns_at[found[:, 2]],
            rows_at[found[:, 3]],
        )
    )
    low, high = rings[0].min(axis=0), rings[0].max(axis=0)
    # the polygon, grown, narrows what is cut out; a cut at the box's own side stays open there
    cuts[:, :2] += np.where(cuts[:, :2] - low < _ON_ONE_LINE, -2.0 * growth, growth)
    cuts[:, 2:] += np.where(high - cuts[:, 2:] < _ON_ONE_LINE, 2.0 * growth, -growth)
    return cuts


def _distinct(values: Floats) -> Floats:
    """Values in rising order, those that differ by rounding once."""
    ordered = np.sort(values)
    return ordered[np.concatenate(([True], np.diff(ordered) > _ON_ONE_LINE))]


def _rectangles(marked: NDArray[np.bool_]) -> Longs | None:
    """Marked cells of a grid as rectangles (k, 4) that share no side; None where they are not.

    Columns: first column and row, and the column and row after the last.
    """
    left = marked.copy()
    found = []
    for row, column in np.argwhere(marked):
        if not left[row, column]:
            continue
        right, below = column, row
        while right < marked.shape[1] and marked[row, right]:
            right += 1
        while below < marked.shape[0] and marked[below, column:right].all():
            below += 1
        around = marked[max(row - 1, 0) : below + 1, column:right].sum()
        around += marked[row:below, max(column - 1, 0) : right + 1].sum()
        if around > 2 * (below - row) * (right - column):
            return None
        left[row:below, column:right] = False
        found.append((column, row, right, below))
    return np.array(found, dtype=np.int64).reshape(-1, 4)


def lines_of(rings: list[Floats]) -> Floats | None:
    """Sides (k, 3) of a convex polygon: inward normal and offset; None for any other.

    A point is in the polygon, grown, where for every side ``normal · point - offset`` is not
    below minus the growth.
    """
    if len(rings) > 1 or len(rings[0]) > _MAX_SIDES:
        return None
    ring = rings[0]
    sides = np.roll(ring, -1, axis=0) - ring
    lengths = np.linalg.norm(sides, axis=1)
    if not lengths.all():
        return None
    inward = np.column_stack((-sides[:, 1], sides[:, 0])) / lengths[:, np.newaxis]
    offsets = (inward * ring).sum(axis=1)
    inside = ring @ inward.T - offsets  # corner by side; an outline runs counter-clockwise
    if inside.min() < -_ON_ONE_LINE:
        return None
    return np.column_stack((inward, offsets))


def is_box(ring: Floats) -> bool:
    """Whether a polygon is the whole of its box."""
    return len(ring) == 4 and _along_axes(ring)


def _along_axes(ring: Floats) -> bool:
    steps = np.abs(np.roll(ring, -1, axis=0) - ring).min(axis=1)
    return bool((steps < _ON_ONE_LINE).all())


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
    count = 1 if len(edges) <= _ONE_BAND_EDGES else -(-len(edges) // _EDGES_PER_BAND)
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


@inlined
def flat_u(plane: Floats, p: int, x: float, y: float, z: float) -> float:
    """A point's first coordinate in the panel's frame."""
    u: float = plane[p, 4] * x + plane[p, 5] * y + plane[p, 6] * z - plane[p, columns.U_OFFSET]
    return u


@inlined
def flat_v(plane: Floats, p: int, x: float, y: float, z: float) -> float:
    """A point's second coordinate in the panel's frame."""
    v: float = plane[p, 8] * x + plane[p, 9] * y + plane[p, 10] * z - plane[p, columns.V_OFFSET]
    return v


@called
def outside_by(edges: Floats, start: int, stop: int, a: float, b: float) -> float:
    """How far a flat point lies outside rings of edges; 0 inside (even-odd, half-open)."""
    inside = False
    for k in range(start, stop):
        low, high = edges[k, 1], edges[k, 3]
        if (low > b) != (high > b):
            crossing = edges[k, 0] + (b - low) * (edges[k, 2] - edges[k, 0]) / (high - low)
            if a < crossing:
                inside = not inside
    if inside:
        return 0.0
    least = math.inf
    for k in range(start, stop):
        x, y = edges[k, 0], edges[k, 1]
        along, up = edges[k, 2] - x, edges[k, 3] - y
        square = along * along + up * up
        share = 0.0
        if square > 0.0:
            share = min(1.0, max(0.0, ((a - x) * along + (b - y) * up) / square))
        off_a, off_b = a - x - share * along, b - y - share * up
        least = min(least, off_a * off_a + off_b * off_b)
    return math.sqrt(least)


@called
def touches(edges: Floats, start: int, stop: int, a: float, b: float) -> bool:
    """Whether a flat point lies inside rings of edges or as near as they have grown.

    Only those edges are needed that reach the point's second coordinate.
    """
    inside = False
    for k in range(start, stop):
        low, high = edges[k, 1], edges[k, 3]
        if (low > b) != (high > b):
            crossing = edges[k, 0] + (b - low) * (edges[k, 2] - edges[k, 0]) / (high - low)
            if a < crossing:
                inside = not inside
    return inside or outside_by(edges, start, stop, a, b) <= GROWTH


@inlined
def in_triangle(sides: Floats, k: int, x: float, y: float, z: float) -> bool:
    """Whether a point lies on the inner side of three planes that stand in one row."""
    one = sides[k, 0] * x + sides[k, 1] * y + sides[k, 2] * z >= sides[k, 3]
    two = sides[k, 4] * x + sides[k, 5] * y + sides[k, 6] * z >= sides[k, 7]
    three = sides[k, 8] * x + sides[k, 9] * y + sides[k, 10] * z >= sides[k, 11]
    inside: bool = one & two & three
    return inside


@inlined
def meets(
    plane: Floats, panel: Ints, cuts: Floats, sides: Floats, band: Ints, edges: Floats, p: int,
    x: float, y: float, z: float,
) -> bool:  # fmt: skip
    """Whether a point of the panel's plane lies in its polygon, grown a little."""
    first, last = panel[p, columns.PART_FROM], panel[p, columns.PART_TO]
    shape = panel[p, columns.SHAPE]
    met = True
    if shape == columns.CONVEX:
        for k in range(first, last):
            met = met and sides[k, 0] * x + sides[k, 1] * y + sides[k, 2] * z >= sides[k, 3]
    else:
        a, b = flat_u(plane, p, x, y, z), flat_v(plane, p, x, y, z)
        low, high = plane[p, columns.BOX + 1], plane[p, columns.BOX + 3]
        met = (
            a >= plane[p, columns.BOX] - GROWTH
            and b >= low - GROWTH
            and a <= plane[p, columns.BOX + 2] + GROWTH
            and b <= high + GROWTH
        )
        if met and shape == columns.BOXED:
            for k in range(first, last):
                inside = cuts[k, 0] < a < cuts[k, 2] and cuts[k, 1] < b < cuts[k, 3]
                met = met and not inside
        elif met:
            bands = last - first
            which = first + min(max(int((b - low) / (high - low) * bands), 0), bands - 1)
            met = touches(edges, band[which, 0], band[which, 1], a, b)
    return met
