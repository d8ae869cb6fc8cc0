"""What else the money of a step would buy: the best that leaves its main part undone.

A step whose rival comes as low may as well wait. How likely it is the better one follows from the
draws of both, which they share.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from envelope.exposure.differences import LevelDraws
from envelope.geometry.plane import Floats
from envelope.plans.purchases import Purchases
from envelope.plans.sequence import Chain, Ints, may_follow
from envelope.plans.units import Unit, groups_of

RIVAL_DB = 2.0  # a rival above a step by more is none: odds are mostly above 0.9 from there on


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rivalry:
    """What the money of a step would buy instead."""

    chosen: Ints  # (units,)
    level_w_m2: float
    drawn: LevelDraws


def rival_of(
    chain: Chain,
    step: int,
    *,
    units: Sequence[Unit],
    level_of: Callable[[Ints], Floats],
    purchases: Purchases,
    draw: Callable[[Ints], LevelDraws],
) -> Rivalry | None:
    """The best plan that could be made in place of a step for no more money.

    Parameters
    ----------
    chain : Chain
    step : int
        Its number, from 1.
    units : (u,) Unit
        What its plans choose from.
    level_of : callable
        Level (n,) of plans (n, u), as the receivers count together. [W/m²]
    purchases : Purchases
        Costs of every plan.
    draw : callable
        Draws of a plan (u,).

    Returns
    -------
    rival : Rivalry, optional
        None where nothing comes within 2 dB of the step. It leaves undone what counts most in the
        step, and does up to two other things, or one beside the rest of the step.
    """
    before, after = chain.plans[step - 1], chain.plans[step]
    main = _main_unit(before, after, level_of)
    least = before.copy()  # the step without its main part
    least[after != before] = after[after != before]
    least[main] = before[main]
    found = np.unique(
        np.concatenate((_made_of(before, units, main, 2), _made_of(least, units, main, 1))), axis=0
    )
    found = found[(found != before).any(axis=1)]
    found = found[purchases.cents(found) <= int(purchases.cents(after[np.newaxis])[0])]
    if not len(found):
        return None
    levels = level_of(found)
    best = int(levels.argmin())
    if levels[best] > chain.levels_w_m2[step] * 10.0 ** (RIVAL_DB / 10.0):
        return None
    return Rivalry(chosen=found[best], level_w_m2=float(levels[best]), drawn=draw(found[best]))


def _main_unit(before: Ints, after: Ints, level_of: Callable[[Ints], Floats]) -> int:
    """The unit of a step without which the level is highest."""
    changed = np.flatnonzero(before != after)
    without = np.repeat(after[np.newaxis], len(changed), axis=0)
    without[np.arange(len(changed)), changed] = before[changed]
    levels = level_of(without)
    return int(changed[levels.argmax()])


def _made_of(start: Ints, units: Sequence[Unit], main: int, most: int) -> Ints:
    """Plans (n, u) that one or two changes make of another, without touching the main unit.

    The units of a group that have one treatment on offer may change in one go.
    """
    changes: list[tuple[tuple[int, ...], int]] = [
        ((unit,), option)
        for unit, table in enumerate(may_follow(units))
        if unit != main
        for option in np.flatnonzero(table[start[unit]]).tolist()
        if option != start[unit]
    ]
    for members in groups_of(units).values():
        bare = tuple(unit for unit in members if unit != main and start[unit] == 0)
        if len(bare) > 1:
            fewest = min(len(units[unit].options) for unit in bare)
            changes += [(bare, option) for option in range(1, fewest)]
    found = [start]
    for count in range(1, most + 1):
        for several in itertools.combinations(changes, count):
            chosen = start.copy()
            for members, option in several:
                chosen[list(members)] = option
            found.append(chosen)
    return np.array(found)
