"""All casts of a job: made once, geometry only, used by every plan."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import Job, Receiver, Source
from envelope.building.model import Building
from envelope.geometry.plane import Floats
from envelope.rays import (
    DEFAULT,
    FINE,
    SCRAMBLES,
    Beam,
    Chain,
    Crossings,
    Lit,
    Sampling,
    cast_chain,
    cast_cone,
    cast_directions,
    cast_even,
    cast_lit,
    cast_point,
    merge,
    merge_chain,
    merge_lit,
)

# Points of a box along an edge: one up to a third of a metre, then one more every 0.7 m or so,
# which is closer than the beams of windows are wide.
EDGE_M = (0.35, 1.0)
BEAM, FINE_BEAM = 2**12, 2**14  # rays from a receiver over a source's cone
# Half-width of the wide cone beyond the source's own, in half-widths of its 10–90 % direction
# band: 2.3 standard deviations.
WIDER = 1.8
WIDE = 2**12  # rays of it, shared by the points of a box
LIT = 2**9  # rays from each lit panel out to a source
CHAIN, FINE_CHAIN = 2**13, 2**17  # rays from a source inward through the building


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PointCasts:
    """Casts of one point of a receiver."""

    position_m: Floats
    crossings: Crossings
    beams: Mapping[str, Beam]  # by source id
    wide: Mapping[str, Beam]  # the same, wide enough for what is tolerated of the direction


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReceiverCasts:
    """Casts of one receiver, and of its space's panels towards each source."""

    receiver: Receiver
    points: tuple[PointCasts, ...]
    crossings: Crossings  # of all its points together
    lit: Mapping[str, Lit]  # by source id


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Casts:
    """Everything that was cast for a job."""

    digest: str
    receivers: tuple[ReceiverCasts, ...]
    chains: Mapping[str, Chain]  # by source id, for the diffuse field
    even: Chain | None  # from all exposed directions; None where nothing asks for them

    def __repr__(self) -> str:
        names = ", ".join(each.receiver.id for each in self.receivers[:8])
        return f"<Casts of {len(self.receivers)} receivers ({names}), {len(self.chains)} sources>"


def direction_of(source: Source, building: Building) -> Floats:
    """Unit vector (3,) towards an exterior source, in the project's axes."""
    assert source.azimuth_rad is not None
    azimuth = source.azimuth_rad - building.site.north_rad
    flat = np.cos(source.elevation_rad)
    return np.array(
        [
            flat * np.sin(azimuth),
            flat * np.cos(azimuth),
            np.sin(source.elevation_rad),
        ]
    )


def points_of(receiver: Receiver) -> Floats:
    """Points (n, 3) that stand for a receiver: itself, or an even grid inside its box. [m]"""
    if receiver.size_m is None:
        return receiver.position_m[np.newaxis, :]
    axes = []
    for size in receiver.size_m:
        count = 1 + sum(size > edge for edge in EDGE_M)
        axes.append(((np.arange(count) + 0.5) / count - 0.5) * size)
    return np.asarray(receiver.position_m + np.array(list(itertools.product(*axes))))


def shared_out(sampling: Sampling, points: int) -> Sampling:
    """Sampling of each of a box's points, for which their mean is about as exact as one point.

    The mean of k points errs by a root of k less than each, and a point with a share s of the rays
    by s^-3/4 more: s = k^-2/3, as a power of two.
    """
    halvings = round(math.log2(points) * 2.0 / 3.0)
    return replace(
        sampling,
        points_per_panel=max(sampling.points_per_panel >> halvings, SCRAMBLES),
        points=max(sampling.points >> halvings, SCRAMBLES),
    )


def _beam(job: Job, source: Source, space: str, position: Floats, count: int) -> Beam:
    building = job.building
    if source.position_m is not None:
        return cast_point(
            building,
            space=space,
            position_m=position,
            target_m=source.position_m,
            target_space=source.space,
        )
    return cast_cone(
        building,
        space=space,
        position_m=position,
        direction=direction_of(source, building),
        spread_rad=source.spread_rad,
        count=count,
        stated=True,
    )


def _lit(job: Job, source: Source, space: str) -> Lit:
    building = job.building
    if source.position_m is not None:
        return cast_lit(
            building,
            space=space,
            target_m=source.position_m,
            target_space=source.space,
            points_per_panel=LIT,
        )
    direction = direction_of(source, building)
    return merge_lit(cast_lit(building, space=space, direction=direction, points_per_panel=LIT))


def _chain(job: Job, source: Source, count: int) -> Chain:
    building = job.building
    if source.position_m is not None:
        return cast_chain(
            building, source_m=source.position_m, source_space=source.space, count=count
        )
    return merge_chain(cast_chain(building, direction=direction_of(source, building), count=count))


def cast_job(
    job: Job,
    *,
    sampling: Sampling = DEFAULT,
    bins: int = 32,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    lit: bool = True,
) -> Casts:
    """Cast everything that a job's receivers and sources need.

    Parameters
    ----------
    job : Job
    sampling : Sampling
        How many rays.
    bins : int
        Bins of the cosine of incidence.
    progress : callable, optional
        Told the share done, 0 to 1.
    cancel : callable, optional
        Asked between casts and inside them; true stops with `CancelledError`.
    lit : bool
        Cast the lit panels and the isotropic field too, which the levels of sources do not need.
    """
    building = job.building
    fine = sampling.points >= FINE.points
    beam_rays, chain_rays = (FINE_BEAM, FINE_CHAIN) if fine else (BEAM, CHAIN)
    points = {receiver.id: points_of(receiver) for receiver in job.receivers}
    total = sum(len(each) for each in points.values())
    done = 0
    lit_of: dict[str, dict[str, Lit]] = {}
    receivers = []
    for receiver in job.receivers:
        if receiver.space not in lit_of:
            lit_of[receiver.space] = {
                source.id: _lit(job, source, receiver.space) for source in job.sources if lit
            }
        cast_points = []
        for position in points[receiver.id]:
            start = done / total

            def within(share: float, start: float = start) -> None:
                if progress is not None:
                    progress(start + share / total)

            crossings = cast_directions(
                building,
                space=receiver.space,
                position_m=position,
                sampling=shared_out(sampling, len(points[receiver.id])),
                bins=bins,
                progress=within,
                cancel=cancel,
            )
            beams = {
                source.id: _beam(job, source, receiver.space, position, beam_rays)
                for source in job.sources
            }
            wide = {
                source.id: beams[source.id]
                if source.position_m is not None
                else cast_cone(
                    building,
                    space=receiver.space,
                    position_m=position,
                    direction=direction_of(source, building),
                    spread_rad=source.spread_rad + WIDER * source.direction_tolerance_rad,
                    count=WIDE // len(points[receiver.id]),
                    stated=True,
                )
                for source in job.sources
            }
            cast_points.append(
                PointCasts(position_m=position, crossings=crossings, beams=beams, wide=wide)
            )
            done += 1
        receivers.append(
            ReceiverCasts(
                receiver=receiver,
                points=tuple(cast_points),
                crossings=merge([point.crossings for point in cast_points]),
                lit=lit_of[receiver.space],
            )
        )
    scattered = any(source.scattered > 0.0 for source in job.sources)
    around = lit or scattered  # an isotropic field is looked at beside the sources
    return Casts(
        digest=building.digest,
        receivers=tuple(receivers),
        chains={source.id: _chain(job, source, chain_rays) for source in job.sources},
        even=cast_even(building, count=chain_rays) if around else None,
    )


def recast(job: Job, casts: Casts, sources: Collection[str]) -> Casts:
    """Casts of a job in which some sources at points stand elsewhere than when it was cast.

    Parameters
    ----------
    job : Job
        With the sources at their new places.
    casts : Casts
        Of the same building and receivers.
    sources : collection of str
        Ids of those that were moved; the faces that they light are left as they were, which
        levels do not need.
    """
    changed = [source for source in job.sources if source.id in sources]
    receivers = []
    for receiver in casts.receivers:
        points = []
        for point in receiver.points:
            beams = {
                source.id: _beam(job, source, receiver.receiver.space, point.position_m, BEAM)
                for source in changed
            }
            points.append(
                replace(point, beams={**point.beams, **beams}, wide={**point.wide, **beams})
            )
        receivers.append(replace(receiver, points=tuple(points)))
    chains = {source.id: _chain(job, source, CHAIN) for source in changed}
    return replace(casts, receivers=tuple(receivers), chains={**casts.chains, **chains})
