"""Houses by chance whose rooms, sills, heads and niches are off by 1 to 30 mm, cast all ways.

    python tests/benchmarks/tight_houses.py --houses 300 --seed 1

Each house is refused with a message or cast: from every room in all directions, from points inward
through the building, from the sky, out from lit panels, and to a point in every other room. Counted
are rays that do not end, exposed solid angles above 4π, and spheres that do not close. One line for
each fault names the house's seed, so that it can be built again.
"""

from __future__ import annotations

import argparse
import collections
import sys
from dataclasses import dataclass

import numpy as np

from envelope.building.model import Building, Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import CeilingSpec, ObstacleSpec, OpeningSpec, SpaceSpec
from envelope.errors import EnvelopeError
from envelope.geometry.plane import Floats, frozen
from envelope.rays import (
    Sampling,
    cast_chain,
    cast_directions,
    cast_even,
    cast_lit,
    cast_point,
)

KINDS = ("exterior-wall", "interior-wall", "floor", "slab", "roof", "window", "door", "skylight")
STEPS_M = (0.0, 0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.03)
FEW = Sampling(points_per_panel=256, points=2**13)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What went wrong in one house."""

    seed: int
    what: str


def step(rng: np.random.Generator, *, signed: bool = False) -> float:
    """A small distance. [m]"""
    size = float(rng.choice(STEPS_M))
    return size * float(rng.choice([-1.0, 1.0])) if signed else size


def _openings(
    rng: np.random.Generator, name: str, corners: Floats, height_m: float
) -> list[OpeningSpec]:
    found = []
    for wall in range(len(corners)):
        length = float(np.hypot(*(corners[(wall + 1) % len(corners)] - corners[wall])))
        place = step(rng) + float(rng.choice([0.0, 0.3]))
        from_left = bool(rng.integers(2))
        for number in range(int(rng.integers(0, 3))):
            door = bool(rng.random() < 0.3)
            sill = 0.0 if door else step(rng) + float(rng.choice([0.0, 0.8]))
            head = height_m - step(rng) - float(rng.choice([0.0, 0.3, 0.6]))
            width = float(rng.uniform(0.4, 1.0))
            if place + width > length or head - sill < 0.2:
                break
            found.append(
                OpeningSpec(
                    id=f"{name}w{wall}n{number}",
                    on=f"{name}/{wall + 1}",
                    kind="door" if door else str(rng.choice(["window", "open"])),  # type: ignore[arg-type]
                    along_m=place,
                    sill_m=sill,
                    width_m=width,
                    height_m=head - sill,
                    reveal_m=float(rng.choice([0.0, 0.02, 0.1, 0.3])),
                    undercut_m=float(rng.choice([0.0, 0.008])) if door else 0.0,
                    from_left=from_left,
                )
            )
            place += width + step(rng)
    return found


def tight_house(seed: int) -> Building:
    """A house of two or three storeys, two rooms a storey."""
    rng = np.random.default_rng(seed)
    spaces: list[SpaceSpec] = []
    openings: list[OpeningSpec] = []
    storeys: list[Storey] = []
    floor = float(rng.choice([0.0, -0.5])) + step(rng)
    for level in range(int(rng.integers(2, 4))):
        storeys.append(Storey(id=f"s{level}", floor_m=floor))
        split = 3.0 + step(rng, signed=True)
        wall = float(rng.choice([0.0, 0.001, 0.1, 0.12]))
        juts = [step(rng, signed=True) + float(rng.choice([0.0, 0.0, 1.0])) for _ in range(4)]
        rooms = [
            [(-juts[0], -juts[1]), (split, -juts[1]), (split, 4.0), (-juts[0], 4.0)],
            [
                (split + wall, 0.0),
                (6.0 + juts[2], 0.0),
                (6.0 + juts[2], 4.0 + juts[3]),
                (split + wall, 4.0 + juts[3]),
            ],
        ]
        if rng.random() < 0.3:  # an L-shaped room
            x, y = 5.0 + step(rng, signed=True), 2.5 + step(rng, signed=True)
            top = rooms[1][3]
            rooms[1] = [rooms[1][0], rooms[1][1], (rooms[1][1][0], y), (x, y), (x, top[1]), top]
        tallest = 0.0
        for number, outline in enumerate(rooms):
            name = f"r{level}{number}"
            corners = frozen(outline)
            height = 2.4 + step(rng, signed=True)
            own_floor = floor + (step(rng, signed=True) if number else 0.0)
            top_floor = level == 1 and number == 0 and rng.random() < 0.3
            ceiling = CeilingSpec()
            if top_floor and len(spaces) > 2:
                ceiling = CeilingSpec(shape="gable", ridge_m=height + float(rng.uniform(0.01, 1.2)))
            spaces.append(
                SpaceSpec(
                    id=name,
                    storey=f"s{level}",
                    corners=corners,
                    height_m=height,
                    floor_m=own_floor,
                    raised=bool(rng.random() < 0.5),
                    ceiling=ceiling,
                )
            )
            rise = (ceiling.ridge_m or height) + own_floor
            tallest = max(tallest, rise)
            openings += _openings(rng, name, corners, height)
        floor = tallest + float(rng.choice([0.0, 0.001, 0.25, 0.3])) + step(rng)
    obstacles = []
    if rng.random() < 0.4:
        near = 6.0 + float(rng.choice([1.1, 3.0])) + step(rng)
        block = frozen([(near, -2.0), (near + 3.0, -2.0), (near + 3.0, 6.0), (near, 6.0)])
        obstacles.append(
            ObstacleSpec(id="next", corners=block, low_m=-1.0, high_m=float(rng.uniform(2.0, 8.0)))
        )
    site = Site(grade_m=float(rng.choice([0.0, -0.3, 0.5])) + step(rng), reach_m=3.0)
    while True:
        try:
            return build_building(
                site=site,
                storeys=storeys,
                spaces=spaces,
                openings=openings,
                panels=(),
                construction=dict.fromkeys(KINDS, "wall"),
                obstacles=obstacles,
            )
        except EnvelopeError as error:  # without the openings that it names, if it names any
            named = [each for each in openings if each.id in str(error)]
            if not named:
                raise
            openings.remove(named[0])


def inside(building: Building, space: str, rng: np.random.Generator) -> Floats | None:
    """A place in a space, clear of its panels."""
    from envelope.building.point_location import clearance

    corners = np.vstack([panel.outline for panel in building.space(space).panels])
    for _ in range(20):
        place = rng.uniform(corners.min(axis=0), corners.max(axis=0))
        if clearance(building.space(space), place) > 0.05:
            return np.asarray(place)
    return None


def faults_of(seed: int) -> list[Fault] | str:
    """What went wrong when a house was cast, or why it was refused."""
    try:
        building = tight_house(seed)
    except EnvelopeError as error:
        return str(error)
    rng = np.random.default_rng((seed, 1))
    found = []

    def tell(what: str) -> None:
        found.append(Fault(seed=seed, what=what))

    places = {space.id: inside(building, space.id, rng) for space in building.spaces}
    for space in building.spaces:
        place = places[space.id]
        if place is None:
            continue
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        try:
            rays = cast_directions(building, space=space.id, position_m=place, sampling=FEW)
            cast_chain(building, source_m=place, source_space=space.id, count=2**13)
            cast_chain(building, direction=way, count=2**12)
            cast_lit(building, space=space.id, direction=way, points_per_panel=64)
            cast_lit(
                building,
                space=space.id,
                target_m=place + np.array((0.0, 0.0, 50.0)),
                points_per_panel=64,
            )
            for other, there in places.items():
                if there is not None and other != space.id:
                    to_other = {"target_m": there, "target_space": other}
                    cast_point(building, space=space.id, position_m=place, **to_other)
                    cast_lit(building, space=space.id, points_per_panel=64, **to_other)
        except EnvelopeError as error:
            tell(f"{space.id}: {error}")
            continue
        exposed = float(rays.solid_angle_sr[rays.sky > 0].sum())
        if exposed > 4.0 * np.pi + 1e-3:
            tell(f"{space.id} at {place.tolist()}: {exposed:.4f} sr are exposed, more than 4π")
        if abs(rays.closure_error_sr) > 2e-2:
            tell(f"{space.id} at {place.tolist()}: closes to {rays.closure_error_sr:.2g} sr")
    try:
        cast_even(building, count=2**13)
    except EnvelopeError as error:
        tell(f"even field: {error}")
    return found


def main() -> int:
    """Cast as many houses as asked for; 1 where anything went wrong."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--houses", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0, help="of the first house")
    options = parser.parse_args()
    refused: collections.Counter[str] = collections.Counter()
    wrong = 0
    for seed in range(options.seed, options.seed + options.houses):
        found = faults_of(seed)
        if isinstance(found, str):
            refused[found[:60]] += 1
            continue
        wrong += len(found)
        for fault in found:
            print(f"seed {fault.seed}: {fault.what}", flush=True)  # noqa: T201
    print(f"{options.houses} houses, {sum(refused.values())} refused, {wrong} faults")  # noqa: T201
    for why, count in refused.most_common(12):
        print(f"{count:6} × {why}")  # noqa: T201
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
