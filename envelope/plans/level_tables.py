"""The level at receivers as a sum of small tables and one small matrix a band: exact, and fast.

A *unit* is what is decided in one go (one wall, all walls, a window) and has a few options. A ray's
transmission depends on the units whose panels it meets; rays that depend on the same units are
added into one table over the options of those:

    level_r(x) = Σ_C D_C,r[x_C] + Σ_b (M_b(x)⁻¹ Q_r,b(x))[space of r],   M, Q: sums of such tables

Nothing is linearised. Paths that depend on so many units that a table would be large stay products
and are multiplied out for whole plans.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from envelope.errors import RangeError
from envelope.geometry.plane import Floats
from envelope.plans.kernel import add_paths, table_levels

Ints = NDArray[np.int64]
Scope = tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Where each figure stands in a vector: direct levels, what feeds rooms, the matrix's entries.

    `pairs` lists the entries of the balance matrix that are not 0, the diagonal first.
    """

    receivers: int
    bands: int
    spaces: int
    pairs: tuple[tuple[int, int], ...]
    space_of: tuple[int, ...]  # of each receiver

    @property
    def direct(self) -> int:
        """Entries of direct levels, receiver by receiver, band by band."""
        return self.receivers * self.bands

    @property
    def fed(self) -> int:
        """Entries of direct levels and of what feeds the rooms."""
        return self.direct * (1 + self.spaces)

    @property
    def size(self) -> int:
        """Length of a vector."""
        return self.fed + self.bands * len(self.pairs)

    @property
    def pair_rows(self) -> Ints:
        """Row (pairs,) of each entry of the matrix."""
        return np.array([row for row, _ in self.pairs], dtype=np.int64)

    @property
    def pair_columns(self) -> Ints:
        """Column (pairs,) likewise."""
        return np.array([column for _, column in self.pairs], dtype=np.int64)

    def direct_at(self, receiver: int, band: int) -> int:
        """Place of a direct level. [W/m²]"""
        return receiver * self.bands + band

    def fed_at(self, receiver: int, band: int, space: int) -> int:
        """Place of what feeds a space, as far as a receiver hears it. [W]"""
        return self.direct + (receiver * self.bands + band) * self.spaces + space

    def matrix_at(self, band: int, pair: int) -> int:
        """Place of an entry of a band's matrix; off the diagonal its sign is turned. [m²]"""
        return self.fed + band * len(self.pairs) + pair


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paths:
    """Products of table entries, for what depends on too many units to be a table.

    Path t adds ``coefficients[t, 0] Π F[.., 0] + coefficients[t, 1] Π F[.., 1]`` to figure
    ``outputs[t]``. Element e of it stands at ``factors[offsets[e] + Σ_w strides[rows[e], w]
    x[units[rows[e], w]]]``.
    """

    outputs: Ints  # (t,)
    coefficients: Floats  # (t, 2)
    start: Ints  # (t + 1,)
    rows: Ints  # (elements,)
    offsets: Ints  # (elements,)
    factors: Floats  # (values, 2)
    units: Ints  # (rows, w)
    strides: Ints  # (rows, w)
    widths: Ints  # (rows,) units that a row depends on

    @classmethod
    def none(cls) -> Paths:
        """No path at all."""
        empty = np.zeros(0, dtype=np.int64)
        return cls(
            outputs=empty,
            coefficients=np.zeros((0, 2)),
            start=np.zeros(1, dtype=np.int64),
            rows=empty,
            offsets=empty,
            factors=np.zeros((0, 2)),
            units=np.zeros((0, 1), dtype=np.int64),
            strides=np.zeros((0, 1), dtype=np.int64),
            widths=empty,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatTables:
    """Tables as compiled code looks them up."""

    cells: Floats  # (cells, size)
    offset: Ints  # (tables,) where each begins
    units: Ints  # (tables, w) that it is over, -1 after the last
    stride: Ints  # (tables, w)


def steps_of(options: Sequence[int]) -> list[int]:
    """How far apart neighbouring options of each unit stand in a flat table, the last one fastest.

    Examples
    --------
    >>> steps_of([2, 3, 4])
    [12, 4, 1]
    """
    return [math.prod(options[place + 1 :]) for place in range(len(options))]


@dataclass(frozen=True, kw_only=True, eq=False)
class LevelTables:
    """Tables of a job over its units of decision."""

    layout: Layout
    options: tuple[int, ...]  # of each unit
    constant: Floats  # (size,)
    tables: tuple[tuple[Scope, Floats], ...]  # (options of the scope's units…, size)
    paths: Paths

    def __post_init__(self) -> None:
        for scope, table in self.tables:
            wanted = (*(self.options[unit] for unit in scope), self.layout.size)
            if table.shape != wanted or list(scope) != sorted(set(scope)):
                raise RangeError(f"a table over units {scope} has shape {table.shape}")

    def vectors(self, plans: Ints) -> Floats:
        """Figures (n, size) of plans (n, units), each a choice of options."""
        chosen = np.ascontiguousarray(plans, dtype=np.int64)
        found = np.tile(self.constant, (len(chosen), 1))
        for scope, table in self.tables:
            found += table[tuple(chosen[:, unit] for unit in scope)]
        if len(self.paths.outputs):
            p = self.paths
            for vector, x in zip(found, chosen, strict=True):
                add_paths(
                    vector,
                    x,
                    p.outputs,
                    p.coefficients,
                    p.start,
                    p.rows,
                    p.offsets,
                    p.factors,
                    p.units,
                    p.strides,
                    p.widths,
                )
        return found

    def levels(self, plans: Ints) -> Floats:
        """Level (n, receivers) of plans (n, units), all bands together. [W/m²]"""
        chosen = np.ascontiguousarray(plans, dtype=np.int64)
        layout, flat, paths = self.layout, self.merged.flat, self.paths
        found = np.zeros((len(chosen), layout.receivers))
        table_levels(
            chosen,
            found,
            self.constant,
            flat.cells,
            flat.offset,
            flat.units,
            flat.stride,
            layout.bands,
            layout.spaces,
            layout.direct,
            layout.fed,
            layout.pair_rows,
            layout.pair_columns,
            np.array(layout.space_of, dtype=np.int64),
            paths.outputs,
            paths.coefficients,
            paths.start,
            paths.rows,
            paths.offsets,
            paths.factors,
            paths.units,
            paths.strides,
            paths.widths,
            np.zeros(layout.size),
            np.zeros((layout.spaces, layout.spaces + 1)),
        )
        return found

    @cached_property
    def flat(self) -> FlatTables:
        """All tables below one another."""
        width = max((len(scope) for scope, _ in self.tables), default=1)
        units = np.full((len(self.tables), width), -1, dtype=np.int64)
        stride = np.zeros((len(self.tables), width), dtype=np.int64)
        offset = np.zeros(len(self.tables), dtype=np.int64)
        cells = [np.zeros((0, self.layout.size))]
        held = 0
        for index, (scope, table) in enumerate(self.tables):
            units[index, : len(scope)] = scope
            stride[index, : len(scope)] = steps_of([self.options[unit] for unit in scope])
            offset[index] = held
            cells.append(table.reshape(-1, self.layout.size))
            held += len(cells[-1])
        return FlatTables(
            cells=np.ascontiguousarray(np.concatenate(cells)),
            offset=offset,
            units=units,
            stride=stride,
        )

    @cached_property
    def merged(self) -> LevelTables:
        """The same with tables added into those whose units include theirs: fewer to look up."""
        found = dict(self.tables)
        for scope in sorted(found, key=lambda each: (len(each), each)):
            wider = [other for other in found if other != scope and set(scope) < set(other)]
            if wider:
                into = min(wider, key=lambda each: (found[each].size, each))
                shape = [self.options[unit] if unit in scope else 1 for unit in into]
                found[into] = found[into] + found[scope].reshape(*shape, self.layout.size)
                del found[scope]
        return replace(self, tables=tuple(sorted(found.items())))


def levels_of(layout: Layout, vectors: Floats) -> Floats:
    """Level (n, receivers) of figures (n, size). [W/m²]"""
    count, spaces = len(vectors), layout.spaces
    total = np.zeros((count, layout.receivers))
    for band in range(layout.bands):
        matrix = np.zeros((count, spaces, spaces))
        for pair, (row, column) in enumerate(layout.pairs):
            sign = 1.0 if row == column else -1.0
            matrix[:, row, column] += sign * vectors[:, layout.matrix_at(band, pair)]
        for receiver, space in enumerate(layout.space_of):
            first = layout.fed_at(receiver, band, 0)
            fed = vectors[:, first : first + spaces]
            diffuse = np.linalg.solve(matrix, fed[..., np.newaxis])[:, space, 0]
            total[:, receiver] += vectors[:, layout.direct_at(receiver, band)] + diffuse
    return total


def without_untouched_spaces(tables: LevelTables) -> LevelTables:
    """Eliminate the spaces whose balance no unit changes: fewer unknowns for every plan.

    Their rows and columns are constant; what they feed back into the others is put into constant
    entries of the rest (Schur complement). Receivers' own spaces stay.
    """
    layout = tables.layout
    touched = set(layout.space_of)
    for scope, table in tables.tables:
        if not scope:
            continue
        moved = np.ptp(table.reshape(-1, layout.size)[:, layout.fed :], axis=0) > 0.0
        pairs = moved.reshape(layout.bands, len(layout.pairs)).any(axis=0)
        for pair in np.flatnonzero(pairs).tolist():
            touched |= set(layout.pairs[pair])
    if len(touched) == layout.spaces:
        return tables
    return _eliminated(tables, sorted(touched))


def _eliminated(tables: LevelTables, kept: Sequence[int]) -> LevelTables:
    old = tables.layout
    gone = [space for space in range(old.spaces) if space not in kept]
    place = {space: index for index, space in enumerate(kept)}
    pairs = [(i, i) for i in range(len(kept))]
    pairs += [(i, j) for i in range(len(kept)) for j in range(len(kept)) if i != j]
    new = Layout(
        receivers=old.receivers,
        bands=old.bands,
        spaces=len(kept),
        pairs=tuple(pairs),
        space_of=tuple(place[space] for space in old.space_of),
    )
    index_of = {pair: index for index, pair in enumerate(pairs)}
    change = np.zeros((old.size, new.size))  # vector of the whole → vector of the rest, linear
    offset = np.zeros(new.size)  # constant entries that the eliminated spaces leave behind
    inverses = []
    whole = tables.constant.copy()
    for _, table in tables.tables:  # entries that no unit changes may sit in any table
        flat = table.reshape(-1, old.size)
        still = np.ptp(flat, axis=0) == 0.0
        whole[still] += flat[0][still]
    for band in range(old.bands):
        matrix = np.zeros((old.spaces, old.spaces))
        for pair, (row, column) in enumerate(old.pairs):
            sign = 1.0 if row == column else -1.0
            matrix[row, column] += sign * whole[old.matrix_at(band, pair)]
        inverse = np.linalg.inv(matrix[np.ix_(gone, gone)])
        back = matrix[np.ix_(kept, gone)] @ inverse  # (kept, gone)
        complement = -back @ matrix[np.ix_(gone, kept)]
        inverses.append(back)
        for pair, (row, column) in enumerate(old.pairs):
            if row in place and column in place:
                there = new.matrix_at(band, index_of[place[row], place[column]])
                change[old.matrix_at(band, pair), there] = 1.0
        for (row, column), index in index_of.items():
            sign = 1.0 if row == column else -1.0
            offset[new.matrix_at(band, index)] += sign * complement[row, column]
        for receiver in range(old.receivers):
            change[old.direct_at(receiver, band), new.direct_at(receiver, band)] = 1.0
            for space in kept:
                there = new.fed_at(receiver, band, place[space])
                change[old.fed_at(receiver, band, space), there] = 1.0
            for column, space in enumerate(gone):
                for row in range(len(kept)):
                    there = new.fed_at(receiver, band, row)
                    change[old.fed_at(receiver, band, space), there] = -back[row, column]
    return LevelTables(
        layout=new,
        options=tables.options,
        constant=tables.constant @ change + offset,
        tables=tuple((scope, table @ change) for scope, table in tables.tables),
        paths=_mapped_paths(tables.paths, change),
    )


def _mapped_paths(paths: Paths, change: Floats) -> Paths:
    """Paths whose figure now feeds several others: one path for each of them."""
    if not len(paths.outputs):
        return paths
    outputs, coefficients, starts, rows, offsets = [], [], [0], [], []
    for index, output in enumerate(paths.outputs.tolist()):
        run = slice(int(paths.start[index]), int(paths.start[index + 1]))
        for target in np.flatnonzero(change[output]).tolist():
            outputs.append(target)
            coefficients.append(paths.coefficients[index] * change[output, target])
            rows.append(paths.rows[run])
            offsets.append(paths.offsets[run])
            starts.append(starts[-1] + run.stop - run.start)
    return replace(
        paths,
        outputs=np.array(outputs, dtype=np.int64),
        coefficients=np.array(coefficients),
        start=np.array(starts, dtype=np.int64),
        rows=np.concatenate(rows),
        offsets=np.concatenate(offsets),
    )
