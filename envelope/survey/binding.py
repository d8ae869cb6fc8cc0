"""A job's figures bound by its readings: the question put to `joint`, its answer as records.

Job with levels + responses ─→ Question ─→ Cloud ─→ Fitted, and what each reading makes of it
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.building.fitted import Fitted, FittedPlace
from envelope.building.ground_reflection import without_ground_partners
from envelope.building.job import AS_BUILT, Job, Reading
from envelope.building.plan_measures import factors_under
from envelope.building.sources import MIRRORED
from envelope.exposure.differences import error_correlation
from envelope.exposure.model_error import WORKMANSHIP, own_db, shared_db
from envelope.exposure.tolerances import DRAWS, SEED, TENTH, drawn_freely
from envelope.geometry.plane import Floats
from envelope.survey.joint import FEW, Cloud, Question, settle
from envelope.survey.noise import noise_of
from envelope.survey.responses import Responses, bed_of
from envelope.survey.solving import AGAIN_DB, OPEN_AIR_DB, Heard, scatter_shape

SAME_PLACE_M = 0.3  # readings nearer together than this are of one place
OPEN_DB = 30.0  # standard deviation of a level that nothing but readings tells of
# Members of the sample of figures, tried in turn until enough of them agree with the readings.
SAMPLES = (DRAWS, 4 * DRAWS, 12 * DRAWS)
ENOUGH = 2.0 * FEW


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bound:
    """A job's figures as its readings leave them, with the cloud that they come from."""

    fitted: Fitted
    cloud: Cloud
    question: Question
    readings: tuple[Reading, ...]
    sources: tuple[str, ...]  # that the question's columns are of
    places: tuple[Error, ...]
    level_db: Mapping[str, float]  # by which the sources are moved nominally


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """What the model is off by at one place, for what was heard there.

    That is of one plan with windows as they stood, and of the sources that were on.
    """

    place: Place
    plan: str
    states: tuple[tuple[str, str], ...]
    sources: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where readings indoors were taken together."""

    space: str
    receiver: str | None
    position_m: tuple[float, float, float]


def bind(
    job: Job,
    heard: Responses,
    *,
    answer: Callable[[int], Responses],
    solved: Sequence[str],
    samples: Sequence[int] = SAMPLES,
) -> Bound:
    """Bind a job's figures by its readings.

    Parameters
    ----------
    job : Job
        Every source with a level; its readings as they were taken.
    heard : Responses
        Of the readings, in as many draws as the first of `samples`; sources that have no level
        of their own at unit strength.
    answer : callable
        Works the responses out in more draws.
    solved : sequence of str
        Ids of the sources whose level comes from the readings alone.
    samples : sequence of int
        How many members the sample of figures has, tried in turn until enough agree.
    """
    plain = without_ground_partners(job)
    for number in samples:
        if heard.drawn.shape[2] != number + 1:
            heard = answer(number)
        question, places = question_of(plain, heard, solved=solved)
        cloud = settle(question)
        if cloud.tempered == 1.0 and cloud.effective >= ENOUGH:
            break
    return _as_records(plain, heard, question, places, cloud, solved=solved, count=number)


# -- the question --------------------------------------------------------------------------------


def question_of(
    job: Job, heard: Responses, *, solved: Sequence[str]
) -> tuple[Question, tuple[Error, ...]]:
    """What the readings ask of everything that is uncertain, and where its errors are."""
    sources = {source.id: source for source in job.sources}
    strength = np.array([_strength(job, name, solved) for name in heard.sources])
    duty = {each.id: each.range for each in job.unknowns if each.key == "duty"}
    readings = job.readings
    of_reading, places = _places(job)
    sigma = _own_sigma_db(job, heard, strength)
    first = {number: row for row, number in reversed(list(enumerate(of_reading)))}
    rows = [first[number] for number in range(len(places))]
    parts = [_parts(job, heard, row, strength) for row in rows]
    together = np.array(
        [[float(one.place == other.place) for other in places] for one in places]
    ).reshape(len(places), len(places))
    own = sigma[rows]
    covariance = np.outer(own, own) * together * error_correlation(parts, parts)
    shape = scatter_shape(_known(job, heard, strength), np.zeros(0))
    indoors = np.array([reading.space is not None for reading in readings])
    again = np.where(indoors, AGAIN_DB, np.hypot(AGAIN_DB, OPEN_AIR_DB)) / TENTH
    return Question(
        shown_db=np.array([10.0 * np.log10(reading.level_w_m2) for reading in readings]),
        noise=[
            noise_of(shape=float(shape[row]), sigma_db=float(again[row]), shows=readings[row].shows)
            for row in range(len(readings))
        ],
        response_w_m2=heard.drawn[..., 1:] * strength[:, np.newaxis],
        level_sigma_db=np.array(
            [
                OPEN_DB if name in solved else sources[name].level_tolerance_db / TENTH
                for name in heard.sources
            ]
        ),
        duty=[None if name in solved else duty.get(name) for name in heard.sources],
        peak=np.array([reading.detector == "peak" for reading in readings]),
        shared_sigma_db=shared_db() / TENTH,
        indoors=indoors,
        meter=np.array(_numbered([reading.meter for reading in readings]), dtype=np.int64),
        meter_sigma_db=np.array([reading.tolerance_db for reading in readings]) / TENTH,
        place=np.array(of_reading, dtype=np.int64),
        place_covariance_db2=covariance,
        plan=np.array(_plan_numbers(readings), dtype=np.int64),
        plan_sigma_db=_plan_sigma_db(job, heard, strength),
    ), places


def _plan_numbers(readings: Sequence[Reading]) -> list[int]:
    """Which treated plan each reading is of, −1 for none."""
    order = list(dict.fromkeys(each.plan.id for each in readings if each.plan.treatments))
    return [order.index(each.plan.id) if each.plan.id in order else -1 for each in readings]


def _plan_sigma_db(job: Job, heard: Responses, strength: Floats) -> Floats:
    """Standard deviation (p,) of what the work of each plan may be off by everywhere. [dB]

    As much again as workmanship is taken to do at one place (`model_error`).
    """
    by_plan: dict[int, list[float]] = {}
    by_name = dict(zip(heard.sources, strength, strict=True))
    for number, reading in zip(_plan_numbers(job.readings), job.readings, strict=True):
        if number < 0:
            continue
        now = before = 0.0
        for (at, source), part in heard.parts.items():
            name = source.removesuffix(MIRRORED) if source not in by_name else source
            if at == reading.id and name in reading.sources:
                now += by_name[name] * (part.direct + part.spread)
                before += by_name[name] * part.untreated
        gain_db = abs(10.0 * np.log10(before / now)) if now > 0.0 and before > 0.0 else 0.0
        by_plan.setdefault(number, []).append(gain_db)
    return np.array([WORKMANSHIP * np.mean(by_plan[each]) / TENTH for each in sorted(by_plan)])


def _numbered(names: Sequence[str]) -> list[int]:
    order = list(dict.fromkeys(names))
    return [order.index(name) for name in names]


def _strength(job: Job, name: str, solved: Sequence[str]) -> float:
    """By what a source's responses are multiplied: its level where they are at unit strength."""
    if name not in solved:
        return 1.0
    source = next(each for each in job.sources if each.id == name)
    return source.eirp_w if source.eirp_w is not None else source.level_w_m2[""]


def _known(job: Job, heard: Responses, strength: Floats) -> Heard:
    """The readings with every level known, for how far each scatters."""
    count = len(job.readings)
    nothing = np.zeros((count, 0))
    return Heard(
        shown_w_m2=np.ones(count),
        direct=nothing,
        spread=nothing,
        drawn=np.zeros((count, 0, 1)),
        known_direct=heard.direct @ strength,
        known_spread=heard.spread @ strength,
        known_drawn=np.zeros((count, 1)),
        spots=np.array([float(reading.spots) for reading in job.readings]),
        tolerance_db=np.zeros(count),
        indoors=np.ones(count),
    )


def _places(job: Job) -> tuple[list[int], tuple[Error, ...]]:
    """Which error each reading has, −1 outdoors; one for each place and what was heard there."""
    places: list[Place] = []
    errors: list[Error] = []
    of_reading = []
    for reading in job.readings:
        if reading.space is None:
            of_reading.append(-1)
            continue
        place = _place_of(job, reading, places)
        if place not in places:
            places.append(place)
        states = tuple(sorted(reading.plan.states.items()))
        left = factors_under(reading.plan, job.sources)
        heard = frozenset(name for name in reading.sources if left.get(name, 1.0) > 0.0)
        error = Error(place=place, plan=reading.plan.id, states=states, sources=heard)
        if error not in errors:
            errors.append(error)
        of_reading.append(errors.index(error))
    return of_reading, tuple(errors)


def _place_of(job: Job, reading: Reading, places: Sequence[Place]) -> Place:
    receiver = bed_of(job, reading)
    assert reading.space is not None
    for place in places:
        if place.space != reading.space or place.receiver != receiver:
            continue
        away = np.linalg.norm(reading.position_m - np.array(place.position_m))
        if receiver is not None or away <= SAME_PLACE_M:
            return place
    x, y, z = (float(each) for each in reading.position_m)
    return Place(space=reading.space, receiver=receiver, position_m=(x, y, z))


def _parts(
    job: Job, heard: Responses, row: int, strength: Floats
) -> dict[str, tuple[float, float]]:
    """Direct and diffuse part of what a reading is of, by source, mirrored partners apart."""
    reading = job.readings[row]
    by_name = dict(zip(heard.sources, strength, strict=True))
    found = {}
    for (at, source), part in heard.parts.items():
        name = source.removesuffix(MIRRORED) if source not in by_name else source
        if at == reading.id and name in reading.sources:
            whole = by_name[name] * (part.direct + part.spread)
            diffuse = by_name[name] * part.diffuse
            found[source] = (max(whole - diffuse, 0.0), diffuse)
    return found


def own_sigma_db(job: Job, heard: Responses) -> Floats:
    """Standard deviation (r,) of the model's own error at readings, levels being known. [dB]"""
    return _own_sigma_db(job, heard, np.ones(len(heard.sources)))


def _own_sigma_db(job: Job, heard: Responses, strength: Floats) -> Floats:
    """Standard deviation (r,) of the error that the model has for itself at each reading. [dB]"""
    by_name = dict(zip(heard.sources, strength, strict=True))
    found = np.zeros(len(job.readings))
    for row, reading in enumerate(job.readings):
        levels, diffuse, errors, before = [0.0], [0.0], [0.0], [0.0]
        for (at, source), part in heard.parts.items():
            name = source.removesuffix(MIRRORED) if source not in by_name else source
            if at == reading.id and name in reading.sources:
                levels.append(by_name[name] * (part.direct + part.spread))
                diffuse.append(by_name[name] * part.diffuse)
                errors.append(part.error_db)
                before.append(by_name[name] * part.untreated)
        found[row] = own_db(
            level_w_m2=sum(levels),
            diffuse_w_m2=np.array(diffuse),
            error_db=np.array(errors),
            as_built_w_m2=sum(before),
        )
    return found / TENTH


# -- the answer ----------------------------------------------------------------------------------


def _as_records(
    job: Job,
    heard: Responses,
    question: Question,
    places: tuple[Error, ...],
    cloud: Cloud,
    *,
    solved: Sequence[str],
    count: int,
) -> Bound:
    picked = cloud.picked(DRAWS)
    free = drawn_freely(job, count=count)
    chosen = np.concatenate(([0], cloud.member[picked] + 1))
    moved_db = _moved_db(job.readings, heard, cloud, solved)
    shared_middle = _shared_db(job, heard, question, cloud, moved_db, solved)
    error_db = cloud.shared_db[picked] - shared_middle
    level = {}
    for index, source in enumerate(job.sources):
        factors = free.level[index][chosen]
        if source.id in heard.sources:
            column = heard.sources.index(source.id)
            drawn_db = cloud.level_db[column][picked]
            about_db = drawn_db - moved_db[source.id]
            factors = np.concatenate(([1.0], 10.0 ** (about_db / 10.0)))
        factors[1:] *= 10.0 ** (error_db / 10.0)
        level[source.id] = factors
    duty = {
        name: np.concatenate(([0.0], cloud.duty[column][picked]))
        for column, (name, span) in enumerate(zip(heard.sources, question.duty, strict=True))
        if span is not None
    }
    fitted = Fitted(
        count=count,
        seed=SEED,
        chosen=chosen,
        level=level,
        duty=duty,
        effective=cloud.effective,
        shift_db=shared_middle,
        places=_fitted_places(
            job, heard, question, places, cloud, moved_db, shared_middle, picked, solved
        ),
        tempered=cloud.tempered,
    )
    return Bound(
        fitted=fitted,
        cloud=cloud,
        question=question,
        readings=job.readings,
        sources=heard.sources,
        places=places,
        level_db=moved_db,
    )


def _moved_db(
    readings: Sequence[Reading], heard: Responses, cloud: Cloud, solved: Sequence[str]
) -> dict[str, float]:
    """By how much the levels of the sources are moved nominally.

    A solved level was found with those beside it as they are stated; where the readings move
    these, it moves with them, if some reading hears it without them. Else its middle hangs on how
    little is taken to be known of it beforehand, and all stay as found; so they do where all are
    solved.
    """
    heard_apart = {
        name
        for reading in readings
        if reading.shows == "value" and set(reading.sources) <= set(solved)
        for name in reading.sources
    }
    stay = set(solved) >= set(heard.sources) or not set(solved) <= heard_apart
    return {
        name: 0.0 if stay else cloud.middle(cloud.level_db[column])
        for column, name in enumerate(heard.sources)
    }


def _moved_strength(
    job: Job, heard: Responses, moved_db: Mapping[str, float], solved: Sequence[str]
) -> Floats:
    """By what the responses (s,) are multiplied once levels are moved."""
    strength = np.array([_strength(job, name, solved) for name in heard.sources])
    moved = np.array([moved_db[name] for name in heard.sources])
    return np.asarray(strength * 10.0 ** (moved / 10.0))


def _shared_db(
    job: Job,
    heard: Responses,
    question: Question,
    cloud: Cloud,
    moved_db: Mapping[str, float],
    solved: Sequence[str],
) -> float:
    """By how much readings indoors lie above the model, their places' own errors aside. [dB]"""
    levels = _moved_strength(job, heard, moved_db, solved)
    found = []
    for row in np.flatnonzero(question.indoors):
        without = cloud.expected_db[row] - cloud.place_db[question.place[row]]
        nominal_db = 10.0 * np.log10(heard.whole[row] @ levels)
        found.append(cloud.middle(without) - nominal_db)
    return float(np.mean(found)) if found else 0.0


def _fitted_places(
    job: Job,
    heard: Responses,
    question: Question,
    places: tuple[Error, ...],
    cloud: Cloud,
    moved_db: Mapping[str, float],
    shared_middle: float,
    picked: NDArray[np.int64],
    solved: Sequence[str],
) -> dict[str, FittedPlace]:
    """What readings at receivers tell of the model's errors there."""
    levels = _moved_strength(job, heard, moved_db, solved)
    assert question.plan is not None
    assert question.plan_sigma_db is not None
    found = {}
    for receiver in dict.fromkeys(error.place.receiver for error in places):
        here = [
            at
            for at, error in enumerate(places)
            if error.place.receiver == receiver
            and error.states == tuple(sorted(job.plan(error.plan).states.items()))
        ]
        if receiver is None or not here:
            continue
        here.sort(key=lambda at: (places[at].plan != AS_BUILT, -len(places[at].sources)))
        shifts, parts = [], []
        for at in here:
            row = int(np.flatnonzero(question.place == at)[0])
            nominal_db = 10.0 * np.log10(heard.whole[row] @ levels) + shared_middle
            shifts.append(cloud.middle(cloud.expected_db[row]) - nominal_db)
            parts.append(_parts(job, heard, row, levels))
        works = [question.plan[np.flatnonzero(question.place == at)[0]] for at in here]
        error_db = cloud.place_db[here][:, picked] + np.stack(
            [cloud.plan_db[each][picked] if each >= 0 else np.zeros(len(picked)) for each in works]
        )
        covariance = question.place_covariance_db2[np.ix_(here, here)].copy()
        for (own, work), (other, too) in itertools.product(enumerate(works), repeat=2):
            if work == too >= 0:  # what a plan's work is off by is one figure
                covariance[own, other] += question.plan_sigma_db[work] ** 2
        found[receiver] = FittedPlace(
            plans=tuple(places[at].plan for at in here),
            covariance_db2=covariance,
            work_db2=tuple(
                float(question.plan_sigma_db[work] ** 2) if work >= 0 else 0.0 for work in works
            ),
            error_db=np.column_stack((np.zeros(len(here)), error_db)),
            parts_w_m2=tuple(parts),
            shift_db=tuple(shifts),
        )
    return found
