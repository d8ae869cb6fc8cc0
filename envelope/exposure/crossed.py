"""Which rays of a bundle cross a row: what a change of a few rows makes anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Longs = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossed:
    """Rays by the rows that they cross."""

    places: dict[int, slice]  # of each row, in `rays`
    rays: Longs
    count: int  # of all rays

    @classmethod
    def of(cls, *, rows: NDArray[np.int32] | Longs, start: Longs) -> Crossed:
        """List them.

        Parameters
        ----------
        rows : (entries,) int
            That each entry crosses.
        start : (rays + 1,) int
            Ray i has the entries start[i] to start[i + 1].
        """
        ray = np.repeat(np.arange(len(start) - 1), np.diff(start))
        order = np.argsort(rows, kind="stable")
        held, first = np.unique(rows[order], return_index=True)
        ends = np.append(first, len(order)).tolist()
        places = {
            row: slice(ends[index], ends[index + 1]) for index, row in enumerate(held.tolist())
        }
        return cls(places=places, rays=ray[order], count=len(start) - 1)

    def by(self, rows: NDArray[np.bool_]) -> Longs:
        """Rays that cross some of these rows (a mask of all), in their order."""
        parts = [
            self.rays[self.places[row]]
            for row in np.flatnonzero(rows).tolist()
            if row in self.places
        ]
        crosses = np.zeros(self.count, dtype=bool)
        for part in parts:
            crosses[part] = True
        return np.flatnonzero(crosses)


def entries_of(start: Longs, rays: Longs) -> tuple[Longs, Longs]:
    """Entries of some rays, ray by ray, and where those of each begin: (rays + 1,)."""
    lengths = start[rays + 1] - start[rays]
    begins = np.concatenate(([0], np.cumsum(lengths)))
    return np.repeat(start[rays] - begins[:-1], lengths) + np.arange(begins[-1]), begins
