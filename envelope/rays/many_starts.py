"""The same beam cast from many points of one space: all of its rays in one walk.

One by one the points of a floor cost thirty times as much, nearly all of it spent on handing over
the building. The rays are the same, bit for bit.
"""

from __future__ import annotations

import numpy as np

from envelope.building.model import Building
from envelope.geometry.plane import Floats
from envelope.rays.building_arrays import Geometry, geometry_of
from envelope.rays.casts import cast_cone, past_the_ground, point_of, space_index_of
from envelope.rays.parallel import follow
from envelope.rays.records import Beam


def cast_cones(
    building: Building,
    *,
    space: str,
    positions_m: Floats,
    direction: Floats,
    spread_rad: float,
    count: int,
) -> Beam:
    """Cast towards a stated source in an exterior direction from each of many points.

    Parameters
    ----------
    building : Building
    space : str
        In which every point lies.
    positions_m : (n, 3) float
        In the building's coordinates. [m]
    direction : (3,) float
        Unit vector towards the source in the project's axes. [-]
    spread_rad : float
        Half-angle of the cone. [rad]
    count : int
        Rays of each point.

    Returns
    -------
    beam : Beam
        Point by point; the weights of each point add up to 1.
    """
    one = cast_cone(
        building,
        space=space,
        position_m=positions_m[0],
        direction=direction,
        spread_rad=spread_rad,
        count=count,
        stated=True,
    )
    geometry = past_the_ground(geometry_of(building))
    rays = len(one.directions)
    starts = np.repeat(positions_m - geometry.middle, rays, axis=0)
    directions = np.tile(one.directions, (len(positions_m), 1))
    return _beam(building, geometry, space, starts, directions, weight=1.0 / rays)


def cast_lines(
    building: Building,
    *,
    space: str,
    positions_m: Floats,
    target_m: Floats,
    target_space: str | None,
) -> Beam:
    """Cast the one ray to a point, in a space or outdoors (None), from each of many points.

    Parameters
    ----------
    building : Building
    space : str
        In which every point lies.
    positions_m : (n, 3) float
        In the building's coordinates. [m]
    target_m : (3,) float
        Where the source stands. [m]
    target_space : str, optional
        In which; outdoors unless given.
    """
    geometry = geometry_of(building)
    away = np.asarray(target_m, dtype=np.float64) - positions_m
    return _beam(
        building,
        geometry,
        space,
        positions_m - geometry.middle,
        away / np.linalg.norm(away, axis=1)[:, np.newaxis],
        weight=1.0,
        target=target_m - geometry.middle,
        target_space=point_of(building, space=target_space, position_m=target_m),
    )


def _beam(
    building: Building,
    geometry: Geometry,
    space: str,
    starts: Floats,
    directions: Floats,
    *,
    weight: float,
    target: Floats | None = None,
    target_space: int = -1,
) -> Beam:
    trace = follow(
        geometry,
        starts=starts,
        directions=directions,
        home=space_index_of(building, space),
        target=target,
        target_space=target_space,
    )
    return Beam(
        digest=building.digest,
        solid_angle_sr=0.0,
        first_panel=trace.first,
        sky=trace.sky,
        weights=np.full(len(directions), weight),
        directions=directions,
        start=trace.start,
        rows=trace.rows,
        cosines=trace.cosines,
    )
