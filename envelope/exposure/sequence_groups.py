"""Sequences that a plan changes, grouped by the rows that they cross of those that plans change.

Plans of one job share most of what they do: of two that differ by one wall, what crosses that wall
differs and nothing else. What a group adds in every draw is kept under the stacks that its rows
have, so that a plan costs what no plan before it has had.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from envelope.exposure.sequences import Bools, Branch, Longs
from envelope.exposure.stacks import StackKey
from envelope.exposure.transmission import Bench, Stacks
from envelope.geometry.plane import Floats

MAX_KEPT = 8000  # arrays of draws; beyond it what is kept is dropped


@dataclass(slots=True, kw_only=True, eq=False)
class Groups:
    """Some sequences of a branch, group by group, and what is known of each group."""

    branch: Branch
    of_sequence: Longs  # (m,) group of each of the branch's sequences; -1 for those not meant
    rows: tuple[tuple[int, ...], ...]  # rows of each group that plans change
    target: Longs  # (groups,) what each adds to, rising
    known: dict[tuple[int, ...], Floats] = field(default_factory=dict)  # (draws,)
    _flat: Longs = field(init=False)  # (k,) all rows of all groups, one group after the other
    _group: Longs = field(init=False)  # (k,) whose each is
    _numbers: Longs | None = None  # (k,) of their stacks, under the plan that was asked for last
    _added: Floats | None = None  # (groups, draws) what each adds under it

    def __post_init__(self) -> None:
        lengths = [len(rows) for rows in self.rows]
        self._flat = np.fromiter(itertools.chain.from_iterable(self.rows), np.int64, sum(lengths))
        self._group = np.repeat(np.arange(len(lengths)), lengths)

    @classmethod
    def of(cls, branch: Branch, varying: Bools, target: Longs) -> Groups:
        """Group a branch's sequences.

        Parameters
        ----------
        branch : Branch
            What plans change.
        varying : (rows,) bool
            Rows whose stack plans may change.
        target : (m,) int
            What each sequence adds to; below 0 where it adds to nothing.
        """
        names: list[tuple[int, ...]] = [()]
        numbers: dict[tuple[int, ...], int] = {(): 0}
        scope = np.zeros(len(branch.whole), dtype=np.int64)
        stride = len(varying)
        for low, high in branch.levels:
            crossed = scope[branch.parent[low:high]] * stride + branch.row[low:high]
            pairs, back = np.unique(crossed, return_inverse=True)
            joined = np.empty(len(pairs), dtype=np.int64)
            for place, pair in enumerate(pairs.tolist()):
                before, row = divmod(pair, stride)
                name = names[before]
                if varying[row] and row not in name:
                    name = tuple(sorted((*name, row)))
                if name not in numbers:
                    numbers[name] = len(names)
                    names.append(name)
                joined[place] = numbers[name]
            scope[low:high] = joined[back.reshape(-1)]
        meant = np.flatnonzero(branch.counted & (target >= 0))
        code = target[meant] * len(names) + scope[meant]
        found, group = np.unique(code, return_inverse=True)
        of_sequence = np.full(len(branch.whole), -1, dtype=np.int64)
        of_sequence[meant] = group.reshape(-1)
        return cls(
            branch=branch,
            of_sequence=of_sequence,
            rows=tuple(names[number] for number in (found % len(names)).tolist()),
            target=found // len(names),
        )

    def added(
        self,
        stack_of_row: Longs,
        add: Callable[[Branch, Longs], Floats],
        *,
        draws: int,
        targets: int,
    ) -> Floats:
        """What all groups add to each target (draws, targets) under the stacks of a plan.

        Parameters
        ----------
        stack_of_row : (rows,) int
            Number of each row's stack, from `stack_numbers`.
        add : callable
            What each group (groups, draws) of a smaller branch adds: it is given that branch, and
            the group of each sequence in it, numbered from 0; -1 for those not meant.
        draws, targets : int
            How many there are.
        """
        numbers = stack_of_row[self._flat]
        if self._numbers is None or self._added is None:
            stale = np.arange(len(self.rows))
            self._added = np.empty((len(self.rows), draws))
        else:  # most plans have most of it in common with the last one
            stale = np.unique(self._group[numbers != self._numbers])
        self._numbers = None  # until all of them are worked out
        of_row = stack_of_row.tolist()
        names = [(group, *(of_row[row] for row in self.rows[group])) for group in stale.tolist()]
        missing = np.array([name not in self.known for name in names], dtype=bool)
        if missing.any():
            if len(self.known) > MAX_KEPT:
                self.known.clear()
                missing[:] = True
            number = np.full(len(self.rows) + 1, -1, dtype=np.int64)
            number[stale[missing]] = np.arange(missing.sum())
            of_sequence = number[self.of_sequence]
            part = self.branch.only(of_sequence >= 0)
            at = np.searchsorted(self.branch.whole, part.whole)
            adds = add(part, np.where(part.counted, of_sequence[at], -1))
            for row, place in enumerate(np.flatnonzero(missing).tolist()):
                self.known[names[place]] = adds[row]
        for group, name in zip(stale.tolist(), names, strict=True):
            self._added[group] = self.known[name]
        self._numbers = numbers
        total = np.zeros((targets, draws))
        if len(self.rows):
            held, first = np.unique(self.target, return_index=True)
            total[held] = np.add.reduceat(self._added, first, axis=0)
        return total.T


def stack_numbers(bench: Bench, stacks: Stacks) -> Longs:
    """Number (rows,) of each row's stack, the same under every plan that has that stack there."""
    known, more = bench.kept("stack numbers", _nothing_numbered)
    # threads work on sources side by side: the counter gives no number twice
    numbers = np.array([known.setdefault(key, next(more)) for key in stacks.keys], dtype=np.int64)
    return np.asarray(numbers[stacks.of_row])


def _nothing_numbered() -> tuple[dict[StackKey, int], Iterator[int]]:
    return {}, itertools.count()
