"""What a project file says of single panels of a model, changed without losing a comment of it.

    set_assembly ──▶ [[panel]] on = "bedroom/3", assembly = "brick"     the strongest word
    set_kind     ──▶ [[tag]] name = "bedroom/3", becomes = "window"     the last rule wins

Every edit takes text and answers text, as those of `editing`.
"""

from __future__ import annotations

import glob
from collections.abc import Mapping
from typing import Any

from envelope.project.edit import EditError, data_of, may_name, verified
from envelope.project.toml.scan import scan
from envelope.project.toml.splice import (
    block_of,
    last_block,
    with_lines,
    with_value,
    without_block,
    without_pair,
)
from envelope.project.toml.write import pair

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
    span = scan(text).values.get((kind, at, key))
    if span is None:
        raise EditError(f"{kind} has faults: mend them first")
    if data[kind][at][key] == value:
        return text
    data[kind][at][key] = value
    return verified(with_value(text, span, value), data)


def _with(text: str, data: dict[str, Any], kind: str, entry: Mapping[str, str]) -> str:
    """Add a table after the last of its kind, or at the end of the file."""
    last = last_block(scan(text), (kind,))
    added = ["", f"[[{kind}]]", *(pair(key, value) for key, value in entry.items())]
    data.setdefault(kind, []).append(dict(entry))
    return verified(with_lines(text, len(text) if last is None else last.end, added), data)


def _without(text: str, kind: str, at: int, key: str, *, bare: set[str]) -> str:
    """Take one key out of a table, and the table where it then says nothing."""
    data = data_of(text)
    entry = data[kind][at]
    if key not in entry:
        return text
    found = scan(text)
    block = block_of(found, (kind, at))
    if block is None:
        raise EditError(f"{kind} is written in a way that cannot be edited here: edit its text")
    del entry[key]
    if entry.keys() <= bare:
        del data[kind][at]
        if not data[kind]:
            del data[kind]
        return verified(without_block(text, block), data)
    return verified(without_pair(text, found, (kind, at, key)), data)
