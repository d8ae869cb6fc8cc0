"""What each row of a cast may be: its stacks over the options of the units that it depends on.

A row has one *variant* for each combination of the options of its units; a path depends on all
units of its rows, which is its *scope*. What is decided about a source is a row of its own, which
all of its paths have at their end.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.building.job import Job, Plan
from envelope.exposure.stacks import StackKey
from envelope.exposure.transmission import Bench, Stacks, stacks_under, stacks_with
from envelope.plans.level_tables import Scope, steps_of
from envelope.plans.units import Unit, plan_of

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Variants:
    """Stacks of every row and face over the options of the units that they depend on."""

    options: tuple[int, ...]
    keys: tuple[StackKey, ...]
    scopes: tuple[Scope, ...]  # of each row, then of each face
    numbers: tuple[Ints, ...]  # key of each combination, flat, likewise
    rows: int  # those of elements, then one for each unit that is a source

    @property
    def counts(self) -> Ints:
        """Variants (rows,) of each row."""
        return np.array([len(each) for each in self.numbers[: self.rows]], dtype=np.int64)

    def stacks(self, variant: int) -> Stacks:
        """Stacks with every row in one of its variants, the last where it has fewer."""
        chosen = [each[min(variant, len(each) - 1)] for each in self.numbers[: self.rows]]
        return Stacks(
            keys=self.keys,
            of_row=np.array(chosen, dtype=np.int32),
            of_face=np.zeros(1, dtype=np.int32),
        )


class Scopes:
    """Sets of units by number; what a path depends on grows row by row."""

    def __init__(self, of_row: Sequence[Scope]) -> None:
        self.names: list[Scope] = [()]
        self._numbers: dict[Scope, int] = {(): 0}
        self._of_row = of_row
        self._joined: dict[tuple[int, int], int] = {}

    def joined(self, scope: int, row: int) -> int:
        """Number of a scope with what a row depends on."""
        key = (scope, row)
        if key not in self._joined:
            name = tuple(sorted({*self.names[scope], *self._of_row[row]}))
            if name not in self._numbers:
                self._numbers[name] = len(self.names)
                self.names.append(name)
            self._joined[key] = self._numbers[name]
        return self._joined[key]

    def along(self, start: Ints, rows: Ints) -> tuple[Ints, Ints]:
        """Scopes up to and with each entry (elements,), and of each whole path (t,)."""
        of_entry = np.zeros(len(rows), dtype=np.int64)
        current = np.zeros(len(start) - 1, dtype=np.int64)
        lengths = np.diff(start)
        stride = 1 + int(rows.max(initial=0))
        for depth in range(int(lengths.max(initial=0))):
            has = lengths > depth
            at = start[:-1][has] + depth
            pairs, back = np.unique(current[has] * stride + rows[at], return_inverse=True)
            joined = [self.joined(*divmod(int(pair), stride)) for pair in pairs]
            current[has] = np.array(joined, dtype=np.int64)[back.reshape(-1)]
            of_entry[at] = current[has]
        return of_entry, current


def switch_rows(job: Job, units: Sequence[Unit]) -> dict[int, int]:
    """Row of each unit that is a source."""
    sources = [place for place, unit in enumerate(units) if unit.is_source]
    first = 2 * len(job.building.patches)
    return {unit: first + number for number, unit in enumerate(sources)}


def variants_of(bench: Bench, units: Sequence[Unit], base: Plan) -> Variants:
    job = bench.job
    options = tuple(len(unit.options) for unit in units)
    nothing = [0] * len(units)

    still = stacks_under(bench, base)

    def keys_under(chosen: Sequence[int]) -> list[StackKey]:
        plan = plan_of(units, chosen, base=base, name="choice")
        done = [unit.options[option] for unit, option in zip(units, chosen, strict=True)]
        panels = {panel for each in done for panel in (*each.treatments, *each.assemblies)}
        stacks = stacks_with(still, bench=bench, plan=plan, panels=panels)
        return [stacks.keys[index] for index in (*stacks.of_row, *stacks.of_face)]

    before = keys_under(nothing)
    depends: list[set[int]] = [set() for _ in before]
    single: dict[tuple[int, int], list[StackKey]] = {}
    for unit, count in enumerate(options):
        for option in range(1, count):
            chosen = [*nothing]
            chosen[unit] = option
            single[unit, option] = after = keys_under(chosen)
            for place, (one, other) in enumerate(zip(before, after, strict=True)):
                if one != other:
                    depends[place].add(unit)
    scopes = [tuple(sorted(each)) for each in depends]
    members: dict[Scope, list[int]] = {}
    for place, scope in enumerate(scopes):
        members.setdefault(scope, []).append(place)
    listed: dict[StackKey, int] = {}
    numbers: list[list[int]] = [[] for _ in before]
    for scope, places in sorted(members.items()):
        for combination in itertools.product(*(range(options[unit]) for unit in scope)):
            changed = [(u, o) for u, o in zip(scope, combination, strict=True) if o]
            if not changed:
                keys = before
            elif len(changed) == 1:
                keys = single[changed[0]]
            else:
                chosen = [*nothing]
                for unit, option in changed:
                    chosen[unit] = option
                keys = keys_under(chosen)
            for place in places:
                numbers[place].append(listed.setdefault(keys[place], len(listed)))
    elements = 2 * len(job.building.patches)
    switches = list(switch_rows(job, units))
    found = [np.array(each, dtype=np.int64) for each in numbers]
    return Variants(
        options=options,
        keys=tuple(listed),
        scopes=(*scopes[:elements], *((unit,) for unit in switches), *scopes[elements:]),
        numbers=(
            *found[:elements],
            *(np.zeros(options[unit], dtype=np.int64) for unit in switches),
            *found[elements:],
        ),
        rows=elements + len(switches),
    )


def row_units(variants: Variants) -> tuple[Ints, Ints]:
    """Units (rows, w) of each row, and steps (rows, w) from option to option."""
    widest = max([len(scope) for scope in variants.scopes[: variants.rows]] or [1]) or 1
    units = np.zeros((variants.rows, widest), dtype=np.int64)
    strides = np.zeros((variants.rows, widest), dtype=np.int64)
    for row, scope in enumerate(variants.scopes[: variants.rows]):
        units[row, : len(scope)] = scope
        strides[row, : len(scope)] = steps_of([variants.options[unit] for unit in scope])
    return units, strides
