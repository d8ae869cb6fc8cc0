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

from envelope.building.assemble import assemble  # noqa: E402
from envelope.building.model import Building, Panel, Site, Space, Storey  # noqa: E402
from envelope.building.rooms.specs import OpeningSpec, SpaceSpec  # noqa: E402
from envelope.geometry.plane import Floats  # noqa: E402
from envelope.rays.building_arrays import Geometry, geometry_of  # noqa: E402

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


def cave(bands: int) -> Scene:
    """One free-form space, its skin dented: about 4 bands² triangles, each a panel of its own."""
    around = 2 * bands
    height, turn = np.meshgrid(
        np.pi * np.arange(1, bands) / bands, 2.0 * np.pi * np.arange(around) / around, indexing="ij"
    )
    radius = 3.0 + 0.2 * np.sin(5.0 * turn) * np.sin(height) ** 2 + 0.1 * np.cos(7.0 * height)
    ring = np.stack(
        (
            radius * np.sin(height) * np.cos(turn),
            radius * np.sin(height) * np.sin(turn),
            4.0 + radius * np.cos(height),
        ),
        axis=-1,
    ).reshape(-1, 3)
    corners = np.vstack((ring, [(0.0, 0.0, 7.1), (0.0, 0.0, 0.9)]))
    row, column = np.meshgrid(np.arange(bands - 2), np.arange(around), indexing="ij")
    here, beside = row * around + column, row * around + (column + 1) % around
    below, across = here + around, beside + around
    top, bottom = len(ring), len(ring) + 1
    last, first = (bands - 2) * around + np.arange(around), np.arange(around)
    wound = np.concatenate(  # inward
        [
            np.stack((here, across, below), axis=-1).reshape(-1, 3),
            np.stack((here, beside, across), axis=-1).reshape(-1, 3),
            np.column_stack((np.full(around, top), np.roll(first, -1), first)),
            np.column_stack((np.full(around, bottom), last, np.roll(last, -1))),
        ]
    )
    panels = tuple(
        Panel(id=f"cave/{index}", space="cave", kind="wall", outline=corners[triangle])
        for index, triangle in enumerate(wound)
    )
    building = assemble(  # it is closed by construction
        site=Site(),
        storeys=[Storey(id="only", floor_m=0.0)],
        spaces=[Space(id="cave", storey="only", floor_m=0.9, panels=panels)],
        construction={"exterior-wall": "rock"},
    )
    return Scene(name="cave", building=building, space="cave", eye_m=np.array([0.31, 0.17, 4.13]))


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
