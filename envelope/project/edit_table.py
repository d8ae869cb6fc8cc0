"""Any table and any key of a project file: set, added, removed, renamed, with comments kept.

A row is a table that comes many times (`[[opening]]`), told by its place among its like; a table
that comes once (`[site]`) has none, and the keys at the top of the file have no table. Every edit
is a splice of the text that is read back before it is kept; what a value may be is judged by the
reader of the whole file, which knows it already.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from envelope.project.edit import EditError, data_of, verified
from envelope.project.edit_values import Value, keys_of, name_of
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.toml.scan import Lines, Path, Span, scan
from envelope.project.toml.splice import (
    block_of,
    last_block,
    with_element,
    with_lines,
    with_pair,
    with_value,
    without_block,
    without_pair,
)
from envelope.project.toml.write import key_of, value_of

BY_HAND = "this part of the file is written in a way that cannot be edited here: edit its text"


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
        raise EditError(f"{shown(key)} is no key of {name_of(table)}")
    expected = data_of(text)
    found = scan(text)
    path = path_of(table, row)
    holder = at_path(expected, path)
    if value is None:
        return _without_key(text, found, expected, path, key)
    if holder is None:  # a table that comes once and is not there yet
        expected[table] = {key: value}
        lines = ["", f"[{table}]", f"{key_of(key)} = {value_of(value)}"]
        return verified(with_lines(text, found.blocks[0].end, lines), expected)
    stated = key in holder
    if stated and holder[key] == value:
        return text
    before = holder.get(key)
    holder[key] = value
    span = found.values.get((*path, key))
    if span is not None:
        kept = _text_value(value)
        if kept is not None:
            return verified(with_value(text, span, kept), expected)
        return verified(_with_parts(text, found, (*path, key), before, value), expected)
    if stated:
        return verified(_with_blocks(text, found, (*path, key), before, value), expected)
    written = with_pair(text, found, path, key_of(key), value_of(value))
    return verified(written, expected)


def add_row(*, text: str, table: str, entry: Mapping[str, Value]) -> str:
    """Add a table that comes many times, after the last of its like or at the end of the file."""
    known = keys_of(table)
    if table not in schema.LISTS:
        raise EditError(f"{name_of(table)} comes once")
    for key in entry:
        if key not in known:
            raise EditError(f"{shown(key)} is no key of {name_of(table)}")
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
    path = path_of(table, row)
    if at_path(expected, path) is None:
        raise EditError(f"there is no such {table} in the file")
    del expected[table][row]
    if not expected[table]:
        del expected[table]
    blocks = [block for block in scan(text).blocks if block.path[:2] == path]
    if not blocks:
        raise EditError(BY_HAND)
    for block in reversed(blocks):
        text = without_block(text, block)
    return verified(text, expected)


# Within


def path_of(table: str, row: int | None) -> Path:
    if table == "":
        return ()
    if (table in schema.LISTS) != (row is not None):
        raise EditError(f"there is no such {table} in the file")
    return (table,) if row is None else (table, row)


def at_path(document: Any, path: Path) -> Any:
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


def _with_parts(text: str, found: Lines, path: Path, before: Any, value: Value) -> str:
    """The text with another list or table: part by part where as many stay, else written anew."""
    differing = list(changed_values(before, value, path))
    if all(place != path and place in found.values for place, _ in differing):
        for place, new in sorted(differing, key=start_in(found), reverse=True):
            text = with_one(text, found.values[place], new)
        return text
    if isinstance(before, list) and isinstance(value, list) and value[: len(before)] == before:
        for count, each in enumerate(value[len(before) :], start=len(before)):
            text = with_element(text, scan(text), path, count, value_of(each, one_line=True))
        return text
    start, end = found.values[path]
    newline = "\r\n" if "\r\n" in text else "\n"
    in_braces = block_of(found, path[:-1]) is None
    comments = _comments(text[start:end])
    if comments and in_braces:
        raise EditError(BY_HAND)  # nothing but a list on lines of its own holds comments
    written = value_of(value, one_line=in_braces)
    if comments and isinstance(value, list):
        items = [value_of(each, one_line=True) for each in value]
        lines = [f"    {each}" for each in comments] + [f"    {each}," for each in items]
        written = "\n".join(["[", *lines, "]"])
    return text[:start] + written.replace("\n", newline) + text[end:]


# A comment, or a text whose # is none.
_COMMENT = re.compile(
    r'"""(?:\\.|[^\\])*?"""|' + r"'''.*?'''" + r'|"(?:\\.|[^"\\\n])*"' + r"|'[^'\n]*'|(#[^\r\n]*)",
    re.S,
)


def _comments(text: str) -> list[str]:
    """Comments of a part of a file, in their order."""
    return [each[1].rstrip() for each in _COMMENT.finditer(text) if each[1]]


def with_one(text: str, span: Span, value: Value) -> str:
    kept = _text_value(value)
    if kept is not None:
        return with_value(text, span, kept)
    return text[: span[0]] + value_of(value, one_line=True) + text[span[1] :]


def _with_blocks(text: str, found: Lines, path: Path, before: Any, value: Value) -> str:
    """The same for a list that is written as tables of its own, such as [[plan.treat]]."""
    differing = list(changed_values(before, value, path))
    if all(place != path and place in found.values for place, _ in differing):
        return _with_parts(text, found, path, before, value)
    blocks = [block for block in found.blocks if block.path[: len(path)] == path]
    if not blocks or not isinstance(before, list) or not isinstance(value, list):
        raise EditError(BY_HAND)
    kept = _kept(before, value)
    for block in reversed(blocks):
        if block.path[len(path)] not in kept:
            text = without_block(text, block)
    after = last_block(scan(text), path)
    at = len(text) if after is None else after.end
    header = ".".join(str(part) for part in path if isinstance(part, str))
    lines: list[str] = []
    for each in value[len(kept) :]:
        pairs = each.items() if isinstance(each, Mapping) else ()
        lines += ["", f"[[{header}]]", *(f"{key_of(key)} = {value_of(new)}" for key, new in pairs)]
    return with_lines(text, at, lines) if lines else text


def _kept(before: list[Value], value: list[Value]) -> list[int]:
    """Places before of what begins the new list, in its order."""
    kept: list[int] = []
    for place, each in enumerate(before):
        if len(kept) < len(value) and value[len(kept)] == each:
            kept.append(place)
    return kept


def _without_key(text: str, found: Lines, expected: Any, path: Path, key: str) -> str:
    holder = at_path(expected, path)
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
        raise EditError(BY_HAND)
    return verified(text[: span[0]] + value_of(holder, one_line=True) + text[span[1] :], expected)


def changed_values(before: Any, after: Any, path: Path) -> Iterator[tuple[Path, Value]]:
    """Places of the smallest values that differ."""
    if before == after:
        return
    if isinstance(before, dict) and isinstance(after, dict) and before.keys() == after.keys():
        for key in before:
            yield from changed_values(before[key], after[key], (*path, key))
    elif (
        isinstance(before, list)
        and isinstance(after, list)
        and len(before) == len(after)
        and any(isinstance(each, dict) for each in before)
    ):
        for index, (old, new) in enumerate(zip(before, after, strict=True)):
            yield from changed_values(old, new, (*path, index))
    else:
        yield path, after


def start_in(found: Lines) -> Callable[[tuple[Path, Value]], int]:
    return lambda change: found.values.get(change[0], (0, 0))[0]
