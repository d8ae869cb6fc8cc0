"""Rays through houses by chance, held against a second walker that shares nothing with the first.

    python tests/benchmarks/ray_oracle.py --houses 50 --rays 1000000
    python tests/benchmarks/ray_oracle.py --houses 300 --rays 20000 --tight

`oracle_houses.py` makes the houses, `oracle_walker.py` follows the rays. Compared is what each ray
crosses, in order, and what becomes of it: rays in all directions from places in every room, rays
from each of them to a place in every other room, rays in from outdoors. A ray counts as wrong if
both walkers differ on it, unless a ray 0.1 mm beside it differs from it in the second walker too:
then it runs along an edge.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from oracle_houses import (
    FLOOR,
    NAMES,
    WALL,
    House,
    house_by_chance,
    known_of,
    tight_house_by_chance,
)
from oracle_walker import ENDLESS, INNER, LONGEST, NOWHERE, ROOF, Known, walk

from envelope.building.model import Building
from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats
from envelope.rays.building_arrays import geometry_of
from envelope.rays.parallel import follow

BESIDE_M = 1e-4
CHUNK = 100_000
OUTDOORS = -1


@dataclass(frozen=True, kw_only=True)
class Walks:
    """What rays cross: codes (n, LONGEST), -1 where there are no more, and their ends (n,)."""

    codes: np.ndarray
    sky: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Bundle:
    """Rays that start and end alike."""

    home: int
    starts: Floats  # (n, 3), or (1, 3) of all
    ways: Floats  # (n, 3)
    target: Floats | None = None
    target_space: int = NOWHERE

    def some(self, rays: np.ndarray | slice, *, aside: Floats | float = 0.0) -> Bundle:
        """Some of the rays, each moved."""
        starts = self.starts if len(self.starts) == 1 else self.starts[rays]
        starts = starts + aside
        return Bundle(
            home=self.home, starts=starts, ways=self.ways[rays], target=self.target,
            target_space=self.target_space,
        )  # fmt: skip


def walked_by_oracle(known: Known, bundle: Bundle, *, one_name: bool) -> Walks:
    """What the second walker says."""
    target = np.zeros(3) if bundle.target is None else bundle.target
    codes, sky = walk(known, bundle.starts, bundle.ways, bundle.home, target, bundle.target_space)
    if one_name:
        codes[np.isin(codes, OPAQUE)] = WALL
    return Walks(codes=codes, sky=sky)


OPAQUE = (WALL, INNER, FLOOR, ROOF)


def walked_by_kernel(building: Building, bundle: Bundle, *, one_name: bool) -> Walks:
    """The same of the walk that is tested."""
    geometry = geometry_of(building)
    starts = np.broadcast_to(bundle.starts, bundle.ways.shape) - geometry.middle
    target = None if bundle.target is None else bundle.target - geometry.middle
    trace = follow(
        geometry, starts=starts, directions=bundle.ways, home=bundle.home, target=target,
        target_space=bundle.target_space,
    )  # fmt: skip
    patches = len(building.patches)
    of_patch = np.array(
        [NAMES.index(str(building.elements[patch.element].assembly)) for patch in building.patches]
    )
    if one_name:
        of_patch[np.isin(of_patch, OPAQUE)] = WALL
    reveal = np.array([building.panel(each.panel).kind == "reveal" for each in building.patches])
    code = of_patch[trace.rows % patches]
    kept = ~((trace.rows < patches) & reveal[trace.rows % patches])  # a jamb's own treatment
    ray = np.repeat(np.arange(len(bundle.ways)), np.diff(trace.start))[kept]
    place = np.arange(len(ray)) - np.searchsorted(ray, ray, side="left")
    codes = np.full((len(bundle.ways), LONGEST), -1)
    codes[ray, place] = code[kept]
    return Walks(codes=codes, sky=trace.sky.astype(np.int64))


def differing(one: Walks, other: Walks) -> np.ndarray:
    """Rays (n,) on which two walks differ."""
    return np.asarray((one.codes != other.codes).any(axis=1) | (one.sky != other.sky))


@dataclass(frozen=True, kw_only=True)
class Difference:
    """A ray on which the walkers differ."""

    bundle: Bundle
    mine: tuple[list[int], int]
    theirs: tuple[list[int], int]


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Rays of one house, those along edges, and those on which the walkers differ."""

    rays: int
    edges: int
    wrong: list[Difference]


def _ways(known: Known, start: Floats, count: int, rng: np.random.Generator) -> Floats:
    """Directions in all ways, a tenth of them at openings and undercuts."""
    ways = rng.normal(size=(count, 3))
    niches = np.flatnonzero(known.host >= 0)
    low = np.concatenate((-known.offsets[niches, :3], known.hole_low))
    high = np.concatenate((known.offsets[niches, 3:6], known.hole_high))
    if len(low):
        rays = np.arange(count // 10)
        which = rays % len(low)
        share = rng.uniform(size=(len(rays), 3))
        ways[rays] = low[which] + (high - low)[which] * share - start
    return np.asarray(ways / np.linalg.norm(ways, axis=1)[:, np.newaxis])


def bundles(house: House, known: Known, count: int, rng: np.random.Generator) -> Iterator[Bundle]:
    """Rays of one house: half all ways from its rooms, a quarter to points, a quarter inward."""
    rooms = [k for k in range(len(known.space)) if known.host[k] < 0]
    places = {}
    for k in rooms:
        low, high = -known.offsets[k, :3], known.offsets[k, 3:6].copy()
        high[2] = low[2] + house.rooms[known.space[k]].height_m
        places[k] = low + (high - low) * rng.uniform(0.05, 0.95, size=3)
    corners = known.offsets[rooms]
    low, high = -corners[:, :3].max(axis=0), corners[:, 3:6].max(axis=0)
    radius = float(np.linalg.norm(high - low))
    each = max(count // (2 * len(rooms)), 1)
    quarter = max(count // (4 * len(rooms)), 1)
    for k, start in places.items():
        home = int(known.space[k])
        yield Bundle(home=home, starts=start[np.newaxis], ways=_ways(known, start, each, rng))
        # to a place: from many places about it, as beams to a source
        other = rooms[int(rng.integers(len(rooms)))]
        if known.space[other] != home:
            low, high = -known.offsets[k, :3], known.offsets[k, 3:6].copy()
            high[2] = low[2] + house.rooms[home].height_m
            starts = low + (high - low) * rng.uniform(0.01, 0.99, size=(quarter, 3))
            ways = places[other] - starts
            yield Bundle(
                home=home, starts=starts,
                ways=ways / np.linalg.norm(ways, axis=1)[:, np.newaxis],
                target=places[other], target_space=int(known.space[other]),
            )  # fmt: skip
        # from outdoors, above the ground, towards the room
        ways = rng.normal(size=(quarter, 3))
        ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
        ways[:, 2] = -np.abs(ways[:, 2])
        aim = start + rng.normal(size=(quarter, 3))
        starts = aim - 2.0 * radius * ways
        above = (starts[:, 2] > house.grade_m + 0.01) & (aim[:, 2] > house.grade_m)
        for low_block, high_block in house.blocks:
            inside = ((starts > low_block) & (starts < high_block)).all(axis=1)
            above &= ~inside
        yield Bundle(home=OUTDOORS, starts=starts[above], ways=ways[above])


def compare(seed: int, rays: int, *, tight: bool = False) -> Compared:
    """Hold both walkers against each other in one house."""
    house = tight_house_by_chance(seed) if tight else house_by_chance(seed)
    building = house.build()
    known = known_of(house)
    rng = np.random.default_rng((seed, 7))
    total, edges = 0, 0
    wrong: list[Difference] = []
    for bundle in bundles(house, known, rays, rng):
        for begin in range(0, len(bundle.ways), CHUNK):
            some = bundle.some(slice(begin, begin + CHUNK))
            mine = walked_by_oracle(known, some, one_name=house.one_name)
            theirs = walked_by_kernel(building, some, one_name=house.one_name)
            total += len(some.ways)
            off = np.flatnonzero(differing(mine, theirs) | (mine.sky == ENDLESS))
            if not len(off):
                continue
            along_edge = _along_edges(known, some, mine, off, one_name=house.one_name)
            edges += int(along_edge.sum())
            for k in off[~along_edge]:
                wrong.append(
                    Difference(
                        bundle=some.some(slice(k, k + 1)),
                        mine=(mine.codes[k].tolist(), int(mine.sky[k])),
                        theirs=(theirs.codes[k].tolist(), int(theirs.sky[k])),
                    )
                )
    return Compared(rays=total, edges=edges, wrong=wrong)


def _along_edges(
    known: Known, bundle: Bundle, mine: Walks, off: np.ndarray, *, one_name: bool
) -> np.ndarray:
    """Which of some rays are answered otherwise 0.1 mm beside them."""
    ways = bundle.ways[off]
    found = np.zeros(len(off), dtype=bool)
    u = np.cross(ways, np.roll(ways, 1, axis=1) + np.array((0.1, 0.2, 0.3)))
    u /= np.linalg.norm(u, axis=1)[:, np.newaxis]
    v = np.cross(ways, u)
    picked = Walks(codes=mine.codes[off], sky=mine.sky[off])
    starts = np.broadcast_to(bundle.starts, bundle.ways.shape)[off]
    for angle in np.arange(8) * np.pi / 4.0:
        aside = BESIDE_M * (np.cos(angle) * u + np.sin(angle) * v)
        moved = Bundle(
            home=bundle.home, starts=starts + aside, ways=ways, target=bundle.target,
            target_space=bundle.target_space,
        )  # fmt: skip
        if bundle.target is not None:  # they meet at the target: moved there too
            moved = Bundle(home=bundle.home, starts=starts + aside, ways=ways, target_space=NOWHERE)
            straight = Bundle(home=bundle.home, starts=starts, ways=ways)
            found |= differing(
                walked_by_oracle(known, moved, one_name=one_name),
                walked_by_oracle(known, straight, one_name=one_name),
            )
            continue
        found |= differing(walked_by_oracle(known, moved, one_name=one_name), picked)
    return found


def told(difference: Difference) -> str:
    """A difference in a line."""
    said = [
        [NAMES[code] for code in codes if code >= 0] + [f"ends {sky}"]
        for codes, sky in (difference.mine, difference.theirs)
    ]
    bundle = difference.bundle
    to = "" if bundle.target is None else f" to {bundle.target.tolist()} in {bundle.target_space}"
    return (
        f"from {bundle.home} {bundle.starts[0].tolist()} {bundle.ways[0].tolist()}{to}: "
        f"{said[0]} here, {said[1]} there"
    )


def main() -> int:
    """Compare as many rays in as many houses as asked for; 1 where any differ."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--houses", type=int, default=50)
    parser.add_argument("--rays", type=int, default=1_000_000, help="in each house")
    parser.add_argument("--seed", type=int, default=0, help="of the first house")
    parser.add_argument("--tight", action="store_true", help="houses off by millimetres")
    options = parser.parse_args()
    rays = edges = wrong = refused = 0
    for seed in range(options.seed, options.seed + options.houses):
        try:
            found = compare(seed, options.rays, tight=options.tight)
        except EnvelopeError as error:
            if "internal error" in str(error):
                print(f"seed {seed}: {error}", flush=True)  # noqa: T201
                wrong += 1
            else:
                refused += 1
            continue
        rays, edges, wrong = rays + found.rays, edges + found.edges, wrong + len(found.wrong)
        for difference in found.wrong[:1]:
            print(f"seed {seed}, {len(found.wrong)}: {told(difference)}", flush=True)  # noqa: T201
    print(  # noqa: T201
        f"{rays:,} rays in {options.houses - refused} houses ({refused} refused), "
        f"{edges:,} along edges, {wrong:,} differ"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
