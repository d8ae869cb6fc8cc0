"""The heavier signatures of a cast split by finer bins of the cosine, until each part is light.

What is unshielded is a step of the loss: where it falls inside a bin, the whole bin is in doubt. A
ceiling overhead fills one bin with a tenth of a steradian. Bins fine enough for it would split a
house into a hundred thousand signatures; split are those alone that weigh something.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.rays.kernel.arrays import Longs
from envelope.rays.parallel import Fineness
from envelope.rays.records import SCRAMBLES, FinerAngles, Signatures, hashed, joined, picked, united

PER_BIN = 16  # parts of a bin of the cosine
# Widths in parts: all signatures are split into the first, which tells what bins do to a sum; those
# that are heavy into the next, until each is light.
WIDTHS = (8, 2, 1)
_LIGHT = 0.25  # of the error asked for: what a part may weigh, over the sphere
_MOST_BINS = 64  # from which on bins are fine enough as they are


def fineness_of(bins: int, *, error: float | None) -> Fineness:
    """Bins in which rays are counted: wide ones, and narrow ones of what is heavy.

    Parameters
    ----------
    bins : int
        Of the cosine, as the cast has them in the end.
    error : float, optional
        Asked for; without one bins are not split.
    """
    if error is None or bins > _MOST_BINS:
        return Fineness(wide=bins, narrow=bins, light_sr=np.inf)
    narrow = bins * PER_BIN
    light_sr = 4.0 * np.pi * _LIGHT * error
    return Fineness(wide=narrow // WIDTHS[0], narrow=narrow, light_sr=light_sr)


def split(
    wide: Sequence[Signatures], narrow: Sequence[Signatures], *, bins: int, fineness: Fineness
) -> tuple[Signatures, FinerAngles]:
    """Signatures in whole bins, and in parts of them.

    Parameters
    ----------
    wide, narrow : sequence of Signatures
        Those whose entries are the widest parts of bins and those whose are single parts, weighing
        steradians. A ray is in one of them.
    bins : int
        Whole ones.
    fineness : Fineness
        In which they were counted.
    """
    per_bin, light_sr = fineness.narrow // bins, fineness.light_sr
    rest = joined(narrow) if narrow else _none()
    here, row = united([*wide, _coarser(rest, WIDTHS[0])])
    whole, parent = united([_coarser(here, per_bin // WIDTHS[0])])
    row = row[len(row) - len(rest.sky) :]
    heavy = (here.weights_sr.mean(axis=1) > light_sr)[row]
    left, _ = united([*wide, _coarser(picked(rest, np.flatnonzero(~heavy)), WIDTHS[0])])
    place = np.searchsorted(here.hashes, left.hashes)  # both are in their order
    found = [(left, parent[place], WIDTHS[0])]
    rest, of = picked(rest, np.flatnonzero(heavy)), parent[row[heavy]]
    for width in WIDTHS[1:]:
        here, row = united([_coarser(rest, width)])
        parent = np.empty(len(here.sky), dtype=np.int64)
        parent[row] = of
        heavy = here.weights_sr.mean(axis=1) > light_sr
        if width == WIDTHS[-1]:
            heavy[:] = False
        light = np.flatnonzero(~heavy)
        found.append((picked(here, light), parent[light], width))
        chosen = np.flatnonzero(heavy[row])
        rest, of = picked(rest, chosen), of[chosen]
    found = [_exposed(*each) for each in found]
    ends = np.cumsum([0] + [len(each.entries) for each, _, _ in found])
    starts = [each.start[:-1] + end for (each, _, _), end in zip(found, ends[:-1], strict=True)]
    return whole, FinerAngles(
        per_bin=per_bin,
        parent=np.concatenate([of for _, of, _ in found]),
        width=np.concatenate([np.full(len(of), width) for _, of, width in found]),
        weights_sr=np.concatenate([each.weights_sr for each, _, _ in found]),
        start=np.concatenate((*starts, ends[-1:])),
        entries=np.concatenate([each.entries * np.int32(width) for each, _, width in found]),
    )


def _exposed(parts: Signatures, parent: Longs, width: int) -> tuple[Signatures, Longs, int]:
    """Parts without those that are blocked, through which nothing comes."""
    chosen = np.flatnonzero(parts.sky > 0)
    return picked(parts, chosen), parent[chosen], width


def _none() -> Signatures:
    return Signatures(
        hashes=np.empty(0, dtype=np.uint64),
        first_panel=np.empty(0, dtype=np.int32),
        sky=np.empty(0, dtype=np.int8),
        weights_sr=np.empty((0, SCRAMBLES)),
        start=np.zeros(1, dtype=np.int64),
        entries=np.empty(0, dtype=np.int32),
    )


def _coarser(signatures: Signatures, width: int) -> Signatures:
    """Signatures with `width` parts of a bin as one, still apart."""
    entries = signatures.entries // np.int32(width)
    return Signatures(
        hashes=hashed(
            first_panel=signatures.first_panel,
            sky=signatures.sky,
            start=signatures.start,
            entries=entries,
        ),
        first_panel=signatures.first_panel,
        sky=signatures.sky,
        weights_sr=signatures.weights_sr,
        start=signatures.start,
        entries=entries,
    )
