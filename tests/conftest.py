"""Buildings of our own invention that many tests stand in."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, PanelSpec, SpaceSpec
from envelope.exposure import casts
from envelope.exposure.casts import Casts
from envelope.geometry.plane import frozen
from envelope.kept import VARIABLE

CONSTRUCTION = {
    "exterior-wall": "outer-wall",
    "interior-wall": "stud-wall",
    "floor": "joist-floor",
    "slab": "slab",
    "roof": "roof",
    "window": "pane",
    "door": "leaf",
}
WALL_M = 0.1
SLAB_M = 0.3
ROOM_M = 2.4


@dataclass(frozen=True, kw_only=True)
class Dimensions:
    """What a building is made from, so that a test can change something before it is built."""

    site: Site = field(default_factory=Site)
    storeys: Sequence[Storey] = ()
    spaces: Sequence[SpaceSpec] = ()
    openings: Sequence[OpeningSpec] = ()
    panels: Sequence[PanelSpec] = ()
    construction: Mapping[str, str] = field(default_factory=lambda: dict(CONSTRUCTION))

    def build(self) -> Building:
        return build_building(
            site=self.site,
            storeys=self.storeys,
            spaces=self.spaces,
            openings=self.openings,
            panels=self.panels,
            construction=self.construction,
        )

    def moved(self, *, turn_rad: float = 0.0, shift_m: Sequence[float] = (0.0, 0.0)) -> Dimensions:
        """The same building turned about the vertical, then shifted; wall openings only."""
        turn = np.array(
            [[np.cos(turn_rad), -np.sin(turn_rad)], [np.sin(turn_rad), np.cos(turn_rad)]]
        )
        spaces = [
            replace(
                spec,
                corners=frozen((np.asarray(spec.corners) + spec.origin) @ turn.T),
                origin=frozen(shift_m),
            )
            for spec in self.spaces
        ]
        return replace(self, spaces=spaces)


def rectangle(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return frozen([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def box_room_dimensions(
    *,
    size: tuple[float, float, float] = (4.0, 3.0, 2.4),
    floor_m: float = 0.0,
    openings: Sequence[OpeningSpec] = (),
    site: Site | None = None,
    raised: bool = False,
) -> Dimensions:
    """One room called "room" with a corner at the origin."""
    return Dimensions(
        site=Site() if site is None else site,
        storeys=(Storey(id="ground", floor_m=floor_m),),
        spaces=(
            SpaceSpec(
                id="room",
                storey="ground",
                corners=rectangle(0.0, 0.0, size[0], size[1]),
                height_m=size[2],
                floor_m=floor_m,
                raised=raised,
            ),
        ),
        openings=openings,
    )


def two_rooms_dimensions(*, openings: Sequence[OpeningSpec] = ()) -> Dimensions:
    """Two rooms side by side, "left" (4 × 3 m) and "right" (3 × 3 m), a 0.1 m wall between."""
    return Dimensions(
        storeys=(Storey(id="ground", floor_m=0.0),),
        spaces=(
            SpaceSpec(
                id="left", storey="ground", corners=rectangle(0.0, 0.0, 4.0, 3.0), height_m=2.4
            ),
            SpaceSpec(
                id="right", storey="ground", corners=rectangle(4.1, 0.0, 7.1, 3.0), height_m=2.4
            ),
        ),
        openings=openings,
    )


def _window(name: str, on: str, *, at: float, width: float, reveal: float = 0.0) -> OpeningSpec:
    return OpeningSpec(
        id=name,
        on=on,
        kind="window",
        along_m=at,
        sill_m=0.9,
        width_m=width,
        height_m=1.2,
        reveal_m=reveal,
    )


def _door(
    name: str, on: str, *, at: float, undercut: float = 0.008, from_left: bool = False
) -> OpeningSpec:
    return OpeningSpec(
        id=name,
        on=on,
        kind="door",
        along_m=at,
        width_m=0.8,
        height_m=2.0,
        undercut_m=undercut,
        from_left=from_left,
    )


def three_storey_dimensions() -> Dimensions:
    """Three storeys: a bedroom with a closet over a kitchen, an L-shaped lounge, an attic room."""
    levels = [0.0, ROOM_M + SLAB_M, 2 * (ROOM_M + SLAB_M)]
    storeys = [
        Storey(id=name, floor_m=level)
        for name, level in zip(("ground", "middle", "top"), levels, strict=True)
    ]

    def room(name: str, storey: int, corners: np.ndarray) -> SpaceSpec:
        return SpaceSpec(
            id=name,
            storey=storeys[storey].id,
            corners=corners,
            height_m=ROOM_M,
            floor_m=levels[storey],
        )

    spaces = [
        room("kitchen", 0, rectangle(0.0, 0.0, 3.6, 4.0)),
        room(
            "lounge",
            0,
            frozen([(3.7, 0), (8.0, 0), (8.0, 2.6), (6.4, 2.6), (6.4, 4.0), (3.7, 4.0)]),
        ),
        room("store", 0, rectangle(6.5, 2.7, 8.0, 4.0)),
        room("bedroom", 1, rectangle(0.0, 0.0, 4.2, 4.0)),
        room("closet", 1, rectangle(4.3, 0.0, 5.4, 1.6)),
        room(
            "landing", 1, frozen([(5.5, 0), (8.0, 0), (8.0, 4), (4.3, 4), (4.3, 1.7), (5.5, 1.7)])
        ),
        room("study", 2, rectangle(0.0, 0.0, 8.0, 4.0)),
    ]
    openings = [
        _window("K1", "kitchen/south", at=1.0, width=1.6, reveal=0.12),
        _window("K2", "kitchen/west", at=1.2, width=1.0, reveal=0.12),
        _door("K3", "kitchen/east", at=0.5),
        _door("K4", "kitchen/north", at=0.4),
        _window("L1", "lounge/1", at=1.2, width=2.0, reveal=0.2),
        _door("L2", "lounge/4", at=0.2),
        _window("S1", "store/east", at=0.3, width=0.5),
        _window("B1", "bedroom/south", at=1.1, width=1.5, reveal=0.12),
        _window("B2", "bedroom/west", at=1.4, width=1.2, reveal=0.12),
        _door("B3", "bedroom/east", at=2.2),
        OpeningSpec(
            id="B4", on="bedroom/east", kind="open", along_m=0.2, width_m=1.2, height_m=2.1
        ),
        OpeningSpec(
            id="B5",
            on="bedroom/north",
            kind="box",
            along_m=1.0,
            sill_m=0.3,
            width_m=0.08,
            height_m=0.08,
            ring_m=0.005,
        ),
        OpeningSpec(
            id="B6",
            on="bedroom/ceiling",
            kind="light",
            centre=(2.1, 2.0),
            width_m=0.15,
            height_m=0.15,
        ),
        _window("A1", "landing/2", at=1.5, width=1.0, reveal=0.12),
        OpeningSpec(
            id="A2",
            on="landing/ceiling",
            kind="open",
            centre=(7.0, 2.5),
            width_m=0.9,
            height_m=2.0,
        ),
        _window("T1", "study/east", at=1.0, width=1.8, reveal=0.15),
        OpeningSpec(
            id="T2",
            on="study/ceiling",
            kind="skylight",
            centre=(2.0, 2.0),
            width_m=0.8,
            height_m=1.1,
            reveal_m=0.25,
        ),
        OpeningSpec(
            id="T3",
            on="study/north",
            kind="vent",
            along_m=0.5,
            sill_m=2.1,
            width_m=0.2,
            height_m=0.1,
        ),
    ]
    return Dimensions(site=Site(grade_m=-0.3), storeys=storeys, spaces=spaces, openings=openings)


def random_house_dimensions(
    rng: np.random.Generator, *, flat_openings: bool = True, storeys: int = 3
) -> Dimensions:
    """A house of a few rooms a storey, one of them L-shaped round a closet, all of it by chance.

    Without `flat_openings` every opening is in a wall, so that the house can be turned.
    """
    width, depth = rng.uniform(7.0, 10.0), rng.uniform(6.0, 8.0)
    spaces: list[SpaceSpec] = []
    openings: list[OpeningSpec] = []
    levels = [level * (ROOM_M + SLAB_M) for level in range(storeys)]
    names = [f"storey{level}" for level in range(storeys)]
    for level, (storey, floor_m) in enumerate(zip(names, levels, strict=True)):
        split_x, split_y = width * rng.uniform(0.42, 0.58), depth * rng.uniform(0.45, 0.55)
        columns = [(0.0, split_x), (split_x + WALL_M, width)]
        rows = [(0.0, split_y), (split_y + WALL_M, depth)]
        with_closet = int(rng.integers(4))
        for cell in range(4):
            (x0, x1), (y0, y1) = columns[cell % 2], rows[cell // 2]
            name = f"r{level}{cell}"
            corners = rectangle(x0, y0, x1, y1)
            north = 3
            if cell == with_closet:
                cx, cy = x1 - rng.uniform(0.9, 1.4), y1 - rng.uniform(0.7, 1.1)
                corners = frozen(
                    [
                        (x0, y0),
                        (x1, y0),
                        (x1, cy - WALL_M),
                        (cx - WALL_M, cy - WALL_M),
                        (cx - WALL_M, y1),
                        (x0, y1),
                    ]
                )
                north = 5
                spaces.append(
                    SpaceSpec(
                        id=f"c{level}",
                        storey=storey,
                        corners=rectangle(cx, cy, x1, y1),
                        height_m=ROOM_M,
                        floor_m=floor_m,
                    )
                )
                openings.append(
                    OpeningSpec(
                        id=f"C{level}",
                        on=f"{name}/4",
                        kind="open",
                        along_m=0.15,
                        width_m=0.4,
                        height_m=2.0,
                    )
                )
            spaces.append(
                SpaceSpec(id=name, storey=storey, corners=corners, height_m=ROOM_M, floor_m=floor_m)
            )
            west = len(corners)
            outer = f"{name}/1" if cell // 2 == 0 else f"{name}/{north}"
            reveal = float(rng.choice([0.0, rng.uniform(0.05, 0.25)]))
            openings.append(
                replace(
                    _window(f"W{level}{cell}", outer, at=0.4, width=rng.uniform(0.5, 1.2)),
                    reveal_m=reveal,
                    from_left=bool(rng.integers(2)) and cell // 2 == 0,
                )
            )
            side = f"{name}/{west}" if cell % 2 == 0 else f"{name}/2"
            openings.append(
                _window(f"V{level}{cell}", side, at=0.3, width=rng.uniform(0.4, 0.9), reveal=reveal)
            )
            if cell % 2 == 0:
                openings.append(
                    replace(
                        _door(f"D{level}{cell}", f"{name}/2", at=0.25),
                        reveal_m=float(rng.choice([0.0, 0.04])),
                    )
                )
            if cell // 2 == 0:
                openings.append(
                    _door(f"E{level}{cell}", f"{name}/{north}", at=0.25, from_left=True)
                )
            openings.append(
                OpeningSpec(
                    id=f"X{level}{cell}",
                    on=f"{name}/{west}",
                    kind="box",
                    along_m=1.3,
                    sill_m=0.3,
                    width_m=0.08,
                    height_m=0.08,
                    ring_m=0.005,
                )
            )
            if flat_openings:
                openings.append(
                    OpeningSpec(
                        id=f"Y{level}{cell}",
                        on=f"{name}/ceiling",
                        kind="light",
                        centre=(x0 + 1.0, y0 + 0.8),
                        width_m=0.15,
                        height_m=0.15,
                    )
                )
        if level == 0:
            openings.append(_door("F", "r00/1", at=0.25, undercut=0.01))
            openings[-1] = replace(openings[-1], from_left=True, on="r01/1", along_m=0.2)
    # The front door takes the place of the window beside it.
    openings = [item for item in openings if item.id != "W01"]
    return Dimensions(
        site=Site(grade_m=-0.2),
        storeys=[Storey(id=name, floor_m=level) for name, level in zip(names, levels, strict=True)],
        spaces=spaces,
        openings=openings,
    )


@pytest.fixture(scope="session")
def box_room_specs() -> Callable[..., Dimensions]:
    """Dimensions of one room, to be changed and built."""
    return box_room_dimensions


@pytest.fixture(scope="session")
def box_room() -> Callable[..., Building]:
    """``box_room(size=(4.0, 3.0, 2.4), floor_m=0.0, openings=(), site=None, raised=False)``."""
    return lambda **changes: box_room_dimensions(**changes).build()


@pytest.fixture(scope="session")
def two_rooms_specs() -> Callable[..., Dimensions]:
    """Dimensions of two rooms side by side."""
    return two_rooms_dimensions


@pytest.fixture(scope="session")
def two_rooms() -> Callable[..., Building]:
    """``two_rooms(openings=())``: "left" and "right"."""
    return lambda **changes: two_rooms_dimensions(**changes).build()


@pytest.fixture(scope="session")
def three_storey_specs() -> Callable[[], Dimensions]:
    """Dimensions of a fixed three-storey house."""
    return three_storey_dimensions


@pytest.fixture(scope="session")
def three_storey_house() -> Building:
    """A fixed three-storey house: kitchen, lounge, store; bedroom, closet, landing; study."""
    return three_storey_dimensions().build()


@pytest.fixture(scope="session")
def random_house_specs() -> Callable[..., Dimensions]:
    """``random_house_specs(rng, flat_openings=True, storeys=3)``; has ``.moved(...).build()``."""
    return random_house_dimensions


@pytest.fixture(scope="session")
def random_house() -> Callable[..., Building]:
    """``random_house(rng)``: a building of about 15 rooms and 60 openings."""
    return lambda rng, **changes: random_house_dimensions(rng, **changes).build()


# Where every dependency is installed, a skipped test hides a fault: set by the full run. Models
# that are not part of the project may be absent anywhere.
FORBID_SKIPS = bool(os.environ.get("GAPCAST_FORBID_SKIPS"))
MAY_BE_ABSENT = "shared models are not here"


# Folders and files whose tests carry a marker, so that a quick run can leave them out.
MARKED = {
    "browser": ("browser",),
    "slow": (
        "benchmarks",
        "properties",
        "published",
        "test_layers.py",
        "test_models.py",
        "test_readme.py",
        "viewer/pictures",
    ),
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests of whole folders."""
    here = Path(__file__).parent
    for item in items:
        if not item.path.is_relative_to(here):
            continue
        path = f"{item.path.relative_to(here).as_posix()}/"
        for marker, places in MARKED.items():
            if any(path.startswith(f"{place}/") for place in places):
                item.add_marker(marker)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if FORBID_SKIPS and report.skipped and MAY_BE_ABSENT not in str(report.longrepr):
        report.outcome = "failed"
    return report


@pytest.fixture(scope="session", autouse=True)
def _own_cache_folder(tmp_path_factory: pytest.TempPathFactory) -> Generator[None]:
    """What programs keep between runs goes into a folder of the tests, not into the user's."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv(VARIABLE, str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="session")
def _known_casts() -> dict[str, Casts]:
    return {}


@pytest.fixture
def casts_once(_known_casts: dict[str, Casts], monkeypatch: pytest.MonkeyPatch) -> None:
    """Cast a job once for all commands that ask for it: many tests look at the sample jobs."""
    cast_job = casts.cast_job

    def cast_once(job: Job, **how: Any) -> Casts:
        asked = {
            name: value for name, value in how.items() if name not in ("progress", "cancel", "kept")
        }
        key = repr((job.building.digest, job.receivers, job.sources, asked))
        if key not in _known_casts:
            _known_casts[key] = cast_job(job, **how)
        return _known_casts[key]

    monkeypatch.setattr(casts, "cast_job", cast_once)
