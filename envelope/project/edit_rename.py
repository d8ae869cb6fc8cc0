"""Another id for a table of a project file, and for every key that names it."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

from envelope.project.edit import EditError, data_of, verified
from envelope.project.edit_names import NAMED, SELECTORS, WITH_STATES
from envelope.project.edit_table import (
    BY_HAND,
    at_path,
    changed_values,
    path_of,
    start_in,
    with_one,
)
from envelope.project.schema.fields import shown
from envelope.project.toml.scan import scan


def rename(*, text: str, table: str, row: int, name: str) -> str:
    """Give a table another id, and every key that names it too."""
    expected = data_of(text)
    path = path_of(table, row)
    holder = at_path(expected, path)
    if holder is None or not isinstance(holder.get("id"), str):
        raise EditError(f"there is no such {table} in the file")
    old = holder["id"]
    if name == old:
        return text
    if any(each.get("id") == name for each in expected[table]):
        raise EditError(f"another {table} is called {shown(name)}: choose another id")
    before = copy.deepcopy(expected)
    holder["id"] = name
    _rename_references(expected, table, old, name)
    found = scan(text)
    for place, value in sorted(
        changed_values(before, expected, ()), key=start_in(found), reverse=True
    ):
        span = found.values.get(place)
        if span is None:
            raise EditError(BY_HAND)
        text = with_one(text, span, value)
    return verified(text, expected)


def _rename_references(document: Any, table: str, old: str, name: str) -> None:
    same = _Same(old, name)
    for kind, keys, what in NAMED:
        if what == table:
            _map_at(document, kind, keys, same)
    if table in ("space", "opening"):
        for kind, keys in SELECTORS:
            _map_at(document, kind, keys, same.room if table == "space" else same.within)
    if table == "opening":
        for row in (row for kind in WITH_STATES for row in document.get(kind, ())):
            if old in row.get("states", {}):
                row["states"] = {same(key): state for key, state in row["states"].items()}
    if table == "assembly":
        construction = document.get("construction", {})
        construction.update({key: same(value) for key, value in construction.items()})


class _Same:
    """Another name in place of an old one."""

    def __init__(self, old: str, name: str) -> None:
        self._old, self._name = old, name

    def __call__(self, found: str) -> str:
        return self._name if found == self._old else found

    def room(self, selector: str) -> str:
        """In the part of a selector that names the room."""
        room, slash, rest = selector.partition("/")
        return self(room) + slash + rest

    def within(self, selector: str) -> str:
        """In the parts of a selector after the room."""
        room, *parts = selector.split("/")
        return "/".join([room, *(self(part) for part in parts)])


def _map_at(document: Any, kind: str, keys: tuple[str, ...], change: Callable[[str], str]) -> None:
    for row in document.get(kind, ()):
        _map_in(row, keys, change)


def _map_in(holder: Any, keys: tuple[str, ...], change: Callable[[str], str]) -> None:
    first, *rest = keys
    places = (
        range(len(holder))
        if first == "*" and isinstance(holder, list)
        else [first]
        if isinstance(holder, dict) and first in holder
        else []
    )
    for place in places:
        if rest:
            _map_in(holder[place], tuple(rest), change)
        elif isinstance(holder[place], str):
            holder[place] = change(holder[place])
        elif isinstance(holder[place], list):
            holder[place] = [change(x) if isinstance(x, str) else x for x in holder[place]]
