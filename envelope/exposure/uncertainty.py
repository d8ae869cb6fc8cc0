"""How far to trust a level: its 10–90 % band, from the tolerances of everything that went in.

Several hundred times every tolerated figure is drawn anew and the level worked out again, from
the casts that are there, by the model that makes the nominal level: its parts have an axis for
draws. The draws are the same for every plan, so that plans can be compared.
"""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from envelope.building.job import Plan, Source
from envelope.exposure.beam_draws import direct_draws, open_equivalent_draws_sr
from envelope.exposure.beams import Direct, direct_part
from envelope.exposure.casts import Casts
from envelope.exposure.differences import LevelDraws, SourceDraws, percentile_db
from envelope.exposure.diffuse import absorption_m2, diffuse_of, faces_of
from envelope.exposure.levels import levels_of
from envelope.exposure.model_error import diffuse_error_db, shared_db
from envelope.exposure.solid_angles import THRESHOLD_DB, exposed_sr
from envelope.exposure.stack_draws import stack_draws
from envelope.exposure.tolerances import Draws
from envelope.exposure.transmission import Bench, Tables, stacks_of
from envelope.geometry.plane import Floats


def level_draws(
    *, bench: Bench, plan: Plan, casts: Casts, draws: Draws, edges: bool = False
) -> LevelDraws:
    """Levels of a plan in every draw, by receiver and source; the first is the nominal one.

    Parameters
    ----------
    bench : Bench
        Of the job; keeps how stacks move, so that a changed treatment costs little.
    plan : Plan
        Any of the job's, or one of your own.
    casts : Casts
        Of the job.
    draws : Draws
        From `envelope.exposure.tolerances.draw`.
    edges : bool
        As in `envelope.exposure.analysis.analyze_plan`.
    """
    job = bench.job
    tables = bench.tables(stacks_of(job, plan))

    def of_source(source: Source) -> dict[tuple[str, str], SourceDraws]:
        return _of_source(source, bench=bench, tables=tables, casts=casts, draws=draws, edges=edges)

    # Sources have nothing to do with one another, and numpy lets go of the interpreter.
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        each = list(pool.map(of_source, job.sources))
    found = {place: levels for levels_by in each for place, levels in levels_by.items()}
    return LevelDraws(
        plan=plan.id,
        by_source={
            (receiver.receiver.id, source.id): found[receiver.receiver.id, source.id]
            for receiver in casts.receivers
            for source in job.sources
        },
    )


def _of_source(
    source: Source, *, bench: Bench, tables: Tables, casts: Casts, draws: Draws, edges: bool
) -> dict[tuple[str, str], SourceDraws]:
    """What one source brings, by (receiver id, source id)."""
    job = bench.job
    band = bench.bands_hz.index(source.band_hz)
    moved = stack_draws(bench=bench, tables=tables, draws=draws, band=band)
    faces = bench.kept("faces", lambda: faces_of(job))
    diffuse = diffuse_of(
        source=source, casts=casts, bench=bench, tables=tables, faces=faces, band=band,
        draws=draws, moved=moved,
    )  # fmt: skip
    error_db = diffuse_error_db(
        area_m2=faces.area_m2,
        space=faces.space,
        reflection=moved.diffuse_reflection[0, tables.stacks.of_face],
        absorption_m2=absorption_m2(job),
    )
    index = job.sources.index(source)
    strength, scattered = draws.level[index], draws.scattered[index]
    beam_share = draws.radiated[index]  # of what the beam feeds to rooms
    if source.scattered < 1.0:
        beam_share = beam_share * (1.0 - scattered) / (1.0 - source.scattered)
    found = {}
    for receiver in casts.receivers:
        direct: Direct = direct_part(
            source=source, casts=receiver, bench=bench, stacks=tables.stacks, band=band,
            threshold_db=THRESHOLD_DB, edges=edges,
        )  # fmt: skip
        transmission = direct_draws(
            source=source, direct=direct, casts=receiver, bench=bench, stacks=tables.stacks,
            band=band, draws=draws, moved=moved,
        )  # fmt: skip
        around = np.zeros(draws.count)
        if source.scattered > 0.0:
            around = open_equivalent_draws_sr(
                crossings=receiver.crossings, tables=tables, bench=bench, moved=moved, band=band
            )
        space = job.building.space_index[receiver.receiver.space]
        levels = levels_of(
            source,
            outside_w_m2=direct.outside_w_m2,
            exposed_sr=exposed_sr(receiver.crossings),
            transmission=transmission,
            open_equivalent_sr=around,
            from_beam_w_m2=beam_share * diffuse.from_beam_w_m2[:, space],
            from_scattered=diffuse.from_scattered[:, space],
            scattered=scattered,
        )
        found[receiver.receiver.id, source.id] = SourceDraws(
            level_w_m2=strength * levels.level_w_m2,
            direct_w_m2=float(levels.direct_w_m2[0]),
            diffuse_w_m2=float(levels.diffuse_w_m2[0]),
            error_db=float(error_db[space]),
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelBand:
    """Factors on a level: its tenth and ninetieth percentile over what was computed."""

    low: float
    high: float


def level_band(total: Floats, *, own_db: float = 0.0) -> LevelBand:
    """Band of a level (draws,) whose first is the nominal one, the model's own error put on.

    Parameters
    ----------
    total : (draws,) float
        The level in every draw. [W/m²]
    own_db : float
        Half-width of the 10–90 % range of the error that the plan has for itself; what all plans
        share comes on top. [dB]
    """
    if total[0] <= 0.0:
        return LevelBand(low=1.0, high=1.0)
    with np.errstate(divide="ignore"):
        moved_db = 10.0 * np.log10(total[1:] / total[0])
    error_db = math.hypot(shared_db(), own_db)
    low, high = (
        10.0 ** (percentile_db(moved_db, share, half_width_db=error_db) / 10.0)
        for share in (0.1, 0.9)
    )
    return LevelBand(low=low, high=high)
