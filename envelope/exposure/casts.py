"""All casts of a job: made once, geometry only, used by every plan."""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Concatenate, ParamSpec, TypeVar, cast

import numpy as np

from envelope import rays
from envelope.building.job import Job, Plan, Receiver, Source
from envelope.building.model import Building
from envelope.building.plan_measures import measure_of, receivers_under, sources_under
from envelope.geometry.plane import Floats
from envelope.rays import (
    BINS,
    DEFAULT,
    FINE,
    SCRAMBLES,
    Beam,
    Chain,
    Crossings,
    Lit,
    Sampling,
    merge,
    merge_chain,
    merge_lit,
)

Arguments = ParamSpec("Arguments")
Piece = TypeVar("Piece")

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


# What a plan moves: ("source", id, space, place) and ("receiver", id, place, size) of each.
Placement = tuple[tuple[str | tuple[float, ...] | None, ...], ...]


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
    asked_error: float | None  # of them, as in `Sampling`
    lit: Mapping[str, Lit]  # by source id


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Casts:
    """Everything that was cast for a job."""

    digest: str
    receivers: tuple[ReceiverCasts, ...]
    chains: Mapping[str, Chain]  # by source id, for the diffuse field
    even: Chain | None  # from all exposed directions; None where nothing asks for them
    sampling: Sampling = DEFAULT
    elsewhere: Mapping[Placement, Casts] = field(default_factory=dict)  # with what plans move

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


def key_of(kind: str, arguments: Mapping[str, object]) -> str:
    """What tells a piece of a building's casts apart: its kind and all that it is cast with."""
    digest = hashlib.sha256(kind.encode())
    for name in sorted(arguments):
        value = arguments[name]
        digest.update(f"\0{name}\0".encode())
        if isinstance(value, np.ndarray):
            digest.update(f"{value.dtype.str}{value.shape}".encode() + value.tobytes())
        else:
            digest.update(repr(value).encode())
    return f"{kind} {digest.hexdigest()}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caster:
    """Casts pieces for a building, unless they were cast with the same arguments before.

    `kept` may be filled with pieces that were cast for a building of the same digest; what is cast
    is put there.
    """

    job: Job
    kept: MutableMapping[str, object] = field(default_factory=dict)

    def piece(
        self,
        kind: str,
        function: Callable[[], Callable[Concatenate[Building, Arguments], Piece]],
        *arguments: Arguments.args,
        **named: Arguments.kwargs,
    ) -> Piece:
        """A piece; its function is asked for, and so loaded, only where it must be cast."""
        assert not arguments  # what casts takes all but the building by name
        key = key_of(kind, named)
        if key not in self.kept:
            self.kept[key] = function()(self.job.building, *arguments, **named)
        return cast(Piece, self.kept[key])

    def directions(
        self,
        space: str,
        position: Floats,
        *,
        sampling: Sampling,
        bins: int,
        progress: Callable[[float], None],
        cancel: Callable[[], bool] | None,
    ) -> Crossings:
        """From a point of a receiver in all directions, telling how far it is."""
        return self.piece(
            "directions",
            lambda: partial(rays.cast_directions, progress=progress, cancel=cancel),
            space=space,
            position_m=position,
            sampling=sampling,
            bins=bins,
        )

    def beam(self, source: Source, space: str, position: Floats, count: int) -> Beam:
        """From a point of a receiver to a source."""
        if source.position_m is not None:
            return self.piece(
                "point",
                lambda: rays.cast_point,
                space=space,
                position_m=position,
                target_m=source.position_m,
                target_space=source.space,
            )
        return self.cone(source, space, position, spread_rad=source.spread_rad, count=count)

    def cone(
        self, source: Source, space: str, position: Floats, *, spread_rad: float, count: int
    ) -> Beam:
        """From a point of a receiver over a cone about the direction of a source."""
        return self.piece(
            "cone",
            lambda: rays.cast_cone,
            space=space,
            position_m=position,
            direction=direction_of(source, self.job.building),
            spread_rad=spread_rad,
            count=count,
            stated=True,
        )

    def lit(self, source: Source, space: str) -> Lit:
        """From the panels of a space out to a source."""
        if source.position_m is not None:
            return self.piece(
                "lit",
                lambda: rays.cast_lit,
                space=space,
                target_m=source.position_m,
                target_space=source.space,
                points_per_panel=LIT,
            )
        direction = direction_of(source, self.job.building)
        return self.piece(
            "lit merged",
            lambda: _merged_lit,
            space=space,
            direction=direction,
            points_per_panel=LIT,
        )

    def chain(self, source: Source, count: int) -> Chain:
        """From a source inward through the building."""
        if source.position_m is not None:
            return self.piece(
                "chain",
                lambda: rays.cast_chain,
                source_m=source.position_m,
                source_space=source.space,
                count=count,
            )
        direction = direction_of(source, self.job.building)
        return self.piece("chain merged", lambda: _merged_chain, direction=direction, count=count)


def _merged_lit(building: Building, *, space: str, direction: Floats, points_per_panel: int) -> Lit:
    lit = rays.cast_lit(
        building, space=space, direction=direction, points_per_panel=points_per_panel
    )
    return merge_lit(lit)


def _merged_chain(building: Building, *, direction: Floats, count: int) -> Chain:
    return merge_chain(rays.cast_chain(building, direction=direction, count=count))


def cast_job(
    job: Job,
    *,
    sampling: Sampling = DEFAULT,
    bins: int = BINS,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    lit: bool = True,
    kept: MutableMapping[str, object] | None = None,
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
    kept : mutable mapping, optional
        Pieces of casts of a building with the same digest, as an earlier call left them there: what
        is among them is not cast again, and what is cast is added.
    """
    caster = Caster(job=job, kept={} if kept is None else kept)
    moves = dict.fromkeys(filter(None, (placement_of(plan, job) for plan in job.plans)))
    there = {where: _with_moved(job, where) for where in moves}
    receivers = [*job.receivers, *(each for where in moves for each in _beds(there[where], where))]
    total = sum(len(points_of(each)) for each in receivers)
    done = 0

    def told(share: float) -> None:
        if progress is not None:
            progress((done + share) / total)

    found = []
    for receiver in job.receivers:
        found.append(
            _receiver_casts(
                receiver, caster=caster, sampling=sampling, bins=bins, lit=lit,
                progress=told, cancel=cancel,
            )
        )  # fmt: skip
        done += len(found[-1].points)
    scattered = any(source.scattered > 0.0 for source in job.sources)
    around = lit or scattered  # an isotropic field is looked at beside the sources
    chain_rays = _ray_counts(sampling)[1]
    casts = Casts(
        digest=job.building.digest,
        receivers=tuple(found),
        chains={source.id: caster.chain(source, chain_rays) for source in job.sources},
        even=caster.piece("even", lambda: rays.cast_even, count=chain_rays) if around else None,
        sampling=sampling,
    )
    elsewhere = {}
    for where in moves:
        elsewhere[where] = recast(
            there[where], casts, where, kept=caster.kept, progress=told, cancel=cancel
        )
        done += sum(len(points_of(each)) for each in _beds(there[where], where))
    return replace(casts, elsewhere=elsewhere)


def placement_of(plan: Plan, job: Job) -> Placement:
    """What a plan moves, and where to; () where all stays where it stands.

    Parameters
    ----------
    plan : Plan
        Resolved against the job.
    job : Job
    """
    found: list[tuple[str | tuple[float, ...] | None, ...]] = []
    for source in job.sources if plan.measures else ():
        measure = measure_of(plan, source)
        if measure is not None and measure.position_m is not None:
            place = tuple(measure.position_m.tolist())
            found.append(("source", source.id, measure.space, place))
    for receiver in job.receivers if plan.beds else ():
        if receiver.id in plan.beds:
            bed = plan.beds[receiver.id]
            size = None if bed.size_m is None else tuple(bed.size_m.tolist())
            found.append(("receiver", bed.id, tuple(bed.position_m.tolist()), size))
    return tuple(found)


def _with_moved(job: Job, where: Placement) -> Job:
    plan = next(plan for plan in job.plans if placement_of(plan, job) == where)
    return replace(
        job,
        sources=sources_under(plan, job.sources, power=False),
        receivers=receivers_under(plan, job.receivers),
    )


def _beds(job: Job, where: Placement) -> tuple[Receiver, ...]:
    """Receivers of a job that were moved."""
    names = {each[1] for each in where if each[0] == "receiver"}
    return tuple(each for each in job.receivers if each.id in names)


def _ray_counts(sampling: Sampling) -> tuple[int, int]:
    """Rays of a beam from a receiver, and of a chain from a source."""
    fine = sampling.points >= FINE.points
    return (FINE_BEAM, FINE_CHAIN) if fine else (BEAM, CHAIN)


def _receiver_casts(
    receiver: Receiver,
    *,
    caster: Caster,
    sampling: Sampling,
    bins: int,
    lit: bool,
    progress: Callable[[float], None],
    cancel: Callable[[], bool] | None,
) -> ReceiverCasts:
    """Casts of one receiver where it stands; `progress` counts in points."""
    sources = caster.job.sources
    beam_rays, _ = _ray_counts(sampling)
    positions = points_of(receiver)
    points = []
    for number, position in enumerate(positions):

        def within(share: float, start: float = float(number)) -> None:
            progress(start + share)

        crossings = caster.directions(
            receiver.space,
            position,
            sampling=shared_out(sampling, len(positions)),
            bins=bins,
            progress=within,
            cancel=cancel,
        )
        beams = {
            source.id: caster.beam(source, receiver.space, position, beam_rays)
            for source in sources
        }
        wide = {
            source.id: beams[source.id]
            if source.position_m is not None
            else caster.cone(
                source,
                receiver.space,
                position,
                spread_rad=source.spread_rad + WIDER * source.direction_tolerance_rad,
                count=WIDE // len(positions),
            )
            for source in sources
        }
        points.append(PointCasts(position_m=position, crossings=crossings, beams=beams, wide=wide))
    return ReceiverCasts(
        receiver=receiver,
        points=tuple(points),
        crossings=merge([point.crossings for point in points]),
        asked_error=sampling.error,
        lit={source.id: caster.lit(source, receiver.space) for source in sources if lit},
    )


def recast(
    job: Job,
    casts: Casts,
    where: Placement,
    *,
    kept: MutableMapping[str, object] | None = None,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> Casts:
    """Casts of a job in which some sources and receivers stand elsewhere than when it was cast.

    Parameters
    ----------
    job : Job
        With sources and receivers at their new places.
    casts : Casts
        Of the same building, of the receivers that are looked at.
    where : Placement
        What was moved.
    kept, progress, cancel
        As in `cast_job`; `progress` is told in points of receivers.
    """
    caster = Caster(job=job, kept={} if kept is None else kept)
    names = {each[1] for each in where if each[0] == "source"}
    changed = [source for source in job.sources if source.id in names]
    beds = {each.id: each for each in _beds(job, where)}
    beam_rays, chain_rays = _ray_counts(casts.sampling)
    made = _made_before(casts, where, beds)
    receivers = []
    for receiver in casts.receivers:
        own = receiver.receiver
        if own.id in made:
            receivers.append(made[own.id])
        elif own.id in beds:
            receivers.append(
                _receiver_casts(
                    beds[own.id],
                    caster=caster,
                    sampling=casts.sampling,
                    bins=receiver.crossings.bins,
                    lit=bool(receiver.lit),
                    progress=progress or _untold,
                    cancel=cancel,
                )
            )
        else:
            points = []
            for point in receiver.points:
                beams = {
                    source.id: caster.beam(source, own.space, point.position_m, beam_rays)
                    for source in changed
                }
                points.append(
                    replace(point, beams={**point.beams, **beams}, wide={**point.wide, **beams})
                )
            lit = {each.id: caster.lit(each, own.space) for each in changed if receiver.lit}
            receivers.append(replace(receiver, points=tuple(points), lit={**receiver.lit, **lit}))
    before = casts.elsewhere.get(where)
    chains = {
        source.id: caster.chain(source, chain_rays) if before is None else before.chains[source.id]
        for source in changed
    }
    return replace(
        casts,
        receivers=tuple(receivers),
        chains={**casts.chains, **chains},
        elsewhere={},
    )


def _untold(share: float) -> None:
    """Where nobody asks how far it is."""


def _made_before(
    casts: Casts, where: Placement, beds: Mapping[str, Receiver]
) -> dict[str, ReceiverCasts]:
    """Receivers that were cast so with the job, if they still stand where they did then."""
    found = {}
    before = casts.elsewhere.get(where)
    stands = {each.receiver.id: each.receiver for each in casts.receivers}
    for each in () if before is None else before.receivers:
        name = each.receiver.id
        if name in stands and (name in beds or each.receiver is stands[name]):
            found[name] = each
    return found
