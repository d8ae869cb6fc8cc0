"""Rooms from footprints: walls, floor and ceilings of closed spaces, before anything is cut.

walls      1, 2, … round the footprint, then round each hollow; 1-1, 1-2, … where a ceiling that
           comes down to the floor leaves a wall in parts
floor      level
ceiling    one panel, or ceiling-1, ceiling-2, … where it has several planes
N1-1, …    walls where dormer N1 steps up inside the room, by the sides of its outline
N1-ceiling its own ceiling
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
from shapely.geometry import Point, Polygon
from shapely.geometry.polygon import orient

from envelope.building.model import Panel
from envelope.building.rooms.ceilings import COMPASS, LEVEL_M, Piece, falls_to, height_at
from envelope.building.rooms.roofs import Raised, Roof, Stretch, roof_of
from envelope.building.rooms.specs import SpaceSpec
from envelope.errors import Fault, GeometryError, length_text
from envelope.geometry.plane import Floats, area_vector, cross
from envelope.geometry.polygons import SLIVER_M2, WELD_M, ring_of


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


def _named(*words: str | None) -> tuple[str, ...]:
    return tuple(word for word in words if word is not None)


def _is_between(point: Floats, before: Floats, after: Floats) -> bool:
    """Whether a corner lies on the straight line from the one before it to the one after."""
    back, step = point - before, after - before
    reach = float(np.linalg.norm(step))
    return (
        reach > 0.0
        and float(np.linalg.norm(cross(back, step))) < LEVEL_M * reach
        and 0.0 < float(back @ step) < reach**2
    )


def _chain(points: Iterable[Floats]) -> Floats:
    """A line through points, without those that repeat the one before or lie between two."""
    kept: list[Floats] = []
    for point in points:
        if kept and np.abs(point - kept[-1]).max() < LEVEL_M:
            continue
        if len(kept) > 1 and _is_between(kept[-1], kept[-2], point):
            kept.pop()
        kept.append(point)
    return np.array(kept)


def _bare(rings: Sequence[Floats]) -> list[Floats]:
    """Closed rings of one panel without the corners that lie between two others.

    Where two rings touch, as round a chimney with its corner at a ridge, both keep the corner.
    """
    times = Counter(tuple(point) for ring in rings for point in ring.tolist())
    found = []
    for ring in rings:
        sides = zip(np.roll(ring, 1, axis=0), ring, np.roll(ring, -1, axis=0), strict=True)
        kept = [
            times[tuple(spot.tolist())] > 1 or not _is_between(spot, before, after)
            for before, spot, after in sides
        ]
        found.append(ring[kept])
    return found


def _runs(stretches: Iterable[Stretch], *, from_floor: bool) -> list[list[Stretch]]:
    """Stretches over which one wall stands: on the floor, or on the ceiling beside a dormer.

    A wall that has no height at some spot is two walls, which meet in a point there.
    """
    runs: list[list[Stretch]] = []
    reached, ended = None, 0.0
    for part in stretches:
        foot = np.zeros(2) if from_floor else part.beyond
        if foot is None or not (from_floor or part.raised):
            continue
        rise = part.inside - foot
        if rise.max() < LEVEL_M:
            continue
        goes_on = reached is not None and np.array_equal(reached, part.spots[0])
        if not goes_on or min(ended, rise[0]) < LEVEL_M:
            runs.append([])
        runs[-1].append(part)
        reached, ended = part.spots[1], float(rise[1])
    return runs


class _Shell:
    """Makes the panels of one space."""

    def __init__(self, spec: SpaceSpec, roof: Roof) -> None:
        self.spec = spec
        self.roof = roof

    def placed(self, spots: Floats, heights: Floats | float) -> Floats:
        """Points of the building over spots (n, 2) of the space. [m]"""
        high = np.broadcast_to(np.asarray(heights) + self.spec.floor_m, len(spots))
        return np.column_stack((spots + self.spec.origin, high))

    def panel(
        self,
        name: str,
        kind: str,
        outline: Floats,
        aliases: Sequence[str] = (),
        **rest: object,
    ) -> Panel:
        return Panel(
            id=f"{self.spec.id}/{name}",
            space=self.spec.id,
            kind=kind,  # type: ignore[arg-type]
            outline=outline,
            aliases=tuple(f"{self.spec.id}/{alias}" for alias in aliases),
            **rest,  # type: ignore[arg-type]
        )

    def walls(
        self, number: int, stretches: Iterable[Stretch], word: str | None = None, **rest: object
    ) -> list[Panel]:
        """A wall from the floor to the ceiling; none where the ceiling lies on the floor."""
        outlines: list[Floats] = []
        for run in _runs(stretches, from_floor=True):
            foot = self.placed(np.stack((run[0].spots[0], run[-1].spots[1])), 0.0)
            top = np.concatenate([self.placed(part.spots, part.inside) for part in run])
            if top[:, 2].max() - self.spec.floor_m >= WELD_M:
                outlines.append(_chain([foot[0], *top, foot[1]]))
        if len(outlines) == 1:
            return [self.panel(str(number), "wall", outlines[0], _named(word), **rest)]
        return [
            self.panel(f"{number}-{part}", "wall", outline, _named(str(number), word), **rest)
            for part, outline in enumerate(outlines, start=1)
        ]

    def steps(self, item: Raised) -> list[Panel]:
        """Walls where a dormer steps up inside the room, which look into the dormer."""
        name = item.spec.id
        words = compass_aliases(self.roof.rings[item.ring])
        found: list[Panel] = []
        for side, word in enumerate(words):
            runs = _runs(self.roof.along(item.ring, side), from_floor=False)
            for number, run in enumerate(runs):
                low_line: list[Floats] = []
                high_line: list[Floats] = []
                rise = 0.0
                for part in run:
                    assert part.beyond is not None  # as `_runs` picks them
                    low_line.extend(self.placed(part.spots, part.beyond))
                    high_line.extend(self.placed(part.spots, part.inside))
                    rise = max(rise, float((part.inside - part.beyond).max()))
                foot, top = _chain(low_line), _chain(high_line)
                outline = _chain([foot[0], *top, *foot[:0:-1]])
                if rise < WELD_M or np.linalg.norm(area_vector(outline)) <= SLIVER_M2:
                    message = (
                        f"side {side + 1} of dormer {name} stands out of the ceiling by "
                        f"{length_text(rise, f'{1000.0 * rise:.2g} mm')} only: raise it or make it "
                        "shorter"
                    )
                    raise GeometryError(
                        [Fault(message=message, subject=("dormer", name, "height"))]
                    )
                which = f"{name}-{side + 1}" + (f"-{number + 1}" if number else "")
                alias = () if word is None or number else (f"{name}-{word}",)
                found.append(self.panel(which, "wall", outline, alias))
        return found

    def ceilings(self, parts: Sequence[Piece], name: str) -> list[Panel]:
        """Ceiling panels, numbered where there are several, with the sides that they fall to."""
        words = [falls_to(part.plane) for part in parts]
        times = Counter(words)
        many = len(parts) > 1
        found = []
        for index, (part, word) in enumerate(zip(parts, words, strict=True)):
            turned = orient(part.area, 1.0)
            rings = [ring_of(turned.exterior), *(ring_of(hole) for hole in turned.interiors)]
            lifted = [
                self.placed(ring, height_at(part.plane[np.newaxis], ring))[::-1] for ring in rings
            ]
            lifted = _bare(lifted)
            alone = many and times[word] == 1
            found.append(
                self.panel(
                    f"{name}-{index + 1}" if many else name,
                    "ceiling",
                    lifted[0],
                    (f"{name}-{word}",) if alone and word is not None else (),
                    holes=tuple(lifted[1:]),
                )
            )
        return found


def room_panels(spec: SpaceSpec, roof: Roof | None = None) -> tuple[Panel, ...]:
    """Walls, floor and ceiling of a room, wound so that normals point inward, nothing cut yet.

    A wall's outline starts at the foot of its first corner, which is its right-hand end seen from
    inside, and ends at the foot of its second. Walls round a hollow go on counting, clockwise from
    the hollow's first corner. Whoever has the room's `roof_of` already may pass it on.

    Raises
    ------
    GeometryError
        Where the ceiling cannot be; outlines must be sound (`footprint_faults`).
    """
    roof = roof_of(spec) if roof is None else roof
    shell = _Shell(spec, roof)
    corners = roof.rings[0]
    panels: list[Panel] = []
    for side, word in enumerate(compass_aliases(corners + spec.origin)):
        panels.extend(shell.walls(side + 1, roof.along(0, side), word))
    number = len(corners)
    holes = []
    for ring in range(1, 1 + len(spec.hollows)):
        for side in range(len(roof.rings[ring])):
            number += 1
            panels.extend(shell.walls(number, roof.along(ring, side), inner=True))
        holes.append(shell.placed(roof.rings[ring], 0.0))
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
