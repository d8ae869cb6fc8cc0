"""The ground beside a building, from a terrain that a model draws: its top, not its body."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from envelope.geometry.plane import Floats

BESIDE_M = 0.6  # from the rooms' outline: past the outer wall
STEP_M = 0.5  # between the spots where the ground is looked for
SLOPES_M = 0.3  # from this spread on the ground is said to slope
MIN_COVERED = 0.25  # share of the spots that must lie over the terrain


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """Height of the ground where it meets the building. [m]"""

    height_m: float  # median of the spots
    low_m: float
    high_m: float

    @property
    def slopes(self) -> bool:
        """Whether one height stands badly for it."""
        return self.high_m - self.low_m > SLOPES_M


def grade_of(*, terrain: Floats, rooms: Floats) -> Grade | None:
    """Where a drawn terrain meets the building.

    Parameters
    ----------
    terrain : (m, 3, 3) float
        Triangles of a surface, or of a solid whose top counts. [m]
    rooms : (n, 3) float
        Corners of the rooms. [m]

    Returns
    -------
    grade : Grade or None
        None where the terrain does not reach the building.
    """
    if not len(terrain) or len(rooms) < 3:
        return None
    outline = shapely.MultiPoint(rooms[:, :2]).convex_hull.buffer(BESIDE_M)
    ring = outline.exterior
    spots = np.array(
        [ring.interpolate(along).coords[0] for along in np.arange(0.0, ring.length, STEP_M)]
    )
    heights = top_at(terrain, spots)
    found = heights[np.isfinite(heights)]
    if len(found) < MIN_COVERED * len(spots):
        return None
    return Grade(
        height_m=float(np.median(found)), low_m=float(found.min()), high_m=float(found.max())
    )


def top_at(triangles: Floats, spots: Floats) -> Floats:
    """Height (n,) of the topmost triangle over or under each spot (n, 2); −inf where there is none.

    Parameters
    ----------
    triangles : (m, 3, 3) float
    spots : (n, 2) float
    """
    a, b, c = (triangles[:, corner] for corner in range(3))
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    flat = np.abs(doubled) > 1e-12  # the sides of a solid stand upright
    a, b, c, doubled = a[flat], b[flat], c[flat], doubled[flat]
    heights = np.full(len(spots), -np.inf)
    for place, (x, y) in enumerate(spots):
        v = ((x - a[:, 0]) * (c[:, 1] - a[:, 1]) - (y - a[:, 1]) * (c[:, 0] - a[:, 0])) / doubled
        w = ((b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (b[:, 1] - a[:, 1]) * (x - a[:, 0])) / doubled
        over = (v >= -1e-9) & (w >= -1e-9) & (v + w <= 1.0 + 1e-9)
        if over.any():
            z = a[over, 2] + v[over] * (b[over, 2] - a[over, 2])
            z += w[over] * (c[over, 2] - a[over, 2])
            heights[place] = z.max()
    return heights
