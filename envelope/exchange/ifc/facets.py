"""The flat faces of IFC spaces, and the windows, doors and holes cut out of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from scipy.spatial import cKDTree

from envelope.building.model import PanelKind
from envelope.errors import ModelFileError
from envelope.exchange.ifc.behind import BEHIND_M, PARALLEL, Shell, behind, spots_in
from envelope.exchange.ifc.bodies import SpaceBody, Void
from envelope.exchange.mesh.boundary_loops import find_loops
from envelope.exchange.mesh.coplanar import merged
from envelope.exchange.mesh.import_mesh import find_volumes
from envelope.exchange.mesh.soup import Label, Soup, triangles, weld, without_slivers
from envelope.exchange.naming import kind_by_normal
from envelope.exchange.records import Note
from envelope.geometry.plane import Floats, Frame, frame_of
from envelope.geometry.polygons import Area, pieces, ring_of, swept

LEAST_OPENING_M2 = 1e-3
SNAP_M = 5e-4
GRID_M = 1e-9
BESIDE_M = 0.05
UNCUT_SHARE = 0.5
ALONG = 0.9  # cosine between a facet's normal and the way through a wall
THIN = 1.05  # a leaf or a drum without an opening is no deeper than it is wide


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """An opening in a facet."""

    area: Area  # in the facet's frame
    void: Void
    kind: PanelKind


@dataclass(slots=True, kw_only=True, eq=False)
class Facet:
    """One flat face of a space, and what is cut out of it."""

    space: int  # index of the space
    kind: PanelKind
    frame: Frame
    whole: Area
    rest: Area
    cuts: list[Cut] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Facets:
    """The faces of one space."""

    facets: tuple[Facet, ...]
    corners: Floats  # (n, 3) of the space's solid
    area_m2: float
    volume_m3: float


def soup_of_triangles(corners: Floats, name: str) -> Soup:
    """Triangles (n, 3, 3) of one object as a soup."""
    points = corners.reshape(-1, 3)
    faces = np.arange(len(points), dtype=np.int64).reshape(-1, 3)
    return triangles(points=points, faces=faces, label=0, labels=[Label(object=name)])


def holes_of(corners: Floats) -> Floats:
    """Middles (n, 3) of the holes in a body's surface."""
    soup = without_slivers(weld(soup_of_triangles(corners, "")))
    return np.array([loop.centre for loop in find_loops(soup).loops]).reshape(-1, 3)


def facets_of(space: SpaceBody, index: int, source: str) -> Facets | str:
    """Flat faces of a space; a sentence where it has no usable solid."""
    if space.triangles is None:
        return space.trouble or "it has no geometry"
    soup = soup_of_triangles(space.triangles, space.id)
    corners = np.unique(soup.points, axis=0)
    if len(cKDTree(corners).query_pairs(SNAP_M)):
        # Steps of less than half a millimetre: without them, where the solid stays closed.
        found = _facets_of(without_slivers(weld(soup, within_m=SNAP_M)), index, source)
        if not isinstance(found, str):
            return found
    return _facets_of(soup, index, source)


def _facets_of(soup: Soup, index: int, source: str) -> Facets | str:
    try:
        found = find_volumes(soup, source=source)
    except ModelFileError as error:
        return f"its solid cannot be used: {error.faults[0].message}"
    if not found.candidates:
        return "its solid is not closed"
    facets: list[Facet] = []
    corners: list[Floats] = []
    volume = 0.0
    for candidate in found.candidates:
        labels = found.soup.label[candidate.volume.faces]
        if any(found.soup.labels[label].extras.get("open") for label in np.unique(labels)):
            return "its solid has a hole: a face is missing"
        volume += candidate.volume.volume_m3
        for polygon in merged(found.soup, candidate.volume, labels):
            frame = frame_of(polygon.outline)
            area = shapely.Polygon(
                frame.flatten(polygon.outline), [frame.flatten(hole) for hole in polygon.holes]
            )
            corners.extend((polygon.outline, *polygon.holes))
            facets.append(
                Facet(
                    space=index,
                    kind=kind_by_normal(frame.normal),
                    frame=frame,
                    whole=area,
                    rest=area,
                )
            )
    return Facets(
        facets=tuple(facets),
        corners=np.concatenate(corners),
        area_m2=float(sum(facet.whole.area for facet in facets)),
        volume_m3=volume,
    )


def _shadow(void: Void, facet: Facet) -> tuple[Area, float, float] | None:
    """What an opening covers of a facet, seen square on, and from where to where it reaches."""
    frame = facet.frame
    crossed = np.cross(
        void.triangles[:, 1] - void.triangles[:, 0], void.triangles[:, 2] - void.triangles[:, 0]
    )
    lengths = np.linalg.norm(crossed, axis=1)
    square = np.abs(crossed @ frame.normal) > PARALLEL * lengths
    square &= lengths > 1e-9
    if not square.any():
        return None
    chosen = void.triangles[square]
    depth = -((chosen.mean(axis=1) - frame.origin) @ frame.normal)
    nearest, farthest = float(depth.min()), float(depth.max())
    if nearest > BEHIND_M or farthest < -0.05:
        return None
    flat = np.stack([frame.flatten(corner) for corner in np.moveaxis(chosen, 1, 0)], 1)
    area = shapely.union_all(shapely.buffer(shapely.polygons(flat), 0.0))
    return area, nearest, farthest


def _goes_through(
    void: Void, facet: Facet, shell: Shell, shadow: Area, nearest: float, farthest: float
) -> bool:
    """Whether an opening leads through its host along this facet's normal.

    At a corner of a room a facet also sees an opening of the next wall from its jamb, sill or
    head. The host's own faces tell the way through it: most of a wall's surface looks along it.
    Where they do not, as in a curved wall or a stub, a bare hole's shape decides, and beside it
    the host is as thick as the hole is deep. Leaves are drawn shut or open, folded under the
    ceiling, turning in a drum: theirs counts only where the file draws no opening for them.
    """
    frame = facet.frame
    host = None if void.host is None else shell.index.get(void.host)
    if host is not None:
        through = shell.way_through(host)
        if through is not None:
            return bool(abs(through @ frame.normal) > ALONG)
    west, south, east, north = shadow.bounds
    if void.filling is not None and void.host is None:
        axes = np.column_stack((frame.u, frame.v, frame.normal))
        across, up, deep = np.ptp(void.filling.triangles.reshape(-1, 3) @ axes, axis=0)
        return bool(deep <= THIN * min(across, up))
    spans = np.sort([east - west, north - south, farthest - nearest])
    if (east - west) * (north - south) >= 0.5 * spans[1] * spans[2]:
        return True
    if host is None:
        return False
    middle = np.array([0.5 * (west + east), 0.5 * (south + north)])
    return any(
        item.element == host
        and item.end_m - max(item.start_m, nearest) < farthest - nearest + BESIDE_M
        for step in (
            (west - BESIDE_M - middle[0], 0.0),
            (east + BESIDE_M - middle[0], 0.0),
            (0.0, south - BESIDE_M - middle[1]),
            (0.0, north + BESIDE_M - middle[1]),
        )
        for item in behind(shell, facet.frame, middle + np.array(step), distance_m=None)
    )


def cut_voids(facets: Sequence[Facet], voids: Sequence[Void], shell: Shell) -> list[Note]:
    """Cut the openings out of every facet that they reach. Filled ones come first.

    An opening that nothing fills is a hole only where no element stands behind it either; a
    recess, or the hole of a lining before a window, is none.
    """
    notes: dict[str, Note] = {}
    order = sorted(voids, key=lambda void: void.filling is None)
    boxes = [
        (void.triangles.reshape(-1, 3).min(axis=0), void.triangles.reshape(-1, 3).max(axis=0))
        for void in order
    ]
    for facet in facets:
        spots = facet.frame.lift(np.array(facet.whole.exterior.coords)[:-1, :2])
        low, high = spots.min(axis=0) - BEHIND_M - 0.1, spots.max(axis=0) + BEHIND_M + 0.1
        for void, (near, far) in zip(order, boxes, strict=True):
            if np.any(near > high) or np.any(far < low):
                continue
            shadow = _shadow(void, facet)
            if shadow is None:
                continue
            area, nearest, farthest = shadow
            area = swept(facet.rest.intersection(without_hairs(area, facet.rest)))
            if area.area < LEAST_OPENING_M2:
                continue
            if not _goes_through(void, facet, shell, shadow[0], nearest, farthest):
                continue
            host = None if void.host is None else shell.index.get(void.host)
            passed = behind(shell, facet.frame, spots_in(area, count=1)[0], distance_m=None)
            if void.filling is None:
                if any(item.element != host for item in passed):
                    continue
                kind: PanelKind = "open"
            elif void.filling.type.startswith("IfcDoor"):
                kind = "door" if facet.kind == "wall" else "hatch"
            else:
                kind = "window" if facet.kind == "wall" else "skylight"
            solid = sum(
                max(0.0, min(item.end_m, farthest) - max(item.start_m, nearest))
                for item in passed
                if item.element == host
            )
            if host is not None and solid > UNCUT_SHARE * max(farthest - nearest, 1e-6):
                body = shell.bodies[host]
                notes[void.id] = Note(
                    kind="repaired",
                    subject=body.name or body.id,
                    message=f"its opening {void.id} was left uncut by the library; it is cut here",
                )
            facet.cuts.append(Cut(area=area, void=void, kind=kind))
            facet.rest = swept(facet.rest.difference(area))
    return list(notes.values())


def without_hairs(area: Area, whole: Area) -> Area:
    """An area whose edges run along those of a larger one where they are less than 0.5 mm off.

    Corners within reach of a corner go there, the others onto the nearest edge: else a strip too
    narrow to be a panel stays beside an opening.
    """
    edges = shapely.boundary(whole)

    def onto(corners: Floats) -> Floats:
        moved = corners.copy()
        for index, corner in enumerate(corners):
            point = shapely.Point(corner)
            if edges.distance(point) < SNAP_M:
                moved[index] = edges.interpolate(edges.project(point)).coords[0]
        return moved

    snapped = shapely.snap(area, whole, SNAP_M)
    return shapely.make_valid(shapely.transform(snapped, onto))


def united(areas: Iterable[Area]) -> Area:
    """Areas joined. Each polygon is made valid on its own: turning frames moves the last digits."""
    parts = [shapely.make_valid(piece) for area in areas for piece in pieces(area)]
    return swept(shapely.union_all(parts))


def rings(
    area: Area, frame: Frame, corners: Floats | None = None
) -> list[tuple[Floats, tuple[Floats, ...]]]:
    """Outlines (n, 3) and holes of an area, with the corners of the solid restored exactly."""
    tree = None if corners is None else cKDTree(corners)
    found = []

    def restored(flat: Floats) -> Floats:
        lifted = frame.lift(flat)
        if tree is not None and corners is not None:
            distance, nearest = tree.query(lifted)
            lifted[distance < SNAP_M] = corners[nearest[distance < SNAP_M]]
        keep = np.linalg.norm(lifted - np.roll(lifted, 1, axis=0), axis=1) > 1e-7
        return np.asarray(lifted[keep])

    # Cutting leaves spikes without width; on a grid far finer than any drawing they vanish.
    for piece in pieces(shapely.set_precision(area, GRID_M)):
        turned = shapely.geometry.polygon.orient(piece, 1.0)
        holes = [
            restored(ring_of(hole))
            for hole in turned.interiors
            if shapely.Polygon(hole).area > 1e-7
        ]
        outline = restored(ring_of(turned.exterior))
        if len(outline) >= 3:
            found.append((outline, tuple(hole for hole in holes if len(hole) >= 3)))
    return found
