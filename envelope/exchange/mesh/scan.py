"""Flat surfaces in an open mesh: a scan with noise and holes, or a model that was drawn open.

    faces ─> normals, smoothed without rounding corners ─> parts grown over even folds ─> walls
          └> points spread evenly over them, to fit, to count and to measure with

Parts are grown over the mesh library's adjacent faces, so that a wall ends where it folds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.exchange.mesh.soup import Ints, Soup, components, cut_ring, weld, without_slivers
from envelope.exchange.mesh_library import mesh_library
from envelope.geometry.plane import Floats

SPREAD_PER_M2 = 1200.0
MOST_SPOTS = 500_000
ROUNDS = 6  # of smoothing: noise of a few millimetres on faces of some centimetres
FOLD_COS = float(np.cos(np.radians(35.0)))  # a fold that smoothing does not reach over
EVEN_COS = float(np.cos(np.radians(12.0)))  # a fold that one part grows over
UPRIGHT = 0.35  # |z| of the normal of a wall
LEVEL = 0.85  # and of a floor or ceiling
LEAST_PART_M2, LEAST_PART_M = 0.2, 0.1
SECTOR_RAD = float(np.radians(15.0))  # strips that a round wall is cut into
ROUND_M = 0.04  # how far a part stands off one plane before it counts as round
SAME_M = 0.06  # walls nearer to one plane are parts of one wall
SAME_COS = float(np.cos(np.radians(6.0)))
SHORT_M = 0.6  # what is shorter has no direction of its own beside a longer wall


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scan:
    """An open mesh, and points spread evenly over it."""

    spots: Floats  # (n, 3) [m]
    normals: Floats  # (n, 3) of the smoothed surface there, of either sign
    part: Ints  # (n,) upright part that it lies on, -1 elsewhere
    per_m2: float  # how many stand for a square metre
    points: Floats  # (p, 3) of the mesh
    faces: Ints  # (f, 3)

    def lines_at(self, height_m: float) -> Floats:
        """Where a level plane cuts the mesh (k, 2, 2), in plan. [m]"""
        library = mesh_library()
        mesh = library.Trimesh(vertices=self.points, faces=self.faces, process=False)
        found, _, _ = library.intersections.mesh_multiplane(
            mesh, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), [height_m]
        )
        # lines come in axes of the plane's own, which for a level plane are x and y
        return np.asarray(found[0], dtype=np.float64).reshape(-1, 2, 2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wall:
    """An upright plane that parts of a scan lie on: normal · (x, y) = offset."""

    normal: Floats  # (2,)
    offset_m: float
    spots: Floats  # (k, 3) that it was fitted to

    @property
    def along(self) -> Floats:
        """Unit vector (2,) along the wall."""
        return np.array([-self.normal[1], self.normal[0]])

    def off_m(self, points: Floats) -> Floats:
        """How far points (n, 2 or 3) stand off it. [m]"""
        return np.asarray(points[:, :2] @ self.normal - self.offset_m)

    def reach_m(self) -> tuple[float, float]:
        """Between which places along it the parts lie. [m]"""
        low, high = np.percentile(self.spots[:, :2] @ self.along, (1.0, 99.0))
        return float(low), float(high)


def _triangles(soup: Soup) -> Ints:
    lengths = np.diff(soup.start)
    plain = soup.select(lengths == 3).corners.reshape(-1, 3)
    cut = [
        np.asarray(soup.face(index))[np.array(cut_ring(soup.points[soup.face(index)]))]
        for index in np.flatnonzero(lengths > 3).tolist()
    ]
    return np.concatenate([plain, *cut]).astype(np.int64)


def _smoothed(normals: Floats, areas: Floats, pairs: Ints) -> Floats:
    """Normals (f, 3) averaged with those beside them, but not across a fold."""
    one, two = pairs.T
    for _ in range(ROUNDS):
        dot = np.einsum("ij,ij->i", normals[one], normals[two])
        # faces may be wound either way
        weight = np.sign(dot) * (np.abs(dot) > FOLD_COS)
        summed = normals * areas[:, np.newaxis]
        for into, of in ((one, two), (two, one)):
            share = (weight * areas[of])[:, np.newaxis] * normals[of]
            for axis in range(3):
                summed[:, axis] += np.bincount(into, share[:, axis], minlength=len(normals))
        lengths = np.linalg.norm(summed, axis=1, keepdims=True)
        normals = summed / np.where(lengths > 0.0, lengths, 1.0)
    return normals


def scan_of(soup: Soup) -> Scan:
    """Spread points over a soup in metres with z up, and part its upright surfaces."""
    soup = without_slivers(weld(soup))
    faces = _triangles(soup)
    library = mesh_library()
    mesh = library.Trimesh(vertices=soup.points, faces=faces, process=False)
    areas = np.asarray(mesh.area_faces)
    pairs = np.asarray(mesh.face_adjacency, dtype=np.int64).reshape(-1, 2)
    first, second, third = (soup.points[faces[:, k]] for k in range(3))
    vectors = np.cross(second - first, third - first)
    lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
    normals = _smoothed(vectors / np.where(lengths > 0.0, lengths, 1.0), areas, pairs)
    upright = np.abs(normals[:, 2]) < UPRIGHT
    one, two = pairs.T
    even = upright[one] & upright[two]
    even &= np.abs(np.einsum("ij,ij->i", normals[one], normals[two])) > EVEN_COS
    part = components(one[even], two[even], len(faces))
    sizes = np.bincount(part, areas)
    part = np.where(upright & (sizes[part] >= LEAST_PART_M2), part, -1)
    total = float(areas.sum())
    count = int(min(MOST_SPOTS, max(1000.0, SPREAD_PER_M2 * total)))
    spots, of = library.sample.sample_surface(mesh, count, seed=1)
    return Scan(
        spots=np.asarray(spots),
        normals=normals[of],
        part=part[of],
        per_m2=count / total,
        points=soup.points,
        faces=faces,
    )


def _fitted(spots: Floats) -> tuple[Floats, float]:
    """Normal (2,) and offset of the upright plane through points (n, 3), outliers left out."""
    kept = spots[:, :2]
    for _ in range(2):
        centre = np.median(kept, axis=0)
        _, _, axes = np.linalg.svd(kept - kept.mean(axis=0), full_matrices=False)
        normal = axes[1]
        off = (spots[:, :2] - centre) @ normal
        middle = np.median(off)
        near = np.abs(off - middle) <= 0.01 + 3.0 * np.median(np.abs(off - middle))
        kept = spots[near, :2]
        offset = float(np.mean(kept @ normal))
    return np.asarray(normal), offset


def walls_of(scan: Scan, *, floor_m: float, ceiling_m: float) -> list[Wall]:
    """Walls of a storey: upright parts that reach its ceiling, those in one plane made one.

    What ends well below the ceiling is furniture, and what begins above a table hangs on a wall.

    Parameters
    ----------
    scan : Scan
    floor_m, ceiling_m : float
        Heights of the storey. [m]
    """
    order = np.argsort(scan.part, kind="stable")
    inside = (scan.spots[order, 2] > floor_m - 0.3) & (scan.spots[order, 2] < ceiling_m + 0.3)
    order = order[inside & (scan.part[order] >= 0)]
    starts = np.flatnonzero(np.diff(scan.part[order], prepend=-1))
    found: list[Wall] = []
    for members in np.split(order, starts[1:]) if len(order) else []:
        for piece in _pieces(scan, members):
            spots = scan.spots[piece]
            low, high = np.percentile(spots[:, 2], (2.0, 98.0))
            if high < ceiling_m - 0.3 or low > floor_m + 1.2 or len(piece) < 60:
                continue
            normal, offset = _fitted(spots)
            wall = Wall(normal=normal, offset_m=offset, spots=spots)
            if np.ptp(wall.reach_m()) > LEAST_PART_M:
                found.append(wall)
    return _joined(found)


def _pieces(scan: Scan, members: Ints) -> list[Ints]:
    """A part as it is where it is flat; the strips of one that is round."""
    spots = scan.spots[members]
    if len(members) < 60:
        return [members]
    normal, offset = _fitted(spots)
    off = np.abs(spots[:, :2] @ normal - offset)
    if np.percentile(off, 90.0) <= ROUND_M:
        return [members]
    turn = np.arctan2(scan.normals[members, 1], scan.normals[members, 0])
    middle = np.angle(np.exp(2j * turn).mean()) / 2.0  # of either sign: half a turn is the same
    turned = (turn - middle + 0.5 * np.pi) % np.pi
    sector = np.floor(turned / SECTOR_RAD).astype(np.int64)
    found = []
    for each in np.unique(sector):
        piece = members[sector == each]
        middle_of = middle - 0.5 * np.pi + (each + 0.5) * SECTOR_RAD
        # two sides of a round room, or of a flat one, face the same way far from each other
        off = scan.spots[piece, :2] @ np.array([np.cos(middle_of), np.sin(middle_of)])
        order = np.argsort(off)
        found += np.split(piece[order], np.flatnonzero(np.diff(off[order]) > 2.0 * SAME_M) + 1)
    return found


def _joined(walls: list[Wall]) -> list[Wall]:
    """Walls that lie in one plane made one, the largest first."""
    found: list[Wall] = []
    for wall in sorted(walls, key=lambda wall: -len(wall.spots)):
        low, high = wall.reach_m()
        for index, other in enumerate(found):
            turned = abs(float(wall.normal @ other.normal))
            if turned < SAME_COS and high - low > SHORT_M:
                continue
            if turned < 0.8 or np.percentile(np.abs(other.off_m(wall.spots)), 80.0) > SAME_M:
                continue
            spots = np.concatenate((other.spots, wall.spots))
            normal, offset = _fitted(spots)
            found[index] = Wall(normal=normal, offset_m=offset, spots=spots)
            break
        else:
            found.append(wall)
    return found
