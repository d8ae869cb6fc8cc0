"""What casts yield: crossings merged by signature, beams, lit panels, chains. Geometry only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.model import Building
from envelope.errors import RangeError, StaleCastError
from envelope.geometry.plane import Floats
from envelope.rays.kernel.arrays import Bytes, Ints, Longs, Words

SCRAMBLES = 8
# two-sided 98 % point of Student's t with SCRAMBLES - 1 degrees of freedom
STUDENT_T = 2.9979515668685277


def standard_error(values_per_scramble: Floats) -> Floats:
    """Half-width about the mean that covers the truth at least 95 times of 100.

    Stated on the safe side: not the standard deviation of the mean, but that times the point of
    Student's t that normal scatter stays within 98 times of 100. Eight scrambles know their own
    scatter only roughly, and the scatter of few rays is not quite normal.

    Parameters
    ----------
    values_per_scramble : (..., 8) float
        The same quantity estimated from each scramble alone.

    Returns
    -------
    half_width : (...) float
        In the unit of the quantity.

    Examples
    --------
    >>> float(standard_error(np.array([1.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0])).round(4))
    0.5666
    """
    count = values_per_scramble.shape[-1]
    half_width: Floats = STUDENT_T * np.std(values_per_scramble, axis=-1, ddof=1) / np.sqrt(count)
    return half_width


def _check(digest: str, building: Building) -> None:
    if digest != building.digest:
        raise StaleCastError(
            f"this cast was made for a building with fingerprint {digest[:12]}, "
            f"not for the present one, {building.digest[:12]}: cast again"
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinerAngles:
    """The exposed signatures of a cast split by finer bins of the cosine, heavy ones further.

    An entry is ``(row * bins + bin) * per_bin + part``: the first of `width` parts of a bin. What a
    part weighs is in its signature too; signatures need not be split up to the last ray.
    """

    per_bin: int  # parts of a bin
    parent: Longs  # (f,) signature that a part is of
    width: Longs  # (f,) in parts
    weights_sr: Floats  # (f, 8)
    start: Longs  # (f + 1,)
    entries: Ints  # (nnz,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """Receiver to all directions: rays with the same signature merged.

    An entry is ``row * bins + bin`` with bin ``min(int(cosine * bins), bins - 1)``; rows are those
    of `envelope.rays.kernel.walk`.
    """

    digest: str  # of the building
    bins: int  # of the cosine, evenly spaced
    first_panel: Ints  # (s,) panel of the receiver's space that the rays left through
    sky: Bytes  # (s,) 0 blocked, 1 exposed below the horizon, 2 at or above it
    weights_sr: Floats  # (s, 8) each column alone estimates the solid angle
    start: Longs  # (s + 1,) signature i has entries[start[i]:start[i + 1]], at least one
    entries: Ints  # (nnz,) sorted within a signature
    rays: int  # walked
    finer: FinerAngles | None = None

    def check(self, building: Building) -> None:
        """Raise StaleCastError unless the cast was made for this building."""
        _check(self.digest, building)

    @property
    def solid_angle_sr(self) -> Floats:
        """Solid angle (s,) of each signature. [sr]"""
        mean: Floats = self.weights_sr.mean(axis=1)
        return mean

    @property
    def closure_error_sr(self) -> float:
        """What the whole sphere's solid angle comes out too large. [sr]"""
        return float(self.solid_angle_sr.sum() - 4.0 * np.pi)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beam:
    """Receiver to one source: rays kept apart, with exact cosines."""

    digest: str
    solid_angle_sr: float  # of the cone; 0 for a point
    first_panel: Ints  # (n,) as in Crossings; -1 where the ray crosses nothing
    sky: Bytes  # (n,)
    weights: Floats  # (n,) sum 1
    directions: Floats  # (n, 3) from the receiver
    start: Longs  # (n + 1,)
    rows: Ints  # (nnz,) in order from the receiver
    cosines: Floats  # (nnz,)

    def check(self, building: Building) -> None:
        """Raise StaleCastError unless the cast was made for this building."""
        _check(self.digest, building)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lit:
    """One space lit by one source: rays from points on its panels out to the source."""

    digest: str
    panel: Ints  # (n,) on which the point lies
    points: Floats  # (n, 3) in the building's coordinates [m]
    directions: Floats  # (n, 3) towards the source
    area_m2: Floats  # (n,) projected area that the ray stands for; 0 where the space hides itself
    sky: Bytes  # (n,)
    start: Longs  # (n + 1,)
    rows: Ints  # (nnz,) in order from the point
    cosines: Floats  # (nnz,)

    def check(self, building: Building) -> None:
        """Raise StaleCastError unless the cast was made for this building."""
        _check(self.digest, building)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Source inward through the whole building, for the diffuse field."""

    digest: str
    weights: Floats  # (n,) projected area of a parallel beam [m²], solid angle of a point [sr]
    start: Longs  # (n + 1,)
    rows: Ints  # (nnz,) in order from the source
    cosines: Floats  # (nnz,)
    space: Ints  # (nnz,) in which the ray travelled before the hit; -1 outdoors
    side: Ints  # (nnz,) panel hit; of an entry from outdoors, the one met from behind

    def check(self, building: Building) -> None:
        """Raise StaleCastError unless the cast was made for this building."""
        _check(self.digest, building)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signatures:
    """Signatures with their weights, before they are all together."""

    hashes: Words  # (s,) of everything but the weights
    first_panel: Ints
    sky: Bytes
    weights_sr: Floats
    start: Longs
    entries: Ints


def unite(parts: Sequence[Signatures]) -> Signatures:
    """One row for each signature, weights added."""
    return united(parts)[0]


def united(parts: Sequence[Signatures]) -> tuple[Signatures, Longs]:
    """One row for each signature, weights added, and the row that each came to.

    Signatures count as equal when their 64-bit hashes are: among a million different ones, two
    share a hash once in 37 million casts.
    """
    every = joined(parts)
    hashes, chosen, row = np.unique(every.hashes, return_index=True, return_inverse=True)
    total = np.empty((len(hashes), every.weights_sr.shape[1]))
    for column in range(total.shape[1]):
        total[:, column] = np.bincount(
            row, weights=every.weights_sr[:, column], minlength=len(hashes)
        )
    found = picked(every, chosen)
    return replace(found, weights_sr=total), row


def joined(parts: Sequence[Signatures]) -> Signatures:
    """Signatures one part after the other, equal ones apart."""
    if len(parts) == 1:
        return parts[0]
    ends = np.cumsum([0] + [len(part.entries) for part in parts])
    starts = [part.start[:-1] + end for part, end in zip(parts, ends[:-1], strict=True)]
    return Signatures(
        hashes=np.concatenate([part.hashes for part in parts]),
        first_panel=np.concatenate([part.first_panel for part in parts]),
        sky=np.concatenate([part.sky for part in parts]),
        weights_sr=np.concatenate([part.weights_sr for part in parts]),
        start=np.concatenate((*starts, ends[-1:])),
        entries=np.concatenate([part.entries for part in parts]),
    )


def picked(signatures: Signatures, rows: Longs) -> Signatures:
    """Some of the signatures."""
    lengths = np.diff(signatures.start)[rows]
    start: Longs = np.concatenate(([0], np.cumsum(lengths)))
    gather = np.repeat(signatures.start[:-1][rows] - start[:-1], lengths) + np.arange(start[-1])
    return Signatures(
        hashes=signatures.hashes[rows],
        first_panel=signatures.first_panel[rows],
        sky=signatures.sky[rows],
        weights_sr=signatures.weights_sr[rows],
        start=start,
        entries=signatures.entries[gather],
    )


def merge(crossings: Sequence[Crossings]) -> Crossings:
    """The mean over several receivers of one building, as for the points of a box.

    Raises
    ------
    RangeError
        For none at all, or for different numbers of cosine bins.
    StaleCastError
        For casts of different buildings.
    """
    if not crossings:
        raise RangeError("0 casts to merge; allowed: at least 1")
    head = crossings[0]
    for other in crossings[1:]:
        if other.digest != head.digest:
            raise StaleCastError("casts of different buildings cannot be merged: cast again")
        if other.bins != head.bins:
            raise RangeError(
                f"casts with {head.bins} and {other.bins} cosine bins; allowed: one number"
            )
    if len(crossings) == 1:
        return head
    share = 1.0 / len(crossings)
    together, row = united([_signatures(part, share=share) for part in crossings])
    return as_crossings(
        together,
        digest=head.digest,
        bins=head.bins,
        rays=sum(part.rays for part in crossings),
        finer=_merged_finer(crossings, row, share=share),
    )


def _merged_finer(
    crossings: Sequence[Crossings], row: Longs, *, share: float
) -> FinerAngles | None:
    """Finer angles of several casts, whose signatures came to `row` one cast after the other."""
    offsets = np.cumsum([0] + [len(part.sky) for part in crossings])
    found = [
        (part.finer, row[offset : offset + len(part.sky)])
        for part, offset in zip(crossings, offsets[:-1], strict=True)
        if part.finer is not None
    ]
    if not found:
        return None
    ends = np.cumsum([0] + [len(each.entries) for each, _ in found])
    starts = [each.start[:-1] + end for (each, _), end in zip(found, ends[:-1], strict=True)]
    return FinerAngles(
        per_bin=found[0][0].per_bin,
        parent=np.concatenate([rows[each.parent] for each, rows in found]),
        width=np.concatenate([each.width for each, _ in found]),
        weights_sr=np.concatenate([each.weights_sr for each, _ in found]) * share,
        start=np.concatenate((*starts, ends[-1:])),
        entries=np.concatenate([each.entries for each, _ in found]),
    )


def as_crossings(
    signatures: Signatures,
    *,
    digest: str,
    bins: int,
    rays: int,
    finer: FinerAngles | None = None,
) -> Crossings:
    """The finished record, its arrays closed to changes."""
    arrays: list[Ints | Bytes | Floats | Longs] = [
        signatures.first_panel,
        signatures.sky,
        signatures.weights_sr,
        signatures.start,
        signatures.entries,
    ]
    if finer is not None:
        arrays += [finer.parent, finer.width, finer.weights_sr, finer.start, finer.entries]
    for array in arrays:
        array.setflags(write=False)
    return Crossings(
        digest=digest,
        bins=bins,
        first_panel=signatures.first_panel,
        sky=signatures.sky,
        weights_sr=signatures.weights_sr,
        start=signatures.start,
        entries=signatures.entries,
        rays=rays,
        finer=finer,
    )


def _signatures(crossings: Crossings, *, share: float) -> Signatures:
    """Back to signatures."""
    return Signatures(
        hashes=hashed(
            first_panel=crossings.first_panel,
            sky=crossings.sky,
            start=crossings.start,
            entries=crossings.entries,
        ),
        first_panel=crossings.first_panel,
        sky=crossings.sky,
        weights_sr=crossings.weights_sr * share,
        start=crossings.start,
        entries=crossings.entries,
    )


def hashed(*, first_panel: Ints, sky: Bytes, start: Longs, entries: Ints) -> Words:
    """Hashes (s,) of signatures as `envelope.rays.kernel.signatures` makes them."""
    seed, mix = np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBF58476D1CE4E5B9)
    shift = np.uint64(29)
    words = entries.astype(np.uint64)
    lengths = np.diff(start)
    mixed = (seed ^ first_panel.astype(np.uint64)) * mix
    mixed = (mixed ^ (mixed >> shift) ^ sky.astype(np.uint64)) * mix
    for place in range(int(lengths.max(initial=0))):
        longer = np.flatnonzero(lengths > place)
        kept = mixed[longer]
        mixed[longer] = (kept ^ (kept >> shift) ^ words[start[longer] + place]) * mix
    return np.asarray(mixed ^ (mixed >> shift))
