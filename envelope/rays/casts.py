"""The casts: rays aimed, walked in chunks by several threads, and gathered.

receiver → one source           Beam         cast_cone, cast_point
source → a space's lit panels   Lit          cast_lit
source → the whole building     Chain        cast_chain
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from envelope.building.model import Building
from envelope.building.point_location import clearance, locate
from envelope.errors import RangeError
from envelope.geometry.directions import axes_across
from envelope.geometry.plane import Floats
from envelope.rays.aiming import aims
from envelope.rays.building_arrays import Geometry, geometry_of
from envelope.rays.kernel.arrays import GROWTH, NORMAL, OFFSET
from envelope.rays.kernel.intersect import PARALLEL
from envelope.rays.kernel.walk import NOWHERE
from envelope.rays.parallel import follow
from envelope.rays.records import (
    Beam,
    Chain,
    Lit,
)
from envelope.rays.sobol import scrambled

SHORT_OF_GROUND = 1e-6  # of the way: a ray that comes up from the ground starts just above it
_NO_REACH = -1.0  # of the ground: below every distance
_SEED = 40_087  # of the casts whose sampling is not asked for


def cast_cone(
    building: Building,
    *,
    space: str,
    position_m: Floats,
    direction: Floats,
    spread_rad: float,
    count: int = 2**12,
    stated: bool = False,
) -> Beam:
    """Cast from a receiver to a source in an exterior direction, an evenly bright cone.

    Parameters
    ----------
    direction : (3,) float
        Unit vector towards the source in the project's axes. [-]
    spread_rad : float
        Half-angle of the cone; 0 casts one ray. [rad]
    stated : bool
        The source is known to shine from there, so that the ground stops none of it
        (`past_the_ground`).
    """
    if not 0.0 <= spread_rad <= np.pi:
        raise RangeError(f"a cone of {spread_rad:g} rad half-angle; allowed: 0 to π")
    geometry = geometry_of(building)
    if stated:
        geometry = past_the_ground(geometry)
    home = space_with(building, space=space, position_m=position_m, what="receiver")
    axis = _unit(direction)
    if spread_rad == 0.0:
        directions = axis[np.newaxis]
    else:
        points = scrambled(seed=(_SEED,), scrambles=1).points(0, count)[0]
        half_sine = np.sqrt(points[:, 0]) * np.sin(0.5 * spread_rad)
        aside = 2.0 * half_sine * np.sqrt(1.0 - half_sine**2)
        turn = 2.0 * np.pi * points[:, 1]
        u, v = axes_across(axis)
        directions = (
            axis * (1.0 - 2.0 * half_sine**2)[:, np.newaxis]
            + u * (aside * np.cos(turn))[:, np.newaxis]
            + v * (aside * np.sin(turn))[:, np.newaxis]
        )
    starts = np.tile(
        np.asarray(position_m, dtype=np.float64) - geometry.middle, (len(directions), 1)
    )
    trace = follow(geometry, starts=starts, directions=directions, home=home)
    return Beam(
        digest=building.digest,
        solid_angle_sr=float(4.0 * np.pi * np.sin(0.5 * spread_rad) ** 2),
        first_panel=trace.first,
        sky=trace.sky,
        weights=np.full(len(directions), 1.0 / len(directions)),
        directions=directions,
        start=trace.start,
        rows=trace.rows,
        cosines=trace.cosines,
    )


def cast_point(
    building: Building,
    *,
    space: str,
    position_m: Floats,
    target_m: Floats,
    target_space: str | None,
) -> Beam:
    """Cast the one ray from a receiver to a point, in a space or outdoors (None).

    The ray is aimed at the point anew after each element that it crosses, so that it ends there.
    """
    geometry = geometry_of(building)
    home = space_with(building, space=space, position_m=position_m, what="receiver")
    goal = point_of(building, space=target_space, position_m=target_m)
    start = np.asarray(position_m, dtype=np.float64)
    target = np.asarray(target_m, dtype=np.float64)
    directions = _unit(target - start)[np.newaxis]
    trace = follow(
        geometry,
        starts=(start - geometry.middle)[np.newaxis],
        directions=directions,
        home=home,
        target=target - geometry.middle,
        target_space=goal,
    )
    return Beam(
        digest=building.digest,
        solid_angle_sr=0.0,
        first_panel=trace.first,
        sky=trace.sky,
        weights=np.ones(1),
        directions=directions,
        start=trace.start,
        rows=trace.rows,
        cosines=trace.cosines,
    )


def cast_lit(
    building: Building,
    *,
    space: str,
    direction: Floats | None = None,
    target_m: Floats | None = None,
    target_space: str | None = None,
    points_per_panel: int = 2**10,
) -> Lit:
    """Cast from the panels of a space out to a source that shines on them from outside.

    Parameters
    ----------
    direction : (3,) float
        Unit vector towards a source in an exterior direction, whose beam the ground does not stop
        (`past_the_ground`); or
    target_m : (3,) float
        a point, in `target_space` or outdoors (None). [m]
    """
    _one_of(direction, target_m)
    geometry = geometry_of(building)
    home = space_index_of(building, space)
    goal = NOWHERE
    if target_m is not None:
        goal = point_of(building, space=target_space, position_m=target_m)
    else:
        geometry = past_the_ground(geometry)
    kinds = []
    for panel in range(*(int(row) for row in geometry.tables.space[home])):
        points, area = on_panel(geometry, panel, points_per_panel)
        towards = _towards(geometry, points, direction=direction, target_m=target_m)
        cosine = -(towards @ geometry.tables.plane[panel, NORMAL:OFFSET])
        if cosine.min() > PARALLEL:
            first = ~_behind_own_niche(building, geometry, panel, points, towards)
            kinds.append((np.full(len(points), panel), points, towards, cosine * area * first))
    if not kinds:
        kinds = [(np.empty(0, int), np.empty((0, 3)), np.empty((0, 3)), np.empty(0))]
    panels, points, towards, areas = (np.concatenate(part) for part in zip(*kinds, strict=True))
    trace = follow(
        geometry,
        starts=points,
        directions=towards,
        home=home,
        known=panels.astype(np.int64),
        target=None
        if target_m is None
        else np.asarray(target_m, dtype=np.float64) - geometry.middle,
        target_space=goal,
    )
    return Lit(
        digest=building.digest,
        panel=panels.astype(np.int32),
        points=points + geometry.middle,
        directions=towards,
        area_m2=np.where(trace.returned == 1, 0.0, areas),
        sky=trace.sky,
        start=trace.start,
        rows=trace.rows,
        cosines=trace.cosines,
    )


def _behind_own_niche(
    building: Building, geometry: Geometry, panel: int, points: Floats, towards: Floats
) -> NDArray[np.bool_]:
    """Which rays (n,) out of a wall run through a niche in it, whose pane is lit before the wall.

    The walk passes them by, since the wall that they have gone through carries the niche.
    """
    found = np.zeros(len(points), dtype=bool)
    starts = points + geometry.middle
    for reveal in building.space(building.panels[panel].space).panels:
        if reveal.kind != "reveal" or reveal.host != building.panels[panel].id:
            continue
        along = towards @ reveal.normal
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            t = ((reveal.frame.origin - starts) @ reveal.normal) / along
        met = (along > PARALLEL) & (t > 0.0)
        flat = reveal.frame.flatten(starts + np.where(met, t, 0.0)[:, np.newaxis] * towards)
        corners = reveal.frame.flatten(reveal.outline)
        within = (flat >= corners.min(axis=0)) & (flat <= corners.max(axis=0))  # a rectangle
        found |= met & within.all(axis=1)
    return found


def cast_chain(
    building: Building,
    *,
    direction: Floats | None = None,
    source_m: Floats | None = None,
    source_space: str | None = None,
    count: int = 2**14,
) -> Chain:
    """Cast from a source inward through the whole building.

    Every panel that the source may light first is aimed at: from behind by a source outdoors, from
    inside by one in a space. Rays that something else meets first are dropped.

    Parameters
    ----------
    direction : (3,) float
        Unit vector towards a source in an exterior direction, whose beam the ground does not stop
        (`past_the_ground`); or
    source_m : (3,) float
        a point, in `source_space` or outdoors (None). [m]
    count : int
        Rays in all, about; no panel gets fewer than 64.
    """
    geometry = geometry_of(building)
    _one_of(direction, source_m)
    home = -1
    starts, directions, weights, panels = [], [], [], []
    if source_m is None:
        assert direction is not None
        towards = _unit(direction)
        facing = -(geometry.tables.plane[:, NORMAL:OFFSET] @ towards)
        areas = np.array([panel.area_m2 for panel in building.panels]) * facing
        lit = np.flatnonzero(facing > PARALLEL)
        total = areas[lit].sum()
        for panel in lit.tolist():
            points, area = on_panel(geometry, panel, share_of(count, areas[panel] / total))
            inward = np.tile(-towards, (len(points), 1))
            back, reached = back_to_the_sky(
                points,
                inward,
                far=2.0 * geometry.radius_m + 1.0,
                grade=float(geometry.tables.grade),
                reach=_NO_REACH,
            )
            starts.append((points - back[:, np.newaxis] * inward)[reached])
            directions.append(inward[reached])
            weights.append(np.full(int(reached.sum()), area * facing[panel]))
            panels.append(np.full(int(reached.sum()), panel))
    else:
        home = point_of(building, space=source_space, position_m=source_m)
        eye = np.asarray(source_m, dtype=np.float64) - geometry.middle
        stretch = range(len(building.panels))
        if home >= 0:
            stretch = range(*(int(row) for row in geometry.tables.space[home]))
        targets = aims(
            geometry, panels=stretch, eye=eye, seed=(_SEED,), scrambles=1, behind=home < 0
        )
        whole = sum(aim.solid_angle_sr for aim in targets)
        for aim in targets:
            n = share_of(count, aim.solid_angle_sr / whole)
            directions.append(aim.directions(0, n))
            starts.append(np.tile(eye, (n, 1)))
            weights.append(np.full(n, aim.solid_angle_sr / n))
            panels.append(np.full(n, aim.panel))
    trace = follow(geometry, starts=np.vstack(starts), directions=np.vstack(directions), home=home)
    lengths = np.diff(trace.start)
    met = trace.first
    if home >= 0:  # the panel itself, which an `open` one does not give as the first
        met = np.full(len(lengths), -1)
        met[lengths > 0] = trace.panels[trace.start[:-1][lengths > 0]]
    kept = (met == np.concatenate(panels)) & (lengths > 0)
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


def past_the_ground(geometry: Geometry) -> Geometry:
    """The same geometry where the ground near the building stops no ray.

    That it does is how surveys count open directions, not physics: it says from where something
    may come. Where a source shines from is stated (its mirrored partner comes up from the ground
    by construction), so its beam is stopped by what stands in its way alone: earth behind a
    panel, an obstacle.
    """
    return replace(geometry, tables=geometry.tables._replace(reach=_NO_REACH))


def share_of(count: int, share: float) -> int:
    return max(64, int(np.ceil(count * share)))


def space_index_of(building: Building, space: str) -> int:
    if space not in building.space_index:
        raise RangeError(
            f"there is no space {space!r}; allowed: {', '.join(sorted(building.space_index))}"
        )
    return building.space_index[space]


def space_with(building: Building, *, space: str, position_m: Floats, what: str) -> int:
    """Index of a space that holds a point, clear of its panels."""
    index = space_index_of(building, space)
    position = np.asarray(position_m, dtype=np.float64)
    if not (np.isfinite(position).all() and clearance(building.spaces[index], position) > GROWTH):
        raise RangeError(
            f"the {what} at {_place(position)} is not inside space {space!r}; "
            "allowed: a point clear of its panels"
        )
    return index


def point_of(building: Building, *, space: str | None, position_m: Floats) -> int:
    """Index of the space that holds a point source; -1 outdoors, where no space may hold it."""
    if space is not None:
        return space_with(building, space=space, position_m=position_m, what="source")
    position = np.asarray(position_m, dtype=np.float64)
    if not np.isfinite(position).all():
        raise RangeError(f"the source at {_place(position)}; allowed: finite coordinates")
    other = locate(building, position)
    if other is not None:
        raise RangeError(
            f"the source at {_place(position)} is said to be outdoors but lies in space "
            f"{other!r}; allowed: a point outside every space"
        )
    return -1


def _place(position_m: Floats) -> str:
    return f"({', '.join(f'{value:g}' for value in position_m)}) m"


def _one_of(direction: Floats | None, point_m: Floats | None) -> None:
    if (direction is None) == (point_m is None):
        given = "neither" if direction is None else "both"
        raise RangeError(f"{given} of a direction and a point given; allowed: exactly one")


def _unit(vector: Floats) -> Floats:
    values = np.asarray(vector, dtype=np.float64)
    length = float(np.linalg.norm(values))
    if not (np.isfinite(length) and length > 0.0):
        raise RangeError(f"a direction of length {length:g}; allowed: any finite one above 0")
    unit: Floats = values / length
    return unit


def _towards(
    geometry: Geometry, points: Floats, *, direction: Floats | None, target_m: Floats | None
) -> Floats:
    """Unit vectors (n, 3) from points to a source."""
    if target_m is None:
        assert direction is not None
        return np.tile(_unit(direction), (len(points), 1))
    away = np.asarray(target_m, dtype=np.float64) - geometry.middle - points
    unit: Floats = away / np.linalg.norm(away, axis=1)[:, np.newaxis]
    return unit


def on_panel(geometry: Geometry, panel: int, count: int) -> tuple[Floats, float]:
    """Points (n, 3) spread evenly over a panel's area, and the area that each stands for. [m²]"""
    triangles = geometry.triangles[panel]
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    total = float(areas.sum())
    shares = np.concatenate(([0.0], np.cumsum(areas) / total))
    square = scrambled(seed=(_SEED, geometry.seeds[panel]), scrambles=1).points(0, count)[0]
    chosen = np.minimum(np.searchsorted(shares[1:], square[:, 0], side="right"), len(triangles) - 1)
    within = (square[:, 0] - shares[chosen]) / np.diff(shares)[chosen]
    root = np.sqrt(np.clip(within, 0.0, 1.0))[:, np.newaxis]  # evenly over the area
    along = square[:, 1:]
    points: Floats = (1.0 - root) * a[chosen] + root * (
        (1.0 - along) * b[chosen] + along * c[chosen]
    )
    return points, total / count


def back_to_the_sky(
    points: np.ndarray, inward: np.ndarray, *, far: float, grade: float, reach: float
) -> tuple[np.ndarray, np.ndarray]:
    """How far back a ray starts, and whether it comes from an exposed direction."""
    rises = inward[:, 2] > 0.0
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        to_ground = np.where(rises, (points[:, 2] - grade) / inward[:, 2], np.inf)
    aside = np.hypot(inward[:, 0], inward[:, 1])
    with np.errstate(invalid="ignore"):
        exposed = ~rises | ((to_ground >= 0.0) & (to_ground * aside > reach))
    back = np.minimum(far, np.where(rises, to_ground * (1.0 - SHORT_OF_GROUND), far))
    return back, exposed
