"""Holes in a mesh: loops of edges at which a surface simply ends.

A missing face is a gap of the room, so each flat loop is closed by a panel that is *open*; none
is ever filled with anything that would stop a ray.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import shapely

from envelope.exchange.mesh.soup import Ints, Soup
from envelope.exchange.mesh.volumes import connected, edges_of
from envelope.geometry.plane import Floats

LOOP_FLAT_M = 1e-3  # a loop further off its plane than this is not closed by a flat panel
MOST_LOOPS = 2_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """One closed line of loose edges."""

    corners: Ints  # (n,) in the direction that continues the surface's own winding
    piece: int  # connected piece whose edge it is
    centre: Floats
    size_m: float  # diagonal of its box
    off_plane_m: float
    trouble: str = ""  # why it cannot be closed by a flat panel, "" where it can


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loops:
    """The loose edges of a soup."""

    piece: Ints  # (f,) connected piece of each face
    flat: frozenset[int]  # pieces that are mere sheets: all their corners lie in one plane
    loops: tuple[Loop, ...]  # of the pieces that are no sheets
    left: int  # loops that were too many to look at


def off_plane(points: Floats) -> tuple[float, Floats, Floats, Floats]:
    """How far points stand off the plane that fits them best, its centre, axes u and v."""
    centre = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - centre, full_matrices=False)
    normal = np.cross(axes[0], axes[1])
    return float(np.abs((points - centre) @ normal).max()), centre, axes[0], axes[1]


def find_loops(soup: Soup) -> Loops:
    """Loose edges followed round, piece by piece."""
    piece = connected(soup)
    edges = edges_of(soup)
    single = edges.start[:-1][edges.uses == 1]
    by_piece: dict[int, list[int]] = defaultdict(list)
    for item in single.tolist():
        by_piece[int(piece[edges.face[item]])].append(item)
    flat: set[int] = set()
    loops: list[Loop] = []
    left = 0
    order = np.argsort(piece, kind="stable")
    bounds = np.searchsorted(piece[order], np.arange(int(piece.max(initial=-1)) + 2))
    for index, items in by_piece.items():
        faces = order[bounds[index] : bounds[index + 1]]
        if len(faces) <= 512:
            spots = soup.points[np.unique(soup.select(faces).corners)]
            if off_plane(spots)[0] <= LOOP_FLAT_M:
                flat.add(index)
                continue
        after: dict[int, list[int]] = defaultdict(list)
        for item in items:
            low, high = int(edges.low[item]), int(edges.high[item])
            after[low].append(high)
            after[high].append(low)
        # The new face runs against the surface's own direction along their common edge.
        against = {
            (int(edges.high[item]), int(edges.low[item]))
            if edges.forward[item]
            else (int(edges.low[item]), int(edges.high[item]))
            for item in items
        }
        for ring, simple in _rings(after):
            if len(loops) >= MOST_LOOPS:
                left += 1
                continue
            loops.append(_loop(soup, index, ring, simple, against))
    return Loops(piece=piece, flat=frozenset(flat), loops=tuple(loops), left=left)


def _rings(after: dict[int, list[int]]) -> list[tuple[list[int], bool]]:
    """Corners of each connected line, in order where it is a plain ring."""
    seen: set[int] = set()
    found: list[tuple[list[int], bool]] = []
    for first in after:
        if first in seen:
            continue
        members = [first]
        seen.add(first)
        for corner in members:
            for other in after[corner]:
                if other not in seen:
                    seen.add(other)
                    members.append(other)
        if any(len(after[corner]) != 2 for corner in members):
            found.append((members, False))
            continue
        ring, before = [first], after[first][1]
        while True:
            here = ring[-1]
            one, two = after[here]
            onward = two if one == before else one
            if onward == first:
                break
            before = here
            ring.append(onward)
        found.append((ring, True))
    return found


def _loop(
    soup: Soup, piece: int, ring: list[int], simple: bool, against: set[tuple[int, int]]
) -> Loop:
    forward = sum(pair in against for pair in zip(ring, [*ring[1:], ring[0]], strict=True))
    if 2 * forward < len(ring):
        ring = ring[::-1]
    spots = soup.points[ring]
    off, centre, u, v = off_plane(spots)
    trouble = ""
    if not simple:
        trouble = "its edge branches"
    elif off > LOOP_FLAT_M:
        trouble = f"it is not flat: a corner stands {1000.0 * off:.1f} mm off its plane"
    else:
        outline = shapely.Polygon(np.column_stack(((spots - centre) @ u, (spots - centre) @ v)))
        if not outline.is_valid:
            trouble = "its edge crosses itself"
    return Loop(
        corners=np.array(ring, dtype=np.int64),
        piece=piece,
        centre=centre,
        size_m=float(np.linalg.norm(np.ptp(spots, axis=0))),
        off_plane_m=off,
        trouble=trouble,
    )
