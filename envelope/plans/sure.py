"""How sure a sequence is: sturdier plans beside it, odds of the target, what measuring may spare.

A plan is chosen on its nominal level. Plans near the front that cost no more and fit between the
steps before and after are then compared by the level that they stay below nine times in ten.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import Job
from envelope.exposure.differences import LevelDraws, percentile_db
from envelope.exposure.model_error import shared_db
from envelope.exposure.rests import Rest, deviates_of
from envelope.exposure.tolerances import TENTH, Draws
from envelope.geometry.plane import Floats
from envelope.physics.normal import normal_share_below
from envelope.plans.purchases import Purchases
from envelope.plans.sequence import Chain, Ints, may_follow
from envelope.plans.units import Unit

NEAR_DB = 0.7  # within which plans are told apart by their draws rather than nominally
MAX_NEAR = 2  # plans drawn beside each step
STURDIER_DB = 0.1  # by which the level at 90 % must be lower for a plan to take a step's place
_MOST_COMBINATIONS = 4096
_BINS = 6  # of a figure's range, in each of which the decision is taken anew
_ALL = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Spared:
    """What settling one figure may spare: steps that then turn out not to be worth doing."""

    words: str  # of the figure
    settle: str  # how
    steps: tuple[int, int]  # the first and the last of those that are done only together, from 1
    odds: float  # that it turns out so
    cents: float  # spared on average: the odds times what the steps cost


def level_at_90_db(drawn: LevelDraws, receivers: Sequence[str], today: LevelDraws) -> float:
    """Level that the worst receiver stays below nine times in ten, without what plans share. [dB]

    Parameters
    ----------
    drawn : LevelDraws
        Of the plan.
    receivers : sequence of str
        Ids of those that count.
    today : LevelDraws
        Of the plan without treatment, which says how much workmanship may lose.
    """
    found = []
    for name in receivers:
        with np.errstate(divide="ignore"):
            levels = 10.0 * np.log10(drawn.level_w_m2(name)[1:])
        own = drawn.own_db(name, as_built=today)
        found.append(percentile_db(levels, 0.9, half_width_db=own))
    return max(found)


def target_odds(
    drawn: LevelDraws, receivers: Sequence[str], today: LevelDraws, target_w_m2: float
) -> float:
    """How likely the level is below a target at every receiver that counts.

    Parameters
    ----------
    drawn, today : LevelDraws
        Of the plan, and of the one without treatment.
    receivers : sequence of str
        Ids of those that count.
    target_w_m2 : float
        [W/m²]

    Notes
    -----
    Here the part of the model's error that plans share counts too. Receivers err alike, so that
    the least likely of them says how likely all are.
    """
    odds = []
    for name in receivers:
        sigma = np.hypot(shared_db(), drawn.own_db(name, as_built=today)) / TENTH
        with np.errstate(divide="ignore"):
            below = 10.0 * np.log10(target_w_m2 / drawn.level_w_m2(name)[1:])
        odds.append(float(np.mean(normal_share_below(below / sigma))))
    return min(odds)


def sturdier(
    chain: Chain,
    *,
    units: Sequence[Unit],
    level_of: Callable[[Ints], Floats],
    purchases: Purchases,
    at_90_db: Callable[[Ints], float],
) -> Chain:
    """The chain with plans near its steps in their place where these do better at 90 %.

    Parameters
    ----------
    chain : Chain
    units : (u,) Unit
        What its plans choose from.
    level_of : callable
        Level (n,) of plans (n, u), as the receivers count together. [W/m²]
    purchases : Purchases
        Costs of every plan.
    at_90_db : callable
        Level of a plan (u,) that it stays below nine times in ten. [dB]
    """
    plans = chain.plans.copy()
    follows = may_follow(units)
    for step in range(1, len(plans)):
        after = plans[step + 1] if step + 1 < len(plans) else None
        near = _near(plans[step - 1], plans[step], after, follows)
        if not len(near):
            continue
        cents = purchases.cents(near)
        levels = level_of(near)
        here = float(level_of(plans[step][np.newaxis])[0])
        allowed = (cents <= int(purchases.cents(plans[step][np.newaxis])[0])) & (
            levels < here * 10.0 ** (NEAR_DB / 10.0)
        )
        order = [each for each in np.argsort(levels, kind="stable") if allowed[each]][:MAX_NEAR]
        if not order:
            continue
        best, lowest = plans[step], at_90_db(plans[step]) - STURDIER_DB
        for each in order:
            found = at_90_db(near[each])
            if found < lowest:
                best, lowest = near[each], found
        plans[step] = best
    return replace(
        chain,
        plans=plans,
        cents=purchases.cents(plans),
        levels_w_m2=level_of(plans),
    )


def _near(before: Ints, here: Ints, after: Ints | None, follows: Sequence[np.ndarray]) -> Ints:
    """Plans (n, u) that can be made of the one before and of which the one after can be made."""
    choices = []
    for unit, table in enumerate(follows):
        ways = np.flatnonzero(table[before[unit]])
        if after is not None:
            ways = ways[table[ways, after[unit]]]
        else:
            # the last step adds to no other units than it does anyway
            ways = ways if here[unit] != before[unit] else before[unit : unit + 1]
        choices.append(ways.tolist())
    if np.prod([len(each) for each in choices], dtype=float) <= _MOST_COMBINATIONS:
        found = np.array(list(itertools.product(*choices)), dtype=np.int64)
    else:  # those that differ from the step in two units at most
        changes = [
            (unit, way)
            for unit, ways in enumerate(choices)
            for way in ways
            if way != here[unit] and len(ways) > 1
        ]
        pairs = [(one, other) for one, other in itertools.combinations(changes, 2)]
        found = np.repeat(here[np.newaxis], len(changes) + len(pairs), axis=0)
        for row, several in enumerate([*((one,) for one in changes), *pairs]):
            for unit, way in several:
                found[row, unit] = way
    return np.asarray(found[(found != here).any(axis=1) & (found != before).any(axis=1)])


def spared(
    rests: Sequence[Rest],
    *,
    job: Job,
    draws: Draws,
    stops: Sequence[int],
    gains_db: Sequence[Floats],
    cents: Sequence[int],
    least_db: float,
) -> tuple[Spared, ...]:
    """What settling a figure before anything is bought may spare, the most money first.

    Parameters
    ----------
    rests : sequence of Rest
        Figures that the outcome rests on.
    job : Job
    draws : Draws
        That the gains were drawn with.
    stops : (n,) int
        Steps after which one may stop.
    gains_db : (n,) of (draws,) float
        What the steps up to each stop bring together from the last one on, in every draw, the
        nominal one first. [dB]
    cents : (n,) int
        What they cost.
    least_db : float
        Below which they are not worth doing. [dB]

    Notes
    -----
    The expected value of partial perfect information, with the figure's range cut into a few
    stretches: in each of them the mean gain of the steps says whether one would still do them.
    """
    known = deviates_of(job, draws)
    found = []
    for rest in rests:
        deviate = known.get(rest.words)
        if deviate is None:
            continue
        bundles = itertools.pairwise((0, *stops))
        for (begin, stop), gain, cost in zip(bundles, gains_db, cents, strict=True):
            sound = np.isfinite(gain[1:])
            means = list(_means(deviate[1:][sound], gain[1:][sound]))
            odds = sum(share for share, mean in means if mean < least_db)
            # shares that add up to all of them may sum to a little less than 1
            if 0.0 < odds < 1.0 - _ALL and cost > 0:
                found.append(
                    Spared(
                        words=rest.words,
                        settle=rest.settle,
                        steps=(begin + 1, stop),
                        odds=odds,
                        cents=odds * cost,
                    )
                )
    return tuple(sorted(found, key=lambda each: (-each.cents, each.words, each.steps)))


def _means(deviate: Floats, gain_db: Floats) -> Iterator[tuple[float, float]]:
    """Share and mean gain of each stretch of a figure's range."""
    if len(np.unique(deviate)) <= _BINS:
        groups = [np.flatnonzero(deviate == value) for value in np.unique(deviate)]
    else:
        groups = np.array_split(np.argsort(deviate, kind="stable"), _BINS)
    for group in groups:
        yield len(group) / len(deviate), float(gain_db[group].mean())
