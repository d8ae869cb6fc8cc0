"""First hits in a convex room against trimesh's ray engine, a general-purpose reference.

trimesh (MIT), its triangle engine in double precision, on the room's hull made of triangles; run
here, in the version that is installed. Rays within 1e-9 m of an edge between panels are set aside,
where that engine may report either or none.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from trimesh.ray.ray_triangle import RayMeshIntersector

from envelope.building.model import Building
from envelope.rays.building_arrays import geometry_of
from envelope.rays.parallel import follow


def test_first_hits_of_a_convex_room(box_room: Callable[..., Building]) -> None:
    building = box_room(size=(4.2, 3.1, 2.45))
    geometry = geometry_of(building)
    triangles = np.concatenate(geometry.triangles)
    owners = np.repeat(np.arange(len(building.panels)), [len(t) for t in geometry.triangles])
    mesh = trimesh.Trimesh(
        vertices=triangles.reshape(-1, 3),
        faces=np.arange(3 * len(triangles)).reshape(-1, 3),
        process=False,
    )
    rng = np.random.default_rng(41)
    ways = rng.normal(size=(2000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
    starts = rng.uniform(-0.45, 0.45, size=(2000, 3)) * (4.2, 3.1, 2.45)
    places, rays, faces = RayMeshIntersector(mesh).intersects_location(
        starts, ways, multiple_hits=False
    )
    assert len(np.unique(rays)) > 1990
    trace = follow(geometry, starts=starts, directions=ways, home=0)
    assert (np.diff(trace.start) == 1).all()
    assert (trace.first[rays] == owners[faces]).all()
    normals = np.array([panel.normal for panel in building.panels])
    expected = -(ways[rays] * normals[owners[faces]]).sum(axis=1)
    assert trace.cosines[rays] == pytest.approx(expected, abs=1e-12)
    assert np.abs(places).max(axis=0) == pytest.approx((2.1, 1.55, 1.225), abs=1e-9)
