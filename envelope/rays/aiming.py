"""Where rays are aimed: every panel of a space, evenly by solid angle, with its exact weight."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.geometry.plane import Floats
from envelope.geometry.solid_angle import spread_over_triangles, triangle_solid_angle
from envelope.rays.building_arrays import Geometry
from envelope.rays.kernel.arrays import GROWTH, NORMAL, OFFSET, Ints, Longs
from envelope.rays.records import SCRAMBLES
from envelope.rays.sobol import Sequence, scrambled

_IN_PLANE = 1e-12  # height in metres below which an eye sees a panel edge-on
_Triangle = list[list[float]]  # three corners
_LEVEL = 1e-6  # metres from the horizon at which a corner is on it: float32 rounds it off


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aim:
    """One panel seen from one eye, or its part above or below the eye's horizon."""

    panel: int
    above: bool  # the horizon
    solid_angle_sr: float
    share: float  # of the whole panel's solid angle
    corners: Floats  # (k, 3, 3) unit vectors to its triangles
    shares: Floats  # (k + 1,) of the solid angle up to each triangle, from 0 to 1
    hiders: Ints  # panels that may stand in between
    sequence: Sequence

    def directions(self, start: int, stop: int) -> Floats:
        """Rays `start` to `stop` of each scramble, scramble by scramble: (scrambles * m, 3)."""
        points = self.sequence.points(start, stop).reshape(-1, 2)
        last = len(self.corners) - 1
        triangle = np.minimum(np.searchsorted(self.shares[1:], points[:, 0], side="right"), last)
        share = np.diff(self.shares)
        within = (points[:, 0] - self.shares[triangle]) / share[triangle]
        return spread_over_triangles(
            self.corners,
            share * self.solid_angle_sr,
            first=np.clip(within, 0.0, 1.0),
            second=points[:, 1],
            triangle=triangle,
        )


def aims(
    geometry: Geometry,
    *,
    panels: range,
    eye: Floats,
    seed: tuple[int, ...],
    scrambles: int = SCRAMBLES,
    behind: bool = False,
) -> list[Aim]:
    """Panels that an eye sees from inside their space (or from behind), hidden or not.

    Parameters
    ----------
    panels : range
        Among which; those of the eye's space.
    eye : (3,) float
        Counted from the building's middle. [m]
    behind : bool
        See them from behind, from outdoors; nothing is then said of what may hide them.
    """
    plane = geometry.tables.plane[panels.start : panels.stop]
    heights = plane[:, NORMAL:OFFSET] @ eye - plane[:, OFFSET]
    seen = np.flatnonzero((-heights if behind else heights) > _IN_PLANE)
    hidden = None if behind else _Hiding.of(geometry, panels=panels, heights=heights, eye=eye)
    parts: list[tuple[int, bool]] = []
    pieces: list[_Triangle] = []
    ends: list[int] = []
    for index in seen.tolist():
        triangles = (geometry.triangles[panels[index]] - eye).tolist()
        for above, found in _at_the_horizon(triangles):
            parts.append((index, above))
            pieces.extend(found)
            ends.append(len(pieces))
    local = np.array(pieces).reshape(-1, 3, 3)
    sizes = np.abs(triangle_solid_angle(local))
    spans = [slice(*ends) for ends in itertools.pairwise((0, *ends))]
    whole: dict[int, float] = {}
    for (index, _), span in zip(parts, spans, strict=True):
        whole[index] = whole.get(index, 0.0) + float(sizes[span].sum())
    hiders = {
        index: np.empty(0, dtype=np.int32) if hidden is None else hidden.before(index)
        for index in whole
    }
    found_aims = []
    for (index, above), span in zip(parts, spans, strict=True):
        own = sizes[span] > 0.0
        if not own.any():
            continue
        corners, areas = local[span][own], sizes[span][own]
        total = float(areas.sum())
        panel = panels[index]
        found_aims.append(
            Aim(
                panel=panel,
                above=above,
                solid_angle_sr=total,
                share=total / whole[index],
                corners=corners / np.linalg.norm(corners, axis=2, keepdims=True),
                shares=np.concatenate(([0.0], np.cumsum(areas) / total)),
                hiders=hiders[index],
                sequence=scrambled(
                    seed=(*seed, geometry.seeds[panel], int(above)), scrambles=scrambles
                ),
            )
        )
    return found_aims


def _at_the_horizon(triangles: list[_Triangle]) -> list[tuple[bool, list[_Triangle]]]:
    """Triangles about the eye cut at its horizon, so that both parts are exact.

    Plain numbers: an eye in a room cuts some hundred triangles, each too small for an array.
    """
    pieces: dict[bool, list[_Triangle]] = {True: [], False: []}
    for corners in triangles:
        following = (corners[1], corners[2], corners[0])
        for above, sign in ((True, 1.0), (False, -1.0)):
            ring: list[list[float]] = []
            for here, there in zip(corners, following, strict=True):
                if sign * here[2] >= -_LEVEL:
                    ring.append(here)
                if here[2] * there[2] < 0.0 and min(abs(here[2]), abs(there[2])) > _LEVEL:
                    share = here[2] / (here[2] - there[2])
                    ring.append(
                        [here[axis] + (there[axis] - here[axis]) * share for axis in (0, 1)] + [0.0]
                    )
            for k in range(1, len(ring) - 1):
                pieces[above].append([ring[0], ring[k], ring[k + 1]])
    return [(above, found) for above, found in pieces.items() if found]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Hiding:
    """The panels of a space about an eye, each held by a cone; which may hide which.

    A panel that may hide another faces the eye, some of the other lies behind it, some of it lies
    before the other, and the cones that hold the two overlap. A cone below a right angle is convex,
    so that it holds a panel when it holds its corners; it is half-open to π where that is too
    little.
    """

    first: int  # of the panels
    plane: Floats  # (n, 16) rows of the tables
    corners: Floats  # (c, 3) of all panels, one after the other
    start: Longs  # (n + 1,) where each panel's corners begin
    facing: NDArray[np.bool_]  # (n,)
    axis: Floats  # (n, 3) of the cones; nan where a panel is not seen
    spread: Floats  # (n,) half-angles of the cones [rad]

    @classmethod
    def of(cls, geometry: Geometry, *, panels: range, heights: Floats, eye: Floats) -> _Hiding:
        """The panels of a space about an eye that stands at these heights (n,) above them."""
        own = [geometry.triangles[panel].reshape(-1, 3) for panel in panels]
        start = np.cumsum([0, *map(len, own)])
        corners = np.concatenate(own)
        counts = np.diff(start)
        away = np.where(
            np.repeat(heights > _IN_PLANE, counts)[:, np.newaxis], corners - eye, np.nan
        )
        unit = away / np.sqrt((away * away).sum(axis=1))[:, np.newaxis]
        axis = np.add.reduceat(unit, start[:-1], axis=0)
        axis /= np.sqrt((axis * axis).sum(axis=1))[:, np.newaxis]
        least = np.minimum.reduceat(
            (unit * np.repeat(axis, counts, axis=0)).sum(axis=1), start[:-1]
        )
        return cls(
            first=panels.start,
            plane=geometry.tables.plane[panels.start : panels.stop],
            corners=corners,
            start=start,
            facing=heights > GROWTH,
            axis=axis,
            spread=np.where(least > 0.0, np.arccos(np.clip(least, -1.0, 1.0)), np.pi),
        )

    def before(self, index: int) -> Ints:
        """Panels that may hide one of them from the eye."""
        apart = np.arccos(np.clip(self.axis @ self.axis[index], -1.0, 1.0))
        hiding = self.facing & (apart <= self.spread + self.spread[index] + 1e-6)
        hiding[index] = False
        if not hiding.any():
            return np.empty(0, dtype=np.int32)
        mine = self.corners[self.start[index] : self.start[index + 1]]
        behind = mine @ self.plane[:, NORMAL:OFFSET].T - self.plane[:, OFFSET]
        hiding &= behind.min(axis=0) <= -GROWTH
        own = self.plane[index]
        above = np.maximum.reduceat(
            self.corners @ own[NORMAL:OFFSET] - own[OFFSET], self.start[:-1]
        )
        hiding &= above >= GROWTH
        return (self.first + np.flatnonzero(hiding)).astype(np.int32)
