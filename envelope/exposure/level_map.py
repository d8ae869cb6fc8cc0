"""Levels over the floor of a receiver's room, at the receiver's height: what a map of it shows.

Every point gets what an analysis would find for a receiver there, with fewer rays: the direct
part along exact angles, the scattered part from a light cast in all directions, and the diffuse
field, which is the same all over the room.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan, Receiver, Source
from envelope.building.point_location import bounds, clearance
from envelope.errors import CancelledError, RangeError, StaleCastError
from envelope.exposure.analysis import bench_of
from envelope.exposure.beams import along_rays, level_outside
from envelope.exposure.casts import Casts, direction_of
from envelope.exposure.diffuse import Diffuse, diffuse_of, faces_of
from envelope.exposure.solid_angles import tag
from envelope.exposure.transmission import SPLINE_NODES, Bench, Tables, stacks_of
from envelope.geometry.plane import Floats
from envelope.rays import Beam, Crossings, Sampling, cast_cone, cast_directions, cast_point

STEP_M = (0.05, 2.0)  # between points, least and most
MOST_POINTS = 5_000
CLEAR_M = 0.01  # a point nearer to a panel than this counts as part of it
NEAR_SOURCE_M = 0.05  # nearer to a point source there is no level to speak of
CONE = 2**8  # rays over a source's cone: an edge of a beam falls in so many steps at most
LIGHT = Sampling(points_per_panel=2**6, points=2**10)

Progress = Callable[[float], None]
Cancel = Callable[[], bool]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorLevels:
    """Levels over a grid; rows go north (+y), columns east (+x), nan outside the room."""

    plan: str
    receiver: str
    space: str
    height_m: float  # of the points, in the building's coordinates
    x_m: Floats  # (nx,) middles of the columns
    y_m: Floats  # (ny,) middles of the rows
    points: Floats  # (n, 3) the points inside, row by row
    inside: NDArray[np.bool_]  # (ny, nx)
    by_source_w_m2: Mapping[str, Floats]  # source id → (ny, nx)
    level_w_m2: Floats  # (ny, nx) of all sources together
    outside_w_m2: Floats  # (ny, nx) the same with every building removed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    x_m: Floats
    y_m: Floats
    points: Floats
    inside: NDArray[np.bool_]

    def spread(self, values: Floats) -> Floats:
        """Values (n,) of the points inside, over the whole grid (ny, nx)."""
        whole = np.full(self.inside.shape, np.nan)
        whole[self.inside] = values
        whole.setflags(write=False)
        return whole


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _FloorCasts:
    """Geometry only, so the same for every plan."""

    grid: _Grid
    beams: Mapping[str, tuple[Beam, ...]]  # by source id; the rays of many points in one bundle
    crossings: tuple[Crossings, ...]  # one a point; empty where no source is scattered


def floor_levels(
    *,
    job: Job,
    casts: Casts,
    plan: Plan,
    receiver: Receiver,
    bench: Bench | None = None,
    step_m: float = 0.25,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> FloorLevels:
    """Levels over a grid of points of a receiver's room, at the receiver's height.

    Parameters
    ----------
    job : Job
        With at least one source.
    casts : Casts
        Of the job, for the diffuse field.
    receiver : Receiver
        Says which room, and how high; of a box the middle.
    bench : Bench, optional
        Of the job; it keeps the rays of the grid, so that another plan costs little.
    step_m : float
        Distance between points, about; 0.05 to 2. [m]
    progress, cancel : callable, optional
        As in `cast_job`.

    Raises
    ------
    RangeError
        For a job without sources, or a grid too fine or too coarse.
    StaleCastError
        Where the casts were made for another geometry.
    CancelledError
        Where `cancel` said so.
    """
    if casts.digest != job.building.digest:
        raise StaleCastError("these casts were made for another geometry: cast the job again")
    if not job.sources:
        raise RangeError("0 sources: levels over a floor need at least 1")
    job.require_levels()
    plan = job.resolved(plan)
    bench = bench_of(job, casts) if bench is None else bench
    floor = bench.kept(
        ("floor", receiver, step_m),
        lambda: _cast(job, receiver, step_m=step_m, progress=progress, cancel=cancel),
    )
    tables = bench.tables(stacks_of(job, plan))
    faces = bench.kept("faces", lambda: faces_of(job))
    scattered = _Scattered.of(floor.crossings, tables)
    grid = floor.grid
    by_source: dict[str, Floats] = {}
    shown = 1.0 if job.fitted is None else 10.0 ** (job.fitted.shift_db / 10.0)
    outside = np.zeros(len(grid.points))
    for source in job.sources:
        band = bench.bands_hz.index(source.band_hz)
        free = _free_levels(job, source, receiver.space, grid.points)
        diffuse = diffuse_of(
            source=source, casts=casts, bench=bench, tables=tables, faces=faces, band=band
        )
        through = np.concatenate(
            [_through(source, beam, bench, tables, band) for beam in floor.beams[source.id]]
        )
        level = (1.0 - source.scattered) * free * through
        level += _of_room(diffuse, job, receiver.space)
        if source.scattered > 0.0:
            index = job.building.space_index[receiver.space]
            radiance = source.scattered * scattered.radiance(free)
            again = float(diffuse.from_scattered[index])
            level += radiance * (scattered.open_equivalent_sr[:, band] + again)
        by_source[source.id] = grid.spread(shown * level)
        outside += free
    return FloorLevels(
        plan=plan.id,
        receiver=receiver.id,
        space=receiver.space,
        height_m=float(receiver.position_m[2]),
        x_m=grid.x_m,
        y_m=grid.y_m,
        points=grid.points,
        inside=grid.inside,
        by_source_w_m2=by_source,
        level_w_m2=np.sum(list(by_source.values()), axis=0),
        outside_w_m2=grid.spread(outside),
    )


def _free_levels(job: Job, source: Source, space: str, points: Floats) -> Floats:
    """Levels (n,) at points with every building removed. [W/m²]"""
    storey = job.building.space(space).storey
    return np.array([level_outside(source, storey, point) for point in points])


def _of_room(diffuse: Diffuse, job: Job, space: str) -> float:
    return float(diffuse.from_beam_w_m2[job.building.space_index[space]])


def _through(source: Source, beam: Beam, bench: Bench, tables: Tables, band: int) -> Floats:
    """Mean transmission of each point whose rays a bundle holds; each has as many rays."""
    passed = beam.weights * along_rays(
        beam, bench=bench, stacks=tables.stacks, band=band, polarization=source.polarization
    )
    points = round(float(beam.weights.sum()))
    return np.asarray(passed.reshape(points, -1).sum(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scattered:
    """What comes evenly from the exposed directions, at every point."""

    exposed_sr: Floats  # (n,)
    open_equivalent_sr: Floats  # (n, bands)

    @classmethod
    def of(cls, crossings: Sequence[Crossings], tables: Tables) -> _Scattered:
        exposed, open_equivalent = [], []
        for each in crossings:
            tagged = tag(each, tables)
            weights = tagged.weights_sr.mean(axis=1)
            exposed.append(float(weights @ tagged.exposed))
            open_equivalent.append(weights @ tagged.transmission)
        return cls(exposed_sr=np.array(exposed), open_equivalent_sr=np.array(open_equivalent))

    def radiance(self, level: Floats) -> Floats:
        """Radiance (n,) of a level (n,) spread over the exposed directions. [W/(m² sr)]"""
        return np.divide(
            level, self.exposed_sr, out=np.zeros_like(level), where=self.exposed_sr > 0.0
        )


# -- geometry ------------------------------------------------------------------------------------


def _grid(job: Job, receiver: Receiver, step_m: float) -> _Grid:
    """Points evenly over the room's bounding box, those inside it marked."""
    if not STEP_M[0] <= step_m <= STEP_M[1]:
        raise RangeError(
            f"{step_m:g} m between points of a floor; allowed: {STEP_M[0]:g} to {STEP_M[1]:g} m"
        )
    building = job.building
    low, high = bounds(building.space(receiver.space).panels)
    counts = [max(1, ceil(float(size) / step_m - 1e-9)) for size in (high - low)[:2]]
    if counts[0] * counts[1] > MOST_POINTS:
        raise RangeError(
            f"{counts[0] * counts[1]} points over the floor of {receiver.space}; "
            f"allowed: up to {MOST_POINTS}, so take them farther apart than {step_m:g} m"
        )
    x, y = (
        low[axis] + (np.arange(count) + 0.5) * (high[axis] - low[axis]) / count
        for axis, count in enumerate(counts)
    )
    across, along = np.meshgrid(x, y)
    height = np.full(across.size, float(receiver.position_m[2]))
    points = np.column_stack((across.ravel(), along.ravel(), height))
    inside = np.array(
        [clearance(building, receiver.space, point) > CLEAR_M for point in points], dtype=np.bool_
    )
    for source in job.sources:
        if source.position_m is not None:
            inside &= np.linalg.norm(points - source.position_m, axis=1) > NEAR_SOURCE_M
    if not inside.any():
        raise RangeError(
            f"no point of the grid lies in {receiver.space} at the height of {receiver.id}; "
            f"allowed: points nearer together than {step_m:g} m"
        )
    found = points[inside]
    mask = inside.reshape(across.shape)
    for array in (x, y, found, mask):
        array.setflags(write=False)
    return _Grid(x_m=x, y_m=y, points=found, inside=mask)


def _cast(
    job: Job,
    receiver: Receiver,
    *,
    step_m: float,
    progress: Progress | None,
    cancel: Cancel | None,
) -> _FloorCasts:
    grid = _grid(job, receiver, step_m)
    building = job.building
    scattered = any(source.scattered > 0.0 for source in job.sources)
    beams: dict[str, list[Beam]] = {source.id: [] for source in job.sources}
    crossings = []
    for place, point in enumerate(grid.points):
        if cancel is not None and cancel():
            raise CancelledError("the levels over the floor were cancelled")
        for source in job.sources:
            beams[source.id].append(_beam(job, source, receiver.space, point))
        if scattered:
            crossings.append(
                cast_directions(
                    building,
                    space=receiver.space,
                    position_m=point,
                    sampling=LIGHT,
                    cancel=cancel,
                )
            )
        if progress is not None:
            progress((place + 1) / len(grid.points))
    return _FloorCasts(
        grid=grid,
        beams={
            source.id: _bundles(beams[source.id], exact=source.position_m is not None)
            for source in job.sources
        },
        crossings=tuple(crossings),
    )


def _beam(job: Job, source: Source, space: str, point: Floats) -> Beam:
    if source.position_m is not None:
        return cast_point(
            job.building,
            space=space,
            position_m=point,
            target_m=source.position_m,
            target_space=source.space,
        )
    return cast_cone(
        job.building,
        space=space,
        position_m=point,
        direction=direction_of(source, job.building),
        spread_rad=source.spread_rad,
        count=CONE,
        stated=True,
    )


def _bundles(beams: Sequence[Beam], *, exact: bool) -> tuple[Beam, ...]:
    """Rays of many points as few bundles, so that each stack is solved once for all of them.

    The rays of a cone meet a panel at nearly one angle from everywhere; those of a point source
    at very different ones, so they go in groups small enough to be solved angle by angle.
    """
    size = SPLINE_NODES if exact else len(beams)
    return tuple(_joined(beams[at : at + size]) for at in range(0, len(beams), size))


def _joined(beams: Sequence[Beam]) -> Beam:
    """The rays of several beams one after the other; the weights of each still add up to 1."""
    lengths = np.concatenate([np.diff(beam.start) for beam in beams])
    return Beam(
        digest=beams[0].digest,
        solid_angle_sr=beams[0].solid_angle_sr,
        first_panel=np.concatenate([beam.first_panel for beam in beams]),
        sky=np.concatenate([beam.sky for beam in beams]),
        weights=np.concatenate([beam.weights for beam in beams]),
        directions=np.concatenate([beam.directions for beam in beams]),
        start=np.concatenate(([0], np.cumsum(lengths))),
        rows=np.concatenate([beam.rows for beam in beams]),
        cosines=np.concatenate([beam.cosines for beam in beams]),
    )
