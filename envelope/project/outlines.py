"""Corners of a room from its footprint, its walk or its size, in its own coordinates.

Corners run counter-clockwise, so that a wall's inside lies on its left. What is refused here: an
outline that crosses or touches itself, one that runs clockwise, a walk that does not close.
"""

from __future__ import annotations

import math

import numpy as np

from envelope.errors import RangeError, length_text
from envelope.geometry.plane import Floats
from envelope.units import Leg, parse_footprint, parse_size, parse_walk

Corners = tuple[tuple[float, float], ...]

# Lengths taken with a tape are read to the millimetre; half of one is rounding, more is a mistake.
_CLOSES_M = 5e-4
_APART_M = 1e-4  # corners closer than this are one and the same
_MOST_CORNERS = 400


def size_corners(text: str) -> Corners:
    """Corners of a rectangle: x by y."""
    width, depth = parse_size(text)
    if min(width, depth) <= 0.0:
        raise RangeError(f'"{text}" is out of range: both lengths must be above 0 m')
    return _checked(((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)), clockwise="")


def footprint_corners(text: str) -> Corners:
    """Corners of a footprint as written."""
    corners = parse_footprint(text)
    return _checked(corners, clockwise="write its corners in the opposite order")


def walk_corners(text: str) -> Corners:
    """Corners of a walk round the room, which starts at 0,0."""
    legs = parse_walk(text)
    if len(legs) < 3:
        raise RangeError(f"the walk has {len(legs)} legs: a room has at least 3")
    corners = [(0.0, 0.0)]
    for leg in legs[:-1]:
        assert leg.length_m is not None  # the parser allows only the last to lack one
        x, y = corners[-1]
        corners.append((x + leg.direction[0] * leg.length_m, y + leg.direction[1] * leg.length_m))
    _check_closing(corners[-1], legs[-1], number=len(legs))
    return _checked(
        tuple(corners),
        clockwise="go round the other way, so that the room lies on your left, for example "
        '"E 4.2 m; N 3.6 m; W 4.2 m; S"',
    )


def _check_closing(end: tuple[float, float], leg: Leg, *, number: int) -> None:
    """Refuse a last leg that does not lead back to the start."""
    along = -(end[0] * leg.direction[0] + end[1] * leg.direction[1])
    length_m = along if leg.length_m is None else leg.length_m
    miss_x = end[0] + leg.direction[0] * length_m
    miss_y = end[1] + leg.direction[1] * length_m
    if math.hypot(miss_x, miss_y) <= _CLOSES_M and along > _APART_M:
        return
    if leg.length_m is None and along <= _APART_M:
        raise RangeError(
            f"the walk does not close: leg {number} goes {leg.name}, away from the start, "
            f"which lies {_offset(-end[0], -end[1])} of the corner before it"
        )
    raise RangeError(
        f"the walk does not close: it ends {_offset(miss_x, miss_y)} of where it began"
    )


def _offset(x: float, y: float) -> str:
    """Way from one point to another in words: ``0.12 m east and 0.05 m north``."""
    words = []
    if abs(x) > 5e-5:
        words.append(f"{length_text(abs(x), f'{abs(x):.4f} m')} {'east' if x > 0 else 'west'}")
    if abs(y) > 5e-5:
        words.append(f"{length_text(abs(y), f'{abs(y):.4f} m')} {'north' if y > 0 else 'south'}")
    return " and ".join(words) or "0 m"


def _checked(corners: Corners, *, clockwise: str) -> Corners:
    if len(corners) < 3:
        raise RangeError(f"the outline has {len(corners)} corners: a room has at least 3")
    if len(corners) > _MOST_CORNERS:
        raise RangeError(
            f"the outline has {len(corners)} corners: at most {_MOST_CORNERS} are allowed"
        )
    points = np.array(corners)
    if np.abs(points).max() > 1e5:
        raise RangeError("the outline reaches farther than 100 km from its origin")
    sides = np.roll(points, -1, axis=0) - points
    short = np.flatnonzero(np.hypot(sides[:, 0], sides[:, 1]) < _APART_M)
    if len(short):
        first = int(short[0])
        second = (first + 1) % len(corners)
        raise RangeError(f"corners {first + 1} and {second + 1} of the outline are the same point")
    crossing = _crossing(points, sides)
    if crossing is not None:
        raise RangeError(
            f"the outline crosses itself: wall {crossing[0] + 1} meets wall {crossing[1] + 1}"
        )
    if _area(points) < 0.0:
        raise RangeError(f"the outline runs clockwise: {clockwise}")
    return corners


def _area(points: Floats) -> float:
    local = points - points[0]
    after = np.roll(local, -1, axis=0)
    return float((local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0]).sum() / 2.0)


def _crossing(points: Floats, sides: Floats) -> tuple[int, int] | None:
    """First pair of walls that meet elsewhere than at their common corner.

    Two stretches meet where each one's ends lie on both sides of the other, or where an end of
    one lies on the other. Neighbours always share a corner: they are refused only where one
    folds back along the other, which is where the far end of either lies on it.
    """
    count = len(points)
    after = np.roll(points, -1, axis=0)
    for index in range(count):
        begin, side = points[index], sides[index]
        left = _turn(side, points - begin)
        left_after = np.roll(left, -1)
        right = _turn(sides, begin - points)
        right_after = _turn(sides, begin + side - points)
        meets = (left * left_after < 0.0) & (right * right_after < 0.0)
        meets |= _on(points, begin, side) | _on(after, begin, side)
        neighbours = {index, (index + 1) % count, (index - 1) % count}
        meets[list(neighbours)] = False
        found = np.flatnonzero(meets)
        if len(found):
            return _pair(index, int(found[0]))
        following = (index + 1) % count
        if _on(after[following : following + 1], begin, side)[0]:
            return _pair(index, following)
        before = (index - 1) % count
        if _on(points[before : before + 1], begin, side)[0]:
            return _pair(index, before)
    return None


def _pair(first: int, second: int) -> tuple[int, int]:
    return min(first, second), max(first, second)


def _turn(side: Floats, to: Floats) -> Floats:
    """Which side of a stretch points lie on (its cross product). [m²]"""
    return np.asarray(side[..., 0] * to[..., 1] - side[..., 1] * to[..., 0])


def _on(points: Floats, begin: Floats, side: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether points lie on a stretch, within the distance at which corners are welded."""
    share = np.clip((points - begin) @ side / (side @ side), 0.0, 1.0)
    away = points - begin - share[:, np.newaxis] * side
    result: np.ndarray[tuple[int], np.dtype[np.bool_]] = np.hypot(away[:, 0], away[:, 1]) < _APART_M
    return result
