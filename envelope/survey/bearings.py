"""Where a source stands, found outdoors with a directional antenna that is turned round.

What the meter shows at an azimuth is the beam through the antenna's pattern and an even rest:

    shown(α) = A · pattern(α − α₀) + B        pattern: `antenna`

Azimuth and rest are tried on a grid, the strength drops out in decibels; what is left of the
readings' own scatter is the doubt.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.job import Job, Reading
from envelope.geometry.plane import Floats
from envelope.survey.antenna import heard_at, heard_from_all_sides

MIN_READINGS = 3
SAME_PLACE_M = 1.0
# Standard deviation of a reading with a directional antenna outdoors, held by hand; common
# practice, no source. [dB]
SCATTER_DB = 1.5
_STEP_RAD = np.radians(1.0)
_RESTS = np.concatenate(([0.0], np.logspace(-4.0, 1.0, 41)))  # B over A


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """An azimuth with its doubt."""

    sources: tuple[str, ...]
    visit: str | None
    readings: tuple[str, ...]
    azimuth_rad: float  # true, clockwise from north
    doubt_rad: float  # half-width of the 10–90 % range; π where nothing can be told
    even_share: float  # of what arrives, by the pattern, that comes from all sides
    stated_rad: float | None  # of the source, where the readings are of one alone

    @property
    def is_found(self) -> bool:
        """Whether it tells more than a quarter of the compass."""
        return self.doubt_rad < 0.25 * np.pi

    @property
    def agrees(self) -> bool | None:
        """Whether the file's azimuth lies within twice the doubt; None where there is none."""
        if self.stated_rad is None or not self.is_found:
            return None
        off = abs((self.azimuth_rad - self.stated_rad + np.pi) % (2.0 * np.pi) - np.pi)
        return bool(off <= 2.0 * self.doubt_rad)


def bearings_of(job: Job) -> tuple[Bearing, ...]:
    """The azimuth that each round of directional readings outdoors gives.

    Parameters
    ----------
    job : Job
        Readings of the same sources, on one visit and within a metre, are one round.
    """
    return tuple(
        _bearing(job, together) for together in _rounds(job) if len(together) >= MIN_READINGS
    )


def _rounds(job: Job) -> Iterator[list[Reading]]:
    left = [each for each in job.readings if each.is_bearing and each.shows == "value"]
    while left:
        first = left[0]
        together = [
            each
            for each in left
            if each.sources == first.sources
            and each.visit == first.visit
            and float(np.linalg.norm(each.position_m - first.position_m)) <= SAME_PLACE_M
        ]
        yield together
        left = [each for each in left if each not in together]


def _bearing(job: Job, together: Sequence[Reading]) -> Bearing:
    azimuths = np.arange(0.0, 2.0 * np.pi, _STEP_RAD)
    log_weight, rests = _fitted(together, azimuths, _elevation(job, together))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    middle = float(np.angle(weight @ np.exp(1j * azimuths))) % (2.0 * np.pi)
    off = (azimuths - middle + np.pi) % (2.0 * np.pi) - np.pi
    order = np.argsort(off)
    below = np.cumsum(weight[order])
    low, high = (float(off[order][np.searchsorted(below, share)]) for share in (0.1, 0.9))
    first = together[0]
    assert first.beamwidth_rad is not None
    around = heard_from_all_sides(beamwidth_rad=first.beamwidth_rad, back_db=first.back_db)
    rest = float(weight @ rests) / around
    stated = [source.azimuth_rad for source in job.sources if source.id in first.sources]
    return Bearing(
        sources=first.sources,
        visit=first.visit,
        readings=tuple(each.id for each in together),
        azimuth_rad=middle,
        doubt_rad=max(0.5 * (high - low), float(_STEP_RAD)),
        even_share=rest / (1.0 + rest),
        stated_rad=stated[0] if len(stated) == 1 else None,
    )


def _elevation(job: Job, together: Sequence[Reading]) -> float:
    stated = [each.elevation_rad for each in job.sources if each.id in together[0].sources]
    return float(np.mean(stated)) if stated else 0.0


def _fitted(
    together: Sequence[Reading], azimuths: Floats, elevation_rad: float
) -> tuple[Floats, Floats]:
    """Log likelihood (a,) of azimuths over all rests, and the mean rest (a,) under each."""
    facing = np.array([each.facing_rad for each in together], dtype=np.float64)
    tilt = np.array([each.tilt_rad for each in together])
    shown_db = 10.0 * np.log10([each.level_w_m2 for each in together])
    cosine = np.sin(tilt) * np.sin(elevation_rad) + np.cos(tilt) * np.cos(elevation_rad) * np.cos(
        azimuths[:, np.newaxis] - facing
    )
    first = together[0]
    assert first.beamwidth_rad is not None
    pattern = heard_at(
        np.arccos(np.clip(cosine, -1.0, 1.0)),
        beamwidth_rad=first.beamwidth_rad,
        back_db=first.back_db,
    )  # (a, r)
    expected_db = 10.0 * np.log10(pattern[:, np.newaxis] + _RESTS[:, np.newaxis])
    miss = shown_db - expected_db  # (a, b, r)
    miss = miss - miss.mean(axis=2, keepdims=True)
    log = -0.5 * (miss**2).sum(axis=2) / SCATTER_DB**2
    top = log.max(axis=1, keepdims=True)
    share = np.exp(log - top)
    total = share.sum(axis=1)
    return np.asarray(top[:, 0] + np.log(total)), np.asarray(share @ _RESTS / total)
