"""Edits of the tables of a job file that a page asks for."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from envelope.errors import EnvelopeError, Fault
from envelope.project.edit_names import remove_with_named
from envelope.project.edit_rename import rename
from envelope.project.edit_table import add_row, remove_row, set_key
from envelope.project.edit_values import (
    Parts,
    Value,
    keys_of,
    parts_of,
    parts_value,
    typed_value,
)
from envelope.project.schema import job as schema
from envelope.text.names import shown
from viewer.app import protocol
from viewer.app.session import EditError, FaultyEditError, Session, said
from viewer.app.tables import rows_told, tables_told

Edit = protocol.SetKeys | protocol.AddRow | protocol.RemoveRow | protocol.Rename

# Tables that neither the building nor a source depends on: nothing is cast anew.
_CASTS_STAY = frozenset({"", "treatment", "plan", "product", "costs", "defaults", "receiver"})
# Starter assemblies for what a job says nothing of when a room or an opening is added.
_TYPICAL = {
    "exterior-wall": "timber-wall",
    "interior-wall": "stud-wall",
    "floor": "joist-floor",
    "slab": "ground-slab",
    "roof": "joist-ceiling",
    "window": "double-glazing",
    "skylight": "double-glazing",
    "door": "solid-wood-door",
}
# opening[2].sill, assembly[0].layers[1].material, site.north
_PLACE = re.compile(r"([\w-]+)(?:\[(\d+)\])?(?:\.([\w-]+))?(?:\[(\d+)\])?(?:\.([^.]+))?")


class KeyEditError(EditError):
    """A value that cannot be read; `key` is where it was typed."""

    def __init__(self, message: str, *, key: str) -> None:
        self.key = key
        super().__init__(message)


def edit(session: Session, asked: Edit) -> str:
    """Change a table of the session's text, as one step that undo takes back.

    Returns
    -------
    said : str
        What was taken to be so with it, such as what stands between two rooms that now meet;
        mostly nothing.

    Raises
    ------
    EditError
        Where a value cannot be read, the row has moved since the page was told of it, or the job
        would have faults with it.
    """
    if not isinstance(asked, protocol.AddRow):
        _check_row(session, asked)
    change, label = _change(session, asked)
    change = _with_kept(session, asked, change)
    stay = asked.table in _CASTS_STAY and not isinstance(asked, protocol.Rename)
    if isinstance(asked, protocol.RemoveRow) and asked.with_named:
        stay = False
    plans_only = stay and asked.table == "plan"
    try:
        session.edit(change, label=label, casts_stay=stay, plans_only=plans_only)
        _forget_kept(session)
    except FaultyEditError as error:
        kinds = _unnamed(error)
        if not kinds:
            _keep_source(session, asked, change, error)
            raise
        session.edit(lambda text: _with_typical(change(text), kinds), label=label, casts_stay=False)
        words = ", ".join(f"{kind.replace('-', ' ')}: {_TYPICAL[kind]}" for kind in kinds)
        return f"taken as typical until you say otherwise, under what walls are made of: {words}"
    return ""


def _keep_source(
    session: Session, asked: Edit, change: Callable[[str], str], error: FaultyEditError
) -> None:
    """Keep a new source that lacks nothing but a level, until a reading names it.

    Raises
    ------
    KeyEditError
        Which says so.
    """
    (fault, *more) = error.faults
    no_level = not more and ((fault.location and fault.location.key) or "").endswith("].level")
    if not (isinstance(asked, protocol.AddRow) and asked.table == "source" and no_level):
        return
    name = _id_of(session, asked)
    if name is not None and "missing" in fault.message:
        session.kept[name] = change
        raise KeyEditError(
            f"{fault.message}. It is kept: add a reading of {name}, and both are in the job",
            key="level",
        )


def _with_kept(session: Session, asked: Edit, change: Callable[[str], str]) -> Callable[[str], str]:
    """The change of a new reading together with the sources that only waited for it."""
    if not (isinstance(asked, protocol.AddRow) and asked.table == "reading"):
        return change
    names = [each.strip() for each in asked.typed.get("source", "").split(",")]
    kept = [session.kept[name] for name in names if name in session.kept]

    def both(text: str) -> str:
        for add in kept:
            text = add(text)
        return change(text)

    return both if kept else change


def _unnamed(error: FaultyEditError) -> list[str]:
    """Kinds of walls and openings that the job names no assembly for, if nothing else is wrong."""
    kinds = []
    for fault in error.faults:
        key = (fault.location.key if fault.location else None) or ""
        table, _, kind = key.partition(".")
        if table != "construction" or kind not in _TYPICAL or "has no line" not in fault.message:
            return []
        kinds.append(kind)
    return kinds


def _forget_kept(session: Session) -> None:
    """Sources that are in the job now wait no longer."""
    job = session.job
    for source in () if job is None else job.sources:
        session.kept.pop(source.id, None)


def _with_typical(text: str, kinds: Sequence[str]) -> str:
    for kind in kinds:
        value = _TYPICAL[kind]
        text = set_key(text=text, table="construction", row=None, key=kind, value=value)
    return text


def edit_or_tell(session: Session, asked: Edit) -> protocol.Told | None:
    """Make an edit; what is to be said of it, or why it was not made.

    A row that others name goes only where that was said; else they are told.
    """
    row = None if isinstance(asked, protocol.AddRow) else asked.row
    try:
        if isinstance(asked, protocol.RemoveRow) and not asked.with_named:
            named = named_by(session, asked)
            if named:
                return {
                    "tell": "named",
                    "table": asked.table,
                    "row": asked.row,
                    "id": asked.id,
                    "rows": [shown(each, limit=80) for each in named],
                }
        taken = edit(session, asked)
    except EnvelopeError as error:
        found = troubles(session, asked, error)
        return {"tell": "fields", "table": asked.table, "row": row, "troubles": found}
    return {"tell": "say", "text": taken, "tone": "plain"} if taken else None


def named_by(session: Session, asked: protocol.RemoveRow) -> tuple[str, ...]:
    """What names a row that is to go, and would go or change with it."""
    _check_row(session, asked)
    return remove_with_named(text=session.text, table=asked.table, row=asked.row).rows


def troubles(session: Session, asked: Edit, error: EnvelopeError) -> list[protocol.FieldTrouble]:
    """What is wrong with an edit, each at the field that it concerns."""
    if isinstance(error, FaultyEditError):
        row = asked.row if not isinstance(asked, protocol.AddRow) else _count(session, asked.table)
        return [_trouble(fault, asked.table, row) for fault in error.faults]
    key = error.key if isinstance(error, KeyEditError) else ""
    if isinstance(asked, protocol.Rename):
        key = "id"
    return [{"key": key, "part": None, "inner": "", "message": said(error)}]


def _trouble(fault: Fault, table: str, row: int | None) -> protocol.FieldTrouble:
    """A fault of the file at the field of a row; one of another row says where it is."""
    stated = (fault.location.key if fault.location else None) or ""
    found = _PLACE.fullmatch(stated)
    if found is not None:
        kind, index, key, part, inner = found.groups()
        if table == "" and index is None and key is None:
            return {"key": kind, "part": None, "inner": "", "message": fault.message}
        if kind == table and (index is None or int(index) == row):
            return {
                "key": key or "",
                "part": None if part is None else int(part),
                "inner": inner or "",
                "message": fault.message,
            }
        place = " ".join(filter(None, (kind, index and str(int(index) + 1))))
        stated = ", ".join(filter(None, (place, key)))
    message = f"Elsewhere in the job ({stated}): {fault.message}" if stated else fault.message
    return {"key": "", "part": None, "inner": "", "message": message}


def _change(session: Session, asked: Edit) -> tuple[Callable[[str], str], str]:
    """From the text before to the text after, and what undo says of it."""
    match asked:
        case protocol.SetKeys():
            where = asked.id or asked.table or "the job"
            keys = ", ".join([*asked.typed, *asked.parts])
            return partial(_with_keys, asked), f"{keys} of {where}"
        case protocol.AddRow():
            name = _id_of(session, asked)
            label = f"add {asked.table} {name or ''}".strip()
            return partial(_with_row, asked, name), label
        case protocol.RemoveRow():
            label = f"remove {asked.table} {asked.id or asked.row + 1}"
            if asked.with_named:
                return (
                    lambda text: remove_with_named(text=text, table=asked.table, row=asked.row).text
                ), label
            return lambda text: remove_row(text=text, table=asked.table, row=asked.row), label
    name = asked.name.strip()
    return (
        lambda text: rename(text=text, table=asked.table, row=asked.row, name=name),
        f"rename {asked.id} to {name}",
    )


def _with_keys(asked: protocol.SetKeys, text: str) -> str:
    for key, value in _values(asked.table, asked.typed, asked.parts):
        text = set_key(text=text, table=asked.table, row=asked.row, key=key, value=value)
    return text


def _with_row(asked: protocol.AddRow, name: str | None, text: str) -> str:
    given = {
        key: value
        for key, value in _values(asked.table, dict(asked.typed), asked.parts)
        if value is not None
    }
    if name is not None:
        given["id"] = name
    first = [key for key in ("id", "title") if key in given]
    entry = {key: given[key] for key in dict.fromkeys([*first, *given])}
    return add_row(text=text, table=asked.table, entry=entry)


def _values(
    table: str, typed: dict[str, str | None], parts: dict[str, protocol.PartsTyped]
) -> Iterator[tuple[str, Value | None]]:
    """Values of keys as typed; raises at the key that cannot be read."""
    for key, words in typed.items():
        try:
            blank = words is None or not words.strip()
            yield key, None if blank else typed_value(table=table, key=key, typed=words or "")
        except EditError as error:
            raise KeyEditError(said(error), key=key) from None
    for key, rows in parts.items():
        shape = parts_of(table=table, key=key)
        if shape is None:
            raise KeyEditError(f"{shown(key)} has no parts", key=key)
        yield key, _parts_value(shape, key, rows)


def _parts_value(shape: Parts, key: str, rows: Sequence[dict[str, str]]) -> Value | None:
    try:
        return parts_value(shape, rows)
    except EditError as error:
        raise KeyEditError(said(error), key=key) from None


def _id_of(session: Session, asked: protocol.AddRow) -> str | None:
    """The id of a new row: as typed, else of its title or its sort, with the next free number."""
    if "id" not in keys_of(asked.table):
        return None
    typed = asked.typed.get("id", "").strip()
    if typed:
        return typed
    taken = {row.get("id") for row in rows_told(session.text).get(asked.table, ())}
    one = next(each["one"] for each in tables_told() if each["table"] == asked.table)
    words = asked.typed.get("title", "").strip() or asked.typed.get("kind", "").strip() or one
    stem = re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:50] or asked.table
    if stem not in taken and asked.typed.get("title", "").strip():
        return stem
    count = 1
    while f"{stem}-{count}" in taken:
        count += 1
    return f"{stem}-{count}"


def _count(session: Session, table: str) -> int | None:
    return len(rows_told(session.text).get(table, ())) if table in schema.LISTS else None


def _check_row(
    session: Session, asked: protocol.SetKeys | protocol.RemoveRow | protocol.Rename
) -> None:
    """Refuse an edit of a row that has moved since the page was told of it."""
    if asked.row is None:
        return
    listed = rows_told(session.text).get(asked.table, [])
    if not 0 <= asked.row < len(listed) or listed[asked.row].get("id") != asked.id:
        raise EditError("the file has changed meanwhile: look at it again")
