"""Rays that cross the same things at the same angles, put together.

A parallel beam meets each wall at one angle, so that thousands of its rays differ only in where
they run; a plan need look at each kind of ray once.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats
from envelope.rays.records import Chain, Lit

SAME = 1e-9  # cosines closer than this are one angle


def _kinds(
    start: NDArray[np.int64], columns: list[NDArray[np.int64]], heads: list[NDArray[np.int64]]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First ray of each kind, and the kind of each ray.

    Parameters
    ----------
    columns : list of (nnz,) int
        What tells the entries of rays apart.
    heads : list of (n,) int
        What tells rays apart besides.
    """
    lengths = np.diff(start)
    longest = int(lengths.max(initial=0))
    place = np.arange(longest)
    filled = place < lengths[:, np.newaxis]
    entry = np.where(filled, start[:-1][:, np.newaxis] + place, 0)
    parts = [head[:, np.newaxis] for head in heads]
    parts += [np.where(filled, column[entry], -2) for column in columns if len(column)]
    _, first, kind = np.unique(
        np.concatenate(parts, axis=1), axis=0, return_index=True, return_inverse=True
    )
    return first, kind.reshape(-1)


def _angles(cosines: Floats) -> NDArray[np.int64]:
    return np.asarray(np.round(cosines / SAME), dtype=np.int64)


def _picked(start: NDArray[np.int64], rays: NDArray[np.int64]) -> tuple[NDArray[np.int64], ...]:
    """New starts, and the entries of picked rays."""
    lengths = np.diff(start)[rays]
    new = np.concatenate(([0], np.cumsum(lengths)))
    entries = np.repeat(start[:-1][rays] - new[:-1], lengths) + np.arange(new[-1])
    return new, entries


def _sums(kind: NDArray[np.int64], amounts: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(kind, weights=amounts, minlength=count), dtype=np.float64)


def merge_chain(chain: Chain) -> Chain:
    """The same chain with rays of one kind as one ray that carries all their weight."""
    if not len(chain.weights):
        return chain
    columns = [
        chain.rows.astype(np.int64),
        _angles(chain.cosines),
        chain.space.astype(np.int64),
        chain.side.astype(np.int64),
    ]
    first, kind = _kinds(chain.start, columns, [])
    start, entries = _picked(chain.start, first)
    return replace(
        chain,
        weights=_sums(kind, chain.weights, len(first)),
        start=start,
        rows=chain.rows[entries],
        cosines=chain.cosines[entries],
        space=chain.space[entries],
        side=chain.side[entries],
    )


def merge_lit(lit: Lit) -> Lit:
    """The same lit panels with rays of one panel and kind as one; its point is one of theirs."""
    if not len(lit.panel):
        return lit
    columns = [lit.rows.astype(np.int64), _angles(lit.cosines)]
    heads = [lit.panel.astype(np.int64), lit.sky.astype(np.int64)]
    heads += [_angles(lit.directions[:, axis]) for axis in range(3)]
    first, kind = _kinds(lit.start, columns, heads)
    start, entries = _picked(lit.start, first)
    return replace(
        lit,
        panel=lit.panel[first],
        points=lit.points[first],
        directions=lit.directions[first],
        area_m2=_sums(kind, lit.area_m2, len(first)),
        sky=lit.sky[first],
        start=start,
        rows=lit.rows[entries],
        cosines=lit.cosines[entries],
    )
