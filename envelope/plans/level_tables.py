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
from envelope.plans.kernel import Balance, Lookups, Products, add_paths, table_levels

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

    @property
    def compiled(self) -> Balance:
        """The same for compiled code."""
        return Balance(
            bands=self.bands,
            spaces=self.spaces,
            direct=self.direct,
            fed=self.fed,
            pair_row=self.pair_rows,
            pair_column=self.pair_columns,
            space_of=np.array(self.space_of, dtype=np.int64),
        )

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

    @property
    def compiled(self) -> Products:
        """The same for compiled code."""
        return Products(*(getattr(self, name) for name in Products._fields))


def steps_of(options: Sequence[int]) -> list[int]:
    """How far apart neighbouring options of each unit stand in a flat table, the last one fastest.

    Examples
    --------
    >>> steps_of([2, 3, 4])
    [12, 4, 1]
    """
    return [math.prod(options[place + 1 :]) for place in range(len(options))]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """What the options of a few units add to a few figures."""

    scope: Scope
    columns: Ints  # (k,) figures, rising
    values: Floats  # (options of the scope's units…, k)

    @classmethod
    def of(cls, scope: Scope, figures: Floats) -> Table:
        """A table of all figures (options…, size), without those that it does not touch."""
        cells = figures.reshape(-1, figures.shape[-1])
        columns = np.flatnonzero((cells != 0.0).any(axis=0))
        return cls(scope=scope, columns=columns, values=figures[..., columns])

    @property
    def cells(self) -> Floats:
        """Values (cells, k), the options of the last unit fastest."""
        return self.values.reshape(-1, len(self.columns))

    def figures(self, size: int) -> Floats:
        """All figures (options…, size)."""
        found = np.zeros((*self.values.shape[:-1], size))
        found[..., self.columns] = self.values
        return found

    def plus(self, other: Table) -> Table:
        """The sum with a table over some of its units."""
        shape = other.values.shape[:-1]
        lengths = iter(shape)
        spread = [next(lengths) if unit in other.scope else 1 for unit in self.scope]
        columns = np.union1d(self.columns, other.columns)
        values = np.zeros((*self.values.shape[:-1], len(columns)))
        values[..., np.searchsorted(columns, self.columns)] = self.values
        values[..., np.searchsorted(columns, other.columns)] += other.values.reshape(*spread, -1)
        return Table(scope=self.scope, columns=columns, values=values)


def looked_up(tables: Sequence[Table], options: Sequence[int]) -> Lookups:
    """Tables for compiled code, in their order."""
    width = max((len(table.scope) for table in tables), default=1)
    units = np.full((len(tables), width), -1, dtype=np.int64)
    stride = np.zeros((len(tables), width), dtype=np.int64)
    offset = np.zeros(len(tables), dtype=np.int64)
    held = 0
    for index, table in enumerate(tables):
        count = len(table.columns)
        steps = steps_of([options[unit] for unit in table.scope])
        units[index, : len(table.scope)] = table.scope
        stride[index, : len(table.scope)] = np.array(steps, dtype=np.int64) * count
        offset[index] = held
        held += table.values.size
    return Lookups(
        values=np.concatenate([np.zeros(0), *(table.values.reshape(-1) for table in tables)]),
        offset=offset,
        units=units,
        stride=stride,
        column_start=np.cumsum([0, *(len(table.columns) for table in tables)]).astype(np.int64),
        columns=np.concatenate([np.zeros(0, np.int64), *(table.columns for table in tables)]),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class LevelTables:
    """Tables of a job over its units of decision."""

    layout: Layout
    options: tuple[int, ...]  # of each unit
    constant: Floats  # (size,)
    tables: tuple[Table, ...]  # no two over the same units
    paths: Paths

    def __post_init__(self) -> None:
        for table in self.tables:
            scope, shape = table.scope, table.values.shape
            wanted = (*(self.options[unit] for unit in scope), len(table.columns))
            if shape != wanted or list(scope) != sorted(set(scope)):
                raise RangeError(f"a table over units {scope} has shape {shape}")

    def vectors(self, plans: Ints) -> Floats:
        """Figures (n, size) of plans (n, units), each a choice of options."""
        chosen = np.ascontiguousarray(plans, dtype=np.int64)
        found = np.tile(self.constant, (len(chosen), 1))
        for table in self.tables:
            at = tuple(chosen[:, unit] for unit in table.scope)
            found[:, table.columns] += table.values[at]
        products = self.paths.compiled
        for vector, x in zip(found, chosen, strict=True):
            add_paths(vector, x, products, 0, len(products.outputs))
        return found

    def levels(self, plans: Ints) -> Floats:
        """Level (n, receivers) of plans (n, units), all bands together. [W/m²]"""
        chosen = np.ascontiguousarray(plans, dtype=np.int64)
        layout = self.layout
        found = np.zeros((len(chosen), layout.receivers))
        table_levels(
            chosen,
            found,
            self.constant,
            self.merged.compiled,
            self.paths.compiled,
            layout.compiled,
            np.zeros(layout.size),
            np.zeros((layout.spaces, layout.spaces + 1)),
        )
        return found

    @cached_property
    def compiled(self) -> Lookups:
        """All tables below one another."""
        return looked_up(self.tables, self.options)

    @cached_property
    def merged(self) -> LevelTables:
        """The same with tables added into those whose units include theirs: fewer to look up."""
        scopes = [table.scope for table in self.tables]
        found = dict(zip(scopes, self.tables, strict=True))
        held = np.zeros((len(scopes), len(self.options) + self.layout.size), dtype=bool)
        for row, table in zip(held, self.tables, strict=True):
            row[[*table.scope]] = True
            row[len(self.options) + table.columns] = True
        bits = np.packbits(held, axis=1)  # so that many sets are compared in moments
        lengths = np.array([len(scope) for scope in scopes])
        # into the smallest of the wider ones
        sizes = sorted((table.values.size, table.scope, at) for at, table in enumerate(self.tables))
        rank = np.empty(len(scopes), dtype=np.int64)
        rank[[at for _, _, at in sizes]] = np.arange(len(scopes))
        there = np.ones(len(scopes), dtype=bool)
        for at in sorted(range(len(scopes)), key=lambda each: (len(scopes[each]), scopes[each])):
            wider = np.flatnonzero(there & (lengths > lengths[at]))
            wider = wider[~(bits[at] & ~bits[wider]).any(axis=1)]
            if len(wider):
                into = scopes[int(wider[rank[wider].argmin()])]
                found[into] = found[into].plus(found.pop(scopes[at]))
                there[at] = False
        return replace(self, tables=tuple(table for _, table in sorted(found.items())))


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
    for table in tables.tables:
        moved = np.zeros(layout.size, dtype=bool)
        moved[table.columns] = np.ptp(table.cells, axis=0) > 0.0
        pairs = moved[layout.fed :].reshape(layout.bands, len(layout.pairs)).any(axis=0)
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
    for table in tables.tables:  # entries that no unit changes may sit in any table
        still = np.ptp(table.cells, axis=0) == 0.0
        whole[table.columns[still]] += table.cells[0, still]
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
        tables=tuple(_mapped_table(table, change) for table in tables.tables),
        paths=_mapped_paths(tables.paths, change),
    )


def _mapped_table(table: Table, change: Floats) -> Table:
    into = change[table.columns]
    columns = np.flatnonzero((into != 0.0).any(axis=0))
    return Table(scope=table.scope, columns=columns, values=table.values @ into[:, columns])


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
