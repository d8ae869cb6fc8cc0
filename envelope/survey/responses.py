"""What each reading would show of each source at unit strength, and how that moves when drawn.

    Job with readings ─→ unit sources, readings as receivers ─→ casts ─→ parts, and their draws

Indoors it is what an analysis says of a receiver at that place. Outdoors there is no diffuse
field: the source's cone and the sky are looked at past the building.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from envelope.building.ground_reflection import ground_partner
from envelope.building.job import AS_BUILT, Job, Plan, Reading, Receiver, Source
from envelope.building.model import Building
from envelope.building.plan_measures import heard_by, sources_under
from envelope.exposure.bands import bands_of
from envelope.exposure.beams import along_rays, direct_part, level_outside
from envelope.exposure.casts import Casts, ReceiverCasts, cast_job, direction_of
from envelope.exposure.diffuse import Diffuse, diffuse_of, faces_of
from envelope.exposure.solid_angles import THRESHOLD_DB, solid_angles, tag
from envelope.exposure.tolerances import SEED, Draws, drawn_freely
from envelope.exposure.transmission import Bench, Stacks, Tables, stacks_of
from envelope.exposure.uncertainty import level_draws
from envelope.exposure.under_plan import under
from envelope.exposure.varying_rows import expect_plans
from envelope.geometry.directions import axes_across
from envelope.geometry.plane import Floats
from envelope.rays import BINS, Beam, Sampling, cast_outdoors
from envelope.survey.antenna import heard_at, heard_from_all_sides
from envelope.survey.direction_tolerance import beam_of, field_factors, fields_beside

DRAWS = 300
# Sources without a scattered part need no rays into other directions than theirs.
FEWEST = Sampling(points_per_panel=2**6, points=2**9)
FEW = Sampling(points_per_panel=2**8, points=2**13)
SKY = 2**11  # rays all round from a point outdoors
CONE = 2**8  # rays over a source's cone from there
AT_BED_M = 0.3  # as near a reading counts as one at the bed; common practice, no source
_GOLDEN_RAD = np.pi * (3.0 - np.sqrt(5.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Responses:
    """What readings (r) would show of sources (s): of unit strength, or of the level they have."""

    sources: tuple[str, ...]
    direct: Floats  # (r, s) straight from the source, through whatever stands in between
    spread: Floats  # (r, s) by way of the room or from all sides, which scatters from spot to spot
    free: Floats  # (r, s) what of both has crossed nothing; outdoors only
    outside: Floats  # (r, s) with every building removed
    drawn: Floats  # (r, s, draws) direct + spread as tolerances move it, the first as it is
    strength: Floats  # (s, draws) factors on the level of each source, where it is known
    parts: Mapping[tuple[str, str], Part]  # by (reading id, source id), mirrored partners apart

    @property
    def whole(self) -> Floats:
        """Direct and spread together (r, s)."""
        return self.direct + self.spread


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One reading's response to one source."""

    direct: float  # straight from the source
    spread: float  # the rest, which scatters from spot to spot
    outside: float
    drawn: Floats  # (draws,)
    free: float = 0.0
    diffuse: float = 0.0  # what of the rest is the room's field, which the model has errors of
    error_db: float = 0.0  # half-width of those
    untreated: float = 0.0  # direct and spread at the same place without treatment


def _as_shown(part: Part, reading: Reading, source: Source, building: Building) -> Part:
    """A part as the meter shows it: by its antenna, and of a peak while the source sends."""
    duty = source.duty if reading.detector == "peak" and source.duty is not None else 1.0
    straight = around = 1.0 / duty
    if reading.facing_rad is not None and reading.beamwidth_rad is not None:
        width, back_db = reading.beamwidth_rad, reading.back_db
        off = _angle_off(reading, source, building)
        straight *= float(heard_at(np.array(off), beamwidth_rad=width, back_db=back_db))
        around *= heard_from_all_sides(beamwidth_rad=width, back_db=back_db)
    if straight == around == 1.0:
        return part
    whole = part.direct + part.spread
    moved = (straight * part.direct + around * part.spread) / whole if whole > 0.0 else 1.0
    return replace(
        part,
        direct=straight * part.direct,
        spread=around * part.spread,
        diffuse=around * part.diffuse,
        drawn=moved * part.drawn,
        untreated=moved * part.untreated,
    )


def _angle_off(reading: Reading, source: Source, building: Building) -> float:
    """Angle between where an antenna faces and where a source stands. [rad]"""
    assert reading.facing_rad is not None
    facing = towards(reading.facing_rad, reading.tilt_rad, building)
    if source.position_m is None:
        to_source = direction_of(source, building)
    else:
        away = source.position_m - reading.position_m
        to_source = away / max(float(np.linalg.norm(away)), 1e-9)
    return float(np.arccos(np.clip(facing @ to_source, -1.0, 1.0)))


def towards(azimuth_rad: float, elevation_rad: float, building: Building) -> Floats:
    """Unit vector of a true azimuth and an elevation, in the building's axes."""
    turned = azimuth_rad - building.site.north_rad
    flat = np.cos(elevation_rad)
    return np.array([flat * np.sin(turned), flat * np.cos(turned), np.sin(elevation_rad)])


def _of_even_level(source: Source) -> Source:
    """The source with a level that is taken as certain: how far it may be off is put on later."""
    return replace(source, level_tolerance_db=0.0)


def unit(source: Source) -> Source:
    """The source at unit strength where it has none of its own: 1 W/m² outside, or 1 W."""
    if source.level_w_m2 or source.eirp_w is not None:
        return source
    if source.position_m is not None:
        return replace(source, eirp_w=1.0, level_tolerance_db=0.0)
    return replace(source, level_w_m2={"": 1.0}, level_tolerance_db=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Indoors:
    """What a job's readings indoors need of it whatever is drawn, worked out once."""

    casts: Casts
    bench: Bench
    # fields beside a source's direction, by plans that leave rooms alike and by beam
    beside: dict[tuple[object, object], Floats] = field(default_factory=dict)

    @classmethod
    def of(cls, measured: Job) -> Indoors:
        """Cast from the places of a job with its readings as receivers."""
        bench = Bench(job=measured, bands_hz=bands_of(measured), bins=BINS)
        return cls(casts=_casts_of(measured), bench=bench)


def answering(job: Job) -> Callable[[int], Responses]:
    """Responses of a job's readings in as many draws as asked for, cast once."""
    kept: list[Indoors] = []
    return lambda draws: responses(job, draws=draws, kept=kept)


def responses(
    job: Job, *, draws: int = DRAWS, seed: int = SEED, kept: list[Indoors] | None = None
) -> Responses:
    """Responses of a job's readings to the sources that they name.

    Parameters
    ----------
    job : Job
    draws : int
        How many.
    seed : int
    kept : list of Indoors, optional
        What was worked out for the same job in other draws; filled where it is empty.
    """
    heard = {name for reading in job.readings for name in reading.sources}
    names = tuple(source.id for source in job.sources if source.id in heard)
    sources, columns = [], []
    for source in job.sources:
        if source.id in heard:
            sources.append(_of_even_level(unit(source)))
            columns.append(names.index(source.id))
            if source.ground_reflection and source.azimuth_rad is not None:
                sources.append(ground_partner(_of_even_level(unit(source))))
                columns.append(names.index(source.id))
    measured = _as_measured(job, sources)
    tried = drawn_freely(measured, count=draws, seed=seed)
    kept = [] if kept is None else kept
    if measured.receivers and not kept:
        kept.append(Indoors.of(measured))
    parts = {**(_indoors(kept[0], tried) if kept else {}), **_outdoors(measured, tried)}
    shape = (len(job.readings), len(names))
    direct, spread, free, outside = (np.zeros(shape) for _ in range(4))
    drawn = np.zeros((*shape, tried.count))
    for row, reading in enumerate(job.readings):
        there = sources_under(reading.plan, sources)
        for source, column in zip(there, columns, strict=True):
            if names[column] not in reading.sources:
                continue
            part = _as_shown(parts[reading.id, source.id], reading, source, job.building)
            parts[reading.id, source.id] = part
            direct[row, column] += part.direct
            spread[row, column] += part.spread
            free[row, column] += part.free
            outside[row, column] += part.outside
            drawn[row, column] += part.drawn
    of_known = drawn_freely(job, count=draws, seed=seed).level
    order = [source.id for source in job.sources]
    return Responses(
        sources=names,
        direct=direct,
        spread=spread,
        free=free,
        outside=outside,
        drawn=drawn,
        strength=np.stack([of_known[order.index(name)] for name in names])
        if names
        else np.ones((0, tried.count)),
        parts=parts,
    )


def _as_measured(job: Job, sources: Sequence[Source]) -> Job:
    """The job with its readings indoors as receivers.

    Who sleeps in a room absorbs as ever, and whoever holds the meter is in the room. Plans that
    nobody read under are left out: what they change would be added up apart, and an edit of one
    would move a last bit of what is solved.
    """
    read = {AS_BUILT, *(reading.plan.id for reading in job.readings)}
    people = {**{receiver.space: 1 for receiver in job.receivers}, **job.occupants}
    for reading in job.readings:
        if reading.space is not None:
            people[reading.space] = max(1, people.get(reading.space, 0))
    beds = {receiver.id: receiver for receiver in job.receivers}
    found = []
    for reading in job.readings:
        if reading.space is None:
            continue
        name = bed_of(job, reading) or ""
        bed = job.plan(reading.plan.id).beds.get(name, beds.get(name))
        found.append(
            Receiver(
                id=reading.id,
                space=reading.space,
                position_m=reading.position_m if bed is None else bed.position_m,
                size_m=None if bed is None or reading.spots == 1 else bed.size_m,
            )
        )
    return replace(
        job,
        sources=tuple(sources),
        plans=heard_by([each for each in job.plans if each.id in read], sources),
        receivers=tuple(found),
        occupants=people,
        unknowns=tuple(each for each in job.unknowns if each.key != "duty"),
        fitted=None,
    )


def bed_of(job: Job, reading: Reading) -> str | None:
    """The receiver that a reading was taken at: within its box, or near its point."""
    if reading.receiver is not None:
        return reading.receiver
    for receiver in job.receivers:
        if receiver.space != reading.space:
            continue
        away = np.abs(reading.position_m - receiver.position_m)
        half = np.zeros(3) if receiver.size_m is None else 0.5 * receiver.size_m
        if float(np.linalg.norm(np.maximum(away - half, 0.0))) <= AT_BED_M:
            return receiver.id
    return None


# -- indoors ------------------------------------------------------------------------------------


class Stations:
    """The places of a job's readings indoors, cast once: what any plan would show there.

    Parameters
    ----------
    job : Job
        With its readings.
    sources : sequence of Source
        That count beside the job's, each with a level.
    """

    def __init__(self, job: Job, sources: Sequence[Source] = ()) -> None:
        own = [_of_even_level(unit(source)) for source in job.sources]
        measured = _as_measured(job, [*own, *sources])
        self.sources = tuple(source.id for source in measured.sources)
        self._readings = {each.id: each for each in job.readings}
        self._job = measured
        self._casts = _casts_of(measured)
        self._bench = Bench(job=measured, bands_hz=bands_of(measured), bins=BINS)

    def levels_w_m2(self, plan: Plan, readings: Sequence[str]) -> Floats:
        """Nominal levels (readings, sources) under a plan, as the meter would show them."""
        if not readings:
            return np.zeros((0, len(self.sources)))
        there = {each.receiver.id: each for each in self._casts.receivers}
        some = replace(self._casts, receivers=tuple(there[name] for name in readings))
        parts = _nominal(self._job, plan, some, self._bench)[0]
        found = np.zeros((len(readings), len(self.sources)))
        for row, name in enumerate(readings):
            for column, source in enumerate(self._job.sources):
                part = _as_shown(
                    parts[name, source.id], self._readings[name], source, self._job.building
                )
                found[row, column] = part.direct + part.spread
        return found


def _casts_of(job: Job) -> Casts:
    scattered = any(source.scattered > 0.0 for source in job.sources)
    return cast_job(job, sampling=FEW if scattered else FEWEST, bins=BINS, lit=False)


def _indoors(kept: Indoors, draws: Draws) -> dict[tuple[str, str], Part]:
    """Parts by (reading id, source id) of the readings that are receivers of the job."""
    casts, bench = kept.casts, kept.bench
    job = bench.job
    places = {each.receiver.id: each for each in casts.receivers}
    by_plan: dict[object, list[Reading]] = {}
    for reading in job.readings:
        if reading.space is not None:
            by_plan.setdefault(_state_of(reading.plan), []).append(reading)
    expect_plans(bench, (together[0].plan for together in by_plan.values()))
    found: dict[tuple[str, str], Part] = {}
    for state, together in by_plan.items():
        some = replace(casts, receivers=tuple(places[reading.id] for reading in together))
        plan = together[0].plan
        parts = _under_plan(plan, some, kept, state, draws)
        if plan.treatments:
            parts = _beside_untreated(job, plan, some, bench, parts)
        found |= parts
    return found


def _state_of(plan: Plan) -> object:
    """Equal for readings that were taken with the same treatments and windows."""
    done = tuple((name, id(each)) for name, each in sorted(plan.measures.items()))
    return tuple(sorted(plan.treatments.items())), tuple(sorted(plan.states.items())), done


def _beside_untreated(
    job: Job, plan: Plan, casts: Casts, bench: Bench, parts: dict[tuple[str, str], Part]
) -> dict[tuple[str, str], Part]:
    """The parts with what the same places had without treatment, windows as they stood."""
    before = _nominal(job, replace(plan, treatments={}), casts, bench)[0]
    return {
        key: replace(part, untreated=before[key].direct + before[key].spread)
        for key, part in parts.items()
    }


def _nominal(
    job: Job, plan: Plan, casts: Casts, bench: Bench
) -> tuple[dict[tuple[str, str], Part], Mapping[str, Diffuse], Tables]:
    """Parts under a plan, not yet drawn, with the diffuse field and the tables they rest on."""
    bench, casts = under(bench, plan, casts)
    job = bench.job
    tables = bench.tables(stacks_of(job, plan))
    faces = bench.kept("faces", lambda: faces_of(job))
    diffuse = {
        source.id: diffuse_of(
            source=source, casts=casts, bench=bench, tables=tables, faces=faces,
            band=bench.bands_hz.index(source.band_hz),
        )
        for source in job.sources
    }  # fmt: skip
    parts: dict[tuple[str, str], Part] = {}
    for receiver in casts.receivers:
        of_sources = _at(receiver, bench, tables, diffuse)
        parts |= {(receiver.receiver.id, name): part for name, part in of_sources.items()}
    return parts, diffuse, tables


def _under_plan(
    plan: Plan, casts: Casts, kept: Indoors, state: object, draws: Draws
) -> dict[tuple[str, str], Part]:
    bench = kept.bench
    job = bench.job
    parts, diffuse, tables = _nominal(job, plan, casts, bench)
    faces = bench.kept("faces", lambda: faces_of(job))
    levels = level_draws(bench=bench, plan=plan, casts=casts, draws=draws).by_source
    bench, casts = under(bench, plan, casts)
    for index, source in enumerate(bench.job.sources):
        beam = beam_of(source)
        if (state, beam) not in kept.beside:
            kept.beside[state, beam] = fields_beside(
                source=source, casts=casts, bench=bench, tables=tables, faces=faces
            )
        factors = field_factors(
            kept.beside[state, beam],
            step_rad=source.direction_tolerance_rad,
            aside=draws.aside[index],
        )
        for receiver in casts.receivers:
            place = receiver.receiver.id, source.id
            part, drawn = parts[place], levels[place].level_w_m2
            whole = part.direct + part.spread
            moved = drawn / drawn[0] if drawn[0] > 0.0 else np.ones(draws.count)
            space = job.building.space_index[receiver.receiver.space]
            of_beam = float(diffuse[source.id].from_beam_w_m2[space])
            parts[place] = replace(
                part,
                drawn=moved * (whole + of_beam * (factors[:, space] - 1.0)),
                diffuse=levels[place].diffuse_w_m2,
                error_db=levels[place].error_db,
                untreated=whole,
            )
    return parts


def _at(
    casts: ReceiverCasts, bench: Bench, tables: Tables, diffuse: Mapping[str, Diffuse]
) -> dict[str, Part]:
    """A reading's part of each source, not yet drawn."""
    space = bench.job.building.space_index[casts.receiver.space]
    angles = solid_angles(
        crossings=casts.crossings,
        tagged=tag(casts.crossings, tables),
        tables=tables,
        frequency_hz=np.array([0.5 * sum(band) for band in bench.bands_hz]),
        threshold_db=THRESHOLD_DB,
    )
    parts = {}
    for source in bench.job.sources:
        band = bench.bands_hz.index(source.band_hz)
        direct = direct_part(
            source=source, casts=casts, bench=bench, stacks=tables.stacks, band=band,
            threshold_db=THRESHOLD_DB,
        )  # fmt: skip
        outside = direct.outside_w_m2
        exposed = angles.exposed_sr
        radiance = source.scattered * outside / exposed if exposed > 0.0 else 0.0
        around = angles.bands[band].open_equivalent_solid_angle_sr
        of_room = diffuse[source.id]
        parts[source.id] = Part(
            direct=(1.0 - source.scattered) * outside * direct.transmission,
            spread=radiance * (around + float(of_room.from_scattered[space]))
            + float(of_room.from_beam_w_m2[space]),
            outside=outside,
            drawn=np.zeros(0),
        )
    return parts


# -- outdoors -----------------------------------------------------------------------------------


def _outdoors(job: Job, draws: Draws) -> dict[tuple[str, str], Part]:
    """Parts by (reading id, source id) of the readings in the open air."""
    bench = Bench(job=job, bands_hz=bands_of(job), bins=BINS)
    found: dict[tuple[str, str], Part] = {}
    for reading in job.readings:
        if reading.space is not None:
            continue
        stacks = stacks_of(job, reading.plan)
        storey = _storey_at(job.building, float(reading.position_m[2]))
        sky = cast_outdoors(job.building, position_m=reading.position_m, directions=_all_round(SKY))
        for index, source in enumerate(sources_under(reading.plan, job.sources)):
            outside = level_outside(source, storey, reading.position_m)
            ahead = _towards(job, source, reading.position_m)
            straight = _passed(ahead, source, bench, stacks)
            around = _passed(sky, source, bench, stacks)
            exposed = float((sky.weights * (sky.sky > 0)).sum())
            scattered = source.scattered / exposed if exposed > 0.0 else 0.0
            part = Part(
                direct=(1.0 - source.scattered) * outside * straight[0],
                spread=scattered * outside * around[0],
                free=outside * ((1.0 - source.scattered) * straight[1] + scattered * around[1]),
                outside=outside,
                drawn=np.zeros(0),
            )
            found[reading.id, source.id] = replace(
                part, drawn=(part.direct + part.spread) * draws.level[index]
            )
    return found


def _storey_at(building: Building, height_m: float) -> str:
    """The storey that a height is on, the lowest below all."""
    below = [each.id for each in building.storeys if each.floor_m <= height_m]
    return below[-1] if below else building.storeys[0].id


def _passed(beam: Beam, source: Source, bench: Bench, stacks: Stacks) -> tuple[float, float]:
    """Weight of rays that arrive, and of those among them that have crossed nothing."""
    through = beam.weights * along_rays(
        beam,
        bench=bench,
        stacks=stacks,
        band=bench.bands_hz.index(source.band_hz),
        polarization=source.polarization,
    )
    return float(through.sum()), float(through[np.diff(beam.start) == 0].sum())


def _towards(job: Job, source: Source, position_m: Floats) -> Beam:
    """Rays from a point outdoors over a source's cone, or the one to a point source."""
    if source.position_m is not None:
        away = source.position_m - position_m
        return cast_outdoors(
            job.building,
            position_m=position_m,
            directions=(away / np.linalg.norm(away))[np.newaxis],
            target_m=source.position_m,
            target_space=source.space,
        )
    axis = direction_of(source, job.building)
    u, v = axes_across(axis)
    rays = _all_round(CONE, reach=float(np.cos(source.spread_rad)))
    turned = rays @ np.stack((u, v, axis))
    return cast_outdoors(job.building, position_m=position_m, directions=turned, stated=True)


def _all_round(count: int, *, reach: float = -1.0) -> Floats:
    """Directions (count, 3) spread evenly about +z, as far as a cosine: a spiral."""
    height = 1.0 - (1.0 - reach) * (np.arange(count) + 0.5) / count
    aside = np.sqrt(np.maximum(1.0 - height**2, 0.0))
    turn = _GOLDEN_RAD * np.arange(count)
    return np.stack((aside * np.cos(turn), aside * np.sin(turn), height), axis=1)
