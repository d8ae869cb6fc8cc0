"""Colours: one map for quantities, amber for gaps, and codes that need no colour at all.

Nothing here knows how to draw; a colour is a string such as ``"#ffb000"`` or three floats 0 to 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ThemeName = Literal["light", "dark"]

# Support points of cividis (J. R. Nuñez, C. R. Anderton and R. S. Renslow, PLoS ONE 13(7):
# e0199239, 2018, doi:10.1371/journal.pone.0199239): entry of the 256-entry table, and its sRGB.
# Straight lines between them stay within 2/255 of the full table.
_CIVIDIS = {
    0: "#00224e",
    19: "#00306f",
    21: "#003170",
    23: "#013271",
    28: "#123570",
    34: "#1e3a6f",
    52: "#36466c",
    84: "#565c6d",
    126: "#7b7a78",
    147: "#8f8a78",
    179: "#aea371",
    205: "#c9b965",
    219: "#d9c55c",
    232: "#e7d150",
    243: "#f3db42",
    251: "#fde334",
    255: "#fee838",
}


def rgb(colour: str) -> tuple[float, float, float]:
    """Red, green and blue, 0 to 1, of ``"#rrggbb"``."""
    red, green, blue = (int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    return red, green, blue


def cividis(values: Floats) -> Floats:
    """Colours of values 0 (dark blue) to 1 (yellow); values outside take the nearest end.

    Parameters
    ----------
    values : (n,) float

    Returns
    -------
    colours : (n, 3) float
        sRGB, 0 to 1.
    """
    entries = np.clip(np.asarray(values, dtype=np.float64), 0.0, 1.0) * 255.0
    support = np.array([rgb(colour) for colour in _CIVIDIS.values()])
    positions = np.array(list(_CIVIDIS), dtype=np.float64)
    return np.column_stack([np.interp(entries, positions, support[:, k]) for k in range(3)])


def is_dark(colour: tuple[float, float, float] | str) -> bool:
    """Whether dark lines would be lost on a colour."""
    parts = rgb(colour) if isinstance(colour, str) else colour
    return sum(w * part for w, part in zip((0.2126, 0.7152, 0.0722), parts, strict=True)) < 0.2


def cividis_table(count: int = 64) -> tuple[str, ...]:
    """Evenly spaced colours of the map as ``"#rrggbb"``, for a legend or another language."""
    colours = np.rint(cividis(np.linspace(0.0, 1.0, count)) * 255).astype(int)
    return tuple(f"#{red:02x}{green:02x}{blue:02x}" for red, green, blue in colours)


AMBER = "#ffb000"  # outlines of gaps and their beams; nothing else may use it
AMBER_CASE = "#4a3000"  # the dark rim of an outline on a bright face
LANDING = "#ffd27a"  # where a beam lands
FURNITURE = {"foot": "#8f979e", "slab": "#d9dde0", "pillow": "#fbfaf7"}
SQUARENESS = {"pillow": 0.16}  # of soft furniture; towards 0 a sharp box


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """What everything that is no quantity looks like."""

    name: ThemeName
    paper: str  # ground, below
    paper_top: str  # ground, above
    ink: str  # words
    muted: str  # words of less weight
    edge: str  # where panels meet
    rim: str  # cut walls
    plinth: str  # what a storey stands on
    ghost: str  # rooms and storeys around the one shown
    ghost_edge: str
    neutral: str  # panels on which no quantity is known
    ring: str  # compass
    source: str  # arrows
    label: str  # ground of a label
    beam: str
    beam_edge: str
    shadow: float  # darkness of the shade on the ground, 0 to 1


LIGHT = Theme(
    name="light",
    paper="#f4f1ea",
    paper_top="#e3e6e8",
    ink="#1f2730",
    muted="#56606b",
    edge="#27313c",
    rim="#f8f6f2",
    plinth="#cdc7bb",
    ghost="#e4dfd5",
    ghost_edge="#b3ada1",
    neutral="#d8d2c6",
    ring="#8d949c",
    source="#8c2f5f",
    label="#ffffff",
    beam="#ffb52e",
    beam_edge="#9a5b00",
    shadow=0.3,
)
DARK = Theme(
    name="dark",
    paper="#10141a",
    paper_top="#26303c",
    ink="#f0f2f5",
    muted="#a9b3be",
    edge="#05080c",
    rim="#ccd3da",
    plinth="#343d49",
    ghost="#2c3541",
    ghost_edge="#56616f",
    neutral="#5a6470",
    ring="#74808d",
    source="#e887b4",
    label="#1a212b",
    beam="#ffb52e",
    beam_edge="#ffcf7a",
    shadow=0.6,
)
THEMES: dict[ThemeName, Theme] = {"light": LIGHT, "dark": DARK}


Pattern = Literal["plain", "rising", "falling", "dots", "cross", "upright", "level", "grid"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatmentStyle:
    """How a treatment is told apart: by its letter, by its pattern, and also by colour."""

    treatment: str
    letter: str
    colour: str
    pattern: Pattern


# Lightness L* of 32, 88, 41, 79, 60, 24, 50, 70: eight steps apart or more, so that they differ for
# every kind of colour vision and in a grey print; hue is an extra.
_TREATMENT_COLOURS = (
    "#2d4b80",
    "#eedcab",
    "#874d79",
    "#92cce4",
    "#b48950",
    "#4d3327",
    "#298288",
    "#d79ab0",
)
_PATTERNS: tuple[Pattern, ...] = (
    "plain",
    "rising",
    "dots",
    "cross",
    "falling",
    "upright",
    "grid",
    "level",
)


# Not those of the compass, nor those that look like a numeral.
_LETTERS = "ABCDFGHJKLMPQRTUVXYZ"


def letters(index: int) -> str:
    """Code of the treatment at a place in the list: A … Z, AA, AB …"""
    code = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, len(_LETTERS))
        code = _LETTERS[rest] + code
    return code


def treatment_styles(treatments: Sequence[str]) -> tuple[TreatmentStyle, ...]:
    """One style a treatment, in order; letters never repeat, colour with pattern only after 64."""
    count = len(_TREATMENT_COLOURS)
    return tuple(
        TreatmentStyle(
            treatment=treatment,
            letter=letters(index),
            colour=_TREATMENT_COLOURS[index % count],
            pattern=_PATTERNS[(index + index // count) % len(_PATTERNS)],
        )
        for index, treatment in enumerate(treatments)
    )
