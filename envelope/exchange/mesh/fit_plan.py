"""Rooms of an open mesh in plan: what its walls enclose and its floor or ceiling covers.

    walls as long lines ─> cells ─> those under a ceiling or over a floor
                                 └> joined where no wall stands between them at either height

The mesh is cut at two heights; where neither cut has a wall along the line between two cells, they
are one room. A gap as wide as a door between two pieces of a wall counts as part of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy import ndimage

from envelope.exchange.mesh.scan import LEVEL, Scan, Wall
from envelope.exchange.mesh.soup import Ints, components
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area

CUTS_M = (1.0, 1.8)  # over the floor: at the sill of windows, and above doors' handles
LOW_M = 1.8  # headroom: what lies lower over a floor is no ceiling
NEAR_M = 0.25  # of a level, for what belongs to it
ON_IT_M = 0.08  # how far a cut may lie off the wall that it is of
DOOR_M = 1.3  # gaps up to this are doors and windows in one wall
LONG_LINES = 40  # fewer walls are drawn right through the plan
REACH_M = 1.5  # by which more are drawn beyond what was seen of them
ROOM_M2, ROOM_M = 0.8, 0.5  # what is smaller or narrower is a cavity or a column
COVERED = 0.5  # share of a cell, and of the line between two


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanRoom:
    """A room in plan with its heights."""

    area: Area
    floor_m: float
    ceiling_m: float
    no_ceiling: bool  # the mesh has none there: the walls' tops stand for it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Heights of a storey, and those of further levels above it."""

    floor_m: float
    ceiling_m: float
    no_ceiling: bool
    above_m: float | None


def levels_of(scan: Scan) -> Levels | None:
    """The lowest floor, and the ceiling over it; None where nothing is level."""
    flat = np.abs(scan.normals[:, 2]) > LEVEL
    heights = scan.spots[flat, 2]
    if not len(heights):
        return None
    step = 0.05
    low = float(heights.min())
    counts = np.bincount(((heights - low) / step).astype(np.int64)).astype(np.float64)
    counts = np.convolve(counts, np.ones(3), "same") / scan.per_m2  # square metres
    peaks = [
        index
        for index in range(len(counts))
        if counts[index] == counts[max(index - 3, 0) : index + 4].max() and counts[index] > 0.5
    ]
    if not peaks:
        return None
    wide = max(counts[index] for index in peaks)

    def height(index: int) -> float:
        middle = low + (index + 0.5) * step
        return float(np.median(heights[np.abs(heights - middle) < 2.0 * step]))

    floor = next(index for index in peaks if counts[index] >= 0.25 * wide)
    over = [index for index in peaks if (index - floor) * step >= LOW_M]
    lids = [index for index in over if counts[index] >= 0.3 * counts[floor]]
    floor_m = height(floor)
    if not lids:
        upright = np.abs(scan.normals[:, 2]) < 0.3
        if not upright.any():
            return None
        top = float(np.percentile(scan.spots[upright, 2], 99.5))
        return Levels(floor_m=floor_m, ceiling_m=top, no_ceiling=True, above_m=None)
    ceiling_m = height(lids[0])
    more = [height(index) for index in lids if height(index) > ceiling_m + LOW_M]
    return Levels(
        floor_m=floor_m,
        ceiling_m=ceiling_m,
        no_ceiling=False,
        above_m=more[0] if more else None,
    )


def plan_rooms(scan: Scan, walls: Sequence[Wall], levels: Levels) -> list[PlanRoom]:
    """Rooms that walls close on the plan of one storey.

    Parameters
    ----------
    scan, walls, levels
        Of one open mesh.

    Returns
    -------
    rooms : list of PlanRoom
        The largest first.
    """
    lines = _lines(scan, walls)
    if len(lines) < 3:
        return []
    noded = shapely.union_all(lines, grid_size=1e-6)
    cells = [cell for cell in shapely.get_parts(shapely.polygonize([noded])) if cell.area > 1e-4]
    covered = _Covered(scan, levels)
    kept = [cell for cell in cells if covered.share(cell) > COVERED]
    if not kept:
        return []
    cuts = [scan.lines_at(levels.floor_m + cut) for cut in CUTS_M]
    stands = [_stretches(wall, cuts) for wall in walls]
    one, two = _links(kept, walls, stands)
    group = components(one, two, len(kept))
    found = []
    for index in range(int(group.max()) + 1):
        merged = shapely.union_all(
            [kept[k] for k in np.flatnonzero(group == index).tolist()], grid_size=1e-6
        )
        # cells that only touch at a corner are two rooms
        for area in shapely.get_parts(merged):
            outline = shapely.simplify(area, 1e-3)
            inner = shapely.maximum_inscribed_circle(outline, 0.02).length
            if outline.area > ROOM_M2 and 2.0 * inner > ROOM_M:
                found.append(_with_heights(scan, outline, levels))
    return sorted(found, key=lambda room: -room.area.area)


def _lines(scan: Scan, walls: Sequence[Wall]) -> list[shapely.LineString]:
    reach = REACH_M if len(walls) > LONG_LINES else float(np.ptp(scan.spots[:, :2], axis=0).sum())
    found = []
    for wall in walls:
        low, high = wall.reach_m()
        foot = wall.offset_m * wall.normal
        ends = [foot + (low - reach) * wall.along, foot + (high + reach) * wall.along]
        found.append(shapely.LineString(ends))
    return found


class _Covered:
    """Which places in plan lie under a ceiling or over a floor, on a grid."""

    def __init__(self, scan: Scan, levels: Levels) -> None:
        flat = np.abs(scan.normals[:, 2]) > LEVEL
        at = scan.spots[:, 2]
        near = np.abs(at - levels.floor_m) < NEAR_M
        near |= (at > levels.floor_m + LOW_M) & (at < levels.ceiling_m + NEAR_M)
        spots = scan.spots[flat & near, :2]
        self.step = 2.0 / np.sqrt(scan.per_m2)
        self.low = spots.min(axis=0) - 3.0 * self.step
        count = ((spots.max(axis=0) - self.low) / self.step).astype(np.int64) + 4
        grid = np.zeros(tuple(count.tolist()), dtype=bool)
        places = ((spots - self.low) / self.step).astype(np.int64)
        grid[places[:, 0], places[:, 1]] = True
        self.grid = ndimage.binary_closing(grid, iterations=2)
        x, y = np.meshgrid(*(np.arange(n) + 0.5 for n in count.tolist()), indexing="ij")
        self.x, self.y = self.low[0] + self.step * x, self.low[1] + self.step * y

    def share(self, cell: Area) -> float:
        """Share of a cell that is covered."""
        west, south, east, north = cell.bounds
        a, b = np.floor((np.array([west, south]) - self.low) / self.step).astype(int)
        c, d = np.ceil((np.array([east, north]) - self.low) / self.step).astype(int) + 1
        part = (slice(max(a, 0), max(c, 0)), slice(max(b, 0), max(d, 0)))
        x, y, grid = self.x[part], self.y[part], self.grid[part]
        inside = shapely.contains_xy(cell, x.ravel(), y.ravel())
        # what of the cell lies beyond the grid is not covered
        whole = max(float(np.count_nonzero(inside)), cell.area / self.step**2 * 0.8, 1.0)
        return float(np.count_nonzero(grid.ravel()[inside]) / whole)


def _stretches(wall: Wall, cuts: Sequence[Floats]) -> list[tuple[float, float]]:
    """Between which places along a wall it stands in any of the cuts, doors included."""
    found: list[tuple[float, float]] = []
    for lines in cuts:
        off = np.abs(lines @ wall.normal - wall.offset_m).max(axis=1)
        step = lines[:, 1] - lines[:, 0]
        length = np.linalg.norm(step, axis=1)
        straight = np.abs(step @ wall.normal) < 0.4 * length
        along = np.sort(lines[(off < ON_IT_M) & straight] @ wall.along, axis=1)
        found += [(float(low), float(high)) for low, high in along]
    joined: list[tuple[float, float]] = []
    for low, high in sorted(found):
        if joined and low - joined[-1][1] < DOOR_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined


def _links(
    cells: Sequence[Area], walls: Sequence[Wall], stands: Sequence[Sequence[tuple[float, float]]]
) -> tuple[Ints, Ints]:
    """Pairs of cells between which no wall stands, two lists."""
    tree = shapely.STRtree(cells)
    one, two = tree.query(cells, predicate="touches")
    links = []
    for a, b in zip(one.tolist(), two.tolist(), strict=True):
        if a >= b:
            continue
        shared = shapely.intersection(cells[a].boundary, cells[b].boundary)
        if shared.length < 0.02:
            continue
        ends = shapely.get_coordinates(shared)
        best = min(range(len(walls)), key=lambda k: float(np.abs(walls[k].off_m(ends)).max()))
        places = ends @ walls[best].along
        low, high = float(places.min()), float(places.max())
        stood = sum(max(0.0, min(high, t) - max(low, s)) for s, t in stands[best])
        if stood < COVERED * (high - low):
            links.append((a, b))
    found = np.array(links, dtype=np.int64).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def _with_heights(scan: Scan, area: Area, levels: Levels) -> PlanRoom:
    """A room with the heights of its own floor and ceiling."""
    flat = np.abs(scan.normals[:, 2]) > LEVEL
    inside = flat & shapely.contains_xy(area.buffer(-0.1), scan.spots[:, 0], scan.spots[:, 1])
    heights = scan.spots[inside, 2]

    def level(low: float, high: float) -> float | None:
        within = np.sort(heights[(heights > low) & (heights < high)])
        if len(within) < 0.25 * area.area * scan.per_m2:
            return None
        return float(np.median(within))

    floor_m = level(levels.floor_m - NEAR_M, levels.floor_m + NEAR_M)
    ceiling_m = level(levels.floor_m + LOW_M, levels.ceiling_m + NEAR_M)
    return PlanRoom(
        area=area,
        floor_m=levels.floor_m if floor_m is None else floor_m,
        ceiling_m=levels.ceiling_m if ceiling_m is None else ceiling_m,
        no_ceiling=ceiling_m is None,
    )
