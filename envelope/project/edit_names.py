"""Where the tables of a project file name one another: for renaming, and for taking away.

    remove_with_named("space", "bedroom")  ──▶  its openings, receivers, readings go too,
                                                and whatever plans put on its faces

A table that cannot be without what it names goes with it; a key that may be left out is taken out
of its table, and a name in a list out of the list.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from envelope.project.edit import data_of
from envelope.project.edit_table import remove_row, set_key
from envelope.project.edit_values import keys_of
from envelope.project.references import NAMES
from envelope.project.schema import job as schema

Row = tuple[str, int]

# Keys that hold an id of another table, beside those that the reader of the file checks in one go.
_MORE: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("reading", ("source",), "source"),
    ("reading", ("off",), "source"),
    ("circuit", ("supply",), "supply"),
    ("outlet", ("circuit",), "circuit"),
    ("cable", ("circuit",), "circuit"),
    ("device", ("outlet",), "outlet"),
    ("field-reading", ("space",), "space"),
    ("field-reading", ("plan",), "plan"),
    ("field-reading", ("off",), "circuit"),
    ("plan", ("measures", "*", "source"), "source"),
    ("plan", ("off",), "circuit"),
    ("plan", ("bond",), "bond"),
    ("plan", ("strips", "*", "along"), "circuit"),
    ("plan", ("strips", "*", "with"), "treatment"),
)
NAMED = (*(each for each in NAMES if each[1] != ("on",)), *_MORE)
# Keys that hold selectors of panels, and tables that say states of openings by their ids.
SELECTORS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("plan", ("treat", "*", "on")),
    ("plan", ("strips", "*", "on")),
    ("opening", ("on",)),
    ("panel", ("on",)),
    ("outlet", ("on",)),
    ("cable", ("on",)),
    ("bond", ("on",)),
    ("scan", ("along",)),
    ("cover-test", ("on",)),
    ("resistance", ("on",)),
)
# Keys that may be left out, and without which a row would say something else.
_SAYING_ELSE = frozenset(
    (
        *(("reading", key) for key in ("source", "receiver", "plan", "visit")),
        *(("scan", key) for key in ("plan", "visit")),
        *(("cover-test", key) for key in ("receiver", "plan", "visit")),
        ("visit", "plan"),
    )
)
WITH_STATES = ("reading", "plan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Removal:
    """A text without a table and without what names it; `rows` say what else went or changed."""

    text: str
    rows: tuple[str, ...]  # such as "opening W1", "plan walls-only"


def remove_with_named(*, text: str, table: str, row: int) -> Removal:
    """Take a table away that comes many times, and with it whatever cannot be without it."""
    before = data_of(text)
    after = copy.deepcopy(before)
    gone: set[Row] = {(table, row)}
    waiting: list[Row] = [(table, row)]
    while waiting:
        kind, index = waiting.pop()
        name = before[kind][index].get("id")
        if not isinstance(name, str):
            continue
        for found in _losing(after, kind, name):
            if found not in gone:
                gone.add(found)
                waiting.append(found)
    said: list[str] = []
    for kind in schema.LISTS:
        for index, (old, new) in enumerate(
            zip(before.get(kind, ()), after.get(kind, ()), strict=True)
        ):
            if (kind, index) in gone or old == new:
                continue
            said.append(_said(kind, index, old))
            for key in old:
                if old[key] != new.get(key):
                    text = set_key(text=text, table=kind, row=index, key=key, value=new.get(key))
    for key in before.get("construction", {}):
        if key not in after["construction"]:
            said.append(f"construction {key}")
            text = set_key(text=text, table="construction", row=None, key=key, value=None)
    for kind, index in sorted(gone, reverse=True):
        if (kind, index) != (table, row):
            said.append(_said(kind, index, before[kind][index]))
        text = remove_row(text=text, table=kind, row=index)
    return Removal(text=text, rows=tuple(said))


def _said(kind: str, index: int, row: dict[str, Any]) -> str:
    return f"{kind} {row.get('id', row.get('on', index + 1))}"


def _losing(document: Any, table: str, name: str) -> Iterator[Row]:
    """Take a name out of every key that may be without it; rows that may not are answered."""
    for kind, keys, what in NAMED:
        if what == table:
            for index, row in enumerate(document.get(kind, ())):
                if _lost(row, kind, keys, lambda found: found == name, what):
                    yield kind, index
    if table in ("space", "opening"):
        for kind, keys in SELECTORS:
            for index, row in enumerate(document.get(kind, ())):
                if _lost(row, kind, keys, lambda found: _is_on(found, table, name), table):
                    yield kind, index
    if table == "opening":
        for row in (row for kind in WITH_STATES for row in document.get(kind, ())):
            if name in row.get("states", {}):
                row["states"] = {key: each for key, each in row["states"].items() if key != name}
    if table == "assembly":
        construction = document.get("construction", {})
        for key in [key for key, each in construction.items() if each == name]:
            del construction[key]


def _is_on(selector: str, table: str, name: str) -> bool:
    room, *parts = selector.split("/")
    return room == name if table == "space" else name in parts


def _lost(row: Any, kind: str, keys: tuple[str, ...], is_it: Any, what: str) -> bool:
    """Whether a row goes with what it names; else the name is taken out of it."""
    first, *rest = keys
    if not isinstance(row, dict) or first not in row:
        return False
    value = row[first]
    if rest == ["*"] or (not rest and isinstance(value, list)):
        row[first] = [each for each in value if not is_it(each)]
    elif rest:
        row[first] = [each for each in value if not _is_lost_part(each, rest[1], is_it)]
    elif is_it(value):
        needed = _is_needed(kind, first) or what == "space"  # at: in whose coordinates?
        if needed:
            return True
        del row[first]
        return False
    if row[first] == [] and value != []:
        if _is_needed(kind, first):
            row[first] = value
            return True
        if first != "treat":  # a plan that treats nothing says so
            del row[first]
    return False


def _is_needed(kind: str, key: str) -> bool:
    return keys_of(kind)[key].needed or (kind, key) in _SAYING_ELSE


def _is_lost_part(part: Any, key: str, is_it: Any) -> bool:
    """Whether a part of a list goes with what it names; one name of several is taken out."""
    if not isinstance(part, dict) or key not in part:
        return False
    if isinstance(part[key], list):
        kept = [each for each in part[key] if not is_it(each)]
        emptied = not kept and part[key] != []
        part[key] = kept
        return emptied
    return bool(is_it(part[key]))
