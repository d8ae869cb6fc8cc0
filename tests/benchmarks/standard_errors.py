"""Rooms by chance: the errors that an analysis states, and how far off it is.

    python tests/benchmarks/standard_errors.py --rooms 24 --seed 100

Each room is an upper bedroom, rectangular or L-shaped, with one or two windows (most of them in
niches), a door with an undercut, a hall beside it and a room below; its receiver is a point or a
box. Under five plans and in two bands the open-equivalent and the unshielded solid angle are held
against those of other and more rays in eight times as many bins of the cosine. The first error is
relative to its figure, the second to the whole sphere.
"""

from __future__ import annotations

import argparse
from typing import Any, NamedTuple

import numpy as np
import tomlkit

from envelope.building.job import Job, Plan
from envelope.exposure.bands import bands_of
from envelope.exposure.casts import points_of, shared_out
from envelope.exposure.solid_angles import THRESHOLD_DB, solid_angles, tag
from envelope.exposure.transmission import Bench, stacks_of
from envelope.geometry.plane import Floats
from envelope.project import load_text
from envelope.rays import BINS, DEFAULT, Crossings, Sampling, cast_directions, merge

MORE_BINS = 512
ASKED = 1e-3
SPHERE_SR = 4.0 * np.pi
LAYERS = {
    "timber": (("plasterboard", "12.5 mm"), ("air", "90 mm"), ("wood", "18 mm")),
    "brick": (("brick", "102 mm"),),
    "stud": (("plasterboard", "12.5 mm"), ("air", "90 mm"), ("plasterboard", "12.5 mm")),
    "pane": (("glass", "4 mm"), ("air", "14 mm"), ("glass", "4 mm")),
    "leaf": (("wood", "40 mm"),),
    "concrete": (("concrete", "180 mm"),),
}
BANDS = ("925-960 MHz", "3400-3800 MHz")


def _window(rng: np.random.Generator, name: str, on: str, length_m: float) -> dict[str, str]:
    width_m = rng.uniform(0.6, min(1.8, length_m - 0.5))
    found = {
        "id": name,
        "on": on,
        "kind": "window",
        "at": f"{rng.uniform(0.15, length_m - width_m - 0.15):.3f} m",
        "sill": f"{rng.uniform(0.6, 1.1):.3f} m",
        "size": f"{width_m:.3f} m x {rng.uniform(0.8, 1.25):.3f} m",
    }
    if rng.random() < 0.7:
        found["reveal"] = f"{rng.choice([60, 120, 200])} mm"
    return found


def ordinary_room(seed: int) -> dict[str, Any]:
    """A job with one room by chance, as its project file would have it."""
    rng = np.random.default_rng(seed)
    width, depth = rng.uniform(3.0, 5.5), rng.uniform(2.8, 4.5)
    part_x, part_y = width, depth
    corners = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
    if rng.random() < 0.5:
        part_x, part_y = rng.uniform(0.5, 0.75) * width, rng.uniform(0.5, 0.75) * depth
        corners[2:3] = [(width, part_y), (part_x, part_y), (part_x, depth)]
    hall = rng.uniform(1.2, 3.0)
    openings = [_window(rng, "W1", "bed/1", width)]
    if rng.random() < 0.6:
        openings.append(_window(rng, "W2", "bed/2", part_y))
    treated = [opening["id"] for opening in openings]
    openings += [
        {
            "id": "D1",
            "on": f"bed/{len(corners)}",
            "kind": "door",
            "at": f"{rng.uniform(0.2, depth - 1.1):.3f} m",
            "size": "0.8 m x 2 m",
            "undercut": "8 mm",
        },
        _window(rng, "W3", "hall/1", hall),
        _window(rng, "W4", "below/1", width + hall),
        _window(rng, "W5", "below/2", depth),
    ]
    place = rng.uniform(0.4, part_x - 0.6), rng.uniform(0.4, part_y - 0.5)
    receiver = {"id": "pillow", "space": "bed", "at": f"{place[0]:.3f}, {place[1]:.3f}, 0.6 m"}
    if rng.random() < 0.3:
        receiver["size"] = "0.5 m x 0.6 m x 0.2 m"
    beside = f"{-hall - 0.1:.3f}, 0 m"
    steps = [
        [{"on": "bed/walls", "with": ["coat"]}],
        [{"on": "bed/ceiling", "with": ["coat"]}],
        [{"on": f"bed/{name}", "with": ["film"]} for name in treated],
        [{"on": "bed/floor", "with": ["coat"]}],
    ]
    return {
        "format": 1,
        "name": "a room by chance",
        "site": {"grade": "-0.3 m"},
        "construction": {
            "exterior-wall": str(rng.choice(["timber", "brick"])),
            "interior-wall": "stud",
            "floor": str(rng.choice(["timber", "concrete"])),
            "slab": "concrete",
            "roof": "timber",
            "window": "pane",
            "door": "leaf",
        },
        "assembly": [
            {
                "id": name,
                "layers": [
                    {"material": material, "thickness": thickness} for material, thickness in layers
                ],
            }
            for name, layers in LAYERS.items()
        ],
        "storey": [{"id": "ground", "floor": "0 m"}, {"id": "upper", "floor": "2.75 m"}],
        "space": [
            {
                "id": "bed",
                "storey": "upper",
                "height": "2.4 m",
                "footprint": "  ".join(f"{x:.3f},{y:.3f}" for x, y in corners) + " m",
            },
            {
                "id": "hall",
                "storey": "upper",
                "height": "2.4 m",
                "origin": beside,
                "size": f"{hall:.3f} m x {depth:.3f} m",
            },
            {
                "id": "below",
                "storey": "ground",
                "height": "2.5 m",
                "origin": beside,
                "size": f"{width + hall + 0.1:.3f} m x {depth:.3f} m",
            },
        ],
        "opening": openings,
        "treatment": [
            {
                "id": name,
                "kind": "sheet",
                "sheet-resistance": f"{rng.uniform(4.0, most):.3g} ohm/sq",
                "coats": int(rng.integers(1, 3)),
            }
            for name, most in (("coat", 40.0), ("film", 20.0))
        ],
        "source": [
            {
                "id": f"mast-{number}",
                "azimuth": f"{rng.uniform(0.0, 360.0):.3f} deg",
                "elevation": "5 deg",
                "spread": "6 deg",
                "band": band,
                "level": "100 uW/m2",
            }
            for number, band in enumerate(BANDS)
        ],
        "receiver": [receiver],
        "plan": [
            {"id": f"step-{count}", "treat": [one for step in steps[:count] for one in step]}
            for count in range(1, len(steps) + 1)
        ],
    }


class Figure(NamedTuple):
    """A plan's figures in a band, with the errors stated for them."""

    open_equivalent_sr: float
    its_error: float  # relative to it
    unshielded_sr: float
    unshielded_error: float  # relative to the sphere


def crossings_of(job: Job, *, sampling: Sampling, bins: int) -> Crossings:
    """Crossings of a job's one receiver."""
    (receiver,) = job.receivers
    points = points_of(receiver)
    return merge(
        [
            cast_directions(
                job.building,
                space=receiver.space,
                position_m=point,
                sampling=shared_out(sampling, len(points)),
                bins=bins,
            )
            for point in points
        ]
    )


def figures(job: Job, crossings: Crossings) -> list[Figure]:
    """Figures of every plan in every band."""
    bench = Bench(job=job, bands_hz=bands_of(job), bins=crossings.bins)
    centres_hz: Floats = np.array([0.5 * (low + high) for low, high in bench.bands_hz])

    def of(plan: Plan, band: int) -> Figure:
        tables = bench.tables(stacks_of(job, plan))
        angles = solid_angles(
            crossings=crossings,
            tagged=tag(crossings, tables),
            tables=tables,
            frequency_hz=centres_hz,
            threshold_db=THRESHOLD_DB,
            reference=band,
        )
        found = angles.bands[band]
        return Figure(
            found.open_equivalent_solid_angle_sr,
            angles.standard_error,
            found.unshielded_solid_angle_sr,
            found.unshielded_error_sr / SPHERE_SR,
        )

    return [of(plan, band) for plan in job.plans for band in range(len(centres_hz))]


def errors_of(seed: int, *, finer: Sampling) -> tuple[Floats, int]:
    """Stated and true errors (figures, 6) of a room, and rays that its figures took.

    Columns: stated, true and that of the truth itself, of the open-equivalent solid angle; likewise
    of the unshielded one.
    """
    job = load_text(tomlkit.dumps(ordinary_room(seed)), path="room.toml")
    usual = crossings_of(job, sampling=DEFAULT, bins=BINS)
    truth = figures(job, crossings_of(job, sampling=finer, bins=MORE_BINS))
    rows = [
        (
            one.its_error,
            one.open_equivalent_sr / two.open_equivalent_sr - 1.0,
            two.its_error,
            one.unshielded_error,
            (one.unshielded_sr - two.unshielded_sr) / SPHERE_SR,
            two.unshielded_error,
        )
        for one, two in zip(figures(job, usual), truth, strict=True)
    ]
    return np.array(rows), usual.rays


def main() -> None:
    """Measure as many rooms as asked for and print what came out."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--rooms", type=int, default=24)
    parser.add_argument("--seed", type=int, default=100, help="of the first room")
    options = parser.parse_args()
    finer = Sampling(points_per_panel=2**14, points=2**19, seed=7)
    seeds = range(options.seed, options.seed + options.rooms)
    each, rays = zip(*(errors_of(seed, finer=finer) for seed in seeds), strict=True)
    print(f"{len(each)} rooms, {np.mean(rays):,.0f} rays each in the mean")  # noqa: T201
    found = np.concatenate(each)
    for what, column in (("open-equivalent", 0), ("unshielded", 3)):
        stated, true, truth = found[:, column], np.abs(found[:, column + 1]), found[:, column + 2]
        cut = "  ".join(f"{value:.1e}" for value in np.percentile(stated, (50, 90, 99, 100)))
        off = "  ".join(f"{value:.1e}" for value in np.percentile(true, (50, 90, 99, 100)))
        print(f"{what}: stated, at 50, 90, 99 and 100 of 100: {cut}; true: {off}")  # noqa: T201
        print(  # noqa: T201
            f"    at most {ASKED:g} in {100 * np.mean(stated <= ASKED):.0f} of 100; true within "
            f"stated in {100 * np.mean(true <= stated + 1e-12):.0f}, with the error of the truth "
            f"in {100 * np.mean(true <= stated + truth + 1e-12):.0f}; mean of the true error "
            f"{np.mean(found[:, column + 1]):+.1e}"
        )


if __name__ == "__main__":
    main()
