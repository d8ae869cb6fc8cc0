"""Faults of a project file, collected with the line and key of each."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from envelope.building.selectors import nearest_names
from envelope.errors import EnvelopeError, Fault, Location, ProjectFileError
from envelope.project.measures import Measures, in_measure
from envelope.project.schema.fields import Number, shown
from envelope.project.schema.job import Table
from envelope.project.toml.scan import Lines, Path

_MOST = 100  # faults listed; the rest are counted
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]{1,60}")


def key_text(path: Path) -> str:
    """Path of a key as people read it.

    Examples
    --------
    >>> key_text(("assembly", 0, "loss", "900 MHz"))
    'assembly[0].loss."900 MHz"'
    """
    words = ""
    for part in path:
        if isinstance(part, int):
            words += f"[{part}]"
        else:
            words += ("." if words else "") + (part if _BARE_KEY.fullmatch(part) else shown(part))
    return words


class Faults:
    """Collects what is wrong with one file."""

    def __init__(self, *, path: str, lines: Lines, document: Mapping[str, Any]) -> None:
        self._path = path
        self._lines = lines
        self._measures = Measures(document)
        self._document = document
        self._found: list[tuple[int, Fault]] = []
        self._more = 0
        self._paths: set[Path] = set()
        self.tables: set[str] = set()  # those that have a fault

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, path: Path, message: str) -> None:
        """Note one fault at a key, its lengths in the measure in which the file writes there."""
        self._paths.add(path)
        if path:
            self.tables.add(str(path[0]))
        if len(self._found) >= _MOST:
            self._more += 1
            return
        line = self._lines.line(path)
        location = Location(
            path=self._path, line=line, key=key_text(path) or None, name=self._name(path)
        )
        message = in_measure(message, feet=self._measures.feet(path))
        plain = "".join(mark if mark.isprintable() else "?" for mark in message)
        found = (line or 0, Fault(message=plain, location=location))
        if found not in self._found:  # a source in several bands is looked at for each of them
            self._found.append(found)

    def text_at(self, path: Path) -> str | None:
        """What the file has at a key, where that is a text."""
        at: Any = self._document
        for part in path:
            try:
                at = at[part]
            except (KeyError, IndexError, TypeError):
                return None
        return at if isinstance(at, str) else None

    def _name(self, path: Path) -> str | None:
        """Id of the table that a key is in, where it has a plain one."""
        listed = self._document.get(str(path[0])) if path else None
        if len(path) < 2 or not isinstance(path[1], int) or not isinstance(listed, list):
            return None
        row = listed[path[1]] if path[1] < len(listed) else None
        name = row.get("id") if isinstance(row, dict) else None
        return name if isinstance(name, str) and _BARE_KEY.fullmatch(name) else None

    def add_validation(self, path: Path, error: ValidationError, table: type[Table]) -> None:
        """Note everything that pydantic refused in a table."""
        details = error.errors(include_url=False)
        meant = _meant(details)
        for detail in details:
            at = (*path, *detail["loc"])
            if detail["type"] == "missing" and detail["loc"] in meant:
                continue  # told at the key that is misspelt
            if len(self._found) >= _MOST:
                self._more += 1
                continue
            self.add(at, _sentence(detail, table))

    def keys(self) -> dict[tuple[str, int | None], set[str]]:
        """Keys at which something is wrong, by the table they stand in.

        Faults of a list as such, and of a table that comes once, stand at the index None.
        """
        found: dict[tuple[str, int | None], set[str]] = {}
        for path in self._paths:
            if path:
                index = path[1] if len(path) > 1 and isinstance(path[1], int) else None
                rest = path[1:] if index is None else path[2:]
                found.setdefault((str(path[0]), index), set()).add(str(rest[0]) if rest else "")
        return found

    def has(self, path: Path) -> bool:
        """Whether a fault was noted at this very key."""
        return path in self._paths

    def line(self, path: Path) -> int | None:
        """Line of a key."""
        return self._lines.line(path)

    def places(
        self, ids: Mapping[str, Sequence[tuple[int, str]]]
    ) -> dict[tuple[str, str, str], Location]:
        """Where each key of each table with an id stands, by (table, id, key)."""
        names: dict[Path, list[str]] = {}
        for table, of in ids.items():
            for index, name in of:
                names.setdefault((table, index), []).append(name)
        found: dict[tuple[str, str, str], Location] = {}
        for path in self._lines.by_path:
            for name in names.get((path[0], path[1]), ()) if len(path) == 3 else ():
                place = Location(
                    path=self._path, line=self._lines.line(path), key=key_text(path), name=name
                )
                found[str(path[0]), name, str(path[2])] = place
        return found

    def error(self) -> ProjectFileError:
        """Everything found, in the order of the file."""
        ordered = [fault for _, fault in sorted(self._found, key=lambda item: item[0])]
        if self._more:
            rest = Location(path=self._path)
            ordered.append(Fault(message=f"and {self._more} more faults", location=rest))
        return ProjectFileError(ordered)


def whole_file(path: str, message: str, *, line: int | None = None) -> ProjectFileError:
    """Error that concerns the file as such."""
    return ProjectFileError([Fault(message=message, location=Location(path=path, line=line))])


def missing(key: str, example: str | None) -> str:
    """Say that a key is missing.

    Examples
    --------
    >>> missing("height", '"2.4 m"')
    'height is missing, such as height = "2.4 m"'
    """
    return f"{key} is missing" + (f", such as {key} = {example}" if example else "")


def _sentence(detail: Any, table: type[Table]) -> str:
    """One sentence for what pydantic refused."""
    kind, found = detail["type"], detail.get("input")
    owner = _owner(table, detail["loc"])
    if kind == "value_error":
        error = detail["ctx"]["error"]
        return error.marked if isinstance(error, EnvelopeError) else str(error)
    if kind == "missing":
        return missing(str(detail["loc"][-1]), _example(owner, str(detail["loc"][-1])))
    if kind == "extra_forbidden":
        return unknown_key(str(detail["loc"][-1]), owner)
    if kind == "bool_type":
        return f"{shown(found)} is not allowed: write true or false, without quotes"
    if kind == "too_short":
        least, count = detail["ctx"]["min_length"], detail["ctx"]["actual_length"]
        has = f"has {count} of at least {least} entries" if count else "is empty"
        return f"the list {has}: write {'at least one entry' if least == 1 else 'the others too'}"
    if kind == "too_long":
        return f"the list is too long: at most {detail['ctx']['max_length']} entries are allowed"
    if kind == "list_type":
        return f"{shown(found)} is not a list: write it in square brackets"
    if kind in ("model_type", "dict_type"):
        return f"{shown(found)} is not a table: write it in braces, as key = value pairs"
    return f"{shown(found)} is not allowed: {detail['msg']}"


def _meant(details: Sequence[Any]) -> set[tuple[str | int, ...]]:
    """Missing keys that stand there misspelt."""
    found: set[tuple[str | int, ...]] = set()
    missing = [detail["loc"] for detail in details if detail["type"] == "missing"]
    for detail in details:
        if detail["type"] == "extra_forbidden":
            *table, key = detail["loc"]
            beside = [str(loc[-1]) for loc in missing if list(loc[:-1]) == table]
            found.update(
                (*table, near) for near in difflib.get_close_matches(str(key)[:80], beside, n=1)
            )
    return found


def unknown_key(key: str, table: type[Table]) -> str:
    """Say that a key is unknown, and which comes nearest."""
    if key in table.later:
        return f"{key} is not understood yet by this version: leave it out"
    if key in table.meant:
        return f'unknown key {shown(key)}: did you mean "{table.meant[key]}"?'
    known = [field.alias or name for name, field in table.model_fields.items()]
    return f"unknown key {shown(key)}: {nearest_names(key, known, count=1)}"


def _owner(table: type[Table], loc: tuple[str | int, ...]) -> type[Table]:
    """Model that holds the key at the end of a path within a table."""
    owner = table
    for part in loc[:-1]:
        for name, field in owner.model_fields.items():
            if part == (field.alias or name):
                owner = _model_within(field.annotation) or owner
    return owner


def _model_within(annotation: Any) -> type[Table] | None:
    """The table that an annotation such as ``list[Layer] | None`` speaks of."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_within(inner)
        if found is not None:
            return found
    return None


def _example(table: type[Table], key: str) -> str | None:
    """How a missing key may be written."""
    for name, field in table.model_fields.items():
        if key == (field.alias or name):
            for reader in field.metadata:
                example = getattr(reader, "example", None)
                if example is not None:
                    return str(example) if _is_plain(reader) else f'"{example}"'
    return None


def _is_plain(reader: object) -> bool:
    return isinstance(reader, Number)
