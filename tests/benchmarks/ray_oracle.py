"""Rays through houses by chance, held against a second walker that shares nothing with the first.

    python tests/benchmarks/ray_oracle.py --houses 50 --rays 1000000

The second walker knows a house as convex cells (half-spaces), rooms and window niches alike, and a
ray as the intervals of its line in them: no panels, no patches, no tree. It names what each ray
crosses, wall, pane, floor or roof, and what becomes of it. Houses have L-shaped rooms, gables,
storeys that jut out, niches of several depths, doors, obstacles; their walls have no thickness, so
that no ray is shifted. A ray counts as wrong if both walkers differ on it, unless a ray 0.1 mm
beside it differs from it in the second walker too: then it runs along an edge.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import CeilingSpec, ObstacleSpec, OpeningSpec, SpaceSpec
from envelope.geometry.plane import Floats, frozen
from envelope.rays.building_arrays import geometry_of
from envelope.rays.parallel import follow

HEIGHT_M, REACH_M, BESIDE_M = 2.5, 3.0, 1e-4
EPS = 1e-9
WALL, INNER, FLOOR, ROOF, PANE, DOOR = range(6)
NAMES = ("outer-wall", "inner-wall", "joist-floor", "tiles", "pane", "leaf")
CONSTRUCTION = dict(
    zip(
        ("exterior-wall", "interior-wall", "floor", "roof", "window", "door", "slab"),
        (*NAMES[:3], *NAMES[3:], "joist-floor"),
        strict=True,
    )
)
BLOCKED, BELOW, ABOVE = 0, 1, 2
STEPS, LONGEST = 64, 24


@dataclass(frozen=True, kw_only=True)
class Cell:
    """A convex part of a space: where ``normals @ x <= offsets``."""

    space: int
    normals: Floats  # (k, 3)
    offsets: Floats  # (k,)
    host: int = -1  # of a niche: the number of its wall
    end: int = -1  # of a niche: the face that is its pane


@dataclass(kw_only=True)
class House:
    """What the second walker knows, and what the building is made from."""

    spaces: list[SpaceSpec] = field(default_factory=list)
    openings: list[OpeningSpec] = field(default_factory=list)
    obstacles: list[ObstacleSpec] = field(default_factory=list)
    cells: list[Cell] = field(default_factory=list)
    holes: list[tuple[Floats, Floats, int]] = field(default_factory=list)  # box, what it is
    blocks: list[tuple[Floats, Floats]] = field(default_factory=list)
    walls: list[tuple[int, int, float]] = field(default_factory=list)  # space, axis, where
    grade_m: float = -0.4
    storeys: int = 2

    def build(self) -> Building:
        return build_building(
            site=Site(grade_m=self.grade_m, reach_m=REACH_M),
            storeys=[Storey(id=f"s{k}", floor_m=HEIGHT_M * k) for k in range(self.storeys)],
            spaces=self.spaces,
            openings=self.openings,
            panels=(),
            obstacles=self.obstacles,
            construction=CONSTRUCTION,
        )


def _box(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    return np.concatenate((-np.eye(3), np.eye(3))), np.concatenate((-low, high))


def _add_room(
    house: House, name: str, level: int, boxes: list[tuple[float, float, float, float]],
    outline: list[tuple[float, float]], *, ridge_m: float | None, rng: np.random.Generator,
) -> None:  # fmt: skip
    space, low = len(house.spaces), HEIGHT_M * level
    ceiling = CeilingSpec()
    if ridge_m is not None:
        ceiling = CeilingSpec(shape="gable", ridge_m=HEIGHT_M + ridge_m)
    house.spaces.append(
        SpaceSpec(
            id=name,
            storey=f"s{level}",
            corners=frozen(outline),
            height_m=HEIGHT_M,
            floor_m=low,
            raised=True,
            ceiling=ceiling,
        )
    )
    for x0, y0, x1, y1 in boxes:
        top = low + HEIGHT_M + (ridge_m or 0.0)
        normals, offsets = _box(np.array((x0, y0, low)), np.array((x1, y1, top)))
        if ridge_m is not None:  # the ridge runs along x: z - rise |y - side| <= eaves
            rise, eaves = ridge_m / (0.5 * (y1 - y0)), low + HEIGHT_M
            slopes = np.array([(0.0, -rise, 1.0), (0.0, rise, 1.0)])
            normals = np.concatenate((normals, slopes))
            offsets = np.concatenate((offsets, (eaves - rise * y0, eaves + rise * y1)))
        house.cells.append(Cell(space=space, normals=normals, offsets=offsets))


def _add_windows(
    house: House, name: str, level: int, outline: list[tuple[float, float]], wall: int,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    """Up to two windows in an outer wall along an axis, flush or in niches."""
    here, there = np.array(outline[wall]), np.array(outline[(wall + 1) % len(outline)])
    length = float(np.abs(there - here).sum())
    along = (there - here) / length
    out = np.array((along[1], -along[0]))
    axis = int(np.argmax(np.abs(out)))
    space = next(k for k, spec in enumerate(house.spaces) if spec.id == name)
    house.walls.append((space, axis, float(here[axis])))
    place = float(rng.uniform(0.05, 0.4))
    for number in range(int(rng.integers(0, 3))):
        width, sill = float(rng.uniform(0.3, 1.0)), float(rng.choice([0.031, 0.05, 0.9]))
        head = float(rng.choice([HEIGHT_M - 0.031, HEIGHT_M - 0.05, 2.1]))
        depth = float(rng.choice([0.0, 0.02, 0.1, 0.25]))
        if place + width > length - 0.02:
            return
        house.openings.append(
            OpeningSpec(
                id=f"{name}w{wall}n{number}",
                on=f"{name}/{wall + 1}",
                kind="window",
                along_m=place,
                sill_m=sill,
                width_m=width,
                height_m=head - sill,
                reveal_m=depth,
            )
        )
        ends = np.stack((here + along * place, here + along * (place + width)))
        ends = np.concatenate((ends, ends + out * depth))
        low = np.array((*ends.min(axis=0), HEIGHT_M * level + sill))
        high = np.array((*ends.max(axis=0), HEIGHT_M * level + head))
        if depth > 0.0:
            normals, offsets = _box(low, high)
            face = axis + (3 if out[axis] > 0.0 else 0)
            host = len(house.walls) - 1
            house.cells.append(
                Cell(space=space, normals=normals, offsets=offsets, host=host, end=face)
            )
        else:
            house.holes.append((low, high, PANE))
        place += width + float(rng.choice([0.003, 0.03, 0.5]))


def house_by_chance(seed: int) -> House:
    """Two or three storeys of three rooms each, one of them L-shaped; a gable, obstacles."""
    rng = np.random.default_rng(seed)
    house = House(storeys=int(rng.integers(2, 4)), grade_m=float(rng.uniform(-1.0, 0.0)))
    for level in range(house.storeys):
        last = level == house.storeys - 1
        # two storeys are alike along a line or at least 0.7 m apart: a narrower strip of a ceiling
        # counts as lying under the floor beside it
        jut = float(rng.choice([0.0, 0.8])) if level else 0.0
        x0, x2, y2 = -jut, float(rng.choice([7.0, 7.7])), 6.0
        x1, y1 = float(rng.choice([3.0, 3.71])), float(rng.choice([2.41, 3.13]))
        xa, ya = float(rng.choice([4.6, 5.33])), float(rng.choice([3.83, 4.57]))
        ridge = float(rng.uniform(1.3, 2.2)) if last and rng.random() < 0.7 else None
        rooms = {
            f"a{level}": (
                [(x0, 0.0, x1, y2)],
                [(x0, 0.0), (x1, 0.0), (x1, y2), (x0, y2)],
                (1, 3, 4),
            ),
            f"b{level}": (
                [(x1, 0.0, x2, y1), (x1, y1, xa, ya)],
                [(x1, 0.0), (x2, 0.0), (x2, y1), (xa, y1), (xa, ya), (x1, ya)],
                (1, 2),
            ),
            f"c{level}": ([(xa, y1, x2, y2)], [(xa, y1), (x2, y1), (x2, y2), (xa, y2)], (2, 3)),
        }
        for name, (boxes, outline, outer) in rooms.items():
            gable = ridge if name.startswith("a") else None
            _add_room(house, name, level, boxes, outline, ridge_m=gable, rng=rng)
            for wall in outer:
                _add_windows(house, name, level, outline, wall - 1, rng)
        along = float(rng.uniform(0.2, y1 - 1.2))
        house.openings.append(
            OpeningSpec(
                id=f"d{level}",
                on=f"a{level}/2",
                kind="door",
                along_m=along,
                width_m=0.9,
                height_m=2.1,
            )
        )
        low = HEIGHT_M * level
        house.holes.append(
            (np.array((x1, along, low)), np.array((x1, along + 0.9, low + 2.1)), DOOR)
        )
    for number in range(int(rng.integers(0, 3))):
        near, high = float(rng.uniform(1.5, 6.0)), float(rng.uniform(1.0, 9.0))
        low_corner = np.array((7.1 + near, -3.0 + 4.0 * number))
        if number == 1:
            low_corner = np.array((1.0, -4.0 - near))
        block = np.stack((low_corner, low_corner + np.array((2.5, 3.0))))
        (ax, ay), (bx, by) = block
        house.obstacles.append(
            ObstacleSpec(
                id=f"o{number}",
                corners=frozen([(ax, ay), (bx, ay), (bx, by), (ax, by)]),
                low_m=-2.0,
                high_m=high,
            )
        )
        house.blocks.append((np.array((ax, ay, -2.0)), np.array((bx, by, high))))
    return house


@dataclass(frozen=True, kw_only=True)
class Walks:
    """What rays cross: codes (n, LONGEST), -1 where there are no more, and their ends (n,)."""

    codes: np.ndarray
    sky: np.ndarray


def _intervals(house: House, starts: Floats, ways: Floats) -> tuple[Floats, Floats, np.ndarray]:
    """From where to where (n, cells) lines are in each cell, and by which face they leave it."""
    count = len(house.cells)
    first, last = np.empty((len(ways), count)), np.empty((len(ways), count))
    face = np.empty((len(ways), count), dtype=np.int64)
    for k, cell in enumerate(house.cells):
        along = ways @ cell.normals.T
        room = cell.offsets - starts @ cell.normals.T
        with np.errstate(divide="ignore", invalid="ignore"):
            t = room / along
        first[:, k] = np.where(along < 0.0, t, -np.inf).max(axis=1)
        out = np.where(along > 0.0, t, np.inf)
        face[:, k] = out.argmin(axis=1)
        last[:, k] = out.min(axis=1)
        last[((along == 0.0) & (room < 0.0)).any(axis=1), k] = -np.inf
    return first, last, face


def _entry_faces(house: House, cell: int, starts: Floats, ways: Floats, t: Floats) -> np.ndarray:
    """The face (n,) of a cell on which points of rays lie."""
    points = starts + t[:, np.newaxis] * ways
    found = house.cells[cell]
    return np.asarray(np.abs(points @ found.normals.T - found.offsets).argmin(axis=1))


def walk(house: House, starts: Floats, ways: Floats, home: np.ndarray) -> Walks:
    """Follow rays (n, 3) that start in spaces `home` (n,)."""
    n = len(ways)
    cells = house.cells
    space_of = np.array([cell.space for cell in cells])
    host_of = np.array([cell.host for cell in cells])
    end_of = np.array([cell.end for cell in cells])
    first, last, face = _intervals(house, starts, ways)
    codes, length = np.full((n, LONGEST), -1), np.zeros(n, dtype=np.int64)
    sky = np.full(n, -1)
    met = np.zeros((n, len(house.walls)), dtype=bool)
    inside = (first < -EPS) & (last > EPS) & (space_of == home[:, np.newaxis])
    cell = inside.argmax(axis=1)
    t, barred = np.zeros(n), np.full(n, -1)
    outdoors = np.zeros(n, dtype=bool)
    wall_at = {
        (space, axis, round(where, 9)): k for k, (space, axis, where) in enumerate(house.walls)
    }
    stop = np.full(n, np.inf)
    for low, high in house.blocks:
        with np.errstate(divide="ignore", invalid="ignore"):
            one, two = (low - starts) / ways, (high - starts) / ways
        near, far = np.minimum(one, two).max(axis=1), np.maximum(one, two).min(axis=1)
        stop = np.where((near <= far) & (near > 0.0), np.minimum(stop, near), stop)
    with np.errstate(divide="ignore"):
        ground = np.where(ways[:, 2] < 0.0, (house.grade_m - starts[:, 2]) / ways[:, 2], np.inf)

    def write(rays: np.ndarray, code: np.ndarray) -> None:
        codes[rays, length[rays]] = code
        length[rays] += 1

    def surface(
        rays: np.ndarray, k: int, faces: np.ndarray, at: Floats, *, inner: bool
    ) -> np.ndarray:
        """What rays cross on a face of a room's cell: a wall's number is noted as met."""
        points = starts[rays] + at[:, np.newaxis] * ways[rays]
        normal = cells[k].normals[faces]
        level = np.abs(normal[:, 2]) > 0.5 if inner else normal[:, 2] < -0.5
        code = np.where(level, FLOOR, INNER if inner else WALL)
        if not inner:
            code[normal[:, 2] > 1e-6] = ROOF
        for low, high, what in house.holes:
            here = ((points > low - EPS) & (points < high + EPS)).all(axis=1)
            code[here] = what
        axis = np.abs(normal).argmax(axis=1)
        for row, ray in enumerate(rays):
            if code[row] == WALL:
                key = (int(space_of[k]), int(axis[row]), round(float(points[row, axis[row]]), 9))
                wall = wall_at.get(key, -1)
                barred[ray] = wall
                if wall >= 0:
                    if met[ray, wall]:
                        code[row] = -1
                    met[ray, wall] = True
        return code

    for _ in range(STEPS):
        active = np.flatnonzero(sky < 0)
        if not len(active):
            break
        inner = active[~outdoors[active]]
        rows = np.arange(len(inner))
        until = last[inner, cell[inner]]
        follows = (first[inner] <= until[:, np.newaxis] + EPS) & (
            last[inner] > until[:, np.newaxis] + EPS
        )
        follows[rows, cell[inner]] = False
        same = follows & (space_of == space_of[cell[inner]][:, np.newaxis])
        stays = same.any(axis=1)
        cell[inner[stays]] = same[stays].argmax(axis=1)
        t[inner[stays]] = until[stays]
        leaves = inner[~stays]
        until, follows = until[~stays], follows[~stays]
        from_cell = cell[leaves].copy()
        into = np.where(follows.any(axis=1), follows.argmax(axis=1), -1)
        barred[leaves] = -1
        for k in np.unique(from_cell):
            mine = np.flatnonzero(from_cell == k)
            rays, by = leaves[mine], face[leaves[mine], k]
            if host_of[k] >= 0:  # out of a niche
                pane = by == end_of[k]
                write(rays[pane], np.full(int(pane.sum()), PANE))
                jamb = rays[~pane]
                write(jamb[~met[jamb, host_of[k]]], np.array(WALL))
                met[jamb, host_of[k]] = True
                outward = ways[jamb] @ cells[k].normals[end_of[k]] >= 0.0
                barred[jamb[outward]] = host_of[k]
                continue
            for indoors in (False, True):
                chosen = (into[mine] >= 0) == indoors
                if not chosen.any():
                    continue
                code = surface(rays[chosen], k, by[chosen], until[mine][chosen], inner=indoors)
                new = code >= 0
                write(rays[chosen][new], code[new])
        t[leaves] = until
        cell[leaves] = np.where(into >= 0, into, from_cell)
        outdoors[leaves] = into < 0

        open_air = active[outdoors[active]]
        if not len(open_air):
            continue
        opens = (first[open_air] >= t[open_air][:, np.newaxis] - EPS) & (
            last[open_air] > first[open_air] + EPS
        )
        own = np.zeros_like(opens)
        own[np.arange(len(open_air)), cell[open_air]] = True
        opens &= ~own
        opens &= (host_of < 0) | (host_of != barred[open_air][:, np.newaxis])
        enter = np.where(opens, first[open_air], np.inf)
        next_cell, at = enter.argmin(axis=1), enter.min(axis=1)
        ended = ~(at < np.minimum(stop[open_air], ground[open_air]))
        rays = open_air[ended]
        near = ground[rays] - t[rays]
        flat = np.hypot(ways[rays, 0], ways[rays, 1])
        hit = (near * flat <= REACH_M) | (stop[rays] < ground[rays])
        sky[rays] = np.where(hit, BLOCKED, np.where(ways[rays, 2] >= 0.0, ABOVE, BELOW))
        under = starts[rays, 2] + t[rays] * ways[rays, 2] < house.grade_m
        sky[rays[under]] = BLOCKED
        rays, next_cell, at = open_air[~ended], next_cell[~ended], at[~ended]
        for k in np.unique(next_cell):
            mine = np.flatnonzero(next_cell == k)
            chosen, when = rays[mine], at[mine]
            faces = _entry_faces(house, int(k), starts[chosen], ways[chosen], when)
            if host_of[k] >= 0:
                pane = faces == end_of[k]
                write(chosen[pane], np.full(int(pane.sum()), PANE))
                jamb = chosen[~pane]
                write(jamb[~met[jamb, host_of[k]]], np.array(WALL))
                met[jamb, host_of[k]] = True
            else:
                code = surface(chosen, int(k), faces, when, inner=False)
                write(chosen[code >= 0], code[code >= 0])
        t[rays], cell[rays] = at, next_cell
        outdoors[rays] = False
    return Walks(codes=codes, sky=sky)


def walked_by_kernel(building: Building, starts: Floats, ways: Floats, home: int) -> Walks:
    """The same of the walk that is tested."""
    geometry = geometry_of(building)
    trace = follow(geometry, starts=starts - geometry.middle, directions=ways, home=home)
    patches = len(building.patches)
    of_patch = np.array(
        [NAMES.index(str(building.elements[patch.element].assembly)) for patch in building.patches]
    )
    reveal = np.array([building.panel(each.panel).kind == "reveal" for each in building.patches])
    code = of_patch[trace.rows % patches]
    kept = ~((trace.rows < patches) & reveal[trace.rows % patches])  # a jamb's own treatment
    ray = np.repeat(np.arange(len(ways)), np.diff(trace.start))[kept]
    place = np.arange(len(ray)) - np.searchsorted(ray, ray, side="left")
    codes = np.full((len(ways), LONGEST), -1)
    codes[ray, place] = code[kept]
    return Walks(codes=codes, sky=trace.sky.astype(np.int64))


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Rays of one house, those along edges, and those on which the walkers differ."""

    rays: int
    edges: int
    wrong: list[tuple[Floats, Floats, list[int], list[int], int, int]]


def differing(one: Walks, other: Walks) -> np.ndarray:
    """Rays (n,) on which two walks differ."""
    return np.asarray((one.codes != other.codes).any(axis=1) | (one.sky != other.sky))


def rays_of(
    house: House, count: int, rng: np.random.Generator
) -> Iterator[tuple[int, Floats, Floats]]:
    """Space, starts and directions: several places in each room, a tenth of the rays at niches."""
    rooms = [k for k, cell in enumerate(house.cells) if cell.host < 0]
    niches = [cell for cell in house.cells if cell.host >= 0]
    each = max(count // len(rooms), 1)
    for k in rooms:
        offsets = house.cells[k].offsets
        low, high = -offsets[:3], offsets[3:6]
        high = np.minimum(high, low + np.array((np.inf, np.inf, HEIGHT_M)))
        start = low + (high - low) * rng.uniform(0.05, 0.95, size=3)
        ways = rng.normal(size=(each, 3))
        for row in range(each // 10 if niches else 0):
            cell = niches[row % len(niches)]
            share = rng.uniform(size=3)
            ways[row] = -cell.offsets[:3] * (1.0 - share) + cell.offsets[3:6] * share - start
        ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
        yield house.cells[k].space, start, ways


def compare(seed: int, rays: int) -> Compared:
    """Hold both walkers against each other in one house."""
    house = house_by_chance(seed)
    building = house.build()
    rng = np.random.default_rng((seed, 7))
    total, edges, wrong = 0, 0, []
    for space, start, all_ways in rays_of(house, rays, rng):
        for ways in np.array_split(all_ways, max(len(all_ways) // 50_000, 1)):
            starts, home = np.tile(start, (len(ways), 1)), np.full(len(ways), space)
            mine, theirs = (
                walk(house, starts, ways, home),
                walked_by_kernel(building, starts, ways, space),
            )
            total += len(ways)
            off = np.flatnonzero(differing(mine, theirs))
            if not len(off):
                continue
            along_edge = np.zeros(len(off), dtype=bool)
            u = np.cross(ways[off], np.roll(ways[off], 1, axis=1) + np.array((0.1, 0.2, 0.3)))
            u /= np.linalg.norm(u, axis=1)[:, np.newaxis]
            v = np.cross(ways[off], u)
            for angle in np.arange(8) * np.pi / 4.0:
                aside = BESIDE_M * (np.cos(angle) * u + np.sin(angle) * v)
                beside = walk(house, starts[off] + aside, ways[off], home[off])
                picked = Walks(codes=mine.codes[off], sky=mine.sky[off])
                along_edge |= differing(beside, picked)
            edges += int(along_edge.sum())
            wrong += [
                (start, ways[k], mine.codes[k].tolist(), theirs.codes[k].tolist(),
                 int(mine.sky[k]), int(theirs.sky[k]))
                for k in off[~along_edge]
            ]  # fmt: skip
    return Compared(rays=total, edges=edges, wrong=wrong)


def main() -> int:
    """Compare as many rays in as many houses as asked for; 1 where any differ."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--houses", type=int, default=50)
    parser.add_argument("--rays", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=0, help="of the first house")
    options = parser.parse_args()
    rays = edges = wrong = 0
    for seed in range(options.seed, options.seed + options.houses):
        found = compare(seed, options.rays)
        rays, edges, wrong = rays + found.rays, edges + found.edges, wrong + len(found.wrong)
        for start, way, mine, theirs, sky, other_sky in found.wrong[:3]:
            said = [[NAMES[code] for code in codes if code >= 0] for codes in (mine, theirs)]
            print(f"seed {seed}: {start.tolist()} {way.tolist()}: {said} {sky} {other_sky}")  # noqa: T201
    print(f"{rays:,} rays in {options.houses} houses, {edges:,} along edges, {wrong:,} differ")  # noqa: T201
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
