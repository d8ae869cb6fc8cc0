"""What each option of each unit costs, as whole cents: its own, set-ups it shares, packages.

    cost(x) = Σ own + Σ set-ups used once + Σ over materials of the cheapest packages that hold what
    all units together take

It never falls when something is added, so a partial plan's cost bounds that of its completions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from envelope.errors import RangeError
from envelope.pricing.packages import Package, whole_steps

Ints = NDArray[np.int64]
MAX_STAIR_STEPS = 2_000_000
MAX_SETUPS = 62  # bits of a whole number


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionCost:
    """What choosing an option costs."""

    own_cents: int = 0
    setups: tuple[str, ...] = ()  # names; each is paid once, whoever needs it
    amounts: tuple[tuple[str, float], ...] = ()  # material → quantity in its unit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Purchases:
    """Costs of all options, as arrays."""

    own_cents: tuple[Ints, ...]  # (options,) of each unit
    setup_bits: tuple[Ints, ...]  # (options,) of each unit
    setup_cents: Ints  # (set-ups,)
    amounts: tuple[Ints, ...]  # (options, materials) of each unit, in hundredths
    stairs: tuple[tuple[Ints, Ints], ...]  # of each material: quantities, prices

    @classmethod
    def of(
        cls,
        options: Sequence[Sequence[OptionCost]],
        *,
        setups: dict[str, int],
        packages: dict[str, tuple[Package, ...]],
    ) -> Purchases:
        """Gather options of units.

        Parameters
        ----------
        options : (units, options) OptionCost
            The first of each unit is what costs least, as a rule nothing.
        setups : mapping of str to int
            Cents of each set-up that an option names.
        packages : mapping of str to packages
            Of each material that an option takes.
        """
        names = sorted(setups)
        if len(names) > MAX_SETUPS:
            raise RangeError(f"{len(names)} set-ups: at most {MAX_SETUPS} are allowed")
        bit = {name: 1 << place for place, name in enumerate(names)}
        materials = sorted(packages)
        amounts = []
        for unit in options:
            table = np.zeros((len(unit), len(materials)), dtype=np.int64)
            for row, option in enumerate(unit):
                for name, quantity in option.amounts:
                    table[row, materials.index(name)] += whole_steps(quantity)
            amounts.append(table)
        most = sum((table.max(axis=0) for table in amounts), np.zeros(len(materials), np.int64))
        return cls(
            own_cents=tuple(
                np.array([option.own_cents for option in unit], dtype=np.int64) for unit in options
            ),
            setup_bits=tuple(
                np.array(
                    [sum({bit[name] for name in option.setups}) for option in unit], dtype=np.int64
                )
                for unit in options
            ),
            setup_cents=np.array([setups[name] for name in names], dtype=np.int64),
            amounts=tuple(amounts),
            stairs=tuple(
                staircase(int(limit), packages[name])
                for name, limit in zip(materials, np.atleast_1d(most), strict=True)
            ),
        )

    def cents(self, plans: Ints) -> Ints:
        """Cost (n,) of plans (n, units). [cents]"""
        chosen = np.atleast_2d(plans)
        total = np.zeros(len(chosen), dtype=np.int64)
        bits = np.zeros(len(chosen), dtype=np.int64)
        taken = np.zeros((len(chosen), len(self.stairs)), dtype=np.int64)
        for unit in range(chosen.shape[1]):
            total += self.own_cents[unit][chosen[:, unit]]
            bits |= self.setup_bits[unit][chosen[:, unit]]
            taken += self.amounts[unit][chosen[:, unit]]
        for place, cents in enumerate(self.setup_cents):
            total += cents * ((bits >> place) & 1)
        for material, (edges, prices) in enumerate(self.stairs):
            step = np.searchsorted(edges, taken[:, material])
            total += np.where(taken[:, material] > 0, prices[step], 0)
        return total


def cents_of(amount: Decimal) -> int:
    """An amount in cents, rounded half up."""
    return int((amount * 100).to_integral_value(rounding="ROUND_HALF_UP"))


def staircase(most: int, packages: Sequence[Package]) -> tuple[Ints, Ints]:
    """Price of the cheapest packages for every quantity up to `most` hundredths.

    Returns
    -------
    edges, prices : (k,) int
        A quantity above ``edges[i - 1]`` and up to ``edges[i]`` costs ``prices[i]`` cents.
    """
    if most > MAX_STAIR_STEPS:
        raise RangeError(f"a quantity of {most / 100:,.0f} is more than packages are searched for")
    if most == 0:
        return np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    if not packages:
        raise RangeError("no package is offered, so that nothing covers what is needed")
    sizes = [(int(each.holds * 100), cents_of(each.price)) for each in packages]
    best = np.zeros(most + 1, dtype=np.int64)
    for quantity in range(1, most + 1):
        best[quantity] = min(best[max(0, quantity - size)] + price for size, price in sizes)
    edges = np.append(np.flatnonzero(np.diff(best[1:])) + 1, most)
    return edges.astype(np.int64), best[edges]
