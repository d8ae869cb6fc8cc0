"""What is to be drawn of a stage, as plain arrays: it goes to the process that draws.

That process loads VTK and this module, so nothing here imports more than numpy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rgb = tuple[float, float, float]  # 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solid:
    """Triangles in one colour."""

    vertices_m: Floats  # (n, 3)
    triangles: NDArray[np.int32]  # (t, 3)
    colour: Rgb
    opacity: float
    lit: bool
    smooth: bool
    fade: Floats | None  # (t,) opacity of each triangle
    over: bool  # drawn before everything that hides it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bar:
    """A line, drawn as a round bar."""

    points_m: Floats  # (n, 3)
    radius_m: float
    colour: Rgb
    opacity: float
    closed: bool
    glows: bool
    over: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Eye:
    """Where a picture is taken from, in parallel projection."""

    target_m: Floats  # (3,) in the picture's middle
    towards_eye: Floats  # (3,) unit vectors
    right: Floats
    up: Floats
    metres_per_pixel: float
    size: tuple[int, int]  # width, height [pixels]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """Everything of one picture but its words."""

    eye: Eye
    solids: tuple[Solid, ...]
    bars: tuple[Bar, ...]
    paper: Rgb  # of the ground at the bottom
    paper_top: Rgb
    glow: Rgb
    unit: float  # size of type and of soft edges, 1 at 1600 by 1100 pixels
    scale: int  # so many samples across and down each pixel
