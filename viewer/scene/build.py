"""From a job and what was found for its plans to everything there is to show, as plain arrays.

One scene serves the screen, the hand-out and the pictures. No 3D library here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from envelope.building.job import Assembly, Job, Plan, Receiver, Source
from envelope.building.model import Building, Space
from envelope.building.plan_measures import measure_of, receivers_under, sources_under
from envelope.exposure.results import LeakPath, PanelLeak, PlanResult
from envelope.geometry.plane import Floats, frozen
from envelope.text.names import moved_label, source_label
from envelope.wiring.results import WiringResults
from viewer.scene.beams import Rays, landing_patch, sweep
from viewer.scene.colours import treatment_styles
from viewer.scene.compass import direction_to
from viewer.scene.meshes import (
    BASE_M,
    bed_for,
    centre_of,
    fill_polygon,
    footprint,
    is_upright,
    outer_footprint,
    pieces_of,
    prism,
    wall_bodies,
    well_inside,
)
from viewer.scene.openings import standing
from viewer.scene.records import (
    BeamShare,
    Moved,
    PanelState,
    Scene,
    SceneBeam,
    SceneBlock,
    ScenePanel,
    ScenePlan,
    SceneReceiver,
    SceneSource,
    SceneSpace,
    SceneStorey,
    SceneWiring,
    WallBody,
)
from viewer.scene.transmitters import sights
from viewer.scene.wiring import scene_wiring, with_fields

__all__ = ["Scene", "build_scene", "with_results"]


def build_scene(
    *,
    job: Job,
    results: Sequence[PlanResult] = (),
    threshold_db: float = 20.0,
    wiring: WiringResults | None = None,
) -> Scene:
    """Everything there is to show of a job.

    Parameters
    ----------
    job : Job
        Building, treatments, sources, receivers and plans.
    results : sequence of PlanResult
        What was found, one a plan; the scene has these plans in this order. Without any, it has
        the job's plans and no numbers.
    threshold_db : float
        Loss below which a panel counts as a gap. [dB]
    wiring : WiringResults, optional
        The field of the house wiring, for the colours of its cables.

    Returns
    -------
    Scene
    """
    building = job.building
    plans = _plans(job, results)
    states = _states(job, plans)
    filled = [
        fill_polygon(frame=panel.frame, outline=panel.outline, holes=panel.holes)
        for panel in building.panels
    ]
    storey_of = {space.id: space.storey for space in building.spaces}
    panels = []
    for index, panel in enumerate(building.panels):
        mesh, rings = filled[index]
        patches = building.patches_of[panel.id]
        assemblies = (building.elements[patch.element].assembly for patch in patches)
        behind = (
            building.panel(patch.far).space if patch.far is not None else patch.behind
            for patch in patches
        )
        panels.append(
            ScenePanel(
                id=panel.id,
                index=index,
                kind=panel.kind,
                storey=storey_of[panel.space],
                space=panel.space,
                area_m2=panel.area_m2,
                centre_m=centre_of(mesh),
                mark_m=well_inside(panel.frame, mesh, rings),
                normal=panel.normal,
                mesh=mesh,
                rings=rings,
                host=panel.host,
                opening=panel.opening,
                aliases=panel.aliases,
                assemblies=tuple(dict.fromkeys(name for name in assemblies if name)),
                behind=tuple(dict.fromkeys(behind)),
                states=states[index],
                title=panel.title,
                room=building.space(panel.space).title,
            )
        )
    corners = np.concatenate([panel.outline for panel in building.panels])
    low, high = frozen(corners.min(axis=0)), frozen(corners.max(axis=0))
    walls: list[WallBody] = []
    spaces = []
    for space in building.spaces:
        bodies = wall_bodies(space, thickness_m=_thicknesses(job, space))
        walls.extend(bodies)
        spaces.append(_space(space, bodies, foot_m=_foot_of(space, building)))
    sources = tuple(_source(source, job) for source in job.sources)
    receivers = tuple(_receiver(receiver, building) for receiver in job.receivers)
    return Scene(
        name=job.name,
        threshold_db=threshold_db,
        north_rad=building.site.north_rad,
        grade_m=building.site.grade_m,
        panels=tuple(panels),
        storeys=tuple(
            SceneStorey(
                id=storey.id,
                floor_m=storey.floor_m,
                spaces=tuple(s.id for s in building.spaces if s.storey == storey.id),
            )
            for storey in building.storeys
            if any(space.storey == storey.id for space in building.spaces)  # none can be shown
        ),
        spaces=tuple(spaces),
        walls=tuple(walls),
        plans=_with_moves(plans, job, panels),
        treatments=treatment_styles(tuple(job.treatments)),
        sources=sources,
        receivers=receivers,
        sights=sights(sources, receivers, panels),
        beams=_beams(job, plans),
        north=direction_to(azimuth_rad=0.0, elevation_rad=0.0, north_rad=building.site.north_rad),
        low_m=low,
        high_m=high,
        blocks=tuple(
            SceneBlock(id=item.id, corners_m=item.corners, low_m=item.low_m, high_m=item.high_m)
            for item in building.obstacles
        ),
        wiring=_wiring(job, wiring, plans),
        feet=job.feet,
        notes=job.notes,
    )


def _wiring(
    job: Job, results: WiringResults | None, plans: Sequence[ScenePlan]
) -> SceneWiring | None:
    shown = scene_wiring(job)
    if shown is None:
        return None
    return with_fields(
        shown,
        results,
        plans=[plan.id for plan in plans],
        receivers=[receiver.id for receiver in job.receivers],
    )


def with_results(
    scene: Scene,
    *,
    job: Job,
    results: Sequence[PlanResult],
    wiring: WiringResults | None = None,
) -> Scene:
    """The scene with other plans or numbers; its shapes, beams and scales stay as they are.

    Parameters
    ----------
    scene : Scene
        Of the same building, sources and receivers, made with results.
    job : Job
        With the plans as they are now.
    results : sequence of PlanResult
        One a plan of the new scene, in its order.
    wiring : WiringResults, optional
        The field of the house wiring as it is now.
    """
    plans = _plans(job, results)
    states = _states(job, plans)
    paths = {
        (index, receiver.id, source.id, path.panel, _moved_to(job, plan.id, source.id)): path
        for index, plan in enumerate(plans)
        for receiver in (plan.result.receivers if plan.result is not None else ())
        for source in receiver.sources
        for path in source.paths
    }
    return replace(
        scene,
        plans=_with_moves(plans, job, scene.panels),
        wiring=_wiring(job, wiring, plans),
        panels=tuple(replace(panel, states=states[panel.index]) for panel in scene.panels),
        beams=tuple(
            replace(
                beam,
                shares=tuple(
                    None if path is None else _share(path)
                    for index in range(len(plans))
                    for path in (
                        paths.get((index, beam.receiver, beam.source, beam.panel, beam.moved_to)),
                    )
                ),
            )
            for beam in scene.beams
        ),
    )


def _plans(job: Job, results: Sequence[PlanResult]) -> tuple[ScenePlan, ...]:
    by_id = {plan.id: plan for plan in job.plans}
    found = {result.plan: result for result in results}
    area = {panel.id: panel.area_m2 for panel in job.building.panels}
    plans = []
    for name in found or by_id:
        totals: dict[str, float] = {}
        for panel, treatments in by_id[name].treatments.items():
            for treatment in treatments:
                index = job.building.panel_index[panel]
                totals[treatment] = totals.get(treatment, 0.0) + area[job.building.panels[index].id]
        plans.append(
            ScenePlan(
                id=name,
                title=by_id[name].title,
                treated_area_m2=totals,
                result=found.get(name),
            )
        )
    return tuple(plans)


def _states(job: Job, plans: Sequence[ScenePlan]) -> list[tuple[PanelState, ...]]:
    """States of every panel, one a plan."""
    building = job.building
    columns: list[list[PanelState]] = []
    for plan in plans:
        treatments: dict[int, tuple[str, ...]] = {
            building.panel_index[name]: worn for name, worn in job.plan(plan.id).treatments.items()
        }
        stands = standing(job, plan=plan.id)
        leaks: list[list[PanelLeak | None]] = [[None] * len(job.receivers) for _ in building.panels]
        for place, receiver in enumerate(job.receivers):
            result = plan.receiver(receiver.id)
            for leak in result.panels if result is not None else ():
                leaks[building.panel_index[leak.panel]][place] = leak
        columns.append(
            [
                PanelState(
                    treatments=treatments.get(index, ()),
                    leaks=tuple(leaks[index]),
                    stands=stands.get(panel.id, ""),
                )
                for index, panel in enumerate(building.panels)
            ]
        )
    if not columns:
        return [() for _ in building.panels]
    return list(zip(*columns, strict=True))


def _thicknesses(job: Job, space: Space) -> dict[str, float]:
    """Thickness that each upright wall shows: to the room behind it, else of its layers. [m]"""
    building = job.building
    found = {}
    for panel in space.panels:
        if not is_upright(panel):
            continue
        facing = [p for p in building.patches_of[panel.id] if p.behind == "space"]
        if sum(p.area_m2 for p in facing) > 0.5 * panel.area_m2:
            # a little less, so that it does not lie in the plane of the room behind
            found[panel.id] = max(max(p.distance_m for p in facing) - 0.01, 0.02)
            continue
        layers = [
            _layers_m(job.assemblies[name])
            for patch in building.patches_of[panel.id]
            if (name := building.elements[patch.element].assembly) in job.assemblies
            and name is not None
        ]
        if layers and max(layers) > 0.03:
            found[panel.id] = min(max(layers), 0.45)
    return found


def _layers_m(assembly: Assembly) -> float:
    return sum(layer.thickness_m for layer in assembly.layers)


def _foot_of(space: Space, building: Building) -> float:
    """Where the body below a floor begins: at the lowest floor of the storey, so that no floor of a
    split level floats, unless another room lies under it. [m]"""
    lowest = min(each.floor_m for each in building.spaces if each.storey == space.storey)
    own = footprint(space)
    for other in building.spaces:
        under = other is not space and lowest - 1e-6 <= other.floor_m < space.floor_m - 1e-6
        if under and footprint(other).intersection(own).area > 1e-3:
            return space.floor_m
    return lowest


def _space(space: Space, bodies: Sequence[WallBody], *, foot_m: float) -> SceneSpace:
    corners = np.concatenate([panel.outline for panel in space.panels])
    inner, outer = footprint(space), outer_footprint(space, bodies=bodies)
    # the niche of a hatch or stair reaches into the floor beyond: it makes no room taller
    own = [panel.outline for panel in space.panels if panel.kind in ("wall", "floor", "ceiling")]
    heights = np.concatenate(own)[:, 2] if own else corners[:, 2]
    low, top = float(heights.min()), float(heights.max())
    return SceneSpace(
        id=space.id,
        storey=space.storey,
        floor_m=space.floor_m,
        top_m=top,
        footprint=_rings(inner),
        outer=_rings(outer),
        base=prism(
            outer,
            low_m=min(low, foot_m) - BASE_M,
            high_m=space.floor_m - 0.004,
        ),
        block=prism(outer, low_m=low - BASE_M, high_m=top),
        low_m=frozen(corners.min(axis=0)),
        high_m=frozen(corners.max(axis=0)),
        title=space.title,
    )


def _rings(shape: object) -> tuple[Floats, ...]:
    return tuple(
        frozen(np.asarray(ring.coords)[:-1, :2])
        for piece in pieces_of(shape)
        for ring in (piece.exterior, *piece.interiors)
    )


def _space_name(building: Building, space: str | None) -> str | None:
    """What people call a room; None for the outdoors."""
    return None if space is None else building.space(space).title or space


def _receiver(receiver: Receiver, building: Building) -> SceneReceiver:
    return SceneReceiver(
        id=receiver.id,
        space=receiver.space,
        position_m=receiver.position_m,
        size_m=receiver.size_m,
        title=receiver.title,
        furniture=bed_for(
            position_m=receiver.position_m,
            size_m=receiver.size_m,
            bed=receiver.bed,
            space=building.space(receiver.space),
        ),
    )


def _with_moves(
    plans: Sequence[ScenePlan], job: Job, panels: Sequence[ScenePanel]
) -> tuple[ScenePlan, ...]:
    """The plans with sources and beds where they move them."""
    return tuple(replace(plan, moved=_moves(job.plan(plan.id), job, panels)) for plan in plans)


def _moves(plan: Plan, job: Job, panels: Sequence[ScenePanel]) -> Moved | None:
    there = sources_under(plan, job.sources, power=False)
    beds = receivers_under(plan, job.receivers)
    if there == job.sources and beds == job.receivers:
        return None
    sources = tuple(
        _source(source, job)
        if source is stood
        else replace(_source(source, job), label=moved_label(_source(source, job).label))
        for source, stood in zip(there, job.sources, strict=True)
    )
    receivers = tuple(
        _receiver(bed, job.building)
        if bed is stood
        else replace(_receiver(bed, job.building), title=moved_label(bed.title or bed.id))
        for bed, stood in zip(beds, job.receivers, strict=True)
    )
    return Moved(sources=sources, receivers=receivers, sights=sights(sources, receivers, panels))


def _source(source: Source, job: Job) -> SceneSource:
    direction = None
    if source.azimuth_rad is not None:
        direction = direction_to(
            azimuth_rad=source.azimuth_rad,
            elevation_rad=source.elevation_rad,
            north_rad=job.building.site.north_rad,
        )
    return SceneSource(
        id=source.id,
        label=source_label(
            name=source.title or source.id,
            azimuth_rad=source.azimuth_rad,
            elevation_rad=source.elevation_rad,
            space=_space_name(job.building, source.space),
        ),
        title=source.title,
        frequency_hz=source.band_hz,
        direction=direction,
        azimuth_rad=source.azimuth_rad,
        elevation_rad=source.elevation_rad,
        spread_rad=source.spread_rad,
        position_m=source.position_m,
        space=source.space,
    )


def _beams(job: Job, plans: Sequence[ScenePlan]) -> tuple[SceneBeam, ...]:
    """One beam a receiver, source and panel, and for each place where plans have the source."""
    building = job.building
    sources = {source.id: source for source in job.sources}
    found: dict[tuple[str, str, str, tuple[float, ...]], list[tuple[int, LeakPath]]] = {}
    for index, plan in enumerate(plans):
        for receiver in plan.result.receivers if plan.result is not None else ():
            for result in receiver.sources:
                for path in result.paths:
                    moved_to = _moved_to(job, plan.id, result.id)
                    key = (receiver.id, result.id, path.panel, moved_to)
                    found.setdefault(key, []).append((index, path))
    beams = []
    for (receiver_id, source_id, panel_id, moved_to), paths in found.items():
        rays = _rays(sources.get(source_id), building, moved_to)
        if rays is None:
            continue
        panel = building.panel(panel_id)
        # under a plan that lets nothing pass a path may lack its landings: take where it has them
        landed = max((path for _, path in paths), key=lambda path: len(path.landings))
        swept = sweep(
            frame=panel.frame,
            outline=panel.outline,
            # a box does not block: the beam goes on to the panel behind it
            polygons=[
                polygon
                for landing in landed.landings
                if landing.on in building.panel_index
                for polygon in landing.polygons
            ],
            rays=rays,
        )
        shares: list[BeamShare | None] = [None] * len(plans)
        for index, path in paths:
            shares[index] = _share(path)
        beams.append(
            SceneBeam(
                source=source_id,
                receiver=receiver_id,
                panel=panel.id,
                inside=swept.inside,
                outside=swept.outside,
                landings=tuple(
                    landing_patch(on=landing.on, area_m2=landing.area_m2, polygons=landing.polygons)
                    for landing in landed.landings
                ),
                shares=tuple(shares),
                moved_to=moved_to,
            )
        )
    return tuple(beams)


def _share(path: LeakPath) -> BeamShare:
    return BeamShare(
        level_w_m2=path.level_w_m2,
        share=path.share,
        loss_db=path.loss_db,
        lit_area_m2=path.lit_area_m2,
        is_gap=path.is_gap,
    )


def _moved_to(job: Job, plan: str, source: str) -> tuple[float, ...]:
    """Where a plan moves a source; () where it leaves it. [m]"""
    measures = job.plan(plan).measures
    if not measures:
        return ()
    stands = next((each for each in job.sources if each.id == source), None)
    measure = None if stands is None else measure_of(job.plan(plan), stands)
    at = None if measure is None else measure.position_m
    return () if at is None else tuple(at.tolist())


def _rays(
    source: Source | None, building: Building, moved_to: tuple[float, ...] = ()
) -> Rays | None:
    """Rays of a source; None for an even field, which has no direction."""
    if source is None:
        return None
    if moved_to:
        return Rays(position_m=np.array(moved_to))
    if source.position_m is not None:
        return Rays(position_m=source.position_m)
    if source.azimuth_rad is None:
        return None
    return Rays(
        direction=direction_to(
            azimuth_rad=source.azimuth_rad,
            elevation_rad=source.elevation_rad,
            north_rad=building.site.north_rad,
        )
    )
