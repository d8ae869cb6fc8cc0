"""Buildings to measure in, and rays through them: by chance, and aimed at edges and corners."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))

from envelope.building.planar import Floats  # noqa: E402
from envelope.building.records import Building, Storey  # noqa: E402
from envelope.building.specs import OpeningSpec, SpaceSpec  # noqa: E402
from envelope.rays.tables import Geometry, geometry_of  # noqa: E402

AT_CORNERS = 0.1  # share of the aimed rays


def _builders() -> ModuleType:
    """The tests' own builders, which live in their conftest."""
    name = "benchmark_builders"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, ROOT / "tests" / "conftest.py")
        assert spec is not None
        assert spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A building with an eye in one of its spaces."""

    name: str
    building: Building
    space: str
    eye_m: Floats  # (3,) in the building's coordinates

    @cached_property
    def geometry(self) -> Geometry:
        """Tables of the kernel."""
        return geometry_of(self.building)

    @cached_property
    def triangles(self) -> Floats:
        """All panels as triangles (t, 3, 3), counted from the building's middle. [m]"""
        return np.concatenate(self.geometry.triangles)

    @cached_property
    def owners(self) -> NDArray[np.int64]:
        """Panel of each triangle, (t,)."""
        counts = [len(each) for each in self.geometry.triangles]
        return np.repeat(np.arange(len(counts)), counts)

    @property
    def home(self) -> int:
        """Index of the eye's space."""
        return self.building.space_index[self.space]

    def starts(self, count: int) -> Floats:
        """The eye, as often as there are rays, counted from the middle (count, 3)."""
        return np.tile(self.eye_m - self.geometry.middle, (count, 1))


def one_room() -> Scene:
    """One room with a window and a door: eight panels."""
    builders = _builders()
    window = OpeningSpec(
        id="W", on="room/1", kind="window", along_m=1.0, sill_m=0.9, width_m=1.5, height_m=1.2
    )
    door = OpeningSpec(id="D", on="room/3", kind="door", along_m=0.5, width_m=0.8, height_m=2.0)
    building = builders.box_room_dimensions(openings=[window, door]).build()
    return Scene(
        name="one room", building=building, space="room", eye_m=np.array([1.31, 1.17, 0.83])
    )


def house() -> Scene:
    """Four storeys of rooms with closets, windows, doors and boxes."""
    dimensions = _builders().random_house_dimensions(
        np.random.default_rng(11), flat_openings=False, storeys=4
    )
    building = dimensions.build()
    floor_m = next(space.floor_m for space in building.spaces if space.id == "r20")
    return Scene(
        name="house", building=building, space="r20", eye_m=np.array([1.31, 1.17, floor_m + 0.83])
    )


def side_by_side(rooms: int) -> Scene:
    """Rooms in a square, a wall between each two; the eye in the one in the middle."""
    builders = _builders()
    across = int(np.ceil(np.sqrt(rooms)))
    corners = [
        (4.1 * (index % across), 3.1 * (index // across), f"r{index}") for index in range(rooms)
    ]
    spaces = [
        SpaceSpec(
            id=name, storey="ground", corners=builders.rectangle(x, y, x + 4, y + 3), height_m=2.4
        )
        for x, y, name in corners
    ]
    building = builders.Dimensions(
        storeys=(Storey(id="ground", floor_m=0.0),), spaces=spaces
    ).build()
    rows = -(-rooms // across)
    x, y, name = corners[min((rows - 1) // 2 * across + (across - 1) // 2, rooms - 1)]
    return Scene(
        name=f"{rooms} rooms",
        building=building,
        space=name,
        eye_m=np.array([x + 1.31, y + 1.17, 0.83]),
    )


def round_room(walls: int) -> Scene:
    """One space of many narrow walls on a circle: a free-form room in small."""
    builders = _builders()
    turn = 2.0 * np.pi * np.arange(walls) / walls
    corners = 5.0 * np.column_stack((np.cos(turn), np.sin(turn)))
    building = builders.Dimensions(
        storeys=(Storey(id="ground", floor_m=0.0),),
        spaces=(SpaceSpec(id="room", storey="ground", corners=corners, height_m=2.4),),
    ).build()
    return Scene(
        name=f"one space of {walls + 2} panels",
        building=building,
        space="room",
        eye_m=np.array([0.31, 0.17, 0.83]),
    )


def by_chance(count: int, *, seed: int = 5) -> Floats:
    """Unit vectors (count, 3), evenly over the sphere."""
    ways = np.random.default_rng(seed).normal(size=(count, 3))
    return np.asarray(ways / np.linalg.norm(ways, axis=1)[:, np.newaxis])


def at_edges(scene: Scene, count: int, *, seed: int = 6) -> Floats:
    """Unit vectors (count, 3) at points on the edges of the space's panels, some at corners."""
    rng = np.random.default_rng(seed)
    panels = scene.building.space(scene.space).panels
    rings = [ring for panel in panels for ring in (panel.outline, *panel.holes)]
    low = np.concatenate(rings)
    high = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
    edge = rng.integers(len(low), size=count)
    along = rng.uniform(size=count)
    along[: int(AT_CORNERS * count)] = 0.0
    points = low[edge] + along[:, np.newaxis] * (high[edge] - low[edge])
    ways = points - scene.eye_m
    return np.asarray(ways / np.linalg.norm(ways, axis=1)[:, np.newaxis])
