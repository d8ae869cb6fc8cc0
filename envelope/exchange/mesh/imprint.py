"""Faces of bodies and sheets cut where they touch or cross, so that together they enclose rooms.

Walls drawn as boxes stand on a slab, panes stand in the openings of a wall, and none of their edges
meet. Each face is cut along what lies on it and what goes through it::

      slab ───────┬──┬──── slab          the slab's top becomes three faces, the middle
                  │  │ wall              one of which is the wall's bottom too
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from scipy.spatial import cKDTree

from envelope.exchange.mesh.soup import (
    FLAT_M,
    Ints,
    Soup,
    joined,
    next_corner,
    soup_of,
    weld,
    without_slivers,
)
from envelope.geometry.plane import Floats, Frame, frame_of
from envelope.geometry.polygons import WELD_M, Area, ring_of

MOST_FACES = 4_000
MOST_CROSSINGS = 20_000  # pairs of faces of which one goes through the other's plane beside it
LONGER_M = 1e-5  # than drawn are lines, so that they reach what they end at
GRID_M = 1e-7  # on which lines that all but coincide become one


def imprinted(soup: Soup) -> Soup:
    """Faces cut along those that touch or cross them; the same where there are too many."""
    if soup.faces > MOST_FACES:
        return soup
    spots = soup.points[soup.corners]
    edges = np.stack((spots, soup.points[soup.corners[next_corner(soup.start)]]), axis=1)
    low = np.minimum.reduceat(spots, soup.start[:-1]) - FLAT_M
    high = np.maximum.reduceat(spots, soup.start[:-1]) + FLAT_M
    flats = [_flat(spots[a:b]) for a, b in pairwise(soup.start.tolist())]
    rings: list[Floats] = []
    label: list[int] = []
    keep = np.ones(soup.faces, dtype=bool)
    meeting: list[tuple[Ints, Ints]] = []
    crossings = 0
    for face, (frame, _) in enumerate(flats):
        heights = (spots - frame.origin) @ frame.normal
        over = np.maximum.reduceat(heights, soup.start[:-1]) > FLAT_M
        under = np.minimum.reduceat(heights, soup.start[:-1]) < -FLAT_M
        near = np.all((low <= high[face]) & (high >= low[face]), axis=1)
        ends = np.abs(heights) <= FLAT_M
        on = ends & ends[next_corner(soup.start)] & near[soup.face_of] & (soup.face_of != face)
        meeting.append((np.flatnonzero(on), np.flatnonzero(near & over & under)))
        crossings += len(meeting[-1][1])
        if crossings > MOST_CROSSINGS:
            return soup
    for face, ((frame, outline), (on, through)) in enumerate(zip(flats, meeting, strict=True)):
        lines = [frame.flatten(edge) for edge in edges[on]]
        for other in through.tolist():
            lines += _through(frame, *flats[other])
        parts = _parts(outline, lines)
        if len(parts) > 1:
            keep[face] = False
            rings += [frame.lift(part) for part in parts]
            label += [int(soup.label[face])] * len(parts)
    if not rings:
        return soup
    stops = np.cumsum([0, *(len(ring) for ring in rings)]).tolist()
    fresh = soup_of(
        points=np.concatenate(rings),
        faces=[range(first, last) for first, last in pairwise(stops)],
        label=label,
        labels=soup.labels,
    )
    return _conforming(without_slivers(weld(joined([soup.select(keep), fresh], soup.labels))))


def _conforming(soup: Soup) -> Soup:
    """Corners that lie on an edge of another face put among the corners of that one."""
    points = soup.points[np.unique(soup.corners)]
    tree = cKDTree(points)
    following = soup.corners[next_corner(soup.start)]
    one, two = soup.points[soup.corners], soup.points[following]
    half = 0.5 * np.linalg.norm(two - one, axis=1)
    balls = tree.query_ball_point(0.5 * (one + two), half)
    rings: list[Floats] = []
    for face in range(soup.faces):
        ring = []
        for edge in range(int(soup.start[face]), int(soup.start[face + 1])):
            ring.append(one[edge][np.newaxis])
            spots = points[balls[edge]]
            step = (two[edge] - one[edge]) / (2.0 * half[edge])
            along = (spots - one[edge]) @ step
            off = np.linalg.norm(spots - one[edge] - along[:, np.newaxis] * step, axis=1)
            on = (off < WELD_M) & (along > WELD_M) & (along < 2.0 * half[edge] - WELD_M)
            ring.append(spots[on][np.argsort(along[on])])
        rings.append(np.concatenate(ring))
    stops = np.cumsum([0, *(len(ring) for ring in rings)]).tolist()
    return weld(
        soup_of(
            points=np.concatenate(rings),
            faces=[range(first, last) for first, last in pairwise(stops)],
            label=soup.label.tolist(),
            labels=soup.labels,
        )
    )


def _flat(ring: Floats) -> tuple[Frame, Area]:
    frame = frame_of(ring)
    return frame, shapely.Polygon(frame.flatten(ring))


def _through(frame: Frame, other: Frame, outline: Area) -> list[Floats]:
    """Lines (2, 2) in a frame's plane along which a face of another plane goes through it."""
    if not outline.is_valid:
        return []
    along = np.cross(frame.normal, other.normal)
    along /= np.linalg.norm(along)
    system = np.stack((frame.normal, other.normal, along))
    offsets = (frame.normal @ frame.origin, other.normal @ other.origin, along @ other.origin)
    start = np.linalg.solve(system, np.array(offsets))
    west, south, east, north = outline.bounds
    reach = 1.0 + east - west + north - south
    ends = other.flatten(np.stack((start - reach * along, start + reach * along)))
    common = shapely.LineString(ends).intersection(outline)
    return [
        frame.flatten(other.lift(shapely.get_coordinates(piece)[[0, -1]]))
        for piece in shapely.get_parts(common)
        if piece.length > WELD_M
    ]


def _parts(outline: Area, lines: list[Floats]) -> list[Floats]:
    """Rings (n, 2) into which lines cut a face."""
    if not lines or not outline.is_valid:
        return []
    inner = outline.buffer(-WELD_M)
    cuts = []
    for one, two in lines:
        step = two - one
        length = float(np.linalg.norm(step))
        if length <= WELD_M:
            continue
        cut = shapely.LineString([one - LONGER_M * step / length, two + LONGER_M * step / length])
        if cut.intersects(inner):
            cuts.append(cut)
    if not cuts:
        return []
    pieces = shapely.get_parts(
        shapely.polygonize([shapely.union_all([outline.exterior, *cuts], grid_size=GRID_M)])
    )
    return [
        ring_of(shapely.geometry.polygon.orient(piece, 1.0).exterior)
        for piece in pieces
        if piece.area > WELD_M**2 and outline.contains(piece.representative_point())
    ]
