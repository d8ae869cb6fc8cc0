"""The compass around what is shown: its ring, and what stands on it. No 3D library."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from envelope.geometry.plane import Floats, frozen
from viewer.scene.records import Ring, Scene
from viewer.scene.rooms import Rooms, plan_of


def direction_to(*, azimuth_rad: float, elevation_rad: float, north_rad: float) -> Floats:
    """Unit vector (3,) in project axes towards a true azimuth and an elevation."""
    turned = azimuth_rad - north_rad  # the project's +y points at true azimuth `north_rad`
    level = math.cos(elevation_rad)
    return frozen((level * math.sin(turned), level * math.cos(turned), math.sin(elevation_rad)))


def arrow_on(
    ring_centre_m: Floats, *, radius_m: float, direction: Floats, length_m: float
) -> tuple[Floats, Floats]:
    """Tail and tip of an arrow that comes along a direction and ends on the ring."""
    level = direction * (1.0, 1.0, 0.0)
    size = float(np.linalg.norm(level))
    outward = level / size if size > 0.05 else np.zeros(3)
    tip = ring_centre_m + radius_m * outward
    return frozen(tip + length_m * direction), frozen(tip)


def ring_for(*, scene: Scene, rooms: Rooms) -> Ring:
    """The compass ring around what a picture shows, below its floor."""
    low_x, low_y, high_x, high_y = plan_of(scene, rooms.full).union(rooms.around(scene)).bounds
    ground = min(
        float(space.base.vertices[:, 2].min()) for space in scene.spaces if space.id in rooms.full
    )
    return Ring(
        centre_m=np.array([(low_x + high_x) / 2, (low_y + high_y) / 2, ground]),
        radius_m=1.06 * 0.5 * math.hypot(high_x - low_x, high_y - low_y) + 0.25,
        north=scene.north,
    )


def ring_points(ring: Ring, count: int = 181) -> Floats:
    """Points (n, 3) of the compass ring, from north clockwise, the last being the first."""
    angles = np.linspace(0.0, math.tau, count)
    return ring_at(ring, angles)


def ring_at(ring: Ring, azimuths_rad: Floats, *, reach: float = 1.0) -> Floats:
    """Points (n, 3) at true azimuths, so many radii from the middle."""
    east = np.array([ring.north[1], -ring.north[0], 0.0])
    along = np.cos(azimuths_rad)[:, np.newaxis] * ring.north
    across = np.sin(azimuths_rad)[:, np.newaxis] * east
    points: Floats = ring.centre_m + reach * ring.radius_m * (along + across)
    return points


def blocked_arcs(scene: Scene, ring: Ring) -> list[tuple[str, Floats]]:
    """True azimuths (n,) over which something outdoors stands, seen from the ring's middle."""
    east = np.array([ring.north[1], -ring.north[0]])
    found = []
    for block in scene.blocks:
        off = block.corners_m - ring.centre_m[:2]
        if Polygon(block.corners_m).contains(shapely.Point(ring.centre_m[:2])):
            continue
        first = math.atan2(float(off[0] @ east), float(off[0] @ ring.north[:2]))
        turns = np.arctan2(off @ east, off @ ring.north[:2]) - first
        turns = first + (turns + math.pi) % math.tau - math.pi
        found.append((block.id, np.linspace(turns.min(), turns.max(), 25)))
    return found
