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
from viewer.pictures.staging import Quantity, Stage
from viewer.pictures.visibility import DepthMap
from viewer.scene.colours import AMBER, Theme
from viewer.scene.compass import ring_at
from viewer.scene.highlights import FaceLabel, named_faces
from viewer.scene.openings import tilted
from viewer.scene.records import Scene
from viewer.scene.rooms import (
    edges_of,
    faces,
    grade_lines,
    leak_of,
    other_buildings,
    room_names,
    rooms_of,
    seen,
)
from viewer.scene.scopes import Scope
from viewer.scene.transmitters import shown_sights
from viewer.scene.view import Camera
from viewer.scene.wiring import KEY_TITLE, SPOT_COLOURS, share_key

if TYPE_CHECKING:
    from viewer.pictures.overlay import Sheet

_BEYOND_AT_MOST = 3  # rooms of other buildings that are named
_NAME_REACH = 1.09  # how far outside its arc a name stands
_SMALL_PX = 20.0  # across a face that is too small for a spot in it to be looked for
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """How a label of a face is drawn."""

    gap: bool = False
    cut: bool = False  # its face is cut away: one looks through it


def annotate(sheet: Sheet, shot: Shot, staged: Stage, *, frame: Box) -> None:
    """Compass letters, labels of sources and of panels.

    Parameters
    ----------
    sheet : Sheet
    shot : Shot
    staged : Stage
        What is drawn of it: no word stands on a face that something else hides there.
    frame : Box
        That words stay in. [pixels]
    """
    unit = sheet.unit
    depths = DepthMap(staged.bodies, shot.camera)
    taken = _compass(sheet, shot)
    taken += _hint_names(sheet, shot, taken)
    taken += _room_names(sheet, shot)
    wanted = _wanted(sheet, shot, depths)
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
    if shot.quantity in ("treatment", "wiring"):
        boxes += _letters(sheet, shot, depths)
    placed = place(
        wanted=[want for want, _ in wanted],
        frame=frame,
        taken=taken,
        avoid=boxes,
        gap=6 * unit,
    )
    found = dict(wanted)
    for each in placed:
        look = found[each.wanted]
        if look is None:
            _source_words(sheet, each)
        else:
            sheet.label(each, gap=look.gap, cut=look.cut)


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


def _letters(sheet: Sheet, shot: Shot, depths: DepthMap) -> list[Box]:
    """The letters of their treatments on the panels that show; their boxes."""
    boxes: list[Box] = []
    scene = shot.scene
    letter = {style.treatment: style.letter for style in scene.treatments}
    for panel in scene.panels:
        if panel.space not in shot.scope.rooms.full or panel.area_m2 < 0.25:
            continue
        worn = panel.states[scene.plan_index[shot.plan]].treatments if panel.states else ()
        if worn and seen(panel, scene, shot.camera.view):
            spot = depths.spot(panel.mesh, unit=sheet.unit)
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
            boxes.append(grown((*spot, *spot), 12 * sheet.unit))
    return boxes


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


def _wanted(sheet: Sheet, shot: Shot, depths: DepthMap) -> list[tuple[Wanted, _Look | None]]:
    """Labels: the sources (None), then the panels that let in most."""
    unit = sheet.unit
    found: list[tuple[Wanted, _Look | None]] = []
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
    return found + _panel_labels(sheet, shot, depths)


def shown_labels(shot: Shot) -> tuple[FaceLabel, ...]:
    """Labels of the faces that a picture names."""
    return named_faces(
        shot.scene,
        plan=shot.plan,
        receiver=shot.receiver,
        rooms=shot.scope.rooms,
        view=shot.camera.view,
    )


def _cable_labels(sheet: Sheet, shot: Shot) -> list[tuple[Wanted, _Look | None]]:
    """Labels of the cables whose absence helps most."""
    scene = shot.scene
    if scene.wiring is None:
        return []
    found: list[tuple[Wanted, _Look | None]] = []
    plan, receiver = scene.plan_index[shot.plan], scene.receiver_index[shot.receiver]
    for cable, share in scene.wiring.named(plan, receiver):
        if set(cable.spaces) & set(shot.scope.rooms.full):
            x, y = shot.camera.project(cable.mark_m)[0].tolist()
            size = sheet.label_size(share.label)
            found.append((Wanted(text=share.label, size=size, anchor=(x, y)), _Look()))
    return found


def _panel_labels(sheet: Sheet, shot: Shot, depths: DepthMap) -> list[tuple[Wanted, _Look | None]]:
    """Labels of faces, each with its line to its own face; none for what other things hide.

    The line to a face that is cut away ends on its dashed outline, and never on what one sees
    through it.
    """
    scene, camera = shot.scene, shot.camera
    found: list[tuple[Wanted, _Look | None]] = []
    for label in shown_labels(shot):
        panel = scene.panels[scene.panel_index[label.panel]]
        corners = camera.project(panel.mesh.vertices)
        low, high = corners.min(axis=0), corners.max(axis=0)
        cut = not seen(panel, scene, camera.view)
        if cut:
            leaf = panel
            if panel.states[scene.plan_index[shot.plan]].stands == "tilted":
                leaf = tilted(panel, scene)
            ends = [each for each in edges_of(leaf, camera.view) if depths.shows(each)]
        else:
            narrow = panel.kind == "seam" or float((high - low).min()) < _SMALL_PX * sheet.unit
            ends = [panel.mark_m] if narrow and depths.shows(panel.mark_m) else []
        spot = depths.spot(panel.mesh, unit=sheet.unit) if not cut else None
        if spot is None and ends:
            x, y = camera.project(ends[0])[0].tolist()
            spot = (x, y)
        if spot is None:
            continue
        opening = panel.kind in OPENING_KINDS and not cut
        found.append(
            (
                Wanted(
                    text=label.text,
                    size=sheet.label_size(label.text),
                    anchor=spot,
                    around=(*low.tolist(), *high.tolist()) if opening else None,
                ),
                _Look(gap=label.is_gap, cut=cut),
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
            words = f"{style.letter}  {shown(style.treatment, limit=18)}"
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
    if any(
        not seen(scene.panels[scene.panel_index[label.panel]], scene, shot.camera.view)
        for label in shown_labels(shot)
    ):
        entries.append(("", "dashed", "face cut away\nto see in"))
    if any(mark.arrow_m is None for mark in shot.scope.marks):
        words = "transmitter; its\nline is dashed\nbehind a face"
        entries.append((sheet.theme.source, "", words))
        if any(mark.hidden for mark in shot.scope.marks):
            entries.append(("", "hollow", "one in a room\nnot shown"))
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
            words = f"{style.letter}  {shown(style.treatment, limit=18)}"
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
    who = scene.receivers[scene.receiver_index[shot.receiver]]
    parts: list[str] = [shown(scene.name, limit=60), f"at {shown(who.name)}"]
    result = scene.plans[scene.plan_index[shot.plan]].receiver(shot.receiver)
    if shot.quantity == "wiring":
        parts.append("cables as they were entered or ruled: a potential-free meter decides")
    elif result is not None and result.bands:
        parts.append(frequency(result.reference.frequency_hz))
        parts.append("a prediction: a meter decides")
    bounds = sum(
        "unmodelled" in panel.behind and panel.space in shot.scope.rooms.full
        for panel in scene.panels
    )
    if bounds:
        faces_lead = "1 face leads" if bounds == 1 else f"{bounds} faces lead"
        parts.append(
            f"{faces_lead} to rooms not in the job: open air counts there, levels too high"
        )
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
