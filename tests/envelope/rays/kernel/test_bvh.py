"""Trees of boxes and of normals: what a node says of the panels below it holds, and leaving nodes
out by it changes no ray.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import SpaceSpec
from envelope.rays.building_arrays import Geometry, geometry_of
from envelope.rays.kernel import bvh
from envelope.rays.kernel.arrays import LEAF_FROM, LEAF_TO, NORMAL, OFFSET, RIGHT, TELLING
from envelope.rays.kernel.bvh import Trees
from envelope.rays.parallel import Trace, follow

WALLS = 120
KEPT = ("start", "rows", "cosines", "spaces", "panels", "sky", "first", "returned")


@pytest.fixture(scope="module")
def stars() -> Building:
    """Two rooms with deep dents beside each other: rays leave them and come in again."""
    turn = 2.0 * np.pi * np.arange(WALLS) / WALLS
    radius = 3.0 + np.sin(5.0 * turn)
    corners = radius[:, np.newaxis] * np.column_stack((np.cos(turn), np.sin(turn)))
    return build_building(
        site=Site(),
        storeys=[Storey(id="ground", floor_m=0.0)],
        spaces=[
            SpaceSpec(id=name, storey="ground", corners=corners + shift, height_m=2.4)
            for name, shift in (("one", (0.0, 0.0)), ("two", (8.2, 0.4)))
        ],
        construction={"exterior-wall": "brick", "slab": "slab", "roof": "slab"},
    )


def trees_of(geometry: Geometry) -> Trees:
    tables = geometry.tables
    return Trees(
        node=tables.node, node_box=tables.node_box, order=tables.node_order, roots=tables.root
    )


def below(trees: Trees, node: int) -> list[int]:
    """Panels below a node."""
    if trees.node[node, RIGHT] < 0:
        return list(trees.order[trees.node[node, LEAF_FROM] : trees.node[node, LEAF_TO]])
    return below(trees, node + 1) + below(trees, int(trees.node[node, RIGHT]))


def traces(geometry: Geometry) -> list[Trace]:
    """Out of one room, and in from outside."""
    ways = np.random.default_rng(3).normal(size=(20_000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
    inside = np.array([0.3, 0.2, 1.1]) - geometry.middle
    outside = np.random.default_rng(4).uniform(-3.0, 3.0, size=(20_000, 3)) - 20.0 * ways
    outside[:, 2] = np.abs(outside[:, 2])
    return [
        follow(geometry, starts=np.tile(inside, (len(ways), 1)), directions=ways, home=0),
        follow(geometry, starts=outside, directions=ways, home=-1),
    ]


def test_boxes_and_balls_hold_what_is_below(stars: Building) -> None:
    geometry = geometry_of(stars)
    trees = trees_of(geometry)
    normals = geometry.tables.plane[:, NORMAL:OFFSET]
    telling = 0
    for node in np.flatnonzero(trees.node[:, RIGHT] >= 0):
        telling += trees.node[node, TELLING]
        for side, child in enumerate((node + 1, trees.node[node, RIGHT])):
            row = trees.node_box[node].astype(np.float64)
            low, high = row[6 * side : 6 * side + 3], row[6 * side + 3 : 6 * side + 6]
            middle, radius = row[12 + 4 * side : 15 + 4 * side], row[15 + 4 * side]
            for panel in below(trees, int(child)):
                corners = stars.panels[panel].outline - geometry.middle
                assert (corners > low).all()
                assert (corners < high).all()
                assert np.linalg.norm(normals[panel] - middle) < radius
    assert telling > WALLS / 8


def test_balls_change_no_ray(stars: Building) -> None:
    geometry = geometry_of(stars)
    node = geometry.tables.node.copy()
    node[node[:, RIGHT] >= 0, TELLING] = 0
    plain = replace(geometry, tables=geometry.tables._replace(node=node))
    for with_balls, without in zip(traces(geometry), traces(plain), strict=True):
        assert len(with_balls.rows) > 15_000
        for name in KEPT:
            assert (getattr(with_balls, name) == getattr(without, name)).all()


def test_a_tree_changes_no_ray(stars: Building, monkeypatch: pytest.MonkeyPatch) -> None:
    """As against trying every panel."""
    geometry = geometry_of(stars)
    with monkeypatch.context() as patch:
        patch.setattr(bvh, "BARE", 10 * WALLS)
        bare = geometry_of(replace(stars))
    assert len(bare.tables.node) == 3
    for by_tree, by_all in zip(traces(geometry), traces(bare), strict=True):
        for name in KEPT:
            assert (getattr(by_tree, name) == getattr(by_all, name)).all()
