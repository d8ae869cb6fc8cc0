"""The cheapest whole packages that hold at least a quantity: cans, rolls, boxes. Exact.

Contents are counted in whole hundredths of a unit and prices as exact decimals, so that no
rounding decides between two choices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from math import gcd

from envelope.errors import RangeError

STEP = Decimal("0.01")  # a content is told to a hundredth of its unit
MAX_STEPS = 2_000_000  # of one purchase, after common factors are taken out


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """One size in which a material is sold."""

    holds: Decimal  # in the unit in which the quantity is counted
    price: Decimal
    name: str = ""

    def __post_init__(self) -> None:
        if not (self.holds.is_finite() and self.holds >= STEP):
            raise RangeError(f"a package holds {self.holds}; allowed: {STEP} or more")
        if self.holds != self.holds.quantize(STEP, rounding=ROUND_HALF_EVEN):
            raise RangeError(f"a package holds {self.holds}; allowed: whole hundredths of its unit")
        if not (self.price.is_finite() and self.price >= 0):
            raise RangeError(f"a package costs {self.price}; allowed: 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """How many of each package, what they hold together and what they cost."""

    counts: tuple[int, ...]  # in the order of the packages that were offered
    holds: Decimal
    price: Decimal


def whole_steps(quantity: float | Decimal) -> int:
    """A quantity in hundredths of its unit, rounded up; what exceeds by rounding alone is not.

    Examples
    --------
    >>> whole_steps(1.0), whole_steps(1.001), whole_steps(0.1 + 0.2)
    (100, 101, 30)
    """
    exact = Decimal(repr(quantity)) if isinstance(quantity, float) else quantity
    if not exact.is_finite() or exact < 0:
        raise RangeError(f"a quantity is {quantity}; allowed: 0 or more")
    return int((exact / STEP - Decimal("1e-9")).to_integral_value(rounding=ROUND_CEILING))


def cheapest(quantity: float | Decimal, packages: Sequence[Package]) -> Purchase:
    """Buy at least a quantity for the least money.

    Among purchases of one price, take the one that holds more; then the one of fewer packages;
    then the one with more of the larger package.

    Parameters
    ----------
    quantity : float or Decimal
        What is needed, in the unit of the packages.
    packages : (n,) Package
        What is sold, each size any number of times.

    Returns
    -------
    purchase : Purchase
        Counts in the order of `packages`; none of any where nothing is needed.

    Raises
    ------
    RangeError
        Where no package is offered, or the quantity takes more than 2,000,000 steps.

    Notes
    -----
    Unbounded covering knapsack by dynamic programming over the quantity. Checked in the tests
    against enumeration.

    Examples
    --------
    >>> sizes = [
    ...     Package(holds=Decimal(5), price=Decimal(260)),
    ...     Package(holds=Decimal(1), price=Decimal(64)),
    ... ]
    >>> cheapest(8.2, sizes).counts, cheapest(6.5, sizes).counts
    ((1, 4), (1, 2))
    """
    needed = whole_steps(quantity)
    if needed == 0:
        return Purchase(counts=(0,) * len(packages), holds=Decimal(0), price=Decimal(0))
    if not packages:
        raise RangeError("no package is offered, so that nothing covers what is needed")
    sizes = [int(package.holds / STEP) for package in packages]
    unit = gcd(*sizes)
    steps = -(-needed // unit)
    if steps > MAX_STEPS:
        raise RangeError(
            f"{quantity} in packages of {min(p.holds for p in packages)} is more than "
            f"{MAX_STEPS:,} steps; state larger packages"
        )
    sizes = [size // unit for size in sizes]
    order = sorted(range(len(sizes)), key=lambda index: (-sizes[index], packages[index].price))
    # best[q]: (price, −content, packages) of the best purchase that covers q steps, and its last
    best: list[tuple[Decimal, int, int]] = [(Decimal(0), 0, 0)]
    last: list[int] = [-1]
    for left in range(1, steps + 1):
        found: tuple[Decimal, int, int] | None = None
        chosen = -1
        for index in order:
            before = best[max(0, left - sizes[index])]
            price = before[0] + packages[index].price
            option = (price, before[1] - sizes[index], before[2] + 1)
            if found is None or option < found:
                found, chosen = option, index
        assert found is not None
        best.append(found)
        last.append(chosen)
    counts = [0] * len(packages)
    left = steps
    while left > 0:
        counts[last[left]] += 1
        left -= sizes[last[left]]
    holds = sum((n * p.holds for n, p in zip(counts, packages, strict=True)), Decimal(0))
    price = sum((n * p.price for n, p in zip(counts, packages, strict=True)), Decimal(0))
    return Purchase(counts=tuple(counts), holds=holds, price=price)
