"""Which rooms a picture shows, and where its compass, arrows and names stand. No 3D library."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from envelope.exposure.results import PanelLeak
from envelope.geometry.plane import Floats
from viewer.scene.meshes import STUB_M
from viewer.scene.records import Scene, ScenePanel
from viewer.scene.shapes import Shape
from viewer.scene.view import View

_BELOW_M = 0.3  # from which depth under grade a room's picture shows the ground's level
_AROUND_M = 0.9  # so much of the rooms around is shown
_APART_M = 0.05  # half of what lies between buildings at least


EDGE_ON = 1e-3  # cosine below which a panel stands edge on


@dataclass(frozen=True, slots=True, kw_only=True)
class Rooms:
    """Which rooms a picture shows, and how."""

    full: tuple[str, ...]
    low: tuple[str, ...]  # around: cut low, and only so far as they are near
    below: tuple[str, ...]  # stood upon: hinted at

    def around(self, scene: Scene) -> Shape:
        """Plan of what is shown of the rooms around, walls included."""
        full = plan_of(scene, self.full)
        zone = full.buffer(_AROUND_M, join_style="mitre")
        near = plan_of(scene, self.low).intersection(zone).difference(full.buffer(1e-3))
        return near.buffer(-0.01, join_style="mitre").buffer(0.01, join_style="mitre")


def plan_of(scene: Scene, spaces: Sequence[str]) -> Shape:
    """Plan of rooms with their walls, small cracks between them closed."""
    rings = [ring for space in scene.spaces if space.id in spaces for ring in space.outer]
    whole: Shape = shapely.union_all(
        [Polygon(ring).buffer(0.03, join_style="mitre") for ring in rings]
    )
    return whole.buffer(-0.03, join_style="mitre")


def rooms_of(
    *,
    scene: Scene,
    receiver: str,
    storey: str | None = None,
    whole: bool = False,
    peeled: int = 0,
) -> Rooms:
    """Rooms of a picture: of a receiver (and what opens into its room), of one storey, or of the
    whole house, perhaps without so many storeys from the top."""
    spaces = {space.id: space for space in scene.spaces}
    order = [each.id for each in scene.storeys]
    if whole:
        kept = order[: max(1, len(order) - peeled)]
        return Rooms(
            full=tuple(space.id for space in scene.spaces if space.storey in kept),
            low=(),
            below=(),
        )
    if storey is None:
        room = scene.receivers[scene.receiver_index[receiver]].space
        full = _joined(scene, room)
        level = spaces[room].storey
    else:
        level = storey
        full = tuple(space.id for space in scene.spaces if space.storey == storey)
    place = order.index(level)
    return Rooms(
        full=full,
        low=tuple(
            space.id for space in scene.spaces if space.storey == level and space.id not in full
        ),
        below=tuple(
            space.id for space in scene.spaces if place and space.storey == order[place - 1]
        ),
    )


def other_buildings(scene: Scene, rooms: Rooms) -> tuple[str, ...]:
    """Rooms of buildings that stand apart from what is shown and of which nothing is."""
    plans = {
        space.id: shapely.union_all([Polygon(ring).buffer(_APART_M) for ring in space.outer])
        for space in scene.spaces
    }
    buildings = shapely.union_all(list(plans.values()))
    shown = shapely.union_all([plans[name] for name in (*rooms.full, *rooms.below)])
    apart = [piece for piece in shapely.get_parts(buildings) if not piece.intersects(shown)]
    return tuple(
        name for name, plan in plans.items() if any(piece.intersects(plan) for piece in apart)
    )


def _joined(scene: Scene, room: str) -> tuple[str, ...]:
    """A room and the rooms that a bare opening makes one with it."""
    found = [room]
    ids = set(scene.space_index)
    for panel in (panel for _ in scene.spaces for panel in scene.panels):
        if panel.kind == "open" and panel.space in found:
            found += [name for name in panel.behind if name in ids and name not in found]
    return tuple(found)


def faces(panel: ScenePanel, view: View) -> bool:
    """Whether a panel's inside is turned to the eye."""
    return float(panel.normal @ view.towards_eye) > EDGE_ON


def seen(panel: ScenePanel, scene: Scene, view: View) -> bool:
    """Whether a panel shows: turned to the eye, and so is the wall that carries it."""
    host = panel.host if panel.host in scene.panel_index else None
    return faces(panel, view) and (
        host is None or faces(scene.panels[scene.panel_index[host]], view)
    )


def leak_of(*, scene: Scene, panel: ScenePanel, plan: str, receiver: str) -> PanelLeak | None:
    """What is found for a panel."""
    if not panel.states:
        return None
    return panel.states[scene.plan_index[plan]].leaks[scene.receiver_index[receiver]]


def mark_of(panel: ScenePanel, view: View) -> Floats:
    """Where a label's line ends (3,): a panel's middle, or what is left of it when cut away."""
    if faces(panel, view) or panel.kind not in ("wall", "ceiling"):
        return panel.mark_m
    ring = panel.outlines[0]
    middles = 0.5 * (ring + np.roll(ring, -1, axis=0))
    if panel.kind == "ceiling":
        highest: Floats = middles[int((middles @ view.up).argmax())]
        return highest
    lowest: Floats = middles[int(middles[:, 2].argmin())] + (0.0, 0.0, STUB_M)
    return lowest


def edges_of(panel: ScenePanel, view: View) -> Floats:
    """Middles (n, 3) of the longer edges of a face that is cut away, what stands free first.

    Of a wall or an opening that is the upper edge, of a ceiling the one that is nearest to the eye:
    nothing but the outline itself is drawn there.
    """
    ring = panel.outlines[0]
    middles = 0.5 * (ring + np.roll(ring, -1, axis=0))
    lengths = np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1)
    middles = middles[lengths > 0.3 * lengths.max()]
    along = view.towards_eye * (1.0, 1.0, 0.0) if panel.kind == "ceiling" else (0.0, 0.0, 1.0)
    order: Floats = middles[np.argsort(-(middles @ np.asarray(along)), kind="stable")]
    return order


def cut_roofs(*, scene: Scene, rooms: Rooms, view: View) -> list[ScenePanel]:
    """Ceilings that are cut away, in rooms where one slopes: they tell the roof's shape."""
    ceilings = [
        panel for panel in scene.panels if panel.kind == "ceiling" and panel.space in rooms.full
    ]
    sloped = {panel.space for panel in ceilings if abs(float(panel.normal[2])) < 0.999}
    return [panel for panel in ceilings if panel.space in sloped and not faces(panel, view)]


def roof_lines(*, scene: Scene, rooms: Rooms, view: View) -> list[Floats]:
    """Outlines (n, 3) of ceilings that are cut away, in rooms where one slopes."""
    return [panel.outlines[0] for panel in cut_roofs(scene=scene, rooms=rooms, view=view)]


def ground_lines(wall: ScenePanel, *, scene: Scene) -> tuple[Floats, ...]:
    """Where the ground outside ends on a wall, each (2, 3); none for rooms above it."""
    if wall.kind != "wall" or abs(float(wall.normal[2])) > 0.02:
        return ()
    if scene.spaces[scene.space_index[wall.space]].floor_m > scene.grade_m - _BELOW_M:
        return ()
    if not {"outdoors", "earth"}.intersection(wall.behind):
        return ()
    along = np.cross(wall.normal, (0.0, 0.0, 1.0))
    rings = [np.column_stack((ring @ along, ring[:, 2])) for ring in wall.outlines]
    low, high = float(rings[0][:, 0].min()), float(rings[0][:, 0].max())
    line = shapely.LineString([(low, scene.grade_m), (high, scene.grade_m)])
    met = line.intersection(Polygon(rings[0], rings[1:]).buffer(0))
    found = []
    for piece in getattr(met, "geoms", (met,)):
        if piece.length > 0.02:
            ends = np.array(piece.coords)
            foot = wall.centre_m + (ends[:, :1] - wall.centre_m @ along) * along
            foot[:, 2] = scene.grade_m
            found.append(foot)
    return tuple(found)


def grade_lines(*, scene: Scene, rooms: Rooms, view: View) -> list[Floats]:
    """Where the ground outside ends on walls that show, each (2, 3)."""
    return [
        line
        for wall in scene.panels
        if wall.space in rooms.full and faces(wall, view)
        for line in ground_lines(wall, scene=scene)
    ]


def room_names(*, scene: Scene, rooms: Rooms) -> list[tuple[str, Floats]]:
    """Names of the rooms around and where on their floors they stand, each (3,)."""
    around = rooms.around(scene)
    found = []
    for space in scene.spaces:
        if space.id in rooms.low:
            floor = shapely.union_all([Polygon(ring) for ring in space.footprint])
            part = floor.intersection(around)
            if part.area > 0.6:
                x, y = part.representative_point().coords[0]
                found.append((space.id, np.array([x, y, space.floor_m])))
    return found
