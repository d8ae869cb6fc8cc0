"""Any table and any key of a project file: set, added, removed, renamed, with comments kept.

A row is a table that comes many times (`[[opening]]`), told by its place among its like; a table
that comes once (`[site]`) has none, and the keys at the top of the file have no table. Every edit
is a splice of the text that is read back before it is kept; what a value may be is judged by the
reader of the whole file, which knows it already.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

from envelope.project.edit import EditError, data_of, verified
from envelope.project.references import NAMES
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.schema.metadata import Read
from envelope.project.schema.rooms import Table
from envelope.project.toml.scan import Lines, Path, scan
from envelope.project.toml.splice import (
    block_of,
    with_lines,
    with_pair,
    with_value,
    without_block,
    without_pair,
)
from envelope.project.toml.write import key_of, value_of

_BY_HAND = "this part of the file is written in a way that cannot be edited here: edit its text"
Value = str | bool | int | float | Sequence["Value"] | Mapping[str, "Value"]
_TOP = ("format", "name")  # keys that stand in no table
# Keys that hold selectors of panels, and tables that say states of openings by their ids.
_SELECTORS = (("plan", ("treat", "*", "on")), ("opening", ("on",)), ("panel", ("on",)))
_WITH_STATES = ("reading", "plan")


def keys_of(table: str) -> dict[str, Read | None]:
    """Keys that a table may have, each with what reads it; None for what is written in brackets.

    Raises
    ------
    EditError
        Where a project file has no such table.
    """
    if table == "":
        return {key: field for key, field in _fields(schema.ProjectFile) if key in _TOP}
    return dict(_fields(_model(table)))


def model_of(table: str) -> type[Table]:
    """Schema of a table; that of the whole file where none is named."""
    return schema.ProjectFile if table == "" else _model(table)


def key_kind(*, table: str, key: str) -> Literal["text", "number", "truth", "brackets"]:
    """How the value of a key is written: text, number, truth, or in brackets."""
    read = keys_of(table)[key]
    described = {} if read is None else read.described()
    if described.get("type") in ("integer", "number"):
        return "number"
    if read is not None:
        return "text"
    for name, field in model_of(table).model_fields.items():
        if (field.alias or name) == key and bool in _parts(field.annotation):
            return "truth"
    return "brackets"


def typed_value(*, table: str, key: str, typed: str) -> Value:
    """What somebody typed, as the kind of value that its key takes.

    A number or a truth value is written without quotes, a list or a table as TOML has it, and
    everything else is text as it stands.
    """
    keys = keys_of(table)
    if key not in keys:
        raise EditError(f"{shown(key)} is no key of {_name(table)}")
    words = typed.strip()
    kind = key_kind(table=table, key=key)
    if words[:1] in ("[", "{") or kind in ("number", "truth"):
        try:
            value: Value = tomllib.loads(f"value = {words}")["value"]
        except tomllib.TOMLDecodeError:
            raise EditError(f"{shown(words)} cannot be read as a value of {shown(key)}") from None
        return value
    return words


def set_key(*, text: str, table: str, row: int | None, key: str, value: Value | None) -> str:
    """Give a key another value; None takes the key away.

    Parameters
    ----------
    text : str
        Contents of the project file.
    table : str
        Such as "opening"; empty for the top of the file.
    row : int or None
        Place among its like of a table that comes many times, from 0.
    key : str
    value : str, bool, number, list, mapping or None

    Returns
    -------
    text : str
        The new contents.
    """
    if key not in keys_of(table):
        raise EditError(f"{shown(key)} is no key of {_name(table)}")
    expected = data_of(text)
    found = scan(text)
    path = _path(table, row)
    holder = _at(expected, path)
    if value is None:
        return _without_key(text, found, expected, path, key)
    if holder is None:  # a table that comes once and is not there yet
        expected[table] = {key: value}
        lines = ["", f"[{table}]", f"{key_of(key)} = {value_of(value)}"]
        return verified(with_lines(text, found.blocks[0].end, lines), expected)
    stated = key in holder
    if stated and holder[key] == value:
        return text
    holder[key] = value
    span = found.values.get((*path, key))
    if span is not None:
        kept = _text_value(value)
        if kept is not None:
            return verified(with_value(text, span, kept), expected)
        newline = "\r\n" if "\r\n" in text else "\n"
        written = value_of(value, one_line=block_of(found, path) is None).replace("\n", newline)
        return verified(text[: span[0]] + written + text[span[1] :], expected)
    if stated:
        raise EditError(_BY_HAND)
    written = with_pair(text, found, path, key_of(key), value_of(value))
    return verified(written, expected)


def add_row(*, text: str, table: str, entry: Mapping[str, Value]) -> str:
    """Add a table that comes many times, after the last of its like or at the end of the file."""
    known = keys_of(table)
    if table not in schema.LISTS:
        raise EditError(f"{_name(table)} comes once")
    for key in entry:
        if key not in known:
            raise EditError(f"{shown(key)} is no key of {_name(table)}")
    expected = data_of(text)
    rows = expected.setdefault(table, [])
    name = entry.get("id")
    if name is not None and any(each.get("id") == name for each in rows):
        raise EditError(f"another {table} is called {shown(name)}: choose another id")
    rows.append(dict(entry))
    found = scan(text)
    like = [block for block in found.blocks if block.path[:1] == (table,)]
    at = like[-1].end if like else len(text)
    pairs = [f"{key_of(key)} = {value_of(value)}" for key, value in entry.items()]
    return verified(with_lines(text, at, ["", f"[[{table}]]", *pairs]), expected)


def remove_row(*, text: str, table: str, row: int) -> str:
    """Take a table away that comes many times; comments of their own lines stay."""
    keys_of(table)
    expected = data_of(text)
    path = _path(table, row)
    if _at(expected, path) is None:
        raise EditError(f"there is no such {table} in the file")
    del expected[table][row]
    if not expected[table]:
        del expected[table]
    blocks = [block for block in scan(text).blocks if block.path[:2] == path]
    if not blocks:
        raise EditError(_BY_HAND)
    for block in reversed(blocks):
        text = without_block(text, block)
    return verified(text, expected)


def rename(*, text: str, table: str, row: int, name: str) -> str:
    """Give a table another id, and every key that names it too."""
    expected = data_of(text)
    path = _path(table, row)
    holder = _at(expected, path)
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
    for place, value in sorted(_changes(before, expected, ()), key=_start(found), reverse=True):
        span = found.values.get(place)
        if span is None:
            raise EditError(_BY_HAND)
        kept = _text_value(value)
        if kept is not None:
            text = with_value(text, span, kept)
        else:
            text = text[: span[0]] + value_of(value, one_line=True) + text[span[1] :]
    return verified(text, expected)


# Within


def _model(table: str) -> type[Table]:
    if table in schema.LISTS:
        return schema.LISTS[table][0]
    if table in schema.SINGLES:
        return schema.SINGLES[table]
    raise EditError(f"a project file has no table {shown(table)}")


def _fields(model: type[Table]) -> Iterator[tuple[str, Read | None]]:
    for name, field in model.model_fields.items():
        reads = [*field.metadata, *_metadata(field.annotation)]
        yield field.alias or name, next((each for each in reads if isinstance(each, Read)), None)


def _metadata(annotation: Any) -> Iterator[Any]:
    """What is annotated within a type, or within one that may also be left out."""
    yield from getattr(annotation, "__metadata__", ())
    if get_origin(annotation) in (Union, UnionType):
        for part in get_args(annotation):
            yield from _metadata(part)


def _parts(annotation: Any) -> tuple[Any, ...]:
    return (annotation, *getattr(annotation, "__args__", ()))


def _name(table: str) -> str:
    return f"[{table}]" if table else "the top of the file"


def _path(table: str, row: int | None) -> Path:
    if table == "":
        return ()
    if (table in schema.LISTS) != (row is not None):
        raise EditError(f"there is no such {table} in the file")
    return (table,) if row is None else (table, row)


def _at(document: Any, path: Path) -> Any:
    for part in path:
        try:
            document = document[part]
        except (KeyError, IndexError, TypeError):
            return None
    return document


def _text_value(value: Value) -> str | list[str] | None:
    """A text or a list of texts, which keep the kind of quotes that stood there."""
    if isinstance(value, str):
        return value
    if isinstance(value, list) and all(isinstance(each, str) for each in value):
        return value
    return None


def _without_key(text: str, found: Lines, expected: Any, path: Path, key: str) -> str:
    holder = _at(expected, path)
    if holder is None or key not in holder:
        return text
    del holder[key]
    place = (*path, key)
    if block_of(found, path) is not None or path == ():
        blocks = [block for block in found.blocks if block.path[: len(place)] == place]
        # a key that is a table of its own, such as [space.ceiling]
        for block in reversed(blocks):
            text = without_block(text, block)
        if not blocks:
            text = without_pair(text, found, place)
        return verified(text, expected)
    span = found.values.get(path)
    if span is None or "#" in text[slice(*span)]:
        raise EditError(_BY_HAND)
    return verified(text[: span[0]] + value_of(holder, one_line=True) + text[span[1] :], expected)


def _rename_references(document: Any, table: str, old: str, name: str) -> None:
    same = _Same(old, name)
    for kind, keys, what in NAMES:
        if what == table and keys != ("on",):
            _map_at(document, kind, keys, same)
    if table in ("space", "opening"):
        for kind, keys in _SELECTORS:
            _map_at(document, kind, keys, same.room if table == "space" else same.within)
    if table == "opening":
        for row in (row for kind in _WITH_STATES for row in document.get(kind, ())):
            if old in row.get("states", {}):
                row["states"] = {same(key): state for key, state in row["states"].items()}
    if table == "source":
        _map_at(document, "reading", ("source",), same)
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


def _changes(before: Any, after: Any, path: Path) -> Iterator[tuple[Path, Value]]:
    """Places of the smallest values that differ."""
    if before == after:
        return
    if isinstance(before, dict) and isinstance(after, dict) and before.keys() == after.keys():
        for key in before:
            yield from _changes(before[key], after[key], (*path, key))
    elif (
        isinstance(before, list)
        and isinstance(after, list)
        and len(before) == len(after)
        and any(isinstance(each, dict) for each in before)
    ):
        for index, (old, new) in enumerate(zip(before, after, strict=True)):
            yield from _changes(old, new, (*path, index))
    else:
        yield path, after


def _start(found: Lines) -> Callable[[tuple[Path, Value]], int]:
    return lambda change: found.values.get(change[0], (0, 0))[0]
