"""A plan cut along segments: nodes, edges from node to node, and the faces that they enclose.

Lines that are one in life, such as the edge of a chimney under a ridge, come out of rounding a
hair apart, and cutting along both leaves hairs that are neither here nor there. Here every node
within a hair of a segment lies on it, and every edge runs from node to node: lines that coincide
share their nodes and become the same edges, and faces meet to the last digit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from envelope.geometry.plane import Floats
from envelope.geometry.polygons import HAIR_M, Area, first_within, pieces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Subdivision:
    """Faces of a plan, and which of them lies on the left of each edge."""

    nodes: Floats  # (n, 2)
    chains: tuple[tuple[int, ...], ...]  # of each segment, the nodes on it from end to end
    faces: tuple[Area, ...]
    left: dict[tuple[int, int], int]  # face on the left of an edge from node to node


def _crossings(segments: Floats) -> Floats:
    """Where segments (m, 2, 2) cross, those left out that coincide where they meet."""
    one, two = np.triu_indices(len(segments), 1)
    steps = segments[:, 1] - segments[:, 0]
    lengths = np.hypot(*steps.T)
    apart = segments[two, 0] - segments[one, 0]
    turn = steps[one, 0] * steps[two, 1] - steps[one, 1] * steps[two, 0]
    # How far the shorter one strays from the other's direction.
    stray = np.abs(turn) / np.maximum(lengths[one], lengths[two])
    keep = stray > HAIR_M
    one, two, apart, turn = one[keep], two[keep], apart[keep], turn[keep]
    along_one = (apart[:, 0] * steps[two, 1] - apart[:, 1] * steps[two, 0]) / turn
    along_two = (apart[:, 0] * steps[one, 1] - apart[:, 1] * steps[one, 0]) / turn
    met = np.ones(len(one), dtype=bool)
    for share, index in ((along_one, one), (along_two, two)):
        slack = HAIR_M / lengths[index]
        met &= (share > -slack) & (share < 1.0 + slack)
    found: Floats = segments[one[met], 0] + along_one[met, np.newaxis] * steps[one[met]]
    return found


def _chains(segments: Floats, nodes: Floats, ends: np.ndarray) -> list[tuple[int, ...]]:
    """Nodes within a hair of each segment, from its start to its end."""
    found: list[tuple[int, ...]] = []
    for (start, end), (first, last) in zip(segments, ends.tolist(), strict=True):
        step = end - start
        length = float(np.hypot(*step))
        local = nodes - start
        along = local @ step / length
        off = np.abs(local[:, 0] * step[1] - local[:, 1] * step[0]) / length
        on_it = (off < HAIR_M) & (along > 0.0) & (along < length)
        on_it[[first, last]] = False
        between = np.flatnonzero(on_it)
        found.append((first, *between[np.argsort(along[between])].tolist(), last))
    return found


def subdivided(firm: Floats, loose: Floats) -> Subdivision:
    """Subdivision of the plane by segments.

    Where nodes all but coincide one of them stands for all: the end of a firm segment, else a
    crossing, and the end of a loose segment last.

    Parameters
    ----------
    firm : (m, 2, 2) float
        Segments that keep their ends. [m]
    loose : (n, 2, 2) float
        Segments that may be drawn a little past the crossing where they end. [m]

    Returns
    -------
    subdivision : Subdivision
        With the chains of the firm segments first.
    """
    segments = np.concatenate((firm, loose))
    count = 2 * len(firm)
    points = np.concatenate((firm.reshape(-1, 2), _crossings(segments), loose.reshape(-1, 2)))
    used, numbers = np.unique(first_within(points, HAIR_M), return_inverse=True)
    nodes = points[used]
    last = len(points) - 2 * len(loose)
    ends = np.concatenate((numbers[:count], numbers[last:])).reshape(-1, 2)
    chains = _chains(segments, nodes, ends)
    edges = {
        (min(edge), max(edge)) for chain in chains for edge in pairwise(chain) if edge[0] != edge[1]
    }
    lines = shapely.linestrings(nodes[np.array(sorted(edges))])
    faces = [orient(face, 1.0) for face in shapely.get_parts(shapely.polygonize(lines))]
    index = {tuple(node): number for number, node in enumerate(nodes.tolist())}
    left: dict[tuple[int, int], int] = {}
    for number, face in enumerate(faces):
        for ring in (face.exterior, *face.interiors):
            marks = [index[spot] for spot in ring.coords]
            left.update(dict.fromkeys(pairwise(marks), number))
    return Subdivision(nodes=nodes, chains=tuple(chains), faces=tuple(faces), left=left)


def merged(faces: Iterable[Area]) -> list[Area]:
    """Faces of a subdivision that meet along an edge made one."""
    found: Sequence[Area] = pieces(shapely.coverage_union_all(list(faces)))
    return list(found)
