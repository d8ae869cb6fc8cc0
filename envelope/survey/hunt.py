"""The leak that is left: which single fault explains the readings best, and how to be sure.

Each candidate is weighed by how likely it makes the readings, everything else that is uncertain
drawn as ever (`joint`); scans along joints count where the meter was held, cover tests as pairs
(`covering`). A hunt is a loop: the next test is the one whose outcome parts the places best, and
what it shows goes into the job and ranks them anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import CoverTest, Job, Scan
from envelope.building.model import Building
from envelope.building.selectors import match
from envelope.geometry.plane import Floats
from envelope.survey.binding import Bound
from envelope.survey.covering import (
    OUTCOMES_DB,
    SPOTS,
    Covering,
    Draws,
    bits,
    draws_of,
    log_likelihood,
    outcome_mass,
    probes_of,
)
from envelope.survey.faults import NEW_LEVEL_DB, PRIOR, SHARES, Effect, Fault, house_of
from envelope.survey.joint import Cloud, Question, settle, thinned
from envelope.survey.levels import at_stated_levels, bound_of

EACH = 4  # draws under each member of the sample
MEMBERS = 100  # of the sample: odds need fewer than ranges
# Decibels by which a meter that is moved along a joint shows more than one a metre off: where the
# joint leaks, and where only the room's field rises and falls; common practice, no source.
LEAKS_DB, LEAKS_SIGMA_DB = 12.0, 6.0
FADES_DB, FADES_SIGMA_DB = 4.0, 2.5
LIKELY = 0.02  # candidates below are not shown
ALIKE = 1.0  # squared distance below which readings part two places by 1.6 to 1 at best
STILL_OPEN = 0.2  # of the likeliest place's odds, below which scans or tests have told them apart
MOST_PANELS = 8  # that are tried as the next to cover


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A fault with how likely it is once the readings are known."""

    fault: Fault
    odds: float  # posterior probability, 0 to 1
    excess_db: float  # by which it raises the level of the reading that it raises most


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place to look at, with all the faults that may be there: what they are, looking tells."""

    name: str  # a panel, "outdoors", a source's name; "" for no fault
    odds: float
    excess_db: float
    suspects: tuple[Suspect, ...]  # the likeliest first


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """What to do next: cover faces, and read at the same spots before and under the foil."""

    on: str  # a face's id, or a group such as bedroom/windows
    panels: tuple[str, ...]
    at: str  # id of the reading beside which both are taken
    spots: int
    falls_db: float  # by how much, if the leak is there
    else_db: float  # by how much, if it is elsewhere
    tells_bits: float  # of which place it is


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hunt:
    """Suspects, the likeliest first, and the places where they are; “none” is among them."""

    suspects: tuple[Suspect, ...]
    places: tuple[Place, ...]
    alike: tuple[str, ...]  # places that the readings cannot tell from the likeliest one
    test: NextTest | None

    @property
    def likely(self) -> tuple[Suspect, ...]:
        """Those worth naming."""
        return tuple(each for each in self.suspects if each.odds >= LIKELY)

    @property
    def likely_places(self) -> tuple[Place, ...]:
        """Places worth naming."""
        return tuple(each for each in self.places if each.odds >= LIKELY)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tried:
    """One suspect as readings leave it."""

    fault: Fault
    log: float  # of its prior and of the evidence
    draws: Draws
    excess_db: Floats  # (r,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lineup:
    """Every suspect beside the readings; scans and cover tests are yet to be counted."""

    tried: tuple[Tried, ...]
    covering: Covering
    question: Question
    building: Building


def hunt(job: Job, *, bound: Bound | None = None) -> Hunt | None:
    """Rank the single faults that may explain what the readings show.

    Parameters
    ----------
    job : Job
        From `solve_levels`.
    bound : Bound, optional
        Of the job, where it is at hand.

    Returns
    -------
    hunt : Hunt or None
        None for a job without readings indoors.
    """
    bound = bound_of(job) if bound is None else bound
    if bound is None or not any(each.space for each in bound.readings):
        return None
    return ranked(line_up(job, bound), scans=job.scans, tests=job.cover_tests)


def line_up(job: Job, bound: Bound) -> Lineup:
    """Weigh every suspect by the readings.

    Parameters
    ----------
    job : Job
        From `solve_levels`.
    bound : Bound
        Of the job.
    """
    # what work may be off by is what the faults are to explain
    question = replace(thinned(bound.question, members=MEMBERS), plan=None, plan_sigma_db=None)
    count = len(bound.readings)
    probes = probes_of(job, bound)
    house = house_of(at_stated_levels(job), [*bound.readings, *probes.readings], bound.sources)
    without = settle(question, each=EACH)
    tried = []
    for effect in (None, *house.effects):
        fault = Fault(kind="none", prior=PRIOR["none"]) if effect is None else effect.fault
        changes = effect is not None and _matters(effect, question, count)
        cloud = without
        if effect is not None and changes:
            cloud = settle(_with(question, effect, count), each=EACH)
        tried.append(
            Tried(
                fault=fault,
                log=float(np.log(fault.prior)) + cloud.log_evidence,
                draws=draws_of(effect if changes else None, cloud),
                excess_db=_excess_db(cloud, without),
            )
        )
    covering = Covering(house, probes, first=count)
    return Lineup(tried=tuple(tried), covering=covering, question=question, building=job.building)


def ranked(lineup: Lineup, *, scans: Sequence[Scan], tests: Sequence[CoverTest]) -> Hunt:
    """Rank the suspects by readings, scans and cover tests, and find the next test.

    Parameters
    ----------
    lineup : Lineup
    scans : sequence of Scan
    tests : sequence of CoverTest
        At places that the lineup has.
    """
    tried = []
    for each in lineup.tried:
        told, draws = log_likelihood(tests, each.draws, lineup.covering)
        tried.append(replace(each, log=each.log + told + _scans(scans, each.fault), draws=draws))
    weight = np.exp(np.array([each.log for each in tried]) - max(each.log for each in tried))
    weight /= weight.sum()
    suspects = [
        Suspect(fault=each.fault, odds=float(odds), excess_db=float(each.excess_db.max()))
        for each, odds in zip(tried, weight, strict=True)
    ]
    suspects.sort(key=lambda each: (-each.odds, each.fault.kind, each.fault.panel))
    places = _places(suspects)
    return Hunt(
        suspects=tuple(suspects),
        places=places,
        alike=_alike(places, tried, weight, lineup.question),
        test=_next_test(places, tried, weight, lineup.covering, lineup.building),
    )


def _places(suspects: Sequence[Suspect]) -> tuple[Place, ...]:
    """Suspects put together by where they are, the likeliest place first."""
    by_place: dict[str, list[Suspect]] = {}
    for each in suspects:
        by_place.setdefault(each.fault.place, []).append(each)
    found = [
        Place(
            name=name,
            odds=sum(each.odds for each in some),
            excess_db=some[0].excess_db,
            suspects=tuple(some),
        )
        for name, some in by_place.items()
    ]
    return tuple(sorted(found, key=lambda each: (-each.odds, each.name)))


def _alike(
    places: Sequence[Place], tried: Sequence[Tried], weight: Floats, question: Question
) -> tuple[str, ...]:
    """Places whose readings would differ from the likeliest one's by less than they scatter.

    Half the squared distance is what the readings bring, on the mean, to the logarithm of the odds.
    """
    named = [each for each in places if each.name and each.odds >= LIKELY]
    if len(named) < 2:
        return ()
    covariance = np.diag([each.spread_db() ** 2 for each in question.noise])
    covariance += question.shared_sigma_db**2 * np.outer(question.indoors, question.indoors)
    here = np.flatnonzero(question.place >= 0)
    at = question.place[here]
    covariance[np.ix_(here, here)] += question.place_covariance_db2[np.ix_(at, at)]
    same = question.meter[:, np.newaxis] == question.meter
    covariance += same * np.outer(question.meter_sigma_db, question.meter_sigma_db)
    inverse = np.linalg.inv(covariance)

    def excess(name: str) -> Floats:
        rows = [row for row, each in enumerate(tried) if each.fault.place == name]
        odds = weight[rows] / weight[rows].sum()
        return np.asarray(odds @ np.stack([tried[row].excess_db for row in rows]))

    first = excess(named[0].name)
    found = []
    for each in named[1:]:
        apart = excess(each.name) - first
        if each.odds >= STILL_OPEN * named[0].odds and apart @ inverse @ apart < ALIKE:
            found.append(each.name)
    return tuple(found)


def _matters(effect: Effect, question: Question, count: int) -> bool:
    """Whether a fault changes any of so many readings by more than nothing."""
    if effect.new_w_m2 is not None:
        return bool((effect.new_w_m2[:count] > 0.0).any())
    nominal = question.response_w_m2.mean(axis=2).sum(axis=1)
    return bool((np.abs(effect.added_w_m2[:count].sum(axis=1)) > 1e-3 * nominal).any())


def _with(question: Question, effect: Effect, count: int) -> Question:
    """The question, of so many readings, with a fault in the house."""
    if effect.new_w_m2 is None:
        share = SHARES[effect.fault.kind]
        return replace(question, fault_w_m2=effect.added_w_m2[:count], fault_share=share)
    members = question.response_w_m2.shape[2]
    new = np.repeat(effect.new_w_m2[:count, np.newaxis, np.newaxis], members, axis=2)
    return replace(
        question,
        response_w_m2=np.concatenate((question.response_w_m2, new), axis=1),
        level_sigma_db=np.append(question.level_sigma_db, NEW_LEVEL_DB),
        duty=(*question.duty, None),
    )


def _scans(scans: Sequence[Scan], fault: Fault) -> float:
    """Log likelihood of the scans under a fault, beside that of a house without one."""
    found = 0.0
    for scan in scans:
        above_db = 10.0 * float(np.log10(scan.level_w_m2 / scan.beside_w_m2))
        if fault.panel and (scan.along == fault.panel or scan.along.startswith(f"{fault.panel}/")):
            found += _log_normal(above_db, LEAKS_DB, LEAKS_SIGMA_DB)
            found -= _log_normal(above_db, FADES_DB, FADES_SIGMA_DB)
    return found


def _log_normal(value: float, mean: float, sigma: float) -> float:
    return float(-0.5 * ((value - mean) / sigma) ** 2 - np.log(sigma))


def _excess_db(cloud: Cloud, without: Cloud) -> Floats:
    """By how much readings (r,) stand above the house without the fault, places' errors aside."""
    with_it = cloud.without_errors_db @ cloud.weight
    return np.asarray(with_it - without.without_errors_db @ without.weight)


# -- the next test -------------------------------------------------------------------------------


def _next_test(
    places: Sequence[Place],
    tried: Sequence[Tried],
    weight: Floats,
    covering: Covering,
    building: Building,
) -> NextTest | None:
    """What to cover next: that whose pair of readings parts the places best."""
    names = [each.name for each in places]
    number = np.array([names.index(each.fault.place) for each in tried])
    odds = np.bincount(number, weights=weight, minlength=len(names)).astype(np.float64)
    faces = {each.fault.panel for each in tried if each.fault.panel}
    worth = [each.name for each in places if each.odds >= LIKELY and each.name in faces]
    best: NextTest | None = None
    for on, panels in _coverable(building, worth[:MOST_PANELS]):
        there = np.array([name in panels for name in names])
        for probe, at in covering.probes.beside.items():
            mass = np.zeros((len(OUTCOMES_DB), len(names)))
            falls = np.zeros(len(names))
            for own, each, place in zip(weight, tried, number, strict=True):
                pair = covering.pair(each.draws, panels=panels, probe=probe, spots=SPOTS)
                mass[:, place] += own * outcome_mass(pair, each.draws.weight)
                falls[place] -= own * float(each.draws.weight @ pair.change_db)
            told = bits(odds, mass / np.maximum(mass.sum(axis=0), 1e-300))
            if best is None or told > best.tells_bits:
                best = NextTest(
                    on=on,
                    panels=panels,
                    at=at,
                    spots=SPOTS,
                    falls_db=float(falls[there].sum() / max(odds[there].sum(), 1e-12)),
                    else_db=float(falls[~there].sum() / max(odds[~there].sum(), 1e-12)),
                    tells_bits=told,
                )
    return best


def _coverable(building: Building, faces: Sequence[str]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """What foil may cover at once, by what people call it: a face, or all openings of a room."""
    for name in faces:
        yield name, (name,)
    for room in dict.fromkeys(building.panel(name).space for name in faces):
        before: tuple[str, ...] = ()
        for group in ("windows", "openings"):
            panels = match(building.panels, f"{room}/{group}")
            if len(panels) > 1 and panels != before and set(panels) & set(faces):
                yield f"{room}/{group}", panels
            before = panels
