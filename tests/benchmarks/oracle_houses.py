"""Houses by chance for the two walkers: what a building is made from, and the same as half-spaces.

`house_by_chance` has L-shaped rooms, gables, storeys that jut out, cellars, niches of several
depths, doors with undercuts, obstacles; its walls and floors have no thickness, so that no ray is
shifted, and everything that a ray crosses is named. `tight_house_by_chance` has two rooms a
storey, walls and floors from nothing to a quarter of a metre, and everything off by up to 30 mm:
sills above floors, heads below ceilings, niches beside corners and beside each other. There all
that is opaque has one name.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from oracle_walker import DOOR, FLOOR, OPEN, PANE, ROOF, WALL, Known

from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import CeilingSpec, ObstacleSpec, OpeningSpec, SpaceSpec
from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats, frozen

HEIGHT_M, REACH_M = 2.5, 3.0
FLUSH_M = 0.03  # a niche's face no farther from a floor, a ceiling or a wall lies in it
ON_EARTH_M = 1.0  # a floor with nothing below that is not raised lies on earth up to this height
STEPS_M = (0.0, 0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.03)
NAMES = ("outer-wall", "inner-wall", "joist-floor", "tiles", "pane", "leaf", "None")
CONSTRUCTION = dict(
    zip(
        ("exterior-wall", "interior-wall", "floor", "roof", "window", "door", "slab"),
        (*NAMES[:6], "joist-floor"),
        strict=True,
    )
)
FACES = 8  # of a cell, at most
Box = tuple[float, float, float, float]  # x0, y0, x1, y1
Points = list[tuple[float, float]]


@dataclass(frozen=True, kw_only=True)
class Room:
    """A room as it is said, and as boxes."""

    name: str
    storey: int
    outline: Points
    boxes: list[Box]
    floor_m: float
    height_m: float
    ridge_m: float = 0.0  # above the eaves; it runs along x
    raised: bool = True


@dataclass(kw_only=True)
class House:
    """A house by chance, before it is a building."""

    rooms: list[Room] = field(default_factory=list)
    openings: list[OpeningSpec] = field(default_factory=list)
    blocks: list[tuple[Floats, Floats]] = field(default_factory=list)
    grade_m: float = -0.4
    one_name: bool = False  # whether all that is opaque counts as one

    def build(self) -> Building:
        """The building; openings that it refuses are left out of the house."""
        while True:
            try:
                return self._built()
            except EnvelopeError as error:
                named = [each for each in self.openings if each.id in str(error)]
                if not named:
                    raise
                self.openings.remove(named[0])

    def _built(self) -> Building:
        floors: dict[int, float] = {}
        for room in self.rooms:
            floors.setdefault(room.storey, room.floor_m)
        return build_building(
            site=Site(grade_m=self.grade_m, reach_m=REACH_M),
            storeys=[Storey(id=f"s{number}", floor_m=floor) for number, floor in floors.items()],
            spaces=[
                SpaceSpec(
                    id=room.name,
                    storey=f"s{room.storey}",
                    corners=frozen(room.outline),
                    height_m=room.height_m,
                    floor_m=room.floor_m,
                    raised=room.raised,
                    ceiling=CeilingSpec(shape="gable", ridge_m=room.height_m + room.ridge_m)
                    if room.ridge_m
                    else CeilingSpec(),
                )
                for room in self.rooms
            ],
            openings=self.openings,
            panels=(),
            obstacles=[
                ObstacleSpec(
                    id=f"o{number}",
                    corners=frozen(
                        [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
                    ),
                    low_m=float(low[2]),
                    high_m=float(high[2]),
                )
                for number, (low, high) in enumerate(self.blocks)
            ],
            construction=CONSTRUCTION,
        )


class _Cells:
    """Cells and surfaces of a house, one after the other."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.surfaces: dict[tuple[int, int, int, float], int] = {}
        self.codes: list[int] = []
        self.buried: list[int] = []
        self.rows: list[dict[str, object]] = []
        self.holes: list[tuple[Floats, Floats, int]] = []

    def number(self, space: int, axis: int, side: int, where: float, code: int, earth: int) -> int:
        """Of a surface: a room's faces in one plane are one."""
        key = (space, axis, side, round(where, 7))
        if key not in self.surfaces:
            self.surfaces[key] = len(self.codes)
            self.codes.append(WALL if self.house.one_name else code)
            self.buried.append(earth)
        return self.surfaces[key]

    def add(
        self, low: Floats, high: Floats, more: list[tuple[Floats, float]], **row: object
    ) -> None:
        normals, offsets = np.zeros((FACES, 3)), np.full(FACES, 1.0)
        normals[:3], normals[3:6] = -np.eye(3), np.eye(3)
        offsets[:3], offsets[3:6] = -low, high
        for face, (normal, offset) in enumerate(more, start=6):
            normals[face], offsets[face] = normal, offset
        self.rows.append({"normals": normals, "offsets": offsets, **row})

    def add_room(self, space: int, room: Room) -> None:
        low_on = room.floor_m <= self.house.grade_m + ON_EARTH_M and not room.raised
        for x0, y0, x1, y1 in room.boxes:
            eaves = room.floor_m + room.height_m
            low, high = np.array((x0, y0, room.floor_m)), np.array((x1, y1, eaves + room.ridge_m))
            surface = np.full(FACES, -1)
            for axis, side in ((axis, side) for axis in range(3) for side in (0, 1)):
                code = WALL if axis < 2 else (FLOOR, ROOF)[side]
                earth = int(axis == 2 and side == 0 and low_on)
                where = float((low, high)[side][axis])
                surface[axis + 3 * side] = self.number(space, axis, side, where, code, earth)
            slopes = []
            if room.ridge_m:  # the ridge runs along x: z - rise |y - side| <= eaves
                rise = room.ridge_m / (0.5 * (y1 - y0))
                slopes = [
                    (np.array((0.0, -rise, 1.0)), eaves - rise * y0),
                    (np.array((0.0, rise, 1.0)), eaves + rise * y1),
                ]
                for side in (0, 1):
                    surface[6 + side] = self.number(space, 3, side, 0.0, ROOF, 0)
            self.add(low, high, slopes, space=space, surface=surface)

    def add_opening(self, space: int, room: Room, spec: OpeningSpec) -> None:
        wall = int(spec.on.split("/")[1]) - 1
        here = np.array(room.outline[wall])
        there = np.array(room.outline[(wall + 1) % len(room.outline)])
        length = float(np.abs(there - here).sum())
        along = (there - here) / length
        assert spec.along_m is not None
        place = spec.along_m
        if spec.from_left:
            place = length - spec.along_m - spec.width_m
        out = np.array((along[1], -along[0]))
        axis = int(np.argmax(np.abs(out)))
        side = int(out[axis] > 0.0)
        ends = np.stack((here + along * place, here + along * (place + spec.width_m)))
        ends = np.concatenate((ends, ends + out * spec.reveal_m))
        low = np.array((*ends.min(axis=0), room.floor_m + spec.sill_m))
        high = np.array((*ends.max(axis=0), room.floor_m + spec.sill_m + spec.height_m))
        code = DOOR if spec.kind == "door" else PANE
        if spec.undercut_m > 0.0:
            top = high.copy()
            top[2] = low[2] + spec.undercut_m
            self.holes.append((low.copy(), top, OPEN))
            low[2] = top[2]
        if spec.reveal_m == 0.0:
            self.holes.append((low, high, code))
            return
        host = self.surfaces[space, axis, side, round(float(here[axis]), 7)]
        surface = np.full(FACES, host)
        end = axis + 3 * side
        mouth = 0.5 * (low + high)
        mouth[axis] = here[axis]
        for face in range(6):
            if face % 3 == axis:
                continue
            edge = mouth.copy()
            edge[face % 3] = (low, high)[face // 3][face % 3]
            found = self.lying_in(space, face, edge)
            if found is not None:
                surface[face] = found
        way = np.array((*out, 0.0))
        self.add(low, high, [], space=space, surface=surface, host=host, host_way=way, end=end)

    def lying_in(self, space: int, face: int, edge: Floats) -> int | None:
        """The surface in which a niche's face lies, if any but its own wall."""
        axis, side = face % 3, face // 3
        for row in self.rows:
            if row["space"] != space or "host" in row:
                continue
            low, high = -row["offsets"][:3], row["offsets"][3:6]  # type: ignore[index]
            if row["surface"][6] >= 0 and side == 1 and axis == 2:  # type: ignore[index]
                continue  # a gable has no level ceiling
            gap = np.maximum(np.maximum(low - edge, edge - high), 0.0)
            gap[axis] = 0.0
            where = (low, high)[side][axis]
            if abs(edge[axis] - where) < FLUSH_M and np.hypot(*np.delete(gap, axis)) < FLUSH_M:
                return int(row["surface"][face])  # type: ignore[index]
        return None


def known_of(house: House) -> Known:
    """What the second walker knows of a house."""
    cells = _Cells(house)
    for space, room in enumerate(house.rooms):
        cells.add_room(space, room)
    names = {room.name: number for number, room in enumerate(house.rooms)}
    for spec in house.openings:
        space = names[spec.on.split("/")[0]]
        cells.add_opening(space, house.rooms[space], spec)

    def column(name: str, default: object) -> np.ndarray:
        return np.array([row.get(name, default) for row in cells.rows])

    low, high = (np.array([box[k] for box in house.blocks]).reshape(-1, 3) for k in (0, 1))
    hole_low, hole_high = (
        np.array([hole[k] for hole in cells.holes]).reshape(-1, 3) for k in (0, 1)
    )
    return Known(
        normals=column("normals", None), offsets=column("offsets", None),
        space=column("space", -1), host=column("host", -1),
        host_way=column("host_way", np.zeros(3)), end=column("end", -1),
        surface=column("surface", None),
        code=np.array(cells.codes), buried=np.array(cells.buried),
        hole_low=hole_low, hole_high=hole_high,
        hole_code=np.array([hole[2] for hole in cells.holes], dtype=np.int64),
        block_low=low, block_high=high, grade_m=house.grade_m, reach_m=REACH_M,
    )  # fmt: skip


# ---- houses without thickness, everything named


def _windows(
    name: str, outline: Points, wall: int, lowest_m: float, rng: np.random.Generator
) -> list[OpeningSpec]:
    """Up to two windows in an outer wall along an axis, flush or in niches, above the ground."""
    here, there = np.array(outline[wall]), np.array(outline[(wall + 1) % len(outline)])
    length = float(np.abs(there - here).sum())
    place = float(rng.uniform(0.05, 0.4))
    found = []
    for number in range(int(rng.integers(0, 3))):
        width, sill = float(rng.uniform(0.3, 1.0)), float(rng.choice([0.031, 0.05, 0.9]))
        head = float(rng.choice([HEIGHT_M - 0.031, HEIGHT_M - 0.05, 2.1]))
        depth = float(rng.choice([0.0, 0.02, 0.1, 0.25]))
        if place + width > length - 0.031:
            break
        if sill < lowest_m:
            continue
        found.append(
            OpeningSpec(
                id=f"{name}w{wall}n{number}", on=f"{name}/{wall + 1}", kind="window",
                along_m=place, sill_m=sill, width_m=width, height_m=head - sill, reveal_m=depth,
            )
        )  # fmt: skip
        place += width + float(rng.choice([0.003, 0.03, 0.5]))
    return found


def house_by_chance(seed: int) -> House:
    """Two or three storeys of three rooms each, one of them L-shaped; a gable, obstacles."""
    rng = np.random.default_rng(seed)
    storeys, cellar = int(rng.integers(2, 4)), bool(rng.random() < 0.3)
    house = House(grade_m=float(rng.uniform(0.2, 2.0) if cellar else rng.uniform(-1.0, 0.0)))
    for level in range(storeys):
        last = level == storeys - 1
        low = HEIGHT_M * level
        # two storeys are alike along a line or at least 0.7 m apart: a narrower strip of a ceiling
        # counts as lying under the floor beside it
        jut = float(rng.choice([0.0, 0.8])) if level else 0.0
        x0, x2, y2 = -jut, float(rng.choice([7.0, 7.7])), 6.0
        x1, y1 = float(rng.choice([3.0, 3.71])), float(rng.choice([2.41, 3.13]))
        xa, ya = float(rng.choice([4.6, 5.33])), float(rng.choice([3.83, 4.57]))
        ridge = float(rng.uniform(1.3, 2.2)) if last and rng.random() < 0.7 else 0.0
        rooms: dict[str, tuple[list[Box], Points, tuple[int, ...]]] = {
            "a": ([(x0, 0.0, x1, y2)], [(x0, 0.0), (x1, 0.0), (x1, y2), (x0, y2)], (1, 3, 4)),
            "b": (
                [(x1, 0.0, x2, y1), (x1, y1, xa, ya)],
                [(x1, 0.0), (x2, 0.0), (x2, y1), (xa, y1), (xa, ya), (x1, ya)],
                (1, 2),
            ),
            "c": ([(xa, y1, x2, y2)], [(xa, y1), (x2, y1), (x2, y2), (xa, y2)], (2, 3)),
        }
        for letter, (boxes, outline, outer) in rooms.items():
            name = f"{letter}{level}"
            house.rooms.append(
                Room(
                    name=name, storey=level, outline=outline, boxes=boxes, floor_m=low,
                    height_m=HEIGHT_M, ridge_m=ridge if letter == "a" else 0.0,
                    raised=not cellar,
                )
            )  # fmt: skip
            for wall in outer:
                house.openings += _windows(name, outline, wall - 1, house.grade_m - low, rng)
        house.openings.append(
            OpeningSpec(
                id=f"d{level}", on=f"a{level}/2", kind="door",
                along_m=float(rng.uniform(0.2, y1 - 1.2)), width_m=0.9, height_m=2.1,
                undercut_m=float(rng.choice([0.0, 0.008])),
            )
        )  # fmt: skip
    for number in range(int(rng.integers(0, 3))):
        near, high = float(rng.uniform(1.5, 6.0)), float(rng.uniform(1.0, 9.0))
        corner = np.array((7.8 + near, -3.0 + 4.0 * number, -2.0))
        if number == 1:
            corner = np.array((1.0, -4.0 - near, -2.0))
        house.blocks.append((corner, corner + np.array((2.5, 3.0, 2.0 + high))))
    return house


# ---- houses off by millimetres, all that is opaque alike


def _step(rng: np.random.Generator, *, signed: bool = False) -> float:
    size = float(rng.choice(STEPS_M))
    return size * float(rng.choice([-1.0, 1.0])) if signed else size


def _tight_openings(
    room: Room, outer: tuple[int, ...], rng: np.random.Generator
) -> list[OpeningSpec]:
    found = []
    for wall in outer:
        here, there = (
            np.array(room.outline[wall - 1]),
            np.array(room.outline[wall % len(room.outline)]),
        )
        length = float(np.abs(there - here).sum())
        # not in the very corner, where nothing would be left of the wall that the next one meets
        place = max(_step(rng), STEPS_M[1]) + float(rng.choice([0.0, 0.3]))
        from_left = bool(rng.integers(2))
        for number in range(int(rng.integers(0, 3))):
            sill = _step(rng) + float(rng.choice([0.0, 0.8]))
            head = room.height_m - _step(rng) - float(rng.choice([0.0, 0.3]))
            width = float(rng.uniform(0.4, 1.4))
            if place + width > length:
                break
            found.append(
                OpeningSpec(
                    id=f"{room.name}w{wall}n{number}", on=f"{room.name}/{wall}", kind="window",
                    along_m=place, sill_m=sill, width_m=width, height_m=head - sill,
                    reveal_m=float(rng.choice([0.0, 0.02, 0.1, 0.3])), from_left=from_left,
                )
            )  # fmt: skip
            place += width + _step(rng)
    return found


def tight_house_by_chance(seed: int) -> House:
    """Two or three storeys of two rooms each, everything off by up to 30 mm."""
    rng = np.random.default_rng((seed, 30))
    house = House(one_name=True, grade_m=float(rng.choice([-0.05, -0.3])) - _step(rng))
    floor, raised = _step(rng), bool(rng.random() < 0.5)
    for level in range(int(rng.integers(2, 4))):
        split, thick = 3.0 + _step(rng, signed=True), float(rng.choice([0.0, 0.001, 0.1]))
        juts = [_step(rng, signed=True) + float(rng.choice([0.0, 0.0, 1.0])) for _ in range(4)]
        boxes = (
            (-juts[0], -juts[1], split, 4.0),
            (split + thick, 0.0, 6.0 + juts[2], 4.0 + juts[3]),
        )
        tallest = 0.0
        for number, (x0, y0, x1, y1) in enumerate(boxes):
            own_floor = floor + (_step(rng, signed=True) if number else 0.0)
            height = 2.4 + _step(rng, signed=True)
            room = Room(
                name=f"r{level}{number}", storey=level, boxes=[(x0, y0, x1, y1)],
                outline=[(x0, y0), (x1, y0), (x1, y1), (x0, y1)],
                floor_m=own_floor, height_m=height, raised=raised,
            )  # fmt: skip
            house.rooms.append(room)
            house.openings += _tight_openings(room, (1, 2, 3) if number else (1, 3, 4), rng)
            tallest = max(tallest, own_floor + height)
        if (
            thick == 0.0
            and rng.random() < 0.7
            and house.rooms[-1].floor_m <= house.rooms[-2].floor_m
        ):
            house.openings.append(
                OpeningSpec(
                    id=f"d{level}", on=f"r{level}0/2", kind="door", along_m=1.5, width_m=0.9,
                    height_m=2.0, undercut_m=float(rng.choice([0.0, 0.008])),
                )
            )  # fmt: skip
        floor = tallest + float(rng.choice([0.0, 0.001, 0.25])) + _step(rng)
    if rng.random() < 0.4:
        low = np.array((7.4 + float(rng.choice([1.1, 3.0])) + _step(rng), -2.0, -1.0))
        house.blocks.append((low, low + np.array((3.0, 8.0, float(rng.uniform(3.0, 9.0))))))
    return house
