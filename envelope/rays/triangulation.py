"""Triangles that fill a panel, and a seed for its points: of its shape alone, whoever drew it.

A panel that comes back from another program starts at another corner, lists its holes in another
order and is rounded to float32. Its triangles and its points stay the same: every choice between
equals is made in a skewed picture of the panel, in which no two are equal.
"""

from __future__ import annotations

import zlib

import numpy as np
import shapely
from numpy.typing import NDArray

from envelope.building.model import Panel
from envelope.geometry.plane import Floats

# Takes every rectangle to a parallelogram, so that one diagonal is clearly the shorter, and every
# row of equal openings to a row in which each has its place.
_SKEW = np.array([[1.0, 0.31], [0.17, 1.07]])
_ALONG = np.array([0.618034, 0.786151])  # by which corners and triangles are put in order
_CELL_M = 0.05  # seeds follow the shape no finer than this
_STRAIGHT_M = 2e-6  # a corner nearer to the line between its neighbours is none
_OFF = 0.381966  # of a cell, so that no round dimension lies between two of them


def filling(panel: Panel) -> Floats:
    """Triangles (k, 3, 3) that fill a panel and leave its holes free. [m]

    Their corners are the panel's own. Neither order nor corners depend on where its rings start,
    on the order of its holes, on corners at which they run on straight, nor on a rounding of a
    micrometre.
    """
    rings = [_turning(ring, panel.frame.flatten(ring)) for ring in (panel.outline, *panel.holes)]
    corners = np.concatenate(rings)
    skewed = panel.frame.flatten(corners) @ _SKEW
    picked = np.array([[0, 1, 2]]) if len(corners) == 3 else _cut(rings, skewed)
    place = skewed @ _ALONG
    first = place[picked].argmin(axis=1)
    picked = picked[np.arange(len(picked))[:, np.newaxis], (first[:, np.newaxis] + range(3)) % 3]
    sides = np.diff(skewed[picked], axis=1)
    clockwise = sides[:, 0, 0] * sides[:, 1, 1] < sides[:, 0, 1] * sides[:, 1, 0]
    picked[clockwise] = picked[clockwise][:, [0, 2, 1]]
    order = np.argsort(place[picked].sum(axis=1), kind="stable")
    # lowest corner last: of the six ways to list the corners the one whose points scatter least,
    # by a fifth, over a hundred scrambles in two rooms
    triangles: Floats = corners[picked[order][:, ::-1]]
    return triangles


def _cut(rings: list[Floats], skewed: Floats) -> NDArray[np.int64]:
    """Which corners make each triangle (k, 3)."""
    outline, *holes = np.split(skewed, np.cumsum([len(ring) for ring in rings])[:-1])
    number = {(x, y): index for index, (x, y) in enumerate(skewed.tolist())}
    flat = shapely.constrained_delaunay_triangles(shapely.Polygon(outline, holes))
    pieces = [shapely.get_coordinates(piece)[:3].tolist() for piece in shapely.get_parts(flat)]
    return np.array([[number[x, y] for x, y in piece] for piece in pieces])


def _turning(ring: Floats, flat: Floats) -> Floats:
    """Corners of a ring at which it turns; others stand where only a neighbour has a corner."""
    start = int((flat @ _SKEW @ _ALONG).argmin())  # at an end of the ring, where it turns
    ring, flat = np.roll(ring, -start, axis=0), np.roll(flat, -start, axis=0)
    kept = [0]
    for here in range(1, len(flat)):
        one, two = flat[here] - flat[kept[-1]], flat[(here + 1) % len(flat)] - flat[kept[-1]]
        length = float(np.hypot(*two))
        off = abs(one[0] * two[1] - one[1] * two[0])
        if off > _STRAIGHT_M * length or not 0.0 < float(one @ two) < length**2:
            kept.append(here)
    return ring[kept] if len(kept) > 2 else ring


def seed_of(triangles: Floats, corner: Floats) -> int:
    """Seed for the points of a panel.

    It follows the panel's size, its place in its space and the way it faces, in steps of 5 cm:
    not its name nor its number, which other programs change, nor its exact corners, which they
    round. Two panels that share one are no harm, as errors are told from whole casts.

    Parameters
    ----------
    triangles : (k, 3, 3) float
        That fill it. [m]
    corner : (3,) float
        Lowest corner of the box about its space. [m]
    """
    vectors = 0.5 * np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    areas = np.linalg.norm(vectors, axis=1)
    area = float(areas.sum())
    middle = areas @ triangles.mean(axis=1) / area - corner
    values = np.concatenate((middle, vectors.sum(axis=0) / area * _CELL_M, [np.sqrt(area)]))
    cells = np.floor(values / _CELL_M + _OFF).astype("<i8")
    return zlib.crc32(cells.tobytes())
