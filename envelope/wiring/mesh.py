"""Panels that are a conductor under some plan or wall state, cut into cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from envelope.building.model import Building, Panel
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, minus, polygon_of, spot_inside, swept
from envelope.wiring.grid import bounds, breaks, cells_of
from envelope.wiring.islands import Region, pieces_behind
from envelope.wiring.routing import Run

MAX_CELLS = 4000  # above it the mesh is made coarser
_COARSE_M = 0.5
_EDGE_M = 0.14  # of cells at edges and openings
_LEAST_M = 0.03
_DEPTHS = 1.2  # of a cell over a run, in depths of the run
_STRIP_CELLS = 6  # across a strip
_COARSER = 1.25
_LEVEL = 0.02  # of a direction along an axis


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Atom:
    """A piece of a panel that is always covered, or not, as one."""

    panel: str
    spot: Floats  # (2,) well inside it, in the panel's frame
    cells: tuple[Floats, ...]  # each (3 or 4, 3)


def atoms_of(
    building: Building,
    *,
    whole: Sequence[str],
    strips: Mapping[str, Sequence[Area]],
    runs: Sequence[Run],
) -> tuple[list[Atom], float]:
    """Cells of all panels that may conduct, and how much coarser than usual they had to be.

    Parameters
    ----------
    building : Building
    whole : sequence of str
        Panels that some state covers as a whole.
    strips : mapping
        Areas of strips by panel, in its frame; on the other panels only these are cut.
    runs : sequence of Run
        Over which cells are fine.
    """
    coarser = 1.0
    while True:
        atoms = [
            atom
            for name in dict.fromkeys((*whole, *strips))
            for atom in _panel_atoms(
                building.panel(name), name in whole, strips.get(name, ()), runs, coarser
            )
        ]
        if sum(len(atom.cells) for atom in atoms) <= MAX_CELLS:
            return atoms, coarser
        coarser *= _COARSER


def covered(atoms: Sequence[Atom], region: Region) -> list[int]:
    """Numbers of the atoms that a region covers."""
    return [
        number
        for number, atom in enumerate(atoms)
        if atom.panel == region.panel
        and (region.whole or region.area.contains(shapely.Point(atom.spot)))
    ]


def _panel_atoms(
    panel: Panel, whole: bool, strips: Sequence[Area], runs: Sequence[Run], coarser: float
) -> list[Atom]:
    base = polygon_of(panel)
    parts: list[Area] = [base] if whole else []
    if not whole and strips:
        parts = [shapely.union_all(list(strips))]
    for strip in strips:
        parts = [
            piece
            for part in parts
            for piece in (swept(part.intersection(strip)), minus(part, strip))
            if not piece.is_empty
        ]
    across, up = _grid_lines(panel, base, parts, strips, runs, coarser)
    atoms = []
    for part in parts:
        for piece in shapely.get_parts(part):
            cells = tuple(panel.frame.lift(cell) for cell in cells_of(piece, across=across, up=up))
            if cells:
                atoms.append(Atom(panel=panel.id, spot=spot_inside(piece), cells=cells))
    return atoms


def _grid_lines(
    panel: Panel,
    base: Area,
    parts: Sequence[Area],
    strips: Sequence[Area],
    runs: Sequence[Run],
    coarser: float,
) -> tuple[Floats, Floats]:
    """Grid lines of a panel along both of its axes."""
    lines: tuple[list[tuple[float, float]], list[tuple[float, float]]] = ([], [])
    for area in (base, *parts):
        step = _EDGE_M if area is base else min(_EDGE_M, _narrowest(area) / _STRIP_CELLS)
        if area is not base and not strips:
            continue
        for ring in _rings(area):
            for axis in (0, 1):
                sides = np.diff(ring, axis=0)
                level = np.abs(sides[:, axis]) <= _LEVEL * np.abs(sides[:, 1 - axis])
                lines[axis].extend((float(at), step) for at in ring[:-1][level, axis])
    for piece, depth in pieces_behind(panel, runs):
        span = np.abs(piece[1] - piece[0])
        step = max(_LEAST_M, _DEPTHS * depth)
        for axis in (0, 1):
            if span[axis] <= _LEVEL * span[1 - axis]:
                lines[axis].append((float(piece[0, axis]), step))
    x0, y0, x1, y1 = bounds([ring for part in parts for ring in _rings(part)])
    coarse = _COARSE_M * coarser
    across, up = (
        breaks(low, high, coarse_m=coarse, lines=[(at, step * coarser) for at, step in found])
        for low, high, found in ((x0, x1, lines[0]), (y0, y1, lines[1]))
    )
    return across, up


def _narrowest(area: Area) -> float:
    """Width of a long strip, from its area and its edge. [m]"""
    return 2.0 * float(area.area) / float(area.length)


def _rings(area: Area) -> list[Floats]:
    return [
        np.asarray(ring.coords)
        for polygon in shapely.get_parts(area)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
