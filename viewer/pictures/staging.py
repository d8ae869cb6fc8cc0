"""What a cutaway shows, in the order in which it is drawn: bodies and lines, no 3D library.

The room of the receiver stands in full, near walls cut to stubs; rooms of the same storey lie
around it cut low; of the storey below only the top is hinted at; others are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from envelope.building.model import OPENING_KINDS
from envelope.building.rooms.specs import GAPS
from envelope.exposure.results import PanelLeak
from envelope.geometry.plane import Floats
from viewer.pictures.cables import wiring_bodies
from viewer.scene.colours import AMBER, LANDING, Theme, cividis, is_dark
from viewer.scene.compass import ring_at, ring_points
from viewer.scene.highlights import MAX_BEAMS, beam_order, is_outlined, let_in_db, named_faces
from viewer.scene.meshes import STUB_M, pieces_of, prism
from viewer.scene.openings import tilted
from viewer.scene.records import (
    Mesh,
    Ring,
    Scene,
    SceneBeam,
    ScenePanel,
)
from viewer.scene.rooms import (
    EDGE_ON,
    Rooms,
    cut_roofs,
    faces,
    grade_lines,
    leak_of,
    plan_of,
    roof_lines,
    seen,
)
from viewer.scene.scopes import Scope
from viewer.scene.shapes import (
    Body,
    Colour,
    Line,
    Shape,
    arrow,
    creases,
    dashed,
    fading_sides,
    flat_body,
    furniture_body,
    plan_shape,
    proper_lines,
    superellipsoid,
    upright_bands,
)
from viewer.scene.transmitters import dashes, diamond, mark_size, shown_sights
from viewer.scene.view import Camera, View

Quantity = Literal["let-in", "loss", "treatment", "wiring"]
_DASH_PX = 9.0  # long a dash of the outline of a face that is cut away
_GAP_PX = 1.9  # half the width of an outline
_BEAM_OPACITY = 0.1
_ROOF_OPACITY = 0.08  # of a slope that is cut away: its shape is told, what lies behind it shows
_LANDING_OPACITY = {True: 0.4, False: 0.22}  # on a bed, on a panel


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stage:
    """Everything of one picture but its words."""

    bodies: tuple[Body, ...]
    lines: tuple[Line, ...]
    beams: tuple[SceneBeam, ...]  # those shown


def stage(
    *,
    scene: Scene,
    plan: str,
    receiver: str,
    scope: Scope,
    camera: Camera,
    theme: Theme,
    quantity: Quantity = "let-in",
) -> Stage:
    """Bodies and lines of a cutaway, the far-away and the ground first."""
    pixel = camera.metres_per_pixel
    rooms, ring = scope.rooms, scope.ring
    spaces = {space.id: space for space in scene.spaces}
    home = scene.receivers[scene.receiver_index[receiver]].space
    beams: tuple[SceneBeam, ...] = ()
    if home in rooms.full and quantity != "wiring":
        order = beam_order(scene, plan=plan, receiver=receiver)
        beams = tuple(scene.beams[index] for index in order[:MAX_BEAMS])
    around = rooms.around(scene)
    standing = plan_of(scene, rooms.full).union(around)
    if rooms.below:
        bodies = _skirt(plan_of(scene, rooms.below), standing, ring, theme, camera.view)
    else:
        bodies = _ground_shadow(standing, ring)
    lines = _ring_lines(ring, theme, pixel)
    bodies += _low_rooms(scene, rooms, around, ring, theme)
    for name in rooms.full:
        bodies.append(Body(mesh=spaces[name].base, colour=theme.plinth, of=name))
    for wall in scene.walls:
        if wall.space in rooms.full:
            near = float(wall.normal @ camera.view.towards_eye) <= EDGE_ON
            mesh = wall.stub if near else wall.standing
            bodies.append(Body(mesh=mesh, colour=theme.rim, of=wall.panel))
    for panel in scene.panels:
        if panel.space not in rooms.full:
            continue
        leak = leak_of(scene=scene, panel=panel, plan=plan, receiver=receiver)
        if panel.kind == "open" and leak is None:
            continue  # one looks through it
        if panel.states and panel.states[scene.plan_index[plan]].stands == "tilted":
            if seen(panel, scene, camera.view):
                bodies.append(_behind_leaf(panel, scene, plan, receiver, theme, quantity))
            panel = tilted(panel, scene)
        if seen(panel, scene, camera.view):
            inside = _panel_bodies(panel, leak, scene, plan, receiver, theme, quantity)
            bodies += inside
            opening = panel.kind in OPENING_KINDS
            width = 0.8 if opening or panel.kind in ("reveal", "seam") else 1.3
            edge = theme.ring if is_dark(inside[0].colour) else theme.edge
            lines += _outlines(panel, camera.view, theme.rim if opening else edge, width * pixel)
        elif panel.kind == "reveal":
            continue
        if leak is not None and is_outlined(leak) and quantity != "wiring":
            lines += _gap_lines(panel, scene, camera)
    lines += _hints(scene, scope, theme, camera)
    if quantity != "wiring":
        lines += _cut_faces(scene, plan, receiver, scope, theme, camera)
    for each in scene.receivers:
        if each.space in rooms.full:
            for piece in each.furniture:
                bodies.append(furniture_body(piece))
            if each.size_m is None:
                bodies.append(
                    Body(
                        mesh=superellipsoid((0.06, 0.06, 0.06), 1.0, each.position_m, 0.0),
                        colour=theme.ink,
                        smooth=True,
                        of=each.id,
                    )
                )
    bodies += [
        Body(mesh=roof.mesh, colour=theme.paper, opacity=_ROOF_OPACITY, lit=False, of=roof.id)
        for roof in cut_roofs(scene=scene, rooms=rooms, view=camera.view)
    ]
    if quantity == "wiring":
        bodies += wiring_bodies(
            scene, plan=plan, receiver=receiver, rooms=rooms.full, view=camera.view, theme=theme
        )
        return Stage(bodies=tuple(bodies), lines=tuple(proper_lines(lines)), beams=())
    marks, threads = _transmitters(scene, scope, theme, pixel)
    bodies += marks
    lines += threads
    for mark in scope.marks:
        if mark.arrow_m is None:
            continue
        tail, tip = mark.arrow_m
        bodies.append(Body(mesh=arrow(tail, tip), colour=theme.source, of=mark.source))
        foot = np.array([*tip[:2], ring.centre_m[2]])
        lines.append(
            Line(
                points=np.array([foot, tip]),
                radius_m=0.8 * pixel,
                colour=theme.source,
                closed=False,
                opacity=0.6,
                of=mark.source,
            )
        )
    for beam in beams:
        more, edges = _beam_parts(beam, scene, ring, theme, pixel, camera.view)
        bodies += more
        lines += edges
    return Stage(bodies=tuple(bodies), lines=tuple(proper_lines(lines)), beams=beams)


def _hints(scene: Scene, scope: Scope, theme: Theme, camera: Camera) -> list[Line]:
    """Thin lines for what no body shows: the roof that is cut away, the ground's level on walls
    below it, and where on the horizon something blocks."""
    pixel, view = camera.metres_per_pixel, camera.view
    lines = [
        Line(points=outline, radius_m=0.9 * pixel, colour=theme.ring, opacity=0.75)
        for outline in roof_lines(scene=scene, rooms=scope.rooms, view=view)
    ]
    lift = 3.0 * pixel * view.towards_eye
    lines += [
        Line(points=ends + lift, radius_m=1.6 * pixel, colour=theme.ghost_edge, closed=False)
        for ends in grade_lines(scene=scene, rooms=scope.rooms, view=view)
    ]
    lines += [
        Line(
            points=arc.points_m,
            radius_m=4.0 * pixel,
            colour=theme.muted,
            closed=False,
            opacity=0.99,
            of=arc.id,
        )
        for arc in scope.arcs
    ]
    return lines


def _cut_faces(
    scene: Scene, plan: str, receiver: str, scope: Scope, theme: Theme, camera: Camera
) -> list[Line]:
    """Dashed outlines of the named faces that are cut away, and of the walls that carry them."""
    pixel, view = camera.metres_per_pixel, camera.view
    outlined: dict[str, ScenePanel] = {}
    named = named_faces(scene, plan=plan, receiver=receiver, rooms=scope.rooms, view=view)
    for label in named:
        panel = scene.panels[scene.panel_index[label.panel]]
        if seen(panel, scene, view):
            continue
        host = None if panel.host is None else scene.panels[scene.panel_index[panel.host]]
        for each in (panel, host):
            if each is not None and each.kind in ("wall", "ceiling") and not faces(each, view):
                outlined[each.id] = each
    lines: list[Line] = []
    for panel in outlined.values():
        ring = panel.outlines[0]
        # light between dark dashes, so that it is seen on any ground
        lines.append(_faint(ring, 0.8 * pixel, theme.label, panel.id, closed=True))
        lines += [
            _faint(ends, 1.1 * pixel, theme.ink, panel.id)
            for ends in dashed(ring, long_m=_DASH_PX * pixel)
        ]
    return lines


def _faint(points: Floats, radius_m: float, colour: str, of: str, *, closed: bool = False) -> Line:
    """A line that is not quite opaque: else it would cast corner shading on what it passes."""
    return Line(points=points, radius_m=radius_m, colour=colour, closed=closed, opacity=0.99, of=of)


def _transmitters(
    scene: Scene, scope: Scope, theme: Theme, pixel: float
) -> tuple[list[Body], list[Line]]:
    """Marks of the transmitters that stand near, and the lines to them, before everything."""
    near = [mark for mark in scope.marks if mark.arrow_m is None]
    bodies = [
        Body(
            mesh=diamond(mark.at_m, mark_size(scope.ring)),
            colour=theme.label if mark.hidden else theme.source,
            over=True,
            of=mark.source,
        )
        for mark in near
    ]
    rims = [
        Line(
            points=edge,
            radius_m=1.1 * pixel,
            colour=theme.source,
            closed=False,
            opacity=0.99,
            over=True,
            of=mark.source,
        )
        for mark in near
        if mark.hidden
        for edge in creases(diamond(mark.at_m, mark_size(scope.ring)))
    ]
    home = scene.receivers[scene.receiver_index[scope.receiver]].space
    if home not in scope.rooms.full:
        return bodies, rims
    lines = rims + [
        Line(
            points=ends,
            radius_m=1.0 * pixel,
            colour=theme.source,
            closed=False,
            opacity=0.99,
            over=True,
            of=sight.source,
        )
        for sight in shown_sights(scene, receiver=scope.receiver, ring=scope.ring)
        for ends in dashes(sight)
    ]
    return bodies, lines


def panel_colour(
    panel: ScenePanel,
    *,
    leak: PanelLeak | None,
    scene: Scene,
    plan: str,
    receiver: str,
    theme: Theme,
    quantity: Quantity,
) -> Colour:
    """Colour of a panel's inside for a quantity; neutral where there is nothing to show."""
    if quantity in ("treatment", "wiring"):
        worn = panel.states[scene.plan_index[plan]].treatments if panel.states else ()
        style = {style.treatment: style.colour for style in scene.treatments}
        return style[worn[-1]] if worn else theme.neutral
    if leak is None:
        return theme.rim if panel.kind == "reveal" else theme.neutral
    if quantity == "loss":
        place = 1.0 - scene.loss.position(leak.loss_db)
    else:
        result = scene.plans[scene.plan_index[plan]].receiver(receiver)
        assert result is not None
        place = scene.let_in.position(let_in_db(leak, result=result))
    red, green, blue = cividis(np.array([place]))[0].tolist()
    return red, green, blue


def _panel_bodies(
    panel: ScenePanel,
    leak: PanelLeak | None,
    scene: Scene,
    plan: str,
    receiver: str,
    theme: Theme,
    quantity: Quantity,
) -> list[Body]:
    """A panel's inside; where it wears several treatments, in bands of their colours."""
    worn = panel.states[scene.plan_index[plan]].treatments if panel.states else ()
    if quantity in ("treatment", "wiring") and len(worn) > 1:
        style = {style.treatment: style.colour for style in scene.treatments}
        bands = upright_bands(panel, count=len(worn))
        return [
            Body(mesh=mesh, colour=style[each], lit=False, of=panel.id)
            for each, mesh in zip(worn, bands, strict=True)
        ]
    colour = panel_colour(
        panel,
        leak=leak,
        scene=scene,
        plan=plan,
        receiver=receiver,
        theme=theme,
        quantity=quantity,
    )
    known = leak is not None or quantity in ("treatment", "wiring")
    return [Body(mesh=panel.mesh, colour=colour, lit=not known, of=panel.id)]


def _behind_leaf(
    panel: ScenePanel,
    scene: Scene,
    plan: str,
    receiver: str,
    theme: Theme,
    quantity: Quantity,
) -> Body:
    """What one sees past a tilted leaf: the colour of the gap at its head, in the hole's plane."""
    strip = scene.panels[scene.panel_index[f"{panel.id}/{GAPS[0]}"]]
    leak = leak_of(scene=scene, panel=strip, plan=plan, receiver=receiver)
    (body,) = _panel_bodies(strip, leak, scene, plan, receiver, theme, quantity)
    return replace(body, mesh=panel.mesh)


def _outlines(
    panel: ScenePanel, view: View, colour: str, radius_m: float, *, glows: bool = False
) -> list[Line]:
    lift = 1.5 * radius_m * view.towards_eye  # so that no line is half buried in a panel
    return [
        Line(points=ring + lift, radius_m=radius_m, colour=colour, glows=glows, of=panel.id)
        for ring in panel.outlines
    ]


def _gap_lines(panel: ScenePanel, scene: Scene, camera: Camera) -> list[Line]:
    """A gap in amber: its outline; of one that is cut away, where it met what
    still stands."""
    pixel = camera.metres_per_pixel
    if panel.kind == "reveal":
        return _outlines(panel, camera.view, AMBER, 1.2 * pixel)
    if seen(panel, scene, camera.view):
        return _outlines(panel, camera.view, AMBER, _GAP_PX * pixel, glows=True)
    if panel.kind not in ("wall", "ceiling"):  # in a wall that is cut away: one looks through it
        return _outlines(panel, camera.view, AMBER, 1.2 * pixel)
    if panel.kind == "ceiling":
        standing = [
            wall
            for wall in scene.panels
            if wall.space == panel.space and wall.kind == "wall" and faces(wall, camera.view)
        ]
        edges = [
            np.array([a, b])
            for ring in panel.outlines
            for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)
        ]
        return [
            Line(
                points=edge,
                radius_m=_GAP_PX * pixel,
                colour=AMBER,
                closed=False,
                glows=True,
                of=panel.id,
            )
            for edge in edges
            if any((_apart(edge, wall) < 1e-4).all() for wall in standing)
        ]
    low = float(panel.mesh.vertices[:, 2].min())
    foot = panel.mesh.vertices[panel.mesh.vertices[:, 2] < low + 1e-3]
    along = foot @ np.cross(panel.normal, (0.0, 0.0, 1.0))
    ends = foot[[int(along.argmin()), int(along.argmax())]] + (0.0, 0.0, STUB_M)
    return [
        Line(
            points=ends,
            radius_m=_GAP_PX * pixel,
            colour=AMBER,
            closed=False,
            glows=True,
            of=panel.id,
        )
    ]


def _low_rooms(scene: Scene, rooms: Rooms, around: Shape, ring: Ring, theme: Theme) -> list[Body]:
    """Floors and cut walls of the rooms around, so far as they are shown."""
    bodies = []
    for space in scene.spaces:
        if space.id not in rooms.low:
            continue
        low = float(space.base.vertices[:, 2].min())
        own = shapely.union_all([Polygon(r).buffer(0) for r in space.outer]).intersection(around)
        if own.is_empty:
            continue
        bodies.append(
            Body(
                mesh=prism(own, low_m=low, high_m=space.floor_m),
                colour=theme.ghost,
                of=space.id,
            )
        )
        stubs = [wall.stub for wall in scene.walls if wall.space == space.id]
        walls = shapely.union_all([plan_shape(stub) for stub in stubs]).intersection(around)
        cut = space.floor_m + STUB_M - 0.005
        bodies.append(
            Body(mesh=prism(walls, low_m=low, high_m=cut), colour=theme.ghost, of=space.id)
        )
    return bodies


def _ground_shadow(standing: Shape, ring: Ring) -> list[Body]:
    """A soft dark patch on the ground, of nested faint shapes."""
    steps = 14
    bodies = []
    for k in range(steps):
        shape = standing.buffer(0.09 * ring.radius_m * (k + 1) / steps)
        bodies.append(flat_body(shape, float(ring.centre_m[2]) - 0.02, "#000000", 0.012))
    return bodies


def _ring_lines(ring: Ring, theme: Theme, pixel: float) -> list[Line]:
    # not quite opaque: else they would cast corner shading on what stands behind them
    lines = [
        Line(
            points=ring_points(ring),
            radius_m=1.3 * pixel,
            colour=theme.ring,
            closed=False,
            opacity=0.99,
        )
    ]
    for degrees in range(0, 360, 10):
        depth = 0.94 if degrees % 90 == 0 else (0.965 if degrees % 30 == 0 else 0.98)
        azimuth = np.array([math.radians(degrees)])
        ends = np.concatenate((ring_at(ring, azimuth), ring_at(ring, azimuth, reach=depth)))
        lines.append(
            Line(points=ends, radius_m=1.0 * pixel, colour=theme.ring, closed=False, opacity=0.99)
        )
    return lines


def _skirt(below: Shape, standing: Shape, ring: Ring, theme: Theme, view: View) -> list[Body]:
    """The upper part of the storey below, fading out downward: a room that is not on the ground."""
    whole = standing.buffer(-0.02, join_style="mitre").intersection(below.buffer(0.05))
    top, deep = float(ring.centre_m[2]), 0.22 * ring.radius_m
    bodies = []
    for piece in map(orient, pieces_of(whole)):
        corners = np.asarray(piece.exterior.coords)[:, :2]
        for a, b in pairwise(corners):
            outward = np.array([b[1] - a[1], a[0] - b[0]])
            facing = float(outward @ view.towards_eye[:2]) / max(float(np.hypot(*outward)), 1e-9)
            if facing <= 0.0:
                continue
            side = float(outward @ view.right[:2]) / float(np.hypot(*outward))
            near = np.array([[*a, top], [*b, top]])
            fading = fading_sides(
                near, near - (0.0, 0.0, deep), theme.ghost_edge, most=0.8, closed=False
            )
            shade = 0.5 + 0.2 * side
            bodies.append(
                replace(fading, fade=None if fading.fade is None else fading.fade * shade)
            )
    return bodies


def _beam_parts(
    beam: SceneBeam, scene: Scene, ring: Ring, theme: Theme, pixel: float, view: View
) -> tuple[list[Body], list[Line]]:
    bodies = []
    for near, far in beam.outside:
        long = float(np.linalg.norm(far - near, axis=1).max())
        kept = min(1.0, 0.42 * ring.radius_m / max(long, 1e-9))
        bodies.append(fading_sides(near, near + kept * (far - near), theme.beam, most=0.26))
    lines: list[Line] = []
    if len(beam.inside.triangles):
        # ends on the opening and on walls that show would flicker with them (landings are drawn
        # apart); edges on walls that are cut away would stand in the air
        own = scene.panels[scene.panel_index[beam.panel]]
        landed = [
            scene.panels[scene.panel_index[landing.on]]
            for landing in beam.landings
            if landing.on in scene.panel_index
        ]
        hidden = [own] + [panel for panel in landed if not faces(panel, view)]
        corners = beam.inside.triangles
        kept_faces = np.ones(len(corners), dtype=bool)
        for panel in [own] + [panel for panel in landed if faces(panel, view)]:
            kept_faces &= (_apart(beam.inside.vertices, panel) > 1e-4)[corners].any(axis=1)
        bodies.append(
            Body(
                mesh=Mesh(vertices=beam.inside.vertices, triangles=corners[kept_faces]),
                colour=theme.beam,
                opacity=_BEAM_OPACITY,
                lit=False,
                of=beam.panel,
            )
        )
        for edge in creases(beam.inside):
            if any((_apart(edge, panel) < 1e-4).all() for panel in hidden):
                continue
            lines.append(
                Line(
                    points=edge,
                    radius_m=0.8 * pixel,
                    colour=theme.beam_edge,
                    closed=False,
                    opacity=0.5,
                    of=beam.panel,
                )
            )
    receivers = set(scene.receiver_index)
    for landing in beam.landings:
        on_bed = landing.on in receivers
        if not on_bed and not faces(scene.panels[scene.panel_index[landing.on]], view):
            continue
        lifted = landing.mesh.vertices + view.towards_eye * 0.012
        if not len(lifted):
            continue
        bodies.append(
            Body(
                mesh=Mesh(vertices=lifted, triangles=landing.mesh.triangles),
                colour=LANDING,
                opacity=_LANDING_OPACITY[on_bed],
                lit=False,
                of=landing.on,
            )
        )
        if on_bed:
            ends = np.cumsum(landing.rings)
            lines += [
                Line(
                    points=lifted[end - count : end],
                    radius_m=1.2 * pixel,
                    colour=theme.beam_edge,
                    opacity=0.85,
                    of=landing.on,
                )
                for count, end in zip(landing.rings, ends, strict=True)
            ]
    return bodies, lines


def _apart(points: Floats, panel: ScenePanel) -> Floats:
    """Distances (n,) of points from a panel's plane."""
    apart: Floats = np.abs((points - panel.centre_m) @ panel.normal)
    return apart
