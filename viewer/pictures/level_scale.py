"""Numbers of a level map: its scale, its round levels, and what lies between its points."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import distance_transform_edt, map_coordinates

from envelope.exposure.level_map import FloorLevels
from envelope.geometry.plane import Floats
from envelope.text import SPACE, trimmed
from viewer.scene.records import Scale

_SPAN_DB = (1.0, 30.0)  # least and most that the colours span
_END_DB = 0.5  # ends of the colours are whole steps of it where the room spans little
_WHOLE_FROM_DB = 4.0  # spans from which they are whole decibels
_FINE_M = 0.02  # pixels of the heat map
_CONTOURS = (4, 9)  # at least and at most, where the level varies enough
_FLOOR_W_M2 = 1e-18  # stands for nothing at all
# Preferred numbers of a decade, from coarse to fine: R10 and R20 of ISO 3 (from memory), shortened.
_SERIES = (
    (1.0,),
    (1.0, 2.0, 5.0),
    (1.0, 1.25, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0, 6.3, 8.0),
    (
        *(1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8),
        *(3.2, 3.6, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0),
    ),
    tuple(k / 10 for k in range(10, 100)),  # two figures, and three in steps of five: our own
    tuple(k / 20 for k in range(20, 200)),
)


def heat_scale(levels: FloorLevels) -> Scale:
    """Ends of the colours: just around what the room spans, so that its contours show.

    A room that spans little is spread over `_SPAN_DB[0]` at least; of one that spans much, what
    lies more than `_SPAN_DB[1]` below its highest level is all dark.
    """
    low_db, high_db = spanned(levels)
    step = 1.0 if high_db - low_db >= _WHOLE_FROM_DB else _END_DB
    high = step * math.ceil(high_db / step - 1e-9)
    low = step * math.floor(low_db / step + 1e-9)
    span = min(max(high - low, _SPAN_DB[0]), _SPAN_DB[1])
    return Scale(low_db=high - span, high_db=high)


def spanned(levels: FloorLevels) -> tuple[float, float]:
    """The lowest and the highest level of the room. [dB over 1 µW/m²]"""
    known = decibels(levels.level_w_m2[levels.inside])
    return float(known.min()), float(known.max())


def round_level(level_w_m2: float) -> str:
    """A round level such as ``"1 200 µW/m²"``, with no more figures than it has."""
    return f"{trimmed(level_w_m2 * 1e6)}{SPACE}µW/m²"


def contour_levels(levels: FloorLevels) -> tuple[float, ...]:
    """Round levels that lie between the lowest and the highest of the room. [W/m²]"""
    known = levels.level_w_m2[levels.inside] * 1e6
    low, high = max(float(known.min()), _FLOOR_W_M2 * 1e6), float(known.max())
    if not high > low:
        return ()
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    chosen: list[float] = []
    for series in _SERIES:
        found = [
            value * 10.0**decade
            for decade in decades
            for value in series
            if low < value * 10.0**decade < high
        ]
        if len(found) > _CONTOURS[1] and chosen:
            break
        chosen = found
        if len(found) >= _CONTOURS[0]:
            break
    step = max(1, math.ceil(len(chosen) / _CONTOURS[1]))
    return tuple(value * 1e-6 for value in chosen[::step])


def decibels(level_w_m2: Floats) -> Floats:
    """Decibels over 1 µW/m²."""
    return np.asarray(10.0 * np.log10(np.maximum(level_w_m2, _FLOOR_W_M2) * 1e6))


def fine_levels(levels: FloorLevels) -> tuple[Floats, Floats, Floats]:
    """Decibels over 1 µW/m² between the points, joined straight; beyond them, the nearest.

    Returns
    -------
    x_m, y_m : (nx,), (ny,) float
    values_db : (ny, nx) float
    """
    known = decibels(np.where(levels.inside, levels.level_w_m2, 1.0))
    nearest = distance_transform_edt(~levels.inside, return_distances=False, return_indices=True)
    filled = known[tuple(nearest)]
    axes = []
    for middles in (levels.x_m, levels.y_m):
        step = float(middles[1] - middles[0]) if len(middles) > 1 else 1.0
        count = max(2, round(len(middles) * step / _FINE_M))
        # over the whole cells, half a step beyond the outer points
        axes.append(((np.arange(count) + 0.5) / count * len(middles) - 0.5, middles[0], step))
    (columns, x0, dx), (rows, y0, dy) = axes
    values = map_coordinates(
        filled, np.meshgrid(rows, columns, indexing="ij"), order=1, mode="nearest"
    )
    return x0 + columns * dx, y0 + rows * dy, np.asarray(values)


def level_at(levels: FloorLevels, position_m: Floats) -> float:
    """Level at a place of the map, joined straight in decibels as it is drawn. [W/m²]"""
    x, y, values = fine_levels(levels)
    column = int(np.abs(x - position_m[0]).argmin())
    row = int(np.abs(y - position_m[1]).argmin())
    return float(10.0 ** (values[row, column] / 10.0) * 1e-6)
