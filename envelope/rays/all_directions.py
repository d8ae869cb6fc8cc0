"""The cast from a receiver in all directions, with as many points as its error asks for."""

from __future__ import annotations

import numpy as np

from envelope.building.model import Building
from envelope.errors import RangeError
from envelope.geometry.plane import Floats
from envelope.rays.aiming import Aim, aims
from envelope.rays.building_arrays import geometry_of
from envelope.rays.casts import space_with
from envelope.rays.finer_angles import fineness_of, split
from envelope.rays.kernel.arrays import Longs
from envelope.rays.parallel import Gathered, Stretch, Tally, stretches, tally
from envelope.rays.records import SCRAMBLES, Crossings, as_crossings, unite
from envelope.rays.refinement import ROUNDS, Scatter, Trials, doublings
from envelope.rays.sampling import BINS, DEFAULT, Sampling
from envelope.rays.threads import Cancel, Progress, in_threads

_AT_ONCE = 64  # stretches walked before what they brought is added up
_LEAST = 8  # points of a scramble on the smallest part of a panel
_MORE = 4  # times as many points on a panel that is partly hidden
_SMALL_SR = 0.05  # unless it looks smaller than this


def cast_directions(
    building: Building,
    *,
    space: str,
    position_m: Floats,
    sampling: Sampling = DEFAULT,
    bins: int = BINS,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Crossings:
    """Cast from a receiver in all directions.

    Every panel of its space is aimed at, above and below the horizon apart. One that nothing hides
    has its exact solid angle; one that is partly hidden gets four times as many points, unless it
    looks small. Then points are doubled where they bring most, until the error asked for is reached
    (`envelope.rays.refinement`) or as many rays are walked as it may cost.

    Parameters
    ----------
    space : str
        In which the receiver is.
    position_m : (3,) float
        In the building's coordinates. [m]
    bins : int
        Of the cosine of incidence.
    progress : callable
        Called with the share that is done, from 0 to 1.
    cancel : callable
        Asked between chunks whether to stop.

    Raises
    ------
    RangeError
        Where there is no such space, or the receiver is not inside it.
    CancelledError
        Where `cancel` said so.
    """
    if not 1 <= bins <= 4096:
        raise RangeError(f"{bins} cosine bins; allowed: 1 to 4096")
    geometry = geometry_of(building)
    home = space_with(building, space=space, position_m=position_m, what="receiver")
    eye = np.array(position_m, dtype=np.float64) - geometry.middle
    panels = range(*(int(row) for row in geometry.tables.space[home]))
    targets = aims(geometry, panels=panels, eye=eye, seed=(sampling.seed,))
    points = np.array([_points(aim, sampling) for aim in targets], dtype=np.int64)
    error = sampling.error
    fineness = fineness_of(bins, error=error)
    trials = None if error is None else Trials.of(building, space=space, aims=len(targets))
    expected = sum(
        SCRAMBLES * int(n) * (_more(building, aim) if len(aim.hiders) else 1)
        for aim, n in zip(targets, points, strict=True)
    )
    walked = 0
    wide, narrow = Gathered(), Gathered()
    arrived = np.zeros(len(targets), dtype=np.int64)

    def work(stretch: Stretch) -> tuple[Tally, Floats | None]:
        found, every = tally(geometry, eye=eye, home=home, fineness=fineness, stretch=stretch)
        return found, None if trials is None else trials.sums(every, fineness.wide)

    def done(stretch: Stretch) -> None:
        nonlocal walked
        walked += stretch.rays
        if progress is not None:
            progress(min(walked / expected, 1.0))

    def gather(chosen: Longs, start: Longs, stop: Longs) -> None:
        tasks = [
            stretch
            for index, *ends in zip(chosen.tolist(), start.tolist(), stop.tolist(), strict=True)
            for stretch in stretches(targets[index], index, *ends)
        ]
        for low in range(0, len(tasks), _AT_ONCE):
            some = tasks[low : low + _AT_ONCE]
            results = in_threads(some, work, done=done, cancel=cancel)
            for stretch, (found, sums) in zip(some, results, strict=True):
                wide.add(stretch.index, found.wide)
                narrow.add(stretch.index, found.narrow)
                arrived[stretch.index] += found.arrived.sum()
                if trials is not None and sums is not None:
                    trials.add(stretch.index, sums)

    every = np.arange(len(targets))
    gather(every, np.zeros_like(points), points)
    partly = np.flatnonzero((arrived > 0) & (arrived < SCRAMBLES * points))
    before = points.copy()
    more = [_more(building, targets[index]) for index in partly.tolist()]
    points[partly] *= np.array(more, dtype=np.int64)
    gather(partly, before[partly], points[partly])
    solid_angle_sr = np.array([aim.solid_angle_sr for aim in targets])
    if error is not None and trials is not None:
        for _ in range(ROUNDS):
            times = doublings(
                Scatter.of(trials.found * (solid_angle_sr / points)[:, np.newaxis], error=error),
                rays=SCRAMBLES * points,
                room=sampling.most_rays - walked,
            )
            chosen = np.flatnonzero(times)
            if not len(chosen):
                break
            expected = walked + int((SCRAMBLES * points[chosen] << times[chosen]).sum())
            gather(chosen, points[chosen], points[chosen] << times[chosen])
            points <<= times
    if progress is not None:
        progress(1.0)
    ray_sr = (solid_angle_sr / points).tolist()
    finer = None
    if fineness.narrow > bins:
        total, finer = split(
            wide.weighed(ray_sr), narrow.weighed(ray_sr), bins=bins, fineness=fineness
        )
    else:
        total = unite(wide.weighed(ray_sr))
    return as_crossings(total, digest=building.digest, bins=bins, rays=walked, finer=finer)


def _more(building: Building, aim: Aim) -> int:
    """How many times as many points a partly hidden panel gets.

    A seam is asked for by itself, however thin. Of the rest small ones get no more, most of them
    reveals: a house would spend most of its rays on them. Size alone decides, since a model from
    another program may not say which are reveals.
    """
    if building.panels[aim.panel].kind == "seam":
        return 2 * _MORE
    return _MORE if aim.solid_angle_sr > _SMALL_SR else 1


def _points(aim: Aim, sampling: Sampling) -> int:
    """Points of each scramble on an aim: a power of two, for which Sobol points are balanced."""
    wanted = max(
        sampling.points_per_panel * aim.share,
        sampling.points * aim.solid_angle_sr / (4.0 * np.pi),
        _LEAST * SCRAMBLES,
    )
    return 1 << (int(np.ceil(wanted / SCRAMBLES)) - 1).bit_length()
