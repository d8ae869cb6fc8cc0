"""Everything uncertain at once, as readings leave it: plain functions on arrays.

    reading = meter + error at its place + shared error + log Σ levels × responses(figures) + noise

Figures of walls, directions and furnishing are a sample; under each of its members the rest is
nearly normal in decibels. So every member gets the levels and errors that fit the readings best,
a normal cloud about them, and a weight by the exact likelihood (importance sampling). What a
reading and a prediction share, such as one wall's error, is one and the same member in both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

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
LEAST_LEFT = 0.05  # of a response that a fault may take away, where it makes a room less live
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
    # what a plan's work may be off by everywhere alike: which plan each reading is of, −1 for none
    plan: NDArray[np.int64] | None = None  # (r,)
    plan_sigma_db: Floats | None = None  # (p,)
    # what a fault adds to the responses where all of it is there, and how much of it may be there
    fault_w_m2: Floats | None = None  # (r, s)
    fault_share: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cloud:
    """Weighted draws (n,) of everything."""

    member: NDArray[np.int64]  # (n,) of the sample
    weight: Floats  # (n,) adds up to 1
    share: Floats  # (n,) how much of the fault is there
    level_db: Floats  # (s, n) about the level that each source is taken to have, duty included
    duty: Floats  # (s, n) deviates
    shared_db: Floats  # (n,)
    place_db: Floats  # (c, n)
    plan_db: Floats  # (p, n)
    expected_db: Floats  # (r, n) what a meter without error would show, fading aside
    without_errors_db: Floats  # (r, n) the same without the model's errors
    log_evidence: float  # of the readings: what one explanation is weighed against another by
    tempered: float  # below 1 where weights were flattened to keep bands from a handful

    @property
    def effective(self) -> float:
        """How many independent members of the sample the draws are worth."""
        by_member = np.bincount(self.member, weights=self.weight)
        return float(1.0 / (by_member**2).sum())

    def middle(self, values: Floats) -> float:
        """Median of values (n,), each with its draw's weight."""
        return self.quantile(values, 0.5)

    def quantile(self, values: Floats, share: float) -> float:
        """Value that so large a share of values (n,) lies below, each with its draw's weight."""
        order = np.argsort(values)
        below = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return float(np.interp(share, below, values[order]))

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
    plans = 0 if question.plan_sigma_db is None else len(question.plan_sigma_db)
    scale = np.stack([_scales(len(member), random) for _ in range(1 + plans)])
    share = _shares(question, len(member), random)
    problem = _Problem(question, member, duty, scale, share)
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
        share=share,
        level_db=levels + problem.duty_db,
        duty=duty,
        shared_db=shared,
        place_db=places,
        plan_db=problem.plans(drawn),
        expected_db=expected_db.T,
        without_errors_db=problem.levels_db(drawn),
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


def _shares(question: Question, count: int, random: np.random.Generator) -> Floats:
    """How much of a fault is there (count,), from strata even in the logarithm."""
    low, high = np.log(question.fault_share)
    strata = (random.permutation(count) + 0.5) / count
    return np.asarray(np.exp(low + (high - low) * strata))


def _steady(log_weight: Floats, member: NDArray[np.int64]) -> tuple[Floats, float]:
    """Weights that add up to 1, flattened where too few members would hold all of them.

    Members are flattened, not the draws under each: under every one of them levels and errors
    still fit the readings.
    """
    count = int(member.max()) + 1
    within = np.exp(log_weight - _top(log_weight, member, count)[member])
    sums = np.bincount(member, weights=within, minlength=count)
    with np.errstate(divide="ignore"):
        log_member = np.log(sums) + _top(log_weight, member, count)
    log_member -= log_member.max()

    def flattened(power: float) -> tuple[Floats, float]:
        weight = np.exp(power * log_member)
        weight /= weight.sum()
        return weight, float(1.0 / (weight**2).sum())

    wanted = min(FEW, 0.5 * count)
    weight, effective = flattened(1.0)
    power = 1.0
    if effective < wanted:
        low, high = 0.0, 1.0
        for _ in range(30):
            power = 0.5 * (low + high)
            weight, effective = flattened(power)
            low, high = (power, high) if effective >= wanted else (low, power)
        power = low
        weight = flattened(low)[0]
    return weight[member] * within / sums[member], power


def _top(log_weight: Floats, member: NDArray[np.int64], count: int) -> Floats:
    """The greatest of each member's (count,)."""
    found = np.full(count, -np.inf)
    np.maximum.at(found, member, log_weight)
    return np.where(np.isfinite(found), found, 0.0)


def part_of(question: Question, rows: Sequence[int]) -> Question:
    """The question with some of its readings."""
    chosen = np.array(rows, dtype=np.int64)
    return replace(
        question,
        shown_db=question.shown_db[chosen],
        noise=[question.noise[row] for row in rows],
        response_w_m2=question.response_w_m2[chosen],
        peak=question.peak[chosen],
        indoors=question.indoors[chosen],
        meter=question.meter[chosen],
        meter_sigma_db=question.meter_sigma_db[chosen],
        place=question.place[chosen],
        plan=None if question.plan is None else question.plan[chosen],
        fault_w_m2=None if question.fault_w_m2 is None else question.fault_w_m2[chosen],
    )


def thinned(question: Question, *, members: int) -> Question:
    """The question with part of its sample: odds need fewer members than ranges."""
    step = max(1, question.response_w_m2.shape[2] // members)
    return replace(question, response_w_m2=question.response_w_m2[:, :, ::step])


class _Problem:
    """Log likelihood of the readings over unit deviates of levels, errors and meters (n, z)."""

    def __init__(
        self,
        question: Question,
        member: NDArray[np.int64],
        duty: Floats,
        scale: Floats,
        share: Floats,
    ) -> None:
        self._question = question
        self._scale = scale
        readings, sources, _ = question.response_w_m2.shape
        self._sources = sources
        meters = int(question.meter.max(initial=-1)) + 1
        # where errors move a reading: shared and plans, whose tails are long; meters, places
        covariance = question.place_covariance_db2
        root = _root(covariance)
        long = len(scale)
        slopes = np.zeros((readings, long + meters + len(covariance)))
        slopes[:, 0] = question.shared_sigma_db * question.indoors
        if question.plan is not None and question.plan_sigma_db is not None:
            of_plan = np.flatnonzero(question.plan >= 0)
            numbers = question.plan[of_plan]
            slopes[of_plan, 1 + numbers] = question.plan_sigma_db[numbers]
        slopes[np.arange(readings), long + question.meter] = question.meter_sigma_db
        here = question.place >= 0
        slopes[here, long + meters :] = root[question.place[here]]
        self._slopes, self._root, self._first_place = slopes, root, long + meters
        factor = spread_over(DUTY, duty)  # (s, n)
        factor = np.where(question.duty_open[:, np.newaxis], factor, 1.0)
        self.duty_db = 10.0 * np.log10(factor)
        response = question.response_w_m2[:, :, member]
        averages = ~question.peak
        if question.fault_w_m2 is not None:
            added = question.fault_w_m2[:, :, np.newaxis] * share
            response = np.maximum(response + added, LEAST_LEFT * response)
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
        long = len(self._scale)
        common = (self._scale.T * place[:, sources : sources + long]) @ self._slopes[:, :long].T
        errors = common + place[:, sources + long :] @ self._slopes[:, long:].T  # (n, r)
        expected = 10.0 * np.log10(total.T)
        share = (power / total[:, np.newaxis]) * question.level_sigma_db[:, np.newaxis]
        of_errors = np.repeat(self._slopes[np.newaxis], len(place), axis=0)
        of_errors[:, :, :long] *= self._scale.T[:, np.newaxis]
        slope = np.concatenate((share.transpose(2, 0, 1), of_errors), axis=2)  # (n, r, z)
        value = np.zeros(len(place))
        pull, bend = np.zeros(expected.shape), np.zeros(expected.shape)
        for row, noise in enumerate(question.noise):
            miss = question.shown_db[row] - expected[:, row] - errors[:, row]
            log, pull[:, row], bend[:, row] = noise.at(miss)
            value += log
        gradient = -(pull[:, np.newaxis] @ slope)[:, 0] - place
        bent = slope * -bend[:, :, np.newaxis]
        curve = np.swapaxes(bent, 1, 2) @ slope + np.eye(place.shape[1])
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

    def levels_db(self, place: Floats) -> Floats:
        """Levels (r, n) at the readings, without any error of the model. [dB]"""
        levels = place[:, : self._sources].T * self._question.level_sigma_db[:, np.newaxis]
        power = (self._response * 10.0 ** (levels / 10.0)).sum(axis=1)
        return np.asarray(10.0 * np.log10(np.maximum(power, LEAST_W_M2)))

    def parts(self, place: Floats) -> tuple[Floats, Floats, Floats]:
        """Levels (s, n), the shared error (n,) and errors at places (c, n). [dB]"""
        sources = self._sources
        levels = place[:, :sources].T * self._question.level_sigma_db[:, np.newaxis]
        places = self._root @ place[:, sources + self._first_place :].T
        shared = self._question.shared_sigma_db * self._scale[0] * place[:, sources]
        return levels, shared, places

    def plans(self, place: Floats) -> Floats:
        """What each plan's work is off by (p, n). [dB]"""
        sigma = self._question.plan_sigma_db
        if sigma is None:
            return np.zeros((0, len(place)))
        at = slice(self._sources + 1, self._sources + 1 + len(sigma))
        return np.asarray(sigma[:, np.newaxis] * self._scale[1:] * place[:, at].T)


def _root(covariance: Floats) -> Floats:
    """A matrix whose product with its transpose is the covariance."""
    values, vectors = np.linalg.eigh(covariance) if len(covariance) else (np.zeros(0), covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
