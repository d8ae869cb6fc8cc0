"""From a point outdoors to a source, or all round: what stands in between."""

from __future__ import annotations

import numpy as np

from envelope.building.model import Building
from envelope.building.point_location import locate
from envelope.errors import RangeError
from envelope.geometry.plane import Floats
from envelope.rays.building_arrays import geometry_of
from envelope.rays.casts import past_the_ground
from envelope.rays.kernel import walk
from envelope.rays.parallel import follow
from envelope.rays.records import Beam


def cast_outdoors(
    building: Building,
    *,
    position_m: Floats,
    directions: Floats,
    target_m: Floats | None = None,
    target_space: str | None = None,
    stated: bool = False,
) -> Beam:
    """Cast from a point outdoors in given directions, or to a point.

    Parameters
    ----------
    position_m : (3,) float
        Outside every space, in the building's coordinates. [m]
    directions : (n, 3) float
        Unit vectors in the project's axes, each of the same weight. [-]
    target_m : (3,) float
        A point at which the rays end, in `target_space` or outdoors (None). [m]
    stated : bool
        A source is known to shine from these directions: the ground stops none of it.

    Returns
    -------
    beam : Beam
        `first_panel` is the panel by which a ray enters, -1 where it meets no building.
    """
    inside = locate(building, position_m)
    if inside is not None:
        raise RangeError(
            f"the point lies in space {inside!r}; allowed: a point outside every space"
        )
    geometry = geometry_of(building)
    if stated:
        geometry = past_the_ground(geometry)
    goal = walk.NOWHERE
    if target_m is not None:
        goal = -1 if target_space is None else building.space_index[target_space]
    start = np.asarray(position_m, dtype=np.float64) - geometry.middle
    trace = follow(
        geometry,
        starts=np.tile(start, (len(directions), 1)),
        directions=np.asarray(directions, dtype=np.float64),
        home=-1,
        target=None
        if target_m is None
        else np.asarray(target_m, dtype=np.float64) - geometry.middle,
        target_space=goal,
    )
    return Beam(
        digest=building.digest,
        solid_angle_sr=0.0,
        first_panel=trace.first,
        sky=trace.sky,
        weights=np.full(len(directions), 1.0 / len(directions)),
        directions=np.asarray(directions, dtype=np.float64),
        start=trace.start,
        rows=trace.rows,
        cosines=trace.cosines,
    )
