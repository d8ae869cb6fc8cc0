"""A sequence that can be built: steps that only add, through the plans that no other plan beats.

Neighbours on the front are not nested: the next plan may take back what the last one bought. The
best nested sequence goes through the front by steps that only add, at most eight of them, so that
over the money from nothing to the last step the level in decibels is lowest on the mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats
from envelope.plans.units import Option, Unit

Ints = NDArray[np.int64]

MAX_STEPS = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """A nested sequence of plans, the first of which is where one starts."""

    plans: Ints  # (steps + 1, units)
    cents: Ints  # (steps + 1,)
    levels_w_m2: Floats  # (steps + 1,)
    mean_db: float  # of the level over the money, relative to the start; 0 or below
    front_mean_db: float  # the same of the front itself: what nesting costs is the difference


def adds(before: Option, after: Option) -> bool:
    """Whether one option can be made of another by adding to it alone."""
    if before.change is not None and before.change is not after.change:
        return before.change.is_free  # what cost nothing may be done otherwise later
    for panel, names in before.treatments.items():
        later = after.treatments.get(panel, ())
        if later[: len(names)] != names and not _subsequence(names, later):
            return False
    return True


def _subsequence(names: Sequence[str], later: Sequence[str]) -> bool:
    rest = iter(later)
    return all(name in rest for name in names)


def may_follow(units: Sequence[Unit]) -> list[NDArray[np.bool_]]:
    """For each unit (options, options): whether the second can be made of the first."""
    return [
        np.array([[adds(before, after) for after in unit.options] for before in unit.options])
        for unit in units
    ]


def best_chain(
    units: Sequence[Unit],
    *,
    plans: Ints,
    cents: Ints,
    levels_w_m2: Floats,
    max_steps: int = MAX_STEPS,
) -> Chain:
    """The best nested sequence through a front.

    Parameters
    ----------
    units : (u,) Unit
        What the plans choose from.
    plans : (n, u) int
        The front in order of cost; the first is the start.
    cents : (n,) int
    levels_w_m2 : (n,) float
    max_steps : int
        Steps after the start.

    Returns
    -------
    chain : Chain
        It ends at the last plan of the front that steps which only add can reach: the last of
        all, from a start that has nothing.

    Notes
    -----
    Dynamic programming over pairs of plans and the number of steps, O(steps n²). A level holds
    from where its step is paid to where the next one is.
    """
    count = len(plans)
    if count == 1:
        return Chain(
            plans=plans, cents=cents, levels_w_m2=levels_w_m2, mean_db=0.0, front_mean_db=0.0
        )
    relative_db = 10.0 * np.log10(levels_w_m2 / levels_w_m2[0])
    spent = np.diff(cents).astype(np.float64)
    whole = float(cents[-1] - cents[0])
    follows = np.ones((count, count), dtype=bool)
    for unit, table in enumerate(may_follow(units)):
        chosen = plans[:, unit]
        follows &= table[chosen[:, np.newaxis], chosen]
    follows &= np.arange(count)[:, np.newaxis] < np.arange(count)
    # holding plan i until plan j is paid for
    holding = relative_db[:, np.newaxis] * (cents - cents[:, np.newaxis])
    best = np.full((max_steps + 1, count), np.inf)
    came = np.zeros((max_steps + 1, count), dtype=np.int64)
    best[0, 0] = 0.0
    for step in range(1, max_steps + 1):
        through = np.where(follows, best[step - 1][:, np.newaxis] + holding, np.inf)
        came[step] = through.argmin(axis=0)
        best[step] = through.min(axis=0)
    place = int(np.flatnonzero(np.isfinite(best).any(axis=0))[-1])
    step = int(best[:, place].argmin())
    total = float(best[step, place] + holding[place, -1])
    chain = [place]
    for number in range(step, 0, -1):
        place = int(came[number, place])
        chain.append(place)
    kept = np.array(chain[::-1])
    scale = 1.0 / whole if whole > 0.0 else 0.0
    return Chain(
        plans=plans[kept],
        cents=cents[kept],
        levels_w_m2=levels_w_m2[kept],
        mean_db=total * scale,
        front_mean_db=float(relative_db[:-1] @ spent) * scale,
    )


def ordered_within(
    units: Sequence[Unit], before: Ints, after: Ints
) -> tuple[tuple[Unit, Option, Option], ...]:
    """What a step changes: unit, option before, option after."""
    return tuple(
        (unit, unit.options[int(one)], unit.options[int(other)])
        for unit, one, other in zip(units, before, after, strict=True)
        if one != other
    )
