"""How many rays a cast aims."""

from __future__ import annotations

from dataclasses import dataclass

from envelope.errors import RangeError
from envelope.rays.records import SCRAMBLES


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How many rays a cast aims."""

    points_per_panel: int = 2**13  # at least
    points: int = 2**17  # in all, shared out by solid angle
    seed: int = 20_113

    def __post_init__(self) -> None:
        for name in ("points_per_panel", "points"):
            value = getattr(self, name)
            if not SCRAMBLES <= value <= 2**30:
                raise RangeError(f"sampling {name} is {value}; allowed: {SCRAMBLES} to 2^30")


DEFAULT = Sampling()
FINE = Sampling(points_per_panel=2**16, points=2**20)
