"""Which parts of edges are hidden behind panels that face the eye, in a parallel projection."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from envelope.building.model import Panel
from envelope.geometry.plane import Floats

_FACING = 0.02  # cosine from which a panel's inside is turned to the eye
_BEHIND_M = 0.02  # so much behind a panel a part of an edge must lie to be hidden
_SHORT = 1e-4  # parts of an edge that are not told apart


def facing(panels: Sequence[Panel], towards_eye: Floats) -> list[Panel]:
    """Panels whose inside is turned to the eye: the others are cut away."""
    return [panel for panel in panels if float(panel.normal @ towards_eye) > _FACING]


def split_by_sight(
    edges_m: Floats, panels: Sequence[Panel], *, towards_eye: Floats
) -> tuple[Floats, Floats]:
    """Parts of edges that are seen, and parts that panels hide.

    Parameters
    ----------
    edges_m : (n, 2, 3) float
        [m]
    panels : sequence of Panel
        That may hide something: those that face the eye.
    towards_eye : (3,) float
        Unit vector.

    Returns
    -------
    seen, hidden : (k, 2, 3) float
        [m]
    """
    right = np.cross((0.0, 0.0, 1.0), towards_eye)
    right = right / np.linalg.norm(right)
    axes = np.array([right, np.cross(towards_eye, right)])
    flat = edges_m @ axes.T
    long = np.linalg.norm(flat[:, 1] - flat[:, 0], axis=1)
    shapes, planes = [], []
    for panel in panels:
        rings = [panel.outline @ axes.T, *(hole @ axes.T for hole in panel.holes)]
        shapes.append(shapely.make_valid(shapely.Polygon(rings[0], rings[1:])))
        # depth of the panel's plane as a + b · (x, y)
        along = float(panel.normal @ towards_eye)
        slope = -(axes @ panel.normal) / along
        planes.append((float(panel.outline[0] @ panel.normal) / along, *slope))
    if not shapes or not len(edges_m):
        return edges_m, np.empty((0, 2, 3))
    lines = shapely.linestrings(flat)
    which, hider = shapely.STRtree(shapes).query(lines, predicate="intersects")
    met, owner = shapely.get_parts(
        shapely.intersection(lines[which], np.array(shapes)[hider]), return_index=True
    )
    straight = shapely.get_type_id(met) == shapely.GeometryType.LINESTRING
    met, owner = met[straight], owner[straight]
    ends = np.stack(
        [shapely.get_coordinates(shapely.get_point(met, place)) for place in (0, -1)], axis=1
    )
    which, hider = which[owner], hider[owner]
    start, length = flat[which, 0], np.maximum(long[which], 1e-12)
    way = (flat[which, 1] - start) / length[:, np.newaxis]
    share = np.einsum("nkj,nj->nk", ends - start[:, np.newaxis], way) / length[:, np.newaxis]
    depth = edges_m @ towards_eye
    own = depth[which, :1] + share * (depth[which, 1:] - depth[which, :1])
    plane = np.array(planes)[hider]
    before = plane[:, :1] + np.einsum("nkj,nj->nk", ends, plane[:, 1:]) - own - _BEHIND_M
    covered: list[list[tuple[float, float]]] = [[] for _ in range(len(edges_m))]
    for line, (t0, t1), (g0, g1) in zip(
        which.tolist(), share.tolist(), before.tolist(), strict=True
    ):
        if g0 <= 0.0 and g1 <= 0.0:
            continue
        if g0 * g1 < 0.0:  # the edge comes through the panel's plane
            crossing = t0 + (t1 - t0) * g0 / (g0 - g1)
            t0, t1 = (t0, crossing) if g0 > 0.0 else (crossing, t1)
        covered[line].append((min(t0, t1), max(t0, t1)))
    seen, hidden = [], []
    for (a, b), spans in zip(edges_m, covered, strict=True):
        at = 0.0
        for first, last in [*sorted(spans), (1.0, 1.0)]:
            if first - at > _SHORT:
                seen.append((a + at * (b - a), a + first * (b - a)))
            if last > at:
                begin = max(first, at)
                if last - begin > _SHORT:
                    hidden.append((a + begin * (b - a), a + last * (b - a)))
                at = max(at, last)
    return np.array(seen).reshape(-1, 2, 3), np.array(hidden).reshape(-1, 2, 3)
