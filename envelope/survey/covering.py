"""Cover tests: faces under foil for a moment, the meter at the same spots before and under it.

    suspects' draws ─→ power at the spots without the foil and with it ─→ what the pair would show

The meter's error, the place's and the shared one cancel in such a pair. What is left is fading:
where the foil takes away a share f of a diffuse field, the field after it is correlated with the
one before by 1 − f in power, and their logarithms by somewhat less.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.job import CoverTest, Job, Reading
from envelope.exposure.tolerances import TENTH
from envelope.geometry.plane import Floats
from envelope.survey.binding import Bound
from envelope.survey.faults import Effect, House
from envelope.survey.joint import Cloud
from envelope.survey.noise import fading_sigma_db
from envelope.survey.responses import bed_of
from envelope.survey.solving import AGAIN_DB

SPOTS = 9  # about the bed, the same ones both times; common practice, no source
# What a face under foil still lets through, edges taped to what is around it; the same.
FOIL_LEFT = 10.0**-1.5
OUTCOMES_DB = np.arange(-40.0, 15.01, 0.5)
TERMS = 60  # of the series; what is left out of the covariance is below 2e-4
_PER_DB = np.log(10.0) / 10.0
LEAST_LEFT = 0.02  # of the power at a place, whatever a fault takes away


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """A suspect's draws (n,) of what is uncertain, with their weights."""

    effect: Effect | None  # None: nothing but what the file has
    weight: Floats  # (n,)
    level: Floats  # (s, n) factors on the levels of the sources, a new one last
    share: Floats  # (n,) of the fault


def draws_of(effect: Effect | None, cloud: Cloud) -> Draws:
    """What a cloud says of one suspect."""
    return Draws(
        effect=effect,
        weight=cloud.weight,
        level=10.0 ** (cloud.level_db / 10.0),
        share=cloud.share,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Probes:
    """Where the pairs of cover tests are read: those of the job, and those it may do next."""

    readings: tuple[Reading, ...]
    beside: Mapping[int, str]  # of places for the next test: the id of the reading taken there

    def of(self, test: CoverTest) -> int:
        """Which of the places a test was read at."""
        at = _key(test.space, test.position_m, test.plan)
        keys = [_key(each.space, each.position_m, each.plan.id) for each in self.readings]
        return keys.index(at)


def _key(space: str | None, position_m: Floats, plan: str) -> object:
    return space, tuple(float(each) for each in position_m), plan


def probes_of(job: Job, bound: Bound) -> Probes:
    """Places of the job's cover tests, and of the next one.

    That is at beds after the last work that was read there, or, where no bed was read, elsewhere.
    """
    names = tuple(source.id for source in job.sources)
    last = {visit.id: number for number, visit in enumerate(job.visits)}
    inside = [each for each in bound.readings if each.space is not None]
    treated = [each for each in inside if each.plan.treatments] or inside
    newest = max((last.get(each.visit or "", -1) for each in treated), default=-1)
    latest = [each for each in treated if last.get(each.visit or "", -1) == newest]
    at_beds = [each for each in latest if bed_of(job, each)]
    beside: dict[object, Reading] = {}
    for each in at_beds or latest:
        beside.setdefault(_key(each.space, each.position_m, each.plan.id), each)
    found: dict[object, Reading] = {}
    for key, each in beside.items():
        found[key] = Reading(
            id=f"next:{each.id}", sources=names, space=each.space, position_m=each.position_m,
            receiver=each.receiver, level_w_m2=each.level_w_m2, plan=each.plan, spots=SPOTS,
        )  # fmt: skip
    for test in job.cover_tests:
        key = _key(test.space, test.position_m, test.plan)
        if key not in found:
            found[key] = Reading(
                id=f"cover:{test.id}", sources=names, space=test.space,
                position_m=test.position_m, receiver=test.receiver, level_w_m2=test.level_w_m2,
                plan=job.plan(test.plan), spots=test.spots,
            )  # fmt: skip
    return Probes(
        readings=tuple(found.values()),
        beside={row: each.id for row, each in enumerate(beside.values())},
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pair:
    """What a cover test would show in a suspect's draws (n,). [dB]"""

    change_db: Floats  # by which the level under the foil differs from the one without
    sigma_db: Floats

    def log_likelihood(self, change_db: float) -> Floats:
        """Of what was found, in each draw."""
        away = (change_db - self.change_db) / self.sigma_db
        return np.asarray(-0.5 * away**2 - np.log(self.sigma_db * np.sqrt(2.0 * np.pi)))


class Covering:
    """What covering faces would show, suspect by suspect."""

    def __init__(self, house: House, probes: Probes, *, first: int) -> None:
        self._house = house
        self._first = first  # row of the house's readings from which the probes stand
        self.probes = probes
        self._known: dict[tuple[tuple[str, ...], int], tuple[Floats, dict[str, float]]] = {}

    def pair(self, draws: Draws, *, panels: tuple[str, ...], probe: int, spots: int) -> Pair:
        """Faces covered, read at one place, if a suspect is the right one.

        Parameters
        ----------
        draws : Draws
            Of the suspect.
        panels : tuple of str
            Ids of the faces under foil.
        probe : int
            Which of the probes the place is.
        spots : int
            Averaged, the same ones without the foil and with it.
        """
        row = self._first + probe
        if (panels, row) not in self._known:
            self._known[panels, row] = self._house.covered(panels, row)
        under, new_under = self._known[panels, row]
        effect, sources = draws.effect, len(under)
        level = draws.level[:sources]
        bare = self._house.plain_w_m2[row] @ level
        foil = under @ level
        before, after = bare, foil
        if effect is not None and effect.new_w_m2 is not None:
            before = bare + effect.new_w_m2[row] * draws.level[sources]
            after = foil + new_under[effect.fault.source] * draws.level[sources]
        elif effect is not None:
            added = draws.share * (effect.added_w_m2[row] @ level)
            left = FOIL_LEFT if effect.fault.panel in panels else 1.0
            before, after = bare + added, foil + left * added
        before = np.maximum(before, LEAST_LEFT * bare)
        after = np.maximum(after, LEAST_LEFT * foil)
        ratio = after / before
        taken = 1.0 - np.minimum(ratio, 1.0 / ratio)
        return Pair(change_db=10.0 * np.log10(ratio), sigma_db=pair_sigma_db(taken, spots=spots))


def pair_sigma_db(taken: Floats, *, spots: int) -> Floats:
    """Standard deviation of the change between two readings at the same spots of a room. [dB]

    Parameters
    ----------
    taken : (n,) float
        Share of the diffuse field's power that only one of the two has, 0 to 1. [-]
    spots : int
        Averaged.

    Notes
    -----
    Means over n spots of two complex normal fields with correlation ρ are gamma variates whose
    joint density is a series in Laguerre polynomials (Kibble's). Their logarithms have the
    covariance Σ_k (k−1)! Γ(n) ρ^2k / (k Γ(n+k)), by Rodrigues' formula and k partial integrations:
    Li₂(ρ²) at one spot, ψ′(n) where ρ is 1. What is repeated at once adds its own scatter twice.

    Examples
    --------
    >>> pair_sigma_db(np.array([0.0, 1.0]), spots=1).round(2).tolist()
    [1.1, 7.95]
    """
    covariance = _log_covariance(1.0 - np.clip(taken, 0.0, 1.0), spots) / _PER_DB**2
    fading, again = fading_sigma_db(float(spots)), AGAIN_DB / TENTH
    return np.asarray(np.sqrt(2.0 * np.maximum(fading**2 - covariance, 0.0) + 2.0 * again**2))


def _log_covariance(square: Floats, spots: int) -> Floats:
    """Covariance of the logarithms of two fading means whose ρ² (n,) is given."""
    from scipy.special import gammaln, spence  # takes long to import

    if spots == 1:
        return np.asarray(spence(1.0 - square))
    order = np.arange(1, TERMS + 1)
    factor = np.exp(gammaln(order) + gammaln(spots) - gammaln(spots + order)) / order
    return np.asarray(np.polynomial.polynomial.polyval(square, np.append(0.0, factor)))


def log_likelihood(
    tests: Sequence[CoverTest], draws: Draws, covering: Covering
) -> tuple[float, Draws]:
    """Log likelihood of cover tests under a suspect, and its draws as they leave them.

    Parameters
    ----------
    tests : sequence of CoverTest
    draws : Draws
    covering : Covering
    """
    log = np.zeros(len(draws.weight))
    for test in tests:
        probe = covering.probes.of(test)
        pair = covering.pair(draws, panels=test.panels, probe=probe, spots=test.spots)
        change = 10.0 * float(np.log10(test.level_w_m2 / test.uncovered_w_m2))
        log += pair.log_likelihood(change)
    if not tests:
        return 0.0, draws
    top = float(log.max())
    weight = draws.weight * np.exp(log - top)
    total = float(weight.sum())
    after = Draws(effect=draws.effect, weight=weight / total, level=draws.level, share=draws.share)
    return top + float(np.log(total)), after


def outcome_mass(pair: Pair, weight: Floats) -> Floats:
    """How likely each outcome (o,) of a test is under a suspect."""
    away = (OUTCOMES_DB[:, np.newaxis] - pair.change_db) / pair.sigma_db
    mass = (np.exp(-0.5 * away**2) / pair.sigma_db) @ weight + 1e-9
    return np.asarray(mass / mass.sum())


def bits(odds: Floats, mass: Floats) -> float:
    """What an outcome tells of which suspect it is: mutual information. [bit]

    Parameters
    ----------
    odds : (c,) float
        Of the suspects.
    mass : (o, c) float
        Of the outcomes under each.

    Examples
    --------
    >>> sure = np.array([[1.0, 0.0], [0.0, 1.0]])
    >>> round(bits(np.array([0.5, 0.5]), np.maximum(sure, 1e-12)), 6)
    1.0
    """
    whole = mass @ odds
    return float((mass * np.log2(mass / whole[:, np.newaxis])).sum(axis=0) @ odds)
