"""Edits of the tables of a job file that a page asks for."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from envelope.project.edit_table import add_row, remove_row, rename, set_key, typed_value
from viewer.app import protocol
from viewer.app.session import EditError, Session
from viewer.app.tables import rows_told

Edit = protocol.SetKey | protocol.AddRow | protocol.RemoveRow | protocol.Rename

# Tables that neither the building nor a source depends on: nothing is cast anew.
_CASTS_STAY = frozenset({"", "treatment", "plan", "product", "costs", "receiver"})


def edit(session: Session, asked: Edit) -> None:
    """Change a table of the session's text, as one step that undo takes back.

    Raises
    ------
    EditError
        Where the value cannot be read, the row has moved since the page was told of it, or the job
        would have faults with it.
    """
    if not isinstance(asked, protocol.AddRow):
        _check_row(session, asked)
    change, label = _change(asked)
    stay = asked.table in _CASTS_STAY and not isinstance(asked, protocol.Rename)
    session.edit(change, label=label, casts_stay=stay)


def field_of(asked: Edit) -> tuple[int | None, str]:
    """Row and key of the field that was typed in, for what is wrong with it."""
    match asked:
        case protocol.SetKey():
            return asked.row, asked.key
        case protocol.AddRow():
            return None, ""
        case protocol.Rename():
            return asked.row, "id"
    return asked.row, ""


def _change(asked: Edit) -> tuple[Callable[[str], str], str]:
    """From the text before to the text after, and what undo says of it."""
    match asked:
        case protocol.SetKey():
            where = asked.id or asked.table or "the job"
            return partial(_with_key, asked), f"{asked.key} of {where}"
        case protocol.AddRow():
            name = asked.typed.get("id", "")
            return partial(_with_row, asked), f"add {asked.table} {name}".strip()
        case protocol.RemoveRow():
            label = f"remove {asked.table} {asked.id or asked.row + 1}"
            return lambda text: remove_row(text=text, table=asked.table, row=asked.row), label
    name = asked.name.strip()
    return (
        lambda text: rename(text=text, table=asked.table, row=asked.row, name=name),
        f"rename {asked.id} to {name}",
    )


def _with_key(asked: protocol.SetKey, text: str) -> str:
    value = None
    if asked.typed is not None and asked.typed.strip():
        value = typed_value(table=asked.table, key=asked.key, typed=asked.typed)
    return set_key(text=text, table=asked.table, row=asked.row, key=asked.key, value=value)


def _with_row(asked: protocol.AddRow, text: str) -> str:
    entry = {
        key: typed_value(table=asked.table, key=key, typed=typed)
        for key, typed in asked.typed.items()
        if typed.strip()
    }
    return add_row(text=text, table=asked.table, entry=entry)


def _check_row(
    session: Session, asked: protocol.SetKey | protocol.RemoveRow | protocol.Rename
) -> None:
    """Refuse an edit of a row that has moved since the page was told of it."""
    if asked.row is None:
        return
    listed = rows_told(session.text).get(asked.table, [])
    if not 0 <= asked.row < len(listed) or listed[asked.row].get("id") != asked.id:
        raise EditError("the file has changed meanwhile: look at it again")
