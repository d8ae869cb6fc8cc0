"""What a room's field does when a source stands a little beside where it was said to stand.

The bands of an analysis move only what comes straight; a reading in the shadow rests on the room's
field, which moves too, as where a low source sinks behind the ground.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

import numpy as np

from envelope.building.job import Source
from envelope.exposure.beam_draws import directions_aside
from envelope.exposure.casts import Casts, direction_of
from envelope.exposure.diffuse import Faces, diffuse_of
from envelope.exposure.transmission import Bench, Tables
from envelope.geometry.plane import Floats
from envelope.rays import cast_chain, merge_chain

RAYS = 2**11
FARTHEST = 2.0  # tolerances, as far as what is found at one is drawn out
LEAST = 1e-6  # of the strongest field, where a direction leaves none, or less


def fields_beside(
    *, source: Source, casts: Casts, bench: Bench, tables: Tables, faces: Faces
) -> Floats:
    """Diffuse density (5, spaces) of a source's beam: as said, and a tolerance aside.

    Along the first axis of `directions_aside` and back, then the second. One row where no other
    direction comes into question.
    """
    step = source.direction_tolerance_rad
    if source.azimuth_rad is None or step <= 0.0:
        return np.ones((1, len(bench.job.building.spaces)))
    offsets = np.array([(0.0, 0.0), (step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)])
    directions = directions_aside(source, bench.job, offsets)
    directions[0] = direction_of(source, bench.job.building)
    return np.stack(
        [
            _field(source, direction, casts=casts, bench=bench, tables=tables, faces=faces)
            for direction in directions
        ]
    )


def beam_of(source: Source) -> Hashable:
    """Equal for sources whose fields are alike, wherever their direction may be off."""
    return (
        source.azimuth_rad, source.elevation_rad, source.spread_rad, source.band_hz,
        source.polarization, source.scattered, source.ground_reflection,
        source.direction_tolerance_rad, tuple(sorted(source.level_w_m2.items())),
    )  # fmt: skip


def field_factors(fields: Floats, *, step_rad: float, aside: Floats) -> Floats:
    """Factors (draws, spaces) on the field that a source's beam makes in each space.

    Parameters
    ----------
    fields : (5 or 1, spaces) float
        From `fields_beside`. [W/m²]
    step_rad : float
        The source's tolerance. [rad]
    aside : (draws, 2) float
        Where the source stands beside its direction. [rad]

    Notes
    -----
    The field is worked out one tolerance to each side; in between its logarithm is taken as
    straight, along both axes apart.
    """
    if len(fields) == 1:
        return np.ones((len(aside), fields.shape[1]))
    logs = np.log(np.maximum(fields, np.maximum(LEAST * fields.max(axis=0), 1e-300)))
    steps = np.clip(aside / step_rad, -FARTHEST, FARTHEST)
    moved = np.zeros((len(aside), fields.shape[1]))
    for axis in range(2):
        up, down = logs[1 + 2 * axis] - logs[0], logs[2 + 2 * axis] - logs[0]
        along = steps[:, axis, np.newaxis]
        moved += np.where(along > 0.0, along * up, -along * down)
    return np.exp(moved)


def _field(
    source: Source, direction: Floats, *, casts: Casts, bench: Bench, tables: Tables, faces: Faces
) -> Floats:
    """Diffuse density (spaces,) of a source's beam from another direction. [W/m²]"""
    chain = merge_chain(cast_chain(bench.job.building, direction=direction, count=RAYS))
    alone = replace(casts, chains={source.id: chain}, even=None)
    band = bench.bands_hz.index(source.band_hz)
    found = diffuse_of(
        source=source, casts=alone, bench=bench, tables=tables, faces=faces, band=band
    )
    return found.from_beam_w_m2
