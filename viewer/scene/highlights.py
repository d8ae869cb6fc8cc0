"""What of a plan stands out at a receiver: the faces that are named, the beams that are drawn.

Chosen here once, for pictures and pages alike; neither depends on where the eye stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from envelope.building.model import OPENING_KINDS
from envelope.exposure.results import PanelLeak, ReceiverResult
from envelope.text import percent
from envelope.text.names import face_title
from envelope.text.sentences import SAME_DB, leak_label
from viewer.scene.records import BeamShare, Scene, SceneBeam, ScenePanel
from viewer.scene.rooms import Rooms, seen
from viewer.scene.view import View

MAX_LABELS = 5  # faces named in one picture
MAX_BEAMS = 2
_NAMED_FROM = 0.005  # least share of a seam, or of what is no gap, that has a label
_BEAM_SHARE = 0.02  # least part of its source's direct power that a beam brings to the receiver
_MISSING_POWER = 0.10  # least part of the power that its source sends in, of one that misses
_SHELL = ("wall", "floor", "ceiling")


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceLabel:
    """A face that is named in a picture, and what is said of it."""

    panel: str
    text: str
    short: str  # where there is little room
    is_gap: bool  # and worth treating
    only_seen: bool  # named only while the face shows


def let_in_db(leak: PanelLeak, *, result: ReceiverResult) -> float:
    """What one face brings to a receiver, of the level with every building removed. [dB]

    Direct and diffuse, of all sources: the powers of all faces add up to the level's reduction.
    −inf where nothing comes.
    """
    found = result.headline
    part = leak.share * found.level_w_m2
    return 10.0 * math.log10(part / found.outside_w_m2) if part > 0.0 else -math.inf


def is_outlined(leak: PanelLeak) -> bool:
    """Whether a face is outlined in amber: a gap, unless treating it alone would bring nothing."""
    change = leak.below_if_treated_db
    return leak.is_gap and (change is None or change >= SAME_DB)


def face_labels(scene: Scene, *, plan: str, receiver: str) -> tuple[FaceLabel, ...]:
    """Faces worth a label, the first being the most important: gaps that are worth treating, then
    the others, each in the order of what treating them does.

    Reveals go without, and so do seams and tight faces that let in next to nothing.
    """
    home = scene.receivers[scene.receiver_index[receiver]].space
    gaps, others = [], []
    for panel, leak in scene.leaks(plan=plan, receiver=receiver):
        if panel.kind == "reveal":
            continue
        if is_outlined(leak):
            if panel.kind != "seam" or leak.share >= _NAMED_FROM:
                gaps.append((panel, leak))
        elif leak.share >= _NAMED_FROM:
            others.append((panel, leak))
    place = scene.plan_index[plan]
    return tuple(_label(panel, leak, home=home, place=place) for panel, leak in gaps + others)


def named_faces(
    scene: Scene, *, plan: str, receiver: str, rooms: Rooms, view: View
) -> tuple[FaceLabel, ...]:
    """Labels of the faces that a picture names.

    Parameters
    ----------
    scene : Scene
    plan, receiver : str
    rooms : Rooms
        That are shown.
    view : View
        From where; what is named only while it shows depends on it.
    """
    found = []
    for label in face_labels(scene, plan=plan, receiver=receiver):
        panel = scene.panels[scene.panel_index[label.panel]]
        if panel.space in rooms.full and (not label.only_seen or seen(panel, scene, view)):
            found.append(label)
    return tuple(found[:MAX_LABELS])


def _label(panel: ScenePanel, leak: PanelLeak, *, home: str, place: int) -> FaceLabel:
    stands = panel.states[place].stands
    title = face_title(panel, home=home, room=panel.room)
    return FaceLabel(
        panel=panel.id,
        text=leak_label(
            panel, leak, home=home, stands=stands, room=panel.room, behind=panel.behind
        ),
        short=f"{title}, {stands}: {percent(leak.share)}"
        if stands
        else f"{title}: {percent(leak.share)}",
        is_gap=is_outlined(leak),
        # an opening without an outline is nowhere where its wall is cut away
        only_seen=not is_outlined(leak) and panel.kind not in _SHELL,
    )


def beam_order(scene: Scene, *, plan: str, receiver: str) -> tuple[int, ...]:
    """Indices of the beams worth drawing, those that bring most to the receiver first.

    After them those through gaps that miss it and send much of their source's power in: it is
    thrown about in the room.
    """
    place = scene.plan_index[plan]
    totals: dict[str, float] = {}
    found: list[tuple[int, SceneBeam, BeamShare]] = []
    for index, beam in enumerate(scene.beams):
        share = beam.shares[place]
        if beam.receiver != receiver or share is None:
            continue
        totals[beam.source] = totals.get(beam.source, 0.0) + share.let_in_m2
        kind = scene.panels[scene.panel_index[beam.panel]].kind
        if share.is_gap and kind in OPENING_KINDS and beam.landings:
            found.append((index, beam, share))
    ranked = []
    for index, beam, share in found:
        if share.share >= _BEAM_SHARE:
            ranked.append((-share.level_w_m2, 0.0, index))
        elif share.let_in_m2 >= _MISSING_POWER * totals[beam.source]:
            ranked.append((0.0, -share.let_in_m2, index))
    return tuple(index for _, _, index in sorted(ranked))
