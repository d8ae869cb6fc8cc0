"""How records refuse themselves: pairs of a key and a sentence become the faults of an error.

A check answers with pairs of a key, as project files write it, and a sentence. A record refuses
itself with them; the file reader adds line and key to the same sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Protocol

import numpy as np

from envelope.building.ranges import Limits, out_of_range
from envelope.errors import Fault, RecordError
from envelope.geometry.plane import Floats

Problems = Iterator[tuple[str, str]]


class Named(Protocol):
    """A record that has an id."""

    @property
    def id(self) -> str: ...


def refuse(table: str, record: Named, problems: Iterable[tuple[str, str]]) -> None:
    """Raise RecordError with everything that is wrong with a record, if anything is."""
    faults = [
        Fault(message=f'{table} "{record.id}": {message}', subject=(table, record.id, key))
        for key, message in problems
    ]
    if faults:
        raise RecordError(faults)


def bare(table: str, fault: Fault) -> str:
    """A record's sentence without the record's name, for messages that give its place."""
    name = fault.subject[1] if fault.subject else ""
    return fault.marked.removeprefix(f'{table} "{name}": ')


def in_range(
    key: str, limits: Limits, value: float | Iterable[float] | None, name: str
) -> Problems:
    """Say where a record's number lies outside its range."""
    if value is not None:
        for message in out_of_range(limits, value, name):
            yield key, message


def is_place(position_m: Floats) -> Problems:
    """Say where a position is no point."""
    if position_m.shape != (3,) or not np.isfinite(position_m).all():
        yield "at", f"position_m = {position_m.tolist()} is no point: it has three coordinates"
