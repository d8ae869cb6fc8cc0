"""From casts and units of decision to the tables of the level: exact, made once for all plans.

Every ray is a product of what the rows that it crosses pass. A row's stack depends on the units
whose panels it has on its sides; it has one *variant* for each combination of their options. A
source that is decided about sends from each place where it may stand, with the power that each
option leaves it there: 0 where it stands elsewhere.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan, Source
from envelope.exposure.beams import level_outside, polarization_weights
from envelope.exposure.casts import Casts, ReceiverCasts
from envelope.exposure.diffuse import absorption_m2, faces_of, ray_levels
from envelope.exposure.slots import slot_turns
from envelope.exposure.transmission import Bench, Stacks, Tables
from envelope.exposure.under_plan import placed
from envelope.geometry.plane import Floats
from envelope.physics.diffuse import OUTSIDE
from envelope.plans.kernel import Products, fill_table
from envelope.plans.level_tables import Layout, LevelTables, Paths, Scope, Table
from envelope.plans.units import Unit
from envelope.plans.variants import Scopes, Variants, row_units, switch_rows, variants_of
from envelope.rays import Beam, Chain

Ints = NDArray[np.int64]

MAX_CELLS = 8000  # of a table; paths that depend on more combinations stay products


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Terms:
    """Products that add to figures: see `Paths`; `scope` numbers the units of each."""

    outputs: Ints  # (t,)
    coefficients: Floats  # (t, 2)
    start: Ints  # (t + 1,)
    rows: Ints  # (elements,)
    offsets: Ints  # (elements,)
    factors: Floats  # (values, 2)
    scope: Ints  # (t,)


def tables_of(
    *,
    job: Job,
    casts: Casts,
    bench: Bench,
    units: Sequence[Unit],
    base: Plan,
    max_cells: int = MAX_CELLS,
) -> LevelTables:
    """Tables of the level at the cast receivers over units of decision, sources among them.

    Parameters
    ----------
    job : Job
        Whose levels are known.
    casts : Casts
        Of the job.
    bench : Bench
        Of the job; keeps what stacks do.
    units : (n,) Unit
        What is decided.
    base : Plan
        What holds where no unit says otherwise, such as today.
    max_cells : int
        Of a table; beyond it, paths stay products.

    Returns
    -------
    tables : LevelTables
        Their levels are those of `analyze_plan` without edges, to rounding, as readings put them
        under the base.
    """
    variants = variants_of(bench, units, base)
    stacks = Stacks(keys=variants.keys, of_row=np.zeros(1, np.int32), of_face=np.zeros(1, np.int32))
    binned = bench.tables(stacks)
    layout = _layout(job, casts, len(bench.bands_hz))
    scopes = Scopes(variants.scopes[: variants.rows])
    sent = list(_sent(casts, bench, units))
    shown = np.array(
        [
            [job.factor_at(each.receiver.id, base.id, source.id) for source in job.sources]
            for each in casts.receivers
        ]
    ).reshape(len(casts.receivers), len(job.sources))
    parts = [
        *_direct_terms(job, casts, bench, variants, binned, layout, scopes, sent, shown),
        *_fed_terms(job, casts, bench, variants, layout, scopes, sent, shown),
    ]
    constant = np.zeros(layout.size)
    found = _Sums(variants.options)
    _add_matrix(job, variants, binned, layout, constant, found)
    wide: list[_Terms] = []
    for part in parts:
        wide += _summed(part, variants, scopes, layout, constant, found, max_cells)
    return LevelTables(
        layout=layout,
        options=variants.options,
        constant=constant,
        tables=found.tables(),
        paths=_paths(wide, variants),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sent:
    """A source at one place, cast from there, and its power under each option that decides it."""

    source: Source
    number: int  # of it among the job's
    casts: Casts
    row: int | None = None  # None where nothing is decided about it
    power: Floats | None = None  # (options,)


def _sent(casts: Casts, bench: Bench, units: Sequence[Unit]) -> Iterator[_Sent]:
    """Every source, at each place where some option has it."""
    job = bench.job
    rows = switch_rows(job, units)
    decided = {
        source: unit
        for unit in rows
        for option in units[unit].options
        if option.change is not None
        for source in option.change.sources
    }
    for number, source in enumerate(job.sources):
        if source.id not in decided:
            yield _Sent(source=source, number=number, casts=casts)
            continue
        unit = decided[source.id]
        changes = [option.change for option in units[unit].options]
        stays = np.array(
            [
                1.0 if each is None else 0.0 if each.position_m is not None else each.factor
                for each in changes
            ]
        )
        yield _Sent(source=source, number=number, casts=casts, row=rows[unit], power=stays)
        for option, change in enumerate(changes):
            if change is None or change.position_m is None:
                continue
            there = Plan(id="moved", treatments={}, measures={change.device: change.measure})
            bench_there, casts_there = placed(bench, there, casts)
            yield _Sent(
                source=bench_there.job.sources[number],
                number=number,
                casts=casts_there,
                row=rows[unit],
                power=change.factor * (np.arange(len(changes)) == option),
            )


def _switched(terms: _Terms, sent: _Sent, scopes: Scopes) -> _Terms:
    """Terms of a source with its power at the end of each."""
    if sent.row is None or sent.power is None:
        return terms
    numbers, back = np.unique(terms.scope, return_inverse=True)
    joined = [scopes.joined(int(number), sent.row) for number in numbers]
    return replace(
        terms,
        start=terms.start + np.arange(len(terms.start)),
        rows=np.insert(terms.rows, terms.start[1:], sent.row),
        offsets=np.insert(terms.offsets, terms.start[1:], len(terms.factors)),
        factors=np.concatenate((terms.factors, np.stack((sent.power, sent.power), axis=1))),
        scope=np.array(joined, dtype=np.int64)[back.reshape(-1)],
    )


def _layout(job: Job, casts: Casts, bands: int) -> Layout:
    faces = faces_of(job)
    spaces = len(job.building.spaces)
    beside = {
        (int(own), int(other))
        for own, other in zip(faces.space, faces.beyond, strict=True)
        if other not in (OUTSIDE, own)
    }
    return Layout(
        receivers=len(casts.receivers),
        bands=bands,
        spaces=spaces,
        pairs=(*((space, space) for space in range(spaces)), *sorted(beside)),
        space_of=tuple(job.building.space_index[each.receiver.space] for each in casts.receivers),
    )


def _add_matrix(
    job: Job,
    variants: Variants,
    binned: Tables,
    layout: Layout,
    constant: Floats,
    found: _Sums,
) -> None:
    """What each patch takes out of its room and passes into the next, and who absorbs in it."""
    bins = binned.log_transmission.shape[1]
    share = (np.arange(bins) + 0.5) / bins
    share /= share.sum()
    through = 0.5 * np.einsum("kbfp,b->kf", np.exp(binned.log_transmission), share)
    back = 0.5 * np.einsum("kbfp,b->kf", binned.near_reflection, share)
    through = np.minimum(through, 1.0 - back)
    faces = faces_of(job)
    pair_at = {pair: place for place, pair in enumerate(layout.pairs)}
    for patch in range(len(job.building.patches)):
        scope = variants.scopes[variants.rows + patch]
        keys = variants.numbers[variants.rows + patch]
        own, other = int(faces.space[patch]), int(faces.beyond[patch])
        area = faces.area_m2[patch]
        for band in range(layout.bands):
            at = layout.matrix_at(band, pair_at[own, own])
            lost = 1.0 - back[keys, band]
            if other == own:  # a chimney that stands in the room: what passes stays in it
                lost = lost - through[keys, band]
            found.add(scope, at, area * lost / 4.0)
            if other not in (OUTSIDE, own):
                at = layout.matrix_at(band, pair_at[own, other])
                found.add(scope, at, area * through[keys, band] / 4.0)
    absorbed = absorption_m2(job)
    for band, space in itertools.product(range(layout.bands), range(layout.spaces)):
        constant[layout.matrix_at(band, pair_at[space, space])] += absorbed[space]
    for at, cells in found.pop(()).items():
        constant[at] += cells[0]


class _Sums:
    """Tables while they are added up: cells of each figure that the options of units change."""

    def __init__(self, options: Sequence[int]) -> None:
        self._options = options
        self._cells: dict[Scope, dict[int, Floats]] = {}

    def add(self, scope: Scope, figure: int, cells: Floats) -> None:
        """Add to a figure, cell by cell of its units' options, those of the last unit fastest."""
        figures = self._cells.setdefault(scope, {})
        figures[figure] = figures[figure] + cells if figure in figures else cells

    def pop(self, scope: Scope) -> dict[int, Floats]:
        """Take out what depends on certain units."""
        return self._cells.pop(scope, {})

    def tables(self) -> tuple[Table, ...]:
        """One table for each set of units, in their order."""
        return tuple(
            Table(
                scope=scope,
                columns=np.array(sorted(figures), dtype=np.int64),
                values=np.stack([figures[at] for at in sorted(figures)], axis=-1).reshape(
                    *(self._options[unit] for unit in scope), len(figures)
                ),
            )
            for scope, figures in sorted(self._cells.items())
        )


def _entry_values(
    bundle: Beam | Chain,
    *,
    bench: Bench,
    band: int,
    variants: Variants,
    source: Source | None = None,
) -> tuple[Ints, Floats, Floats]:
    """Transmission and reflection of a bundle's entries in every variant of their rows.

    Returns
    -------
    offsets : (entries,) int
        Where an entry's variants begin.
    passed, reflected : (values, 2) float
    """
    counts = variants.counts[bundle.rows]
    offsets = np.concatenate(([0], np.cumsum(counts)))
    passed = np.empty((offsets[-1], 2))
    reflected = np.empty((offsets[-1], 2))
    for variant in range(int(counts.max(initial=0))):
        stacks = variants.stacks(variant)
        logs, back = bench.along(bundle, stacks, band)
        if source is not None:
            assert isinstance(bundle, Beam)
            turns = slot_turns(
                bundle, bench=bench, stacks=stacks, band=band, polarization=source.polarization
            )
            if turns:
                logs = logs.copy()
                for entries, turned in turns:
                    logs[entries] += turned
        has = counts > variant
        passed[offsets[:-1][has] + variant] = np.exp(logs[has])
        reflected[offsets[:-1][has] + variant] = back[has]
    return offsets[:-1], passed, reflected


def _radiance(job: Job, casts: ReceiverCasts, bench: Bench, factor: Floats) -> Floats:
    """Radiance (bands,) of what arrives scattered at a receiver. [W/(m² sr)]"""
    exposed = float(casts.crossings.solid_angle_sr @ (casts.crossings.sky > 0))
    found = np.zeros(len(bench.bands_hz))
    if exposed > 0.0:
        storey = job.building.space(casts.receiver.space).storey
        for source, shown in zip(job.sources, factor.tolist(), strict=True):
            outside = np.mean(
                [level_outside(source, storey, point.position_m) for point in casts.points]
            )
            band = bench.bands_hz.index(source.band_hz)
            found[band] += shown * source.scattered * outside / exposed
    return found


def _direct_terms(
    job: Job,
    casts: Casts,
    bench: Bench,
    variants: Variants,
    binned: Tables,
    layout: Layout,
    scopes: Scopes,
    sent: Sequence[_Sent],
    shown: Floats,
) -> Iterator[_Terms]:
    building = job.building
    normals = np.array([panel.normal for panel in building.panels])
    for place, receiver in enumerate(casts.receivers):
        radiance = _radiance(job, receiver, bench, shown[place])
        for heard in np.flatnonzero(radiance).tolist():
            yield _scattered_terms(
                receiver,
                radiance=float(radiance[heard]),
                output=layout.direct_at(place, heard),
                band=heard,
                binned=binned,
                variants=variants,
                scopes=scopes,
            )
        storey = building.space(receiver.receiver.space).storey
        for each, number in itertools.product(sent, range(len(receiver.points))):
            source, point = each.source, each.casts.receivers[place].points[number]
            band = bench.bands_hz.index(source.band_hz)
            beam = point.beams[source.id]
            outside = level_outside(source, storey, point.position_m) / len(receiver.points)
            weight = beam.weights * (beam.sky > 0) * outside * (1.0 - source.scattered)
            weight = weight * shown[place, each.number]
            shares = polarization_weights(
                source.polarization,
                directions=beam.directions,
                normals=normals[np.maximum(beam.first_panel, 0)],
            )
            offsets, passed, _ = _entry_values(
                beam, bench=bench, band=band, variants=variants, source=source
            )
            rows = beam.rows.astype(np.int64)
            start = beam.start.astype(np.int64)
            terms = _Terms(
                outputs=np.full(len(weight), layout.direct_at(place, band), dtype=np.int64),
                coefficients=weight[:, np.newaxis] * shares,
                start=start,
                rows=rows,
                offsets=offsets,
                factors=passed,
                scope=scopes.along(start, rows)[1],
            )
            yield _switched(terms, each, scopes)


def _scattered_terms(
    receiver: ReceiverCasts,
    *,
    radiance: float,
    output: int,
    band: int,
    binned: Tables,
    variants: Variants,
    scopes: Scopes,
) -> _Terms:
    """What arrives evenly from the exposed directions: signature by signature."""
    crossings = receiver.crossings
    rows, bins = np.divmod(crossings.entries.astype(np.int64), crossings.bins)
    counts = variants.counts[rows]
    offsets = np.concatenate(([0], np.cumsum(counts)))
    passed = np.empty((offsets[-1], 2))
    for variant in range(int(counts.max(initial=0))):
        has = counts > variant
        keys = variants.stacks(variant).of_row[rows[has]]
        logs = binned.log_transmission[keys, bins[has], band]
        passed[offsets[:-1][has] + variant] = np.exp(logs)
    weight = 0.5 * radiance * crossings.solid_angle_sr * (crossings.sky > 0)
    start = crossings.start.astype(np.int64)
    return _Terms(
        outputs=np.full(len(weight), output, dtype=np.int64),
        coefficients=np.stack((weight, weight), axis=1),
        start=start,
        rows=rows,
        offsets=offsets[:-1],
        factors=passed,
        scope=scopes.along(start, rows)[1],
    )


def _fed_terms(
    job: Job,
    casts: Casts,
    bench: Bench,
    variants: Variants,
    layout: Layout,
    scopes: Scopes,
    sent: Sequence[_Sent],
    shown: Floats,
) -> Iterator[_Terms]:
    """What beams, and what arrives scattered, leave in rooms by reflection."""
    for each in sent:
        source = each.source
        band = bench.bands_hz.index(source.band_hz)
        chain = each.casts.chains[source.id]
        level = ray_levels(source, chain, job)
        heard = shown[:, each.number]
        for terms in _chain_terms(chain, level, heard, band, bench, variants, layout, scopes):
            yield _switched(terms, each, scopes)
    if casts.even is None:
        return
    radiance = np.array(
        [
            _radiance(job, receiver, bench, shown[place])
            for place, receiver in enumerate(casts.receivers)
        ]
    )
    for band in range(layout.bands):
        heard = radiance[:, band]
        if heard.any():
            level = np.ones(len(casts.even.weights))
            yield from _chain_terms(casts.even, level, heard, band, bench, variants, layout, scopes)


def _chain_terms(
    chain: Chain,
    level: Floats,
    heard: Floats,
    band: int,
    bench: Bench,
    variants: Variants,
    layout: Layout,
    scopes: Scopes,
) -> Iterator[_Terms]:
    """One term a hit inside: all rows before it passed, its own reflected; for each receiver."""
    offsets, passed, reflected = _entry_values(chain, bench=bench, band=band, variants=variants)
    rows = chain.rows.astype(np.int64)
    of_entry, _ = scopes.along(chain.start.astype(np.int64), rows)
    lengths = np.diff(chain.start)
    ray = np.repeat(np.arange(len(lengths)), lengths)
    depth = np.arange(len(rows)) - chain.start[:-1][ray]
    inside = np.flatnonzero(chain.space >= 0)
    counts = depth[inside] + 1
    start = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
    run = np.repeat(chain.start[:-1][ray[inside]] - start[:-1], counts) + np.arange(start[-1])
    element = offsets[run]
    element[start[1:] - 1] = offsets[inside] + len(passed)
    carried = 0.5 * (chain.weights * level)[ray[inside]]
    for receiver in np.flatnonzero(heard):
        first = layout.fed_at(int(receiver), band, 0)
        weight = carried * heard[receiver]
        yield _Terms(
            outputs=first + chain.space[inside].astype(np.int64),
            coefficients=np.stack((weight, weight), axis=1),
            start=start,
            rows=rows[run],
            offsets=element,
            factors=np.concatenate((passed, reflected)),
            scope=of_entry[inside],
        )


def _summed(
    terms: _Terms,
    variants: Variants,
    scopes: Scopes,
    layout: Layout,
    constant: Floats,
    found: _Sums,
    max_cells: int,
) -> Iterator[_Terms]:
    """Add terms to the tables of their scopes; yield what would make a table too large."""
    terms = _folded(terms, variants)
    units, strides = row_units(variants)
    place = np.zeros(len(variants.options), dtype=np.int64)  # of a unit in the table at hand
    widths = np.array([len(scope) for scope in variants.scopes[: variants.rows]], dtype=np.int64)
    terms = _subset(terms, np.argsort(terms.scope, kind="stable"))
    edges = np.flatnonzero(np.diff(terms.scope, prepend=-1, append=-1))
    # the figures of each scope, one scope's after the other's
    figures, columns = np.unique(terms.scope * layout.size + terms.outputs, return_inverse=True)
    columns = columns.reshape(-1).astype(np.int64)
    for low, high in itertools.pairwise(edges.tolist()):
        scope = scopes.names[int(terms.scope[low])]
        if not scope:
            np.add.at(constant, terms.outputs[low:high], terms.coefficients[low:high].sum(axis=1))
            continue
        options = np.array([variants.options[unit] for unit in scope], dtype=np.int64)
        if int(options.prod()) > max_cells:
            yield _subset(terms, np.arange(low, high))
            continue
        first, last = int(columns[low:high].min()), int(columns[low:high].max()) + 1
        used = figures[first:last] % layout.size
        table = np.zeros((int(options.prod()), len(used)))
        place[list(scope)] = np.arange(len(scope))
        products = Products(
            outputs=columns[low:high] - first,
            coefficients=terms.coefficients[low:high],
            start=terms.start[low : high + 1],
            rows=terms.rows,
            offsets=terms.offsets,
            factors=terms.factors,
            units=place[units],
            strides=strides,
            widths=widths,
        )
        fill_table(table, options, np.zeros(len(scope), dtype=np.int64), products)
        for figure, cells in zip(used.tolist(), table.T, strict=True):
            found.add(scope, figure, cells)


def _folded(terms: _Terms, variants: Variants) -> _Terms:
    """Terms with what no unit changes multiplied into their coefficients, and none that is 0."""
    fixed = np.array([not scope for scope in variants.scopes[: variants.rows]])[terms.rows]
    values = np.ones((len(terms.rows) + 1, 2))
    values[:-1][fixed] = terms.factors[terms.offsets[fixed]]
    coefficients = terms.coefficients.copy()
    filled = np.diff(terms.start) > 0
    if filled.any():
        coefficients[filled] *= np.multiply.reduceat(values, terms.start[:-1][filled], axis=0)
    live = coefficients.sum(axis=1) > 0.0
    term = np.repeat(np.arange(len(live)), np.diff(terms.start))
    kept = ~fixed & live[term]
    counts = np.bincount(term[kept], minlength=len(live))[live]
    return _Terms(
        outputs=terms.outputs[live],
        coefficients=coefficients[live],
        start=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        rows=terms.rows[kept],
        offsets=terms.offsets[kept],
        factors=terms.factors,
        scope=terms.scope[live],
    )


def _subset(terms: _Terms, members: Ints) -> _Terms:
    counts = np.diff(terms.start)[members]
    start = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
    run = np.repeat(terms.start[:-1][members] - start[:-1], counts) + np.arange(start[-1])
    return _Terms(
        outputs=terms.outputs[members],
        coefficients=terms.coefficients[members],
        start=start,
        rows=terms.rows[run],
        offsets=terms.offsets[run],
        factors=terms.factors,
        scope=terms.scope[members],
    )


def _paths(wide: Sequence[_Terms], variants: Variants) -> Paths:
    """What stays products, with the values that it needs and no others."""
    if not wide:
        return Paths.none()
    counts = variants.counts
    offsets: list[Ints] = []
    factors: list[Floats] = []
    starts = [np.zeros(1, dtype=np.int64)]
    held = elements = 0
    for part in wide:
        used, first, back = np.unique(part.offsets, return_index=True, return_inverse=True)
        lengths = counts[part.rows[first]]
        begin = np.concatenate(([0], np.cumsum(lengths)))
        pick = np.repeat(used - begin[:-1], lengths) + np.arange(begin[-1])
        factors.append(part.factors[pick])
        offsets.append(begin[:-1][back.reshape(-1)] + held)
        held += len(pick)
        starts.append(part.start[1:] + elements)
        elements += int(part.start[-1])
    units, strides = row_units(variants)
    return Paths(
        outputs=np.concatenate([part.outputs for part in wide]),
        coefficients=np.concatenate([part.coefficients for part in wide]),
        start=np.concatenate(starts),
        rows=np.concatenate([part.rows for part in wide]),
        offsets=np.concatenate(offsets),
        factors=np.concatenate(factors),
        units=units,
        strides=strides,
        widths=np.array([len(scope) for scope in variants.scopes[: variants.rows]], dtype=np.int64),
    )
