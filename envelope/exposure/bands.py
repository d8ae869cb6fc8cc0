"""The bands that a job is analysed in, and the one that geometry is reported at."""

from __future__ import annotations

from collections import defaultdict

from envelope.building.job import Job, Range
from envelope.exposure.beams import level_outside
from envelope.exposure.transmission import Bench

ASSUMED_BAND_HZ: Range = (2.45e9, 2.45e9)


def bands_of(job: Job) -> tuple[Range, ...]:
    """Each band that a source sends in, from the lowest up. [Hz]"""
    return tuple(sorted({source.band_hz for source in job.sources})) or (ASSUMED_BAND_HZ,)


def reference_band(job: Job) -> int:
    """The band whose sources are strongest outside, all receivers together; the lowest of equals.

    Figures of geometry that stand for one band alone are those of this one.
    """
    building = job.building
    outside: dict[Range, float] = defaultdict(float)
    for receiver in job.receivers:
        storey = building.space(receiver.space).storey
        for source in job.sources:
            outside[source.band_hz] += level_outside(source, storey, receiver.position_m)
    bands = bands_of(job)
    return max(range(len(bands)), key=lambda band: (outside[bands[band]], -band))


def reference_of(bench: Bench) -> int:
    """The reference band of a bench's job, the same for each of its plans."""
    return bench.kept("reference band", lambda: reference_band(bench.job))
