"""Levels over the floor of a receiver's room, at the receiver's height: what a map of it shows.

Every point gets what an analysis would find for a receiver there, with fewer rays: the direct
part along exact angles, the scattered part from a light cast in all directions, and the diffuse
field, which is the same all over the room.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan, Receiver, Source
from envelope.building.point_location import bounds, clearances
from envelope.errors import CancelledError, RangeError, StaleCastError
from envelope.exposure.analysis import bench_of
from envelope.exposure.beams import along_rays, level_outside
from envelope.exposure.casts import Casts, direction_of, placement_of
from envelope.exposure.diffuse import Diffuse, diffuse_of, faces_of
from envelope.exposure.solid_angles import tag
from envelope.exposure.transmission import SPLINE_NODES, Bench, Tables, stacks_of
from envelope.exposure.under_plan import under
from envelope.geometry.plane import Floats
from envelope.geometry.solid_angle import triangle_solid_angle
from envelope.rays import Beam, Crossings, Sampling, cast_cones, cast_directions, cast_lines
from envelope.rays.triangulation import filling

STEP_M = (0.05, 2.0)  # between points, least and most
MOST_POINTS = 5_000
CLEAR_M = 0.01  # a point nearer to a panel than this counts as part of it
NEAR_SOURCE_M = 0.05  # nearer to a point source there is no level to speak of
CONE = 2**8  # rays over a source's cone: an edge of a beam falls in so many steps at most
NODES_APART_M = 0.3  # between points from which all directions are cast
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
    crossings: tuple[Crossings, ...]  # one a node; empty where no source is scattered
    nodes: NDArray[np.int64]  # (nodes,) which points these are
    mixed: Floats  # (n, nodes) how nodes count at each point
    panel_sr: Floats  # (n, panels) solid angle of each panel that faces a point, of its space


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
    where = placement_of(plan, job)
    bench, casts = under(bench, plan, casts)
    job = bench.job
    floor = bench.kept(
        ("floor", receiver, step_m, where),
        lambda: _cast(job, receiver, step_m=step_m, progress=progress, cancel=cancel),
    )
    tables = bench.tables(stacks_of(job, plan))
    faces = bench.kept("faces", lambda: faces_of(job))
    scattered = _Scattered.of(floor, tables)
    grid = floor.grid
    by_source: dict[str, Floats] = {}
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
        # what readings show at the receiver is taken to hold all over its room
        shown = job.factor_at(receiver.id, plan.id, source.id)
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
    def of(cls, floor: _FloorCasts, tables: Tables) -> _Scattered:
        """Panel by panel: what a node sees through it for its solid angle there, which is exact."""
        count = floor.panel_sr.shape[1]
        nodes = len(floor.crossings)
        if not nodes:
            nothing = np.zeros((len(floor.panel_sr), 0))
            return cls(exposed_sr=np.zeros(len(nothing)), open_equivalent_sr=nothing)
        seen = []
        for each in floor.crossings:
            tagged = tag(each, tables)
            weights = tagged.weights_sr.mean(axis=1)
            values = np.column_stack((tagged.exposed, tagged.transmission)) * weights[:, np.newaxis]
            by_panel = np.zeros((count, values.shape[1]))
            np.add.at(by_panel, each.first_panel, values)
            seen.append(by_panel)
        around = floor.mixed @ np.array(seen).reshape(nodes, -1)
        whole = floor.mixed @ floor.panel_sr[floor.nodes]
        share = np.divide(floor.panel_sr, whole, out=np.zeros_like(whole), where=whole > 0.0)
        carried = np.einsum("np,npk->nk", share, around.reshape(len(share), count, -1))
        return cls(exposed_sr=carried[:, 0], open_equivalent_sr=carried[:, 1:])

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
    inside = clearances(building.space(receiver.space), points) > CLEAR_M
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
    scattered = any(source.scattered > 0.0 for source in job.sources)
    nodes = _nodes(grid, step_m) if scattered else np.zeros(0, dtype=np.int64)
    total = len(job.sources) + len(nodes)

    def step(done: int) -> None:
        if progress is not None:
            progress(done / total)
        if cancel is not None and cancel():
            raise CancelledError("the levels over the floor were cancelled")

    step(0)
    beams = {}
    alike: dict[tuple[object, ...], tuple[Beam, ...]] = {}  # such as the bands of one mast
    for place, source in enumerate(job.sources, 1):
        stands = _stands(job, source)
        if stands not in alike:
            alike[stands] = _beams(job, source, receiver.space, grid.points)
        beams[source.id] = alike[stands]
        step(place)
    crossings = []
    for place, node in enumerate(nodes, len(job.sources) + 1):
        found = cast_directions(
            job.building,
            space=receiver.space,
            position_m=grid.points[node],
            sampling=LIGHT,
            cancel=cancel,
        )
        crossings.append(found)
        step(place)
    return _FloorCasts(
        grid=grid,
        beams=beams,
        crossings=tuple(crossings),
        nodes=nodes,
        mixed=_mixed(grid, nodes) if scattered else np.zeros((len(grid.points), 0)),
        panel_sr=_panel_sr(job, receiver.space, grid.points),
    )


def _panel_sr(job: Job, space: str, points: Floats) -> Floats:
    """Solid angle (n, panels) of every panel of a space that faces a point; else 0. [sr]"""
    found = np.zeros((len(points), len(job.building.panels)))
    for panel in job.building.space(space).panels:
        triangles = filling(panel)
        facing = (points - panel.outline[0]) @ panel.normal > 0.0
        seen = triangles[np.newaxis] - points[facing, np.newaxis, np.newaxis]
        angle = np.abs(triangle_solid_angle(seen)).sum(axis=1)
        found[facing, job.building.panel_index[panel.id]] = angle
    return found


def _stands(job: Job, source: Source) -> tuple[object, ...]:
    """All of a source that its rays depend on."""
    if source.position_m is None:
        direction = direction_of(source, job.building)
        return (*direction.tolist(), source.spread_rad)
    return (*source.position_m.tolist(), source.space)


def _beams(job: Job, source: Source, space: str, points: Floats) -> tuple[Beam, ...]:
    """Rays of all points towards a source, as few bundles, so that few stacks are solved.

    The rays of a cone meet a panel at nearly one angle from everywhere; those of a point source
    at very different ones, so they go in groups small enough to be solved angle by angle.
    """
    if source.position_m is None:
        whole = cast_cones(
            job.building,
            space=space,
            positions_m=points,
            direction=direction_of(source, job.building),
            spread_rad=source.spread_rad,
            count=CONE,
        )
        return (whole,)
    return tuple(
        cast_lines(
            job.building,
            space=space,
            positions_m=points[at : at + SPLINE_NODES],
            target_m=source.position_m,
            target_space=source.space,
        )
        for at in range(0, len(points), SPLINE_NODES)
    )


def _nodes(grid: _Grid, step_m: float) -> NDArray[np.int64]:
    """Points from which all directions are cast: every third along both axes of a fine grid."""
    stride = max(1, int(NODES_APART_M / step_m + 1e-9))
    rows, columns = np.nonzero(grid.inside)
    last = [int(axis.max()) for axis in (rows, columns)]
    kept = np.ones(len(rows), dtype=np.bool_)
    for places, end in zip((rows, columns), last, strict=True):
        kept &= (places % stride == 0) | (places == end)
    return np.flatnonzero(kept)


def _mixed(grid: _Grid, nodes: NDArray[np.int64]) -> Floats:
    """Weights (n, nodes) that carry figures of nodes to all points, nearer ones counting more.

    Between the nodes of a coarse grid they are bilinear where all four corners lie in the room.
    """
    weights = np.zeros((len(grid.points), len(nodes)))
    own = {int(node): place for place, node in enumerate(nodes)}
    rows, columns = np.nonzero(grid.inside)
    at = {
        (int(r), int(c)): own[n]
        for n, (r, c) in enumerate(zip(rows, columns, strict=True))
        if n in own
    }
    row_nodes = np.array(sorted({r for r, _ in at}))
    column_nodes = np.array(sorted({c for _, c in at}))
    for place, (row, column) in enumerate(zip(rows, columns, strict=True)):
        if place in own:
            weights[place, own[place]] = 1.0
            continue
        for r, by_row in _between(row_nodes, int(row)):
            for c, by_column in _between(column_nodes, int(column)):
                if (r, c) in at:
                    weights[place, at[r, c]] += by_row * by_column
        if not weights[place].any():
            apart = np.linalg.norm(grid.points[nodes] - grid.points[place], axis=1)
            weights[place, int(apart.argmin())] = 1.0
    return np.asarray(weights / weights.sum(axis=1)[:, np.newaxis])


def _between(nodes: NDArray[np.int64], at: int) -> Iterator[tuple[int, float]]:
    """Nodes on both sides of a place along one axis, each with its share."""
    above = min(int(np.searchsorted(nodes, at)), len(nodes) - 1)
    below = max(above - 1, 0) if nodes[above] > at else above
    low, high = int(nodes[below]), int(nodes[above])
    share = 0.0 if high == low else min(max((at - low) / (high - low), 0.0), 1.0)
    yield low, 1.0 - share
    if share > 0.0:
        yield high, share
