"""Sources that a source brings along: its mirrored partner by ground reflection.

A level that was measured on the spot holds everything that the ground sends up. One that was
computed, or measured high above ground, does not: then the partner comes from as far below the
horizon as the source stands above it, weaker by what the ground reflects.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from envelope.building.job import Job, Source
from envelope.building.sources import MIRRORED
from envelope.physics.levels import ground_reflection
from envelope.physics.materials import material_permittivity

GROUND = "medium-dry-ground"  # of P.2040-3; what lies about most houses, most of the time


def ground_partner(source: Source) -> Source:
    """The mirrored partner of an exterior source: below the horizon, and weaker.

    Powers are added: over a house the two paths' phase turns many times. What the source sends
    scattered comes evenly from the exposed directions as it is: only its beam is mirrored.
    """
    low, high = source.band_hz
    centre = np.array([0.5 * (low + high)])
    permittivity, _ = material_permittivity(material=GROUND, frequency_hz=centre)
    amplitude = ground_reflection(
        sine=np.array([np.sin(source.elevation_rad)]), permittivity=permittivity
    )[0]
    powers = np.abs(amplitude) ** 2  # horizontal, vertical
    share = (1.0 - source.scattered) * {
        "horizontal": float(powers[0]),
        "vertical": float(powers[1]),
        "unpolarized": float(powers.mean()),
    }[source.polarization]
    return replace(
        source,
        id=source.id + MIRRORED,
        elevation_rad=-source.elevation_rad,
        level_w_m2={storey: level * share for storey, level in source.level_w_m2.items()},
        scattered=0.0,
        ground_reflection=False,
    )


def with_ground_partners(job: Job) -> Job:
    """The job with a partner after each exterior source whose level leaves the ground out."""
    sources: list[Source] = []
    for source in without_ground_partners(job).sources:
        sources.append(source)
        if source.ground_reflection and source.azimuth_rad is not None:
            sources.append(ground_partner(source))
    return replace(job, sources=tuple(sources))


def without_ground_partners(job: Job) -> Job:
    """The job with the sources that its file states, and no partner of them."""
    partners = {source.id + MIRRORED for source in job.sources if source.ground_reflection}
    return replace(
        job, sources=tuple(source for source in job.sources if source.id not in partners)
    )
