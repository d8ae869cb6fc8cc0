"""An even field outside, followed inward through the whole building, for the diffuse field."""

from __future__ import annotations

import numpy as np

from envelope.building.model import Building
from envelope.geometry.directions import axes_across
from envelope.rays.building_arrays import geometry_of
from envelope.rays.casts import back_to_the_sky, on_panel, share_of
from envelope.rays.kernel.arrays import NORMAL, OFFSET
from envelope.rays.parallel import follow
from envelope.rays.records import Chain
from envelope.rays.sobol import scrambled

_SEED = 51_407


def cast_even(building: Building, *, count: int = 2**14) -> Chain:
    """Cast from all exposed directions inward through the whole building.

    Every panel is aimed at from behind: points evenly over its area, directions as a surface
    feels an even field (by the cosine). Rays that meet something else first are dropped, and
    those that come from the ground within the site's reach of the panel, as for a receiver.

    Parameters
    ----------
    count : int
        Rays in all, about, shared by area.

    Returns
    -------
    chain : Chain
        Weights in m² sr: times the radiance of the field they give the power that a ray carries.
    """
    geometry = geometry_of(building)
    tables = geometry.tables
    areas = np.array([panel.area_m2 for panel in building.panels])
    far = 2.0 * geometry.radius_m + 1.0
    ids = [panel.id for panel in building.panels]
    starts, directions, weights, panels = [], [], [], []
    for panel in range(len(building.panels)):
        normal = tables.plane[panel, NORMAL:OFFSET]
        points, area = on_panel(geometry, panel, share_of(count, areas[panel] / areas.sum()))
        inward = _towards(normal, len(points), geometry.seeds[panel])
        back, reached = back_to_the_sky(
            points, inward, far=far, grade=float(tables.grade), reach=float(tables.reach)
        )
        if any(patch.behind == "unmodelled" for patch in building.patches_of[ids[panel]]):
            back, reached = np.where(reached, back, far), np.ones_like(reached)
        starts.append((points - back[:, np.newaxis] * inward)[reached])
        directions.append(inward[reached])
        weights.append(np.full(int(reached.sum()), np.pi * area))
        panels.append(np.full(int(reached.sum()), panel))
    trace = follow(geometry, starts=np.vstack(starts), directions=np.vstack(directions), home=-1)
    lengths = np.diff(trace.start)
    kept = (trace.first == np.concatenate(panels)) & (lengths > 0)
    crossing = np.repeat(kept, lengths)
    return Chain(
        digest=building.digest,
        weights=np.concatenate(weights)[kept],
        start=np.concatenate(([0], np.cumsum(lengths[kept]))),
        rows=trace.rows[crossing],
        cosines=trace.cosines[crossing],
        space=trace.spaces[crossing],
        side=trace.panels[crossing],
    )


def _towards(normal: np.ndarray, count: int, seed: int) -> np.ndarray:
    """Directions (n, 3) about a normal, their density falling with the cosine."""
    square = scrambled(seed=(_SEED, seed), scrambles=1).points(0, count)[0]
    # shuffled, since a scramble of the sequence that placed the points would follow them in step
    square = np.random.default_rng((_SEED, seed)).permutation(square)
    u, v = axes_across(normal)
    radius = np.sqrt(square[:, 0])  # Malley: even over the disc, lifted onto the hemisphere
    angle = 2.0 * np.pi * square[:, 1]
    height = np.sqrt(np.maximum(1.0 - square[:, 0], 0.0))
    directions = (
        (radius * np.cos(angle))[:, np.newaxis] * u
        + (radius * np.sin(angle))[:, np.newaxis] * v
        + height[:, np.newaxis] * normal
    )
    return np.asarray(directions)
