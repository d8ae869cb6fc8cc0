"""What a picture shows of a house: which rooms, from which corner, and what stands around them.

Nothing here moves with the eye: a picture and a page of one job begin alike. A page turns from
there; its arrows, marks and arcs stay where they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely

from envelope.geometry.plane import Floats
from envelope.text.names import shown
from viewer.scene.compass import arrow_on, blocked_arcs, ring_at, ring_for, ring_points
from viewer.scene.records import Ring, Scene
from viewer.scene.rooms import Rooms, rooms_of
from viewer.scene.transmitters import (
    diamond,
    is_hidden,
    is_near,
    label_of,
    mark_size,
    way_to,
)
from viewer.scene.view import View, best_view

STOREY_ELEVATION_RAD = math.radians(48.0)  # a whole storey is seen from higher up
ARC_REACH = 1.025  # radii of the ring at which an arc stands


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SourceMark:
    """A source in a picture: an arrow on the ring, or the place where it stands."""

    source: str
    label: str
    short: str  # where there is little room
    at_m: Floats  # (3,) of what the label names
    arrow_m: tuple[Floats, Floats] | None  # tail and tip; None where it stands in the picture
    hidden: bool = False  # stands in a room that is not shown, below, above or beside it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arc:
    """A part of the ring before something outdoors that blocks."""

    id: str
    points_m: Floats  # (n, 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scope:
    """What is shown around a receiver, and from where it is seen first."""

    receiver: str
    storey: str | None  # all rooms of one storey
    whole: bool  # all rooms, but for `peeled` storeys from the top
    peeled: int
    rooms: Rooms
    ring: Ring
    view: View
    marks: tuple[SourceMark, ...]
    arcs: tuple[Arc, ...]


def corner_of(scene: Scene, *, receiver: str) -> View:
    """The corner from which a receiver's room is seen first."""
    return best_view(scene=scene, spaces=rooms_of(scene=scene, receiver=receiver).full)


def scope_of(
    scene: Scene,
    *,
    receiver: str,
    storey: str | None = None,
    whole: bool = False,
    peeled: int = 0,
    view: View | None = None,
) -> Scope:
    """What is shown around a receiver.

    Parameters
    ----------
    scene : Scene
    receiver : str
        Whose room is shown.
    storey : str, optional
        Show every room of this storey instead.
    whole : bool
        Show every room of the house instead.
    peeled : int
        Storeys taken off the top of the whole house; the lowest always stays.
    view : View, optional
        Where the eye stands first; unless stated the corner that shows most openings.
    """
    if view is None:
        view = corner_of(scene, receiver=receiver)
        if storey is not None:
            view = replace(view, elevation_rad=STOREY_ELEVATION_RAD)
    rooms = rooms_of(scene=scene, receiver=receiver, storey=storey, whole=whole, peeled=peeled)
    ring = ring_for(scene=scene, rooms=rooms)
    return Scope(
        receiver=receiver,
        storey=storey,
        whole=whole,
        peeled=peeled,
        rooms=rooms,
        ring=ring,
        view=view,
        marks=_marks(scene, rooms, ring, view, receiver),
        arcs=tuple(
            Arc(id=name, points_m=ring_at(ring, turns, reach=ARC_REACH))
            for name, turns in blocked_arcs(scene, ring)
        ),
    )


def scopes(scene: Scene) -> Iterator[Scope]:
    """Every scope that a page offers: by receiver its room, each storey, the house, peeled."""
    for receiver in scene.receivers:
        view = corner_of(scene, receiver=receiver.id)
        yield scope_of(scene, receiver=receiver.id, view=view)
        higher = replace(view, elevation_rad=STOREY_ELEVATION_RAD)
        for storey in scene.storeys:
            yield scope_of(scene, receiver=receiver.id, storey=storey.id, view=higher)
        for peeled in range(max(len(scene.storeys), 1)):
            yield scope_of(scene, receiver=receiver.id, whole=True, peeled=peeled, view=view)


def extent(scene: Scene, scope: Scope) -> Floats:
    """Points (n, 3) that a picture must hold: rooms, ring, arrows and transmitters."""
    points = [ring_points(scope.ring, 73)]
    for space in scene.spaces:
        if space.id in scope.rooms.full:
            for outline in space.outer:
                points.append(np.column_stack((outline, np.full(len(outline), space.top_m))))
    for mark in scope.marks:
        if mark.arrow_m is not None:
            points.append(np.array(mark.arrow_m))
        else:
            points.append(diamond(mark.at_m, 2.0 * mark_size(scope.ring)).vertices)
    return np.concatenate(points)


def _marks(
    scene: Scene, rooms: Rooms, ring: Ring, view: View, receiver: str
) -> tuple[SourceMark, ...]:
    who = scene.receivers[scene.receiver_index[receiver]]
    arrows = dict(_arrows(scene, rooms, ring, view, receiver))
    found = []
    for source in scene.sources:
        arrow = arrows.get(source.id)
        at_m = source.position_m if arrow is None else arrow[0]
        if at_m is None:
            continue  # from everywhere
        found.append(
            SourceMark(
                source=source.id,
                label=label_of(source, who, scene=scene, rooms=rooms, ring=ring),
                short=shown(source.name, limit=24),
                at_m=at_m,
                arrow_m=arrow,
                hidden=arrow is None and is_hidden(source, rooms),
            )
        )
    return tuple(found)


def _arrows(
    scene: Scene, rooms: Rooms, ring: Ring, view: View, receiver: str
) -> Iterator[tuple[str, tuple[Floats, Floats]]]:
    """Tail and tip of the arrow of every source that is not shown where it is, by its id.

    The tip stands over the ring, no higher than it takes to be seen past the room.
    """
    shown_spaces = [space for space in scene.spaces if space.id in rooms.full]
    axes = np.array([view.right, view.up])
    hull = shapely.union_all(
        [
            shapely.convex_hull(shapely.MultiPoint(room.block.vertices @ axes.T))
            for room in shown_spaces
        ]
    )
    top = max(room.top_m for room in shown_spaces)
    for source in scene.sources:
        way = way_to(source, scene.receivers[scene.receiver_index[receiver]])
        if way is None or is_near(source, ring):
            continue
        for height in np.linspace(float(ring.centre_m[2]), top + 0.5, 12):
            ends = arrow_on(
                np.array([*ring.centre_m[:2], height]),
                radius_m=ring.radius_m,
                direction=way,
                length_m=0.24 * ring.radius_m,
            )
            line = shapely.LineString(np.array(ends) @ axes.T).buffer(0.03 * ring.radius_m)
            if not line.intersects(hull):
                break
        yield source.id, ends
