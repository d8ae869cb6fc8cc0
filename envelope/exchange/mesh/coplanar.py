"""Faces that lie in one plane and bear one name, joined into polygons with holes.

Not by the mesh library's `facets`: trimesh 5.2 judges each fold by itself, and a round wall whose
strips turn by a fifth of a degree comes out as one flat facet, all the way round.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from envelope.exchange.mesh.soup import FLAT_M, Ints, Soup
from envelope.exchange.mesh.volumes import Volume
from envelope.geometry.directions import axes_across
from envelope.geometry.plane import Floats, area_vector

SAME_WAY = float(np.cos(np.radians(1.0)))
STRAIGHT_M = 1e-6  # a corner this near to the line between its neighbours is none
Ring = list[int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Polygon:
    """A flat polygon with holes, counter-clockwise seen from inside its volume."""

    outline: Floats
    holes: tuple[Floats, ...]
    label: int


def merged(soup: Soup, volume: Volume, label: Ints) -> list[Polygon]:
    """Polygons of a volume.

    Parameters
    ----------
    soup : Soup
    volume : Volume
        Which faces bound it, and from which side.
    label : (k,) int
        Of the volume's faces; faces of different labels are not joined.
    """
    rings = [soup.face(int(face)).tolist() for face in volume.faces]
    rings = [ring if front else ring[::-1] for ring, front in zip(rings, volume.front, strict=True)]
    sign = np.where(volume.front, 1.0, -1.0)[:, np.newaxis]
    vectors = soup.select(volume.faces).area_vectors() * sign
    areas = np.linalg.norm(vectors, axis=1)
    with np.errstate(invalid="ignore"):  # a sliver faces nowhere: it joins any face in its plane
        normals = vectors / areas[:, np.newaxis]
    owner: dict[tuple[int, int], list[int]] = defaultdict(list)
    for face, ring in enumerate(rings):
        for edge in zip(ring, [*ring[1:], ring[0]], strict=True):
            owner[edge].append(face)
    taken = np.zeros(len(rings), dtype=bool)
    groups: list[list[int]] = []
    for seed in np.argsort(-areas, kind="stable").tolist():
        if taken[seed]:
            continue
        taken[seed] = True
        group, queue = [seed], deque([seed])
        spot, normal = soup.points[rings[seed][0]], normals[seed]
        while queue:
            ring = rings[queue.popleft()]
            for one, two in zip(ring, [*ring[1:], ring[0]], strict=True):
                for other in owner.get((two, one), ()):
                    if taken[other] or label[other] != label[seed]:
                        continue
                    long_enough = areas[other] > 1e-6
                    if normals[other] @ normal < (SAME_WAY if long_enough else 0.5):
                        continue
                    if np.abs((soup.points[rings[other]] - spot) @ normal).max() > FLAT_M:
                        continue
                    taken[other] = True
                    group.append(other)
                    queue.append(other)
        groups.append(sorted(group))
    groups.sort()  # in the order of the file
    outlines: list[tuple[list[Ring], int]] = []
    for group in groups:
        parts = _rings(soup, [rings[face] for face in group], normals[group[0]])
        if parts is None:
            parts = [[rings[face]] for face in group]
        outlines.extend((part, int(label[group[0]])) for part in parts)
    return _straightened(soup, outlines)


def _rings(soup: Soup, faces: Sequence[Ring], normal: Floats) -> list[list[Ring]] | None:
    """Outline and holes of joined faces; None where they make no plain polygon."""
    if len(faces) == 1:
        return [[list(faces[0])]]
    onward: dict[int, list[int]] = defaultdict(list)
    count: dict[tuple[int, int], int] = defaultdict(int)
    for ring in faces:
        for edge in zip(ring, [*ring[1:], ring[0]], strict=True):
            count[edge] += 1
    for (one, two), times in count.items():
        extra = times - count.get((two, one), 0)
        if extra > 1:
            return None
        if extra == 1:
            onward[one].append(two)
    loops: list[Ring] = []
    while onward:
        first = next(iter(onward))
        loop = [first]
        here = first
        before: int | None = None
        while True:
            ways = onward[here]
            step = ways[0] if before is None else _rightmost(soup, before, here, ways, normal)
            ways.remove(step)
            if not ways:
                del onward[here]
            if step == first:
                break
            loop.append(step)
            before, here = here, step
            if here not in onward:
                return None
        loops.append(loop)
    signed = [float(area_vector(soup.points[loop]) @ normal) for loop in loops]
    outer = [loop for loop, area in zip(loops, signed, strict=True) if area > 0.0]
    if len(outer) != 1:
        return None
    holes = [loop for loop, area in zip(loops, signed, strict=True) if area <= 0.0]
    shape = shapely.Polygon(
        _flat(soup, outer[0], normal), [_flat(soup, hole, normal) for hole in holes]
    )
    return [[outer[0], *holes]] if shape.is_valid else None


def _flat(soup: Soup, ring: Ring, normal: Floats) -> Floats:
    return soup.points[ring] @ np.column_stack(axes_across(normal))


def _rightmost(soup: Soup, before: int, here: int, ways: list[int], normal: Floats) -> int:
    """The way on that turns most to the right, so that holes that touch the outline come apart."""
    if len(ways) == 1:
        return ways[0]
    back = soup.points[before] - soup.points[here]

    def turned(way: int) -> float:
        ahead = soup.points[way] - soup.points[here]
        # Angle clockwise from the way back; the interior begins there.
        angle = np.arctan2(-np.cross(back, ahead) @ normal, back @ ahead)
        return float(angle % (2.0 * np.pi))

    return max(ways, key=turned)


def _straightened(soup: Soup, outlines: list[tuple[list[Ring], int]]) -> list[Polygon]:
    """Corners dropped at which no line of any polygon turns."""
    turns: set[int] = set()
    for parts, _ in outlines:
        for ring in parts:
            for before, here, after in zip(
                [ring[-1], *ring[:-1]], ring, [*ring[1:], ring[0]], strict=True
            ):
                a, b, c = soup.points[[before, here, after]]
                base = c - a
                length = float(np.linalg.norm(base))
                if length < STRAIGHT_M:
                    turns.add(here)
                    continue
                off = float(np.linalg.norm(np.cross(b - a, base))) / length
                if off > STRAIGHT_M or not 0.0 < float((b - a) @ base) < length * length:
                    turns.add(here)
    found: list[Polygon] = []
    for parts, label in outlines:
        kept = [[corner for corner in ring if corner in turns] for ring in parts]
        kept = [ring if len(ring) >= 3 else whole for ring, whole in zip(kept, parts, strict=True)]
        found.append(
            Polygon(
                outline=soup.points[kept[0]],
                holes=tuple(soup.points[ring] for ring in kept[1:]),
                label=label,
            )
        )
    return found
