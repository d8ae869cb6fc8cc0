"""What of a receiver's directions is unshielded: a step of the loss, looked at in finer angles.

A signature holds all rays that cross the same rows in the same bins of the cosine. Where the
threshold lies between what its two extreme rays pass, their logarithm counts as evenly spread
between them, so that the figure does not hang on where the bins end. A heavy signature is looked at
in parts, each by the same rule (`envelope.rays.finer_angles`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.exposure.transmission import Tables, node_cosines
from envelope.geometry.plane import Floats
from envelope.rays import Crossings

ROUNDING = 1e-9  # in a logarithm
_LEAST = np.finfo(np.float64).tiny  # that counts as passed: a stack may pass less than any number
_NEAR = 0.25  # by which a bin's angles may pass more, or less, than those at its ends, in logarithm
Rows = NDArray[np.int64] | NDArray[np.int32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unshielded:
    """Unshielded solid angle, band by band."""

    by_scramble_sr: Floats  # (bands, 8) each column alone estimates it
    in_doubt_sr: Floats  # (bands,) root sum of squares of what lies across the threshold
    moved_sr: Floats  # (bands,) by which halved bins change it where they were not split further


def at_edges(crossings: Crossings, tables: Tables) -> Floats:
    """Log transmission (stacks, edges, bands, 2) at the edges of the parts of bins.

    Straight between the angles at which stacks are solved and level beyond the first and the last:
    a treatment that loses more at each of them never passes more at an edge.
    """
    parts = 1 if crossings.finer is None else crossings.finer.per_bin
    edges = np.linspace(0.0, 1.0, crossings.bins * parts + 1)
    cosines, _ = node_cosines(crossings.bins)
    after = np.clip(np.searchsorted(cosines, edges), 1, len(cosines) - 1)
    share = (edges - cosines[after - 1]) / (cosines[after] - cosines[after - 1])
    share = np.clip(share, 0.0, 1.0)[:, np.newaxis, np.newaxis]
    values = np.stack(tables.log_at_nodes)
    return np.asarray(values[:, after - 1] * (1.0 - share) + values[:, after] * share)


def unshielded(crossings: Crossings, tables: Tables, *, edges: Floats, limit: float) -> Unshielded:
    """Solid angle whose transmission is above a limit, exposed directions alone.

    Parameters
    ----------
    crossings : Crossings
    tables : Tables
        Of a plan.
    edges : (stacks, edges, bands, 2) float
        From `at_edges`.
    limit : float
        From `envelope.exposure.solid_angles.threshold_transmission`.
    """
    finer = crossings.finer
    parts = 1 if finer is None else finer.per_bin
    rows, bins = np.divmod(crossings.entries, crossings.bins)
    stack = tables.stacks.of_row[rows]
    least, most = _extremes(
        edges[stack, bins * parts], edges[stack, (bins + 1) * parts], crossings.start[:-1]
    )
    exposed = (crossings.sky > 0)[:, np.newaxis]
    shares = _shares(least, most, limit) * exposed
    by_scramble_sr = shares.T @ crossings.weights_sr
    left_sr = crossings.solid_angle_sr
    in_doubt_sr2, moved_sr = np.zeros(shares.shape[1]), np.zeros(shares.shape[1])
    if finer is not None:
        log_limit = np.log(limit)
        near = (least - _NEAR < log_limit) & (log_limit < most + _NEAR) & exposed
        chosen = np.flatnonzero(near.any(axis=1)[finer.parent])
        parent, weights_sr = finer.parent[chosen], finer.weights_sr[chosen]
        lengths = np.diff(finer.start)[chosen]
        start = np.cumsum(lengths) - lengths
        gather = np.repeat(finer.start[chosen] - start, lengths) + np.arange(lengths.sum())
        rows, at = np.divmod(finer.entries[gather], crossings.bins * parts)
        stack, stop = tables.stacks.of_row[rows], at + np.repeat(finer.width[chosen], lengths)
        within = np.empty((0, shares.shape[1]))
        if len(chosen):
            within = _shares(*_extremes(edges[stack, at], edges[stack, stop], start), limit)
        by_scramble_sr = by_scramble_sr + (within - shares[parent]).T @ weights_sr
        each_sr = weights_sr.mean(axis=1)
        widest = finer.width[chosen] == finer.width.max(initial=0)
        moved_sr = (each_sr * widest) @ (within - shares[parent])
        left_sr = left_sr - np.bincount(parent, weights=each_sr, minlength=len(left_sr))
        in_doubt_sr2 = _in_doubt_sr2(within, each_sr)
    in_doubt_sr2 = in_doubt_sr2 + _in_doubt_sr2(shares, left_sr)
    return Unshielded(
        by_scramble_sr=by_scramble_sr,
        in_doubt_sr=np.sqrt(in_doubt_sr2),
        moved_sr=np.abs(moved_sr),
    )


def _extremes(one: Floats, other: Floats, start: Rows) -> tuple[Floats, Floats]:
    """Least and most log transmission (s, bands) of rays, from that (nnz, bands, 2) at two ends.

    More loss at every angle never raises either, so that a treatment never raises a share.
    """
    least, most = (
        np.exp(np.add.reduceat(each(one, other), start, axis=0)).mean(axis=2)
        for each in (np.minimum, np.maximum)
    )
    return np.log(np.maximum(least, _LEAST)), np.log(np.maximum(most, _LEAST))


def _shares(least: Floats, most: Floats, limit: float) -> Floats:
    """Share of rays that pass more than a limit, their logarithms evenly spread."""
    apart = most - least
    whole = apart <= ROUNDING
    share = (most - np.log(limit)) / np.where(whole, 1.0, apart)
    return np.where(whole, np.exp(most) > limit, np.clip(share, 0.0, 1.0))


def _in_doubt_sr2(shares: Floats, solid_angle_sr: Floats) -> Floats:
    in_doubt_sr = solid_angle_sr[:, np.newaxis] * np.minimum(shares, 1.0 - shares)
    return np.asarray((in_doubt_sr**2).sum(axis=0))


def moved_by_finer_angles_sr(
    crossings: Crossings, tables: Tables, *, edges: Floats, transmission: Floats, band: int
) -> float:
    """By how much finer angles change the open-equivalent solid angle of a band. [sr]

    Parameters
    ----------
    crossings : Crossings
    tables : Tables
        Of a plan.
    edges : (stacks, edges, bands, 2) float
        From `at_edges`.
    transmission : (signatures,) float
        In whole bins, in that band, 0 where blocked.
    band : int
        Its index.
    """
    finer = crossings.finer
    if finer is None or not len(finer.parent):
        return 0.0
    rows, at = np.divmod(finer.entries, crossings.bins * finer.per_bin)
    width = np.repeat(finer.width, np.diff(finer.start))
    stack = tables.stacks.of_row[rows]
    middle = 0.5 * (edges[stack, at + width // 2, band] + edges[stack, at + (width + 1) // 2, band])
    passed = np.exp(np.add.reduceat(middle, finer.start[:-1], axis=0)).mean(axis=1)
    passed = np.where(crossings.sky[finer.parent] > 0, passed, 0.0)
    moved = finer.weights_sr.mean(axis=1) @ (passed - transmission[finer.parent])
    return abs(float(moved))
