"""Rooms from footprints: walls, floor and ceilings of closed spaces, before anything is cut.

walls      1, 2, … round the footprint, then round each hollow
floor      level
ceiling    one panel, or ceiling-1, ceiling-2, … where it has several planes
N1-1, …    walls where dormer N1 steps up inside the room, by the sides of its outline
N1-ceiling its own ceiling
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.polygon import orient

from envelope.building.ceilings import (
    COMPASS,
    CeilingError,
    Piece,
    falls_to,
    height_at,
    lowest_pieces,
    planes_of,
    raised_pieces,
)
from envelope.building.flat import HAIR_M, SLIVER_M2, WELD_M, Area, ring_of
from envelope.building.planar import Floats, area_vector
from envelope.building.records import Panel
from envelope.building.specs import DormerSpec, SpaceSpec
from envelope.errors import Fault, GeometryError

LEVEL_M = 1e-9  # heights closer than this are one
BESIDE_M = 1e-6  # how far off a line its side is looked at


def compass_aliases(corners: Floats) -> list[str | None]:
    """For each wall the compass word that it alone answers to, within 45°, or None."""
    step = np.roll(corners, -1, axis=0) - corners
    outward = np.column_stack((step[:, 1], -step[:, 0]))
    outward /= np.hypot(*outward.T)[:, np.newaxis]
    words: list[str | None] = [None] * len(corners)
    for word, direction in COMPASS:
        facing = np.flatnonzero(outward @ np.array(direction) > np.sqrt(0.5) + 1e-9)
        if len(facing) == 1:
            words[int(facing[0])] = word
    return words


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raised:
    """A dormer's outline, its planes, and where they are the ceiling."""

    spec: DormerSpec
    outline: Area
    planes: Floats
    parts: tuple[Piece, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Roof:
    """The ceiling of a room, in its own coordinates and above its floor."""

    plan: Area  # the footprint without its hollows
    planes: Floats
    parts: tuple[Piece, ...]  # of the planes that the space itself has
    raised: tuple[Raised, ...]

    def profile(self, start: Floats, end: Floats) -> Iterator[tuple[float, float, Floats, Floats]]:
        """Stretches of a line over which nothing bends: from and to (0 to 1), heights at each.

        Heights are those of the ceiling that the space itself has and of the higher one of it and
        the dormers, each (2,), on the left of the line, where a wall has its room.
        """
        step = end - start
        length = float(np.hypot(*step))
        line = LineString([start, end])
        stops = [0.0, 1.0]
        sheets = [self.planes, *(item.planes for item in self.raised)]
        planes = np.concatenate(sheets)
        heights = planes[:, :2] @ start + planes[:, 2]
        slopes = planes[:, :2] @ step
        for index in range(len(planes)):
            against = slopes - slopes[index]
            bend = np.abs(against) > LEVEL_M
            stops.extend(((heights[index] - heights[bend]) / against[bend]).tolist())
        for area in (self.plan, *(item.outline for item in self.raised)):
            met = shapely.get_coordinates(line.intersection(area.boundary))
            # Where the two run along each other by rounding alone, no crossing is found.
            corners = shapely.get_coordinates(area.boundary)
            off = (corners - start) @ np.array([-step[1], step[0]]) / length
            met = np.concatenate((met, corners[np.abs(off) < HAIR_M]))
            stops.extend(((met - start) @ step / length**2).tolist())
        share = HAIR_M / length
        left = BESIDE_M / length * np.array([-step[1], step[0]])
        kept = [0.0]
        for stop in sorted(stops):
            if kept[-1] + share < stop < 1.0 - share:
                kept.append(stop)
        for first, last in pairwise([*kept, 1.0]):
            spots = start + np.array([[first], [last]]) * step
            own = height_at(self.planes, spots)
            beside = Point(spots.mean(axis=0) + left)
            top = own
            for item in self.raised:
                if item.outline.contains(beside):
                    top = np.maximum(top, height_at(item.planes, spots))
            yield first, last, own, top


def roof_of(spec: SpaceSpec) -> Roof:
    """Ceiling of a space whose outlines are sound; GeometryError where it cannot be."""
    corners = np.asarray(spec.corners, dtype=np.float64)
    plan = Polygon(corners, [hollow[::-1] for hollow in spec.hollows])
    try:
        planes = planes_of(spec.ceiling, outline=corners, eaves_m=spec.height_m)
    except CeilingError as error:
        raise _fault("space", spec.id, error.key, f"space {spec.id}: {error}") from None
    base = [Piece(plane=planes[0], area=plan)] if len(planes) == 1 else lowest_pieces(planes, plan)
    raised: list[Raised] = []
    for dormer in spec.dormers:
        outline = np.asarray(dormer.corners, dtype=np.float64)
        try:
            over = planes_of(dormer.ceiling, outline=outline, eaves_m=dormer.height_m)
        except CeilingError as error:
            message = f"dormer {dormer.id}: {error}"
            raise _fault("dormer", dormer.id, error.key, message) from None
        area = Polygon(outline)
        tops = lowest_pieces(over, area)
        try:
            base, parts = raised_pieces(base, tops)
        except shapely.errors.GEOSException:
            message = (
                f"dormer {dormer.id} has an edge that all but lies on one of {spec.id}'s: "
                "move it by a millimetre"
            )
            raise _fault("dormer", dormer.id, "footprint", message) from None
        if not parts:
            message = f"dormer {dormer.id} is nowhere higher than the ceiling of {spec.id}"
            raise _fault("dormer", dormer.id, "height", message)
        raised.append(Raised(spec=dormer, outline=area, planes=over, parts=tuple(parts)))
    roof = Roof(plan=plan, planes=planes, parts=tuple(base), raised=tuple(raised))
    least = min(
        float(height_at(part.plane[np.newaxis], shapely.get_coordinates(part.area)).min())
        for part in all_parts(roof)
    )
    if least < -LEVEL_M:
        raise _fault(
            "space",
            spec.id,
            "ceiling",
            f"the ceiling of space {spec.id} comes down to {least:.4g} m, below its floor",
        )
    return roof


def all_parts(roof: Roof) -> list[Piece]:
    """Pieces of every ceiling of a room."""
    return [*roof.parts, *(part for item in roof.raised for part in item.parts)]


def _fault(table: str, name: str, key: str, message: str) -> GeometryError:
    return GeometryError([Fault(message=message, subject=(table, name, key))])


def _chain(points: Sequence[Floats]) -> Floats:
    """A line through points, without those that repeat the one before or lie between two."""
    kept: list[Floats] = []
    for point in points:
        if kept and np.abs(point - kept[-1]).max() < LEVEL_M:
            continue
        if len(kept) > 1:
            back, step = kept[-1] - kept[-2], point - kept[-2]
            off = np.linalg.norm(np.cross(back, step)) / np.linalg.norm(step)
            if off < LEVEL_M and back @ step > 0.0 and np.linalg.norm(back) < np.linalg.norm(step):
                kept.pop()
        kept.append(point)
    return np.array(kept)


class _Shell:
    """Makes the panels of one space."""

    def __init__(self, spec: SpaceSpec, roof: Roof) -> None:
        self.spec = spec
        self.roof = roof

    def placed(self, spots: Floats, heights: Floats | float) -> Floats:
        """Points of the building over spots (n, 2) of the space. [m]"""
        high = np.broadcast_to(np.asarray(heights) + self.spec.floor_m, len(spots))
        return np.column_stack((spots + self.spec.origin, high))

    def panel(self, name: str, kind: str, outline: Floats, **rest: object) -> Panel:
        return Panel(
            id=f"{self.spec.id}/{name}",
            space=self.spec.id,
            kind=kind,  # type: ignore[arg-type]
            outline=outline,
            **rest,  # type: ignore[arg-type]
        )

    def wall(self, number: int, start: Floats, end: Floats, **rest: object) -> list[Panel]:
        """A wall from the floor to the ceiling; none where the ceiling lies on the floor."""
        ends = np.stack((start, end))
        top: list[Floats] = []
        for first, last, _, heights in self.roof.profile(start, end):
            spots = start + np.array([[first], [last]]) * (end - start)
            if first == 0.0:
                spots[0] = start
            if last == 1.0:
                spots[1] = end
            top.extend(self.placed(spots, heights))
        foot = self.placed(ends, 0.0)
        outline = _chain([foot[0], *top, foot[1]])
        highest = max(point[2] for point in top) - self.spec.floor_m
        if highest < WELD_M:
            return []
        return [self.panel(str(number), "wall", outline, **rest)]

    def steps(self, item: Raised) -> list[Panel]:
        """Walls where a dormer steps up inside the room, which look into the dormer."""
        outline = np.asarray(item.spec.corners, dtype=np.float64)
        words = compass_aliases(outline)
        found: list[Panel] = []
        for side, start in enumerate(outline):
            end = outline[(side + 1) % len(outline)]
            runs: list[tuple[list[Floats], list[Floats]]] = []
            reached = -1.0
            for first, last, low, high in self.roof.profile(start, end):
                spots = start + np.array([[first], [last]]) * (end - start)
                middle = Point(spots.mean(axis=0))
                indoors = self.roof.plan.contains(middle)
                indoors &= self.roof.plan.boundary.distance(middle) > HAIR_M
                if not indoors or (high - low).max() < LEVEL_M:
                    continue
                if first != reached:
                    runs.append(([], []))
                reached = last
                runs[-1][0].extend(self.placed(spots, low))
                runs[-1][1].extend(self.placed(spots, high))
            for number, (low_line, high_line) in enumerate(runs):
                foot, top = _chain(low_line), _chain(high_line)
                ring = _chain([foot[0], *top, *foot[:0:-1]])
                rise = max(
                    float(high[2] - low[2]) for low, high in zip(low_line, high_line, strict=True)
                )
                if rise < WELD_M or np.linalg.norm(area_vector(ring)) <= SLIVER_M2:
                    raise _fault(
                        "dormer",
                        item.spec.id,
                        "height",
                        f"side {side + 1} of dormer {item.spec.id} stands out of the ceiling by "
                        f"{1000.0 * rise:.2g} mm only: raise it or make it shorter",
                    )
                name = f"{item.spec.id}-{side + 1}" + (f"-{number + 1}" if number else "")
                alias = () if words[side] is None or number else (self._alias(item, words[side]),)
                found.append(self.panel(name, "wall", ring, aliases=alias))
        return found

    def _alias(self, item: Raised, word: str | None) -> str:
        return f"{self.spec.id}/{item.spec.id}-{word}"

    def ceilings(self, parts: Sequence[Piece], name: str) -> list[Panel]:
        """Ceiling panels, numbered where there are several, with the sides that they fall to."""
        words = [falls_to(part.plane) for part in parts]
        times = Counter(words)
        found = []
        for index, (part, word) in enumerate(zip(parts, words, strict=True)):
            turned = orient(part.area, 1.0)
            rings = [ring_of(turned.exterior), *(ring_of(hole) for hole in turned.interiors)]
            lifted = [
                self.placed(ring, height_at(part.plane[np.newaxis], ring))[::-1] for ring in rings
            ]
            many = len(parts) > 1
            found.append(
                self.panel(
                    f"{name}-{index + 1}" if many else name,
                    "ceiling",
                    lifted[0],
                    holes=tuple(lifted[1:]),
                    aliases=(f"{self.spec.id}/{name}-{word}",)
                    if many and word is not None and times[word] == 1
                    else (),
                )
            )
        return found


def room_panels(spec: SpaceSpec) -> tuple[Panel, ...]:
    """Walls, floor and ceiling of a room, wound so that normals point inward, nothing cut yet.

    A wall's outline starts at the foot of its first corner, which is its right-hand end seen from
    inside, and ends at the foot of its second. Walls round a hollow go on counting, clockwise from
    the hollow's first corner.

    Raises
    ------
    GeometryError
        Where the ceiling cannot be; outlines must be sound (`footprint_faults`).
    """
    roof = roof_of(spec)
    shell = _Shell(spec, roof)
    corners = np.asarray(spec.corners, dtype=np.float64)
    panels: list[Panel] = []
    for index, word in enumerate(compass_aliases(corners + spec.origin)):
        end = corners[(index + 1) % len(corners)]
        aliases = () if word is None else (f"{spec.id}/{word}",)
        panels.extend(shell.wall(index + 1, corners[index], end, aliases=aliases))
    number = len(corners)
    holes = []
    for hollow in spec.hollows:
        ring = np.roll(np.asarray(hollow, dtype=np.float64)[::-1], 1, axis=0)
        for index, start in enumerate(ring):
            number += 1
            end = ring[(index + 1) % len(ring)]
            panels.extend(shell.wall(number, start, end, inner=True))
        holes.append(shell.placed(ring, 0.0))
    foot = shell.placed(corners, 0.0)
    panels.append(shell.panel("floor", "floor", foot, holes=tuple(holes)))
    panels.extend(shell.ceilings(roof.parts, "ceiling"))
    for item in roof.raised:
        panels.extend(shell.steps(item))
        panels.extend(shell.ceilings(item.parts, f"{item.spec.id}-ceiling"))
    return tuple(panels)


def slope_under(panels: Sequence[Panel], name: str, spot: Floats) -> Panel | None:
    """The ceiling panel over a spot (2,) of the building, where several are called by one name."""
    point = Point(spot)
    for panel in panels:
        prefix, _, last = panel.id.rpartition("-")
        if panel.kind == "ceiling" and prefix == name and last.isdigit():
            rings = (panel.outline[:, :2], *(hole[:, :2] for hole in panel.holes))
            if Polygon(rings[0], rings[1:]).covers(point):
                return panel
    return None
