"""Polygons as they come out of a file, welded and cleaned, before anything is made of them.

Ragged arrays keep a quarter of a million faces quick: face k has the corners
``corners[start[k]:start[k + 1]]``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from envelope.exchange.mesh_library import mesh_library
from envelope.geometry.directions import axes_across
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import WELD_M

Ints = NDArray[np.int64]

FLAT_M = 2e-4  # how far the corners of one panel may stand off its plane
NO_AREA_M2 = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What a file calls the part of the model that a face belongs to."""

    object: str = ""
    group: str = ""
    material: str = ""
    extras: Mapping[str, Any] = field(default_factory=dict, hash=False, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Soup:
    """Polygons with labels. Corners run counter-clockwise seen from the side they face."""

    points: Floats  # (n, 3)
    corners: Ints  # (m,)
    start: Ints  # (f + 1,)
    label: Ints  # (f,) index into labels
    labels: tuple[Label, ...]

    @property
    def faces(self) -> int:
        """Number of faces."""
        return len(self.start) - 1

    @property
    def face_of(self) -> Ints:
        """Face of each corner (m,)."""
        return np.repeat(np.arange(self.faces), np.diff(self.start))

    def face(self, index: int) -> Ints:
        """Corners of one face."""
        return self.corners[self.start[index] : self.start[index + 1]]

    def area_vectors(self) -> Floats:
        """Area times normal of every face (f, 3). [m²]"""
        if self.faces == 0:
            return np.zeros((0, 3))
        first = np.repeat(self.points[self.corners[self.start[:-1]]], np.diff(self.start), axis=0)
        here = self.points[self.corners] - first
        following = self.points[self.corners[next_corner(self.start)]] - first
        crossed = np.cross(here, following)
        return 0.5 * np.add.reduceat(crossed, self.start[:-1], axis=0)

    def select(self, keep: NDArray[np.bool_] | Ints) -> Soup:
        """Some of the faces."""
        chosen = np.flatnonzero(keep) if keep.dtype == np.bool_ else keep
        lengths = np.diff(self.start)[chosen]
        start = np.concatenate(([0], np.cumsum(lengths)))
        within = np.arange(start[-1]) - np.repeat(start[:-1], lengths)
        corners = self.corners[np.repeat(self.start[:-1][chosen], lengths) + within]
        return Soup(
            points=self.points,
            corners=corners,
            start=start,
            label=self.label[chosen],
            labels=self.labels,
        )


def next_corner(start: Ints) -> Ints:
    """Place of the corner after each corner, going round its face."""
    following = np.arange(1, start[-1] + 1)
    following[start[1:] - 1] = start[:-1]
    return following


def soup_of(
    *,
    points: Floats,
    faces: Sequence[Sequence[int]],
    label: Sequence[int],
    labels: Sequence[Label],
) -> Soup:
    """Soup of lists."""
    lengths = [len(face) for face in faces]
    return Soup(
        points=np.asarray(points, dtype=np.float64).reshape(-1, 3),
        corners=np.array([corner for face in faces for corner in face], dtype=np.int64),
        start=np.concatenate(([0], np.cumsum(lengths))).astype(np.int64),
        label=np.asarray(label, dtype=np.int64),
        labels=tuple(labels),
    )


def triangles(
    *, points: Floats, faces: NDArray[np.integer[Any]], label: int, labels: Sequence[Label]
) -> Soup:
    """Soup of triangles (f, 3) that share one label."""
    return Soup(
        points=np.asarray(points, dtype=np.float64).reshape(-1, 3),
        corners=faces.astype(np.int64).reshape(-1),
        start=np.arange(0, 3 * len(faces) + 1, 3, dtype=np.int64),
        label=np.full(len(faces), label, dtype=np.int64),
        labels=tuple(labels),
    )


def joined(soups: Sequence[Soup], labels: Sequence[Label]) -> Soup:
    """Soups with the same table of labels, as one."""
    offset = np.cumsum([0, *(len(soup.points) for soup in soups)])
    places = np.cumsum([0, *(len(soup.corners) for soup in soups)])
    starts = [soup.start[:-1] + place for soup, place in zip(soups, places[:-1], strict=True)]
    return Soup(
        points=np.concatenate([soup.points for soup in soups]),
        corners=np.concatenate(
            [soup.corners + shift for soup, shift in zip(soups, offset[:-1], strict=True)]
        ),
        start=np.concatenate((*starts, [places[-1]])).astype(np.int64),
        label=np.concatenate([soup.label for soup in soups]),
        labels=tuple(labels),
    )


def components(one: Ints, two: Ints, count: int) -> Ints:
    """Number of the connected part that each of some nodes (count,) belongs to.

    Parameters
    ----------
    one, two : (n,) int
        Nodes that hang together.
    count : int
        How many nodes there are.
    """
    if not count:
        return np.zeros(0, dtype=np.int64)
    pairs = np.column_stack((one, two))
    found = mesh_library().graph.connected_component_labels(pairs, node_count=count)
    return np.asarray(found, dtype=np.int64)


def weld(soup: Soup, *, within_m: float = WELD_M) -> Soup:
    """Corners closer than that made one: the first of them stands for all, never a mean.

    The mesh library's `merge_vertices` of trimesh 5.2 rounds coordinates, which parts two corners
    a hundredth of a millimetre apart where a step of the rounding lies between them.
    """
    used, place = np.unique(soup.corners, return_inverse=True)
    exact, first, inverse = np.unique(
        soup.points[used], axis=0, return_index=True, return_inverse=True
    )
    order = np.argsort(first)  # numbers follow the file, so that names do as well
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    exact, inverse = exact[order], rank[inverse.reshape(-1)]
    pairs = cKDTree(exact).query_pairs(within_m, output_type="ndarray")
    cluster = components(pairs[:, 0], pairs[:, 1], len(exact))
    lead = np.full(int(cluster.max(initial=-1)) + 1, len(exact), dtype=np.int64)
    np.minimum.at(lead, cluster, np.arange(len(exact)))
    corners = cluster[inverse[place.reshape(-1)]]
    points = exact[lead]
    return _without_repeats(
        Soup(points=points, corners=corners, start=soup.start, label=soup.label, labels=soup.labels)
    )


def _without_repeats(soup: Soup) -> Soup:
    """Corners that repeat the one before them dropped."""
    keep = soup.corners != soup.corners[next_corner(soup.start)]
    lengths = np.add.reduceat(keep, soup.start[:-1]) if soup.faces else np.zeros(0, dtype=np.int64)
    return Soup(
        points=soup.points,
        corners=soup.corners[keep],
        start=np.concatenate(([0], np.cumsum(lengths))).astype(np.int64),
        label=soup.label,
        labels=soup.labels,
    ).select(lengths >= 3)


def without_slivers(soup: Soup) -> Soup:
    """Faces that have an area."""
    return soup.select(np.linalg.norm(soup.area_vectors(), axis=1) > NO_AREA_M2)


def flattened(soup: Soup) -> tuple[Soup, int]:
    """Polygons that are not flat, or that cross themselves, cut into triangles; and how many."""
    lengths = np.diff(soup.start)
    many = np.flatnonzero(lengths > 3)
    if len(many) == 0:
        return soup, 0
    vectors = soup.area_vectors()[many]
    normals = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    sub = soup.select(many)
    from_first = sub.points[sub.corners] - np.repeat(
        sub.points[sub.corners[sub.start[:-1]]], np.diff(sub.start), axis=0
    )
    off = np.abs(np.einsum("ij,ij->i", from_first, np.repeat(normals, lengths[many], axis=0)))
    bent = many[np.maximum.reduceat(off, sub.start[:-1]) > FLAT_M]
    if len(bent) == 0:
        return soup, 0
    faces: list[tuple[int, ...]] = []
    label: list[int] = []
    for index in bent.tolist():
        ring = soup.face(index)
        for piece in cut_ring(soup.points[ring]):
            faces.append(tuple(int(ring[corner]) for corner in piece))
            label.append(int(soup.label[index]))
    keep = np.ones(soup.faces, dtype=bool)
    keep[bent] = False
    flat = soup_of(points=np.zeros((0, 3)), faces=faces, label=label, labels=soup.labels)
    rest = soup.select(keep)
    return (
        Soup(
            points=soup.points,
            corners=np.concatenate((rest.corners, flat.corners)),
            start=np.concatenate((rest.start, rest.start[-1] + flat.start[1:])),
            label=np.concatenate((rest.label, flat.label)),
            labels=soup.labels,
        ),
        len(bent),
    )


def cut_ring(ring: Floats) -> list[tuple[int, int, int]]:
    """Triangles, by corner number, of a ring in space, cut as it looks along its normal."""
    centred = ring - ring.mean(axis=0)
    normal = np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)
    flat = centred @ np.column_stack(axes_across(normal))
    outline = shapely.Polygon(flat)
    if not outline.is_valid or len(np.unique(flat, axis=0)) != len(flat):
        return [(0, k, k + 1) for k in range(1, len(ring) - 1)]
    number = {tuple(corner): index for index, corner in enumerate(flat.tolist())}
    found = []
    for piece in shapely.constrained_delaunay_triangles(outline).geoms:
        turned = shapely.geometry.polygon.orient(piece, 1.0)
        a, b, c = (number[tuple(corner)] for corner in list(turned.exterior.coords)[:3])
        found.append((a, b, c))
    return found
