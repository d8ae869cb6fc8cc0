"""How many rays a cast aims."""

from __future__ import annotations

from dataclasses import dataclass, replace

from envelope.errors import RangeError
from envelope.rays.records import SCRAMBLES

LEAST_ERROR, MOST_ERROR = 1e-5, 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How many rays a cast aims."""

    points_per_panel: int = 2**13  # at least
    points: int = 2**17  # in all, shared out by solid angle
    # of the open-equivalent solid angle, relative to it, and of the unshielded one, relative to the
    # sphere; None where no error is asked for, so that no more is cast than is stated above
    error: float | None = None
    most_rays: int = 2**21  # cast so as to come to the error asked for
    seed: int = 20_113

    def __post_init__(self) -> None:
        for name in ("points_per_panel", "points"):
            value = getattr(self, name)
            if not SCRAMBLES <= value <= 2**30:
                raise RangeError(f"sampling {name} is {value}; allowed: {SCRAMBLES} to 2^30")
        if self.error is not None and not LEAST_ERROR <= self.error <= MOST_ERROR:
            raise RangeError(
                f"sampling error is {self.error:g}; allowed: {LEAST_ERROR:g} to {MOST_ERROR:g}"
            )


BINS = 64  # of the cosine of incidence, evenly spaced
DEFAULT = Sampling(points_per_panel=2**12, points=2**16, error=1e-3)
FINE = Sampling(points_per_panel=2**16, points=2**20, error=2e-4, most_rays=2**24)


def sampling_for(*, fine: bool = False, error: float | None = None) -> Sampling:
    """The usual sampling or the fine one, with another error asked for where one is stated.

    Raises
    ------
    RangeError
        For an error that is out of range.
    """
    sampling = FINE if fine else DEFAULT
    if error is None:
        return sampling
    assert DEFAULT.error is not None
    most = FINE.most_rays if error < DEFAULT.error else sampling.most_rays
    return replace(sampling, error=error, most_rays=most)
