"""Placing labels on a picture so that none covers another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

Box = tuple[float, float, float, float]  # left, top, right, bottom [pixels]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A label that wants to stand near a place."""

    text: str
    size: tuple[float, float]  # width, height, frame included [pixels]
    anchor: tuple[float, float]  # what it speaks of [pixels]
    around: Box | None = None  # outline of that thing, which the label should rather not cover


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A label with its place."""

    wanted: Wanted
    box: Box

    @property
    def leader(self) -> tuple[float, float]:
        """Point of the frame nearest to the anchor, where a leader line starts."""
        left, top, right, bottom = self.box
        x, y = self.wanted.anchor
        return min(max(x, left), right), min(max(y, top), bottom)

    @property
    def apart(self) -> float:
        """From the frame to what the label speaks of; 0 where they touch. [pixels]"""
        left, top, right, bottom = self.box
        x, y = self.wanted.anchor
        thing = self.wanted.around or (x, y, x, y)
        across = max(thing[0] - right, left - thing[2], 0.0)
        down = max(thing[1] - bottom, top - thing[3], 0.0)
        return math.hypot(across, down)

    @property
    def holds_anchor(self) -> bool:
        """Whether the label lies over what it speaks of, so that it needs no leader."""
        left, top, right, bottom = self.box
        x, y = self.wanted.anchor
        return left <= x <= right and top <= y <= bottom


def overlap(a: Box, b: Box) -> float:
    """Shared area of two boxes. [pixels²]"""
    width = min(a[2], b[2]) - max(a[0], b[0])
    height = min(a[3], b[3]) - max(a[1], b[1])
    return max(width, 0.0) * max(height, 0.0)


def grown(box: Box, by: float) -> Box:
    """A box with a margin."""
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def place(
    *,
    wanted: Sequence[Wanted],
    frame: Box,
    taken: Sequence[Box] = (),
    avoid: Sequence[Box] = (),
    gap: float = 6.0,
) -> tuple[Placed, ...]:
    """Places for labels, the first being the most important.

    A label stays inside `frame`, never covers another nor a `taken` box, rather not an `avoid`
    one, and stays near its anchor. A label for which no place is free is left out.
    """
    placed: list[Placed] = []
    for want in wanted:
        best: tuple[float, Box] | None = None
        blocked = [grown(done.box, gap) for done in placed] + list(taken)
        spots = [_around_point(other.anchor) for other in wanted if other is not want]
        for box, cost in _candidates(want, frame):
            if best is not None and cost >= best[0]:
                continue
            if any(overlap(box, other) > 0.0 for other in blocked):
                continue
            area = want.size[0] * want.size[1]
            cost += 2.0 * sum(overlap(box, other) for other in avoid) / area
            if want.around is not None:
                cost += 0.8 * overlap(box, want.around) / area
            cost += 3.0 * sum(overlap(box, spot) > 0 for spot in spots)
            cost += 3.0 * _crossings(Placed(wanted=want, box=box), placed)
            if best is None or cost < best[0]:
                best = (cost, box)
        if best is not None:
            placed.append(Placed(wanted=want, box=best[1]))
    return tuple(placed)


def _crossings(new: Placed, placed: Sequence[Placed]) -> int:
    """Leader lines that would run through a label: the new one's, or those of labels before."""
    return sum(
        _meets(new.leader, new.wanted.anchor, done.box)
        + _meets(done.leader, done.wanted.anchor, new.box)
        for done in placed
    )


def _meets(a: tuple[float, float], b: tuple[float, float], box: Box) -> bool:
    """Whether a straight line from a to b runs through a box."""
    first, last = 0.0, 1.0
    for k in (0, 1):
        run = b[k] - a[k]
        if run == 0.0:
            if not box[k] < a[k] < box[k + 2]:
                return False
            continue
        ends = sorted(((box[k] - a[k]) / run, (box[k + 2] - a[k]) / run))
        first, last = max(first, ends[0]), min(last, ends[1])
    return first < last


def _around_point(point: tuple[float, float]) -> Box:
    return point[0] - 5, point[1] - 5, point[0] + 5, point[1] + 5


def _candidates(want: Wanted, frame: Box) -> list[tuple[Box, float]]:
    """Boxes around the anchor inside the frame, each with its cost: near and above is cheap."""
    width, height = want.size
    x, y = want.anchor
    centres: list[tuple[float, float, float]] = []
    if want.around is not None:
        left, top, right, bottom = want.around
        middle = (left + right) / 2
        centres += [
            (middle, top - height / 2 - 4, 0.0),
            (middle, bottom + height / 2 + 4, 0.12),
            (left - width / 2 - 4, (top + bottom) / 2, 0.2),
            (right + width / 2 + 4, (top + bottom) / 2, 0.2),
        ]
    for step in range(1, 14):
        reach = step * 0.9 * height
        for k in range(16):
            angle = k * math.pi / 8
            dx, dy = math.cos(angle) * reach, -math.sin(angle) * reach
            # the frame's edge, not its middle, is that far away
            dx += math.copysign(width / 2, dx) if abs(dx) > 1e-6 else 0.0
            centres.append((x + dx, y + dy, 0.10 * step + 0.04 * (1 - math.sin(angle))))
    found = []
    for cx, cy, cost in centres:
        box = (cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2)
        if box[0] < frame[0] or box[1] < frame[1] or box[2] > frame[2] or box[3] > frame[3]:
            continue
        found.append((box, cost))
    return sorted(found, key=lambda pair: pair[1])
