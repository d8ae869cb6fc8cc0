"""What casts yield: crossings merged by signature, beams, lit panels, chains. Geometry only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.model import Building
from envelope.errors import RangeError, StaleCastError
from envelope.geometry.plane import Floats
from envelope.rays.kernel.arrays import Bytes, Ints, Longs, Words

SCRAMBLES = 8
# two-sided 98 % point of Student's t with SCRAMBLES - 1 degrees of freedom
_STUDENT_T = 2.9979515668685277


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
    half_width: Floats = _STUDENT_T * np.std(values_per_scramble, axis=-1, ddof=1) / np.sqrt(count)
    return half_width


def _check(digest: str, building: Building) -> None:
    if digest != building.digest:
        raise StaleCastError(
            f"this cast was made for a building with fingerprint {digest[:12]}, "
            f"not for the present one, {building.digest[:12]}: cast again"
        )


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
    """One row for each signature, weights added.

    Signatures count as equal when their 64-bit hashes are: among a million different ones, two
    share a hash once in 37 million casts.
    """
    hashes, chosen, row = np.unique(
        np.concatenate([part.hashes for part in parts]), return_index=True, return_inverse=True
    )
    weights = np.concatenate([part.weights_sr for part in parts])
    total = np.empty((len(hashes), weights.shape[1]))
    for column in range(weights.shape[1]):
        total[:, column] = np.bincount(row, weights=weights[:, column], minlength=len(hashes))
    offsets = np.cumsum([0] + [len(part.entries) for part in parts])
    starts = np.concatenate(
        [part.start[:-1] + offset for part, offset in zip(parts, offsets[:-1], strict=True)]
    )
    lengths = np.concatenate([np.diff(part.start) for part in parts])[chosen]
    start = np.concatenate(([0], np.cumsum(lengths)))
    gather = np.repeat(starts[chosen] - start[:-1], lengths) + np.arange(start[-1])
    return Signatures(
        hashes=hashes,
        first_panel=np.concatenate([part.first_panel for part in parts])[chosen],
        sky=np.concatenate([part.sky for part in parts])[chosen],
        weights_sr=total,
        start=start,
        entries=np.concatenate([part.entries for part in parts])[gather],
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
    united = unite([_signatures(part, share=1.0 / len(crossings)) for part in crossings])
    return as_crossings(
        united, digest=head.digest, bins=head.bins, rays=sum(part.rays for part in crossings)
    )


def as_crossings(signatures: Signatures, *, digest: str, bins: int, rays: int) -> Crossings:
    """The finished record, its arrays closed to changes."""
    for array in (
        signatures.first_panel,
        signatures.sky,
        signatures.weights_sr,
        signatures.start,
        signatures.entries,
    ):
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
    )


def _signatures(crossings: Crossings, *, share: float) -> Signatures:
    """Back to signatures, hashed anew from first panel, sky and the entries in their places."""
    mix = np.uint64(0xBF58476D1CE4E5B9)
    shift = np.uint64(29)
    row = np.repeat(np.arange(len(crossings.sky)), np.diff(crossings.start))
    place = np.arange(len(crossings.entries)) - crossings.start[row]
    words = (crossings.entries.astype(np.uint64) << np.uint64(16)) + place.astype(np.uint64)
    for _ in range(3):
        words = (words ^ (words >> shift)) * mix
    # entries add up, each scrambled with its place, so that order and number both count
    hashes = np.zeros(len(crossings.sky), dtype=np.uint64)
    np.add.at(hashes, row, words)
    head = crossings.first_panel.astype(np.uint64) * np.uint64(4) + crossings.sky.astype(np.uint64)
    for _ in range(2):
        hashes = (hashes ^ (hashes >> shift) ^ (head * mix)) * mix
    return Signatures(
        hashes=hashes,
        first_panel=crossings.first_panel,
        sky=crossings.sky,
        weights_sr=crossings.weights_sr * share,
        start=crossings.start,
        entries=crossings.entries,
    )
