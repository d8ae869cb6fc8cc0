"""What each source brings to a receiver, and along which leak paths.

The direct level is the source's level outside times the mean transmission over its cone; the
share that arrives scattered comes evenly from the exposed directions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from envelope.building.job import Plan, Polarization, Receiver, Source
from envelope.building.model import Panel
from envelope.exposure.casts import ReceiverCasts, direction_of
from envelope.exposure.diffraction import BentBeam, bent_beams
from envelope.exposure.footprints import Light, landings
from envelope.exposure.results import Landing, LeakPath
from envelope.exposure.slots import electric_field, slot_turns
from envelope.exposure.solid_angles import loss_db, threshold_transmission, totals
from envelope.exposure.transmission import Bench, Stacks, treatments_on
from envelope.geometry.plane import Floats
from envelope.rays import Beam, Lit

PANELS_WITH_LANDINGS = 12  # the strongest paths; the rest land too faintly to draw


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Direct:
    """Direct part of one source at one receiver, as fractions of its level outside."""

    transmission: float  # mean over the cone and over the receiver's points
    by_panel: Floats  # (panels,) the parts of it that come through each panel
    seen: Floats  # (panels,) the share of the source that stands behind each, unblocked
    by_point: Floats  # (points,)
    unshielded_sr: float | None
    outside_w_m2: float  # mean over the receiver's points
    bent: tuple[BentBeam, ...] = ()  # openings around whose edges the beam was bent


def level_outside(source: Source, storey: str, position_m: Floats) -> float:
    """Level of a source at a point with every building removed. [W/m²]"""
    if source.eirp_w is not None:
        assert source.position_m is not None
        distance = float(np.linalg.norm(position_m - source.position_m))
        return source.eirp_w / (4.0 * math.pi * max(distance, 1e-3) ** 2)
    return source.level_w_m2.get(storey, source.level_w_m2.get("", 0.0))


def polarization_weights(
    polarization: Polarization, *, directions: Floats, normals: Floats
) -> Floats:
    """Shares (n, 2) of a source's power that are TE and TM at the panels its rays meet.

    Parameters
    ----------
    polarization : str
        "horizontal" and "vertical" speak of the electric field, across the direction.
    directions, normals : (n, 3) float
        Rays, and the panel that each meets first.

    Notes
    -----
    Along a ray through parallel elements the shares stay what they are at the first.
    """
    if polarization == "unpolarized":
        return np.full((len(directions), 2), 0.5)
    field = electric_field(polarization, directions)
    across = np.cross(normals, directions)  # the electric field of a TE wave
    length = np.linalg.norm(across, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        te = ((field * across).sum(axis=1) / length) ** 2
    te = np.where(length > 1e-9, te, 0.5)  # head-on there is no difference
    return np.stack((te, 1.0 - te), axis=1)


def along_rays(
    rays: Beam | Lit, *, bench: Bench, stacks: Stacks, band: int, polarization: Polarization
) -> Floats:
    """Transmission (n,) of rays that were kept apart, at their exact angles; 0 where blocked."""
    passed = by_polarization(rays, bench=bench, stacks=stacks, band=band, polarization=polarization)
    return np.asarray(passed[:, 0] + passed[:, 1])


def by_polarization(
    rays: Beam | Lit, *, bench: Bench, stacks: Stacks, band: int, polarization: Polarization
) -> Floats:
    """TE and TM parts (n, 2) of `along_rays`, whose sum is the transmission.

    Parameters
    ----------
    rays : Beam or Lit
        Rays (n) with exact cosines.
    bench, stacks : Bench, Stacks
        Of the job, and of the plan.
    band : int
        Which of the bench's bands.
    polarization : str
        Of the source.
    """
    logs, _ = bench.along(rays, stacks, band)
    total = np.zeros((len(rays.sky), 2))
    filled = np.diff(rays.start) > 0  # a source in the same room is reached through nothing
    if filled.any():
        turns = slot_turns(rays, bench=bench, stacks=stacks, band=band, polarization=polarization)
        if turns:
            logs = logs.copy()
            for entries, turned in turns:
                logs[entries] += turned
        total[filled] = np.add.reduceat(logs, rays.start[:-1][filled], axis=0)
    passed = np.exp(total) * (rays.sky > 0)[:, np.newaxis]
    if polarization == "unpolarized":
        return np.asarray(0.5 * passed)
    normals = np.array([panel.normal for panel in bench.job.building.panels])
    first = rays.panel if isinstance(rays, Lit) else np.maximum(rays.first_panel, 0)
    shares = polarization_weights(polarization, directions=rays.directions, normals=normals[first])
    return np.asarray(passed * shares)


def direct_part(
    *,
    source: Source,
    casts: ReceiverCasts,
    bench: Bench,
    stacks: Stacks,
    band: int,
    threshold_db: float,
    edges: bool = False,
) -> Direct:
    """Direct part of one source at one receiver, averaged in power over the receiver's points.

    With `edges`, openings that stand out of their wall bend the beam around their edges.
    """
    building = bench.job.building
    limit = threshold_transmission(threshold_db)
    storey = building.space(casts.receiver.space).storey
    by_panel = np.zeros(len(building.panels))
    seen = np.zeros(len(building.panels))
    by_point = np.zeros(len(casts.points))
    unshielded = np.zeros(len(casts.points))
    outside = np.zeros(len(casts.points))
    for index, point in enumerate(casts.points):
        beam = point.beams[source.id]
        through = along_rays(
            beam, bench=bench, stacks=stacks, band=band, polarization=source.polarization
        )
        outside[index] = level_outside(source, storey, point.position_m)
        by_point[index] = float(beam.weights @ through)
        share = outside[index] / len(casts.points)
        here = beam.first_panel >= 0  # a source in the same room comes through no panel
        brought = (beam.weights * through)[here]
        by_panel += share * totals(beam.first_panel[here], brought, len(by_panel))
        open_sky = (beam.weights * (beam.sky > 0))[here]
        seen += share * totals(beam.first_panel[here], open_sky, len(seen))
        unshielded[index] = beam.solid_angle_sr * float(beam.weights @ (through > limit))
    mean_outside = float(outside.mean())
    scale = 1.0 / mean_outside if mean_outside > 0.0 else 0.0
    transmission = float(outside @ by_point) / len(by_point) * scale
    by_panel = by_panel * scale
    bent = (
        bent_beams(source=source, casts=casts, bench=bench, stacks=stacks, band=band)
        if edges
        else ()
    )
    if bent:
        corrected = by_panel.copy()
        for opening in bent:
            corrected[opening.index] = opening.transmission * opening.ratio
        transmission = max(transmission + float((corrected - by_panel).sum()), 0.0)
        by_panel = corrected
    return Direct(
        transmission=transmission,
        by_panel=by_panel,
        seen=seen * scale,
        by_point=by_point,
        unshielded_sr=None if source.position_m is not None else float(unshielded.mean()),
        outside_w_m2=mean_outside,
        bent=bent,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LitAreas:
    """How a source lights the panels of a receiver's space."""

    lit_m2: Floats  # (panels,) projected along the source's direction
    through_m2: Floats  # (panels,) the same, weighted by the transmission all the way
    unshielded_m2: float


def lit_areas(
    *,
    source: Source,
    casts: ReceiverCasts,
    bench: Bench,
    stacks: Stacks,
    band: int,
    threshold_db: float,
) -> LitAreas:
    """Areas of a receiver's space that a source lights, and what gets through them."""
    lit = casts.lit[source.id]
    through = along_rays(
        lit, bench=bench, stacks=stacks, band=band, polarization=source.polarization
    )
    reached = lit.area_m2 * (lit.sky > 0)
    count = len(bench.job.building.panels)
    return LitAreas(
        lit_m2=totals(lit.panel, reached, count),
        through_m2=totals(lit.panel, reached * through, count),
        unshielded_m2=float(reached @ (through > threshold_transmission(threshold_db))),
    )


def leak_paths(
    *,
    source: Source,
    receiver: Receiver,
    direct: Direct,
    areas: LitAreas,
    bench: Bench,
    plan: Plan,
    threshold_db: float,
) -> tuple[LeakPath, ...]:
    """Leak paths of a source into a receiver's space, by what they bring to the receiver.

    Paths that miss the receiver follow, by the power that they let into the room.
    """
    building = bench.job.building
    limit = threshold_transmission(threshold_db)
    space = building.space(receiver.space)
    total = float(direct.by_panel.sum())
    direct_share = 1.0 - source.scattered
    ranked = []
    for index in np.flatnonzero((areas.lit_m2 > 0.0) | (direct.by_panel > 0.0)):
        panel = building.panels[index]
        lit = float(areas.lit_m2[index])
        if lit > 0.0:
            mean = float(areas.through_m2[index]) / lit
        elif direct.seen[index] > 0.0:  # behind a bare opening: as the receiver sees it
            mean = float(direct.by_panel[index] / direct.seen[index])
        else:
            mean = 0.0
        ranked.append(
            (-float(direct.by_panel[index]), -float(areas.through_m2[index]), panel, mean)
        )
    ranked.sort(key=lambda row: (row[0], row[1], row[2].id))
    paths = []
    for place, (negative, _, panel, mean) in enumerate(ranked):
        lands = place < PANELS_WITH_LANDINGS and mean > limit and panel.space == space.id
        paths.append(
            LeakPath(
                panel=panel.id,
                kind=panel.kind,
                treatments=treatments_on(plan, panel.id),
                lit_area_m2=float(areas.lit_m2[building.panel_index[panel.id]]),
                let_in_m2=float(areas.through_m2[building.panel_index[panel.id]]),
                loss_db=loss_db(mean),
                level_w_m2=-negative * direct.outside_w_m2 * direct_share,
                share=-negative / total if total > 0.0 else 0.0,
                is_gap=mean > limit,
                landings=_landings(bench, source, panel) if lands else (),
            )
        )
    return tuple(paths)


def _landings(bench: Bench, source: Source, panel: Panel) -> tuple[Landing, ...]:
    """Footprints of a source's beam through a panel: geometry, so the same for every plan."""
    job = bench.job

    def project() -> tuple[Landing, ...]:
        light = (
            Light(point=source.position_m)
            if source.position_m is not None
            else Light(direction=-direction_of(source, job.building))
        )
        return landings(
            gap=panel,
            panels=job.building.space(panel.space).panels,
            receivers=[receiver for receiver in job.receivers if receiver.space == panel.space],
            light=light,
        )

    at = None if source.position_m is None else tuple(source.position_m.tolist())
    beds = tuple((each.id, *each.position_m.tolist()) for each in job.receivers)
    return bench.kept(("landings", source.id, at, beds, panel.id), project)
