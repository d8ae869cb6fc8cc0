"""Distinct sequences of crossings in a bundle of rays, so that draws are worked out once for each.

Thousands of rays cross the same few elements at nearly the same angles. By how much a drawn
tolerance moves their loss differs little among them, so rays that share a sequence of rows and
coarse cosine bins share that move. What each ray carries nominally stays exact: it is added up
over the rays of a sequence, and only the move is coarse.

Sequences form a tree: one with k crossings continues one with k − 1, and sequence 0 crosses
nothing. So the beginning of a ray is a sequence too, as the power balance of a room needs it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from envelope.exposure.transmission import Bench, Stacks
from envelope.geometry.plane import Floats
from envelope.rays import Beam, Chain, Crossings

Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

BINS = 8  # of the cosine, over which the move of a stack changes little
DRAWS_AT_LEAST = 16  # at a time
CACHED = 2**17  # numbers that stay in the processor's cache while they are worked on


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
        """Values (m, 2) of rays or entries, added up over the sequence (n, 2) of each."""
        columns = [
            np.bincount(index, weights=values[:, axis], minlength=self.count) for axis in range(2)
        ]
        return np.stack(columns, axis=1)

    def split(self, varying: Bools) -> tuple[Branch, Branch]:
        """Sequences that cross none of some rows, and those that do.

        Parameters
        ----------
        varying : (rows,) bool
            Those rows.
        """
        crosses = np.zeros(self.count, dtype=bool)
        for low, high in self.levels:
            level = slice(low, high)
            crosses[level] = crosses[self.parent[level]] | varying[self.row[level]]
        return self._branch(~crosses), self._branch(crosses)

    def _branch(self, counted: Bools) -> Branch:
        every = Branch(
            whole=np.arange(self.count),
            counted=counted,
            parent=self.parent,
            row=self.row,
            bin=self.bin,
            levels=tuple(self.levels),
        )
        return every.only(counted)

    @property
    def levels(self) -> list[tuple[int, int]]:
        """Where sequences of one crossing begin and end, of two, …"""
        return list(pairwise(self.starts))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Branch:
    """Some sequences of a tree, with those that they continue: m of its n.

    What plans do not change is the same branch under each of them, so that its draws are added
    up once.
    """

    whole: Longs  # (m,) numbers in the whole tree; the first crosses nothing
    counted: Bools  # (m,) which ones are meant, rather than continued
    parent: Longs  # (m,) among these
    row: Longs
    bin: Longs
    levels: tuple[tuple[int, int], ...]

    def only(self, counted: Bools) -> Branch:
        """Some of what is meant (m,), with what that continues."""
        members = counted.copy()
        for low, high in reversed(self.levels):
            members[self.parent[low:high][members[low:high]]] = True
        members[0] = True
        held = np.flatnonzero(members)
        number = np.cumsum(members) - 1
        levels = np.searchsorted(held, self.levels)
        return Branch(
            whole=self.whole[held],
            counted=counted[held],
            parent=number[self.parent[held]],
            row=self.row[held],
            bin=self.bin[held],
            levels=tuple((int(low), int(high)) for low, high in levels),
        )

    def factors(self, stacks: Stacks, factor: Floats) -> Floats:
        """Factors (m, 2, draws) on the transmission of each sequence.

        Parameters
        ----------
        factor : (stacks, BINS, 2, draws) float
            On each stack's transmission.
        """
        moves = rows_of_moves(factor)
        which = self.stack_and_bin(stacks, factor)
        found = np.empty((len(self.whole), moves.shape[1]))
        found[0] = 1.0  # crosses nothing
        for low, high in self.levels:
            if low == high:
                continue
            level = found[low:high]
            np.take(found, self.parent[low:high], axis=0, out=level, mode="clip")
            level *= np.take(moves, which[low:high], axis=0, mode="clip")
        return found.reshape(-1, *factor.shape[2:])

    def stack_and_bin(self, stacks: Stacks, moves: Floats) -> Longs:
        """Which row (m,) of `rows_of_moves` each sequence's last crossing has."""
        return np.asarray(stacks.of_row[self.row] * moves.shape[1] + self.bin)

    def passed(self, carried: Floats, stacks: Stacks, factor: Floats) -> Floats:
        """What arrives (draws,) over the sequences that are meant, both polarizations together.

        Parameters
        ----------
        carried : (n, 2) float
            What each sequence of the whole tree carries nominally.
        stacks, factor
            As in `factors`.
        """
        count = factor.shape[-1]
        weight = (carried[self.whole] * self.counted[:, np.newaxis]).reshape(-1)
        total = np.empty(count)
        for some in few_draws(count, held=len(weight)):
            factors = self.factors(stacks, factor[..., some])
            total[some] = weight @ factors.reshape(len(weight), -1)
        return total

    def passed_by_group(
        self, carried: Floats, group: Longs, stacks: Stacks, factor: Floats
    ) -> Floats:
        """What arrives (groups, draws) over each group of sequences, as in `passed`.

        Parameters
        ----------
        carried, stacks, factor
            As in `passed`.
        group : (m,) int
            Of each of these sequences, from 0; -1 for those that are not meant.
        """
        count = factor.shape[-1]
        held = np.flatnonzero(group >= 0)
        held = held[np.argsort(group[held], kind="stable")]
        groups, first = np.unique(group[held], return_index=True)
        weight = carried[self.whole[held]][..., np.newaxis]
        found = np.zeros((len(groups), count))
        for some in few_draws(count, held=2 * len(self.whole)):
            factors = np.take(self.factors(stacks, factor[..., some]), held, axis=0, mode="clip")
            factors *= weight
            found[:, some] = np.add.reduceat(factors, first, axis=0).sum(axis=1)
        return found


def rows_of_moves(moves: Floats) -> Floats:
    """Moves (stacks, bins, 2, draws) as a table (stacks · bins, 2 · draws) to take rows from.

    Rows that stand together are taken in half the time that numpy needs to pick by two indices.
    """
    return np.ascontiguousarray(moves).reshape(-1, moves.shape[2] * moves.shape[3])


def few_draws(count: int, *, held: int) -> Iterator[slice]:
    """Stretches of draws short enough for what is worked out of them to stay in the cache."""
    step = max(DRAWS_AT_LEAST, CACHED // max(held, 1))
    for low in range(0, count, step):
        yield slice(low, min(low + step, count))


def branches_of(
    bundle: Beam | Chain | Crossings, bench: Bench, varying: Bools
) -> tuple[Branch, Branch]:
    """What plans leave as it is of a bundle's sequences, and what they change."""
    return bench.kept(
        ("branches", bundle, varying.tobytes()), lambda: sequences_of(bundle, bench).split(varying)
    )


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
        listed = np.stack((of_ray[ray], rows[entry], coarse[entry], spaces[entry]))
        first, which = _alike(listed)
        of_ray[ray] = of_entry[entry] = starts[-1] + which
        tables.append(listed[:, first].T)
        starts.append(starts[-1] + len(first))
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


def _alike(columns: Longs) -> tuple[Longs, Longs]:
    """Where each distinct column (4, m) first is, in their order, and which one each is."""
    code = columns[0]
    for row in columns[1:]:
        low, high = int(row.min(initial=0)), int(row.max(initial=0))
        code = code * (high - low + 1) + (row - low)
    _, first, which = np.unique(code, return_index=True, return_inverse=True)
    return first, which
