"""Distinct sequences of crossings in a bundle of rays, so that draws are worked out once for each.

Thousands of rays cross the same few elements at nearly the same angles. By how much a drawn
tolerance moves their loss differs little among them, so rays that share a sequence of rows and
coarse cosine bins share that move. What each ray carries nominally stays exact: it is added up
over the rays of a sequence, and only the move is coarse.

Sequences form a tree: one with k crossings continues one with k − 1, and sequence 0 crosses
nothing. So the beginning of a ray is a sequence too, as the power balance of a room needs it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.exposure.transmission import Bench, Stacks
from envelope.geometry.plane import Floats
from envelope.rays import Beam, Chain, Crossings

Longs = NDArray[np.int64]

BINS = 8  # of the cosine, over which the move of a stack changes little


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sequences:
    """Tree of the sequences (n) of a bundle; sequence 0 crosses nothing."""

    parent: Longs  # (n,) the sequence without its last crossing
    row: Longs  # (n,) of the last crossing
    bin: Longs  # (n,)
    space: Longs  # (n,) in which the ray travelled before it; -1 where unknown or outdoors
    starts: tuple[int, ...]  # where sequences of one crossing begin, of two, …, and n
    of_ray: Longs  # (rays,)
    of_entry: Longs  # (entries,) the sequence that ends with this entry

    @property
    def count(self) -> int:
        """How many, with the one that crosses nothing."""
        return len(self.parent)

    def added(self, values: Floats, index: Longs) -> Floats:
        """Values (m, ...) of rays or entries, added up over the sequence (n, ...) of each."""
        found = np.zeros((self.count, *values.shape[1:]))
        if len(values):
            order = np.argsort(index, kind="stable")
            held, first = np.unique(index[order], return_index=True)
            found[held] = np.add.reduceat(values[order], first, axis=0)
        return found

    def factors(self, stacks: Stacks, log_shift: Floats) -> Floats:
        """Factors (n, draws, 2) on the transmission of each sequence.

        Parameters
        ----------
        log_shift : (stacks, BINS, draws, 2) float
            Move of the logarithm of each stack's transmission.
        """
        total = np.zeros((self.count, *log_shift.shape[2:]))
        for low, high in zip(self.starts[:-1], self.starts[1:], strict=True):
            crossed = slice(low, high)
            stack = stacks.of_row[self.row[crossed]]
            total[crossed] = total[self.parent[crossed]] + log_shift[stack, self.bin[crossed]]
        return np.asarray(np.exp(total, out=total))


def sequences_of(bundle: Beam | Chain | Crossings, bench: Bench) -> Sequences:
    """The sequences of a bundle: geometry only, so made once for a job."""
    return bench.kept(("sequences", bundle), lambda: _sequences(bundle))


def _sequences(bundle: Beam | Chain | Crossings) -> Sequences:
    if isinstance(bundle, Crossings):
        rows, fine = np.divmod(bundle.entries.astype(np.int64), bundle.bins)
        coarse = fine * BINS // bundle.bins
    else:
        rows = bundle.rows.astype(np.int64)
        coarse = np.minimum((bundle.cosines * BINS).astype(np.int64), BINS - 1)
    spaces = bundle.space.astype(np.int64) if isinstance(bundle, Chain) else np.full(len(rows), -1)
    place = bundle.start[:-1].astype(np.int64)
    length = np.diff(bundle.start)
    of_ray = np.zeros(len(length), dtype=np.int64)
    of_entry = np.zeros(len(rows), dtype=np.int64)
    tables = [np.zeros((1, 4), dtype=np.int64)]
    starts = [1]
    for depth in range(int(length.max(initial=0))):
        ray = np.flatnonzero(length > depth)
        entry = place[ray] + depth
        listed = np.stack((of_ray[ray], rows[entry], coarse[entry], spaces[entry]), axis=1)
        distinct, which = np.unique(listed, axis=0, return_inverse=True)
        of_ray[ray] = of_entry[entry] = starts[-1] + which.reshape(-1)
        tables.append(distinct)
        starts.append(starts[-1] + len(distinct))
    parent, row, cosine_bin, space = np.concatenate(tables).T
    space = space.copy()
    space[0] = -1
    return Sequences(
        parent=parent,
        row=row,
        bin=cosine_bin,
        space=space,
        starts=tuple(starts),
        of_ray=of_ray,
        of_entry=of_entry,
    )
