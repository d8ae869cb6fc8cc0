"""Triangles over the flat pieces of a coating, joined along every edge that two pieces share.

Edges are cut at each other's corners and then evenly, by a rule that depends on the place alone:
two pieces that meet along an edge cut it alike, so that current passes from one to the other.
Round contacts are cut out, with rings of points around them that grow with the distance.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

from envelope.errors import EnvelopeError, RangeError
from envelope.geometry.plane import Floats, Frame
from envelope.geometry.polygons import Area, pieces, ring_of

RING_POINTS = 32  # around a contact
GROWTH = 1.0 + 2.0 * np.pi / RING_POINTS  # of rings around it, so that their cells are square
TOUCHING_M = 1e-6
MAX_ROUNDS = 12  # of halving edges that the triangles do not keep


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatPiece:
    """A coated part of one panel: an area in the frame of its plane."""

    frame: Frame
    area: Area
    sheet_resistance_ohm_sq: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Disc:
    """A round metallic contact on a piece, such as a bonding plate or a probe."""

    piece: int
    centre: Floats  # (2,) in the piece's frame [m]
    radius_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceMesh:
    """Triangles of all pieces with nodes in common, and the nodes of each contact."""

    nodes: Floats  # (n, 3) [m]
    triangles: NDArray[np.intp]  # (m, 3)
    piece_of: NDArray[np.intp]  # (m,) which piece each triangle belongs to
    contacts: tuple[NDArray[np.intp], ...]


def mesh_surface(
    *, pieces_flat: Sequence[FlatPiece], discs: Sequence[Disc], size_m: float
) -> SurfaceMesh:
    """Triangulate coated pieces as one surface.

    Parameters
    ----------
    pieces_flat : (p,) FlatPiece
        Disjoint; pieces whose edges lie on one another become connected there.
    discs : (c,) Disc
        Contacts; each lies within its piece and touches no other.
    size_m : float
        Length of a triangle's side away from contacts. [m]

    Returns
    -------
    mesh : SurfaceMesh
        Areas add up to those of the pieces less the discs.

    Raises
    ------
    RangeError
        Where a disc does not lie within its piece.
    EnvelopeError
        Where a piece could not be triangulated.
    """
    spots = _Spots(pieces_flat, discs, size_m)
    areas = [_without_discs(index, piece, discs) for index, piece in enumerate(pieces_flat)]
    corners = np.vstack(
        [
            piece.frame.lift(ring)
            for piece, area in zip(pieces_flat, areas, strict=True)
            for ring in _rings(area)
        ]
    )
    cuts: list[Floats] = []  # points put on edges, common to all pieces
    for _ in range(MAX_ROUNDS):
        known = np.vstack([corners, *cuts]) if cuts else corners
        meshed = [
            _triangles(piece, area, known, spots)
            for piece, area in zip(pieces_flat, areas, strict=True)
        ]
        missing = [halves for _, _, halves in meshed if len(halves)]
        if not missing:
            return _welded(meshed, pieces_flat, discs)
        cuts += missing
    raise EnvelopeError("a coated surface has parts too narrow to be meshed; merge slivers first")


class _Spots:
    """How long an edge may be at a place in space: shorter near a contact."""

    def __init__(
        self, pieces_flat: Sequence[FlatPiece], discs: Sequence[Disc], size_m: float
    ) -> None:
        self.size_m = size_m
        self.centres = np.array(
            [pieces_flat[disc.piece].frame.lift(disc.centre[np.newaxis])[0] for disc in discs]
        ).reshape(-1, 3)
        self.radii = np.array([disc.radius_m for disc in discs])

    def longest(self, points: Floats) -> Floats:
        """Longest edge (n,) at points (n, 3). [m]"""
        if not len(self.radii):
            return np.full(len(points), self.size_m)
        away = np.linalg.norm(points[:, np.newaxis] - self.centres, axis=2)
        near = (GROWTH - 1.0) * np.maximum(away, self.radii)
        return np.asarray(np.minimum(near.min(axis=1), self.size_m))


def _circle(disc: Disc) -> Floats:
    """Corners (r, 2) of a polygon with the area of the disc."""
    turn = 2.0 * np.pi * np.arange(RING_POINTS) / RING_POINTS
    reach = disc.radius_m * np.sqrt(2.0 * np.pi / (RING_POINTS * np.sin(2.0 * np.pi / RING_POINTS)))
    return np.asarray(disc.centre + reach * np.column_stack((np.cos(turn), np.sin(turn))))


def _without_discs(index: int, piece: FlatPiece, discs: Sequence[Disc]) -> Area:
    area = piece.area
    for disc in discs:
        if disc.piece != index:
            continue
        plate = shapely.Polygon(_circle(disc))
        if not area.contains(plate):
            raise RangeError(
                f"a contact of {disc.radius_m * 1e3:.0f} mm radius does not lie within its coating"
            )
        area = area.difference(plate)
    return area


def _rings(area: Area) -> list[Floats]:
    found = []
    for piece in pieces(area):
        found.append(ring_of(piece.exterior))
        found += [ring_of(hole) for hole in piece.interiors]
    return found


def _cut_edges(ring: Floats, known: Floats, tree: cKDTree, spots: _Spots) -> Floats:
    """A ring (n, 3) cut at every known point on its edges, then as short as its place asks for."""
    found: list[Floats] = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        along = end - start
        length = float(np.linalg.norm(along))
        near = tree.query_ball_point((start + end) / 2.0, length / 2.0 + TOUCHING_M)
        offsets = known[near] - start
        place = offsets @ along / length**2
        beside = np.linalg.norm(offsets - np.outer(place, along), axis=1)
        on = (beside < TOUCHING_M) & (place * length > TOUCHING_M)
        on &= (1.0 - place) * length > TOUCHING_M
        marks = np.concatenate(([0.0], np.sort(place[on]), [1.0]))
        marks = marks[np.concatenate(([True], np.diff(marks) * length > TOUCHING_M))]
        stops = start + marks[:, np.newaxis] * along
        if len(stops) == 1 or marks[-1] < 1.0:
            stops = np.vstack([stops, end])
        for one, other in itertools.pairwise(stops):
            found.append(_halved(one, other, spots)[:-1])
    return np.vstack(found)


def _halved(start: Floats, end: Floats, spots: _Spots) -> Floats:
    """Points from start to end, steps halved until none is too long: alike from either end."""
    points = np.vstack([start, end])
    while True:
        middles = (points[:-1] + points[1:]) / 2.0
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        long = np.flatnonzero(steps > spots.longest(middles) * (1.0 + 1e-9))
        if not len(long):
            return points
        points = np.insert(points, long + 1, middles[long], axis=0)


def _triangles(
    piece: FlatPiece, area: Area, known: Floats, spots: _Spots
) -> tuple[Floats, NDArray[np.intp], Floats]:
    """Nodes (n, 3) and triangles of one piece, and middles of edges that came out broken."""
    tree = cKDTree(known)
    rings = [_cut_edges(piece.frame.lift(ring), known, tree, spots) for ring in _rings(area)]
    edge = np.vstack(rings)
    flat_edge = piece.frame.flatten(edge)
    inner = _inner_points(piece, area, flat_edge, spots)
    flat = np.vstack([flat_edge, inner])
    found = Delaunay(flat).simplices
    middles = flat[found].mean(axis=1)
    doubled = _doubled_area(flat, found)
    inside = shapely.contains_xy(area, *middles.T) & (np.abs(doubled) > 1e-14)
    found = found[inside]
    kept = {
        (min(a, b), max(a, b))
        for three in found.tolist()
        for a, b in ((three[0], three[1]), (three[1], three[2]), (three[2], three[0]))
    }
    broken = []
    first = 0
    for ring in rings:
        indices = np.arange(first, first + len(ring))
        for a, b in zip(indices.tolist(), np.roll(indices, -1).tolist(), strict=True):
            if (min(a, b), max(a, b)) not in kept:
                broken.append((edge[a] + edge[b]) / 2.0)
        first += len(ring)
    halves = np.array(broken).reshape(-1, 3)
    return np.vstack([edge, piece.frame.lift(inner)]), found.astype(np.intp), halves


def _doubled_area(flat: Floats, triangles: NDArray[np.int32]) -> Floats:
    one = flat[triangles[:, 1]] - flat[triangles[:, 0]]
    other = flat[triangles[:, 2]] - flat[triangles[:, 0]]
    return np.asarray(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])


def _inner_points(piece: FlatPiece, area: Area, flat_edge: Floats, spots: _Spots) -> Floats:
    """Points inside a piece: rings around contacts, a lattice elsewhere, none close to an edge."""
    size = spots.size_m
    x0, y0, x1, y1 = area.bounds
    rows = np.arange(y0 + size / 2.0, y1, size * np.sqrt(0.75))
    lattice = [
        np.column_stack((across, np.full(len(across), y)))
        for index, y in enumerate(rows)
        for across in [np.arange(x0 + size * (0.25 + 0.5 * (index % 2)), x1, size)]
    ]
    points = np.vstack(lattice) if lattice else np.empty((0, 2))
    if len(points):
        # where a contact asks for shorter edges, its rings take the lattice's place
        points = points[spots.longest(piece.frame.lift(points)) >= size * (1.0 - 1e-9)]
    around = []
    for centre, radius in zip(spots.centres, spots.radii, strict=True):
        middle = piece.frame.flatten(centre[np.newaxis])[0]
        height = float(abs((centre - piece.frame.origin) @ piece.frame.normal))
        if height > TOUCHING_M:
            continue  # of another plane
        reach = radius * GROWTH
        turned = 0.0
        while (GROWTH - 1.0) * reach < size:
            turned += np.pi / RING_POINTS
            turn = turned + 2.0 * np.pi * np.arange(RING_POINTS) / RING_POINTS
            around.append(middle + reach * np.column_stack((np.cos(turn), np.sin(turn))))
            reach *= GROWTH
    points = np.vstack([points, *around])
    if not len(points):
        return points
    points = points[shapely.contains_xy(area, *points.T)]
    if not len(points):
        return np.asarray(points)
    clear = spots.longest(piece.frame.lift(points)) * 0.5
    away, _ = cKDTree(flat_edge).query(points)
    apart = shapely.distance(shapely.points(points), area.boundary)
    points = points[(apart > clear) & (away > clear)]
    return _thinned(points, spots.longest(piece.frame.lift(points)) * 0.5)


def _thinned(points: Floats, clear: Floats) -> Floats:
    """Points without those that lie closer to an earlier one than they should."""
    if not len(points):
        return points
    keep = np.ones(len(points), dtype=bool)
    tree = cKDTree(points)
    for index, near in enumerate(tree.query_ball_point(points, clear)):
        if keep[index]:
            later = [each for each in near if each > index]
            keep[later] = False
    return points[keep]


def _welded(
    meshed: Sequence[tuple[Floats, NDArray[np.intp], Floats]],
    pieces_flat: Sequence[FlatPiece],
    discs: Sequence[Disc],
) -> SurfaceMesh:
    """One list of nodes for all pieces: points at one place are one node."""
    points = np.vstack([nodes for nodes, _, _ in meshed])
    first = np.arange(len(points))
    for low, high in cKDTree(points).query_pairs(TOUCHING_M, output_type="ndarray").tolist():
        first[max(low, high)] = min(first[max(low, high)], min(low, high))
    while np.any(first[first] != first):
        first = first[first]
    offsets = np.cumsum([0, *(len(nodes) for nodes, _, _ in meshed)])
    triangles = np.vstack(
        [found + offset for (_, found, _), offset in zip(meshed, offsets[:-1], strict=True)]
    )
    piece_of = np.concatenate(
        [np.full(len(found), index) for index, (_, found, _) in enumerate(meshed)]
    )
    used, joined = np.unique(first[triangles], return_inverse=True)
    nodes = points[used]
    tree = cKDTree(nodes)
    contacts = []
    for disc in discs:
        ring = pieces_flat[disc.piece].frame.lift(_circle(disc))
        _, indices = tree.query(ring, distance_upper_bound=TOUCHING_M)
        contacts.append(np.unique(indices[indices < len(nodes)]).astype(np.intp))
    return SurfaceMesh(
        nodes=nodes,
        triangles=joined.reshape(-1, 3).astype(np.intp),
        piece_of=piece_of.astype(np.intp),
        contacts=tuple(contacts),
    )
