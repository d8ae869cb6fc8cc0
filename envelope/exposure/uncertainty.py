"""How far to trust a level: its 10–90 % band, from the tolerances of everything that went in.

Several hundred times every tolerated figure is drawn anew and the level worked out again, from
the casts that are there, by the model that makes the nominal level: its parts have an axis for
draws. The draws are the same for every plan, so that plans can be compared.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from envelope.building.job import Plan, Source
from envelope.exposure.beam_draws import direct_draws, open_equivalent_draws_sr
from envelope.exposure.beams import Direct, direct_part
from envelope.exposure.casts import Casts
from envelope.exposure.differences import LevelDraws, SourceDraws, errors_left, percentile_db
from envelope.exposure.diffuse import absorption_m2, faces_of
from envelope.exposure.diffuse_draws import (
    answer_draws_m2,
    beam_density_draws,
    densities_w_m2,
    fed_draws_w,
)
from envelope.exposure.levels import levels_of
from envelope.exposure.model_error import diffuse_error_db
from envelope.exposure.sequences import Bools
from envelope.exposure.solid_angles import THRESHOLD_DB, exposed_sr
from envelope.exposure.stack_draws import StackDraws, stack_draws
from envelope.exposure.tolerances import TENTH, Draws
from envelope.exposure.transmission import Bench, Tables, stacks_under
from envelope.exposure.under_plan import placed, powered
from envelope.exposure.varying_rows import varying_rows
from envelope.geometry.plane import Floats
from envelope.rays.threads import threads


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
    of_job = bench.job
    bench, casts = placed(bench, plan, casts)
    job = bench.job
    tables = bench.tables(stacks_under(bench, plan))
    varying = varying_rows(bench, plan)

    def in_band(band: int) -> _Band:
        return _Band.of(band, bench=bench, tables=tables, varying=varying, casts=casts, draws=draws)

    def of_source(source: Source) -> dict[tuple[str, str], SourceDraws]:
        within = bands[bench.bands_hz.index(source.band_hz)]
        return _of_source(
            source,
            plan=plan.id,
            within=within,
            bench=bench,
            tables=tables,
            casts=casts,
            draws=draws,
            edges=edges,
        )

    # Bands and sources have nothing to do with one another, and numpy lets go of the interpreter.
    with ThreadPoolExecutor(max_workers=threads()) as pool:
        used = sorted({bench.bands_hz.index(source.band_hz) for source in job.sources})
        bands = dict(zip(used, pool.map(in_band, used), strict=True))
        each = list(pool.map(of_source, job.sources))
    found = {place: levels for levels_by in each for place, levels in levels_by.items()}
    drawn = LevelDraws(
        plan=plan.id,
        fitted=draws.fitted,
        by_source={
            (receiver.receiver.id, source.id): found[receiver.receiver.id, source.id]
            for receiver in casts.receivers
            for source in job.sources
        },
    )
    return powered(drawn, plan, of_job)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """What all sources of a band have in common under a plan."""

    band: int
    varying: Bools
    moved: StackDraws
    homes: Mapping[int, int]  # receivers' spaces, and the column that stands for each
    answer: Floats  # (draws, homes, spaces) density there for a watt fed to a space
    from_scattered: Floats  # (draws, homes), as in `Diffuse`
    open_equivalent_sr: Mapping[str, Floats]  # (draws,) by receiver; none where nothing scatters
    error_db: Floats  # (spaces,) of the diffuse field at a spot

    @classmethod
    def of(
        cls, band: int, *, bench: Bench, tables: Tables, varying: Bools, casts: Casts, draws: Draws
    ) -> _Band:
        job = bench.job
        faces = bench.kept("faces", lambda: faces_of(job))
        moved = stack_draws(bench=bench, tables=tables, draws=draws, band=band)
        homes = sorted({job.building.space_index[each.receiver.space] for each in casts.receivers})
        answer = answer_draws_m2(
            bench=bench, tables=tables, faces=faces, band=band, draws=draws, moved=moved,
            spaces=np.array(homes, dtype=np.int64),
        )  # fmt: skip
        from_scattered = np.zeros((draws.count, len(homes)))
        around: dict[str, Floats] = {}
        if any(
            each.scattered > 0.0 and each.band_hz == bench.bands_hz[band] for each in job.sources
        ):
            around = {
                receiver.receiver.id: open_equivalent_draws_sr(
                    crossings=receiver.crossings, tables=tables, bench=bench, varying=varying,
                    draws=draws, moved=moved, band=band,
                )
                for receiver in casts.receivers
            }  # fmt: skip
            if casts.even is not None:
                fed = fed_draws_w(
                    chain=casts.even, bench=bench, stacks=tables.stacks, varying=varying,
                    band=band, draws=draws, moved=moved, level=np.ones(len(casts.even.weights)),
                )  # fmt: skip
                from_scattered = densities_w_m2(answer, fed)
        return cls(
            band=band,
            varying=varying,
            moved=moved,
            homes={space: column for column, space in enumerate(homes)},
            answer=answer,
            from_scattered=from_scattered,
            open_equivalent_sr=around,
            error_db=diffuse_error_db(
                area_m2=faces.area_m2,
                space=faces.space,
                reflection=moved.diffuse_reflection[0, tables.stacks.of_face],
                absorption_m2=absorption_m2(job),
            ),
        )


def _of_source(
    source: Source,
    *,
    plan: str,
    within: _Band,
    bench: Bench,
    tables: Tables,
    casts: Casts,
    draws: Draws,
    edges: bool,
) -> dict[tuple[str, str], SourceDraws]:
    """What one source brings, by (receiver id, source id)."""
    job = bench.job
    from_beam = beam_density_draws(
        source=source, chain=casts.chains[source.id], bench=bench, stacks=tables.stacks,
        varying=within.varying, band=within.band, draws=draws, moved=within.moved,
        answer=within.answer,
    )  # fmt: skip
    index = job.sources.index(source)
    strength, scattered = draws.level[index], draws.scattered[index]
    beam_share = draws.radiated[index]  # of what the beam feeds to rooms
    if source.scattered < 1.0:
        beam_share = beam_share * (1.0 - scattered) / (1.0 - source.scattered)
    found = {}
    for receiver in casts.receivers:
        shown = job.factor_at(receiver.receiver.id, plan, source.id)
        direct: Direct = direct_part(
            source=source, casts=receiver, bench=bench, stacks=tables.stacks, band=within.band,
            threshold_db=THRESHOLD_DB, edges=edges,
        )  # fmt: skip
        transmission = direct_draws(
            source=source, direct=direct, casts=receiver, bench=bench, stacks=tables.stacks,
            band=within.band, draws=draws, moved=within.moved,
        )  # fmt: skip
        around = np.zeros(draws.count)
        if source.scattered > 0.0:
            around = within.open_equivalent_sr[receiver.receiver.id]
        space = job.building.space_index[receiver.receiver.space]
        home = within.homes[space]
        levels = levels_of(
            source,
            outside_w_m2=direct.outside_w_m2,
            exposed_sr=exposed_sr(receiver.crossings),
            transmission=transmission,
            open_equivalent_sr=around,
            from_beam_w_m2=beam_share * from_beam[:, home],
            from_scattered=within.from_scattered[:, home] * (source.scattered > 0.0),
            scattered=scattered,
        )
        found[receiver.receiver.id, source.id] = SourceDraws(
            level_w_m2=shown * strength * levels.level_w_m2,
            direct_w_m2=shown * float(levels.direct_w_m2[0]),
            diffuse_w_m2=shown * float(levels.diffuse_w_m2[0]),
            error_db=float(within.error_db[space]),
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelBand:
    """Factors on a level: its tenth and ninetieth percentile over what was computed."""

    low: float
    high: float


def level_band(
    drawn: LevelDraws,
    receiver: str,
    sources: Sequence[str] | None = None,
    *,
    as_built: LevelDraws | None = None,
) -> LevelBand:
    """Band of a level at a receiver, the model's own error put on.

    Parameters
    ----------
    drawn : LevelDraws
        Of the plan.
    receiver : str
        Its id.
    sources : sequence of str, optional
        Ids of those that count; all where there are none.
    as_built : LevelDraws, optional
        Of the plan without treatment, which says how much workmanship may lose.
    """
    total = drawn.level_w_m2(receiver, sources)
    own_db = drawn.own_db(receiver, sources, as_built=as_built)
    if drawn.place(receiver) is None:
        return band_about(total, error_db=math.hypot(drawn.shared_db, own_db))
    left = errors_left((drawn,), receiver, sources, as_built=as_built)
    error_db = TENTH * math.sqrt(max(float(left.covariance_db2[0, 0]), 0.0))
    return band_about(total * 10.0 ** (left.shift_db[0] / 10.0), error_db=error_db)


def band_about(total: Floats, *, error_db: float) -> LevelBand:
    """Band of a level (draws,) whose first is the nominal one, an error put on.

    Parameters
    ----------
    total : (draws,) float
        The level in every draw. [W/m²]
    error_db : float
        Half-width of the 10–90 % range of what was not drawn. [dB]
    """
    if total[0] <= 0.0:
        return LevelBand(low=1.0, high=1.0)
    with np.errstate(divide="ignore"):
        moved_db = 10.0 * np.log10(total[1:] / total[0])
    low, high = (
        10.0 ** (percentile_db(moved_db, share, half_width_db=error_db) / 10.0)
        for share in (0.1, 0.9)
    )
    return LevelBand(low=low, high=high)
