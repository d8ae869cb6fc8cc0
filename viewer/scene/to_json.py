"""A scene as JSON: plain lists and numbers that any viewer can read."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from envelope.exposure.results import PanelLeak, ReceiverResult
from envelope.geometry.plane import Floats
from viewer.scene.colours import cividis_table
from viewer.scene.names import leak_label, panel_title
from viewer.scene.records import (
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
)
from viewer.scene.wording import shown

Json = dict[str, Any]


def to_json(scene: Scene) -> Json:
    """A scene as plain dictionaries, lists, strings, finite numbers, booleans and None.

    Lengths are metres rounded to 0.1 mm, x east, y north, z up in project axes. Points are flat
    lists ``[x, y, z, x, y, z, …]``; a *mesh* is ``{"vertices": [flat], "triangles": [flat, three
    indices each]}``, counter-clockwise from the side that shows: cull back faces and near walls
    vanish. A number that is infinite (nothing passes) stands as None. Where a list goes "by plan"
    or "by receiver" its order is that of `plans` or `receivers`.

    Keys
    ----
    format : 1
    name : str
    threshold_db : float
    feet : bool
        Whether lengths and areas are shown in feet and inches.
    north_rad : float
        True azimuth of +y, clockwise.
    grade_m : float
    bounds : [low x, y, z, high x, y, z]
    scales : {"let_in_db": [low, high], "loss_db": [low, high]}
        Absolute, the same for every plan. Let-in: high is bright. Loss: low is bright.
    cividis : [64 × "#rrggbb"]
        From the dark to the bright end.
    storeys : [{id, floor_m, spaces: [id]}]
        From the lowest up.
    spaces : [{id, storey, floor_m, top_m, footprint: [ring], outer: [ring], base: mesh,
    block: mesh, bounds}]
        Rings are flat ``[x, y, x, y, …]``: the inside faces, and with walls. `base` is the body
        of the floor; `block` the room as a closed solid seen from outside.
    panels : [{id, title, kind, storey, space, area_m2, centre, mark, normal, vertices, rings,
    triangles, host, opening, aliases, assemblies, behind, plans}]
        `rings`: number of corners in each outline (outer ones and holes), which follow one another
        in `vertices`. `mark`: a point well inside, for a label. `behind`: "outdoors", "earth" or
        space ids. `plans`, by plan:
        ``{"treatments": [id], "leaks": [by receiver: None or leak]}``, a leak being
        ``{"solid_angle_sr", "open_equivalent_sr", "let_in_db", "loss_db", "share",
        "reduction_if_sealed_db", "is_gap", "label"}``.
    walls : [{panel, space, storey, normal, thickness_m, standing: mesh, stub: mesh}]
        Show `standing` where the normal faces the eye (the wall is seen from inside), else `stub`.
    plans : [{id, title, treated_area_m2: {treatment: m²}, receivers: [by receiver: None or
    numbers]}]
        Numbers: ``{"exposed_sr", "exposed_above_horizon_sr", "closure_error_sr",
        "standard_error", "points", "outside_w_m2", "level_w_m2", "low_w_m2", "high_w_m2",
        "bands": [{"frequency_hz", "unshielded_sr", "open_equivalent_sr", "reduction_db"}],
        "sources": [{"id", "frequency_hz", "outside_w_m2", "direct_w_m2", "diffuse_w_m2",
        "level_w_m2", "low_w_m2", "high_w_m2", "reduction_db", "below_as_built_db",
        "lit_area_m2", "unshielded_area_m2", "unshielded_sr"}], "gaps": [panel id, the most
        first], "worst": None or {"position", "reduction_db", "open_equivalent_sr",
        "level_w_m2"}}``.
    treatments : [{id, letter, colour, pattern}]
        Letter and pattern tell them apart without colour. Patterns: plain, rising, falling, dots,
        cross, upright, level, grid.
    ring : {centre, radius_m, north}
        Compass on the ground; `north` is a unit vector.
    sources : [{id, label, frequency_hz: [low, high], direction, azimuth_rad, elevation_rad,
    spread_rad, position, space, arrow}]
        `direction` points to the source; `arrow` is tail and tip, flat; both None for a point,
        which has a `position`.
    receivers : [{id, space, position, size, furniture: [{kind, centre, size, heading_rad}]}]
        `size` None for a point. Furniture: boxes turned about z; kinds foot, slab, pillow.
    sights : [{source, receiver, pieces: [flat, two points each]}]
        The line from a receiver to a source that has a position, open where it passes a panel;
        the first piece is the one in the receiver's room.
    beams : [{source, receiver, panel, inside: mesh, outside: [{near, far}], landings: [{on,
    area_m2, vertices, rings, triangles}], plans}]
        `inside` is closed and wound outward. `outside`: ring at the panel, and the same ring where
        the beam has faded. `on`: panel id or receiver id. `plans`, by plan: None or
        ``{"level_w_m2", "share", "loss_db", "lit_area_m2", "is_gap"}``.
    blocks : [{id, corners}]
        What stands outdoors and blocks, by the corners of its plan, flat ``[x, y, x, y, …]``.
    notes : [str]
    """
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
        "storeys": [
            {"id": s.id, "floor_m": _number(s.floor_m), "spaces": list(s.spaces)}
            for s in scene.storeys
        ],
        "spaces": [
            {
                "id": s.id,
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
        "panels": [_panel(panel, scene) for panel in scene.panels],
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
        "ring": {
            "centre": _flat(scene.ring.centre_m),
            "radius_m": _number(scene.ring.radius_m),
            "north": _flat(scene.ring.north, 6),
        },
        "sources": [
            {
                "id": s.id,
                "label": s.label,
                "frequency_hz": list(s.frequency_hz),
                "direction": None if s.direction is None else _flat(s.direction, 6),
                "azimuth_rad": None if s.azimuth_rad is None else _number(s.azimuth_rad, 6),
                "elevation_rad": _number(s.elevation_rad, 6),
                "spread_rad": _number(s.spread_rad, 6),
                "position": None if s.position_m is None else _flat(s.position_m),
                "space": s.space,
                "arrow": None if s.arrow_m is None else _flat(s.arrow_m[0]) + _flat(s.arrow_m[1]),
            }
            for s in scene.sources
        ],
        "receivers": [
            {
                "id": r.id,
                "space": r.space,
                "position": _flat(r.position_m),
                "size": None if r.size_m is None else _flat(r.size_m),
                "furniture": [_furniture(piece) for piece in r.furniture],
            }
            for r in scene.receivers
        ],
        "sights": [
            {
                "source": sight.source,
                "receiver": sight.receiver,
                "pieces": [_flat(piece) for piece in sight.pieces],
            }
            for sight in scene.sights
        ],
        "beams": [_beam(beam) for beam in scene.beams],
        "blocks": [{"id": b.id, "corners": _flat(b.corners_m)} for b in scene.blocks],
        "notes": list(scene.notes),
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
    return {
        "plan": _plan(column, scene),
        "panels": {
            str(panel.index): _state(state, column, scene)
            for panel in scene.panels
            if (state := panel.states[at]).treatments or any(state.leaks)
        },
        "beams": [_share(beam.shares[at]) for beam in scene.beams],
    }


def to_text(scene: Scene) -> str:
    """A scene as JSON text that may stand inside a page's script element as it is.

    ``<``, ``>``, ``&`` and the line separators that scripts mind are written as escapes, so that
    no name from a file can end the element.
    """
    text = json.dumps(to_json(scene), allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


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


def _panel(panel: ScenePanel, scene: Scene) -> Json:
    return {
        "id": panel.id,
        "title": panel_title(
            panel=panel.id, space=panel.space, kind=panel.kind, aliases=panel.aliases
        ),
        "kind": panel.kind,
        "storey": panel.storey,
        "space": panel.space,
        "area_m2": _number(panel.area_m2),
        "centre": _flat(panel.centre_m),
        "mark": _flat(panel.mark_m),
        "normal": _flat(panel.normal, 6),
        **_mesh(panel.mesh),
        "rings": list(panel.rings),
        "host": panel.host,
        "opening": panel.opening,
        "aliases": list(panel.aliases),
        "assemblies": list(panel.assemblies),
        "behind": list(panel.behind),
        "plans": [
            _state(state, plan, scene)
            for state, plan in zip(panel.states, scene.plans, strict=True)
        ],
    }


def _state(state: PanelState, plan: ScenePlan, scene: Scene) -> Json:
    return {
        "treatments": list(state.treatments),
        "stands": state.stands,
        "leaks": [
            None
            if leak is None
            else _leak(leak, plan.receiver(receiver.id), scene, stands=state.stands)
            for leak, receiver in zip(state.leaks, scene.receivers, strict=True)
        ],
    }


def _leak(leak: PanelLeak, result: ReceiverResult | None, scene: Scene, *, stands: str) -> Json:
    from_outside = math.inf
    if result is not None and leak.open_equivalent_solid_angle_sr > 0:
        ratio = leak.open_equivalent_solid_angle_sr / result.exposed_solid_angle_sr
        from_outside = 10.0 * math.log10(ratio)
    panel = scene.panels[scene.panel_index[leak.panel]]
    home = result.space if result is not None else None
    return {
        "solid_angle_sr": _figures(leak.solid_angle_sr),
        "open_equivalent_sr": _figures(leak.open_equivalent_solid_angle_sr),
        "let_in_db": _number(from_outside, 2),
        "loss_db": _number(leak.loss_db, 2),
        "share": _figures(leak.share),
        "reduction_if_sealed_db": _number(leak.reduction_if_sealed_db, 2),
        "is_gap": leak.is_gap,
        "label": leak_label(panel, leak, home=home, stands=stands),
    }


def _plan(plan: ScenePlan, scene: Scene) -> Json:
    found = (plan.receiver(receiver.id) for receiver in scene.receivers)
    return {
        "id": plan.id,
        "title": plan.title or shown(plan.id),
        "treated_area_m2": {k: _number(v) for k, v in plan.treated_area_m2.items()},
        "receivers": [None if result is None else _numbers(result) for result in found],
    }


def _numbers(result: ReceiverResult) -> Json:
    worst = result.worst
    return {
        "exposed_sr": _figures(result.exposed_solid_angle_sr),
        "exposed_above_horizon_sr": _figures(result.exposed_above_horizon_sr),
        "closure_error_sr": _figures(result.closure_error_sr, 3),
        "standard_error": _figures(result.standard_error, 3),
        "points": result.points,
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
