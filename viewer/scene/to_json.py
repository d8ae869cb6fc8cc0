"""A scene as JSON: plain lists and numbers that any viewer can read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from envelope.building.model import OPENING_KINDS
from envelope.exposure.results import PanelLeak, ReceiverResult
from envelope.geometry.plane import Floats
from envelope.text.names import face_title, plan_title, shown, worn_sentence
from envelope.text.sentences import (
    headline,
    leak_label,
    leak_sentences,
    no_leak_sentence,
    trial,
)
from viewer.scene.colours import (
    AMBER,
    AMBER_CASE,
    FURNITURE,
    LANDING,
    SQUARENESS,
    THEMES,
    TreatmentStyle,
    cividis_table,
)
from viewer.scene.highlights import (
    MAX_BEAMS,
    MAX_LABELS,
    beam_order,
    face_labels,
    is_outlined,
    let_in_db,
)
from viewer.scene.listing import listed_faces
from viewer.scene.meshes import STUB_M
from viewer.scene.records import (
    MOST_CABLES,
    BeamShare,
    Furniture,
    Indices,
    LandingPatch,
    Mesh,
    PanelState,
    Scale,
    Scene,
    SceneBeam,
    ScenePanel,
    ScenePlan,
    SceneWiring,
)
from viewer.scene.rooms import ground_lines
from viewer.scene.scopes import Scope, scopes
from viewer.scene.transmitters import dashes, mark_size
from viewer.scene.wiring import KEY_TITLE, SPOT_COLOURS, share_key

Json = dict[str, Any]
Places = dict[str, dict[str, int]]  # receiver, face: its place in lists


def to_json(scene: Scene) -> Json:
    """A scene as plain dictionaries, lists, strings, finite numbers, booleans and None.

    `json_types.py` names every key. Lengths are metres rounded to 0.1 mm, x east, y north,
    z up in project axes. A number that is infinite (nothing passes) stands as None.
    """
    places = [_places(plan, scene) for plan in scene.plans]
    return {
        "format": 1,
        "name": scene.name,
        "threshold_db": scene.threshold_db,
        "feet": scene.feet,
        "north_rad": _number(scene.north_rad, 6),
        "grade_m": _number(scene.grade_m),
        "bounds": _flat(scene.low_m) + _flat(scene.high_m),
        "scales": {"let_in_db": _scale(scene.let_in), "loss_db": _scale(scene.loss)},
        "cividis": list(cividis_table()),
        "look": _look(),
        "north": _flat(scene.north, 6),
        "storeys": [
            {"id": s.id, "floor_m": _number(s.floor_m), "spaces": list(s.spaces)}
            for s in scene.storeys
        ],
        "spaces": [
            {
                "id": s.id,
                "title": s.title or s.id,
                "storey": s.storey,
                "floor_m": _number(s.floor_m),
                "top_m": _number(s.top_m),
                "footprint": [_flat(ring) for ring in s.footprint],
                "outer": [_flat(ring) for ring in s.outer],
                "base": _mesh(s.base),
                "block": _mesh(s.block),
                "bounds": _flat(s.low_m) + _flat(s.high_m),
            }
            for s in scene.spaces
        ],
        "panels": [_panel(panel, scene, places) for panel in scene.panels],
        "walls": [
            {
                "panel": wall.panel,
                "space": wall.space,
                "storey": wall.storey,
                "normal": _flat(wall.normal, 6),
                "thickness_m": _number(wall.thickness_m),
                "standing": _mesh(wall.standing),
                "stub": _mesh(wall.stub),
            }
            for wall in scene.walls
        ],
        "plans": [_plan(plan, scene) for plan in scene.plans],
        "treatments": [
            {"id": s.treatment, "letter": s.letter, "colour": s.colour, "pattern": s.pattern}
            for s in scene.treatments
        ],
        "sources": [
            {
                "id": s.id,
                "title": shown(s.title or s.id),
                "label": s.label,
                "frequency_hz": list(s.frequency_hz),
                "direction": None if s.direction is None else _flat(s.direction, 6),
                "azimuth_rad": None if s.azimuth_rad is None else _number(s.azimuth_rad, 6),
                "elevation_rad": _number(s.elevation_rad, 6),
                "spread_rad": _number(s.spread_rad, 6),
                "position": None if s.position_m is None else _flat(s.position_m),
                "space": s.space,
            }
            for s in scene.sources
        ],
        **_placed(scene),
        "beams": [_beam(beam) for beam in scene.beams],
        "blocks": [{"id": b.id, "corners": _flat(b.corners_m)} for b in scene.blocks],
        "wiring": None
        if scene.wiring is None
        else wiring_to_json(scene.wiring, treatments=scene.treatments),
        "notes": list(scene.notes),
    }


def _placed(scene: Scene) -> Json:
    """What stands where sources and beds do."""
    return {
        "receivers": [
            {
                "id": r.id,
                "title": r.name,
                "space": r.space,
                "position": _flat(r.position_m),
                "size": None if r.size_m is None else _flat(r.size_m),
                "furniture": [_furniture(piece) for piece in r.furniture],
                "nothing": no_leak_sentence(r.name),
            }
            for r in scene.receivers
        ],
        "sights": [
            {
                "source": sight.source,
                "receiver": sight.receiver,
                "pieces": [_flat(piece) for piece in sight.pieces],
                "dashes": [_flat(ends) for ends in dashes(sight)],
            }
            for sight in scene.sights
        ],
        "scopes": [_scope(scope, scene) for scope in scopes(scene)],
    }


def column_to_json(scene: Scene, *, plan: str) -> Json:
    """What changes with one plan, for a viewer that has the rest of the scene already.

    Keys
    ----
    plan : as an entry of `plans`
    panels : {index: state}
        As an entry of a panel's `plans`; a panel that is left out is bare and lets nothing in.
    beams : [by beam: None or share]
    """
    at = scene.plan_index[plan]
    column = scene.plans[at]
    places = _places(column, scene)
    return {
        "plan": _plan(column, scene),
        "panels": {
            str(panel.index): _state(state, column, scene, places)
            for panel in scene.panels
            if (state := panel.states[at]).treatments or any(state.leaks)
        },
        "beams": [_share(beam.shares[at]) for beam in scene.beams],
    }


def wiring_to_json(wiring: SceneWiring, *, treatments: Sequence[TreatmentStyle]) -> Json:
    """The house wiring, which changes on its own when its field has been worked out."""
    style = {each.treatment: each.colour for each in treatments}
    return {
        "cables": [
            {
                "id": cable.id,
                "circuit": cable.circuit,
                "kind": cable.kind,
                "what": cable.what,
                "spaces": list(cable.spaces),
                "mark": _flat(cable.mark_m),
                **_mesh(cable.tube),
                "plans": [
                    [None if share is None else asdict(share) for share in own]
                    for own in cable.shares
                ],
            }
            for cable in wiring.cables
        ],
        "spots": [
            {
                "id": spot.id,
                "kind": spot.kind,
                "space": spot.space,
                "colour": SPOT_COLOURS[spot.kind],
                "plans": None if spot.plans is None else list(spot.plans),
                **_mesh(spot.mesh),
            }
            for spot in wiring.spots
        ],
        "strips": [
            {
                "panel": strip.panel,
                "colour": style[strip.treatment],
                "plans": list(strip.plans),
                **_mesh(strip.mesh),
            }
            for strip in wiring.strips
        ],
        "key": [{"colour": colour, "words": words} for colour, words in share_key()],
        "title": KEY_TITLE,
        "most_named": MOST_CABLES,
        "fields": [list(own) for own in wiring.fields],
    }


def _number(value: float, digits: int = 4) -> float | None:
    if not math.isfinite(value):
        return None
    rounded = round(float(value), digits)
    return int(rounded) if rounded == int(rounded) else rounded


def _figures(value: float | None, digits: int = 6) -> float | None:
    """A quantity with so many figures that matter; None where it is infinite or not known."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")


def _flat(points: Floats | Sequence[float], digits: int = 4) -> list[float]:
    values = np.round(np.asarray(points, dtype=np.float64).reshape(-1), digits) + 0.0
    return [int(value) if value == int(value) else value for value in values.tolist()]


def _indices(triangles: Indices) -> list[int]:
    flat: list[int] = triangles.reshape(-1).tolist()
    return flat


def _mesh(mesh: Mesh) -> Json:
    return {"vertices": _flat(mesh.vertices), "triangles": _indices(mesh.triangles)}


def _scale(scale: Scale) -> list[float]:
    return [scale.low_db, scale.high_db]


def _panel(panel: ScenePanel, scene: Scene, places: Sequence[Places]) -> Json:
    return {
        "id": panel.id,
        "title": face_title(panel, home=panel.space),
        "kind": panel.kind,
        "storey": panel.storey,
        "space": panel.space,
        "area_m2": _number(panel.area_m2),
        "centre": _flat(panel.centre_m),
        "mark": _flat(panel.mark_m),
        "normal": _flat(panel.normal, 6),
        **_mesh(panel.mesh),
        "rings": list(panel.rings),
        "is_opening": panel.kind in OPENING_KINDS,
        "ground_lines": [_flat(line) for line in ground_lines(panel, scene=scene)],
        "host": panel.host,
        "opening": panel.opening,
        "aliases": list(panel.aliases),
        "assemblies": list(panel.assemblies),
        "behind": list(panel.behind),
        "plans": [
            _state(state, plan, scene, place)
            for state, plan, place in zip(panel.states, scene.plans, places, strict=True)
        ],
    }


def _places(plan: ScenePlan, scene: Scene) -> Places:
    """Place of each face in the lists of a plan, by receiver and face."""
    places: Places = {}
    for receiver in scene.receivers:
        result = plan.receiver(receiver.id)
        if result is not None:
            listed = enumerate(listed_faces(result))
            places[receiver.id] = {leak.panel: place for place, leak in listed}
    return places


def _state(state: PanelState, plan: ScenePlan, scene: Scene, places: Places) -> Json:
    return {
        "treatments": list(state.treatments),
        "stands": state.stands,
        "worn": worn_sentence(state.treatments),
        "leaks": [
            None
            if leak is None
            else _leak(
                leak,
                plan.receiver(receiver.id),
                scene,
                stands=state.stands,
                rank=places.get(receiver.id, {}).get(leak.panel, len(scene.panels)),
            )
            for leak, receiver in zip(state.leaks, scene.receivers, strict=True)
        ],
    }


def _leak(
    leak: PanelLeak,
    result: ReceiverResult | None,
    scene: Scene,
    *,
    stands: str,
    rank: int,
) -> Json:
    panel = scene.panels[scene.panel_index[leak.panel]]
    home = result.space if result is not None else None
    return {
        "solid_angle_sr": _figures(leak.solid_angle_sr),
        "open_equivalent_sr": _figures(leak.open_equivalent_solid_angle_sr),
        "let_in_db": None if result is None else _number(let_in_db(leak, result=result), 2),
        "loss_db": _number(leak.loss_db, 2),
        "share": _figures(leak.share),
        "direct_share": _figures(leak.direct_share),
        "level_if_treated_w_m2": _figures(leak.level_if_treated_w_m2),
        "below_if_treated_db": None
        if leak.below_if_treated_db is None
        else _number(leak.below_if_treated_db, 2),
        "rank": rank,
        "trial": trial(leak),
        "is_gap": leak.is_gap,
        "outlined": is_outlined(leak),
        "label": leak_label(
            panel, leak, home=home, stands=stands, room=panel.room, behind=panel.behind
        ),
        "lines": []
        if result is None
        else list(leak_sentences(leak, result, threshold_db=scene.threshold_db)),
    }


def _look() -> Json:
    return {
        "themes": {name: asdict(theme) for name, theme in THEMES.items()},
        "amber": AMBER,
        "amber_case": AMBER_CASE,
        "landing": LANDING,
        "furniture": {
            kind: {"colour": colour, "squareness": SQUARENESS.get(kind)}
            for kind, colour in FURNITURE.items()
        },
        "stub_m": STUB_M,
        "max_beams": MAX_BEAMS,
        "max_labels": MAX_LABELS,
    }


def _scope(scope: Scope, scene: Scene) -> Json:
    return {
        "receiver": scene.receiver_index[scope.receiver],
        "mode": "peel"
        if scope.peeled
        else "all"
        if scope.whole
        else "one"
        if scope.storey
        else "room",
        "storey": scope.storey,
        "count": scope.peeled,
        "full": list(scope.rooms.full),
        "low": list(scope.rooms.low),
        "below": list(scope.rooms.below),
        "ring": {"centre": _flat(scope.ring.centre_m), "radius_m": _number(scope.ring.radius_m)},
        "azimuth_rad": _number(scope.view.azimuth_rad, 6),
        "elevation_rad": _number(scope.view.elevation_rad, 6),
        "mark_m": _number(mark_size(scope.ring)),
        "marks": [
            {
                "source": mark.source,
                "label": mark.label,
                "short": mark.short,
                "at": _flat(mark.at_m),
                "arrow": None
                if mark.arrow_m is None
                else _flat(mark.arrow_m[0]) + _flat(mark.arrow_m[1]),
                "hidden": mark.hidden,
            }
            for mark in scope.marks
        ],
        "arcs": [
            {"id": arc.id, "text": shown(arc.id, limit=24), "points": _flat(arc.points_m)}
            for arc in scope.arcs
        ],
    }


def _plan(plan: ScenePlan, scene: Scene) -> Json:
    receivers: list[Json | None] = []
    for receiver in scene.receivers:
        result = plan.receiver(receiver.id)
        if result is None:
            receivers.append(None)
            continue
        labels = face_labels(scene, plan=plan.id, receiver=receiver.id)
        receivers.append(
            {
                **_numbers(result),
                "headline": list(headline(plan=plan.id, title=plan.title, result=result)),
                "labels": [asdict(label) for label in labels],
                "beams": list(beam_order(scene, plan=plan.id, receiver=receiver.id)),
            }
        )
    return {
        "id": plan.id,
        "title": plan_title(plan.id, plan.title),
        "treated_area_m2": {k: _number(v) for k, v in plan.treated_area_m2.items()},
        "receivers": receivers,
        "moved": None if plan.moved is None else _placed(scene.under(plan.id)),
    }


def _numbers(result: ReceiverResult) -> Json:
    worst = result.worst
    return {
        "exposed_sr": _figures(result.exposed_solid_angle_sr),
        "exposed_above_horizon_sr": _figures(result.exposed_above_horizon_sr),
        "closure_error_sr": _figures(result.closure_error_sr, 3),
        "standard_error": _figures(result.standard_error, 3),
        "points": result.points,
        "reference_band": result.reference_band,
        "outside_w_m2": _figures(result.outside_w_m2),
        "level_w_m2": _figures(result.level_w_m2),
        "low_w_m2": _figures(result.low_w_m2),
        "high_w_m2": _figures(result.high_w_m2),
        "bands": [
            {
                "frequency_hz": band.frequency_hz,
                "unshielded_sr": _figures(band.unshielded_solid_angle_sr),
                "open_equivalent_sr": _figures(band.open_equivalent_solid_angle_sr),
                "reduction_db": _number(band.isotropic_reduction_db, 2),
                "below_as_built_db": _number(band.isotropic_below_as_built_db, 2),
            }
            for band in result.bands
        ],
        "sources": [
            {
                "id": source.id,
                "frequency_hz": source.frequency_hz,
                "outside_w_m2": _figures(source.outside_w_m2),
                "direct_w_m2": _figures(source.direct_w_m2),
                "diffuse_w_m2": _figures(source.diffuse_w_m2),
                "level_w_m2": _figures(source.level_w_m2),
                "low_w_m2": _figures(source.low_w_m2),
                "high_w_m2": _figures(source.high_w_m2),
                "reduction_db": _number(source.reduction_db, 2),
                "below_as_built_db": _number(source.below_as_built_db, 2),
                "lit_area_m2": _number(source.lit_area_m2),
                "unshielded_area_m2": _number(source.unshielded_area_m2),
                "unshielded_sr": _figures(source.unshielded_solid_angle_sr),
            }
            for source in result.sources
        ],
        "gaps": [leak.panel for leak in result.gaps],
        "worst": None
        if worst is None
        else {
            "position": _flat(worst.position_m),
            "reduction_db": _number(worst.isotropic_reduction_db, 2),
            "open_equivalent_sr": _figures(worst.open_equivalent_solid_angle_sr),
            "level_w_m2": _figures(worst.level_w_m2),
        },
    }


def _furniture(piece: Furniture) -> Json:
    return {
        "kind": piece.kind,
        "centre": _flat(piece.centre_m),
        "size": _flat(piece.size_m),
        "heading_rad": _number(piece.heading_rad, 6),
    }


def _beam(beam: SceneBeam) -> Json:
    return {
        "source": beam.source,
        "receiver": beam.receiver,
        "panel": beam.panel,
        "inside": _mesh(beam.inside),
        "outside": [{"near": _flat(near), "far": _flat(far)} for near, far in beam.outside],
        "landings": [_landing(landing) for landing in beam.landings],
        "plans": [_share(share) for share in beam.shares],
    }


def _share(share: BeamShare | None) -> Json | None:
    if share is None:
        return None
    return {
        "level_w_m2": _figures(share.level_w_m2),
        "share": _figures(share.share),
        "loss_db": _number(share.loss_db, 2),
        "lit_area_m2": _number(share.lit_area_m2),
        "is_gap": share.is_gap,
    }


def _landing(landing: LandingPatch) -> Json:
    return {
        "on": landing.on,
        "area_m2": _number(landing.area_m2),
        **_mesh(landing.mesh),
        "rings": list(landing.rings),
    }
