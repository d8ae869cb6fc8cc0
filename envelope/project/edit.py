"""Changing a project file without losing a comment of it.

Every edit takes text and answers text, so that an undo is the text before. Whatever is not edited
stays as it was, byte for byte. `save` writes the text in one step and refuses when the file is no
longer what was read.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from envelope.building.job import AS_BUILT
from envelope.building.selectors import GROUPS
from envelope.errors import EnvelopeError
from envelope.project.load import decode, read_bytes
from envelope.project.measures import point_text, written_in_feet
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.toml.scan import Path, scan
from envelope.project.toml.splice import (
    last_block,
    with_element,
    with_lines,
    with_pair,
    with_value,
)
from envelope.project.toml.write import pair, value_of
from envelope.units import parse_point

_COMPASS = ("north", "east", "south", "west")
_BOM = b"\xef\xbb\xbf"
_BY_HAND = "this file is written in a way that cannot be edited here: edit its text"


class EditError(EnvelopeError):
    """An edit that the file does not allow."""


class ChangedOnDiskError(EnvelopeError):
    """The file is no longer what was read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A project file as it was read."""

    path: str
    text: str
    sha256: str  # of its bytes
    marked: bool  # began with a byte order mark, which is written back


def open_text(path: str | os.PathLike[str]) -> Opened:
    """Read a project file for editing; it need not be a sound one."""
    data = read_bytes(path)
    name = os.fspath(path)
    return Opened(
        path=name,
        text=decode(data, path=name),
        sha256=hashlib.sha256(data).hexdigest(),
        marked=data.startswith(_BOM),
    )


def save(*, opened: Opened, text: str, overwrite: bool = False) -> Opened:
    """Write a changed text in place of the file that was opened.

    Parameters
    ----------
    opened : Opened
        From `open_text` or from the last `save`.
    text : str
        New contents.
    overwrite : bool
        Write even where the file has changed or vanished since.

    Returns
    -------
    opened : Opened
        For the next save.
    """
    target = os.path.realpath(opened.path)  # a link stays a link
    if not overwrite:
        _refuse_changed(opened, target)
    data = (_BOM if opened.marked else b"") + text.encode("utf-8")
    mode = _mode(target)
    folder = os.path.dirname(target)
    try:
        handle, temporary = tempfile.mkstemp(prefix=".", suffix=".tmp", dir=folder)
    except OSError as error:
        raise EditError(_not_written(opened.path, error)) from None
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, mode)
        os.replace(temporary, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise EditError(_not_written(opened.path, error)) from None
    return Opened(
        path=opened.path,
        text=text,
        sha256=hashlib.sha256(data).hexdigest(),
        marked=opened.marked,
    )


def _refuse_changed(opened: Opened, target: str) -> None:
    if not os.path.exists(target):
        raise ChangedOnDiskError(
            f"{opened.path} has been deleted or renamed since it was read: save it as a new file, "
            "or overwrite"
        )
    if hashlib.sha256(read_bytes(target)).hexdigest() != opened.sha256:
        raise ChangedOnDiskError(
            f"{opened.path} has changed on disk since it was read: read it again, or overwrite"
        )


def _mode(target: str) -> int:
    """Permissions of the file, or those that a new file gets."""
    with contextlib.suppress(FileNotFoundError):
        return os.stat(target).st_mode & 0o7777
    return 0o644


def _not_written(path: str, error: OSError) -> str:
    return f"{path} cannot be written: {(error.strerror or 'it is not allowed').lower()}"


def set_treatment(*, text: str, plan: str, panel: str, treatments: Sequence[str]) -> str:
    """Give a panel its treatments in a plan; none leaves it bare.

    The entry that names the panel is changed where it stands, unless an entry after it may name
    the panel too and would win: then a new one goes to the end.

    Parameters
    ----------
    text : str
        Contents of the project file.
    plan, panel : str
        Ids.
    treatments : sequence of str
        Ids, the one on the surface first.

    Returns
    -------
    text : str
        The new contents.
    """
    if plan == AS_BUILT:
        raise EditError(f'"{AS_BUILT}" has no treatment: choose or add another plan')
    expected = data_of(text)
    number = _index(expected, "plan", plan, schema.Plan)
    found = scan(text)
    stated = "treat" in expected["plan"][number]
    entries = expected["plan"][number].setdefault("treat", [])
    value: str | list[str] = treatments[0] if len(treatments) == 1 else list(treatments)
    path: Path = ("plan", number, "treat")
    place = max((at for at, entry in enumerate(entries) if entry["on"] == panel), default=None)
    if place is not None and not any(
        may_name(later["on"], panel) for later in entries[place + 1 :]
    ):
        before = entries[place]["with"]
        if as_names(before) == tuple(treatments):
            return text
        if isinstance(before, list):
            value = list(treatments)
        entries[place]["with"] = value
        span = found.values.get((*path, place, "with"))
        if span is None:
            raise EditError(_BY_HAND)
        return verified(with_value(text, span, value), expected)
    entry = {"on": panel, "with": value}
    entries.append(entry)
    if not stated:
        inside = f"[\n    {value_of(entry)},\n]"
        return verified(with_pair(text, found, path[:-1], "treat", inside), expected)
    if path in found.values:
        result = with_element(text, found, path, len(entries) - 1, value_of(entry))
        return verified(result, expected)
    last = last_block(found, path)
    if last is None:
        raise EditError(_BY_HAND)
    header = ["", "[[plan.treat]]", *(pair(key, word) for key, word in entry.items())]
    return verified(with_lines(text, last.end, header), expected)


def add_plan(*, text: str, plan: str, extends: str | None = None, title: str = "") -> str:
    """Add a plan at the end of the file; answer the new contents."""
    expected = data_of(text)
    plans = expected.setdefault("plan", [])
    ids = [entry.get("id") for entry in plans if isinstance(entry, dict)]
    if plan == AS_BUILT or plan in ids:
        raise EditError(f"there is a plan {shown(plan)} already: give the new one another id")
    entry = {"id": plan}
    if title:
        entry["title"] = title
    if extends is not None and extends != AS_BUILT:
        entry["extends"] = extends
    plans.append(entry)
    lines = ["", "[[plan]]", *(pair(key, value) for key, value in entry.items())]
    return verified(with_lines(text, len(text), lines), expected)


def copy_plan(*, text: str, plan: str, of: str) -> str:
    """Add a plan that holds what another one does and stands on its own."""
    document = data_of(text)
    if of == AS_BUILT:
        return add_plan(text=text, plan=plan)
    source = document["plan"][_index(document, "plan", of, schema.Plan)]
    result = add_plan(text=text, plan=plan, extends=source.get("extends"))
    expected = data_of(result)
    held = {key: source[key] for key in ("treat", "states") if key in source}
    expected["plan"][-1].update(held)
    for key, value in held.items():
        path: Path = ("plan", len(expected["plan"]) - 1)
        result = with_pair(result, scan(result), path, key, value_of(value))
    return verified(result, expected)


def move_receiver(*, text: str, receiver: str, at_m: tuple[float, float, float]) -> str:
    """Put a receiver elsewhere in its space: its own coordinates, height above its floor."""
    expected = data_of(text)
    number = _index(expected, "receiver", receiver, schema.Receiver)
    span = scan(text).values.get(("receiver", number, "at"))
    if span is None:
        raise EditError(_BY_HAND)
    before = str(expected["receiver"][number]["at"])
    feet = written_in_feet(before) is True
    value = point_text(at_m, feet=feet)
    if value == point_text(parse_point(before), feet=feet):
        return text
    expected["receiver"][number]["at"] = value
    return verified(with_value(text, span, value), expected)


def data_of(text: str) -> dict[str, Any]:
    """Data of a text that is TOML; what else is wrong with it matters only where it is edited."""
    try:
        if scan(text).too_deep is None:
            return tomllib.loads(text)
    except (ValueError, RecursionError):
        pass
    raise EditError("the file is not TOML that can be read: mend it first")


def _index(document: Mapping[str, Any], kind: str, name: str, model: type[schema.Table]) -> int:
    """Place of the table with this id, which must be a sound one."""
    listed = document.get(kind, ())
    for index, entry in enumerate(listed if isinstance(listed, list) else ()):
        if isinstance(entry, dict) and entry.get("id") == name:
            try:
                model.model_validate(entry)
            except ValidationError:
                raise EditError(f"{kind} {shown(name)} has faults: mend them first") from None
            return index
    raise EditError(f"there is no {kind} {shown(name)} in the file")


def as_names(value: str | Sequence[str]) -> tuple[str, ...]:
    """Names that a key holds which takes one or several."""
    return (value,) if isinstance(value, str) else tuple(value)


def may_name(selector: str, panel: str) -> bool:
    """Whether a selector could name a panel whose id it is not."""
    space, _, rest = selector.partition("/")
    last = rest.rpartition("/")[2]
    if any(mark in selector for mark in "*?[") or last in GROUPS or last in _COMPASS:
        return any(mark in space for mark in "*?[") or space == panel.partition("/")[0]
    return selector == panel


def verified(result: str, expected: Mapping[str, Any]) -> str:
    """Read the edited text back: an edit may not change anything else."""
    try:
        same = tomllib.loads(result) == expected
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise EditError(_BY_HAND)
    return result
