"""The words of a picture: labels, compass, legend and footer, drawn on a sheet over it."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from envelope.building.model import OPENING_KINDS
from envelope.text import frequency
from envelope.text.names import shown
from viewer.pictures.labels import Box, Placed, Wanted, grown, overlap, place
from viewer.pictures.staging import Quantity
from viewer.scene.colours import AMBER, Theme
from viewer.scene.compass import ring_at
from viewer.scene.highlights import MAX_LABELS, FaceLabel, face_labels
from viewer.scene.records import Scene, ScenePanel
from viewer.scene.rooms import (
    faces,
    grade_lines,
    leak_of,
    mark_of,
    other_buildings,
    room_names,
    rooms_of,
    seen,
)
from viewer.scene.scopes import Scope
from viewer.scene.shapes import furniture_body
from viewer.scene.transmitters import shown_sights
from viewer.scene.view import Camera
from viewer.scene.wiring import KEY_TITLE, SPOT_COLOURS, share_key

if TYPE_CHECKING:
    from viewer.pictures.overlay import Sheet

_BEYOND_AT_MOST = 3  # rooms of other buildings that are named
_NAME_REACH = 1.09  # how far outside its arc a name stands
_ALONG = [12, 8, 16, 4, 20]  # of an arc's 25 points: where its name may stand, the best first


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """What one picture shows, of which plan, from where and how large."""

    scene: Scene
    plan: str
    receiver: str
    scope: Scope
    camera: Camera
    theme: Theme
    quantity: Quantity
    scale: int


def annotate(sheet: Sheet, shot: Shot, *, frame: Box) -> None:
    """Compass letters, labels of sources and of panels."""
    unit = sheet.unit
    taken = _compass(sheet, shot)
    taken += _hint_names(sheet, shot, taken)
    taken += _room_names(sheet, shot)
    wanted = _wanted(sheet, shot)
    boxes = [want.around for want, _ in wanted if want.around is not None]
    for mark in shot.scope.marks:
        if mark.arrow_m is not None:
            pixels = shot.camera.project(np.array(mark.arrow_m))
            taken.append(grown((*pixels.min(axis=0), *pixels.max(axis=0)), 4 * unit))
    taken += _sight_boxes(shot, unit)
    for receiver in shot.scene.receivers:
        if receiver.space in shot.scope.rooms.full:
            x, y = shot.camera.project(receiver.position_m)[0].tolist()
            taken.append(grown((x, y, x, y), 12 * unit))
    placed = place(
        wanted=[want for want, _ in wanted],
        frame=frame,
        taken=taken,
        avoid=boxes,
        gap=6 * unit,
    )
    if shot.quantity in ("treatment", "wiring"):
        _letters(sheet, shot)
    gaps = dict(wanted)
    for each in placed:
        if gaps[each.wanted] is None:
            _source_words(sheet, each)
        else:
            sheet.label(each, gap=bool(gaps[each.wanted]))


def _sight_boxes(shot: Shot, unit: float) -> list[Box]:
    """Small boxes along the lines of sight, which labels keep clear of."""
    home = shot.scene.receivers[shot.scene.receiver_index[shot.receiver]].space
    if home not in shot.scope.rooms.full:
        return []
    boxes = []
    for sight in shown_sights(shot.scene, receiver=shot.receiver, ring=shot.scope.ring):
        for ends in sight.pieces:
            a, b = shot.camera.project(ends)
            count = max(2, math.ceil(float(np.hypot(*(b - a))) / (8 * unit)))
            for x, y in (a + np.linspace(0.0, 1.0, count)[:, np.newaxis] * (b - a)).tolist():
                boxes.append(grown((x, y, x, y), 4 * unit))
    return boxes


def _open_spot(panel: ScenePanel, shot: Shot) -> tuple[float, float] | None:
    """The middle of the widest part of a panel that no bed, wall or floor before it hides."""
    scene, camera = shot.scene, shot.camera
    free = _flat(panel, camera)
    for receiver in scene.receivers:
        for piece in receiver.furniture if receiver.space in shot.scope.rooms.full else ():
            hull = shapely.MultiPoint(camera.project(furniture_body(piece).mesh.vertices))
            free = free.difference(shapely.convex_hull(hull))
    for other in scene.panels:
        hides = other.kind in ("wall", "floor") and other.space in shot.scope.rooms.full
        if not hides or other is panel:
            continue
        if seen(other, scene, camera.view):
            cover = _flat(other, camera)
            shared = cover.intersection(free)
            if shared.area > 1.0 and _before(other, panel, shared.representative_point(), camera):
                free = free.difference(cover)
    if free.area < 300.0:
        return None
    widest = shapely.maximum_inscribed_circle(free, tolerance=1.0)
    x, y = widest.coords[0]
    return float(x), float(y)


def _flat(panel: ScenePanel, camera: Camera) -> Any:
    """A panel's shape on the picture. [pixels]"""
    corners = camera.project(panel.mesh.vertices)[panel.mesh.triangles]
    return shapely.union_all(shapely.polygons(corners), grid_size=1e-3)


def _before(near: ScenePanel, far: ScenePanel, at: Any, camera: Camera) -> bool:
    """Whether one panel's plane lies nearer to the eye than another's at a pixel."""
    view = camera.view
    point = (
        camera.target_m
        + view.right * (at.x - camera.size[0] / 2) * camera.metres_per_pixel
        - view.up * (at.y - camera.size[1] / 2) * camera.metres_per_pixel
    )
    depths = [
        float((panel.centre_m - point) @ panel.normal) / float(view.towards_eye @ panel.normal)
        for panel in (near, far)
    ]
    return depths[0] > depths[1] + 1e-6


def _letters(sheet: Sheet, shot: Shot) -> None:
    """The letters of their treatments on the panels that show."""
    scene = shot.scene
    letter = {style.treatment: style.letter for style in scene.treatments}
    for panel in scene.panels:
        if panel.space not in shot.scope.rooms.full or panel.area_m2 < 0.25:
            continue
        worn = panel.states[scene.plan_index[shot.plan]].treatments if panel.states else ()
        if worn and seen(panel, scene, shot.camera.view):
            spot = _open_spot(panel, shot)
            if spot is None:
                continue
            sheet.text(
                spot,
                "+".join(letter[each] for each in worn),
                size=20,
                bold=True,
                anchor="mm",
                halo=sheet.theme.label,
            )


def _source_words(sheet: Sheet, placed: Placed) -> None:
    left, top, right, bottom = placed.box
    sheet.text(
        ((left + right) / 2, (top + bottom) / 2),
        placed.wanted.text,
        size=15.5,
        bold=True,
        colour=sheet.theme.source,
        anchor="mm",
        halo=sheet.theme.paper,
    )


def _wanted(sheet: Sheet, shot: Shot) -> list[tuple[Wanted, bool | None]]:
    """Labels: the sources (None), then the panels that let in most (whether each is a gap)."""
    unit = sheet.unit
    found: list[tuple[Wanted, bool | None]] = []
    if shot.quantity == "wiring":
        return _cable_labels(sheet, shot)
    for mark in shot.scope.marks:
        ends = mark.arrow_m or (mark.at_m, mark.at_m)
        pixels = shot.camera.project(np.array(ends))
        margin = (5 if mark.arrow_m else 12) * unit
        found.append(
            (
                Wanted(
                    text=mark.label,
                    size=sheet.label_size(mark.label),
                    anchor=(float(pixels[0, 0]), float(pixels[0, 1])),
                    around=grown((*pixels.min(axis=0), *pixels.max(axis=0)), margin),
                ),
                None,
            )
        )
    return found + _panel_labels(sheet, shot)


def shown_labels(shot: Shot) -> tuple[FaceLabel, ...]:
    """Labels of the faces that a picture names."""
    scene, view = shot.scene, shot.camera.view
    found = []
    for label in face_labels(scene, plan=shot.plan, receiver=shot.receiver):
        panel = scene.panels[scene.panel_index[label.panel]]
        if panel.space in shot.scope.rooms.full and (
            not label.only_seen or seen(panel, scene, view)
        ):
            found.append(label)
    return tuple(found[:MAX_LABELS])


def _cable_labels(sheet: Sheet, shot: Shot) -> list[tuple[Wanted, bool | None]]:
    """Labels of the cables whose absence helps most."""
    scene = shot.scene
    if scene.wiring is None:
        return []
    found: list[tuple[Wanted, bool | None]] = []
    plan, receiver = scene.plan_index[shot.plan], scene.receiver_index[shot.receiver]
    for cable, share in scene.wiring.named(plan, receiver):
        if set(cable.spaces) & set(shot.scope.rooms.full):
            x, y = shot.camera.project(cable.mark_m)[0].tolist()
            size = sheet.label_size(share.label)
            found.append((Wanted(text=share.label, size=size, anchor=(x, y)), False))
    return found


def _panel_labels(sheet: Sheet, shot: Shot) -> list[tuple[Wanted, bool | None]]:
    scene, camera = shot.scene, shot.camera
    found: list[tuple[Wanted, bool | None]] = []
    for label in shown_labels(shot):
        panel = scene.panels[scene.panel_index[label.panel]]
        corners = camera.project(panel.mesh.vertices)
        spot = _open_spot(panel, shot) if seen(panel, scene, camera.view) else None
        if spot is None:
            x, y = camera.project(mark_of(panel, camera.view))[0].tolist()
            spot = (x, y)
        opening = panel.kind in OPENING_KINDS
        low, high = corners.min(axis=0), corners.max(axis=0)
        found.append(
            (
                Wanted(
                    text=label.text,
                    size=sheet.label_size(label.text),
                    anchor=spot,
                    around=(*low.tolist(), *high.tolist()) if opening else None,
                ),
                label.is_gap,
            )
        )
    return found


def _hulls(shot: Shot) -> list[Any]:
    """What the rooms shown in full may hide of the picture behind them."""
    return [
        shapely.convex_hull(shapely.MultiPoint(shot.camera.project(space.block.vertices)))
        for space in shot.scene.spaces
        if space.id in shot.scope.rooms.full
    ]


def _room_names(sheet: Sheet, shot: Shot) -> list[Box]:
    """Names on the floors of the rooms around; their boxes."""
    hulls = _hulls(shot)
    boxes: list[Box] = []
    for name, place_m in room_names(scene=shot.scene, rooms=shot.scope.rooms):
        space = shot.scene.spaces[shot.scene.space_index[name]]
        words = shown(space.name, limit=24)
        x, y = shot.camera.project(place_m)[0].tolist()
        width, height = sheet.measure(words, size=14)
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        if any(hull.intersects(shapely.box(*box)) for hull in hulls):
            continue
        sheet.text((x, y), words, size=14, colour=sheet.theme.muted, anchor="mm")
        boxes.append(box)
    return boxes


def _compass(sheet: Sheet, shot: Shot) -> list[Box]:
    """Letters at the ring where the walls do not hide it, and a small compass; their boxes."""
    camera, unit = shot.camera, sheet.unit
    ring = shot.scope.ring
    hulls = _hulls(shot)
    points = camera.project(ring_at(ring, np.radians([0.0, 90.0, 180.0, 270.0]), reach=1.09))
    boxes: list[Box] = []
    for letter, (x, y) in zip("NESW", points.tolist(), strict=True):
        reach = 14 * unit
        box = (x - reach, y - reach, x + reach, y + reach)
        if any(hull.intersects(shapely.box(*box)) for hull in hulls):
            continue
        sheet.text(
            (x, y),
            letter,
            size=19 if letter == "N" else 16,
            bold=letter == "N",
            colour=sheet.theme.ink if letter == "N" else sheet.theme.muted,
            anchor="mm",
        )
        boxes.append(box)
    return boxes


def _hint_names(sheet: Sheet, shot: Shot, taken: Sequence[Box]) -> list[Box]:
    """What stands on the horizon, and which line is the ground's level; their boxes."""
    scene, camera = shot.scene, shot.camera
    centre = shot.scope.ring.centre_m
    hulls = _hulls(shot)
    boxes: list[Box] = []
    for arc in shot.scope.arcs:
        words = shown(arc.id, limit=24)
        width, height = sheet.measure(words, size=14)
        outside = centre + (arc.points_m[_ALONG] - centre) * _NAME_REACH
        for x, y in camera.project(outside).tolist():
            box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
            if box[0] < 8 * sheet.unit or box[2] > camera.size[0] - 8 * sheet.unit:
                continue
            if any(hull.intersects(shapely.box(*box)) for hull in hulls) or any(
                overlap(box, other) > 0.0 for other in (*taken, *boxes)
            ):
                continue
            sheet.text((x, y), words, size=14, colour=sheet.theme.muted, anchor="mm")
            boxes.append(box)
            break
    for arc in shot.scope.arcs:
        reach = 7 * sheet.unit
        for x, y in camera.project(arc.points_m).tolist():
            boxes.append((x - reach, y - reach, x + reach, y + reach))
    grades = grade_lines(scene=scene, rooms=shot.scope.rooms, view=camera.view)
    if grades:
        longest = max(grades, key=lambda ends: float(np.linalg.norm(ends[1] - ends[0])))
        x, y = camera.project(longest[0] + 0.2 * (longest[1] - longest[0]))[0].tolist()
        width, height = sheet.measure("ground level", size=13)
        y -= 0.8 * height
        sheet.text((x, y), "ground level", size=13, anchor="mm", halo=sheet.theme.label)
        boxes.append((x - width / 2, y - height / 2, x + width / 2, y + height / 2))
    return boxes


def rose(sheet: Sheet, shot: Shot, *, at: tuple[float, float]) -> None:
    """A small compass that lies on the ground of the picture."""
    unit = sheet.unit
    north = shot.scene.north
    east = np.array([north[1], -north[0], 0.0])
    origin = shot.camera.project(shot.camera.target_m)[0]
    reach = 44 * unit * shot.camera.metres_per_pixel

    def pixel(along: float, across: float) -> tuple[float, float]:
        moved = shot.camera.target_m + reach * (along * north + across * east)
        x, y = (shot.camera.project(moved)[0] - origin).tolist()
        return at[0] + x, at[1] + y

    circle = [pixel(math.cos(t), math.sin(t)) for t in np.linspace(0.0, math.tau, 73)]
    sheet.line(circle, width=1.6, colour=sheet.theme.ring)
    sheet.polygon([pixel(0.86, 0), pixel(0, 0.17), pixel(0, -0.17)], fill=sheet.theme.ink)
    sheet.polygon([pixel(-0.86, 0), pixel(0, 0.17), pixel(0, -0.17)], fill=sheet.theme.ring)
    for letter, along, across in (("N", 1.34, 0), ("E", 0, 1.3), ("S", -1.34, 0), ("W", 0, -1.3)):
        bold = letter == "N"
        sheet.text(
            pixel(along, across),
            letter,
            size=16 if bold else 13,
            bold=bold,
            colour=sheet.theme.ink if bold else sheet.theme.muted,
            anchor="mm",
        )


def legend(sheet: Sheet, shot: Shot, *, left: float, top: float, bottom: float) -> None:
    scene, unit = shot.scene, sheet.unit
    box = (left, top, left + 22 * unit, bottom)
    key_top = bottom + 34 * unit
    entries: list[tuple[str, str, str]] = []
    numbers = any(plan.result is not None for plan in scene.plans)
    if shot.quantity == "wiring":
        _wiring_key(sheet, shot, at=(left, top))
        return
    if shot.quantity == "treatment":
        key_top = top
        for style in scene.treatments:
            words = f"{style.letter}  {shown(style.treatment, limit=14)}"
            entries.append((style.colour, sheet.theme.muted, words))
        entries.append((sheet.theme.neutral, sheet.theme.muted, "untreated"))
    elif not numbers:
        return
    elif shot.quantity == "loss":
        sheet.scale_bar(
            box=box, scale=scene.loss, title=("loss of a panel,", "dB"), bright_low=True
        )
    else:
        sheet.scale_bar(
            box=box,
            scale=scene.let_in,
            title=("let in by a panel,", "dB of the field", "outside"),
        )
    if numbers:
        entries.append(
            ("", AMBER, f"gap: loss below\n{scene.threshold_db:g} dB, and worth\ntreating")
        )
    if shot.quantity != "treatment" and _has_neutral(shot):
        own = set(rooms_of(scene=scene, receiver=shot.receiver).full)
        words = "nothing comes\nfrom there"
        if not own.issuperset(shot.scope.rooms.full):
            words = "other rooms, or\nnothing comes\nfrom there"
        entries.append((sheet.theme.neutral, sheet.theme.muted, words))
    if any(mark.arrow_m is None for mark in shot.scope.marks):
        words = "transmitter, line\nof sight to it\n(dashed where\nsomething is\nbetween)"
        entries.append((sheet.theme.source, "", words))
    sheet.key(at=(left, key_top), entries=entries)


def _wiring_key(sheet: Sheet, shot: Shot, *, at: tuple[float, float]) -> None:
    """What the colours of cables and faces say, and the marks."""
    scene, muted = shot.scene, sheet.theme.muted
    left, y = at
    for line in textwrap.wrap(KEY_TITLE, width=20):
        sheet.text((left, y), line, size=13.5, colour=muted)
        y += 18 * sheet.unit
    y += 10 * sheet.unit
    entries = [(colour, muted, words) for colour, words in share_key()]
    entries += [(SPOT_COLOURS[kind], muted, kind) for kind in SPOT_COLOURS]
    worn = {
        name
        for panel in scene.panels
        for name in panel.states[scene.plan_index[shot.plan]].treatments
        if panel.states
    }
    if scene.wiring is not None:
        worn |= {each.treatment for each in scene.wiring.strips if shot.plan in each.plans}
    for style in scene.treatments:
        if style.treatment in worn:
            words = f"{style.letter}  {shown(style.treatment, limit=14)}"
            entries.append((style.colour, muted, words))
    sheet.key(at=(left, y), entries=entries)


def _has_neutral(shot: Shot) -> bool:
    return any(
        panel.space in shot.scope.rooms.full
        and panel.kind != "reveal"
        and faces(panel, shot.camera.view)
        and leak_of(scene=shot.scene, panel=panel, plan=shot.plan, receiver=shot.receiver) is None
        for panel in shot.scene.panels
    )


def footer(sheet: Sheet, shot: Shot) -> None:
    scene, unit = shot.scene, sheet.unit
    height = sheet.size[1]
    parts: list[str] = [shown(scene.name, limit=60), f"at {shown(shot.receiver)}"]
    result = scene.plans[scene.plan_index[shot.plan]].receiver(shot.receiver)
    if shot.quantity == "wiring":
        parts.append("cables as they were entered or ruled: a potential-free meter decides")
    elif result is not None and result.bands:
        parts.append(frequency(result.reference.frequency_hz))
        parts.append("a prediction: a meter decides")
    beyond = other_buildings(scene, shot.scope.rooms)
    if beyond:
        named = ", ".join(shown(name, limit=24) for name in beyond[:_BEYOND_AT_MOST])
        parts.append(f"beyond the picture: {named}{' …' if len(beyond) > _BEYOND_AT_MOST else ''}")
    sheet.length_bar(
        at=(36 * unit, height - 62 * unit),
        metres_per_pixel=shot.camera.metres_per_pixel,
        feet=scene.feet,
    )
    sheet.text(
        (36 * unit, height - 24 * unit),
        "   ·   ".join(parts),
        size=14,
        colour=sheet.theme.muted,
        anchor="ls",
    )
