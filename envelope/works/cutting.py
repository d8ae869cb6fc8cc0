"""Cutting plans: strips of roll goods over a face, films for panes, cloth for curtains, and rolls.

Lengths that come off a roll are counted in whole centimetres, rounded up: never short.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from math import ceil, prod
from typing import Literal

import numpy as np
import shapely

from envelope.errors import RangeError
from envelope.geometry.polygons import SLIVER_M2, Area, pieces
from envelope.pricing.packages import Package, cheapest

Direction = Literal["across", "along"]

MAX_PATTERNS = 20_000  # ways to cut one roll that are tried; beyond, rolls are filled greedily
MAX_LOOKED_AT = 20_000  # ways to cut what is left; beyond, a solver is asked
MAX_PIECES = 200  # likewise
_ROUNDING_M = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One piece cut from a roll, at its full width."""

    start_m: float  # where its edge lies across the strips' direction, in the face's frame
    low_m: float  # where it begins and ends along its direction, turn-ups left out
    high_m: float
    length_m: float  # cut length, turn-ups included


@dataclass(frozen=True, slots=True, kw_only=True)
class Strips:
    """How a face is covered from a roll."""

    direction: Direction  # the strips run along the face's second axis ("along") or first
    strips: tuple[Strip, ...]
    area_m2: float  # of the face
    width_m: float

    @property
    def length_m(self) -> float:
        """Off the roll, all strips together."""
        return sum(strip.length_m for strip in self.strips)

    @property
    def seams_m(self) -> tuple[float, ...]:
        """Where one strip begins over the one before, across their direction."""
        return tuple(sorted({strip.start_m for strip in self.strips})[1:])

    @property
    def waste(self) -> float:
        """Share of what comes off the roll that does not show on the face."""
        return 1.0 - self.area_m2 / (self.length_m * self.width_m)


def strips_over(area: Area, *, width_m: float, overlap_m: float, turn_up_m: float) -> Strips:
    """Cover a face with strips of a roll, in the direction that takes less of it.

    Parameters
    ----------
    area : polygon
        The face in its own frame, openings cut out. [m]
    width_m : float
        Of the roll. [m]
    overlap_m : float
        Of one strip over the next, below the width. [m]
    turn_up_m : float
        Onto the neighbouring face, at each end of a strip. [m]

    Returns
    -------
    strips : Strips
        Upright strips where both directions take the same. A strip that an opening interrupts over
        its whole width is cut in pieces.
    """
    plans = [
        _strips(turned, direction, width_m, overlap_m, turn_up_m)
        for direction, turned in (("along", area), ("across", _swapped(area)))
    ]
    return min(plans, key=lambda plan: round(plan.length_m, 6))


def _swapped(area: Area) -> Area:
    return shapely.transform(area, lambda points: points[:, ::-1])


def _strips(
    area: Area, direction: str, width_m: float, overlap_m: float, turn_up_m: float
) -> Strips:
    x0, y0, x1, y1 = area.bounds
    step = width_m - overlap_m
    count = max(1, ceil((x1 - x0 - overlap_m) / step - _ROUNDING_M))
    found = []
    for index in range(count):
        start = x0 + index * step
        part = area.intersection(shapely.box(start, y0 - 1.0, start + width_m, y1 + 1.0))
        for low, high in _spans(part):
            found.append(
                Strip(
                    start_m=start,
                    low_m=low,
                    high_m=high,
                    length_m=_up_to_centimetres(high - low + 2.0 * turn_up_m),
                )
            )
    return Strips(
        direction="along" if direction == "along" else "across",
        strips=tuple(found),
        area_m2=float(area.area),
        width_m=width_m,
    )


def _spans(part: Area) -> list[tuple[float, float]]:
    """Intervals along a strip that any of its parts reaches into."""
    spans = sorted(
        (piece.bounds[1], piece.bounds[3]) for piece in pieces(part) if piece.area > SLIVER_M2
    )
    joined: list[tuple[float, float]] = []
    for low, high in spans:
        if joined and low <= joined[-1][1] + _ROUNDING_M:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return joined


def _up_to_centimetres(length_m: float) -> float:
    return ceil(length_m * 100.0 - 1e-6) / 100.0


def film_pieces(*, pane_m: tuple[float, float], width_m: float, trim_m: float) -> tuple[float, ...]:
    """Lengths off a film roll for one pane: a single piece if either way fits, else strips.

    Parameters
    ----------
    pane_m : (2,) float
        Width and height of the pane. [m]
    width_m : float
        Of the roll. [m]
    trim_m : float
        Left over at each edge of a piece, for cutting it in place. [m]

    Returns
    -------
    lengths : tuple of float
        Several where the pane is wider than the roll both ways: butted, with a seam to seal. [m]
    """
    wide, high = (side + 2.0 * trim_m for side in pane_m)
    whole = [
        length for across, length in ((wide, high), (high, wide)) if across <= width_m + _ROUNDING_M
    ]
    if whole:
        return (_up_to_centimetres(min(whole)),)
    useful = width_m - 2.0 * trim_m
    if useful <= 0.0:
        raise RangeError(
            f"a film {width_m:g} m wide leaves nothing after a trim of {trim_m:g} m at each edge"
        )
    options = []
    for across, length in ((pane_m[0], high), (pane_m[1], wide)):
        count = ceil(across / useful - _ROUNDING_M)
        options.append((count * length, (_up_to_centimetres(length),) * count))
    return min(options)[1]


def curtain_drops(
    *,
    covered_m: float,
    drop_m: float,
    fullness: float,
    overlap_m: float,
    hem_m: float,
    width_m: float,
) -> tuple[float, ...]:
    """Lengths of cloth for a curtain: as many drops as its width takes.

    Parameters
    ----------
    covered_m : float
        Width that the closed curtain covers. [m]
    drop_m : float
        From the track to its lower edge. [m]
    fullness : float
        Cloth over covered width.
    overlap_m : float
        Added to the covered width, so that its sides lie over the wall. [m]
    hem_m : float
        Added to the drop. [m]
    width_m : float
        Of the cloth. [m]
    """
    count = max(1, ceil((covered_m + overlap_m) * fullness / width_m - _ROUNDING_M))
    return (_up_to_centimetres(drop_m + hem_m),) * count


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """One roll to buy, and what is cut from it."""

    package: int  # index of the package offered
    lengths_m: tuple[float, ...]  # longest first


def cut_rolls(lengths_m: Sequence[float], packages: Sequence[Package]) -> tuple[Roll, ...]:
    """The cheapest rolls from which all lengths can be cut, and what is cut from each.

    Parameters
    ----------
    lengths_m : (n,) float
        Pieces, none joined from two. [m]
    packages : (k,) Package
        Rolls offered; `holds` is a roll's length. [m]

    Returns
    -------
    rolls : tuple of Roll
        Every length is cut once.

    Raises
    ------
    RangeError
        Where a piece is longer than the longest roll, or no roll is offered.

    Notes
    -----
    Cutting stock over whole patterns (P. C. Gilmore and R. E. Gomory, Operations Research 9, 1961),
    solved exactly while a roll has at most 20,000 patterns, from what is left to be cut where that
    takes few looks and by HiGHS where it does not; beyond that the longest piece
    goes first, into the fullest roll that still holds it, for each size of roll, and the cheapest
    of these is taken.
    """
    if not lengths_m:
        return ()
    if not packages:
        raise RangeError("no roll is offered, so that nothing can be cut")
    wanted = Counter(ceil(length * 100.0 - 1e-6) for length in lengths_m)
    sizes = [int(package.holds * 100) for package in packages]
    longest = max(wanted)
    if longest > max(sizes):
        raise RangeError(
            f"a piece of {longest / 100:.2f} m is longer than the longest roll, "
            f"{max(sizes) / 100:.2f} m: it would have to be joined from two"
        )
    greedy = min(
        (
            plan
            for index in range(len(sizes))
            if sizes[index] >= longest
            for plan in [_greedy(wanted, index, sizes[index])]
        ),
        key=lambda plan: _price(plan, packages),
    )
    best, price = greedy, _price(greedy, packages)
    # rolls that hold all the length together cost at least this: nothing can be cheaper
    if price > cheapest(Decimal(sum(wanted.elements())) / 100, packages).price:
        exact = _exact(wanted, sizes, packages)
        if exact is not None and _price(exact, packages) < price:
            best = exact
    return tuple(sorted(best, key=lambda roll: (roll.package, [-x for x in roll.lengths_m])))


def _price(rolls: Sequence[Roll], packages: Sequence[Package]) -> Decimal:
    return sum((packages[roll.package].price for roll in rolls), Decimal(0))


def _greedy(wanted: Counter[int], index: int, size: int) -> list[Roll]:
    rolls: list[list[int]] = []
    for length in sorted(wanted.elements(), reverse=True):
        fitting = [roll for roll in rolls if sum(roll) + length <= size]
        if fitting:
            max(fitting, key=sum).append(length)
        else:
            rolls.append([length])
    return [_roll(index, roll) for roll in rolls]


def _roll(index: int, lengths: Sequence[int]) -> Roll:
    return Roll(package=index, lengths_m=tuple(sorted((x / 100 for x in lengths), reverse=True)))


def _patterns(lengths: Sequence[int], most: Sequence[int], size: int) -> list[tuple[int, ...]]:
    """Every way to fill a roll so that no further wanted piece fits; [] if they are too many."""
    found: list[tuple[int, ...]] = []

    def fill(place: int, left: int, counts: tuple[int, ...]) -> bool:
        if place == len(lengths):
            full = all(
                length > left or count >= limit
                for length, count, limit in zip(lengths, counts, most, strict=True)
            )
            if full:
                found.append(counts)
            return len(found) <= MAX_PATTERNS
        limit = min(most[place], left // lengths[place])
        return all(
            fill(place + 1, left - count * lengths[place], (*counts, count))
            for count in range(limit, -1, -1)
        )

    return found if fill(0, size, ()) else []


def _exact(
    wanted: Counter[int], sizes: Sequence[int], packages: Sequence[Package]
) -> list[Roll] | None:
    lengths = sorted(wanted, reverse=True)
    most = tuple(wanted[length] for length in lengths)
    columns: list[tuple[int, tuple[int, ...]]] = []
    for index, size in enumerate(sizes):
        patterns = _patterns(lengths, most, size)
        if not patterns:
            return None
        columns += [(index, pattern) for pattern in patterns if any(pattern)]
    prices = [packages[index].price for index, _ in columns]
    filled = [pattern for _, pattern in columns]
    looks = prod(count + 1 for count in most) * len(columns)
    if looks <= MAX_LOOKED_AT and sum(most) <= MAX_PIECES:
        chosen = _by_what_is_left(most, filled, prices)
    else:
        chosen = _by_solver(most, filled, prices)
    if chosen is None:
        return None
    left = dict(zip(lengths, most, strict=True))
    rolls = []
    for place in chosen:
        index, pattern = columns[place]
        cut = []
        for length, count in zip(lengths, pattern, strict=True):
            taken = min(count, left[length])
            left[length] -= taken
            cut += [length] * taken
        if cut:
            rolls.append(_roll(index, cut))
    return rolls if not any(left.values()) else None


def _by_what_is_left(
    most: tuple[int, ...], patterns: Sequence[tuple[int, ...]], prices: Sequence[Decimal]
) -> list[int] | None:
    """Numbers of the cheapest patterns, as often as they are cut, from what is left to be cut.

    A few pieces are soon looked at in all ways; the solver takes longer to load.
    """

    @cache
    def best(left: tuple[int, ...]) -> tuple[Decimal, tuple[int, ...]] | None:
        if not any(left):
            return Decimal(0), ()
        longest = next(place for place, count in enumerate(left) if count)
        found = None
        for number, pattern in enumerate(patterns):
            if not pattern[longest]:
                continue  # some roll holds the longest piece: let it be the next one
            rest = best(tuple(max(a - b, 0) for a, b in zip(left, pattern, strict=True)))
            if rest is not None:
                one = (prices[number] + rest[0], (number, *rest[1]))
                if found is None or one[0] < found[0]:
                    found = one
        return found

    answer = best(most)
    return None if answer is None else sorted(answer[1])


def _by_solver(
    most: tuple[int, ...], patterns: Sequence[tuple[int, ...]], prices: Sequence[Decimal]
) -> list[int] | None:
    """The same by an integer program."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # takes long to import

    answer = milp(
        np.array([float(price) for price in prices]),
        constraints=LinearConstraint(
            np.array(patterns, dtype=np.float64).T, lb=np.array(most, dtype=np.float64)
        ),
        integrality=np.ones(len(patterns)),
        bounds=Bounds(0, np.inf),
    )
    if answer.x is None:
        return None
    return np.repeat(np.arange(len(patterns)), np.round(answer.x).astype(int)).tolist()
