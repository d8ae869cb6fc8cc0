"""Where rays are aimed: every panel of a space, evenly by solid angle, with its exact weight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.geometry.plane import Floats
from envelope.geometry.solid_angle import spread_over_triangles, triangle_solid_angle
from envelope.rays.building_arrays import Geometry
from envelope.rays.kernel.arrays import GROWTH, NORMAL, OFFSET, Ints
from envelope.rays.records import SCRAMBLES
from envelope.rays.sobol import Sequence, scrambled

_IN_PLANE = 1e-12  # height in metres below which an eye sees a panel edge-on
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
    plane = geometry.tables.plane
    stretch = slice(panels.start, panels.stop)
    heights = plane[stretch, NORMAL:OFFSET] @ eye - plane[stretch, OFFSET]
    seen = -heights if behind else heights
    found = []
    for panel, height in zip(panels, seen, strict=True):
        if height <= _IN_PLANE:
            continue
        hiders = np.empty(0, dtype=np.int32)
        if not behind:
            hiders = _hiders(geometry, panel=panel, panels=panels, heights=heights, eye=eye)
        parts = [
            (above, local, np.abs(triangle_solid_angle(local)))
            for above, local in _at_the_horizon(geometry.triangles[panel] - eye)
        ]
        whole = sum(float(sizes.sum()) for _, _, sizes in parts)
        for above, local, sizes in parts:
            local, sizes = local[sizes > 0.0], sizes[sizes > 0.0]
            if not len(sizes):
                continue
            total = float(sizes.sum())
            found.append(
                Aim(
                    panel=panel,
                    above=above,
                    solid_angle_sr=total,
                    share=total / whole,
                    corners=local / np.linalg.norm(local, axis=2, keepdims=True),
                    shares=np.concatenate(([0.0], np.cumsum(sizes) / total)),
                    hiders=hiders,
                    sequence=scrambled(
                        seed=(*seed, geometry.seeds[panel], int(above)), scrambles=scrambles
                    ),
                )
            )
    return found


def _at_the_horizon(local: Floats) -> list[tuple[bool, Floats]]:
    """Triangles (k, 3, 3) about the eye cut at its horizon, so that both parts are exact."""
    pieces: dict[bool, list[Floats]] = {True: [], False: []}
    for corners in local:
        for above, sign in ((True, 1.0), (False, -1.0)):
            ring: list[Floats] = []
            for here, there in zip(corners, np.roll(corners, -1, axis=0), strict=True):
                if sign * here[2] >= -_LEVEL:
                    ring.append(here)
                if here[2] * there[2] < 0.0 and min(abs(here[2]), abs(there[2])) > _LEVEL:
                    level = here + (there - here) * (here[2] / (here[2] - there[2]))
                    ring.append(level * (1.0, 1.0, 0.0))
            for k in range(1, len(ring) - 1):
                pieces[above].append(np.stack((ring[0], ring[k], ring[k + 1])))
    return [(above, np.array(found)) for above, found in pieces.items() if found]


def _hiders(geometry: Geometry, *, panel: int, panels: range, heights: Floats, eye: Floats) -> Ints:
    """Panels that may hide another from the eye.

    Such a panel faces the eye, some of the other lies behind it, some of it lies before the other,
    and the cones that hold the two overlap.
    """
    plane = geometry.tables.plane
    target = geometry.triangles[panel].reshape(-1, 3)
    axis, spread = _cone(target - eye)
    found = []
    for other, height in zip(panels, heights, strict=True):
        if other == panel or height <= GROWTH:
            continue
        if (target @ plane[other, NORMAL:OFFSET] - plane[other, OFFSET]).min() > -GROWTH:
            continue
        corners = geometry.triangles[other].reshape(-1, 3)
        if (corners @ plane[panel, NORMAL:OFFSET] - plane[panel, OFFSET]).max() < GROWTH:
            continue
        other_axis, other_spread = _cone(corners - eye)
        apart = float(np.arccos(np.clip(axis @ other_axis, -1.0, 1.0)))
        if apart <= spread + other_spread + 1e-6:
            found.append(other)
    return np.array(found, dtype=np.int32)


def _cone(corners: Floats) -> tuple[Floats, float]:
    """Axis and half-angle of a cone that holds a flat polygon; π where half a sphere is too little.

    Below a right angle a cone is convex, so that it holds the polygon when it holds its corners.
    """
    unit = corners / np.linalg.norm(corners, axis=1)[:, np.newaxis]
    axis = unit.mean(axis=0)
    axis = axis / np.linalg.norm(axis)
    least = float((unit @ axis).min())
    return axis, float(np.arccos(least)) if least > 0.0 else float(np.pi)
