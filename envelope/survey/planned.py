"""Which readings would tell most, before they are taken: by what they settle of the decision.

    candidates ─→ what each would show in every draw ─→ how far it narrows what the plans bring

A reading that only tells the field tells nothing for the decision: what the plans bring is a
difference of levels. Readings and differences are taken as normal in decibels; the most telling
candidate comes first, the next is the one that tells most beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from envelope.building.glazed import is_glazed
from envelope.building.job import AS_BUILT, Job, Plan, Reading
from envelope.building.plan_measures import as_read, factors_under, may_be_done, receivers_under
from envelope.building.point_location import bounds, clearance
from envelope.building.source_measures import is_meter
from envelope.building.standing import trouble_outdoors
from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import Casts, direction_of
from envelope.exposure.model_error import shared_db
from envelope.exposure.tolerances import DRAWS, SEED, TENTH, draw
from envelope.exposure.uncertainty import level_draws
from envelope.geometry.plane import Floats
from envelope.survey.binding import own_sigma_db
from envelope.survey.noise import noise_of
from envelope.survey.responses import Responses, responses
from envelope.survey.solving import AGAIN_DB, OPEN_AIR_DB

SPOTS_AT_BED, SPOTS_ELSEWHERE = 9, 6  # averaged; common practice, no source
GRID_M, CLEAR_M, HEIGHT_M = 1.2, 0.5, 1.2  # of places about a room
MOST_SPOTS = 150  # of places about a room that are looked at; in a hall they lie farther apart
OUTDOORS_M = 4.0  # from the house
ROUND_M, ROUND_FEET_M = 0.05, 0.0762  # what places are rounded to: 3 in where lengths are in feet
MAX_PLACES, MAX_SWITCHES, MAX_WINDOWS = 6, 4, 4
METER_DB = 2.0  # tolerance of a meter that the job does not name; common practice, no source
LEAST_DB = 0.02  # by which a place must narrow some step to be proposed

Kind = Literal["bed", "place", "outdoors", "switch", "window"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """A reading, or a pair of readings, to take; levels in W/m², differences in dB."""

    kind: Kind
    readings: tuple[Reading, ...]  # the plain one first; the second of a pair beside it
    expected: float  # middle of what the meter will show; of a pair, of the difference
    low: float  # 10–90 % range
    high: float
    narrows_db: float  # by how much, of the half-width of the step that it narrows most
    plan: str  # whose step that is; "" where it narrows none
    about: str = ""  # source or opening that a pair is about


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Candidate:
    kind: Kind
    readings: tuple[Reading, ...]
    about: str = ""


def planned_readings(job: Job, *, casts: Casts, plan: str = AS_BUILT) -> tuple[Planned, ...]:
    """The readings that would settle most of what the job's plans bring.

    Parameters
    ----------
    job : Job
        From `solve_levels`, with receivers.
    casts : Casts
        Of the job.
    plan : str
        Id of what has been done by the time of the visit.

    Returns
    -------
    planned : tuple of Planned
        Beds first, then places about the rooms, switch tests, windows.
    """
    candidates = list(_candidates(job, job.plan(plan)))
    by_id = {each.id: each for one in candidates for each in one.readings}
    everything = replace(job, readings=tuple(by_id.values()))
    drawn_db, noise_db, own_db = _what_is_shown(job, everything)
    shown, doubt = _by_candidate(candidates, list(by_id), drawn_db, noise_db, own_db)
    steps, names = _steps(job, casts)
    found: list[Planned] = []
    for row, gain, step in _in_order(candidates, shown, doubt, steps):
        found.append(_as_record(candidates[row], shown[row], doubt[row], gain, names, step))
    return tuple(_chosen(found))


def _chosen(found: Sequence[Planned]) -> Iterator[Planned]:
    """Every bed, and the most telling of each other kind."""
    yield from (each for each in found if each.kind == "bed")
    places = [each for each in found if each.kind in ("place", "outdoors")]
    yield from [each for each in places if each.narrows_db >= LEAST_DB][:MAX_PLACES]
    yield from [each for each in found if each.kind == "switch"][:MAX_SWITCHES]
    yield from [each for each in found if each.kind == "window"][:MAX_WINDOWS]


# -- candidates ----------------------------------------------------------------------------------


def _candidates(job: Job, plan: Plan) -> Iterator[_Candidate]:
    silent, always = _silent(plan, job), _silent(as_read(plan), job)
    names = tuple(source.id for source in job.sources if source.id not in silent)
    night = tuple(name for name in silent if name not in always)  # off for what was promised
    beds, plan = receivers_under(plan, job.receivers), as_read(plan)
    tolerance_db = job.meters[0].tolerance_db if job.meters else METER_DB

    taken = {each.id for each in job.readings}

    def fresh(name: str) -> str:
        own, number = name, 2
        while own in taken:
            own, number = f"{name}-{number}", number + 1
        return own

    def reading(name: str, space: str | None, position: Floats, **more: object) -> Reading:
        plain = Reading(
            id=fresh(name),
            sources=names,
            space=space,
            position_m=position,
            level_w_m2=1.0,
            plan=plan,
            spots=SPOTS_ELSEWHERE,
            tolerance_db=tolerance_db,
            meter=job.meters[0].id if job.meters else "",
            off=night,
        )
        return replace(plain, **more)  # type: ignore[arg-type]

    for bed in beds:
        at_bed = reading(bed.id, bed.space, bed.position_m, receiver=bed.id, spots=SPOTS_AT_BED)
        yield _Candidate(kind="bed", readings=(at_bed,))
    rooms = dict.fromkeys(bed.space for bed in job.receivers)
    for room in rooms:
        for number, place in enumerate(_grid(job, room), 1):
            yield _Candidate(kind="place", readings=(reading(f"{room}-{number}", room, place),))
    for source in job.sources:
        outside = _in_sight(job, source.azimuth_rad is not None, source.id)
        if outside is not None:
            alone = reading(f"outdoors-{source.id}", None, outside, sources=(source.id,), spots=3)
            yield _Candidate(kind="outdoors", readings=(alone,))
    for device in _switchable(job):
        bed = beds[0]
        off = tuple(source.id for source in job.sources if (source.device or source.id) == device)
        left = tuple(name for name in names if name not in off)
        on = reading(bed.id, bed.space, bed.position_m, receiver=bed.id, spots=SPOTS_AT_BED)
        if left and left != names:
            all_off = (*night, *off)
            without = replace(on, id=fresh(f"{bed.id}-{device}-off"), sources=left, off=all_off)
            yield _Candidate(kind="switch", readings=(on, without), about=device)
    for room in rooms:
        for opening, place in _windows(job, room):
            yield _Candidate(
                kind="window",
                readings=(
                    reading(f"{opening}-shut", room, place),
                    reading(f"{opening}-open", room, place, plan=_opened(job, plan, opening)),
                ),
                about=opening,
            )


def _silent(plan: Plan, job: Job) -> tuple[str, ...]:
    """Sources that a plan leaves no power."""
    return tuple(name for name, left in factors_under(plan, job.sources).items() if left == 0.0)


def _grid(job: Job, room: str) -> list[Floats]:
    """Places about a room, clear of its faces and of its beds."""
    space = job.building.space(room)
    low, high = bounds(space.panels)
    height = float(low[2]) + HEIGHT_M
    step = GRID_M
    counts = _counts(high - low, step)
    while counts[0] * counts[1] > MOST_SPOTS:
        step *= 1.1
        counts = _counts(high - low, step)
    found = []
    for row in range(counts[1]):
        for column in range(counts[0]):
            share = np.array([(column + 0.5) / counts[0], (row + 0.5) / counts[1]])
            place = _rounded(job, np.append(low[:2] + share * (high - low)[:2], height), room)
            if clearance(job.building.space(room), place) < CLEAR_M:
                continue
            if all(np.linalg.norm((place - bed.position_m)[:2]) > 0.6 for bed in job.receivers):
                found.append(place)
    return found


def _counts(size_m: Floats, step_m: float) -> tuple[int, int]:
    """How many places lie along x and along y."""
    x, y = (max(1, round(float(each) / step_m)) for each in size_m[:2])
    return x, y


def _rounded(job: Job, place: Floats, room: str) -> Floats:
    """A place whose coordinates in its room can be taken with a tape."""
    space = job.building.space(room)
    start = np.append(space.origin, space.floor_m)
    step = ROUND_FEET_M if job.feet else ROUND_M
    return np.asarray(start + step * np.round((place - start) / step))


def _in_sight(job: Job, is_direction: bool, name: str) -> Floats | None:
    """A point outdoors on the side of the house that faces a source in a direction."""
    if not is_direction:
        return None
    source = next(each for each in job.sources if each.id == name)
    towards = direction_of(source, job.building)[:2]
    low, high = bounds(job.building.panels)
    middle = 0.5 * (low + high)[:2]
    half = 0.5 * (high - low)[:2]
    with np.errstate(divide="ignore"):
        reach = float(np.min(half / np.maximum(np.abs(towards), 1e-9)))
    place = np.append(middle + towards * (reach + OUTDOORS_M), job.building.site.grade_m + 1.5)
    step = ROUND_FEET_M if job.feet else ROUND_M
    place = step * np.round(place / step)
    return None if trouble_outdoors(place, job.building) is not None else place


def _switchable(job: Job) -> list[str]:
    """Devices in the house that the household can switch off."""
    found = []
    for each in job.sources:
        if each.position_m is None or each.space is None or is_meter(each.id, each.title):
            continue
        whose = {measure.agreed_by for measure in may_be_done(each, job.building)}
        if "neighbour" not in whose:
            found.append(each.device or each.id)
    return list(dict.fromkeys(found))


def _windows(job: Job, room: str) -> Iterator[tuple[str, Floats]]:
    """Windows and glass doors of a room, each with a place half a metre before its middle."""
    for panel in job.building.space(room).panels:
        if panel.host is None or panel.id.count("/") != 1 or panel.kind == "skylight":
            continue
        if is_glazed(job, panel):
            place = _rounded(job, panel.outline.mean(axis=0) + 0.5 * panel.normal, room)
            if clearance(job.building.space(room), place) > 0.1:
                yield panel.id.partition("/")[2], place


def _opened(job: Job, plan: Plan, opening: str) -> Plan:
    """A plan with a window of the receivers' rooms open: nothing stands in it."""
    panels = [
        panel.id
        for panel in job.building.panels
        if panel.id.split("/")[1:2] == [opening] and panel.kind != "reveal"
    ]
    return replace(
        plan,
        states={**plan.states, opening: "open"},
        assemblies={**plan.assemblies, **dict.fromkeys(panels)},
        treatments={k: v for k, v in plan.treatments.items() if k not in panels},
    )


# -- what they would show ------------------------------------------------------------------------


def _what_is_shown(job: Job, everything: Job) -> tuple[Floats, Floats, Floats]:
    """Levels (r, draws) that readings are of, the shared error on them; scatter and own error (r,).

    All in decibels.
    """
    fitted = job.fitted
    count = DRAWS if fitted is None else fitted.count
    seed = SEED if fitted is None else fitted.seed
    heard = responses(everything, draws=count, seed=seed)
    draws = draw(job)
    order = [source.id for source in job.sources]
    level = np.stack([draws.level[order.index(name)] for name in heard.sources])
    chosen = np.arange(count + 1) if fitted is None else fitted.chosen
    power = (heard.drawn[:, :, chosen] * level).sum(axis=1)[:, 1:]
    indoors = np.array([each.space is not None for each in everything.readings])
    levels_db = 10.0 * np.log10(np.maximum(power, 1e-30))
    if fitted is None:  # else it is in the levels
        shared = shared_db() / TENTH * np.random.default_rng(SEED).standard_normal(power.shape[1])
        levels_db = levels_db + shared * indoors[:, np.newaxis]
    else:
        levels_db = levels_db + fitted.shift_db * indoors[:, np.newaxis]
    scatter = _scatter_db(everything, heard, indoors)
    return levels_db, scatter, own_sigma_db(everything, heard)


def _scatter_db(job: Job, heard: Responses, indoors: Floats) -> Floats:
    """Standard deviation (r,) of what keeps a reading from its level, the meter left out. [dB]"""
    direct, spread = heard.direct.sum(axis=1), heard.spread.sum(axis=1)
    total = direct + spread
    variance = np.maximum((heard.spread**2 + 2.0 * heard.direct * heard.spread).sum(axis=1), 1e-60)
    spots = np.array([each.spots for each in job.readings])
    shape = np.minimum(spots * total**2 / variance, 1e9)
    again = np.where(indoors, AGAIN_DB, np.hypot(AGAIN_DB, OPEN_AIR_DB)) / TENTH
    return np.array(
        [
            noise_of(shape=float(round(one, 2)), sigma_db=float(other)).spread_db()
            for one, other in zip(shape, again, strict=True)
        ]
    )


def _by_candidate(
    candidates: Sequence[_Candidate],
    order: Sequence[str],
    drawn_db: Floats,
    noise_db: Floats,
    own_db: Floats,
) -> tuple[Floats, Floats]:
    """What each candidate would show (c, draws), and what it scatters by (c,). [dB]

    In a pair the meter's bias, the model's error at the place and the shared one cancel.
    """
    shown, doubt = [], []
    for each in candidates:
        reading = each.readings[0]
        row = order.index(reading.id)
        if len(each.readings) == 1:
            shown.append(drawn_db[row])
            meter = reading.tolerance_db / TENTH
            error = own_db[row] if reading.space is not None else 0.0
            doubt.append(np.sqrt(noise_db[row] ** 2 + meter**2 + error**2))
        else:
            other = order.index(each.readings[1].id)
            shown.append(drawn_db[other] - drawn_db[row])
            doubt.append(np.hypot(noise_db[row], noise_db[other]))
    return np.stack(shown), np.array(doubt)


def _steps(job: Job, casts: Casts) -> tuple[Floats, list[str]]:
    """What each plan brings at each receiver (s, draws), and the plan of each row. [dB]"""
    draws, bench = draw(job), bench_of(job, casts)
    plans = [each for each in job.plans if not each.does_nothing]
    today = level_draws(bench=bench, plan=job.plan(AS_BUILT), casts=casts, draws=draws)
    rows, names = [], []
    for plan in plans:
        then = level_draws(bench=bench, plan=plan, casts=casts, draws=draws)
        for receiver in job.receivers:
            before, after = (each.level_w_m2(receiver.id)[1:] for each in (today, then))
            rows.append(10.0 * np.log10(np.maximum(before, 1e-30) / np.maximum(after, 1e-30)))
            names.append(plan.id)
    count = draws.count - 1
    return (np.stack(rows) if rows else np.zeros((0, count))), names


def _in_order(
    candidates: Sequence[_Candidate], shown: Floats, doubt: Floats, steps: Floats
) -> Iterator[tuple[int, float, int]]:
    """Candidates by what each tells beside those before it: row, decibels, step. Beds first."""
    values = np.concatenate((steps, shown))
    covariance = np.atleast_2d(np.cov(values))
    count = len(steps)
    left = list(range(len(candidates)))
    while left:
        beds = [row for row in left if candidates[row].kind == "bed"]
        best: tuple[float, int, int] | None = None
        for row in beds or left:
            at = count + row
            total = covariance[at, at] + doubt[row] ** 2
            before = np.sqrt(np.maximum(np.diag(covariance)[:count], 0.0))
            told = covariance[:count, at] ** 2 / total
            # 300 draws correlate by chance
            told = np.where(told > 6.0 / values.shape[1] * before**2, told, 0.0)
            gains = before - np.sqrt(np.maximum(before**2 - told, 0.0))
            step = int(np.argmax(gains)) if count else -1
            gain = float(gains[step]) if count else 0.0
            score = float(gains.sum()) if count else 0.0
            if best is None or score > best[0] + 1e-12:
                best, gain_of = (score, row, step), gain
        assert best is not None
        _, row, step = best
        yield row, TENTH * gain_of, step
        at = count + row
        column = covariance[:, at].copy()
        covariance = covariance - np.outer(column, column) / (column[at] + doubt[row] ** 2)
        left.remove(row)


def _as_record(
    candidate: _Candidate,
    shown_db: Floats,
    doubt_db: float,
    gain_db: float,
    names: Sequence[str],
    step: int,
) -> Planned:
    random = np.random.default_rng(SEED)
    values = shown_db + doubt_db * random.standard_normal(len(shown_db))
    low, middle, high = np.quantile(values, (0.1, 0.5, 0.9))
    if len(candidate.readings) == 1:
        low, middle, high = (10.0 ** (each / 10.0) for each in (low, middle, high))
    return Planned(
        kind=candidate.kind,
        readings=candidate.readings,
        expected=float(middle),
        low=float(low),
        high=float(high),
        narrows_db=gain_db,
        plan=names[step] if gain_db > 0.0 and step >= 0 else "",
        about=candidate.about,
    )
