"""The whole answer: every plan, receiver, band and source of a job, from casts made once."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import AS_BUILT, Job, Plan, Source
from envelope.errors import StaleCastError
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.assumptions import notes_of
from envelope.exposure.bands import bands_of, reference_of
from envelope.exposure.beams import Direct, direct_part, leak_paths, level_outside, lit_areas
from envelope.exposure.casts import Casts, ReceiverCasts
from envelope.exposure.decibels import reduction_db
from envelope.exposure.differences import LevelDraws, difference
from envelope.exposure.diffuse import Diffuse, faces_of
from envelope.exposure.levels import Levels, levels_of
from envelope.exposure.offers import offers_of
from envelope.exposure.outdoor_coupling import outdoor_gain, outdoor_notes
from envelope.exposure.panels import panel_table
from envelope.exposure.ranking import Field, Rank, Trials, ranked, seen_of
from envelope.exposure.rests import Rest, rests_on
from envelope.exposure.results import (
    BandResult,
    Entry,
    PlanResult,
    ReceiverResult,
    SourceResult,
    WorstPoint,
)
from envelope.exposure.shares import shares_of
from envelope.exposure.solid_angles import (
    THRESHOLD_DB,
    SolidAngles,
    solid_angles,
    tag,
)
from envelope.exposure.tolerances import Draws, draw
from envelope.exposure.transmission import Bench, Tables, stacks_under
from envelope.exposure.uncertainty import LevelBand, level_band, level_draws
from envelope.exposure.under_plan import under
from envelope.geometry.plane import Floats

LEAST_ENTRY = 0.01  # of a source's level, below which a panel is not named


def bench_of(job: Job, casts: Casts) -> Bench:
    """A bench for the job's stacks at its bands and at the casts' cosine bins."""
    bins = casts.receivers[0].crossings.bins if casts.receivers else 1
    return Bench(job=job, bands_hz=bands_of(job), bins=bins)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """What stays the same for every receiver of a plan."""

    plan: Plan
    bench: Bench
    tables: Tables
    diffuse: Mapping[str, Diffuse]
    trials: Trials  # of the fields that panels are ranked by
    round_outside: Mapping[int, Floats]  # by band, from `outdoor_gain`
    threshold_db: float
    edges: bool
    with_ranks: bool
    cumulated: bool

    @property
    def job(self) -> Job:
        return self.bench.job

    @property
    def centres_hz(self) -> Floats:
        return np.array([0.5 * (low + high) for low, high in self.bench.bands_hz])

    @property
    def reference(self) -> int:
        return reference_of(self.bench)

    def band(self, source: Source) -> int:
        return self.bench.bands_hz.index(source.band_hz)


def _levels(
    source: Source, *, setting: _Setting, space: str, angles: SolidAngles, outside: float,
    transmission: float,
) -> Levels:  # fmt: skip
    index = setting.job.building.space_index[space]
    diffuse = setting.diffuse[source.id]
    return levels_of(
        source,
        outside_w_m2=outside,
        exposed_sr=angles.exposed_sr,
        transmission=transmission,
        open_equivalent_sr=angles.bands[setting.band(source)].open_equivalent_solid_angle_sr,
        from_beam_w_m2=diffuse.from_beam_w_m2[index],
        from_scattered=diffuse.from_scattered[index],
    )


def _direct(source: Source, *, casts: ReceiverCasts, setting: _Setting) -> Direct:
    return direct_part(
        source=source,
        casts=casts,
        bench=setting.bench,
        stacks=setting.tables.stacks,
        band=setting.band(source),
        threshold_db=setting.threshold_db,
        edges=setting.edges,
    )


def _source_result(
    source: Source,
    *,
    casts: ReceiverCasts,
    setting: _Setting,
    angles: SolidAngles,
    direct: Direct,
) -> SourceResult:
    band = setting.band(source)
    areas = None
    if casts.lit:
        areas = lit_areas(
            source=source,
            casts=casts,
            bench=setting.bench,
            stacks=setting.tables.stacks,
            band=band,
            threshold_db=setting.threshold_db,
        )
    levels = _levels(
        source,
        setting=setting,
        space=casts.receiver.space,
        angles=angles,
        outside=direct.outside_w_m2,
        transmission=direct.transmission,
    )
    level = float(levels.level_w_m2)
    return SourceResult(
        id=source.id,
        frequency_hz=float(setting.centres_hz[band]),
        outside_w_m2=direct.outside_w_m2,
        direct_w_m2=float(levels.direct_w_m2),
        diffuse_w_m2=float(levels.diffuse_w_m2),
        level_w_m2=level,
        low_w_m2=None,
        high_w_m2=None,
        reduction_db=reduction_db(direct.outside_w_m2, level),
        below_as_built_db=0.0,
        lit_area_m2=np.nan if areas is None else float(areas.lit_m2.sum()),
        unshielded_area_m2=np.nan if areas is None else areas.unshielded_m2,
        unshielded_solid_angle_sr=direct.unshielded_sr,
        paths=()
        if areas is None or not direct.outside_w_m2  # off under this plan: no beam to show
        else leak_paths(
            source=source,
            receiver=casts.receiver,
            direct=direct,
            areas=areas,
            bench=setting.bench,
            plan=setting.plan,
            threshold_db=setting.threshold_db,
        ),
        round_outside_w_m2=_round_outside(
            source,
            setting=setting,
            space=casts.receiver.space,
            exposed_sr=angles.exposed_sr,
            outside=direct.outside_w_m2,
        ),
    )


def _is_brief(casts: ReceiverCasts, setting: _Setting) -> bool:
    """Whether nothing was cast but what levels and shares need (`cast_job` without `lit`)."""
    return bool(setting.job.sources) and not casts.lit


def _isotropic_density(casts: ReceiverCasts, setting: _Setting, band: int) -> float:
    """Diffuse density at a receiver for an outside field of unit radiance. [sr]

    NaN where the casts leave it out (`cast_job`).
    """
    if _is_brief(casts, setting):
        return np.nan
    home = setting.job.building.space_index[casts.receiver.space]
    return setting.trials.isotropic_density_sr(home, band)


def _round_outside(
    source: Source, *, setting: _Setting, space: str, exposed_sr: float, outside: float
) -> float:
    """Bound of a source's density that leaves other rooms and comes in from outdoors. [W/m²]"""
    diffuse = setting.diffuse[source.id]
    radiance = source.scattered * outside / exposed_sr if exposed_sr > 0.0 else 0.0
    density = diffuse.from_beam_w_m2 + radiance * diffuse.from_scattered
    gain = setting.round_outside[setting.band(source)]
    return float(gain[setting.job.building.space_index[space]] @ density)


def _worst(casts: ReceiverCasts, setting: _Setting) -> WorstPoint | None:
    """The point of a box where most arrives; None for a receiver that is a point."""
    if len(casts.points) == 1 or _is_brief(casts, setting):
        return None
    storey = setting.job.building.space(casts.receiver.space).storey
    reference = setting.reference
    around = _isotropic_density(casts, setting, reference)
    candidates = []
    for index, point in enumerate(casts.points):
        angles = solid_angles(
            crossings=point.crossings,
            tagged=tag(point.crossings, setting.tables),
            tables=setting.tables,
            frequency_hz=setting.centres_hz,
            threshold_db=setting.threshold_db,
        )
        total = 0.0
        for source in setting.job.sources:
            alone = replace(casts, points=(point,))
            levels = _levels(
                source,
                setting=setting,
                space=casts.receiver.space,
                angles=angles,
                outside=level_outside(source, storey, point.position_m),
                transmission=_direct(source, casts=alone, setting=setting).transmission,
            )
            shown = setting.job.factor_at(casts.receiver.id, setting.plan.id, source.id)
            total += shown * float(levels.level_w_m2)
        open_equivalent = angles.bands[reference].open_equivalent_solid_angle_sr
        worst = WorstPoint(
            position_m=point.position_m,
            isotropic_reduction_db=reduction_db(angles.exposed_sr, open_equivalent + around),
            open_equivalent_solid_angle_sr=open_equivalent,
            level_w_m2=total,
        )
        candidates.append(((total, open_equivalent, -index), worst))
    return max(candidates, key=lambda candidate: candidate[0])[1]


def _band_results(
    angles: SolidAngles, *, casts: ReceiverCasts, setting: _Setting
) -> tuple[BandResult, ...]:
    radiance = 1.0 / angles.exposed_sr if angles.exposed_sr > 0.0 else 0.0
    return tuple(
        BandResult(
            frequency_hz=of_band.frequency_hz,
            unshielded_solid_angle_sr=of_band.unshielded_solid_angle_sr,
            unshielded_error_sr=of_band.unshielded_error_sr,
            open_equivalent_solid_angle_sr=of_band.open_equivalent_solid_angle_sr,
            isotropic_direct=radiance * of_band.open_equivalent_solid_angle_sr,
            isotropic_diffuse=radiance * _isotropic_density(casts, setting, band),
            sources=tuple(
                each.id
                for each in setting.job.sources
                if each.band_hz == setting.bench.bands_hz[band]
            ),
        )
        for band, of_band in enumerate(angles.bands)
    )


def _entries(brought_w_m2: Floats, job: Job) -> tuple[Entry, ...]:
    """Panels that bring at least a hundredth of a level, the most first."""
    shares = shares_of(brought_w_m2)[:-1]
    chosen = np.flatnonzero(shares >= LEAST_ENTRY)
    found = [Entry(panel=job.building.panels[at].id, share=float(shares[at])) for at in chosen]
    return tuple(sorted(found, key=lambda entry: (-entry.share, entry.panel)))


def _receiver_result(casts: ReceiverCasts, setting: _Setting) -> ReceiverResult:
    tagged = tag(casts.crossings, setting.tables)
    angles = solid_angles(
        crossings=casts.crossings,
        tagged=tagged,
        tables=setting.tables,
        frequency_hz=setting.centres_hz,
        threshold_db=setting.threshold_db,
        reference=setting.reference,
    )
    factors = setting.job.factors_at(casts.receiver.id, setting.plan.id)
    direct = {
        source.id: _direct(source, casts=casts, setting=setting) for source in setting.job.sources
    }
    sources = tuple(
        _source_result(
            source, casts=casts, setting=setting, angles=angles, direct=direct[source.id]
        ).times(factors[source.id])
        for source in setting.job.sources
    )
    seen = seen_of(
        casts,
        bench=setting.bench,
        direct=direct,
        transmission=tagged.transmission,
        factor=factors,
    )
    sources = tuple(
        replace(each, entries=_entries(setting.trials.brought_w_m2(of, seen), setting.job))
        for each, of in zip(sources, _fields(setting.bench, isotropic=False), strict=False)
    )
    brought = setting.trials.by_panel_w_m2(seen)
    level = float(brought.sum())
    ranks: tuple[Rank, ...] = ()
    if setting.with_ranks:
        offers = setting.bench.kept("offers", lambda: offers_of(setting.job))
        ranks = ranked(
            setting.trials,
            seen,
            offers=offers,
            level_w_m2=level,
            without=setting.job.kept,
            cumulated=setting.cumulated,
        )
    panels = panel_table(
        bench=setting.bench,
        plan=setting.plan,
        tables=setting.tables,
        faces=setting.trials.faces,
        seen=seen,
        brought_w_m2=brought,
        ranks=ranks,
        band=setting.reference,
        threshold_db=setting.threshold_db,
    )
    return ReceiverResult(
        id=casts.receiver.id,
        space=casts.receiver.space,
        position_m=casts.receiver.position_m,
        points=len(casts.points),
        exposed_solid_angle_sr=angles.exposed_sr,
        exposed_above_horizon_sr=angles.above_horizon_sr,
        closure_error_sr=angles.closure_error_sr,
        standard_error=angles.standard_error,
        asked_error=casts.asked_error,
        rays=casts.crossings.rays,
        reference_band=setting.reference,
        bands=_band_results(angles, casts=casts, setting=setting),
        sources=sources,
        low_w_m2=None,
        high_w_m2=None,
        panels=panels,
        own_share=float(brought[-1]) / level if level > 0.0 else 0.0,
        isotropic_ranks=setting.trials.fields[0].source is None,
        worst=_worst(casts, setting),
        title=casts.receiver.title,
    )


def _beside_as_built(result: PlanResult, as_built: PlanResult) -> PlanResult:
    """The result with each level compared with the one at the same place without treatment."""
    receivers = []
    for receiver, before in zip(result.receivers, as_built.receivers, strict=True):
        sources = tuple(
            replace(
                source,
                below_as_built_db=reduction_db(untreated.level_w_m2, source.level_w_m2),
                as_built_w_m2=untreated.level_w_m2,
            )
            for source, untreated in zip(receiver.sources, before.sources, strict=True)
        )
        bands = tuple(
            replace(band, isotropic_as_built=untreated.isotropic_level)
            for band, untreated in zip(receiver.bands, before.bands, strict=True)
        )
        against = None
        if as_built.draws is not None and result.draws is not None:
            against = difference(as_built.draws, result.draws, receiver.id)
        receivers.append(replace(receiver, sources=sources, bands=bands, against_as_built=against))
    return replace(result, receivers=tuple(receivers))


def _with_bands(result: PlanResult, drawn: LevelDraws, as_built: LevelDraws | None) -> PlanResult:
    """The result with the 10–90 % band of each level."""
    receivers = []
    for each in result.receivers:
        known: dict[tuple[str, ...], LevelBand] = {}  # a band of one source is that source's

        def ends(
            sources: Sequence[str],
            level: float,
            at: str = each.id,
            known: dict[tuple[str, ...], LevelBand] = known,
        ) -> tuple[float, float]:
            heard = tuple(sources)
            if heard not in known:
                known[heard] = level_band(drawn, at, heard, as_built=as_built)
            return level * known[heard].low, level * known[heard].high

        def around(sources: Sequence[str], at: ReceiverResult = each) -> float:
            return sum(one.round_outside_w_m2 for one in at.sources if one.id in sources)

        sources = []
        for source in each.sources:
            low, high = ends((source.id,), source.level_w_m2)
            high += source.round_outside_w_m2
            sources.append(replace(source, low_w_m2=low, high_w_m2=high))
        bands = []
        for at in each.bands:
            low, high = ends(at.sources, each.in_band(at).level_w_m2)
            high += around(at.sources)
            bands.append(replace(at, low_w_m2=low, high_w_m2=high))
        low, high = ends([source.id for source in sources], each.level_w_m2)
        high += around([source.id for source in sources])
        receivers.append(
            replace(
                each,
                sources=tuple(sources),
                bands=tuple(bands),
                low_w_m2=low,
                high_w_m2=high,
            )
        )
    return replace(result, receivers=tuple(receivers), draws=drawn)


def _fields(bench: Bench, *, isotropic: bool) -> tuple[Field, ...]:
    """What the level of a receiver consists of, for shares and ranks."""
    if isotropic or not bench.job.sources:
        return (Field(source=None, band=reference_of(bench)),)
    return tuple(
        Field(source=source, band=bench.bands_hz.index(source.band_hz))
        for source in bench.job.sources
    )


def analyze_plan(
    *,
    bench: Bench,
    plan: Plan,
    casts: Casts,
    as_built: PlanResult | None = None,
    threshold_db: float = THRESHOLD_DB,
    draws: Draws | None = None,
    edges: bool = False,
    isotropic: bool = False,
    with_ranks: bool = True,
    cumulated: bool = True,
) -> PlanResult:
    """Re-tag every cast of a job with one plan.

    Parameters
    ----------
    bench : Bench
        Of the job; keeps what stacks do, so that a changed treatment costs little.
    as_built : PlanResult, optional
        The plan without treatment, to compare levels with.
    draws : Draws, optional
        Drawn tolerances; without them levels come without their 10–90 % band.
    edges : bool
        Let beams bend around the edges of openings (`envelope.exposure.diffraction`).
    isotropic : bool
        Shares and ranks of panels are those of an isotropic field at the reference band, as they
        are where the job has no source.
    with_ranks : bool
        Try what treating each panel does to the level.
    cumulated : bool
        Try the first of them together with all those before them, too.

    Raises
    ------
    StaleCastError
        Where the casts were made for another geometry.
    """
    job = bench.job
    job.require_levels()
    plan = job.resolved(plan)
    if casts.digest != job.building.digest:
        raise StaleCastError("these casts were made for another geometry: cast the job again")
    of_job, of_casts = bench, casts
    bench, casts = under(bench, plan, casts)
    job = bench.job
    tables = bench.tables(stacks_under(bench, plan))
    faces = bench.kept("faces", lambda: faces_of(job))
    trials = Trials(
        bench=bench,
        casts=casts,
        plan=plan,
        tables=tables,
        faces=faces,
        fields=_fields(bench, isotropic=isotropic),
        edges=edges,
    )
    setting = _Setting(
        plan=plan,
        bench=bench,
        tables=tables,
        diffuse={source.id: trials.diffuse_of(source) for source in job.sources},
        trials=trials,
        round_outside={
            band: outdoor_gain(bench=bench, tables=tables, faces=faces, band=band)
            for band in range(len(bench.bands_hz) if job.sources else 0)
        },
        threshold_db=threshold_db,
        edges=edges,
        with_ranks=with_ranks,
        cumulated=cumulated,
    )
    result = PlanResult(
        plan=plan.id,
        receivers=tuple(_receiver_result(each, setting) for each in casts.receivers),
        measures=plan.measures,
        moved=tuple(each.receiver.id for each in casts.receivers if each.receiver.id in plan.beds),
    )
    if draws is not None and job.sources:
        drawn = level_draws(bench=of_job, plan=plan, casts=of_casts, draws=draws, edges=edges)
        result = _with_bands(result, drawn, None if as_built is None else as_built.draws)
    return result if as_built is None else _beside_as_built(result, as_built)


def analyze(
    *,
    job: Job,
    casts: Casts,
    plans: Sequence[Plan] | None = None,
    threshold_db: float = THRESHOLD_DB,
    bench: Bench | None = None,
    with_bands: bool = False,
    edges: bool = False,
    isotropic: bool = False,
    ranked_plans: Collection[str] | None = None,
    cumulated: bool = True,
) -> Analysis:
    """Analyse plans of a job; all of them where none is named.

    `with_bands` adds the 10–90 % band of every level, which takes a second or so for a plan;
    `isotropic` ranks panels by an isotropic field in place of the job's sources; `ranked_plans`
    are the only ones under which treating each panel is tried (None: under all of them), and
    `cumulated` tries the first of these together with all those before them, too.
    """

    def with_ranks(plan: Plan) -> bool:
        return ranked_plans is None or plan.id in ranked_plans

    shared = bench_of(job, casts) if bench is None else bench

    def answer(plan: Plan, as_built: PlanResult | None = None) -> PlanResult:
        return analyze_plan(
            bench=shared,
            plan=plan,
            casts=casts,
            as_built=as_built,
            threshold_db=threshold_db,
            draws=draws,
            edges=edges,
            isotropic=isotropic,
            with_ranks=with_ranks(plan),
            cumulated=cumulated,
        )

    draws = draw(job) if with_bands else None
    untreated, asked = job.plan(AS_BUILT), job.plans if plans is None else plans
    job.require_levels()
    with shared.expecting(stacks_under(shared, job.resolved(plan)) for plan in (untreated, *asked)):
        as_built = answer(untreated)
        results = [
            as_built if plan.id == as_built.plan else answer(plan, as_built) for plan in asked
        ]
    return Analysis(
        project=job.name,
        threshold_db=threshold_db,
        plans=tuple(results),
        notes=tuple(dict.fromkeys((*job.notes, *notes_of(job), *outdoor_notes(results)))),
        extrapolated=shared.extrapolated,
        rests=() if draws is None else _rests(job, draws, [as_built, *results]),
        solved=job.solved,
        questions=job.questions,
    )


def _rests(job: Job, draws: Draws, results: Sequence[PlanResult]) -> tuple[Rest, ...]:
    """What the figures of some plans rest on most."""
    drawn = {each.plan: each.draws for each in results if each.draws is not None}
    if not drawn:
        return ()
    return rests_on(
        list(drawn.values()),
        draws=draws,
        job=job,
        receivers=[receiver.id for receiver in results[0].receivers],
    )
