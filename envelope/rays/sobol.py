"""Scrambled Sobol points in the unit square, any stretch of them at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats

BITS = 32
Words = NDArray[np.uint32]


@cache
def _direction_numbers() -> Words:
    """Direction numbers (2, 32) of the first two Sobol dimensions.

    The first is the radical inverse; the second belongs to the polynomial x + 1, whose recurrence
    is m_k = 2 m_(k-1) XOR m_(k-1) (I. M. Sobol', USSR Comput. Math. Math. Phys. 7(4), 1967).
    """
    numbers = np.zeros((2, BITS), dtype=np.uint32)
    odd = 1
    for k in range(BITS):
        numbers[0, k] = 1 << (BITS - 1 - k)
        numbers[1, k] = (odd << (BITS - 1 - k)) & 0xFFFFFFFF
        odd = (2 * odd) ^ odd
    return numbers


@cache
def _has_bit() -> Words:
    """Bits (2, 32, 32) of the direction numbers, from the top, as 0 or 1."""
    places = np.arange(BITS - 1, -1, -1, dtype=np.uint32)
    return (_direction_numbers()[:, :, np.newaxis] >> places) & np.uint32(1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sequence:
    """Several independent scrambles of one Sobol sequence.

    SciPy's generator gives the same points; it hands them out in order only, and its import takes
    longer than a cast.
    """

    numbers: Words  # (scrambles, 2, 32)
    shifts: Words  # (scrambles, 2)

    def points(self, start: int, stop: int) -> Floats:
        """Points `start` to `stop` of each: (scrambles, stop - start, 2), between 0 and 1."""
        low_bits = max(stop - start - 1, 0).bit_length()
        parts = []
        for block in range(start >> low_bits, (max(stop - 1, start) >> low_bits) + 1):
            words = self.shifts[:, np.newaxis, :]
            for bit in range(block.bit_length()):
                if block >> bit & 1:
                    words = words ^ self.numbers[:, np.newaxis, :, low_bits + bit]
            for bit in range(low_bits):  # the points with this bit follow those without it
                words = np.concatenate((words, words ^ self.numbers[:, np.newaxis, :, bit]), axis=1)
            first = block << low_bits
            parts.append(words[:, max(start - first, 0) : stop - first])
        return (np.concatenate(parts, axis=1).astype(np.float64) + 0.5) * 2.0**-BITS


@lru_cache(maxsize=4096)  # a panel has the same points wherever it is seen from
def scrambled(*, seed: tuple[int, ...], scrambles: int = 8) -> Sequence:
    """Linear matrix scrambles with digital shifts (Matoušek, J. Complexity 14, 1998).

    Parameters
    ----------
    seed : tuple of int
        Equal seeds give equal points.
    scrambles : int
        How many independent ones.
    """
    rng = np.random.default_rng(seed)
    # column j of each lower-triangular matrix: bit j from the top, and random bits below it
    top = np.uint32(1) << np.arange(BITS - 1, -1, -1, dtype=np.uint32)
    columns = rng.integers(0, 2**BITS, size=(scrambles, 2, BITS), dtype=np.uint32)
    columns = (columns & (top - np.uint32(1))) | top
    numbers = np.bitwise_xor.reduce(_has_bit() * columns[:, :, np.newaxis, :], axis=3)
    shifts = rng.integers(0, 2**BITS, size=(scrambles, 2), dtype=np.uint32)
    return Sequence(numbers=numbers, shifts=shifts)


def unscrambled() -> Sequence:
    """The plain sequence, as one scramble that changes nothing."""
    return Sequence(
        numbers=_direction_numbers()[np.newaxis], shifts=np.zeros((1, 2), dtype=np.uint32)
    )
