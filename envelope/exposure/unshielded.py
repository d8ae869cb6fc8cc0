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

from envelope.exposure.crossed import entries_of
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
    whole = edges[:, ::parts]
    low, high = np.minimum(whole[:, :-1], whole[:, 1:]), np.maximum(whole[:, :-1], whole[:, 1:])
    exposed = np.flatnonzero(crossings.sky > 0)
    entries, start = entries_of(crossings.start, exposed)
    rows, bins = np.divmod(crossings.entries[entries], crossings.bins)
    stack = tables.stacks.of_row[rows]
    least, most = _passed(low[stack, bins], start[:-1]), _passed(high[stack, bins], start[:-1])
    shares = np.zeros((len(crossings.sky), edges.shape[2]))
    shares[exposed] = _shares(least, most, limit)
    by_scramble_sr = shares.T @ crossings.weights_sr
    left_sr = crossings.solid_angle_sr
    in_doubt_sr2, moved_sr = np.zeros(shares.shape[1]), np.zeros(shares.shape[1])
    if finer is not None:
        log_limit = np.log(limit)
        near = np.zeros(len(crossings.sky), dtype=np.bool_)
        near[exposed] = ((least - _NEAR < log_limit) & (log_limit < most + _NEAR)).any(axis=1)
        chosen = np.flatnonzero(near[finer.parent])
        parent, weights_sr = finer.parent[chosen], finer.weights_sr[chosen]
        entries, start = entries_of(finer.start, chosen)
        rows, at = np.divmod(finer.entries[entries], crossings.bins * parts)
        stack = tables.stacks.of_row[rows]
        stop = at + np.repeat(finer.width[chosen], np.diff(start))
        within = np.empty((0, shares.shape[1]))
        if len(chosen):
            one, other = edges[stack, at], edges[stack, stop]
            least = _passed(np.minimum(one, other), start[:-1])
            most = _passed(np.maximum(one, other), start[:-1])
            within = _shares(least, most, limit)
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


def _passed(logs: Floats, start: Rows) -> Floats:
    """Log transmission (s, bands) of rays, from that of their entries (nnz, bands, 2).

    More loss at every angle never raises it, so that a treatment never raises a share.
    """
    passed = np.exp(np.add.reduceat(logs, start, axis=0))
    return np.log(np.maximum(0.5 * (passed[..., 0] + passed[..., 1]), _LEAST))


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
    of_band = edges[:, :, band]
    middles = np.empty((len(of_band), 2 * of_band.shape[1] - 1, 2))  # and edges between them
    middles[:, ::2] = of_band
    middles[:, 1::2] = 0.5 * (of_band[:, 1:] + of_band[:, :-1])
    passed = np.exp(np.add.reduceat(middles[stack, 2 * at + width], finer.start[:-1], axis=0))
    passed = 0.5 * (passed[:, 0] + passed[:, 1])
    # no product of vectors: its last digit depends on how many threads BLAS has
    moved = (finer.weights_sr.mean(axis=1) * (passed - transmission[finer.parent])).sum()
    return abs(float(moved))
