"""Closed rooms fitted to an open mesh: prisms on what its walls enclose, and how far off it lies.

Nothing is closed by it in silence. Where the mesh has no surface on a face of a prism, that part of
the face is left *open*, since a window may be there, or nothing; where something stands in front of
it, as a cupboard does before a wall, the face counts as going on behind it, and a note says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from envelope import text as figures
from envelope.building.model import Panel
from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh.fit_plan import CUTS_M, PlanRoom, levels_of, plan_rooms
from envelope.exchange.mesh.scan import Scan, scan_of, walls_of
from envelope.exchange.mesh.soup import Label, Soup, soup_of
from envelope.exchange.records import Fit, Note, Offset
from envelope.geometry.plane import Floats, Frame, frame_of
from envelope.geometry.polygons import Area, polygon_of

Bools = NDArray[np.bool_]

ON_IT_M = 0.08  # how far the mesh may stand off a face whose surface it is
ALONG_COS = float(np.cos(np.radians(40.0)))  # and how it may be turned to it
HIDES_M = 1.2  # how far in front of a face things hide it
LEAST_OPEN_M2 = 0.15
NARROW_M = 0.15  # what is narrower is a crack of the scan
EDGE_M = 0.10  # a hole that comes so near to a face's edge reaches it
OFF_M = 0.05  # a face's surface that stands off by more is counted apart


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Closed prisms in place of an open mesh."""

    soup: Soup
    scan: Scan
    lines_m: Floats  # (k, 2, 2) cuts of the mesh, in plan
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Face:
    """One face of a prism, seen from inside, and what of it the mesh lacks."""

    frame: Frame
    shape: Area  # in the frame's plane
    open: Area
    hidden: Area


def _refused(source: str, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=source))])


def fitted(soup: Soup, *, source: str, feet: bool = False) -> Fitted:
    """Fit prisms to the rooms of an open mesh.

    Parameters
    ----------
    soup : Soup
        In metres, z up.
    source : str
        Name of the file, for errors.
    feet : bool, optional
        What is told is told in feet and inches.

    Raises
    ------
    ModelFileError
        Where no room can be made out.
    """
    scan = scan_of(soup)
    levels = levels_of(scan)
    if levels is None:
        raise _refused(source, "has no level surface to take for a floor: is its up axis right?")
    walls = walls_of(scan, floor_m=levels.floor_m, ceiling_m=levels.ceiling_m)
    rooms = plan_rooms(scan, walls, levels)
    if not rooms:
        height = figures.length(levels.ceiling_m - levels.floor_m, feet=feet)
        raise _refused(
            source,
            f"no room could be fitted: it has {len(walls)} flat walls that reach from the floor "
            f"to the ceiling ({height} apart), and they enclose nothing; scan the room's corners "
            "and ceiling too, or measure it and describe it by its dimensions",
        )
    notes = []
    if levels.above_m is not None:
        above = figures.length(levels.above_m - levels.floor_m, feet=feet)
        message = (
            f"there is another level {above} over the floor: the lowest storey alone is fitted; "
            "cut the model there and import the upper part by itself"
        )
        notes.append(Note(kind="left-out", subject="", message=message))
    spots: list[Floats] = []
    faces: list[list[int]] = []
    label: list[int] = []
    labels: list[Label] = []
    for number, room in enumerate(rooms, 1):
        name = f"room-{number}"
        notes += _told(room, name, feet)
        hidden = 0.0
        for face in _faces(scan, room):
            hidden += face.hidden.area
            solid = face.shape.difference(face.open)
            for area, extras in ((solid, {}), (face.open, {"open": True})):
                for ring in _rings(area):
                    first = sum(map(len, spots))
                    spots.append(face.frame.lift(ring))
                    faces.append(list(range(first, first + len(ring))))
                    label.append(len(labels))
                labels.append(Label(object=name, group="open" if extras else "", extras=extras))
        if hidden > LEAST_OPEN_M2:
            area = figures.area(hidden, feet=feet)
            message = (
                f"{area} of its faces are hidden by what stands in front of them: the faces count "
                "as going on behind it"
            )
            notes.append(Note(kind="guessed", subject=name, message=message))
    return Fitted(
        soup=soup_of(points=np.concatenate(spots), faces=faces, label=label, labels=labels),
        scan=scan,
        lines_m=np.concatenate([scan.lines_at(levels.floor_m + cut) for cut in CUTS_M]),
        notes=tuple(notes),
    )


def _told(room: PlanRoom, name: str, feet: bool) -> Iterator[Note]:
    x, y = room.area.representative_point().coords[0]
    place = (float(x), float(y), 0.5 * (room.floor_m + room.ceiling_m))
    height = figures.length(room.ceiling_m - room.floor_m, feet=feet)
    yield Note(
        kind="guessed",
        subject=name,
        message=f"fitted as a prism {height} high, its walls upright, its floor and ceiling level",
        position_m=place,
    )
    if room.no_ceiling:
        message = f"no ceiling in the model: the tops of its walls stand for it, {height} up"
        yield Note(kind="guessed", subject=name, message=message, position_m=place)


def _faces(scan: Scan, room: PlanRoom) -> list[_Face]:
    """Floor, ceiling and walls of a prism, each with what the mesh lacks of it."""
    area = shapely.geometry.polygon.orient(room.area, 1.0)
    shapely.prepare(around := area.buffer(ON_IT_M))
    near = shapely.contains_xy(around, scan.spots[:, 0], scan.spots[:, 1])
    near &= scan.spots[:, 2] > room.floor_m - ON_IT_M
    near &= scan.spots[:, 2] < room.ceiling_m + ON_IT_M
    spots, normals = scan.spots[near], scan.normals[near]
    placed = list(_placed(area, room))
    on = [_on(spots, normals, frame) for frame, _ in placed]
    # what lies on another face, such as the wall across a narrow room, hides nothing
    free = ~np.any(on, axis=0)
    step = 2.0 / np.sqrt(scan.per_m2)
    return [
        _held(frame, shape, spots[its], spots[free], step)
        for (frame, shape), its in zip(placed, on, strict=True)
    ]


def _on(spots: Floats, normals: Floats, frame: Frame) -> Bools:
    """Which points (n, 3) of a mesh are of the surface in a plane."""
    off = (spots - frame.origin) @ frame.normal
    return np.asarray((np.abs(off) < ON_IT_M) & (np.abs(normals @ frame.normal) > ALONG_COS))


def _placed(area: Area, room: PlanRoom) -> Iterator[tuple[Frame, Area]]:
    """Each face of a prism: its plane, and its shape in that."""
    corners = shapely.get_coordinates(area.exterior)
    steps = np.diff(corners, axis=0)
    longest = steps[np.argmax(np.linalg.norm(steps, axis=1))]
    u = np.array([*(longest / np.linalg.norm(longest)), 0.0])
    for height, up in ((room.floor_m, 1.0), (room.ceiling_m, -1.0)):
        normal = np.array([0.0, 0.0, up])
        origin = np.array([*corners[0], height])
        frame = Frame(origin=origin, normal=normal, u=u, v=np.cross(normal, u))
        yield frame, _laid(area, frame, height)
    for ring in (area.exterior, *area.interiors):
        for one, two in pairwise(shapely.get_coordinates(ring)):
            outline = np.array(
                [
                    (*two, room.floor_m),
                    (*one, room.floor_m),
                    (*one, room.ceiling_m),
                    (*two, room.ceiling_m),
                ]
            )
            frame = frame_of(outline)
            yield frame, shapely.Polygon(frame.flatten(outline))


def _laid(area: Area, frame: Frame, height: float) -> Area:
    """An area in plan in the axes of a level frame."""

    def flat(at: Floats) -> Floats:
        return frame.flatten(np.column_stack((at, np.full(len(at), height))))

    return shapely.geometry.polygon.orient(shapely.transform(area, flat), 1.0)


def _held(frame: Frame, shape: Area, own: Floats, free: Floats, step: float) -> _Face:
    """A face held against the mesh, on a grid.

    Parameters
    ----------
    frame, shape
        Of the face.
    own, free : (n, 3) float
        Points of the mesh on the face's plane, and those on no face of the room. [m]
    step : float
        Of the grid. [m]
    """
    low = np.array(shape.bounds[:2])
    count = np.ceil((np.array(shape.bounds[2:]) - low) / step).astype(int)

    def grid(spots: Floats) -> Bools:
        made = np.zeros(tuple((count + 6).tolist()), dtype=bool)
        places = np.floor((frame.flatten(spots) - low) / step).astype(int) + 3
        good = np.all((places >= 0) & (places < count + 6), axis=1)
        made[places[good, 0], places[good, 1]] = True
        closed = ndimage.binary_closing(made, iterations=2)
        return np.asarray(closed[3:-3, 3:-3])

    x, y = np.meshgrid(
        *(low[axis] + step * (np.arange(count[axis]) + 0.5) for axis in (0, 1)), indexing="ij"
    )
    within = shapely.contains_xy(shape, x.ravel(), y.ravel()).reshape(x.shape)
    missing = within & ~grid(own)
    off = (free - frame.origin) @ frame.normal
    hides = grid(free[(off > 0.0) & (off < HIDES_M)])
    return _Face(
        frame=frame,
        shape=shape,
        open=_boxes(missing & ~hides, low, step, shape),
        hidden=_boxes(missing & hides, low, step, shape),
    )


def _boxes(grid: Bools, low: Floats, step: float, shape: Area) -> Area:
    """Rectangles round the patches of a grid that are no cracks, within a face."""
    wide = max(1, round(0.5 * NARROW_M / step))
    patches, count = ndimage.label(ndimage.binary_opening(np.pad(grid, 1), iterations=wide))
    boxes = []
    for index, place in enumerate(ndimage.find_objects(patches, max_label=count), 1):
        if (patches[place] == index).sum() * step**2 < LEAST_OPEN_M2:
            continue
        start = low + step * (np.array([part.start for part in place]) - 1)
        end = low + step * (np.array([part.stop for part in place]) - 1)
        outer_low, outer_high = np.array(shape.bounds[:2]), np.array(shape.bounds[2:])
        start = np.where(start - outer_low < EDGE_M, outer_low, start)
        end = np.where(outer_high - end < EDGE_M, outer_high, end)
        boxes.append(shapely.box(*start, *end))
    if not boxes:
        return shapely.Polygon()
    found = shapely.union_all([box.intersection(shape) for box in boxes])
    # what hardly leaves anything of a face takes all of it
    return shape if shape.difference(found).area < LEAST_OPEN_M2 else found


def _rings(area: Area) -> Iterator[Floats]:
    """Outlines (n, 2) of an area, cut into triangles where it has holes."""
    for part in shapely.get_parts(area):
        if part.geom_type != "Polygon" or part.area < 1e-6:
            continue
        if not part.interiors:
            turned = shapely.geometry.polygon.orient(part, 1.0)
            yield shapely.get_coordinates(turned.exterior)[:-1]
            continue
        for piece in shapely.constrained_delaunay_triangles(part).geoms:
            turned = shapely.geometry.polygon.orient(piece, 1.0)
            yield shapely.get_coordinates(turned.exterior)[:-1]


def told_of_scan(note: Note) -> Note:
    """A note on a hole, with what it may be where a mesh was fitted to."""
    if note.kind != "gap":
        return note
    return replace(
        note,
        message=note.message.replace(
            "with no face in it, kept open",
            "where the model has no surface (a window, a doorway, or a part that was not scanned), "
            "kept open",
        ),
    )


def fit_report(fitted: Fitted, panels: Sequence[Panel]) -> Fit:
    """How far the mesh lies off the panels that were fitted to it.

    Parameters
    ----------
    fitted : Fitted
    panels : sequence of Panel
        Of the spaces that were made of it.
    """
    scan = fitted.scan
    claimed = np.zeros(len(scan.spots), dtype=bool)
    offsets: dict[str, Offset] = {}
    for panel in panels:
        near = _on(scan.spots, scan.normals, panel.frame)
        flat = panel.frame.flatten(scan.spots[near])
        shape = polygon_of(panel).buffer(0.02)
        inside = shapely.contains_xy(shape, flat[:, 0], flat[:, 1])
        found = np.flatnonzero(near)[inside]
        claimed[found] = True
        if panel.kind == "open" or len(found) < 10:
            continue
        distance = (scan.spots[found] - panel.frame.origin) @ panel.normal
        offsets[panel.id] = Offset(
            mean_m=float(np.sqrt(np.mean(distance**2))),
            most_m=float(np.percentile(np.abs(distance), 95.0)),
            beyond=float(np.mean(np.abs(distance) > OFF_M)),
        )
    return Fit(
        offsets=offsets,
        lines_m=fitted.lines_m,
        elsewhere=float(1.0 - claimed.mean()),
    )
