"""Blocks outdoors that nothing passes, such as a neighbour's house."""

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.model import Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import ObstacleSpec, SpaceSpec
from envelope.errors import GeometryError
from envelope.geometry.plane import frozen


def rectangle(x0, y0, x1, y1):
    return frozen([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def room(obstacles):
    """A room of 6 m by 4 m and what stands about it."""
    return build_building(
        site=Site(grade_m=0.0),
        storeys=[Storey(id="g", floor_m=0.0)],
        spaces=[SpaceSpec(id="room", storey="g", corners=rectangle(0, 0, 6, 4), height_m=2.4)],
        openings=(),
        panels=(),
        obstacles=obstacles,
        construction={"exterior-wall": "w", "floor": "f", "roof": "r"},
    )


def subjects(obstacles):
    with pytest.raises(GeometryError) as caught:
        room(obstacles)
    return [fault.subject for fault in caught.value.faults]


class TestObstacles:
    BLOCK = ObstacleSpec(id="house", corners=rectangle(10, 0, 18, 9), low_m=0.0, high_m=6.0)

    def test_planes(self):
        building = room([self.BLOCK])
        (block,) = building.obstacles
        assert block.planes.tolist() == [
            [0, -1, 0, 0],
            [1, 0, 0, 18],
            [0, 1, 0, 9],
            [-1, 0, 0, -10],
            [0, 0, 1, 6],
            [0, 0, -1, 0],
        ]
        assert block.holds(np.array([11.0, 1.0, 5.9]))
        assert not block.holds(np.array([11.0, 1.0, 6.1]))

    def test_a_turned_box_has_unit_normals(self):
        corners = frozen([(10, 0), (13, 4), (9, 7), (6, 3)])
        building = room([replace(self.BLOCK, corners=corners)])
        normals = building.obstacles[0].planes[:, :3]
        assert np.linalg.norm(normals, axis=1) == pytest.approx([1.0] * 6, abs=1e-12)
        assert building.obstacles[0].holds(np.array([9.5, 3.5, 3.0]))

    def test_it_changes_the_digest(self):
        plain = room([])
        assert plain.digest == room([]).digest
        with_block = room([self.BLOCK])
        higher = room([replace(self.BLOCK, high_m=7.0)])
        assert len({plain.digest, with_block.digest, higher.digest}) == 3

    @pytest.mark.parametrize(
        ("changes", "key"),
        [
            ({"corners": rectangle(5, 0, 8, 3)}, "footprint"),
            ({"corners": frozen([(10, 0), (14, 0), (11, 1), (10, 4)])}, "footprint"),
            ({"high_m": 0.0}, "height"),
        ],
    )
    def test_what_cannot_be(self, changes, key):
        found = subjects([replace(self.BLOCK, **changes)])
        assert found == [("obstacle", "house", key)]
