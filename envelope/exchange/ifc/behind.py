"""What stands behind a spot of a room: the elements that a straight line passes through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from envelope.exchange.ifc.bodies import Body
from envelope.geometry.plane import Floats, Frame
from envelope.geometry.polygons import Area, pieces

# Spaces can run past the real finishes, and finishes can stand off them.
INSIDE_M = 0.15
BEHIND_M = 0.35
GAP_M = 0.6  # a free gap longer than this is the outdoors or a room that is not modelled
GAP_UP_M = 1.2  # the same above a ceiling: roofs stand farther off than the leaves of a wall
HUNG_M = 1.2  # how far below the top of a room its ceiling may hang...
HUNG_SHARE = 0.45  # ...and in its upper part alone: what lies lower is a gallery
LIDS = ("IfcCovering", "IfcSlab", "IfcRoof")
MAIN_SHARE = 0.6  # of an element's surface that looks along the way through it
PARALLEL = 0.99
UPWARD = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """One element passed, from where to where along the line. [m]"""

    element: int  # index in the shell
    start_m: float
    end_m: float


class Shell:
    """Every enclosing element, for lines and for footprints."""

    def __init__(self, bodies: Sequence[Body]) -> None:
        self.bodies = tuple(bodies)
        self.index = {body.id: index for index, body in enumerate(self.bodies)}
        self.low = np.array([body.low for body in self.bodies]).reshape(-1, 3)
        self.high = np.array([body.high for body in self.bodies]).reshape(-1, 3)
        self._through: dict[int, Floats | None] = {}
        self.normals = []
        for body in self.bodies:
            crossed = np.cross(
                body.triangles[:, 1] - body.triangles[:, 0],
                body.triangles[:, 2] - body.triangles[:, 0],
            )
            lengths = np.linalg.norm(crossed, axis=1, keepdims=True)
            self.normals.append(crossed / np.where(lengths > 0.0, lengths, 1.0))

    def passages(self, start: Floats, direction: Floats, *, reach_m: float = 8.0) -> list[Passage]:
        """Elements that a line passes through, each once, paired by parity and not by winding."""
        if not self.bodies:
            return []
        with np.errstate(divide="ignore", invalid="ignore"):
            one = (self.low - 1e-6 - start) / direction
            two = (self.high + 1e-6 - start) / direction
        enter = np.nan_to_num(np.minimum(one, two), nan=-np.inf).max(axis=1)
        leave = np.nan_to_num(np.maximum(one, two), nan=np.inf).min(axis=1)
        found: list[Passage] = []
        for index in np.flatnonzero((leave >= enter) & (leave > 0.0) & (enter < reach_m)).tolist():
            hits = _hits(self.bodies[index].triangles, start, direction)
            # An odd count means that the body is open or that the line begins inside it; the
            # part that can be paired from the far end is kept.
            if len(hits) % 2:
                hits = [0.0, *hits] if len(hits) == 1 or hits[0] < 2 * INSIDE_M else hits[1:]
            found.extend(
                Passage(element=index, start_m=a, end_m=b)
                for a, b in zip(hits[::2], hits[1::2], strict=True)
                if b > a
            )
        found.sort(key=lambda item: (item.start_m, item.end_m))
        return found

    def way_through(self, index: int) -> Floats | None:
        """Direction (3,) along which most of an element's surface looks; None where none does.

        Of a wall or slab it is the way through it, whichever way its axes run.
        """
        if index not in self._through:
            triangles = self.bodies[index].triangles
            crossed = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
            areas = np.linalg.norm(crossed, axis=1)
            tensor = np.einsum("i,ij,ik->jk", areas, self.normals[index], self.normals[index])
            values, vectors = np.linalg.eigh(tensor)
            sure = values[-1] > MAIN_SHARE * values.sum()
            self._through[index] = vectors[:, -1] if sure else None
        return self._through[index]

    def footprint(
        self, index: int, frame: Frame, *, reach_m: float, inside_m: float = INSIDE_M
    ) -> tuple[Area, float] | None:
        """What an element covers of a plane, and how far behind it, seen square on."""
        triangles = self.bodies[index].triangles
        square = np.abs(self.normals[index] @ frame.normal) > PARALLEL
        if not square.any():
            return None
        chosen = triangles[square]
        depth = -((chosen.mean(axis=1) - frame.origin) @ frame.normal)
        near = (depth > -inside_m) & (depth < reach_m)
        if not near.any():
            return None
        flat = np.stack([frame.flatten(corner) for corner in np.moveaxis(chosen[near], 1, 0)], 1)
        shapes = shapely.polygons(flat)
        area = shapely.union_all(shapely.buffer(shapes[shapely.area(shapes) > 1e-9], 0.0))
        return area, float(depth[near].min())


def _hits(triangles: Floats, start: Floats, direction: Floats) -> list[float]:
    """Distances (sorted, edges counted once) at which a line meets triangles."""
    a = triangles[:, 0]
    e1, e2 = triangles[:, 1] - a, triangles[:, 2] - a
    p = np.cross(direction, e2)
    det = np.einsum("ij,ij->i", e1, p)
    facing = np.abs(det) > 1e-12
    inverse = 1.0 / np.where(facing, det, 1.0)
    offset = start - a
    u = np.einsum("ij,ij->i", offset, p) * inverse
    q = np.cross(offset, e1)
    v = (q @ direction) * inverse
    t = np.einsum("ij,ij->i", e2, q) * inverse
    met = facing & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1.0 + 1e-9) & (t > 1e-9)
    found: list[float] = []
    for distance in np.sort(t[met]).tolist():
        if not found or distance - found[-1] > 1e-6:
            found.append(distance)
    return found


def spots_in(area: Area, *, count: int = 3) -> Floats:
    """Points (n, 2) well inside an area: the middles of its largest triangles."""
    shapes: list[Any] = []
    for piece in pieces(area):
        shapes.extend(shapely.get_parts(shapely.constrained_delaunay_triangles(piece)))
    shapes.sort(key=lambda shape: -shape.area)
    # A point a little off the middle meets no diagonal of another triangulation.
    found = []
    for shape in shapes[:count]:
        corners = np.array(shape.exterior.coords)[:3]
        found.append(np.array([0.31, 0.36, 0.33]) @ corners)
    return np.array(found).reshape(-1, 2)


def behind(
    shell: Shell,
    frame: Frame,
    spot: Floats,
    *,
    distance_m: float | None,
    inside_m: float = INSIDE_M,
    beyond_m: float = INSIDE_M,
) -> tuple[Passage, ...]:
    """Elements behind a spot of a panel, nearest first, measured from the panel.

    Parameters
    ----------
    shell : Shell
    frame : Frame
        Of the panel; its normal points into the room.
    spot : (2,) float
        In the frame. [m]
    distance_m : float or None
        Where the room on the other side begins; None for none.
    inside_m, beyond_m : float
        How far inside the room, and inside the one on the other side, ceilings hang. [m]
    """
    outward = -frame.normal
    gap_m = GAP_UP_M if outward[2] > UPWARD else GAP_M
    begin = frame.lift(spot[np.newaxis])[0] + inside_m * frame.normal
    met = shell.passages(begin, outward)
    found: list[Passage] = []
    last = 0.0
    for item in met:
        start, end = item.start_m - inside_m, item.end_m - inside_m
        hangs = shell.bodies[item.element].type in LIDS
        if start < -INSIDE_M and not hangs:
            if end <= -INSIDE_M:
                continue  # stands in the room
            start = -INSIDE_M
        if distance_m is not None:
            if 0.5 * (start + end) > distance_m + (beyond_m if hangs else INSIDE_M):
                break
        elif start - last > gap_m:
            break
        last = max(last, end)
        found.append(Passage(element=item.element, start_m=start, end_m=end))
    return tuple(found)


def past_the_gap(
    shell: Shell, frame: Frame, spot: Floats, passed: Sequence[Passage]
) -> Passage | None:
    """The element that the line of `behind` meets after the free gap at which it ended.

    Parameters
    ----------
    shell : Shell
    frame : Frame
        Of the panel; its normal points into the room.
    spot : (2,) float
        In the frame. [m]
    passed : sequence of Passage
        What stands before the gap.
    """
    last = max((item.end_m for item in passed), default=0.0)
    begin = frame.lift(spot[np.newaxis])[0] - (last + 0.01) * frame.normal
    before = {item.element for item in passed}
    return next(
        (
            Passage(element=item.element, start_m=item.start_m + last, end_m=item.end_m + last)
            for item in shell.passages(begin, -frame.normal)
            if item.element not in before
        ),
        None,
    )
