"""Which rooms a picture shows, and where its compass, arrows and names stand. No 3D library."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from envelope.exposure.results import PanelLeak
from envelope.geometry.plane import Floats
from viewer.scene.build import arrow_on
from viewer.scene.meshes import STUB_M
from viewer.scene.records import Ring, Scene, ScenePanel
from viewer.scene.shapes import Shape
from viewer.scene.transmitters import diamond, is_near, mark_size, way_to
from viewer.scene.view import View

_BELOW_M = 0.3  # from which depth under grade a room's picture shows the ground's level
_AROUND_M = 0.9  # so much of the rooms around is shown
_NAMED_FROM = 0.005  # least share of a seam, or of what is no gap, that has a label
_APART_M = 0.05  # half of what lies between buildings at least
_SHELL = ("wall", "floor", "ceiling")


EDGE_ON = 1e-3  # cosine below which a panel stands edge on


@dataclass(frozen=True, slots=True, kw_only=True)
class Cast:
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


def cast_of(
    *,
    scene: Scene,
    receiver: str,
    storey: str | None = None,
    whole: bool = False,
    peeled: int = 0,
) -> Cast:
    """Rooms of a picture: of a receiver (and what opens into its room), of one storey, or of the
    whole house, perhaps without so many storeys from the top."""
    spaces = {space.id: space for space in scene.spaces}
    order = [each.id for each in scene.storeys]
    if whole:
        kept = order[: max(1, len(order) - peeled)]
        return Cast(
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
    return Cast(
        full=full,
        low=tuple(
            space.id for space in scene.spaces if space.storey == level and space.id not in full
        ),
        below=tuple(
            space.id for space in scene.spaces if place and space.storey == order[place - 1]
        ),
    )


def other_buildings(scene: Scene, cast: Cast) -> tuple[str, ...]:
    """Rooms of buildings that stand apart from what is shown and of which nothing is."""
    plans = {
        space.id: shapely.union_all([Polygon(ring).buffer(_APART_M) for ring in space.outer])
        for space in scene.spaces
    }
    buildings = shapely.union_all(list(plans.values()))
    shown = shapely.union_all([plans[name] for name in (*cast.full, *cast.below)])
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


def ring_for(*, scene: Scene, cast: Cast) -> Ring:
    """The compass ring around what a picture shows, below its floor."""
    low_x, low_y, high_x, high_y = plan_of(scene, cast.full).union(cast.around(scene)).bounds
    rooms = [space for space in scene.spaces if space.id in cast.full]
    ground = min(float(space.base.vertices[:, 2].min()) for space in rooms)
    return Ring(
        centre_m=np.array([(low_x + high_x) / 2, (low_y + high_y) / 2, ground]),
        radius_m=1.06 * 0.5 * math.hypot(high_x - low_x, high_y - low_y) + 0.25,
        north=scene.ring.north,
    )


def extent(*, scene: Scene, cast: Cast, ring: Ring, view: View, receiver: str) -> Floats:
    """Points (n, 3) that a picture must hold: rooms, ring, arrows and transmitters."""
    points = [ring_points(ring, 73)]
    for space in scene.spaces:
        if space.id in cast.full:
            for outline in space.outer:
                points.append(np.column_stack((outline, np.full(len(outline), space.top_m))))
    ends = arrows(scene=scene, cast=cast, ring=ring, view=view, receiver=receiver)
    points += [np.array(pair) for _, pair in ends]
    for source in scene.sources:
        if source.position_m is not None and is_near(source, ring):
            points.append(diamond(source.position_m, 2.0 * mark_size(ring)).vertices)
    return np.concatenate(points)


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


def arrows(
    *, scene: Scene, cast: Cast, ring: Ring, view: View, receiver: str
) -> list[tuple[str, tuple[Floats, Floats]]]:
    """Tail and tip of the arrow of every source that is not shown where it is, by its id.

    The tip stands over the ring, no higher than it takes to be seen past the room.
    """
    rooms = [space for space in scene.spaces if space.id in cast.full]
    axes = np.array([view.right, view.up])
    hull = shapely.union_all(
        [shapely.convex_hull(shapely.MultiPoint(room.block.vertices @ axes.T)) for room in rooms]
    )
    top = max(room.top_m for room in rooms)
    found = []
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
        found.append((source.id, ends))
    return found


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


def named_panels(
    *, scene: Scene, plan: str, receiver: str, cast: Cast, view: View
) -> tuple[tuple[ScenePanel, PanelLeak], ...]:
    """Panels worth a label: the gaps, then the others, each by what they let in, the most first.

    Jambs go without, and so do what lets in next to nothing and an opening that is no gap in a wall
    that is cut away.
    """
    gaps, others = [], []
    for panel, leak in scene.leaks(plan=plan, receiver=receiver):
        if panel.space not in cast.full or panel.kind == "reveal":
            continue
        if leak.is_gap:
            if panel.kind != "seam" or leak.share >= _NAMED_FROM:
                gaps.append((panel, leak))
        elif leak.share >= _NAMED_FROM and (panel.kind in _SHELL or seen(panel, scene, view)):
            others.append((panel, leak))
    return (*gaps, *others)


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


def roof_lines(*, scene: Scene, cast: Cast, view: View) -> list[Floats]:
    """Outlines (n, 3) of ceilings that are cut away, in rooms where one slopes.

    Nothing else tells the roof's shape.
    """
    ceilings = [
        panel for panel in scene.panels if panel.kind == "ceiling" and panel.space in cast.full
    ]
    sloped = {panel.space for panel in ceilings if abs(float(panel.normal[2])) < 0.999}
    return [
        ring
        for panel in ceilings
        if panel.space in sloped and not faces(panel, view)
        for ring in panel.outlines[:1]
    ]


def grade_lines(*, scene: Scene, cast: Cast, view: View) -> list[Floats]:
    """Where the ground outside ends on walls that show, each (2, 3); none for rooms above it."""
    found = []
    floors = {space.id: space.floor_m for space in scene.spaces}
    for wall in scene.panels:
        if wall.kind != "wall" or wall.space not in cast.full or not faces(wall, view):
            continue
        if floors[wall.space] > scene.grade_m - _BELOW_M or abs(float(wall.normal[2])) > 0.02:
            continue
        if not {"outdoors", "earth"}.intersection(wall.behind):
            continue
        along = np.cross(wall.normal, (0.0, 0.0, 1.0))
        rings = [np.column_stack((ring @ along, ring[:, 2])) for ring in wall.outlines]
        low, high = float(rings[0][:, 0].min()), float(rings[0][:, 0].max())
        line = shapely.LineString([(low, scene.grade_m), (high, scene.grade_m)])
        met = line.intersection(Polygon(rings[0], rings[1:]).buffer(0))
        for piece in getattr(met, "geoms", (met,)):
            if piece.length > 0.02:
                ends = np.array(piece.coords)
                foot = wall.centre_m + (ends[:, :1] - wall.centre_m @ along) * along
                foot[:, 2] = scene.grade_m
                found.append(foot)
    return found


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


def room_names(*, scene: Scene, cast: Cast) -> list[tuple[str, Floats]]:
    """Names of the rooms around and where on their floors they stand, each (3,)."""
    around = cast.around(scene)
    found = []
    for space in scene.spaces:
        if space.id in cast.low:
            floor = shapely.union_all([Polygon(ring) for ring in space.footprint])
            part = floor.intersection(around)
            if part.area > 0.6:
                x, y = part.representative_point().coords[0]
                found.append((space.id, np.array([x, y, space.floor_m])))
    return found
