"""Cutting a flat region into cells: fine at its edges and over each run, coarse between.

A tensor grid along the panel's two axes is clipped at the outline and the holes; odd pieces
become triangles.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from envelope.geometry.plane import Floats

_GROWTH = 0.8  # metres of cell a metre away from a line where it must be fine
_SAME_M = 1e-6
_SLIVER_M2 = 1e-7
_STEPS = 401  # at which the wanted size is sampled between two lines


def breaks(
    start: float, end: float, *, coarse_m: float, lines: Iterable[tuple[float, float]]
) -> Floats:
    """Grid lines from start to end.

    Parameters
    ----------
    start, end : float
        First and last line. [m]
    coarse_m : float
        Largest step. [m]
    lines : iterable of (float, float)
        Where a line must run, and the step beside it; outside the range they are left out. [m]

    Returns
    -------
    breaks : (k,) float
        [m]
    """
    within = [(at, step) for at, step in lines if start - _SAME_M <= at <= end + _SAME_M]
    knots = [start]
    for at in sorted({at for at, _ in within}):
        if at - knots[-1] > 1e-3 and end - at > 1e-3:
            knots.append(at)
    knots.append(end)
    found = [np.array([start])]
    for low, high in itertools.pairwise(knots):
        along = np.linspace(low, high, _STEPS)
        size = np.full(_STEPS, coarse_m)
        for line, step in within:
            size = np.minimum(size, step + _GROWTH * np.abs(along - line))
        density = 1.0 / size
        total = np.concatenate(
            ([0.0], np.cumsum((density[1:] + density[:-1]) / 2.0 * np.diff(along)))
        )
        count = max(1, int(np.ceil(total[-1] - 1e-9)))
        found.append(np.interp(np.arange(1, count + 1) / count * total[-1], total, along))
    return np.concatenate(found)


def cells_of(region: shapely.Geometry, *, across: Floats, up: Floats) -> list[Floats]:
    """Cells of a region cut along grid lines.

    Parameters
    ----------
    region : shapely polygon or multipolygon
        In the plane's two axes. [m]
    across, up : (k,) float
        Grid lines along each axis. [m]

    Returns
    -------
    cells : list of (3 or 4, 2) float
        Convex, anticlockwise. [m]
    """
    low_x, low_y = (grid.ravel() for grid in np.meshgrid(across[:-1], up[:-1], indexing="ij"))
    high_x, high_y = (grid.ravel() for grid in np.meshgrid(across[1:], up[1:], indexing="ij"))
    boxes = shapely.box(low_x, low_y, high_x, high_y)
    shapely.prepare(region)
    whole = shapely.contains(region.buffer(_SAME_M), boxes)
    cells = [
        np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        for x0, y0, x1, y1 in zip(
            low_x[whole], low_y[whole], high_x[whole], high_y[whole], strict=True
        )
    ]
    part = np.flatnonzero(~whole & shapely.intersects(region, boxes))
    for piece in shapely.get_parts(shapely.intersection(region, boxes[part])):
        if piece.geom_type == "Polygon" and piece.area > _SLIVER_M2:
            cells += _convex(piece)
    return cells


def _convex(piece: shapely.Polygon) -> list[Floats]:
    """A polygon as it is where it has three or four corners and is convex, else triangles."""
    tidy = piece.simplify(_SAME_M)
    if not isinstance(tidy, shapely.Polygon) or tidy.is_empty:
        tidy = piece
    ring = np.asarray(shapely.normalize(tidy).exterior.coords)[:-1]
    if not tidy.interiors and len(ring) <= 4 and tidy.convex_hull.area - tidy.area < _SLIVER_M2:
        return [_anticlockwise(ring)]
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(tidy))
    return [
        _anticlockwise(np.asarray(each.exterior.coords)[:-1])
        for each in triangles
        if each.area > _SLIVER_M2
    ]


def _anticlockwise(ring: Floats) -> Floats:
    x, y = ring.T
    return ring if float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0.0 else ring[::-1]


def wire_pieces(path: Floats, *, step_m: float) -> list[Floats]:
    """Straight pieces (2, 3) of a path (k, 3), none longer than the step."""
    found: list[Floats] = []
    for start, end in itertools.pairwise(path):
        length = float(np.linalg.norm(end - start))
        if length < 1e-4:
            continue
        shares = np.linspace(0.0, 1.0, max(1, int(np.ceil(length / step_m - 1e-9))) + 1)
        points = start + shares[:, np.newaxis] * (end - start)
        found += [np.array(pair) for pair in itertools.pairwise(points)]
    return found


def bounds(corners: Sequence[Floats]) -> tuple[float, float, float, float]:
    """Least and greatest of both coordinates of some corners (k, 2)."""
    every = np.concatenate(list(corners))
    (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)
