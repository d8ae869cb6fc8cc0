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

from envelope.building.unknowns import Range3
from envelope.exposure.tolerances import TENTH, over_middle
from envelope.geometry.plane import Floats
from envelope.physics.normal import normal_deviates
from envelope.survey.noise import Noise

SEED = 90_217
CLOUD = 1.1  # width of what is drawn over that of the normal cloud: tails stay covered
STEPS = 25
AT_ONCE = 4_000_000  # entries of slopes or curvatures: more take memory and no less time
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
    # (s,) of the share of the time that it sends, whose middle the responses have; None: stated
    duty: Sequence[Range3 | None]
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
    noise = random.standard_normal((len(member), _deviates(question)))
    deviates, readings = noise.shape[1], len(question.shown_db)
    at_once = max(AT_ONCE // (deviates * max(deviates, readings)), 100)
    parts = []
    for first in range(0, len(member), at_once):
        some = slice(first, first + at_once)
        problem = _Problem(question, member[some], duty[:, some], scale[:, some], share[some])
        parts.append(_drawn(problem, noise[some]))
    log_weight = np.concatenate([each.log_weight for each in parts])
    top = float(log_weight.max())
    evidence = top + float(np.log(np.exp(log_weight - top).mean()))
    weight, tempered = _steady(log_weight - top, member)
    return Cloud(
        member=member,
        weight=weight,
        share=share,
        duty=duty,
        log_evidence=evidence,
        tempered=tempered,
        **{
            name: np.concatenate([getattr(each, name) for each in parts], axis=-1) for name in _TOLD
        },
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """Some of the draws (n,), not weighed against the rest yet."""

    log_weight: Floats  # (n,)
    level_db: Floats  # (s, n)
    shared_db: Floats  # (n,)
    place_db: Floats  # (c, n)
    plan_db: Floats  # (p, n)
    expected_db: Floats  # (r, n)
    without_errors_db: Floats  # (r, n)


_TOLD = ("level_db", "shared_db", "place_db", "plan_db", "expected_db", "without_errors_db")


def _drawn(problem: _Problem, noise: Floats) -> _Part:
    """Draws about the likeliest deviates from standard normal ones (n, z)."""
    best = problem.best()
    factor = np.linalg.cholesky(problem.at(best).slope.curve())
    step = np.linalg.solve(np.swapaxes(factor, 1, 2), noise[..., np.newaxis])[..., 0]
    drawn = best + CLOUD * step
    there = problem.at(drawn)
    log_drawn = (
        -0.5 * (noise**2).sum(axis=1)
        + np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
        - best.shape[1] * np.log(CLOUD)
    )
    levels, shared, places = problem.parts(drawn)
    return _Part(
        log_weight=there.log_likelihood - 0.5 * (drawn**2).sum(axis=1) - log_drawn,
        level_db=levels + problem.duty_db,
        shared_db=shared,
        place_db=places,
        plan_db=problem.plans(drawn),
        expected_db=there.expected_db.T,
        without_errors_db=problem.levels_db(drawn),
    )


def _deviates(question: Question) -> int:
    """How many there are: of levels, the shared error, plans, meters and places."""
    plans = 0 if question.plan_sigma_db is None else len(question.plan_sigma_db)
    meters = int(question.meter.max(initial=-1)) + 1
    sources = question.response_w_m2.shape[1]
    return int(sources + 1 + plans + meters + len(question.place_covariance_db2))


def _duty_deviates(question: Question, count: int, random: np.random.Generator) -> Floats:
    """Deviates (s, count) of the duties that nobody states, each from strata of its own."""
    found = np.zeros((len(question.duty), count))
    for source in (at for at, span in enumerate(question.duty) if span is not None):
        strata = (random.permutation(count) + 0.5) / count
        found[source] = normal_deviates(strata) / TENTH
    return found


def _scales(count: int, random: np.random.Generator) -> Floats:
    """Factors (count,) on the spread of the shared error, from strata."""
    from scipy.special import gammaincinv  # takes long to import

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Slope:
    """How readings move with deviates (n, r, z), in its parts, and how sharply noise bends there.

    Levels move each draw's readings in their own way, errors move all alike but for the scale of
    those with long tails. Either may be many: solved is what acts on readings (r, r), or what acts
    on deviates (z, z), whichever is less.
    """

    of_levels: Floats  # (n, r, s)
    of_errors: Floats  # (r, e) scale aside
    scale: Floats  # (long, n) of the first of the errors
    root_bend: Floats  # (n, r) square root of how sharply the log likelihood bends down

    def moved(self, step: Floats) -> Floats:
        """What a step (n, z) in the deviates adds to readings (n, r)."""
        sources, long = self.of_levels.shape[2], len(self.scale)
        by_levels = (self.of_levels @ step[:, :sources, np.newaxis])[..., 0]
        scaled = self.scale.T * step[:, sources : sources + long]
        by_scaled = scaled @ self.of_errors[:, :long].T
        return by_levels + by_scaled + step[:, sources + long :] @ self.of_errors[:, long:].T

    def pulled(self, pull: Floats) -> Floats:
        """How far pulls (n, r) at the readings draw the deviates (n, z)."""
        long = len(self.scale)
        by_errors = pull @ self.of_errors
        by_errors[:, :long] *= self.scale.T
        return np.concatenate(((pull[:, np.newaxis] @ self.of_levels)[:, 0], by_errors), axis=1)

    def newton(self, gradient: Floats) -> Floats:
        """The step (n, z) to the top of the parabola with such a gradient (n, z).

        By the identity of Woodbury, where readings are few: (1 + SᵀS)⁻¹ = 1 − Sᵀ(1 + SSᵀ)⁻¹S.
        """
        if len(self.of_errors) > gradient.shape[1]:
            return np.asarray(np.linalg.solve(self.curve(), gradient[..., np.newaxis])[..., 0])
        long = len(self.scale)
        first, rest = self.of_errors[:, :long], self.of_errors[:, long:]
        gram = self.of_levels @ np.swapaxes(self.of_levels, 1, 2) + rest @ rest.T
        gram += np.einsum("rl,ql,ln->nrq", first, first, self.scale**2, optimize=True)
        gram *= self.root_bend[:, :, np.newaxis] * self.root_bend[:, np.newaxis]
        gram += np.eye(len(self.of_errors))
        along = self.root_bend * self.moved(gradient)
        solved = np.linalg.solve(gram, along[..., np.newaxis])[..., 0]
        return gradient - self.pulled(self.root_bend * solved)

    def where(self, better: NDArray[np.bool_], other: _Slope) -> _Slope:
        """The other one for some of the draws (n,)."""
        return replace(
            self,
            of_levels=np.where(better[:, np.newaxis, np.newaxis], other.of_levels, self.of_levels),
            root_bend=np.where(better[:, np.newaxis], other.root_bend, self.root_bend),
        )

    def curve(self) -> Floats:
        """How sharply the posterior bends down (n, z, z)."""
        of_errors = np.repeat(self.of_errors[np.newaxis], len(self.of_levels), axis=0)
        of_errors[:, :, : len(self.scale)] *= self.scale.T[:, np.newaxis]
        slope = np.concatenate((self.of_levels, of_errors), axis=2)
        slope *= self.root_bend[:, :, np.newaxis]
        return np.swapaxes(slope, 1, 2) @ slope + np.eye(slope.shape[2])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _There:
    """What is found at deviates (n, z)."""

    log_likelihood: Floats  # (n,)
    expected_db: Floats  # (n, r) with the shared errors and those of places
    gradient: Floats  # (n, z) of the log posterior
    slope: _Slope


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
        factor = np.ones(duty.shape)  # (s, n)
        for at, span in enumerate(question.duty):
            if span is not None:
                factor[at] = over_middle(span, duty[at])
        self.duty_db = 10.0 * np.log10(factor)
        response = question.response_w_m2[:, :, member]
        averages = ~question.peak
        if question.fault_w_m2 is not None:
            added = question.fault_w_m2[:, :, np.newaxis] * share
            response = np.maximum(response + added, LEAST_LEFT * response)
        self._response = np.where(averages[:, np.newaxis, np.newaxis], response * factor, response)

    def at(self, place: Floats) -> _There:
        """Likelihood of the readings at deviates (n, z), and where it rises."""
        question, sources = self._question, self._sources
        levels = place[:, :sources].T * question.level_sigma_db[:, np.newaxis]  # (s, n)
        power = self._response * 10.0 ** (levels / 10.0)  # (r, s, n)
        total = np.maximum(power.sum(axis=1), LEAST_W_M2)
        long = len(self._scale)
        common = (self._scale.T * place[:, sources : sources + long]) @ self._slopes[:, :long].T
        errors = common + place[:, sources + long :] @ self._slopes[:, long:].T  # (n, r)
        expected = 10.0 * np.log10(total.T)
        share = (power / total[:, np.newaxis]) * question.level_sigma_db[:, np.newaxis]
        value = np.zeros(len(place))
        pull, bend = np.zeros(expected.shape), np.zeros(expected.shape)
        for row, noise in enumerate(question.noise):
            miss = question.shown_db[row] - expected[:, row] - errors[:, row]
            log, pull[:, row], bend[:, row] = noise.at(miss)
            value += log
        slope = _Slope(
            of_levels=np.ascontiguousarray(share.transpose(2, 0, 1)),
            of_errors=self._slopes,
            scale=self._scale,
            root_bend=np.sqrt(-bend),
        )
        places = place[:, sources + self._first_place :] @ self._slopes[:, self._first_place :].T
        return _There(
            log_likelihood=value,
            expected_db=expected + common + places,
            gradient=-slope.pulled(pull) - place,
            slope=slope,
        )

    def best(self) -> Floats:
        """Deviates (n, z) under which the readings are likeliest: Newton's steps, shortened."""
        count = self._response.shape[2]
        place = np.zeros((count, self._sources + self._slopes.shape[1]))
        here = self.at(place)
        value, gradient, slope = here.log_likelihood, here.gradient, here.slope
        reach = np.ones((count, 1))
        for _ in range(STEPS):
            step = slope.newton(gradient)
            longest = np.abs(step).max(axis=1, keepdims=True)
            if float((longest * reach).max()) < STILL:
                break
            there = place + reach * step * np.minimum(1.0, MOST_STEP / np.maximum(longest, STILL))
            new = self.at(there)
            new_value = new.log_likelihood - 0.5 * (there**2).sum(axis=1)
            better = new_value >= value
            place[better], value[better] = there[better], new_value[better]
            gradient[better] = new.gradient[better]
            slope = slope.where(better, new.slope)
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
