"""What a project file says of single panels of a model, changed without losing a comment of it.

    set_assembly ──▶ [[panel]] on = "bedroom/3", assembly = "brick"     the strongest word
    set_kind     ──▶ [[tag]] name = "bedroom/3", becomes = "window"     the last rule wins

Every edit takes text and answers text, as those of `editing`.
"""

from __future__ import annotations

import glob
import re
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit

from envelope.project.editing import (
    EditError,
    data_of,
    document_of,
    may_name,
    tables_of,
    toml_value,
    verified,
)
from envelope.project.lines import scan

_ALONE = {"id", "name", "assembly", "becomes"}  # keys of a rule that goes by the name only


def own_words(text: str) -> tuple[dict[str, str], dict[str, str]]:
    """What a text says of panels by their own ids.

    Returns
    -------
    assemblies : dict
        Panel id → assembly, of [[panel]].
    kinds : dict
        Panel id as a pattern → kind, of [[tag]].
    """
    data = data_of(text)
    assemblies = {
        str(entry["on"]): str(entry["assembly"])
        for entry in _entries(data, "panel")
        if "on" in entry and "assembly" in entry
    }
    kinds = {
        str(entry["name"]): str(entry["becomes"])
        for entry in _entries(data, "tag")
        if "becomes" in entry and "name" in entry and entry.keys() <= _ALONE
    }
    return assemblies, kinds


def as_pattern(panel: str) -> str:
    """Pattern that a rule names one panel with.

    Examples
    --------
    >>> as_pattern("room/wall 1"), as_pattern("room/wall*")
    ('room/wall 1', 'room/wall[*]')
    """
    return glob.escape(panel)


def set_assembly(*, text: str, panel: str, assembly: str | None) -> str:
    """Say what a panel is made of; None takes back what was said of it by its id."""
    data = data_of(text)
    entries = _entries(data, "panel")
    own = [at for at, entry in enumerate(entries) if entry.get("on") == panel]
    if assembly is None:
        for at in reversed(own):
            text = _without(text, "panel", at, "assembly", bare={"on"})
        return text
    if own and not any(may_name(str(later.get("on")), panel) for later in entries[own[-1] + 1 :]):
        return _changed(text, data, "panel", own[-1], "assembly", assembly)
    return _with(text, data, "panel", {"on": panel, "assembly": assembly})


def set_kind(*, text: str, panel: str, kind: str | None, assembly: str | None = None) -> str:
    """Say what kind of panel one is; None takes back what was said of it by its id.

    Parameters
    ----------
    text : str
        Contents of the project file.
    panel : str
        Id.
    kind : str or None
        Such as "window".
    assembly : str, optional
        What an earlier rule says it is made of: only the last rule that catches a panel counts,
        so that the new one has to say that again.
    """
    data = data_of(text)
    entries = _entries(data, "tag")
    pattern = as_pattern(panel)
    own = [
        at
        for at, entry in enumerate(entries)
        if entry.get("name") == pattern and "becomes" in entry and entry.keys() <= _ALONE
    ]
    if kind is None:
        for at in reversed(own):
            text = _without(text, "tag", at, "becomes", bare={"id", "name"})
        return text
    if own and all(_of_another(later) for later in entries[own[-1] + 1 :]):
        return _changed(text, data, "tag", own[-1], "becomes", kind)
    entry = {"name": pattern, "becomes": kind}
    return _with(text, data, "tag", entry | ({} if assembly is None else {"assembly": assembly}))


def _of_another(entry: Mapping[str, Any]) -> bool:
    """Whether a rule after a panel's own is for one other panel."""
    name = str(entry.get("name", "*"))
    return "/" in name and not any(mark in name for mark in "*?[")


def _entries(data: Mapping[str, Any], kind: str) -> list[dict[str, Any]]:
    listed = data.get(kind, [])
    if not isinstance(listed, list) or not all(isinstance(entry, dict) for entry in listed):
        raise EditError(f"{kind} has faults: mend them first")
    return listed


def _changed(text: str, data: dict[str, Any], kind: str, at: int, key: str, value: str) -> str:
    document = document_of(text)
    tables_of(document, kind)[at][key] = value
    data[kind][at][key] = value
    return verified(tomlkit.dumps(document), data)


def _with(text: str, data: dict[str, Any], kind: str, entry: Mapping[str, str]) -> str:
    """Add a table after the last of its kind, or at the end of the file."""
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = _lines(text)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += newline
    count = len(data.get(kind, []))
    end = _last_line(text, (kind, count - 1)) if count else len(lines)
    added = ["", f"[[{kind}]]", *(f"{key} = {toml_value(value)}" for key, value in entry.items())]
    lines[end:end] = [line + newline for line in added]
    data.setdefault(kind, []).append(dict(entry))
    return verified("".join(lines), data)


def _without(text: str, kind: str, at: int, key: str, *, bare: set[str]) -> str:
    """Take one key out of a table, and the table where it then says nothing."""
    data = data_of(text)
    entry = data[kind][at]
    if key not in entry:
        return text
    lines = _lines(text)
    found = scan(text).by_path
    del entry[key]
    if entry.keys() <= bare:
        first, last = found[(kind, at)], _last_line(text, (kind, at))
        del data[kind][at]
        if not data[kind]:
            del data[kind]
        if first > 1 and not lines[first - 2].strip():
            first -= 1  # the blank line over it
    else:
        first = last = found[(kind, at, key)]
    del lines[first - 1 : last]
    return verified("".join(lines), data)


def _lines(text: str) -> list[str]:
    """Lines with their ends; only a line feed ends one, as in TOML."""
    return re.findall(r"[^\n]*\n|[^\n]+", text)


def _last_line(text: str, path: Sequence[str | int]) -> int:
    """Last line on which something of a table stands."""
    size = len(path)
    return max(line for key, line in scan(text).by_path.items() if key[:size] == tuple(path))
