"""What each key of a project file takes, and how its value is typed and read back.

    kind     text · number · truth · brackets (what is written in [] or {})
    parts    what stands in the brackets: one table, tables, names, or a value for each name
             (a loss by frequency, a level by storey, a state by opening)

Everything comes from the schema; what a value may be is judged by the reader of the whole file.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from envelope.project.edit import EditError
from envelope.project.schema import job as schema
from envelope.project.schema.fields import Curve, Levels, Names, shown
from envelope.project.schema.metadata import Read
from envelope.project.schema.rooms import Table
from envelope.project.toml.write import value_of

Value = str | bool | int | float | Sequence["Value"] | Mapping[str, "Value"]
Kind = Literal["text", "number", "truth", "brackets"]
Shape = Literal["table", "tables", "names", "map"]
_TOP = ("format", "name")  # keys that stand in no table
NAME, VALUE = "name", "value"  # what a part of names or of a map is typed under


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """A key, what reads it (None for what is written in brackets), and its description."""

    key: str
    read: Read | None
    kind: Kind
    said: str
    needed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What stands in the brackets of a value; `alone` where it may also be one plain value."""

    shape: Shape
    keys: tuple[Key, ...]
    alone: bool = False


def model_of(table: str) -> type[Table]:
    """Schema of a table; that of the whole file where none is named.

    Raises
    ------
    EditError
        Where a project file has no such table.
    """
    if table == "":
        return schema.ProjectFile
    if table in schema.LISTS:
        return schema.LISTS[table][0]
    if table in schema.SINGLES:
        return schema.SINGLES[table]
    raise EditError(f"a project file has no table {shown(table)}")


def keys_of(table: str) -> dict[str, Key]:
    """Keys that a table may have, in the order of the schema.

    Raises
    ------
    EditError
        Where a project file has no such table.
    """
    keys = _keys(model_of(table))
    return {each.key: each for each in keys if table != "" or each.key in _TOP}


def parts_of(*, table: str, key: str) -> Parts | None:
    """What stands in the brackets of a key's value; None for a key that takes a plain one."""
    model = model_of(table)
    for name, field in model.model_fields.items():
        if (field.alias or name) == key:
            read = _read(field)
            if read is not None:
                by_name = isinstance(read, Curve | Levels)
                return Parts(shape="map", keys=_PAIR, alone=True) if by_name else None
            return _parts(field.annotation)
    return None


def typed_value(*, table: str, key: str, typed: str) -> Value:
    """What somebody typed, as the kind of value that its key takes.

    A number or a truth value is written without quotes, a list or a table as TOML has it, several
    names with commas between them, and everything else is text as it stands.
    """
    found = keys_of(table).get(key)
    if found is None:
        raise EditError(f"{shown(key)} is no key of {name_of(table)}")
    return _value(found, typed)


def parts_value(parts: Parts, typed: Sequence[Mapping[str, str]]) -> Value | None:
    """What somebody typed into the parts of a value; None where nothing of it is left."""
    rows = [{key: text for key, text in row.items() if text.strip()} for row in typed]
    rows = [row for row in rows if row]
    if not rows and parts.shape != "tables":
        return None
    if parts.shape == "names":
        return [row[NAME].strip() for row in rows]
    if parts.shape == "map":
        if parts.alone and len(rows) == 1 and NAME not in rows[0]:
            return rows[0].get(VALUE, "").strip()
        return {row.get(NAME, "").strip(): row.get(VALUE, "").strip() for row in rows}
    known = {each.key: each for each in parts.keys}
    for key in (key for row in rows for key in row if key not in known):
        raise EditError(f"{shown(key)} is no key of this part")
    tables = [
        {key: _value(known[key], row[key]) for key in known if key in row}  # in their usual order
        for row in rows
    ]
    return tables[0] if parts.shape == "table" else tables


def parts_typed(parts: Parts, value: object) -> list[dict[str, str]]:
    """Each part of a value as it would be typed; what is written in another way has none."""
    if parts.shape == "names" and isinstance(value, list):
        return [{NAME: typed_of(each)} for each in value]
    if parts.shape == "map" and isinstance(value, Mapping):
        return [{NAME: str(name), VALUE: typed_of(each)} for name, each in value.items()]
    if parts.shape == "map" and parts.alone:
        return [{VALUE: typed_of(value)}]
    listed = value if isinstance(value, list) else [value]
    known = {each.key: each for each in parts.keys}
    return [
        {key: typed_of(each, known.get(key)) for key, each in row.items()}
        for row in listed
        if isinstance(row, Mapping)
    ]


def typed_of(value: Any, key: Key | None = None) -> str:
    """A value as somebody types it: text without its quotes, all else as TOML has it."""
    if isinstance(value, str):
        return value
    several = key is not None and isinstance(key.read, Names) and isinstance(value, list)
    if several and value and all(isinstance(each, str) for each in value):
        return ", ".join(value)
    return value_of(value, one_line=True)


def name_of(table: str) -> str:
    """A table as a file writes it."""
    return f"[{table}]" if table else "the top of the file"


# Within


def _value(key: Key, typed: str) -> Value:
    words = typed.strip()
    if words[:1] in ("[", "{") or key.kind in ("number", "truth"):
        try:
            value: Value = tomllib.loads(f"value = {words}")["value"]
        except tomllib.TOMLDecodeError:
            raise EditError(
                f"{shown(words)} cannot be read as a value of {shown(key.key)}"
            ) from None
        return value
    if isinstance(key.read, Names) and "," in words:
        return [each.strip() for each in words.split(",") if each.strip()]
    return words


def _keys(model: type[Table]) -> list[Key]:
    return [
        Key(
            key=field.alias or name,
            read=_read(field),
            kind=_kind(field),
            said=field.description or "",
            needed=field.is_required(),
        )
        for name, field in model.model_fields.items()
    ]


def _kind(field: Any) -> Kind:
    read = _read(field)
    if read is not None:
        is_number = read.described().get("type") in ("integer", "number")
        return "number" if is_number else "text"
    parts = (field.annotation, *getattr(field.annotation, "__args__", ()))
    return "truth" if bool in parts else "brackets"


def _read(field: Any) -> Read | None:
    reads = [*field.metadata, *_metadata(field.annotation)]
    return next((each for each in reads if isinstance(each, Read)), None)


def _metadata(annotation: Any) -> Iterator[Any]:
    """What is annotated within a type, or within one that may also be left out."""
    yield from getattr(annotation, "__metadata__", ())
    if get_origin(annotation) in (Union, UnionType):
        for part in get_args(annotation):
            yield from _metadata(part)


def _parts(annotation: Any) -> Parts | None:
    """What stands in brackets of a type, whatever is annotated around it."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return Parts(shape="table", keys=tuple(_keys(annotation)))
    if origin is Annotated:
        return _parts(inner[0])
    if origin in (Union, UnionType):
        return next((found for each in inner if (found := _parts(each)) is not None), None)
    if origin is dict:
        read = next((each for each in _metadata(inner[1]) if isinstance(each, Read)), None)
        return Parts(shape="map", keys=(_PAIR[0], _part(VALUE, read)))
    if origin is list:
        found = _parts(inner[0])
        if found is not None and found.shape == "table":
            return Parts(shape="tables", keys=found.keys)
        read = next((each for each in _metadata(inner[0]) if isinstance(each, Read)), None)
        return Parts(shape="names", keys=(_part(NAME, read),))
    return None


def _part(key: str, read: Read | None) -> Key:
    return Key(key=key, read=read, kind="text", said="", needed=True)


_PAIR = (_part(NAME, None), _part(VALUE, None))
