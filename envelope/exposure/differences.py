"""Levels in every draw, and how far two of them differ: paired, since all plans share the draws.

What moves both alike, such as the level outside, cancels; what moves one of them does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.building.fitted import Fitted, FittedPlace, heard_in, source_of
from envelope.exposure.model_error import difference_own_db, own_db, shared_db
from envelope.exposure.tolerances import TENTH
from envelope.geometry.plane import Floats
from envelope.physics.normal import normal_share_below

_STEPS = 60  # of which half a dozen are used
_SAME = 1e-10  # of a standard deviation
_ALIKE = 1e-9  # of a level
_NO_DB = 1e-12  # a width that no digit of a level shows; with far less its density overflows
_FLAT = 1e-100  # a density from which no step is taken
_BEYOND = 6.0  # standard deviations within which a normal curve is looked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SourceDraws:
    """What one source brings to one receiver, in every draw; the first is the nominal one."""

    level_w_m2: Floats  # (draws,)
    direct_w_m2: float
    diffuse_w_m2: float
    error_db: float  # half-width of the model's own error of the diffuse part

    def times(self, factor: float) -> SourceDraws:
        """The same of a source that sends so much more or less."""
        return SourceDraws(
            level_w_m2=self.level_w_m2 * factor,
            direct_w_m2=self.direct_w_m2 * factor,
            diffuse_w_m2=self.diffuse_w_m2 * factor,
            error_db=self.error_db,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelDraws:
    """Levels of one plan in every draw, the first of which is the nominal one."""

    plan: str
    by_source: Mapping[tuple[str, str], SourceDraws]  # by (receiver id, source id)
    fitted: Fitted | None = None  # the readings that the draws are bound by

    @property
    def shared_db(self) -> float:
        """Half-width of the model's error that all plans share and that is not drawn. [dB]"""
        return shared_db() if self.fitted is None else 0.0

    def place(self, receiver: str) -> FittedPlace | None:
        """What readings at a receiver tell of the model's error there, if there are any."""
        return None if self.fitted is None else self.fitted.places.get(receiver)

    def level_w_m2(self, receiver: str, sources: Sequence[str] | None = None) -> Floats:
        """Level (draws,) at a receiver from some sources together, or from all. [W/m²]"""
        found = [each.level_w_m2 for each in self._of(receiver, sources)]
        return np.asarray(np.sum(found, axis=0))

    def own_db(
        self,
        receiver: str,
        sources: Sequence[str] | None = None,
        *,
        as_built: LevelDraws | None = None,
    ) -> float:
        """Half-width of the 10–90 % range of the model's error that this plan has for itself. [dB]

        Parameters
        ----------
        receiver : str
            Its id.
        sources : sequence of str, optional
            Ids of those that count; all where there are none.
        as_built : LevelDraws, optional
            Of the plan without treatment, which says how much workmanship may lose.
        """
        each = self._of(receiver, sources)
        level = float(self.level_w_m2(receiver, sources)[0])
        before = level if as_built is None else float(as_built.level_w_m2(receiver, sources)[0])
        return own_db(
            level_w_m2=level,
            diffuse_w_m2=np.array([source.diffuse_w_m2 for source in each]),
            error_db=np.array([source.error_db for source in each]),
            as_built_w_m2=before,
        )

    def _of(self, receiver: str, sources: Sequence[str] | None) -> list[SourceDraws]:
        return [
            drawn
            for (at, source), drawn in self.by_source.items()
            if at == receiver and (sources is None or source in sources)
        ]

    def parts_w_m2(self, receiver: str, sources: Sequence[str] | None = None) -> Floats:
        """Nominal direct and diffuse parts (2 sources,) of a level. [W/m²]"""
        each = self._of(receiver, sources)
        return np.array([part for one in each for part in (one.direct_w_m2, one.diffuse_w_m2)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """By how much one level lies below another, with its 10–90 % range."""

    below_db: float  # positive where the second is lower
    low_db: float
    high_db: float
    odds: float  # how likely the second is the lower one, 0 to 1

    @property
    def can_be_told(self) -> bool:
        """Whether the whole range lies on one side of no difference."""
        return self.low_db > 0.0 or self.high_db < 0.0


NO_CHANGE = Difference(below_db=0.0, low_db=0.0, high_db=0.0, odds=0.5)


def paired(before_w_m2: Floats, after_w_m2: Floats, *, error_db: float = 0.0) -> Difference:
    """By how much a level lies below another one that was drawn together with it.

    Parameters
    ----------
    before_w_m2, after_w_m2 : (draws,) float
        Levels under the same draws, the nominal one first. [W/m²]
    error_db : float
        Half-width of the 10–90 % range of what the two do not share and was not drawn: the
        model's error in one of them and not in the other. [dB]
    """
    below_db = _below_db(before_w_m2, after_w_m2)
    drawn = below_db[1:] if len(below_db) > 1 else below_db
    return Difference(
        below_db=float(below_db[0]),
        low_db=percentile_db(drawn, 0.1, half_width_db=error_db),
        high_db=percentile_db(drawn, 0.9, half_width_db=error_db),
        odds=_odds(drawn, error_db),
    )


def difference(
    before: LevelDraws,
    after: LevelDraws,
    receiver: str,
    sources: Sequence[str] | None = None,
    *,
    as_built: LevelDraws | None = None,
    in_one_place: bool = True,
) -> Difference:
    """By how much the level at a receiver lies lower under one plan than under another.

    Parameters
    ----------
    before, after : LevelDraws
        Of the two plans, with the same draws.
    receiver : str
        Its id.
    sources : sequence of str, optional
        Ids of those that count; all where there are none.
    as_built : LevelDraws, optional
        Of the plan without treatment; `before` where there is none.
    in_one_place : bool
        False where the two are rooms of different buildings, such as on two storeys: what comes
        in by the same way is then no part that they have in common.

    Notes
    -----
    The model errs alike in what two plans have in common, such as the beam through a window that
    neither treats. So its error counts by the share of the level that differs: the sum of the
    differences of all parts over the greater level. Derived for parts whose errors are
    independent; the correlation of parts that differ is in `model_error`. Where sources send less
    and nothing else changes, the level cannot rise: see `lowered`.
    """
    if in_one_place and _only_sends_less(before, after, receiver, sources):
        return lowered(before, after, receiver, sources)
    today = before if as_built is None else as_built
    levels = [each.level_w_m2(receiver, sources) for each in (before, after)]
    if in_one_place and before.place(receiver) is not None:
        found = errors_left((before, after), receiver, sources, as_built=today)
        moved = [
            level * 10.0 ** (shift_db / 10.0)
            for level, shift_db in zip(levels, found.shift_db, strict=True)
        ]
        one_less_other = np.array((1.0, -1.0))
        left = float(one_less_other @ found.covariance_db2 @ one_less_other)
        return paired(moved[0], moved[1], error_db=TENTH * float(np.sqrt(max(left, 0.0))))
    one, other = (each.own_db(receiver, sources, as_built=today) for each in (before, after))
    own = difference_own_db(one_db=one, other_db=other)
    if in_one_place:
        parts = [each.parts_w_m2(receiver, sources) for each in (before, after)]
        greater = max(float(part.sum()) for part in parts)
        apart = float(np.abs(parts[0] - parts[1]).sum()) / greater if greater > 0.0 else 0.0
        own *= min(apart, 1.0)
    return paired(levels[0], levels[1], error_db=own)


def _only_sends_less(
    before: LevelDraws, after: LevelDraws, receiver: str, sources: Sequence[str] | None
) -> bool:
    """Whether all that the second plan changes at a receiver is that sources send less."""
    if after.level_w_m2(receiver, sources)[0] <= 0.0:
        return False
    shares = []
    for (at, source), was in before.by_source.items():
        if at != receiver or (sources is not None and source not in sources):
            continue
        now = after.by_source[at, source]
        share = float(now.level_w_m2[0] / was.level_w_m2[0]) if was.level_w_m2[0] > 0.0 else 1.0
        less = was.times(share)
        alike = all(
            np.allclose(getattr(now, part), getattr(less, part), rtol=_ALIKE, atol=0.0)
            for part in ("direct_w_m2", "diffuse_w_m2", "level_w_m2")
        )
        if share > 1.0 + _ALIKE or not alike:
            return False
        shares.append(share)
    return min(shares, default=1.0) < 1.0 - _ALIKE


def lowered(
    before: LevelDraws, after: LevelDraws, receiver: str, sources: Sequence[str] | None = None
) -> Difference:
    """By how much a level falls where sources send less and nothing else changes.

    Parameters
    ----------
    before, after : LevelDraws
        Of one plan, with the same draws; no source brings more in the second.
    receiver : str
        Its id.
    sources : sequence of str, optional
        Ids of those that count; all where there are none.

    Notes
    -----
    The level is a sum, so it cannot rise. What the model's error moves is the ratio of what goes
    to what stays. As parts that have nothing in common their errors are correlated by a half
    (`error_correlation`), which leaves the ratio the error of a level.
    """
    levels = [each.level_w_m2(receiver, sources) for each in (before, after)]
    gone = np.maximum(levels[0] - levels[1], 0.0)
    ratio_db = _below_db(gone, levels[1])
    own = before.own_db(receiver, sources)
    low, high = (
        10.0
        * float(
            np.log10(1.0 + 10.0 ** (percentile_db(ratio_db[1:], share, half_width_db=own) / 10.0))
        )
        for share in (0.1, 0.9)
    )
    return Difference(
        below_db=float(_below_db(*levels)[0]),
        low_db=low,
        high_db=high,
        odds=1.0 if gone.any() else 0.5,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorsLeft:
    """The model's own errors of some plans at one place, once readings there are known."""

    shift_db: Floats  # (plans, draws) what readings make of them, the nominal draw 0
    covariance_db2: Floats  # (plans, plans) of what stays open


def errors_left(
    plans: Sequence[LevelDraws],
    receiver: str,
    sources: Sequence[str] | None = None,
    *,
    as_built: LevelDraws | None = None,
) -> ErrorsLeft:
    """What readings at a receiver leave of the errors that plans have for themselves there.

    Parameters
    ----------
    plans : sequence of LevelDraws
        With the same draws.
    receiver : str
        Its id.
    sources : sequence of str, optional
        Ids of those that count; all where there are none.
    as_built : LevelDraws, optional
        Of the plan without treatment.

    Notes
    -----
    Errors of levels at one place move together as far as these have something in common
    (`error_correlation`). What is known of some of them then binds the others as normal deviates
    do. Only a reading that heard what a level consists of is of the very error of that level.
    """
    sigma = np.array([each.own_db(receiver, sources, as_built=as_built) / TENTH for each in plans])
    parts = [_by_source(each, receiver, sources) for each in plans]
    prior = np.outer(sigma, sigma) * error_correlation(parts, parts)
    place = plans[0].place(receiver)
    draws = len(next(iter(plans[0].by_source.values())).level_w_m2)
    if place is None:
        return ErrorsLeft(shift_db=np.zeros((len(plans), draws)), covariance_db2=prior)
    # what a plan's work is off by is no error of another plan's level
    read = np.sqrt(np.maximum(np.diag(place.covariance_db2) - place.work_db2, 0.0))
    across = np.outer(sigma, read) * error_correlation(parts, place.parts_w_m2)
    work_db2 = dict(zip(place.plans, place.work_db2, strict=True))
    for own, each in enumerate(plans):  # of a plan's work all that comes in has the same
        work = work_db2.get(each.plan, 0.0)
        across[own] += [work * (plan == each.plan) for plan in place.plans]
        prior[own] += [work * (other.plan == each.plan) for other in plans]
    for own, each in enumerate(plans):
        heard = heard_in(parts[own])
        for at, (plan, of_reading) in enumerate(zip(place.plans, place.parts_w_m2, strict=True)):
            if each.plan == plan and heard == heard_in(of_reading):
                # the very error that was read, its work's share with it
                across[own] = place.covariance_db2[at]
                prior[own] = prior[:, own] = across[:, at]
    weight = across @ np.linalg.pinv(place.covariance_db2, hermitian=True)
    shift_db = weight @ place.error_db
    shift_db -= np.array([[_shown_db(each, receiver, sources)] for each in plans])
    shift_db[:, 0] = 0.0
    return ErrorsLeft(shift_db=shift_db, covariance_db2=prior - weight @ across.T)


def error_correlation(
    some: Sequence[Mapping[str, tuple[float, float]]],
    others: Sequence[Mapping[str, tuple[float, float]]],
) -> Floats:
    """Correlation (some, others) of the errors of levels at one place, from their parts.

    Parameters
    ----------
    some, others : sequence of mappings
        The direct and the diffuse part of each level by source. [W/m²]

    Notes
    -----
    1 − a²/2 for levels of the same sources, where a is the share in which they differ: 1 for one
    and the same level, a half for two that have nothing in common (`model_error`). Errors of
    different sources are independent: what only one of two levels has of them correlates
    with nothing in the other.
    """
    found = np.ones((len(some), len(others)))
    for row, one in enumerate(some):
        for column, other in enumerate(others):
            found[row, column] = _correlation(one, other)
    return found


def _correlation(
    one: Mapping[str, tuple[float, float]], other: Mapping[str, tuple[float, float]]
) -> float:
    heard = heard_in(one), heard_in(other)
    if not (heard[0] and heard[1]):
        return 1.0
    names = sorted({*one, *other})
    both = np.array([[each.get(name, (0.0, 0.0)) for name in names] for each in (one, other)])
    whole = both.sum(axis=(1, 2))
    shared = np.array([source_of(name, names) in heard[0] & heard[1] for name in names])
    both = both[:, shared]
    common = both.sum(axis=(1, 2))
    greater = float(common.max())
    if greater <= 0.0:
        return 0.0
    apart = float(np.abs(both[0] - both[1]).sum()) / greater
    share = common / whole
    alone = share / np.hypot(share, 1.0 - share)
    return float((1.0 - 0.5 * min(apart, 1.0) ** 2) * alone[0] * alone[1])


def _by_source(
    drawn: LevelDraws, receiver: str, sources: Sequence[str] | None = None
) -> dict[str, tuple[float, float]]:
    """Direct and diffuse part of a level by source, as the model has it without readings. [W/m²]"""
    found = {}
    for (at, source), each in drawn.by_source.items():
        if at == receiver and (sources is None or source in sources):
            shown = _factor(drawn, receiver, source)
            found[source] = each.direct_w_m2 / shown, each.diffuse_w_m2 / shown
    return found


def _factor(drawn: LevelDraws, receiver: str, source: str) -> float:
    """By what readings put what a source brings above the model's."""
    return 1.0 if drawn.fitted is None else drawn.fitted.factor_of(receiver, drawn.plan, source)


def _shown_db(drawn: LevelDraws, receiver: str, sources: Sequence[str] | None) -> float:
    """By how much readings at the receiver itself put a plan's level there above the model's. [dB]

    What they say of all places alike is not in it.
    """
    assert drawn.fitted is not None
    parts = _by_source(drawn, receiver, sources)
    before = sum(map(sum, parts.values()))
    after = sum(_factor(drawn, receiver, name) * sum(part) for name, part in parts.items())
    if before <= 0.0:
        return 0.0
    return 10.0 * float(np.log10(after / before)) - drawn.fitted.shift_db


def _below_db(before: Floats, after: Floats) -> Floats:
    """Decibels (draws,) by which the second lies below the first; 0 where both are nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = 10.0 * (np.log10(before) - np.log10(after))
    return np.where((before <= 0.0) & (after <= 0.0), 0.0, found)


def _odds(drawn_db: Floats, half_width_db: float) -> float:
    if half_width_db > _NO_DB:
        return float(normal_share_below(drawn_db * TENTH / half_width_db).mean())
    return float((drawn_db > 0.0).mean() + 0.5 * (drawn_db == 0.0).mean())


def _between(values: Floats, share: float) -> float:
    """The percentile of values (n,) on the line between two of them, as NumPy's own has it.

    That one finds out first what it is asked, which takes four times as long as the answer.
    """
    at = (len(values) - 1) * share
    lower = int(at)
    upper = min(lower + 1, len(values) - 1)
    ordered = np.partition(values, (lower, upper))
    one, other, beyond = float(ordered[lower]), float(ordered[upper]), at - lower
    if beyond < 0.5:
        return one + (other - one) * beyond
    return other - (other - one) * (1.0 - beyond)


def percentile_db(drawn_db: Floats, share: float, *, half_width_db: float) -> float:
    """Percentile of draws that an error is put on, each draw as a whole normal curve.

    Drawing an error that is independent of all others would only add chance. Draws may be
    infinite, which an error does not change. [dB]

    Parameters
    ----------
    drawn_db : (draws,) float
        [dB]
    share : float
        0 to 1.
    half_width_db : float
        Half of the error's 10–90 % range. [dB]
    """
    count = len(drawn_db)
    if np.count_nonzero(np.isneginf(drawn_db)) / count >= share:
        return -np.inf
    if np.count_nonzero(np.isposinf(drawn_db)) / count > 1.0 - share:
        return np.inf
    sigma = half_width_db / TENTH
    finite = drawn_db[np.isfinite(drawn_db)]
    if half_width_db <= _NO_DB:
        return float(np.quantile(drawn_db, share, method="inverted_cdf"))
    low, high = finite.min() - _BEYOND * sigma, finite.max() + _BEYOND * sigma
    found = _between(finite, share)
    for _ in range(_STEPS):  # Newton's, halved where one would leave the bracket
        away = (found - drawn_db) / sigma
        above = float(normal_share_below(away).mean()) - share
        low, high = (low, found) if above > 0.0 else (found, high)
        density = float(np.exp(-0.5 * away**2).mean()) / (np.sqrt(2.0 * np.pi) * sigma)
        last, found = found, found - above / density if density > _FLAT else np.inf
        if not low <= found <= high:
            found = 0.5 * (low + high)
        if abs(found - last) < _SAME * sigma:
            break
    return float(found)
