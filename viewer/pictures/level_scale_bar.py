"""The colours of a level map, with decibels on one side and the contours' levels on the other."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from envelope.exposure.level_map import FloorLevels
from envelope.text import level, trimmed
from viewer.pictures.level_scale import contour_levels, decibels
from viewer.scene.colours import Theme, cividis
from viewer.scene.records import Scale


def draw_scale(figure: Any, theme: Theme, scale: Scale, levels: FloorLevels) -> None:
    """The colours, with decibels on one side and plain levels on the other."""
    strip = figure.add_axes((0.875, 0.34, 0.026, 0.42))
    strip.imshow(
        cividis(np.linspace(0.0, 1.0, 256))[:, np.newaxis, :],
        extent=(0.0, 1.0, scale.low_db, scale.high_db),
        origin="lower",
        aspect="auto",
    )
    strip.set_xticks([])
    span = scale.high_db - scale.low_db
    step = next((each for each in (0.25, 0.5, 1.0, 2.0, 5.0) if span <= 8.0 * each), 10.0)
    ticks = np.arange(math.ceil(scale.low_db / step) * step, scale.high_db + 1e-9, step)
    strip.set_yticks(ticks, [f"{tick:g}".replace("-", "−") for tick in ticks])
    strip.tick_params(colors=theme.muted, labelsize=9, length=4)
    beside = strip.secondary_yaxis("right")
    # the contours' own levels, so that each can be found on the scale
    lines = [at for at in contour_levels(levels) if _holds(scale, at)]
    beside.set_yticks(
        [float(decibels(np.array(at))) for at in lines], [trimmed(at * 1e6) for at in lines]
    )
    beside.tick_params(colors=theme.ink, labelsize=10, length=4)
    for edge in (*strip.spines.values(), *beside.spines.values()):
        edge.set_color(theme.muted)
    for x, words, colour, align in (
        (0.87, "dB over\n1 µW/m²", theme.muted, "right"),
        (0.906, "level,\nµW/m²", theme.ink, "left"),
    ):
        figure.text(x, 0.775, words, color=colour, fontsize=9.5, ha=align, va="bottom")
    usual = level(float(np.nanmedian(levels.outside_w_m2)))
    figure.text(
        0.888,
        0.315,
        f"outdoors: {usual}",
        color=theme.muted,
        fontsize=9,
        ha="center",
        va="center",
    )


def _holds(scale: Scale, level_w_m2: float) -> bool:
    """Whether a level lies on a scale."""
    return scale.low_db <= float(decibels(np.array(level_w_m2))) <= scale.high_db
