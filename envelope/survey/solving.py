"""Strengths of sources from readings: plain functions on arrays.

A reading y of sources of strength x, to which it responds by a, is

    y = G Σ a x        G: scatter from spot to spot × the model's error × the meter's

Everything uncertain is drawn, and each draw is solved for x; the spread of the answers is the
band. One source alone is averaged in decibels, readings weighing so that the variance of their
mean is least; several heard together are fitted by least squares in decibels, none below 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.exposure.model_error import shared_db
from envelope.exposure.tolerances import TENTH
from envelope.geometry.plane import Floats

SEED = 61_403
REPEATS = 8  # times each draw of the tolerances is used, with other readings' errors each time
# What a level that was read on the spot is uncertain by besides the meter: the 10–90 % half-width
# that a stated level has. Common practice, no source.
OPEN_AIR_DB = 3.0
# By how much a meter shows something else at the same place a minute later, the same half-width:
# what keeps a small difference of two readings from being taken at its word. The same.
AGAIN_DB = 1.0
LIKE_NO_SCATTER = 1e9  # shape from which a reading does not scatter
WIDEST_DB = 30.0  # that a tolerance may be
TELLING = 0.01  # smallest singular value over the largest, from which sources can be told apart
# Share of tries beyond either end of the wide band of a source that is alone. Of several solved
# together each has its part of it, so that all bands hold at once. 98 in 100, as standard errors
# are stated, to hold 95 in 100 whatever the luck.
TAIL = 0.01
LEAST = 1e-30
LEAST_SIGMA = 0.05  # of a reading's logarithm
NOTHING_LEFT = 1e-6  # of every reading: a source that is less of all is nothing
MOST_STEPS, LONGEST_STEP = 30, 2.0  # of a search, in logarithms of power
DAMPING = 1e-12  # keeps a step finite where nothing depends on a strength
LOST = 1e-9  # of its response that a source keeps where a draw puts it behind the ground

_PER_DB = np.log(10.0) / 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """Readings (r) that hear the same unknown sources (s), with what is known taken apart."""

    shown_w_m2: Floats  # (r,)
    direct: Floats  # (r, s) response to unit strength, straight
    spread: Floats  # (r, s) the rest of it
    drawn: Floats  # (r, s, draws) all of it as tolerances move it, the first as it is
    known_direct: Floats  # (r,) what sources of known level bring
    known_spread: Floats  # (r,)
    known_drawn: Floats  # (r, draws)
    spots: Floats  # (r,)
    tolerance_db: Floats  # (r,) of the meter
    indoors: Floats  # (r,) 1 or 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strengths:
    """Solved strengths of sources (s)."""

    value: Floats  # (s,)
    low: Floats  # (s,) 10–90 % band
    high: Floats
    lowest: Floats  # (s,) wide bands: all hold at once at least 95 times in 100
    highest: Floats

    @property
    def tolerance_db(self) -> Floats:
        """Half-widths (s,) of bands about the values that hold the 10–90 % bands. [dB]"""
        with np.errstate(divide="ignore"):
            up = 10.0 * np.log10(self.high / self.value)
            down = 10.0 * np.log10(self.value / self.low)
        return np.minimum(np.maximum(up, down), WIDEST_DB)


def can_be_told_apart(heard: Heard) -> bool:
    """Whether no mixture of the sources looks to all readings like another one."""
    matrix = (heard.direct + heard.spread) / heard.shown_w_m2[:, np.newaxis]
    matrix = matrix / np.linalg.norm(matrix, axis=0)
    values = np.linalg.svd(matrix, compute_uv=False)
    return bool(len(values) == matrix.shape[1] and values[-1] > TELLING * values[0])


def solve(heard: Heard) -> Strengths:
    """Solve for the unknown strengths; a value of 0 says that the readings leave nothing for it."""
    from scipy.special import digamma  # takes long to import

    alone = heard.direct.shape[1] == 1 and not (heard.known_direct + heard.known_spread).any()
    whole = heard.direct + heard.spread
    given = heard.known_direct + heard.known_spread
    start = _fitted(whole, given, heard.shown_w_m2, np.ones(len(whole)))
    shape = scatter_shape(heard, start)
    # In decibels a reading that scatters shows too little on the mean.
    middle = heard.shown_w_m2 * np.exp(np.log(shape) - digamma(shape))
    middle = np.where(shape < LIKE_NO_SCATTER, middle, heard.shown_w_m2)
    tried = _drawn(heard, shape)
    if alone:
        logs = np.log(tried.shown / np.maximum(tried.responses[:, 0], whole * LOST))
        weight = steady_weights(np.cov(logs) if len(logs) > 1 else np.ones((1, 1)))
        value = np.exp([weight @ np.log(middle / whole[:, 0])])
        tries = np.exp(weight @ logs)[np.newaxis]
    else:
        expected = np.einsum("rsn,s->rn", tried.responses, start) + tried.known
        least = LOST * heard.shown_w_m2[:, np.newaxis]
        own = np.log(tried.shown / np.maximum(expected, least)) + tried.common
        sigma = np.maximum(np.std(own, axis=1), LEAST_SIGMA)
        value = _fitted(whole, given, middle, sigma)
        tries = fit(tried.responses, tried.known, tried.shown, sigma=sigma, start=value)
    tail = TAIL / len(tries)
    lowest, low, high, highest = np.quantile(tries, (tail, 0.1, 0.9, 1.0 - tail), axis=1)
    return Strengths(value=value, low=low, high=high, lowest=lowest, highest=highest)


def _fitted(whole: Floats, given: Floats, shown: Floats, sigma: Floats) -> Floats:
    """Strengths (s,) for responses that are not drawn, begun by least squares in power."""
    size = np.linalg.norm(whole / shown[:, np.newaxis], axis=0)  # units may lie far apart
    start = _least_squares(whole / shown[:, np.newaxis] / size, 1.0 - given / shown) / size
    found = fit(
        whole[..., np.newaxis],
        given[:, np.newaxis],
        shown[:, np.newaxis],
        sigma=sigma,
        start=start,
    )
    return np.asarray(found[:, 0])


def fit(responses: Floats, known: Floats, shown: Floats, *, sigma: Floats, start: Floats) -> Floats:
    """Strengths (s, n) for which readings differ least from what is shown, in decibels.

    Parameters
    ----------
    responses : (r, s, n) float
    known : (r, n) float
        What does not depend on the strengths. [W/m²]
    shown : (r, n) float
        [W/m²]
    sigma : (r,) float
        Error of a reading's logarithm: where readings do not agree, the surer counts more.
    start : (s,) float
        Where the search begins.

    Notes
    -----
    Gauss and Newton's steps in the logarithms of the strengths, shortened where they lead nowhere.
    In power the readings that have faded most would count most, since their errors look small.
    """
    matrix = np.moveaxis(responses, -1, 0)  # (n, r, s)
    wanted, rest = shown.T, known.T
    with np.errstate(divide="ignore"):
        floor = NOTHING_LEFT * (wanted[..., np.newaxis] / matrix).min(axis=1)  # (n, s)
    floor = np.log(np.where(np.isfinite(floor), floor, LEAST))
    place = np.maximum(np.log(np.maximum(start, LEAST)), floor + 1.0)
    unit = DAMPING * np.eye(matrix.shape[2])

    def misses(logs: Floats) -> tuple[Floats, Floats]:
        parts = matrix * np.exp(logs)[:, np.newaxis]
        total = np.maximum(parts.sum(axis=2) + rest, LEAST)
        slope = parts / total[..., np.newaxis] / sigma[:, np.newaxis]
        return np.log(wanted / total) / sigma, slope

    miss, slope = misses(place)
    reach = np.ones((len(place), 1))
    for _ in range(MOST_STEPS):
        turned = np.swapaxes(slope, 1, 2)
        step = np.linalg.solve(turned @ slope + unit, turned @ miss[..., np.newaxis])[..., 0]
        there = np.maximum(place + reach * np.clip(step, -LONGEST_STEP, LONGEST_STEP), floor)
        new_miss, new_slope = misses(there)
        better = (new_miss**2).sum(axis=1) <= (miss**2).sum(axis=1)
        place[better], miss[better], slope[better] = (
            there[better],
            new_miss[better],
            new_slope[better],
        )
        reach = np.where(better[:, np.newaxis], np.minimum(2.0 * reach, 1.0), 0.25 * reach)
    return np.where(place > floor + LONGEST_STEP, np.exp(place), 0.0).T


def scatter_shape(heard: Heard, strength: Floats) -> Floats:
    """Shape (r,) of the gamma distribution of readings averaged over spots, about a mean of 1.

    Of the room's field one spot and polarization shows an exponential deviate; beside a steady
    part D the variance of what is shown is S² + 2 D S. Sources do not interfere: variances add.
    """
    direct = np.column_stack((heard.direct * strength, heard.known_direct))
    spread = np.column_stack((heard.spread * strength, heard.known_spread))
    total = (direct + spread).sum(axis=1)
    variance = (spread**2 + 2.0 * direct * spread).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        shape = heard.spots * total**2 / variance
    return np.where(variance > 0.0, np.minimum(shape, LIKE_NO_SCATTER), LIKE_NO_SCATTER)


def _least_squares(matrix: Floats, wanted: Floats) -> Floats:
    """Values (n,), none below 0, that bring a matrix (m, n) nearest to what is wanted (m,)."""
    from scipy.optimize import nnls  # takes long to import

    found: Floats = nnls(matrix, wanted)[0]
    return found


def steady_weights(covariance: Floats) -> Floats:
    """Weights (r,), none below 0 and 1 in sum, for which a mean's variance is least."""
    count = len(covariance)
    spread = covariance / max(float(np.trace(covariance)) / count, LEAST)
    factor = np.linalg.cholesky(spread + 1e-9 * np.eye(count)).T
    firm = 1e4
    rows = np.vstack((factor, np.full((1, count), firm)))
    weight = _least_squares(rows, np.concatenate((np.zeros(count), [firm])))
    return np.asarray(weight / weight.sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Drawn:
    """Readings freed of drawn errors, and what they would respond."""

    shown: Floats  # (r, n)
    responses: Floats  # (r, s, n)
    known: Floats  # (r, n)
    common: Floats  # (r, n) that part of the errors' logarithm that readings share


def _drawn(heard: Heard, shape: Floats) -> _Drawn:
    random = np.random.default_rng(SEED)
    drawn = np.tile(heard.drawn[..., 1:], REPEATS)
    readings, count = drawn.shape[0], drawn.shape[-1]

    def normal(*rows: int) -> Floats:
        return random.standard_normal((*rows, count)) / TENTH

    room, meter, air, again = normal(), normal(), normal(readings), normal(readings)
    inside = heard.indoors[:, np.newaxis]
    common_db = shared_db() * room * inside + heard.tolerance_db[:, np.newaxis] * meter
    own_db = OPEN_AIR_DB * air * (1.0 - inside) + AGAIN_DB * again
    steadiness = np.minimum(shape, LIKE_NO_SCATTER)[:, np.newaxis]
    scatter = random.gamma(steadiness, size=(readings, count)) / steadiness
    scatter = np.where(steadiness < LIKE_NO_SCATTER, np.maximum(scatter, LEAST), 1.0)
    error = scatter * np.exp(_PER_DB * (common_db + own_db))
    return _Drawn(
        shown=heard.shown_w_m2[:, np.newaxis] / error,
        responses=drawn,
        known=np.tile(heard.known_drawn[:, 1:], REPEATS),
        common=_PER_DB * common_db,
    )
