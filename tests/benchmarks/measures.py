"""What is measured, each as numbers that a table or a test can take."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from engines import OURS, PLAIN, Lister, Wrong, general_engines, judge, judge_walk, trace
from scenes import ROOT, Scene, at_edges, by_chance, side_by_side

from envelope.exposure.analysis import bench_of
from envelope.exposure.casts import cast_job, shared_out
from envelope.exposure.solid_angles import solid_angles, tag
from envelope.exposure.transmission import stacks_of
from envelope.project import load
from envelope.rays import DEFAULT, Sampling, cast_directions, merge

LEAST_RAYS = 64  # a panel, so that the number of rays follows what is asked for


def least_seconds(
    actions: Mapping[str, Callable[[], object]], *, rounds: int, clock: Callable[[], float]
) -> dict[str, float]:
    """Least time of each action, taken in turns, since other work comes and goes. [s]"""
    least = dict.fromkeys(actions, float("inf"))
    for _ in range(rounds):
        for name, action in actions.items():
            start = clock()
            action()
            least[name] = min(least[name], clock() - start)
    return least


def slope(sizes: Sequence[float], costs: Sequence[float]) -> float:
    """Exponent of a power law through the points."""
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


# ---- beside general libraries


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """One engine on one scene."""

    engine: str
    rays_per_s: float  # by the clock on the wall, all cores
    processor_rays_per_s: float  # by processor time
    entries_per_ray: float
    by_chance: Wrong
    at_edges: Wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenery:
    """All engines on one scene."""

    scene: str
    panels: int
    triangles: int
    engines: tuple[Beside, ...]
    missing: tuple[str, ...]


def beside(scene: Scene, *, rays: int, judged: int, rounds: int) -> Scenery:
    """Crossing lists of the same rays by every engine that is installed, and their answers."""
    engines, missing = general_engines(scene, plain=True)
    plain = engines.pop(PLAIN)
    ways = by_chance(rays)
    starts = scene.starts(rays)

    def listing(lister: Lister) -> Callable[[], object]:
        return lambda: lister(starts, ways)

    actions: dict[str, Callable[[], object]] = {OURS: lambda: trace(scene, ways)}
    actions |= {name: listing(lister) for name, lister in engines.items()}
    for action in actions.values():
        action()  # compiled, and its structures built
    wall = least_seconds(actions, rounds=rounds, clock=time.perf_counter)
    processor = least_seconds(actions, rounds=rounds, clock=time.process_time)

    kinds = (by_chance(judged, seed=8), at_edges(scene, judged))
    walked = [trace(scene, kind) for kind in kinds]
    from_eye = scene.starts(judged)
    verdicts: dict[str, list[Wrong]] = {
        OURS: [
            judge_walk(scene, kind, found, plain(from_eye, kind))
            for kind, found in zip(kinds, walked, strict=True)
        ]
    }
    entries = {OURS: len(walked[0].rows) / judged}
    for name, lister in engines.items():
        hits = [lister(from_eye, kind) for kind in kinds]
        entries[name] = len(hits[0].ray) / judged
        verdicts[name] = [
            judge(scene, kind, found, hit)
            for kind, found, hit in zip(kinds, walked, hits, strict=True)
        ]
    return Scenery(
        scene=scene.name,
        panels=len(scene.building.panels),
        triangles=len(scene.triangles),
        engines=tuple(
            Beside(
                engine=name,
                rays_per_s=rays / wall[name],
                processor_rays_per_s=rays / processor[name],
                entries_per_ray=entries[name],
                by_chance=verdicts[name][0],
                at_edges=verdicts[name][1],
            )
            for name in actions
        ),
        missing=tuple(missing),
    )


# ---- how cost grows


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """Processor time by size."""

    what: str
    sizes: tuple[int, ...]
    seconds: tuple[float, ...]

    @property
    def exponent(self) -> float:
        """Of the power law through all sizes."""
        return slope(self.sizes, self.seconds)

    @property
    def exponent_at_end(self) -> float:
        """The same between the last two sizes, where what is fixed counts least."""
        return slope(self.sizes[-2:], self.seconds[-2:])


def cast(scene: Scene, rays: int) -> int:
    """Cast from the eye in all directions; how many rays that took."""
    sampling = Sampling(points_per_panel=LEAST_RAYS, points=rays)
    return cast_directions(
        scene.building, space=scene.space, position_m=scene.eye_m, sampling=sampling
    ).rays


def growth_with_panels(scenes: Sequence[Scene], *, what: str, rays: int, rounds: int) -> Growth:
    """Cost of a ray by number of panels."""
    ways = by_chance(rays)
    sizes, seconds = [], []
    for scene in scenes:

        def walk(scene: Scene = scene) -> object:
            return trace(scene, ways)

        walk()
        sizes.append(len(scene.building.panels))
        seconds.append(
            least_seconds({"walk": walk}, rounds=rounds, clock=time.process_time)["walk"] / rays
        )
    return Growth(what=what, sizes=tuple(sizes), seconds=tuple(seconds))


def growth_with_rays(scene: Scene, counts: Sequence[int], *, rounds: int) -> Growth:
    """Cost of a cast by number of rays."""
    cast(scene, counts[0])
    sizes, seconds = [], []
    for count in counts:
        taken = 0

        def once(count: int = count) -> None:
            nonlocal taken
            taken = cast(scene, count)

        tries = 1 if count > 2_000_000 else rounds
        seconds.append(least_seconds({"cast": once}, rounds=tries, clock=time.process_time)["cast"])
        sizes.append(taken)
    return Growth(
        what="rays of a cast, house",
        sizes=tuple(sizes),
        seconds=tuple(seconds),
    )


def growth_with_rooms(counts: Sequence[int], *, rounds: int) -> Growth:
    """Cost of a building by number of rooms."""
    side_by_side(1)
    seconds = []
    for count in counts:

        def build(count: int = count) -> object:
            return side_by_side(count)

        tries = 1 if count > 300 else rounds
        seconds.append(
            least_seconds({"build": build}, rounds=tries, clock=time.process_time)["build"]
        )
    return Growth(what="rooms of a building", sizes=tuple(counts), seconds=tuple(seconds))


def bytes_per_ray(scene: Scene, rays: int) -> tuple[float, float]:
    """Most memory that Python and numpy hold at once, a ray: of a cast, and of crossing lists."""
    ways = by_chance(rays)
    peaks = []
    for action in (lambda: cast(scene, rays), lambda: trace(scene, ways) and rays):
        action()
        tracemalloc.start()
        try:
            before, _ = tracemalloc.get_traced_memory()
            tracemalloc.reset_peak()
            taken = action()
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        peaks.append((peak - before) / taken)
    return peaks[0], peaks[1]


# ---- cast again, or put another plan on what was cast


@dataclass(frozen=True, slots=True, kw_only=True)
class Retag:
    """The same answer by both ways."""

    job: str
    retag_s: float
    cast_again_s: float
    receivers: int
    same: bool  # the solid angles are the very same numbers


def retag_beside_cast(path: Path, *, rounds: int, sampling: Sampling = DEFAULT) -> Retag:
    """Solid angles of every receiver of a job under another plan."""
    job = load(path)
    casts = cast_job(job, sampling=sampling)
    bench = bench_of(job, casts)
    plan = job.plans[-1]
    frequency_hz = np.array([0.5 * (low + high) for low, high in bench.bands_hz])

    def answer(fresh: bool) -> list[float]:
        tables = bench.tables(stacks_of(job, plan))
        found = []
        for receiver in casts.receivers:
            crossings = receiver.crossings
            if fresh:
                crossings = merge(
                    [
                        cast_directions(
                            job.building,
                            space=receiver.receiver.space,
                            position_m=point.position_m,
                            sampling=shared_out(sampling, len(receiver.points)),
                        )
                        for point in receiver.points
                    ]
                )
            angles = solid_angles(
                crossings=crossings,
                tagged=tag(crossings, tables),
                tables=tables,
                frequency_hz=frequency_hz,
                threshold_db=20.0,
            )
            found += [band.open_equivalent_solid_angle_sr for band in angles.bands]
        return found

    same = answer(False) == answer(True)
    least = least_seconds(
        {"retag": lambda: answer(False), "cast": lambda: answer(True)},
        rounds=rounds,
        clock=time.perf_counter,
    )
    return Retag(
        job=path.stem,
        retag_s=least["retag"],
        cast_again_s=least["cast"],
        receivers=len(job.receivers),
        same=same,
    )


# ---- from a cold start


FIRST_CAST = """
import time, sys
sys.path[:0] = [{benchmarks!r}, {root!r}]
from scenes import house
from measures import cast
scene = house()
ready = time.perf_counter()
cast(scene, 2**14)
print(time.perf_counter() - ready)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """Waiting at the start."""

    cold_s: float  # the first cast with nothing compiled
    warm_s: float  # the first cast of a process where everything is
    help_over_pass: float


def _seconds_told(code: str, **environment: str) -> float:
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return float(done.stdout)


def starts(*, rounds: int) -> Starts:
    """Time that fresh processes take."""
    code = FIRST_CAST.format(benchmarks=str(Path(__file__).parent), root=str(ROOT))
    with tempfile.TemporaryDirectory() as cache:
        cold = _seconds_told(code, NUMBA_CACHE_DIR=cache)
        warm = _seconds_told(code, NUMBA_CACHE_DIR=cache)
    return Starts(
        cold_s=cold,
        warm_s=warm,
        help_over_pass=help_over_pass(rounds=rounds),
    )


def help_over_pass(*, rounds: int) -> float:
    """How many times as long ``gapcast --help`` takes as an interpreter that does nothing."""

    def start(*arguments: str) -> Callable[[], object]:
        command = [sys.executable, *arguments]
        return lambda: subprocess.run(command, cwd=ROOT, capture_output=True, check=True)

    least = least_seconds(
        {"help": start("-m", "envelope.cli", "--help"), "pass": start("-c", "pass")},
        rounds=rounds,
        clock=time.perf_counter,
    )
    return least["help"] / least["pass"]
