"""Everything uncertain at once, as readings leave it: plain functions on arrays.

    reading = meter + error at its place + shared error + log Σ levels × responses(figures) + noise

Figures of walls, directions and furnishing are a sample; under each of its members the rest is
nearly normal in decibels. So every member gets the levels and errors that fit the readings best,
a normal cloud about them, and a weight by the exact likelihood (importance sampling). What a
reading and a prediction share, such as one wall's error, is one and the same member in both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from envelope.building.unknowns import DUTY
from envelope.exposure.tolerances import TENTH, spread_over
from envelope.geometry.plane import Floats
from envelope.physics.normal import normal_deviates
from envelope.survey.noise import Noise

SEED = 90_217
CLOUD = 1.1  # width of what is drawn over that of the normal cloud: tails stay covered
STEPS = 25
MOST_STEP = 2.0  # standard deviations at once
STILL = 1e-3
LEAST_W_M2 = 1e-30
# The model's shared error is now and then far larger than usual, where a file is wrong: Student's t
# with so many degrees of freedom, put to the same 10–90 % range as a normal deviate.
FREEDOM = 4.0
_T_TENTH = 1.5332063  # its ninetieth percentile
FEW = 40.0  # effective members below which no band may rest on them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """Readings (r), sources (s), members of the sample (k), errors at places (c), meters (m)."""

    shown_db: Floats  # (r,)
    noise: Sequence[Noise]  # (r,)
    response_w_m2: Floats  # (r, s, k) at the level that each source is taken to have; 0: not heard
    level_sigma_db: Floats  # (s,) of that level; large where nothing is known of it
    duty_open: NDArray[np.bool_]  # (s,) nobody states which share of the time it sends
    peak: NDArray[np.bool_]  # (r,) shows the level while sources send
    shared_sigma_db: float  # of the model's error, one for all places indoors
    indoors: NDArray[np.bool_]  # (r,)
    meter: NDArray[np.int64]  # (r,)
    meter_sigma_db: Floats  # (r,)
    place: NDArray[np.int64]  # (r,) −1 where there is none
    place_covariance_db2: Floats  # (c, c)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cloud:
    """Weighted draws (n,) of everything."""

    member: NDArray[np.int64]  # (n,) of the sample
    weight: Floats  # (n,) adds up to 1
    level_db: Floats  # (s, n) about the level that each source is taken to have, duty included
    duty: Floats  # (s, n) deviates
    shared_db: Floats  # (n,)
    place_db: Floats  # (c, n)
    expected_db: Floats  # (r, n) what a meter without error would show, fading aside
    log_evidence: float  # of the readings: what one explanation is weighed against another by
    tempered: float  # below 1 where weights were flattened to keep bands from a handful

    @property
    def effective(self) -> float:
        """How many independent members of the sample the draws are worth."""
        by_member = np.bincount(self.member, weights=self.weight)
        return float(1.0 / (by_member**2).sum())

    def picked(self, count: int) -> NDArray[np.int64]:
        """Indexes (count,) of draws that then all weigh alike: systematic resampling."""
        ends = np.cumsum(self.weight)
        at = (np.arange(count) + 0.5) / count * ends[-1]
        return np.asarray(np.minimum(np.searchsorted(ends, at), len(ends) - 1), dtype=np.int64)


def settle(question: Question, *, each: int = 8) -> Cloud:
    """Draw everything as the readings leave it.

    Parameters
    ----------
    question : Question
    each : int
        Draws under each member of the sample.
    """
    random = np.random.default_rng(SEED)
    members = question.response_w_m2.shape[2]
    member = np.repeat(np.arange(members), each)
    duty = _duty_deviates(question, len(member), random)
    problem = _Problem(question, member, duty, _scales(len(member), random))
    best = problem.best()
    log_likelihood, _, curve = problem.at(best)
    factor = np.linalg.cholesky(curve)
    noise = random.standard_normal(best.shape)
    drawn = (
        best + CLOUD * np.linalg.solve(np.swapaxes(factor, 1, 2), noise[..., np.newaxis])[..., 0]
    )
    log_likelihood, expected_db, _ = problem.at(drawn)
    log_drawn = (
        -0.5 * (noise**2).sum(axis=1)
        + np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
        - best.shape[1] * np.log(CLOUD)
    )
    log_weight = log_likelihood - 0.5 * (drawn**2).sum(axis=1) - log_drawn
    top = float(log_weight.max())
    evidence = top + float(np.log(np.exp(log_weight - top).mean()))
    weight, tempered = _steady(log_weight - top, member)
    levels, shared, places = problem.parts(drawn)
    return Cloud(
        member=member,
        weight=weight,
        level_db=levels + problem.duty_db,
        duty=duty,
        shared_db=shared,
        place_db=places,
        expected_db=expected_db.T,
        log_evidence=evidence,
        tempered=tempered,
    )


def _duty_deviates(question: Question, count: int, random: np.random.Generator) -> Floats:
    """Deviates (s, count) of the duties that nobody states, each from strata of its own."""
    found = np.zeros((len(question.duty_open), count))
    for source in np.flatnonzero(question.duty_open):
        strata = (random.permutation(count) + 0.5) / count
        found[source] = normal_deviates(strata) / TENTH
    return found


def _scales(count: int, random: np.random.Generator) -> Floats:
    """Factors (count,) on the spread of the shared error, from strata."""
    strata = (random.permutation(count) + 0.5) / count
    chi_squared = 2.0 * gammaincinv(0.5 * FREEDOM, strata)
    return np.asarray(TENTH / _T_TENTH * np.sqrt(FREEDOM / chi_squared))


def _steady(log_weight: Floats, member: NDArray[np.int64]) -> tuple[Floats, float]:
    """Weights that add up to 1, flattened where too few members would hold all of them."""

    def flattened(power: float) -> tuple[Floats, float]:
        weight = np.exp(power * log_weight)
        weight /= weight.sum()
        by_member = np.bincount(member, weights=weight)
        return weight, float(1.0 / (by_member**2).sum())

    members = len(np.unique(member))
    wanted = min(FEW, 0.5 * members)
    weight, effective = flattened(1.0)
    if effective >= wanted:
        return weight, 1.0
    low, high = 0.0, 1.0
    for _ in range(30):
        power = 0.5 * (low + high)
        weight, effective = flattened(power)
        low, high = (power, high) if effective >= wanted else (low, power)
    return flattened(low)[0], low


class _Problem:
    """Log likelihood of the readings over unit deviates of levels, errors and meters (n, z)."""

    def __init__(
        self, question: Question, member: NDArray[np.int64], duty: Floats, scale: Floats
    ) -> None:
        self._question = question
        self._scale = scale
        readings, sources, _ = question.response_w_m2.shape
        self._sources = sources
        meters = int(question.meter.max(initial=-1)) + 1
        # where errors move a reading: shared, meters, places
        covariance = question.place_covariance_db2
        root = _root(covariance)
        slopes = np.zeros((readings, 1 + meters + len(covariance)))
        slopes[:, 0] = question.shared_sigma_db * question.indoors
        slopes[np.arange(readings), 1 + question.meter] = question.meter_sigma_db
        here = question.place >= 0
        slopes[here, 1 + meters :] = root[question.place[here]]
        self._slopes, self._root, self._first_place = slopes, root, 1 + meters
        factor = spread_over(DUTY, duty)  # (s, n)
        factor = np.where(question.duty_open[:, np.newaxis], factor, 1.0)
        self.duty_db = 10.0 * np.log10(factor)
        response = question.response_w_m2[:, :, member]
        averages = ~question.peak
        self._response = np.where(averages[:, np.newaxis, np.newaxis], response * factor, response)

    def at(self, place: Floats) -> tuple[Floats, Floats, Floats]:
        """Log likelihood (n,), expected readings (n, r), curvature of the posterior (n, z, z)."""
        value, expected, _, curve = self._whole(place)
        return value, expected, curve

    def _whole(self, place: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        question, sources = self._question, self._sources
        levels = place[:, :sources].T * question.level_sigma_db[:, np.newaxis]  # (s, n)
        power = self._response * 10.0 ** (levels / 10.0)  # (r, s, n)
        total = np.maximum(power.sum(axis=1), LEAST_W_M2)
        common = (self._scale * place[:, sources])[:, np.newaxis] * self._slopes[:, 0]
        errors = common + place[:, sources + 1 :] @ self._slopes[:, 1:].T  # (n, r)
        expected = 10.0 * np.log10(total.T)
        share = (power / total[:, np.newaxis]) * question.level_sigma_db[:, np.newaxis]
        of_errors = np.repeat(self._slopes[np.newaxis], len(place), axis=0)
        of_errors[:, :, 0] *= self._scale[:, np.newaxis]
        slope = np.concatenate((share.transpose(2, 0, 1), of_errors), axis=2)  # (n, r, z)
        value = np.zeros(len(place))
        pull, bend = np.zeros(expected.shape), np.zeros(expected.shape)
        for row, noise in enumerate(question.noise):
            miss = question.shown_db[row] - expected[:, row] - errors[:, row]
            log, pull[:, row], bend[:, row] = noise.at(miss)
            value += log
        gradient = -np.einsum("nr,nrz->nz", pull, slope) - place
        curve = np.einsum("nrz,nr,nry->nzy", slope, -bend, slope) + np.eye(place.shape[1])
        places = place[:, sources + self._first_place :] @ self._slopes[:, self._first_place :].T
        return value, expected + common + places, gradient, curve

    def best(self) -> Floats:
        """Deviates (n, z) under which the readings are likeliest: Newton's steps, shortened."""
        count = self._response.shape[2]
        place = np.zeros((count, self._sources + self._slopes.shape[1]))
        value, _, gradient, curve = self._whole(place)
        value = value - 0.5 * (place**2).sum(axis=1)
        reach = np.ones((count, 1))
        for _ in range(STEPS):
            step = np.linalg.solve(curve, gradient[..., np.newaxis])[..., 0]
            longest = np.abs(step).max(axis=1, keepdims=True)
            if float((longest * reach).max()) < STILL:
                break
            there = place + reach * step * np.minimum(1.0, MOST_STEP / np.maximum(longest, STILL))
            new, _, new_gradient, new_curve = self._whole(there)
            new = new - 0.5 * (there**2).sum(axis=1)
            better = new >= value
            place[better], value[better] = there[better], new[better]
            gradient[better], curve[better] = new_gradient[better], new_curve[better]
            reach = np.where(better[:, np.newaxis], np.minimum(2.0 * reach, 1.0), 0.25 * reach)
        return place

    def parts(self, place: Floats) -> tuple[Floats, Floats, Floats]:
        """Levels (s, n), the shared error (n,) and errors at places (c, n). [dB]"""
        sources = self._sources
        levels = place[:, :sources].T * self._question.level_sigma_db[:, np.newaxis]
        places = self._root @ place[:, sources + self._first_place :].T
        shared = self._question.shared_sigma_db * self._scale * place[:, sources]
        return levels, shared, places


def _root(covariance: Floats) -> Floats:
    """A matrix whose product with its transpose is the covariance."""
    values, vectors = np.linalg.eigh(covariance) if len(covariance) else (np.zeros(0), covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
