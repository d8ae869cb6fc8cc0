"""The direct part of a level in every draw: stacks move, and so does the source's direction.

A wide cone was cast around the source. Every draw looks at the part of it that lies around the
direction it drew. Rays carry what `envelope.exposure.beams` says that they carry, so whatever
is refined there moves the draws as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from envelope.building.job import Job, Source
from envelope.exposure.beams import Direct, by_polarization, level_outside
from envelope.exposure.casts import ReceiverCasts, direction_of
from envelope.exposure.diffraction import BentBeam, mean_ratio
from envelope.exposure.sequence_groups import MAX_KEPT, Groups, stack_numbers
from envelope.exposure.sequences import BINS, Bools, Branch, Longs, branches_of, sequences_of
from envelope.exposure.solid_angles import logs_along
from envelope.exposure.stack_draws import StackDraws
from envelope.exposure.tolerances import Draws
from envelope.exposure.transmission import Bench, Stacks, Tables
from envelope.geometry.plane import Floats
from envelope.rays import Beam, Crossings

# A cone cast anew never finds exactly what the narrow one found. Up to this factor it is scaled
# onto it; what is left is added, so that a beam's edge keeps its width.
MAX_SCALE = 2.0
_AT_ONCE = 512  # draws whose cones are held against all rays
GRID = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])  # tolerances aside at which an edge is worked out


def directions_aside(source: Source, job: Job, aside: Floats) -> Floats:
    """Directions (draws, 3) towards a source that stands a little beside where it was said.

    Parameters
    ----------
    source : Source
        An exterior one.
    job : Job
        Whose axes the directions are in.
    aside : (draws, 2) float
        Across and upward. [rad]
    """
    centre = direction_of(source, job.building)
    helper = np.array([0.0, 0.0, 1.0]) if abs(centre[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    across = np.cross(helper, centre)
    across /= np.linalg.norm(across)
    upward = np.cross(centre, across)
    moved = centre + np.tan(aside[:, :1]) * across + np.tan(aside[:, 1:]) * upward
    return np.asarray(moved / np.linalg.norm(moved, axis=1, keepdims=True))


def direct_draws(
    *,
    source: Source,
    direct: Direct,
    casts: ReceiverCasts,
    bench: Bench,
    stacks: Stacks,
    band: int,
    draws: Draws,
    moved: StackDraws,
) -> Floats:
    """Mean transmission (draws,) of a source's beam; the first is that of `direct`.

    Parameters
    ----------
    source : Source
        One of the job's.
    direct : Direct
        Its nominal direct part at the receiver.
    casts : ReceiverCasts
        Of the receiver.
    bench, stacks : Bench, Stacks
        Of the job, and of the plan.
    band : int
        The source's, among the bench's.
    draws, moved : Draws, StackDraws
        Drawn figures, and how the stacks move with them in that band.
    """
    index = bench.job.sources.index(source)
    bent = tuple(each.index for each in direct.bent)
    numbers = stack_numbers(bench, stacks)
    storey = bench.job.building.space(casts.receiver.space).storey
    stand = draws.aside[index].tobytes()  # sources of one mast stand beside it together
    total, outside = np.zeros(draws.count), 0.0
    for point in casts.points:
        beam = point.wide[source.id]
        rows = bench.kept(("rows met", beam), partial(np.unique, beam.rows))
        known: dict[bytes, Floats] = bench.kept(
            ("along", beam, stand, band, draws.key, source.polarization, bent), dict
        )
        name = numbers[rows].tobytes()
        if name not in known:
            if len(known) > MAX_KEPT:
                known.clear()
            known[name] = _moved_along(
                beam, bent=bent, source=source, index=index, bench=bench, stacks=stacks, band=band,
                draws=draws, moved=moved,
            )  # fmt: skip
        share = level_outside(source, storey, point.position_m)
        outside += share
        total += share * known[name]
    if outside > 0.0:
        total /= outside
    through_edges = sum(each.transmission * each.ratio for each in direct.bent)
    found = _onto(total, max(direct.transmission - through_edges, 0.0))
    for each in direct.bent:
        found = found + _bent(
            each, source=source, casts=casts, bench=bench, stacks=stacks, draws=draws, moved=moved
        )
    return found


def _moved_along(
    beam: Beam,
    *,
    bent: tuple[int, ...],
    source: Source,
    index: int,
    bench: Bench,
    stacks: Stacks,
    band: int,
    draws: Draws,
    moved: StackDraws,
) -> Floats:
    """Mean transmission (draws,) of one point's wide beam, without openings that bend theirs."""
    passed = by_polarization(
        beam, bench=bench, stacks=stacks, band=band, polarization=source.polarization
    )
    passed *= ~np.isin(beam.first_panel, bent)[:, np.newaxis]
    tree, _ = branches_of(beam, bench, np.zeros(len(stacks.of_row), dtype=bool))
    factors = tree.factors(stacks, moved.factor)
    if source.position_m is not None:
        return _along_all(passed, beam, bench, factors)
    inside = bench.kept(
        ("inside", beam, draws.aside[index].tobytes(), draws.key),
        partial(_inside, source=source, index=index, beam=beam, bench=bench, draws=draws),
    )
    return _along(passed, inside, factors)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Inside:
    """Rays of a wide beam that lie in each draw's cone, sequence by sequence.

    A group is what one draw has of one sequence. Most cones are narrow, so that what lies in them
    is listed: a table of rays by draws is a thousand times as large.
    """

    ray: Longs  # (n,) of the beam, group by group
    start: Longs  # (g,) of each group's rays
    sequence: Longs  # (g,)
    draw: Longs  # (g,)
    weight: Floats  # (g,) of each ray


def _inside(*, source: Source, index: int, beam: Beam, bench: Bench, draws: Draws) -> _Inside:
    sequences = sequences_of(beam, bench)
    order = np.argsort(sequences.of_ray, kind="stable")
    held, first = np.unique(sequences.of_ray[order], return_index=True)
    towards = directions_aside(source, bench.job, draws.aside[index])
    directions = beam.directions[order].T
    rays, starts, of_sequence, of_draw, weights = [], [], [], [], []
    done = 0
    for early in range(0, draws.count, _AT_ONCE):
        cosine = towards[early : early + _AT_ONCE] @ directions
        edge = np.minimum(np.cos(source.spread_rad), cosine.max(axis=1))
        within = cosine >= edge[:, np.newaxis]
        weight = 1.0 / within.sum(axis=1)
        for sequence, low, high in zip(held, first, np.append(first[1:], len(order)), strict=True):
            draw, place = np.nonzero(within[:, low:high])
            each, start = np.unique(draw, return_index=True)
            rays.append(order[low + place].astype(np.int32))
            starts.append(done + start)
            of_sequence.append(np.full(len(each), sequence))
            of_draw.append(early + each)
            weights.append(weight[each])
            done += len(place)
    return _Inside(
        ray=np.concatenate(rays),
        start=np.concatenate(starts),
        sequence=np.concatenate(of_sequence),
        draw=np.concatenate(of_draw),
        weight=np.concatenate(weights),
    )


def _along(passed: Floats, inside: _Inside, factors: Floats) -> Floats:
    """Mean transmission (draws,) of rays whose parts (rays, 2) are moved by factors.

    Parameters
    ----------
    passed : (rays, 2) float
        Nominal transmission, TE and TM.
    inside : _Inside
    factors : (sequences, 2, draws) float
        On the transmission of each sequence.
    """
    total = np.zeros(len(inside.start))
    for part in range(2):
        # column by column: numpy adds up rows of two far slower
        carried = np.add.reduceat(np.take(passed[:, part], inside.ray), inside.start)
        total += carried * factors[inside.sequence, part, inside.draw]
    weighed = total * inside.weight
    return np.bincount(inside.draw, weights=weighed, minlength=factors.shape[-1]).astype(np.float64)


def _along_all(passed: Floats, beam: Beam, bench: Bench, factors: Floats) -> Floats:
    """The same for rays to a point, whose direction no draw moves."""
    sequences = sequences_of(beam, bench).of_ray
    carried = np.zeros(factors.shape[:2])
    np.add.at(carried, sequences, passed * beam.weights[:, np.newaxis])
    return np.asarray(np.einsum("sp,spd->d", carried, factors))


def _onto(found: Floats, nominal: float) -> Floats:
    """What the wide cone found (draws,), put on what the narrow one found."""
    scale = 1.0
    if found[0] > 0.0:
        scale = min(max(nominal / float(found[0]), 1.0 / MAX_SCALE), MAX_SCALE)
    return np.maximum(found * scale + (nominal - float(found[0]) * scale), 0.0)


def _bent(
    beam: BentBeam,
    *,
    source: Source,
    casts: ReceiverCasts,
    bench: Bench,
    stacks: Stacks,
    draws: Draws,
    moved: StackDraws,
) -> Floats:
    """Transmission (draws,) through an opening whose beam bends around its edges."""
    stack = stacks.of_row[beam.row]
    cosine_bin = min(int(beam.cosine * BINS), BINS - 1)
    passed = beam.transmission * moved.factor[stack, cosine_bin].mean(axis=0)
    ratio = bench.kept(
        ("edges", source.id, casts.points, beam.index, draws.key),
        partial(_ratios, beam, source=source, casts=casts, job=bench.job, draws=draws),
    )
    return np.asarray(passed * ratio)


def _ratios(
    beam: BentBeam, *, source: Source, casts: ReceiverCasts, job: Job, draws: Draws
) -> Floats:
    """Ratios (draws,) of `BentBeam` as the source's direction is drawn."""
    from scipy.interpolate import RegularGridInterpolator  # takes long to import

    step = source.direction_tolerance_rad
    index = job.sources.index(source)
    if step <= 0.0:
        return np.full(draws.count, beam.ratio)
    across, upward = np.meshgrid(step * GRID, step * GRID, indexing="ij")
    towards = directions_aside(source, job, np.stack((across.ravel(), upward.ravel()), axis=1))
    values = [
        mean_ratio(
            panel=job.building.panels[beam.index],
            casts=casts,
            building=job.building,
            towards=direction[np.newaxis],
            band_hz=source.band_hz,
        )
        for direction in towards
    ]
    surface = RegularGridInterpolator((GRID, GRID), np.reshape(values, across.shape))
    drawn = surface(np.clip(draws.aside[index] / step, GRID[0], GRID[-1]))
    return np.asarray(np.maximum(beam.ratio + drawn - drawn[0], 0.0))


def open_equivalent_draws_sr(
    *,
    crossings: Crossings,
    tables: Tables,
    bench: Bench,
    varying: Bools,
    draws: Draws,
    moved: StackDraws,
    band: int,
) -> Floats:
    """Open-equivalent solid angle (draws,) of a receiver, the first as `solid_angles` has it. [sr]

    Parameters
    ----------
    crossings : Crossings
        Of the receiver.
    tables, bench : Tables, Bench
        Of the plan, and of the job.
    varying : (rows,) bool
        From `varying_rows`.
    draws, moved : Draws, StackDraws
        Drawn figures, and how the plan's stacks move with them in the band.
    band : int
        Which of the tables' bands.
    """
    sequences = sequences_of(crossings, bench)
    same, changed = branches_of(crossings, bench, varying)

    @cache
    def carried() -> Floats:
        exposed = 0.5 * crossings.solid_angle_sr * (crossings.sky > 0)
        passed = np.exp(logs_along(crossings, tables)[:, band])
        return sequences.added(exposed[:, np.newaxis] * passed, sequences.of_ray)

    def add(branch: Branch, group: Longs) -> Floats:
        return branch.passed_by_group(carried(), group, tables.stacks, moved.factor)

    name = (crossings, varying.tobytes(), band, draws.key)
    kept = bench.kept(
        ("passed", *name), lambda: same.passed(carried(), tables.stacks, moved.factor)
    )
    groups = bench.kept(
        ("passed by group", *name),
        lambda: Groups.of(changed, varying, np.zeros(len(changed.whole), dtype=np.int64)),
    )
    found = groups.added(stack_numbers(bench, tables.stacks), add, draws=draws.count, targets=1)
    return np.asarray(kept + found[:, 0])
