"""How far to trust a level: its 10–90 % band, from the tolerances of everything that went in.

Several hundred times every tolerated figure is drawn anew and the level worked out again, from
the casts that are there. The draws are the same for every plan, so that plans can be compared.
Angles are binned here, and a stack is followed at a few angles only: what matters is by how much
a level moves, and that is put on the level that was computed exactly.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from envelope.building.job import Job, Source
from envelope.exposure.casts import Casts, direction_of
from envelope.exposure.diffuse import Faces, absorption_m2, ray_levels
from envelope.exposure.solid_angles import totals, unpolarized
from envelope.exposure.stacks import Stacker, StackKey
from envelope.exposure.tolerances import SEED, TENTH, Draws
from envelope.exposure.transmission import SMALLEST, Bench, Stacks, Tables
from envelope.geometry.plane import Floats
from envelope.physics.bands import band_mean, band_nodes
from envelope.physics.diffuse import coupling_matrix, diffuse_densities_w_m2
from envelope.physics.stacks import solve_many
from envelope.rays import Beam, Chain, Crossings

# The model's own error: edges, furniture, what the drawing does not show. No source; until
# measurements of finished rooms calibrate it.
MODEL_DB = 5.0

ANGLES = np.array([0.03, 0.1, 0.25, 0.5, 0.75, 1.0])  # cosines at which stacks are followed
NODES = 3  # frequencies of a band
MOST_SIGNATURES = 400  # of the scattered part: those that carry most, scaled to the whole
MOST_RAYS = 768  # of a chain


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tried:
    """What every stack of a plan does in one band under every draw."""

    log_transmission: Floats  # (stacks, bins, draws, 2)
    reflection: Floats  # (stacks, bins, draws, 2), near side
    diffuse_transmission: Floats  # (stacks, draws) of an even field, both polarizations
    diffuse_reflection: Floats  # (stacks, draws)


def _tried(*, bench: Bench, tables: Tables, draws: Draws, band: int) -> _Tried:
    keys = tables.stacks.keys
    bins = tables.log_transmission.shape[1]
    onto_bins = _onto_bins(bins)
    share = (np.arange(bins) + 0.5) / bins
    share = share / share.sum()
    log_transmission = np.empty((len(keys), bins, draws.count, 2))
    reflection = np.empty_like(log_transmission)
    means = np.empty((2, len(keys), draws.count))
    for index, (key, moved) in enumerate(
        zip(keys, _moved(keys, bench=bench, draws=draws, band=band), strict=True)
    ):
        nominal = tables.log_transmission[index, :, band, np.newaxis]
        log_transmission[index] = nominal + np.tensordot(onto_bins, moved[0], 1)
        half = bench.bracket_half_width(key, band)
        if half > 0.0:
            log_transmission[index] += half * draws.tolerances.bracket[:, np.newaxis]
        passed = np.exp(log_transmission[index])
        reflection[index] = np.clip(
            tables.near_reflection[index, :, band, np.newaxis]
            + np.tensordot(onto_bins, moved[1], 1),
            0.0,
            np.maximum(1.0 - passed, 0.0),
        )
        means[0, index] = share @ unpolarized(passed)
        means[1, index] = share @ unpolarized(reflection[index])
    return _Tried(
        log_transmission=log_transmission,
        reflection=reflection,
        diffuse_transmission=means[0],
        diffuse_reflection=means[1],
    )


def _moved(
    keys: Sequence[StackKey], *, bench: Bench, draws: Draws, band: int
) -> list[tuple[Floats, Floats]]:
    """By how much log transmission and reflection (angles, draws, 2) of stacks move, each kept.

    Most stacks are the same in every plan, and tolerances are told by how many and their seed.
    """
    low, high = bench.bands_hz[band]
    frequency_hz, weight = band_nodes(lowest_hz=low, highest_hz=high, count=NODES)
    tried = draws.tolerances
    known: dict[StackKey, tuple[Floats, Floats]] = bench.kept(
        ("moved", tried.count, tried.seed, band), dict
    )
    missing = [key for key in keys if key not in known]
    stacker = Stacker(job=bench.job, frequency_hz=frequency_hz, tolerances=tried)
    solved = solve_many(
        stacks=[stacker.items(key) for key in missing], frequency_hz=frequency_hz, cosine=ANGLES
    )
    for key, found in zip(missing, solved, strict=True):
        passed = band_mean(values=found.transmission, weight=weight)
        parts = (
            np.log(np.maximum(passed, SMALLEST)),
            band_mean(values=found.front_reflection, weight=weight),
        )
        whole = [np.broadcast_to(part, (draws.count, len(ANGLES), 2)) for part in parts]
        log_moved, moved = (np.moveaxis(part - part[:1], 0, 1) for part in whole)
        known[key] = (np.ascontiguousarray(log_moved), np.ascontiguousarray(moved))
    return [known[key] for key in keys]


def _onto_bins(bins: int) -> Floats:
    """Weights (bins, angles) that interpolate from `ANGLES` to bin centres."""
    centres = (np.arange(bins) + 0.5) / bins
    return np.stack([np.interp(centres, ANGLES, one) for one in np.eye(len(ANGLES))], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Paths:
    """Distinct sequences of binned entries; a ray of a bundle follows one of them."""

    of_ray: NDArray[np.int64]  # (rays,)
    count: int
    start: NDArray[np.int64]  # (paths + 1,)
    rows: NDArray[np.int64]
    bins: NDArray[np.int64]
    space: NDArray[np.int64]  # -1 everywhere where the bundle does not say


def _paths(bundle: Beam | Chain, bins: int, chosen: NDArray[np.int64]) -> _Paths:
    """Sequences of chosen rays, equal ones once."""
    lengths = np.diff(bundle.start)[chosen]
    longest = max(int(lengths.max(initial=0)), 1)
    place = np.arange(longest)
    filled = place < lengths[:, np.newaxis]
    entry = np.where(filled, bundle.start[:-1][chosen][:, np.newaxis] + place, 0)
    spaces = bundle.space if isinstance(bundle, Chain) else np.full(len(bundle.rows), -1)
    if len(bundle.rows) == 0:  # a source in the receiver's own room
        nothing = np.zeros(0, dtype=np.int64)
        return _Paths(
            of_ray=np.zeros(len(chosen), dtype=np.int64),
            count=1,
            start=np.zeros(2, dtype=np.int64),
            rows=nothing,
            bins=nothing,
            space=nothing,
        )
    binned = np.minimum((bundle.cosines * bins).astype(np.int64), bins - 1)
    code = (bundle.rows.astype(np.int64) * bins + binned) * 4096 + spaces + 1
    table, of_ray = np.unique(np.where(filled, code[entry], -1), axis=0, return_inverse=True)
    kept = table >= 0
    flat = table[kept]
    rows, rest = np.divmod(flat // 4096, bins)
    return _Paths(
        of_ray=of_ray.reshape(-1),
        count=len(table),
        start=np.concatenate(([0], np.cumsum(kept.sum(axis=1)))),
        rows=rows,
        bins=rest,
        space=flat % 4096 - 1,
    )


def _along(paths: _Paths, tried: _Tried, stacks: Stacks) -> Floats:
    """Transmission (paths, draws) of sequences."""
    draws = tried.log_transmission.shape[2]
    total = np.zeros((paths.count, draws, 2))
    filled = np.diff(paths.start) > 0
    if filled.any():
        entries = tried.log_transmission[stacks.of_row[paths.rows], paths.bins]
        total[filled] = np.add.reduceat(entries, paths.start[:-1][filled], axis=0)
    return unpolarized(np.exp(total))


def directions_aside(source: Source, job: Job, aside: Floats) -> Floats:
    """Directions (draws, 3) towards a source that stands a little beside where it was said."""
    centre = direction_of(source, job.building)
    helper = np.array([0.0, 0.0, 1.0]) if abs(centre[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    across = np.cross(helper, centre)
    across /= np.linalg.norm(across)
    upward = np.cross(centre, across)
    moved = centre + np.tan(aside[:, :1]) * across + np.tan(aside[:, 1:]) * upward
    return np.asarray(moved / np.linalg.norm(moved, axis=1, keepdims=True))


def _direct(
    *,
    source: Source,
    index: int,
    beam: Beam,
    bench: Bench,
    tried: _Tried,
    stacks: Stacks,
    draws: Draws,
) -> Floats:
    """Mean transmission (draws,) over a source's cone, its direction drawn too."""
    bins = tried.log_transmission.shape[1]

    def geometry() -> tuple[_Paths, Floats]:
        paths = _paths(beam, bins, np.arange(len(beam.sky)))
        if source.position_m is not None:
            inside = np.ones((1, draws.count))
        else:
            towards = directions_aside(source, bench.job, draws.aside[index])
            cosine = beam.directions @ towards.T
            edge = np.minimum(np.cos(source.spread_rad), cosine.max(axis=0))
            inside = (cosine >= edge).astype(np.float64)
        inside = inside * (beam.sky > 0)[:, np.newaxis] / inside.sum(axis=0)
        order = np.argsort(paths.of_ray, kind="stable")  # each path has a ray
        starts = np.searchsorted(paths.of_ray[order], np.arange(paths.count))
        return paths, np.add.reduceat(inside[order], starts, axis=0)

    paths, weights = bench.kept(("spread beam", beam, draws), geometry)
    return np.asarray((weights * _along(paths, tried, stacks)).sum(axis=0))


def _scattered(*, crossings: Crossings, tables: Tables, tried: _Tried, band: int) -> Floats:
    """Open-equivalent solid angle (draws,), carried by the signatures that let in most. [sr]"""
    rows, bins = np.divmod(crossings.entries, crossings.bins)
    of_row = tables.stacks.of_row
    nominal = np.add.reduceat(
        tables.log_transmission[of_row[rows], bins, band], crossings.start[:-1], axis=0
    )
    carried = crossings.solid_angle_sr * unpolarized(np.exp(nominal)) * (crossings.sky > 0)
    chosen = np.argsort(-carried, kind="stable")[:MOST_SIGNATURES]
    lengths = np.diff(crossings.start)[chosen]
    start = np.concatenate(([0], np.cumsum(lengths)))
    entry = np.repeat(crossings.start[:-1][chosen] - start[:-1], lengths) + np.arange(start[-1])
    logs = tried.log_transmission[of_row[rows[entry]], bins[entry]]
    through = unpolarized(np.exp(np.add.reduceat(logs, start[:-1], axis=0)))
    exposed = (crossings.solid_angle_sr * (crossings.sky > 0))[chosen]
    found = exposed @ through
    return np.asarray(found * (carried.sum() / found[0]) if found[0] > 0.0 else found)


def _fed(
    *,
    chain: Chain,
    level: Floats,
    bench: Bench,
    tried: _Tried,
    stacks: Stacks,
) -> Floats:
    """Power (draws, spaces) that a chain's rays leave in each space. [W]"""
    bins = tried.log_transmission.shape[1]
    spaces = len(bench.job.building.spaces)
    rays = len(chain.weights)
    # By chance, since every eighth point of the sequence that placed the rays would leave most
    # of each panel out.
    chosen = np.random.default_rng(SEED).permutation(rays)[:MOST_RAYS]
    paths = bench.kept(("spread chain", chain), lambda: _paths(chain, bins, chosen))
    carried = totals(paths.of_ray, (chain.weights * level)[chosen], paths.count)
    carried *= float((chain.weights * level).sum()) / max(float(carried.sum()), SMALLEST)
    stack = stacks.of_row[paths.rows]
    logs = tried.log_transmission[stack, paths.bins]  # (entries, draws, 2)
    path = np.repeat(np.arange(paths.count), np.diff(paths.start))
    before = np.cumsum(logs, axis=0) - logs
    before -= before[paths.start[:-1][path]]
    left = unpolarized(np.exp(before) * tried.reflection[stack, paths.bins])
    left *= carried[path, np.newaxis]
    fed = [left[paths.space == space].sum(axis=0) for space in range(spaces)]
    return np.stack(fed, axis=1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelBand:
    """Factors on a level: its tenth and ninetieth percentile over what was computed."""

    low: float
    high: float


def level_bands(
    *,
    casts: Casts,
    bench: Bench,
    tables: Tables,
    faces: Faces,
    exposed_sr: dict[str, float],
    outside_w_m2: dict[tuple[str, str], float],
    draws: Draws,
) -> dict[tuple[str, tuple[str, ...]], LevelBand]:
    """10–90 % bands of every receiver's level: from every source, from all, from those of a band.

    Parameters
    ----------
    exposed_sr : by receiver id
        Exposed solid angles. [sr]
    outside_w_m2 : by (receiver id, source id)
        Levels outside. [W/m²]

    Returns
    -------
    bands : by (receiver id, ids of the sources that are added)
        In the file's order.
    """
    levels = level_draws(
        casts=casts, bench=bench, tables=tables, faces=faces,
        exposed_sr=exposed_sr, outside_w_m2=outside_w_m2, draws=draws,
    )  # fmt: skip
    sources = bench.job.sources
    groups = {(source.id,) for source in sources} | {tuple(source.id for source in sources)}
    groups |= {tuple(each.id for each in sources if each.band_hz == at) for at in bench.bands_hz}
    return {
        (receiver.receiver.id, group): level_band(
            np.sum([levels[receiver.receiver.id, each] for each in group], axis=0)
        )
        for receiver in casts.receivers
        for group in sorted(groups)
        if group
    }


def level_draws(
    *,
    casts: Casts,
    bench: Bench,
    tables: Tables,
    faces: Faces,
    exposed_sr: dict[str, float],
    outside_w_m2: dict[tuple[str, str], float],
    draws: Draws,
) -> dict[tuple[str, str], Floats]:
    """Levels (draws,) by (receiver id, source id), with the parameters of `level_bands`. [W/m²]

    Only how they move counts: what the first of them, the nominal one, says is binned.
    """
    job = bench.job

    def totals_of(index: int) -> dict[str, Floats]:
        return _source_totals(
            index=index, casts=casts, bench=bench, tables=tables, faces=faces,
            exposed_sr=exposed_sr, outside_w_m2=outside_w_m2, draws=draws,
        )  # fmt: skip

    # Sources have nothing to do with one another, and numpy lets go of the interpreter.
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        totals_each = list(pool.map(totals_of, range(len(job.sources))))
    return {
        (receiver.receiver.id, source.id): of_source[receiver.receiver.id]
        for receiver in casts.receivers
        for source, of_source in zip(job.sources, totals_each, strict=True)
    }


def _source_totals(
    *,
    index: int,
    casts: Casts,
    bench: Bench,
    tables: Tables,
    faces: Faces,
    exposed_sr: dict[str, float],
    outside_w_m2: dict[tuple[str, str], float],
    draws: Draws,
) -> dict[str, Floats]:
    """Levels (draws,) of one source at every receiver, by the receiver's id. [W/m²]"""
    job = bench.job
    source = job.sources[index]
    band = bench.bands_hz.index(source.band_hz)
    trial = _tried(bench=bench, tables=tables, draws=draws, band=band)
    density, from_even = _diffuse(
        source=source, casts=casts, bench=bench, tables=tables, faces=faces,
        tried=trial, draws=draws,
    )  # fmt: skip
    found = {}
    for receiver in casts.receivers:
        name = receiver.receiver.id
        outside = outside_w_m2[name, source.id]
        direct = np.mean(
            [
                _direct(
                    source=source, index=index, beam=point.wide[source.id], bench=bench,
                    tried=trial, stacks=tables.stacks, draws=draws,
                )
                for point in receiver.points
            ],
            axis=0,
        )  # fmt: skip
        radiance = source.scattered * outside / max(exposed_sr[name], SMALLEST)
        total = (1.0 - source.scattered) * outside * direct
        if source.scattered > 0.0:
            total = total + radiance * _scattered(
                crossings=receiver.crossings, tables=tables, tried=trial, band=band
            )
        space = job.building.space_index[receiver.receiver.space]
        total = total + density[:, space] + radiance * from_even[:, space]
        found[name] = total * draws.level[index]
    return found


def level_band(total: Floats) -> LevelBand:
    """Band of a level (draws,) whose first is the nominal one, the model's own error put on."""
    if total[0] <= 0.0:
        return LevelBand(low=1.0, high=1.0)
    with np.errstate(divide="ignore"):
        moved_db = 10.0 * np.log10(total[1:] / total[0])
    low, high = (10.0 ** (_percentile(moved_db, share) / 10.0) for share in (0.1, 0.9))
    return LevelBand(low=low, high=high)


def _percentile(moved_db: Floats, share: float) -> float:
    """Percentile of draws that the model's own error is put on, each as a whole normal curve.

    It multiplies every level alike, so drawing it would only add chance. [dB]
    """
    sigma = MODEL_DB / TENTH
    nothing = np.isneginf(moved_db)
    if nothing.mean() >= share:
        return -np.inf
    low, high = moved_db[~nothing].min() - 6.0 * sigma, moved_db.max() + 6.0 * sigma
    for _ in range(48):
        middle = 0.5 * (low + high)
        if ndtr((middle - moved_db) / sigma).mean() < share:
            low = middle
        else:
            high = middle
    return float(0.5 * (low + high))


def _diffuse(
    *,
    source: Source,
    casts: Casts,
    bench: Bench,
    tables: Tables,
    faces: Faces,
    tried: _Tried,
    draws: Draws,
) -> tuple[Floats, Floats]:
    """Diffuse density (draws, spaces) from the beam, and for scattered energy of unit radiance."""
    of_face = tables.stacks.of_face
    back = np.minimum(tried.diffuse_reflection, 1.0)
    through = np.minimum(tried.diffuse_transmission, 1.0 - back)
    matrix = coupling_matrix(
        area_m2=faces.area_m2,
        space=faces.space,
        beyond=faces.beyond,
        reflection=back[of_face].T,
        transmission=through[of_face].T,
        absorption_m2=absorption_m2(bench.job, occupant_m2=draws.occupant_m2),
    )
    chain = casts.chains[source.id]
    beam = _fed(
        chain=chain, level=ray_levels(source, chain, bench.job), bench=bench, tried=tried,
        stacks=tables.stacks,
    )  # fmt: skip
    even = np.zeros_like(beam)
    if source.scattered > 0.0 and casts.even is not None:
        even = _fed(
            chain=casts.even, level=np.ones(len(casts.even.weights)), bench=bench, tried=tried,
            stacks=tables.stacks,
        )  # fmt: skip
    return (
        diffuse_densities_w_m2(matrix=matrix, fed_w=beam),
        diffuse_densities_w_m2(matrix=matrix, fed_w=even),
    )
