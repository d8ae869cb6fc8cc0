"""Which closed volumes a soup of polygons encloses.

Every face has two sides. Round each edge the faces that meet there are sorted by angle; the side
that one turns to the next looks at the side that the next turns back::

              face 2
                │   side of 2 ↔ side of 3
       face 1 ──┼── face 3            so the sides link up into the walls of
                │                     one region of space each
              face 4

Sides that hang together bound one region. This finds rooms that share a wall of no thickness,
however faces are wound, and needs no shell to be a solid. The mesh library's bodies do not: trimesh
5.2 takes two rooms with a wall in common for one body that is not closed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from envelope.exchange.mesh.soup import Ints, Soup, components, cut_ring, next_corner
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M

THIN_M = 0.25  # twice volume over surface: a wall of this thickness
SHALLOW_M = 0.45  # no closet is so shallow
THICK_M, LONG_M = 0.40, 3.0  # walls of half a metre, where they are longer than closets
TRIFLE_M = 0.6
HEADROOM_M = 1.8
MOST_LOOSE_EDGES = 200_000
SPOTS_AT_ONCE = 1024  # held against the boxes of edges
TIE_RAD = 1e-3  # faces at one edge closer than this lie on each other


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Every edge of every face, those between the same two corners of one group side by side."""

    face: Ints  # (m,)
    low: Ints
    high: Ints
    forward: NDArray[np.bool_]  # whether the face runs from low to high
    start: Ints  # (e + 1,) first of each distinct edge

    @property
    def uses(self) -> Ints:
        """How many faces meet at each distinct edge (e,)."""
        return np.diff(self.start)


def edges_of(soup: Soup, group: Ints | None = None) -> Edges:
    """Edges of a soup; faces of different groups do not meet."""
    face = soup.face_of
    one, two = soup.corners, soup.corners[next_corner(soup.start)]
    low, high = np.minimum(one, two), np.maximum(one, two)
    kind = np.zeros(len(face), dtype=np.int64) if group is None else group[face]
    order = np.lexsort((face, high, low, kind))
    face, low, high, kind = face[order], low[order], high[order], kind[order]
    new = np.ones(len(face) + 1, dtype=bool)
    if len(face):
        new[1:-1] = (low[1:] != low[:-1]) | (high[1:] != high[:-1]) | (kind[1:] != kind[:-1])
    return Edges(
        face=face,
        low=low,
        high=high,
        forward=(one < two)[order],
        start=np.flatnonzero(new),
    )


def duplicates(soup: Soup, group: Ints | None = None) -> tuple[Ints, Ints]:
    """Faces that lie exactly on an earlier one of the same group.

    Returns
    -------
    face, twin : (d,) int
        The face that can go and the one that stays.
    """
    lengths = np.diff(soup.start)
    gone, stays = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for length in np.unique(lengths):
        which = np.flatnonzero(lengths == length)
        rows = np.sort(soup.select(which).corners.reshape(-1, length), axis=1)
        if group is not None:
            rows = np.column_stack((group[which], rows))
        _, first, inverse = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        lead = first[inverse.reshape(-1)]
        extra = lead != np.arange(len(which))
        gone.append(which[extra])
        stays.append(which[lead[extra]])
    return np.concatenate(gone), np.concatenate(stays)


def with_corners_on_edges(soup: Soup, group: Ints | None = None) -> tuple[Soup, list[Floats], bool]:
    """T-junctions mended: a corner that stands on an edge becomes a corner of its faces too.

    Only corners at which an edge is loose, or folded flat onto itself, are looked at. The shape
    of no face changes. Returns the soup, where the corners were, and whether there were too many
    such edges to look.
    """
    edges = edges_of(soup, group)
    single = np.concatenate((edges.start[:-1][edges.uses == 1], _folded(soup, edges)))
    if len(single) == 0:
        return soup, [], False
    if len(single) > MOST_LOOSE_EDGES:
        return soup, [], True
    kind = np.zeros(soup.faces, dtype=np.int64) if group is None else group
    ends = np.unique(
        np.column_stack(
            (
                np.concatenate((edges.low[single], edges.high[single])),
                np.tile(kind[edges.face[single]], 2),
            )
        ),
        axis=0,
    )
    a, b = soup.points[edges.low], soup.points[edges.high]
    low, high = np.minimum(a, b) - WELD_M, np.maximum(a, b) + WELD_M
    spots = soup.points[ends[:, 0]]
    which, edge = _near_boxes(spots, low, high)
    same = kind[edges.face[edge]] == ends[which, 1]
    which, edge = which[same], edge[same]
    spot, tail = spots[which], a[edge]
    step = b[edge] - tail
    length = np.sqrt(np.einsum("ij,ij->i", step, step))
    along = np.einsum("ij,ij->i", spot - tail, step) / length
    off = spot - tail - (along / length)[:, np.newaxis] * step
    on_it = (np.einsum("ij,ij->i", off, off) < WELD_M**2) & (along > WELD_M)
    on_it &= along < length - WELD_M
    added: dict[tuple[int, int, int], list[int]] = {}
    places: set[int] = set()
    order = np.flatnonzero(on_it)
    for item in order[np.argsort(along[order], kind="stable")].tolist():
        place, index = int(ends[which[item], 0]), int(edge[item])
        key = (int(edges.face[index]), int(edges.low[index]), int(edges.high[index]))
        added.setdefault(key, []).append(place)
        places.add(place)
    if not added:
        return soup, [], False
    touched = {face for face, _, _ in added}
    corners: list[NDArray[np.int64]] = []
    lengths = np.diff(soup.start).copy()
    cut = 0
    for face in sorted(touched):
        ring = soup.face(face).tolist()
        longer: list[int] = []
        for one, two in zip(ring, [*ring[1:], ring[0]], strict=True):
            longer.append(one)
            between = added.get((face, min(one, two), max(one, two)), [])
            longer.extend(between if one < two else between[::-1])
        corners.append(soup.corners[cut : soup.start[face]])
        corners.append(np.array(longer, dtype=np.int64))
        cut = int(soup.start[face + 1])
        lengths[face] = len(longer)
    corners.append(soup.corners[cut:])
    mended = Soup(
        points=soup.points,
        corners=np.concatenate(corners),
        start=np.concatenate(([0], np.cumsum(lengths))),
        label=soup.label,
        labels=soup.labels,
    )
    return mended, [soup.points[place] for place in sorted(places)], False


def _near_boxes(spots: Floats, low: Floats, high: Floats) -> tuple[Ints, Ints]:
    """Pairs of a spot (n, 3) and a box (m, 3) that it lies in.

    The tree is flat, across the axis along which the boxes reach least, and asked a part at a
    time: what stands above one another in it would fill the memory all at once.
    """
    one, two = np.sort(np.argsort(np.ptp(spots, axis=0), kind="stable")[1:]).tolist()
    tree = shapely.STRtree(shapely.box(low[:, one], low[:, two], high[:, one], high[:, two]))
    which, box = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for first in range(0, len(spots), SPOTS_AT_ONCE):
        part = spots[first : first + SPOTS_AT_ONCE]
        near, found = tree.query(shapely.points(part[:, [one, two]]))
        inside = np.all((low[found] <= part[near]) & (part[near] <= high[found]), axis=1)
        which.append(near[inside] + first)
        box.append(found[inside])
    return np.concatenate(which), np.concatenate(box)


def _directions(vectors: Floats) -> Floats:
    """Unit vectors (n, 3); nothing of what has no length, as a face that crosses itself.

    Nor of an edge between two corners at one point.
    """
    lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(lengths > 0.0, lengths, 1.0))


def _folded(soup: Soup, edges: Edges) -> Ints:
    """First use of each edge whose two faces lie on top of each other."""
    double = edges.start[:-1][edges.uses == 2]
    normals = _directions(soup.area_vectors())
    axis = _directions(soup.points[edges.high[double]] - soup.points[edges.low[double]])
    into = [
        np.cross(normals[edges.face[use]], np.where(edges.forward[use], 1.0, -1.0)[:, None] * axis)
        for use in (double, double + 1)
    ]
    together = np.einsum("ij,ij->i", into[0], into[1]) > np.cos(TIE_RAD)
    return np.asarray(double[together])


def connected(soup: Soup, group: Ints | None = None) -> Ints:
    """Number of the connected piece of each face (f,), joined through shared edges."""
    edges = edges_of(soup, group)
    first = np.repeat(edges.face[edges.start[:-1]], edges.uses)
    return components(first, edges.face, soup.faces)


def tight(soup: Soup, piece: Ints) -> NDArray[np.bool_]:
    """Of each connected piece, whether exactly two faces meet at every edge."""
    edges = edges_of(soup, piece)
    count = int(piece.max()) + 1 if len(piece) else 0
    found = np.ones(count, dtype=bool)
    found[piece[edges.face[edges.start[:-1]][edges.uses != 2]]] = False
    return found


def is_house(soup: Soup, volume: Volume) -> bool:
    """Whether a thin body reaches around rooms, as all walls of a house in one piece do."""
    faces = soup.select(volume.faces)
    sides = volume.high - volume.low
    depth = _depths(faces, np.zeros(faces.faces, dtype=np.int64), 1)[0]
    return bool(min(depth, *sides) > HEADROOM_M and 2.0 * volume.volume_m3 < np.prod(sides))


def is_thin(soup: Soup, volume: Volume) -> bool:
    """Whether a closed volume is as thin as walls, slabs, panes and boards are."""
    faces = soup.select(volume.faces)
    one = np.zeros(faces.faces, dtype=np.int64)
    return bool(_thin(faces, one, np.array([volume.volume_m3]))[0])


def _depths(soup: Soup, piece: Ints, count: int) -> Floats:
    """How deep each body (count,) is, square to its largest face. [m]"""
    vectors = soup.area_vectors()
    areas = np.linalg.norm(vectors, axis=1)
    order = np.argsort(areas, kind="stable")
    widest = np.zeros(count, dtype=np.int64)
    widest[piece[order]] = order  # the last that is written: the largest face
    normals = vectors[widest] / areas[widest][:, np.newaxis]
    owner = piece[soup.face_of]
    heights = np.einsum("ij,ij->i", soup.points[soup.corners], normals[owner])
    return np.asarray(_spans(heights[:, np.newaxis], owner, count)[:, 0])


def _thin(soup: Soup, piece: Ints, volume_m3: Floats) -> NDArray[np.bool_]:
    """Whether bodies are thin, as walls, slabs, panes and boards are, and rooms are not.

    Parameters
    ----------
    soup, piece
        Their faces, and of which body (count) each is.
    volume_m3 : (count,) float
        Of each. [m³]
    """
    count = len(volume_m3)
    areas = np.linalg.norm(soup.area_vectors(), axis=1)
    longest = _spans(soup.points[soup.corners], piece[soup.face_of], count).max(axis=1)
    mean = 2.0 * volume_m3 / np.bincount(piece, weights=areas, minlength=count)
    least = _depths(soup, piece, count)
    found = (least < SHALLOW_M) | (mean < THIN_M) | ((mean < THICK_M) & (longest > LONG_M))
    return np.asarray(found)


def _spans(values: Floats, owner: Ints, count: int) -> Floats:
    """How far values (n, k) of each owner reach (count, k)."""
    low, high = (np.full((count, values.shape[1]), end) for end in (np.inf, -np.inf))
    np.minimum.at(low, owner, values)
    np.maximum.at(high, owner, values)
    return np.asarray(high - low)


def walls(soup: Soup, piece: Ints) -> NDArray[np.bool_]:
    """Of each connected piece, whether it is thin and no trifle."""
    count = int(piece.max()) + 1 if len(piece) else 0
    spots, owner = soup.points[soup.corners], piece[soup.face_of]
    first = spots[soup.start[:-1]]
    own = np.zeros((count, 3))
    own[piece] = first  # any corner of each: far from the origin sums would lose digits
    thirds = np.einsum("ij,ij->i", soup.area_vectors(), first - own[piece]) / 3.0
    volume_m3 = np.abs(np.bincount(piece, weights=thirds, minlength=count))
    large = _spans(spots, owner, count).max(axis=1, initial=0.0) > TRIFLE_M
    return np.asarray(_thin(soup, piece, volume_m3) & large)


def _turn_links(soup: Soup, edges: Edges, normals: Floats, piece: Ints) -> tuple[Ints, Ints]:
    """Sides that look at each other, two lists. Side 2k is the front of face k, 2k + 1 its back."""
    one: list[Ints] = []
    two: list[Ints] = []
    double = edges.start[:-1][edges.uses == 2]
    left, right = edges.face[double], edges.face[double + 1]
    same = edges.forward[double] == edges.forward[double + 1]
    flip = same.astype(np.int64)
    one += [2 * left, 2 * left + 1]
    two += [2 * right + flip, 2 * right + 1 - flip]
    lone = edges.face[edges.start[:-1][edges.uses == 1]]
    one.append(2 * lone)
    two.append(2 * lone + 1)
    for index in np.flatnonzero(edges.uses > 2).tolist():
        span = slice(int(edges.start[index]), int(edges.start[index + 1]))
        faces = edges.face[span]
        sign = np.where(edges.forward[span], 1.0, -1.0)
        axis = soup.points[edges.high[span.start]] - soup.points[edges.low[span.start]]
        axis = axis / np.linalg.norm(axis)
        into = np.cross(normals[faces], sign[:, np.newaxis] * axis)
        u = into[0]
        angle = np.arctan2(into @ np.cross(axis, u), into @ u) % (2.0 * np.pi)
        angle[angle > 2.0 * np.pi - TIE_RAD] = 0.0
        order = np.lexsort((faces, angle)).tolist()
        _settle_ties(order, angle, piece[faces], np.cross(axis, into))
        turned = np.array(order)
        ahead = np.where(sign > 0.0, 2 * faces, 2 * faces + 1)[turned]
        behind = np.where(sign > 0.0, 2 * faces + 1, 2 * faces)[turned]
        one.append(ahead)
        two.append(np.roll(behind, -1))
    return np.concatenate(one), np.concatenate(two)


def _settle_ties(order: list[int], angle: Floats, piece: Ints, ahead: Floats) -> None:
    """Of two faces on top of each other, first the one that belongs with the face before them.

    Where that does not decide, the one of the lower number lies on the lower side, which gives
    the same answer at every edge that they share. `ahead` (k, 3) is the way that angles grow.
    """
    count = len(order)
    for place in range(count):
        here, there = order[place], order[(place + 1) % count]
        if abs(angle[here] - angle[there]) > TIE_RAD:
            continue
        before, after = order[place - 1], order[(place + 2) % count]
        straight = int(piece[before] == piece[here]) + int(piece[there] == piece[after])
        crossed = int(piece[before] == piece[there]) + int(piece[here] == piece[after])
        if crossed == straight:
            way = ahead[here][np.argmax(np.abs(ahead[here]) > 0.1)]
            straight = int((piece[here] < piece[there]) == (way > 0.0))
            crossed = 1 - straight
        if crossed > straight:
            order[place], order[(place + 1) % count] = there, here


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Volume:
    """One closed region: the faces round it, and which of their sides look into it."""

    faces: Ints  # (k,)
    front: NDArray[np.bool_]  # (k,) whether it is the front that looks in
    volume_m3: float
    low: Floats  # (3,) [m]
    high: Floats

    @property
    def outward_share(self) -> float:
        """Share of the faces whose fronts look out of it, as those of a solid body do."""
        return 1.0 - float(np.mean(self.front))


def volumes(soup: Soup, group: Ints) -> tuple[list[Volume], Ints]:
    """Closed regions, and the faces both of whose sides look into one and the same region.

    Parameters
    ----------
    soup : Soup
        Welded; every edge should be shared.
    group : (f,) int
        Faces of different groups know nothing of each other.
    """
    vectors = soup.area_vectors()
    normals = _directions(vectors)
    # Pieces joined through plain edges tell rooms that only touch apart.
    edges = edges_of(soup, group)
    double = edges.start[:-1][edges.uses == 2]
    piece = components(edges.face[double], edges.face[double + 1], soup.faces)
    one, two = _turn_links(soup, edges, normals, piece)
    sides = 2 * soup.faces
    region = components(one, two, sides)
    count = int(region.max(initial=-1)) + 1
    both = region[0::2] == region[1::2]
    # Cones from each group's own first corner keep digits far from the origin.
    apex = soup.points[soup.corners[soup.start[:-1]]]
    origin = apex[np.unique(group, return_index=True)[1]][np.unique(group, return_inverse=True)[1]]
    cone = np.einsum("ij,ij->i", apex - origin, vectors) / 3.0
    volume = np.zeros(count)
    np.add.at(volume, region[0::2][~both], -cone[~both])
    np.add.at(volume, region[1::2][~both], cone[~both])
    fins: list[Ints] = []
    found: list[Volume] = []
    order = np.argsort(region, kind="stable")
    bounds = np.searchsorted(region[order], np.arange(count + 1))
    for index in np.flatnonzero(volume > 1e-9).tolist():
        members = np.sort(order[bounds[index] : bounds[index + 1]])
        faces, front = members // 2, members % 2 == 0
        fin = both[faces]
        fins.append(np.unique(faces[fin]))
        faces, front = faces[~fin], front[~fin]
        spots = soup.points[soup.select(faces).corners]
        found.append(
            Volume(
                faces=faces,
                front=front,
                volume_m3=float(volume[index]),
                low=spots.min(axis=0),
                high=spots.max(axis=0),
            )
        )
    return found, np.concatenate(fins) if fins else np.zeros(0, dtype=np.int64)


def fan_of(soup: Soup, volume: Volume) -> Floats:
    """Triangles (n, 3, 3) of a volume, wound inward."""
    part = soup.select(volume.faces)
    lengths = np.diff(part.start)
    first = np.repeat(part.start[:-1], lengths - 2)
    step = np.arange(len(first)) - np.repeat(np.cumsum(lengths - 2) - (lengths - 2), lengths - 2)
    places = np.column_stack((first, first + step + 1, first + step + 2))
    inward = np.repeat(volume.front, lengths - 2)
    places[~inward] = places[~inward][:, ::-1]
    return np.asarray(part.points[part.corners[places]])


def spot_inside(soup: Soup, volume: Volume) -> Floats:
    """A point just inside a volume, behind the middle of a triangle of its largest face."""
    areas = soup.select(volume.faces).area_vectors()
    best = int(np.argmax(np.linalg.norm(areas, axis=1)))
    inward = areas[best] / np.linalg.norm(areas[best]) * (1.0 if volume.front[best] else -1.0)
    ring = soup.points[soup.face(int(volume.faces[best]))]
    pieces = np.array([ring[list(piece)] for piece in cut_ring(ring)])
    sizes = np.linalg.norm(
        np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]), axis=1
    )
    return np.asarray(pieces[int(np.argmax(sizes))].mean(axis=0) + 1e-3 * inward)
