"""What a receiver sees: all directions around it on one equal-area disc, as plain arrays.

Lambert's azimuthal equal-area projection of the whole sphere: straight up in the middle, the
horizon a circle at 0.707 of the radius, straight down all along the rim. It is laid out like a
floor plan: true north at the top, east on the right. Equal areas on it are equal solid angles.

                         N
                      ·  ─  ·          x = sin(θ/2) sin azimuth
                   ·    up     ·       y = sin(θ/2) cos azimuth
                 W ──────┼────── E     θ from straight up
                   · horizon   ·
                      ·  ─  ·
                         S (rim: down)

Directions are cast once; a plan only puts other losses on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from envelope.building.job import Job, Plan, Receiver, Source
from envelope.building.model import Building, Panel
from envelope.exposure.transmission import Bench, stacks_of
from envelope.geometry.plane import Floats
from envelope.rays import Beam, cast_cone
from envelope.text.names import source_label
from viewer.scene.colours import cividis_table
from viewer.scene.compass import direction_to

Ints = NDArray[np.int32]
Bytes = NDArray[np.int8]
Json = dict[str, Any]

SIDE = 176  # cells across the disc
STEP_M = 0.04  # between points of an outline
OUTSIDE = -1
_DEEP_ENOUGH = 0.7  # of how deep a mark may lie inside what it marks
_HIDDEN_M = 2e-3  # a panel nearer than this before an outline's point hides it
_CONE_CORNERS = 48
BLOCKED, NOTHING = 254, 255  # codes of a cell in JSON


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SkyOutline:
    """What is seen of one panel's outlines."""

    panel: str
    runs: tuple[Floats, ...]  # each (n, 2), on the disc of radius 1
    mark: Floats  # (2,) for a label


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SkySource:
    """Where a source stands."""

    id: str
    label: str
    at: Floats  # (2,)
    rim: Floats  # (n, 2) of its cone; (0, 2) for a point


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SkyView:
    """All directions around a place, by geometry alone. Row 0 of a grid is the north-most."""

    first: Ints  # (side, side) index of the panel that a direction leaves through; OUTSIDE the disc
    sky: Bytes  # (side, side) 0 blocked, 1 below the horizon, 2 above
    outlines: tuple[SkyOutline, ...]
    rays: Beam  # of the cells in the disc, row by row


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sky:
    """All directions around one receiver."""

    receiver: str
    view: SkyView
    sources: tuple[SkySource, ...]

    @property
    def first(self) -> Ints:
        """As in its view."""
        return self.view.first

    @property
    def sky(self) -> Bytes:
        """As in its view."""
        return self.view.sky

    @property
    def outlines(self) -> tuple[SkyOutline, ...]:
        """As in its view."""
        return self.view.outlines

    @property
    def rays(self) -> Beam:
        """As in its view."""
        return self.view.rays

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Cells (side, side) in the disc."""
        return np.asarray(self.first != OUTSIDE)


def on_disc(directions: Floats, *, north_rad: float) -> Floats:
    """Places (n, 2) on the disc of unit vectors (n, 3) in project axes."""
    x, y, z = np.moveaxis(np.asarray(directions, dtype=np.float64), -1, 0)
    east = x * math.cos(north_rad) + y * math.sin(north_rad)
    north = y * math.cos(north_rad) - x * math.sin(north_rad)
    radius = np.sqrt(np.clip(0.5 * (1.0 - z), 0.0, 1.0))
    level = np.hypot(east, north)
    scale = np.divide(radius, level, out=np.zeros_like(radius), where=level > 1e-12)
    return np.stack((east * scale, north * scale), axis=-1)


def from_disc(places: Floats, *, north_rad: float) -> Floats:
    """Unit vectors (n, 3) in project axes of places (n, 2) on the disc."""
    east, north = np.moveaxis(np.asarray(places, dtype=np.float64), -1, 0)
    squared = np.clip(east**2 + north**2, 0.0, 1.0)
    level = 2.0 * np.sqrt(1.0 - squared)  # sin θ = 2 r √(1 − r²), along (east, north)/r
    x = level * (east * math.cos(north_rad) - north * math.sin(north_rad))
    y = level * (east * math.sin(north_rad) + north * math.cos(north_rad))
    return np.stack((x, y, 1.0 - 2.0 * squared), axis=-1)


def cell_places(side: int) -> Floats:
    """Middles (side, side, 2) of the cells, row 0 at the top."""
    steps = (np.arange(side) + 0.5) / side * 2.0 - 1.0
    return np.stack(np.meshgrid(steps, -steps), axis=-1)


def cast_sky(job: Job, receiver: Receiver, *, side: int = SIDE) -> Sky:
    """Look from a receiver (a box: from its middle) in all directions.

    Parameters
    ----------
    side : int
        Cells across the disc. Rays are cast evenly over the sphere, two or more for a cell, and
        each cell takes the one nearest to it.
    """
    return sky_of(look_around(job.building, receiver, side=side), job=job, receiver=receiver)


def sky_of(view: SkyView, *, job: Job, receiver: Receiver) -> Sky:
    """What was seen from a receiver, with the sources of its job."""
    sources = tuple(_source(source, job, receiver) for source in job.sources)
    return Sky(receiver=receiver.id, view=view, sources=sources)


def look_around(building: Building, receiver: Receiver, *, side: int) -> SkyView:
    """What geometry alone says of all directions; see `cast_sky`."""
    from scipy.spatial import cKDTree  # takes long to import

    north_rad = building.site.north_rad
    whole = cast_cone(
        building,
        space=receiver.space,
        position_m=receiver.position_m,
        direction=np.array([0.0, 0.0, 1.0]),
        spread_rad=math.pi,
        count=1 << (2 * side * side).bit_length(),
    )
    places = cell_places(side)
    inside = np.hypot(places[..., 0], places[..., 1]) < 1.0
    wanted = from_disc(places[inside], north_rad=north_rad)
    _, nearest = cKDTree(whole.directions).query(wanted)
    kept = _taken(whole, np.asarray(nearest))
    first = np.full((side, side), OUTSIDE, dtype=np.int32)
    sky = np.zeros((side, side), dtype=np.int8)
    first[inside], sky[inside] = kept.first_panel, kept.sky
    seen = [building.panels[k] for k in np.unique(kept.first_panel) if k >= 0]
    return SkyView(
        first=first, sky=sky, outlines=_outlines(building, receiver, seen, first), rays=kept
    )


def _taken(beam: Beam, chosen: NDArray[np.int64]) -> Beam:
    """Some rays of a beam, in a given order, repeated where they are chosen again."""
    lengths = np.diff(beam.start)[chosen]
    start = np.concatenate(([0], np.cumsum(lengths)))
    entries = np.repeat(beam.start[:-1][chosen] - start[:-1], lengths) + np.arange(start[-1])
    return Beam(
        digest=beam.digest,
        solid_angle_sr=beam.solid_angle_sr,
        first_panel=beam.first_panel[chosen],
        sky=beam.sky[chosen],
        weights=np.full(len(chosen), 1.0 / max(len(chosen), 1)),
        directions=beam.directions[chosen],
        start=start,
        rows=beam.rows[entries],
        cosines=beam.cosines[entries],
    )


def losses_db(sky: Sky, *, bench: Bench, plan: Plan, band: int = 0) -> Floats:
    """Loss (side, side) towards every direction under a plan; inf where blocked. [dB]

    TE and TM are kept apart along a ray; outside the disc it is nan.
    """
    rays = sky.rays
    tables = bench.tables(stacks_of(bench.job, plan))
    bins = np.minimum((rays.cosines * bench.bins).astype(np.int64), bench.bins - 1)
    along = np.zeros((len(rays.sky), 2))
    crossing = np.diff(rays.start) > 0
    if crossing.any():
        entries = tables.log_transmission[tables.stacks.of_row[rays.rows], bins, band]
        along[crossing] = np.add.reduceat(entries, rays.start[:-1][crossing], axis=0)
    passed = np.exp(along).mean(axis=1) * (rays.sky > 0)
    with np.errstate(divide="ignore"):
        loss = -10.0 * np.log10(passed)
    grid = np.full(sky.first.shape, np.nan)
    grid[sky.inside] = loss
    return grid


# -- outlines ------------------------------------------------------------------------------------


def _outlines(
    building: Building, receiver: Receiver, seen: Sequence[Panel], first: Ints
) -> tuple[SkyOutline, ...]:
    eye = receiver.position_m
    north_rad = building.site.north_rad
    rooms = {panel.space for panel in seen} | {receiver.space}
    screens = [
        _Screen.of(panel)
        for name in rooms
        for panel in building.space(name).panels
        if panel.kind != "open"
    ]
    places = cell_places(len(first))
    found = []
    for panel in seen:
        runs: list[Floats] = []
        lines: list[tuple[Floats, NDArray[np.bool_] | None]] = [
            (_dense(ring), None) for ring in (panel.outline, *panel.holes)
        ]
        lines += _frames(building, panel, eye)
        for points, through in lines:
            shows = np.ones(len(points), dtype=bool) if through is None else through
            for screen in screens:
                if screen.panel is not panel:
                    shows = shows & ~screen.hides(eye, points)
            away = points - eye
            flat = on_disc(away / np.linalg.norm(away, axis=1, keepdims=True), north_rad=north_rad)
            runs += _runs(flat, shows)
        mark = _mark(first == building.panel_index[panel.id], places)
        found.append(SkyOutline(panel=panel.id, runs=tuple(runs), mark=mark))
    return tuple(found)


def _mark(held: NDArray[np.bool_], places: Floats) -> Floats:
    """A place well inside some cells, as near to their middle as that allows."""
    from scipy.ndimage import distance_transform_edt  # takes long to import

    depth = distance_transform_edt(np.pad(held, 1))[1:-1, 1:-1]
    deep = depth >= _DEEP_ENOUGH * depth.max()
    cells = places[deep]
    away = np.hypot(*(cells - places[held].mean(axis=0)).T)
    mark: Floats = cells[int(away.argmin())]
    return mark


def _frames(
    building: Building, panel: Panel, eye: Floats
) -> list[tuple[Floats, NDArray[np.bool_] | None]]:
    """Edges of the hole in its wall where they, and not its own, bound what shows of an opening.

    An opening that lies deep in its wall is seen through the hole: an edge of the hole bounds it
    where a sight just past that edge meets the opening and no jamb.
    """
    if panel.host is None or panel.kind in ("reveal", "seam"):
        return []
    host = building.panel(panel.host)
    height = float((eye - panel.frame.origin) @ panel.normal)
    if height <= 0.0 or abs(float((panel.frame.origin - host.frame.origin) @ host.normal)) < 1e-6:
        return []
    screen = _Screen.of(panel)
    found: list[tuple[Floats, NDArray[np.bool_] | None]] = []
    for hole in host.holes:
        points = _dense(hole)
        inward = hole.mean(axis=0) - points
        past = points + 0.005 * inward / np.linalg.norm(inward, axis=1, keepdims=True) - eye
        reach = -height / (past @ panel.normal)
        met = panel.frame.flatten(eye + reach[:, np.newaxis] * past)
        shows = (reach > 0.0) & shapely.contains_xy(screen.shape, met[:, 0], met[:, 1])
        if shows.any():
            found.append((points, shows))
    return found


def _dense(ring: Floats) -> Floats:
    """Points along a closed ring, the first one again at the end."""
    parts = []
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        count = max(2, math.ceil(float(np.linalg.norm(b - a)) / STEP_M))
        parts.append(a + (b - a) * (np.arange(count) / count)[:, np.newaxis])
    return np.concatenate([*parts, ring[:1]])


def _runs(flat: Floats, shows: NDArray[np.bool_]) -> list[Floats]:
    """Unbroken pieces of a line: parted where it is hidden and where it jumps across the rim."""
    jumps = np.hypot(*np.diff(flat, axis=0).T) > 0.5
    joined = shows[:-1] & shows[1:] & ~jumps
    runs: list[Floats] = []
    start: int | None = None
    for k, on in enumerate([*joined.tolist(), False]):
        if on and start is None:
            start = k
        elif not on and start is not None:
            runs.append(_thinned(flat[start : k + 1]))
            start = None
    return runs


def _thinned(line: Floats) -> Floats:
    """The same line with fewer points where it is straight."""
    kept: Floats = np.asarray(shapely.LineString(line).simplify(6e-4).coords)
    return kept


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Screen:
    """A panel that may stand before another."""

    panel: Panel
    shape: Polygon

    @classmethod
    def of(cls, panel: Panel) -> _Screen:
        flat = Polygon(
            panel.frame.flatten(panel.outline), [panel.frame.flatten(hole) for hole in panel.holes]
        )
        shapely.prepare(flat)
        return cls(panel=panel, shape=flat)

    def hides(self, eye: Floats, points: Floats) -> NDArray[np.bool_]:
        """Which of points (n, 3) it hides from an eye."""
        frame = self.panel.frame
        height = float((eye - frame.origin) @ frame.normal)
        heights = (points - frame.origin) @ frame.normal
        between = heights * math.copysign(1.0, height) < -_HIDDEN_M
        hidden = np.zeros(len(points), dtype=bool)
        if height == 0.0 or not between.any():
            return hidden
        share = height / (height - heights[between])
        met = frame.flatten(eye + share[:, np.newaxis] * (points[between] - eye))
        hidden[between] = shapely.contains_xy(self.shape, met[:, 0], met[:, 1])
        return hidden


# -- sources -------------------------------------------------------------------------------------


def _source(source: Source, job: Job, receiver: Receiver) -> SkySource:
    north_rad = job.building.site.north_rad
    rim = np.empty((0, 2))
    if source.azimuth_rad is None:
        assert source.position_m is not None
        away = source.position_m - receiver.position_m
        way = away / np.linalg.norm(away)
    else:
        way = direction_to(
            azimuth_rad=source.azimuth_rad,
            elevation_rad=source.elevation_rad,
            north_rad=north_rad,
        )
        if source.spread_rad > 0.0:
            rim = on_disc(_cone(way, source.spread_rad), north_rad=north_rad)
    return SkySource(
        id=source.id,
        label=source_label(
            name=source.title or source.id,
            azimuth_rad=source.azimuth_rad,
            elevation_rad=source.elevation_rad,
            space=source.space,
        ),
        at=on_disc(way, north_rad=north_rad),
        rim=rim,
    )


def _cone(way: Floats, spread_rad: float) -> Floats:
    side = np.cross(way, np.eye(3)[int(np.abs(way).argmin())])
    side = side / np.linalg.norm(side)
    over = np.cross(way, side)
    turns = np.linspace(0.0, math.tau, _CONE_CORNERS + 1)[:, np.newaxis]
    around: Floats = math.cos(spread_rad) * way + math.sin(spread_rad) * (
        np.cos(turns) * side + np.sin(turns) * over
    )
    return around


# -- JSON ----------------------------------------------------------------------------------------


def sky_json(sky: Sky, *, job: Job, losses: Sequence[Floats], scale_db: Sequence[float]) -> Json:
    """A sky as plain lists, for skymap.js.

    Grids are run-length coded, cell after cell of the disc only, row by row from the top:
    ``[value, count, value, count, …]``. Places are flat ``[x, y, x, y, …]`` on the unit disc,
    y to the north.

    Keys
    ----
    receiver : str
    side : int
    panels : [panel id], to which `first` points
    first : run-length coded place in `panels`; -1 where nothing is left through
    losses : one run-length coded grid a plan: whole dB, 254 blocked, 255 nothing passes
    outlines : [{panel, runs: [flat], mark: [x, y]}]
    sources : [{id, label, at: [x, y], rim: flat}]
    scale_db : [low, high], low is bright
    cividis : [64 × "#rrggbb"]
    """
    building = job.building
    inside = sky.inside
    used = [int(k) for k in np.unique(sky.first[inside]) if k >= 0]
    place = {panel: k for k, panel in enumerate(used)}
    blocked = (sky.sky == 0)[inside]
    return {
        "receiver": sky.receiver,
        "side": len(sky.first),
        "panels": [building.panels[k].id for k in used],
        "first": _coded(np.array([place.get(int(k), -1) for k in sky.first[inside]])),
        "losses": [_coded(_codes(grid[inside], blocked)) for grid in losses],
        "outlines": [
            {
                "panel": each.panel,
                "runs": [_flat(run) for run in each.runs],
                "mark": _flat(each.mark),
            }
            for each in sky.outlines
        ],
        "sources": [
            {"id": each.id, "label": each.label, "at": _flat(each.at), "rim": _flat(each.rim)}
            for each in sky.sources
        ],
        "scale_db": [float(value) for value in scale_db],
        "cividis": list(cividis_table()),
    }


def _codes(loss_db: Floats, blocked: NDArray[np.bool_]) -> NDArray[np.int64]:
    finite = np.where(np.isfinite(loss_db), loss_db, NOTHING)
    codes = np.where(np.isfinite(loss_db), np.clip(np.rint(finite), 0, BLOCKED - 1), NOTHING)
    return np.asarray(np.where(blocked, BLOCKED, codes), dtype=np.int64)


def _coded(values: NDArray[np.int64]) -> list[int]:
    """Run-length code."""
    if not len(values):
        return []
    starts = np.concatenate(([0], np.flatnonzero(np.diff(values)) + 1))
    counts = np.diff(np.concatenate((starts, [len(values)])))
    return [int(number) for pair in zip(values[starts], counts, strict=True) for number in pair]


def _flat(points: Floats) -> list[float]:
    rounded: list[float] = np.round(np.asarray(points).reshape(-1), 4).tolist()
    return rounded
