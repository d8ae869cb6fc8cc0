"""Elements that carry charge: straight pieces of wire, and flat cells of walls and coatings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from envelope.geometry.plane import Floats, frozen
from envelope.physics.electrostatics import Indices, Polygons

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(3)
_NODES, _WEIGHTS = (_NODES + 1.0) / 2.0, _WEIGHTS / 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Elements:
    """Wires first, then cells; `centre` and the rest have one row an element."""

    ends: Floats  # (w, 2, 3) of the wires [m]
    radius_m: Floats  # (w,)
    cells: Polygons
    strand: Indices = field(default_factory=lambda: np.zeros(0, dtype=np.intp))  # (w,) its run
    centre: Floats = field(init=False)  # (n, 3) of the charge [m]
    diameter_m: Floats = field(init=False)  # (n,) longest distance within it
    width_m: Floats = field(init=False)  # (n,) area over diameter; a wire's length
    moments: Floats = field(init=False)  # (n, 6) second moments of the charge [m²]

    def __post_init__(self) -> None:
        ends = np.asarray(self.ends, dtype=np.float64).reshape(-1, 2, 3)
        along = ends[:, 1] - ends[:, 0]
        length = np.linalg.norm(along, axis=1)
        centre, second = _centres(self.cells)
        corners = self.cells.corners
        diameter = np.maximum(
            np.linalg.norm(corners[:, 2] - corners[:, 0], axis=1),
            np.linalg.norm(corners[:, 3] - corners[:, 1], axis=1),
        )
        products = along[:, :, np.newaxis] * along[:, np.newaxis, :] / 12.0
        for name, value in (
            ("ends", ends),
            ("strand", np.zeros(len(ends)) if not len(self.strand) else self.strand),
            ("radius_m", np.asarray(self.radius_m, dtype=np.float64).reshape(-1)),
            ("centre", np.concatenate((ends.mean(axis=1), centre))),
            ("diameter_m", np.concatenate((length, diameter))),
            ("width_m", np.concatenate((length, self.cells.area_m2 / diameter))),
            ("moments", np.concatenate((_six(products), _six(second)))),
        ):
            object.__setattr__(self, name, frozen(value))
        strand = np.array(self.strand, dtype=np.intp)
        strand.setflags(write=False)
        object.__setattr__(self, "strand", strand)

    def __len__(self) -> int:
        return len(self.centre)

    def same_as(self, other: Elements) -> bool:
        """Whether both hold the same wires and cells, in the same order."""
        return all(
            np.array_equal(one, two)
            for one, two in (
                (self.ends, other.ends),
                (self.radius_m, other.radius_m),
                (self.strand, other.strand),
                (self.cells.corners, other.cells.corners),
            )
        )

    @property
    def wires(self) -> int:
        """How many of the elements are wires."""
        return len(self.ends)

    def order(self, which: Indices) -> Indices:
        """Places in `which` (k,) with its wires first."""
        return np.argsort(which >= self.wires, kind="stable")

    def taken(self, which: Indices) -> Elements:
        """Some of the elements (k,), in the order that `order` gives."""
        ordered = which[self.order(which)]
        wires = ordered[ordered < self.wires]
        cells = ordered[ordered >= self.wires] - self.wires
        return Elements(
            ends=self.ends[wires],
            radius_m=self.radius_m[wires],
            cells=Polygons(corners=self.cells.corners[cells]),
            strand=self.strand[wires],
        )


def elements_of(
    *,
    wires: Sequence[tuple[Floats, float]],
    cells: Sequence[Floats] = (),
    strands: Sequence[int] = (),
) -> Elements:
    """Elements of wires, each with its ends and radius, and of cells of three or four corners.

    Parameters
    ----------
    wires : sequence of ((2, 3) float, float)
        Ends and radius of each piece. [m]
    cells : sequence of (3 or 4, 3) float
        Corners of each, in order. [m]
    strands : sequence of int
        Which run each piece of wire belongs to; one run if not given.
    """
    corners = [cell if len(cell) == 4 else np.concatenate((cell, cell[-1:])) for cell in cells]
    return Elements(
        ends=np.array([ends for ends, _ in wires]).reshape(-1, 2, 3),
        radius_m=np.array([radius for _, radius in wires]),
        cells=Polygons(corners=np.array(corners).reshape(-1, 4, 3)),
        strand=np.array(strands, dtype=np.intp),
    )


def bilinear(cells: Polygons, which: Indices, nodes: Floats) -> tuple[Floats, Floats]:
    """Points of cells at pairs of parameters, and the area there per unit of both.

    Parameters
    ----------
    cells : Polygons
        Cells, of which those in `which` (k,) are taken.
    nodes : (g, 2) float
        Parameters from 0 to 1.

    Returns
    -------
    points, areas : (g, k, 3), (g, k) float
        [m], [m²]
    """
    u, v = nodes[:, 0], nodes[:, 1]
    shape = np.stack(((1.0 - u) * (1.0 - v), u * (1.0 - v), u * v, (1.0 - u) * v), axis=1)
    points = np.tensordot(shape, cells.corners[which], axes=(1, 1))
    flat = cells.flat[which]
    bottom, top = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 3]
    left, right = flat[:, 3] - flat[:, 0], flat[:, 2] - flat[:, 1]
    along_x, along_y = (
        np.outer(1.0 - v, bottom[:, axis]) + np.outer(v, top[:, axis]) for axis in (0, 1)
    )
    across_x, across_y = (
        np.outer(1.0 - u, left[:, axis]) + np.outer(u, right[:, axis]) for axis in (0, 1)
    )
    return points, along_x * across_y - along_y * across_x


def _centres(cells: Polygons) -> tuple[Floats, Floats]:
    """Centroid (k, 3) and second moments (k, 3, 3) of cells, by quadrature that is exact."""
    every = np.arange(len(cells.corners))
    if not len(every):
        return np.zeros((0, 3)), np.zeros((0, 3, 3))
    u, v = (grid.ravel() for grid in np.meshgrid(_NODES, _NODES))
    at, area = bilinear(cells, every, np.stack((u, v), axis=1))
    weight = np.outer(_WEIGHTS, _WEIGHTS).ravel()[:, np.newaxis] * area
    total = weight.sum(axis=0)
    centre = (at * weight[..., np.newaxis]).sum(axis=0) / total[:, np.newaxis]
    off = at - centre
    second = np.einsum("gk,gka,gkb->kab", weight, off, off) / total[:, np.newaxis, np.newaxis]
    return centre, second


def _six(matrix: Floats) -> Floats:
    rows, columns = [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]
    six: Floats = matrix[:, rows, columns]
    return six
