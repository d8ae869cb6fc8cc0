"""What to know of a transmitter at a point before its level is believed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from envelope.building.job import Job
from envelope.errors import length_text, spelt

SPEED_OF_LIGHT_M_S = 299_792_458.0
NEAR_WAVELENGTHS = 2.0  # closer than this EIRP says little of the field; common practice, no source


def source_notes(job: Job) -> tuple[str, ...]:
    """Sentences on transmitters in a receiver's own room, and on those too near to judge."""
    return tuple(_notes(job))


def _notes(job: Job) -> Iterator[str]:
    for source in job.sources:
        if source.position_m is None:
            continue
        inside = [each.id for each in job.receivers if each.space == source.space]
        if inside:
            yield (
                f"{source.id} is in the room of {', '.join(inside)}: no treatment of that room's "
                "faces lowers its direct level, and reflective ones raise the diffuse level. "
                "Move it or switch it off first."
            )
        wavelength_m = SPEED_OF_LIGHT_M_S / (0.5 * sum(source.band_hz))
        for receiver in job.receivers:
            away_m = float(np.linalg.norm(source.position_m - receiver.position_m))
            if away_m < NEAR_WAVELENGTHS * wavelength_m:
                yield spelt(
                    f"{receiver.id} is {length_text(away_m, f'{away_m:.2f} m')} from {source.id}, "
                    f"less than two wavelengths ({2.0 * wavelength_m:.2f} m): in the near field "
                    "its level is an order of magnitude at best; measure there"
                )
