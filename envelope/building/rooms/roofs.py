"""The ceiling of a room: which plane is over each part of its plan, and over each of its lines.

The plan is cut once along everything that matters (walls, hollows, dormers, and wherever a ceiling
bends or two of them cut each other) and each face is given the plane over it. Walls, steps and
ceilings are all read from these faces, so that they meet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Point, Polygon

from envelope.building.rooms.ceilings import (
    LEVEL_M,
    CeilingError,
    Piece,
    creases,
    height_at,
    planes_of,
)
from envelope.building.rooms.specs import DormerSpec, SpaceSpec
from envelope.errors import Fault, GeometryError, length_text
from envelope.geometry.arrangement import Subdivision, merged, subdivided
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, spot_inside


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """A part of a line over which no ceiling bends."""

    spots: Floats  # (2, 2) from and to
    inside: Floats  # (2,) heights of the ceiling on its left
    beyond: Floats | None  # (2,) and on its right, where the room goes on there
    raised: bool  # whether the ceiling on its left is a dormer's


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Raised:
    """A dormer, the ring of its outline, and where its planes are the ceiling."""

    spec: DormerSpec
    ring: int
    parts: tuple[Piece, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Roof:
    """The ceiling of a room, in its own coordinates and above its floor.

    Rings are the footprint, then each hollow, clockwise from its first corner, then each dormer.
    """

    parts: tuple[Piece, ...]  # of the planes that the space itself has
    raised: tuple[Raised, ...]
    rings: tuple[Floats, ...]
    stretches: tuple[tuple[Stretch, ...], ...]  # of each side of each ring, in order

    def along(self, ring: int, side: int) -> tuple[Stretch, ...]:
        """Stretches of a side of a ring that have the room on their left."""
        return self.stretches[sum(len(item) for item in self.rings[:ring]) + side]

    @property
    def every_part(self) -> list[Piece]:
        """Pieces of every ceiling of the room."""
        return [*self.parts, *(part for item in self.raised for part in item.parts)]


def _fault(table: str, name: str, key: str, message: str) -> GeometryError:
    return GeometryError([Fault(message=message, subject=(table, name, key))])


def _segments(ring: Floats) -> Floats:
    return np.stack((ring, np.roll(ring, -1, axis=0)), axis=1)


def _sheets(spec: SpaceSpec) -> list[Floats]:
    """Planes of the space's own ceiling and of each dormer's."""
    corners = np.asarray(spec.corners, dtype=np.float64)
    try:
        found = [planes_of(spec.ceiling, outline=corners, eaves_m=spec.height_m)]
    except CeilingError as error:
        raise _fault("space", spec.id, error.key, f"space {spec.id}: {error.marked}") from None
    for dormer in spec.dormers:
        outline = np.asarray(dormer.corners, dtype=np.float64)
        try:
            found.append(planes_of(dormer.ceiling, outline=outline, eaves_m=dormer.height_m))
        except CeilingError as error:
            message = f"dormer {dormer.id}: {error.marked}"
            raise _fault("dormer", dormer.id, error.key, message) from None
    return found


class _Cover:
    """Gives each face of the plan the plane over it."""

    def __init__(self, spec: SpaceSpec, rings: Sequence[Floats], sheets: Sequence[Floats]) -> None:
        self.sheets = sheets
        first_dormer = len(rings) - len(sheets) + 1
        self.plan = Polygon(rings[0], rings[1:first_dormer])
        self.outlines = [Polygon(ring) for ring in rings[first_dormer:]]
        lines = [creases(sheets[0], None, outline=rings[0])]
        for sheet, ring in zip(sheets[1:], rings[first_dormer:], strict=True):
            lines.append(creases(sheet, None, outline=ring))
            lines.append(creases(sheets[0], sheet, outline=ring))
        self.cut: Subdivision = subdivided(
            np.concatenate([_segments(ring) for ring in rings]), np.concatenate(lines)
        )
        self.over = [self._over(spot_inside(face)) for face in self.cut.faces]

    def _over(self, spot: Floats) -> tuple[int, int] | None:
        """Number of the ceiling and of its plane over a spot (2,), None outside the room."""
        point = Point(spot)
        if not self.plan.contains(point):
            return None
        ceiling = 0
        for number, outline in enumerate(self.outlines, start=1):
            if outline.contains(point):
                rise = self._height(number, spot) - self._height(0, spot)
                ceiling = number if rise > LEVEL_M else ceiling
        planes = self.sheets[ceiling]
        return ceiling, int(np.argmin(planes[:, :2] @ spot + planes[:, 2]))

    def _height(self, ceiling: int, spot: Floats) -> float:
        return float(height_at(self.sheets[ceiling], spot[np.newaxis])[0])

    def parts(self) -> list[tuple[Piece, ...]]:
        """Pieces of each ceiling, plane by plane."""
        members: dict[tuple[int, int], list[Area]] = defaultdict(list)
        for key, face in zip(self.over, self.cut.faces, strict=True):
            if key is not None:
                members[key].append(face)
        found: list[list[Piece]] = [[] for _ in self.sheets]
        for ceiling, number in sorted(members):
            plane = self.sheets[ceiling][number]
            areas = merged(members[ceiling, number])
            found[ceiling].extend(Piece(plane=plane, area=area) for area in areas)
        return [tuple(pieces) for pieces in found]

    def stretches(self, chain: Sequence[int]) -> tuple[Stretch, ...]:
        """Stretches of a chain of nodes, those left out that have no room on their left."""
        found: list[Stretch] = []
        for start, end in pairwise(chain):
            left, right = (
                None if face is None else self.over[face]
                for face in (self.cut.left.get((start, end)), self.cut.left.get((end, start)))
            )
            if left is None:
                continue
            spots = self.cut.nodes[[start, end]]
            found.append(
                Stretch(
                    spots=spots,
                    inside=self._heights(left, spots),
                    beyond=None if right is None else self._heights(right, spots),
                    raised=left[0] > 0,
                )
            )
        return tuple(found)

    def _heights(self, over: tuple[int, int], spots: Floats) -> Floats:
        return height_at(self.sheets[over[0]][over[1]][np.newaxis], spots)


def _plain(rings: Sequence[Floats], plane: Floats) -> Roof:
    """One plane over the whole room."""
    found = []
    for spots in np.concatenate([_segments(ring) for ring in rings]):
        heights = height_at(plane[np.newaxis], spots)
        found.append((Stretch(spots=spots, inside=heights, beyond=None, raised=False),))
    return Roof(
        parts=(Piece(plane=plane, area=Polygon(rings[0], rings[1:])),),
        raised=(),
        rings=tuple(rings),
        stretches=tuple(found),
    )


def _made(spec: SpaceSpec, rings: Sequence[Floats], sheets: Sequence[Floats]) -> Roof:
    """The lowest plane of each ceiling, and the dormers where they are the higher."""
    cover = _Cover(spec, rings, sheets)
    parts = cover.parts()
    raised: list[Raised] = []
    first_dormer = 1 + len(spec.hollows)
    for number, dormer in enumerate(spec.dormers):
        if not parts[number + 1]:
            message = f"dormer {dormer.id} is nowhere higher than the ceiling of {spec.id}"
            raise _fault("dormer", dormer.id, "height", message)
        raised.append(Raised(spec=dormer, ring=first_dormer + number, parts=parts[number + 1]))
    sides = sum(len(ring) for ring in rings)
    return Roof(
        parts=parts[0],
        raised=tuple(raised),
        rings=tuple(rings),
        stretches=tuple(cover.stretches(chain) for chain in cover.cut.chains[:sides]),
    )


def roof_of(spec: SpaceSpec) -> Roof:
    """Ceiling of a space whose outlines are sound; GeometryError where it cannot be."""
    rings = [np.asarray(spec.corners, dtype=np.float64)]
    rings += [np.roll(np.asarray(ring, dtype=np.float64)[::-1], 1, axis=0) for ring in spec.hollows]
    rings += [np.asarray(dormer.corners, dtype=np.float64) for dormer in spec.dormers]
    sheets = _sheets(spec)
    plain = len(sheets) == 1 and len(sheets[0]) == 1
    roof = _plain(rings, sheets[0][0]) if plain else _made(spec, rings, sheets)
    least = min(
        float(height_at(part.plane[np.newaxis], shapely.get_coordinates(part.area)).min())
        for part in roof.every_part
    )
    if least < -LEVEL_M:
        raise _fault(
            "space",
            spec.id,
            "ceiling",
            f"the ceiling of space {spec.id} comes down to {length_text(least)}, below its floor",
        )
    return roof
