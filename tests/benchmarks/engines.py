"""Crossing lists of the same rays by this project's walk and by general ray libraries.

The general ones see the panels as triangles and list every triangle that a ray meets; the walk
lists elements, each with everything on both of its sides.
"""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scenes import Scene

from envelope.geometry.plane import Floats
from envelope.rays.kernel.arrays import NORMAL, OFFSET
from envelope.rays.parallel import Trace, follow

Longs = NDArray[np.int64]

OURS = "this walk"
SAME_PLACE_M = 1e-4  # two hits this near along a ray are on one edge: either panel is right


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hits:
    """Everything that rays meet, in any order: which ray, and which triangle."""

    ray: Longs
    triangle: Longs


Lister = Callable[[Floats, Floats], Hits]


def trace(scene: Scene, ways: Floats) -> Trace:
    """The walk's crossing lists."""
    return follow(scene.geometry, starts=scene.starts(len(ways)), directions=ways, home=scene.home)


# ---- general libraries: each makes its structure once and then lists hits


def _plain(scene: Scene) -> Lister:
    """Every ray against every triangle in double precision: slow, and shares no code."""
    corner = scene.triangles[:, 0]
    one, two = scene.triangles[:, 1] - corner, scene.triangles[:, 2] - corner

    def hits(starts: Floats, ways: Floats) -> Hits:
        rays, found = [], []
        step = max(1, 500_000 // len(corner))  # as many rays at a time as memory holds
        for low in range(0, len(ways), step):
            way = ways[low : low + step, np.newaxis]
            across = np.cross(way, two)
            size = (one * across).sum(axis=-1)
            with np.errstate(divide="ignore", invalid="ignore"):
                offset = starts[low : low + step, np.newaxis] - corner
                u = (offset * across).sum(axis=-1) / size
                turned = np.cross(offset, one)
                v = (way * turned).sum(axis=-1) / size
                t = (two * turned).sum(axis=-1) / size
            ray, triangle = np.nonzero((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0))
            rays.append(ray + low)
            found.append(triangle)
        return Hits(ray=np.concatenate(rays), triangle=np.concatenate(found))

    return hits


def _embree(scene: Scene) -> Lister:
    trimesh = importlib.import_module("trimesh")
    embree = importlib.import_module("trimesh.ray.ray_pyembree")
    importlib.import_module("embreex")
    mesh = trimesh.Trimesh(
        vertices=scene.triangles.reshape(-1, 3),
        faces=np.arange(3 * len(scene.triangles)).reshape(-1, 3),
        process=False,
    )
    engine = embree.RayMeshIntersector(mesh)

    def hits(starts: Floats, ways: Floats) -> Hits:
        triangle, ray = engine.intersects_id(starts, ways, multiple_hits=True)
        return Hits(ray=ray, triangle=triangle)

    hits(scene.starts(1), np.array([[0.0, 0.0, 1.0]]))  # builds its tree
    return hits


def _open3d(scene: Scene) -> Lister:
    o3d = importlib.import_module("open3d")
    corners = scene.triangles.reshape(-1, 3).astype(np.float32)
    faces = np.arange(len(corners), dtype=np.uint32).reshape(-1, 3)
    world = o3d.t.geometry.RaycastingScene(nthreads=os.cpu_count() or 1)
    world.add_triangles(o3d.core.Tensor(corners), o3d.core.Tensor(faces))

    def hits(starts: Floats, ways: Floats) -> Hits:
        rays = np.hstack((starts, ways)).astype(np.float32)
        found = world.list_intersections(o3d.core.Tensor(rays))
        return Hits(
            ray=found["ray_ids"].numpy().astype(np.int64),
            triangle=found["primitive_ids"].numpy().astype(np.int64),
        )

    hits(scene.starts(1), np.array([[0.0, 0.0, 1.0]]))
    return hits


MAKERS: dict[str, Callable[[Scene], Lister]] = {
    "trimesh with embreex": _embree,
    "Open3D": _open3d,
}
PLAIN = "plain float64 triangles"


def general_engines(scene: Scene, *, plain: bool = False) -> tuple[dict[str, Lister], list[str]]:
    """Those that are installed, and the names of those that are not."""
    made: dict[str, Lister] = {PLAIN: _plain(scene)} if plain else {}
    missing = []
    for name, maker in MAKERS.items():
        try:
            made[name] = maker(scene)
        except ImportError:
            missing.append(name)
    return made, missing


# ---- answers compared


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """In how many rays a list cannot be right."""

    rays: int
    first: int  # another first wall than the walk's, and not at one edge with it
    twice: int  # a flat panel met more than once
    parity: int  # a closed space left more or less often than entered


def planes_met_m(scene: Scene, ways: Floats, panels: Any) -> Floats:
    """How far along rays from the eye the planes of panels lie, pair by pair. [m]"""
    plane = scene.geometry.tables.plane[panels]
    eye = scene.eye_m - scene.geometry.middle
    with np.errstate(divide="ignore", invalid="ignore"):
        height = plane[:, OFFSET] - plane[:, NORMAL:OFFSET] @ eye
        return np.asarray(height / (plane[:, NORMAL:OFFSET] * ways).sum(axis=1))


def judge(scene: Scene, ways: Floats, reference: Trace, hits: Hits) -> Wrong:
    """Count the rays whose list of hits cannot be right.

    The first wall is held against the walk's; the other two counts need no reference.
    """
    count = len(ways)
    panel = scene.owners[hits.triangle]
    t = planes_met_m(scene, ways[hits.ray], panel)
    first_t = np.full(count, np.inf)
    np.minimum.at(first_t, hits.ray, t)
    expected = planes_met_m(scene, ways, reference.panels[reference.start[:-1]])
    first = ~(np.abs(first_t - expected) <= SAME_PLACE_M)

    panels = len(scene.building.panels)
    pairs, times = np.unique(hits.ray * panels + panel, return_counts=True)
    twice = np.unique(pairs[times > 1] // panels)

    spaces = len(scene.building.spaces)
    of_panel = scene.geometry.tables.panel[:, 4].astype(np.int64)
    passed = np.bincount(hits.ray * spaces + of_panel[panel], minlength=count * spaces)
    odd = passed.reshape(count, spaces) % 2
    odd[:, scene.home] ^= 1  # the ray starts inside it
    return Wrong(
        rays=count,
        first=int(first.sum()),
        twice=len(twice),
        parity=int(odd.any(axis=1).sum()),
    )


def judge_walk(scene: Scene, ways: Floats, found: Trace, hits: Hits) -> Wrong:
    """The same for the walk: its first wall against float64 triangles, a row met twice, and a
    chain of spaces that breaks off.
    """
    count = len(ways)
    t = planes_met_m(scene, ways[hits.ray], scene.owners[hits.triangle])
    first_t = np.full(count, np.inf)
    np.minimum.at(first_t, hits.ray, t)
    mine = planes_met_m(scene, ways, found.panels[found.start[:-1]])
    # float64 triangles lose some rays at edges between them: those say nothing
    judged = np.isfinite(first_t)
    first = judged & ~(mine <= first_t + SAME_PLACE_M)
    ray = np.repeat(np.arange(count), np.diff(found.start))
    rows = 2 * len(scene.building.patches)
    pairs, times = np.unique(ray * rows + found.rows, return_counts=True)
    begins = found.spaces[found.start[:-1]] != scene.home
    return Wrong(
        rays=count,
        first=int(first.sum()),
        twice=len(np.unique(pairs[times > 1] // rows)),
        parity=int(begins.sum()),
    )
