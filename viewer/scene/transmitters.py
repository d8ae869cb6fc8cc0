"""Transmitters that stand at a place: where they are shown, and the line from a receiver to each.

One near enough to the rooms that are shown stands where it is, even below or above them; one that
is farther comes as an arrow on the ring, as a direction does, with its distance in its label.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.geometry.plane import Floats
from envelope.text import far_length
from viewer.scene.records import Mesh, Ring, Scene, ScenePanel, SceneReceiver, SceneSource, Sight
from viewer.scene.rooms import Rooms

_NEAR = 2.0  # radii of the ring within which a transmitter stands where it is
_WALL_M = 0.45  # two panels nearer to one another are one wall or floor
_CLEAR_M = 0.06  # left open on both sides of what a line passes
_SHORT_M = 0.03  # what is left of a line, too short to be drawn
_DASH_M = 0.16
_STEP_M = 0.27


def is_near(source: SceneSource, ring: Ring) -> bool:
    """Whether a transmitter is shown where it is."""
    if source.position_m is None:
        return False
    away = source.position_m - ring.centre_m
    reach = _NEAR * ring.radius_m
    return bool(np.hypot(away[0], away[1]) <= reach and abs(away[2]) <= reach)


def sights(
    sources: Sequence[SceneSource],
    receivers: Sequence[SceneReceiver],
    panels: Sequence[ScenePanel],
) -> tuple[Sight, ...]:
    """The straight line from every receiver to every transmitter, open where it passes a panel."""
    corners = [
        panel.mesh.vertices[panel.mesh.triangles] for panel in panels if panel.kind != "open"
    ]
    triangles = np.concatenate([np.empty((0, 3, 3)), *corners])
    return tuple(
        Sight(
            source=source.id,
            receiver=receiver.id,
            pieces=_pieces(receiver.position_m, source.position_m, triangles),
        )
        for receiver in receivers
        for source in sources
        if source.position_m is not None
    )


def _pieces(start: Floats, finish: Floats, triangles: Floats) -> tuple[Floats, ...]:
    """Pieces (2, 3) of a line between what it passes, from its start on."""
    way = finish - start
    long = float(np.linalg.norm(way))
    if long < _SHORT_M:
        return ()
    way = way / long
    cuts: list[list[float]] = []
    for at in _met(start, way, triangles):
        if not 0.0 < at < long:
            continue
        if cuts and at - cuts[-1][1] < _WALL_M:
            cuts[-1][1] = at
        else:
            cuts.append([at, at])
    ends = [0.0, *(end for a, b in cuts for end in (a - _CLEAR_M, b + _CLEAR_M)), long]
    return tuple(
        np.array([start + a * way, start + b * way])
        for a, b in zip(ends[::2], ends[1::2], strict=True)
        if b - a > _SHORT_M
    )


def _met(start: Floats, way: Floats, triangles: Floats) -> list[float]:
    """How far along a ray triangles (n, 3, 3) are met, in order. [m]"""
    a, b, c = (triangles[:, k] for k in range(3))
    first, second = b - a, c - a
    across = np.cross(way, second)
    size = np.einsum("ij,ij->i", first, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        from_a = start - a
        u = np.einsum("ij,ij->i", from_a, across) / size
        over = np.cross(from_a, first)
        v = over @ way / size
        at = np.einsum("ij,ij->i", second, over) / size
        hit = (np.abs(size) > 1e-12) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
    return sorted(at[hit].tolist())


def dashes(sight: Sight) -> list[Floats]:
    """What is drawn of a line: whole in the receiver's room, dashed beyond the first panel."""
    drawn = list(sight.pieces[:1])
    for a, b in sight.pieces[1:]:
        long = float(np.linalg.norm(b - a))
        for begin in np.arange(0.0, long, _STEP_M):
            ends = np.array([[begin], [min(begin + _DASH_M, long)]]) / long
            drawn.append(a + ends * (b - a))
    return drawn


def shown_sights(scene: Scene, *, receiver: str, ring: Ring) -> list[Sight]:
    """Lines from a receiver to the transmitters that are shown where they are."""
    near = {source.id for source in scene.sources if is_near(source, ring)}
    return [each for each in scene.sights if each.receiver == receiver and each.source in near]


def way_to(source: SceneSource, receiver: SceneReceiver) -> Floats | None:
    """Unit vector (3,) towards a source: its direction, or from the receiver to its place."""
    if source.direction is not None or source.position_m is None:
        return source.direction
    away = source.position_m - receiver.position_m
    way: Floats = away / max(float(np.linalg.norm(away)), 1e-9)
    return way


def is_hidden(source: SceneSource, rooms: Rooms) -> bool:
    """Whether a transmitter stands in a room that is not shown."""
    return source.space is not None and source.space not in rooms.full


def label_of(
    source: SceneSource, receiver: SceneReceiver, *, scene: Scene, rooms: Rooms, ring: Ring
) -> str:
    """A source's label, with its distance where it is not shown where it is.

    Of one in a room that is not shown it says on which side of what is shown: its mark is drawn
    before floors and walls that hide it, and would else seem to stand on them.

    Parameters
    ----------
    source : SceneSource
    receiver : SceneReceiver
        From where distances count.
    scene : Scene
    rooms : Rooms
        That are shown.
    ring : Ring
    """
    if source.position_m is None:
        return source.label
    if not is_near(source, ring):
        away = float(np.linalg.norm(source.position_m - receiver.position_m))
        return f"{source.label}, {far_length(away, feet=scene.feet)} away"
    if not is_hidden(source, rooms):
        return source.label
    full = [space for space in scene.spaces if space.id in rooms.full]
    height = float(source.position_m[2])
    if height < min(space.floor_m for space in full):
        return f"{source.label}, under this floor"
    if height > max(space.top_m for space in full):
        return f"{source.label}, over this ceiling"
    return f"{source.label}, behind a wall"


def mark_size(ring: Ring) -> float:
    """Half the width of a transmitter's mark. [m]"""
    return 0.026 * ring.radius_m


def diamond(centre_m: Floats, half_m: float) -> Mesh:
    """The mark of a transmitter: a body of eight faces that stands on its tip."""
    tips = np.concatenate((np.eye(3), -np.eye(3))) * half_m * (1.0, 1.0, 1.35)
    triangles = [
        (x, y, z) if (x // 3 + y // 3 + z // 3) % 2 == 0 else (y, x, z)
        for x in (0, 3)
        for y in (1, 4)
        for z in (2, 5)
    ]
    return Mesh(vertices=centre_m + tips, triangles=np.array(triangles, dtype=np.int32))
