"""Filled readings from a table: each row becomes a [[reading]], or fills in the one of its id.

    id,receiver,space,at,source,off,states,spots,visit,meter,plan,level
    before-pillow,pillow,,,,,,9,before,,,640 uW/m2

A row without a level has not been filled in. The file's text stays as it is but for what is added.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from envelope.building.selectors import nearest_names
from envelope.errors import EnvelopeError, Fault, Location, ProjectFileError
from envelope.project.edit import data_of
from envelope.project.edit_table import add_row, set_key
from envelope.project.edit_values import Value
from envelope.project.load import load_text
from envelope.project.schema.fields import shown

COLUMNS = (
    *("id", "receiver", "space", "at", "source", "off", "states", "spots", "visit", "meter"),
    *("plan", "shows", "detector", "facing", "tilt", "tolerance", "level"),
)
NOTES = ("place",)  # columns for people, which are not read
_LISTS = ("source", "off")
_HEADED = re.compile(r"(?P<key>[\w-]+)\s*[\[(]\s*(?P<unit>[^\])]+)\s*[\])]")
_MOST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A project file's text with readings filled in."""

    text: str
    added: tuple[str, ...]
    changed: tuple[str, ...]  # that say something else now
    unchanged: tuple[str, ...]  # whose rows say what the file says
    blank: int


def with_readings(text: str, *, table: str, path: str, table_path: str) -> Filled:
    """Put the readings of a table into a project file's text.

    Parameters
    ----------
    text : str
        Of the project file.
    table : str
        Comma-, semicolon- or tab-separated, with a header.
    path, table_path : str
        Names of both, for messages.

    Raises
    ------
    ProjectFileError
        With the table's line for everything that is wrong in it.
    """
    rows = list(_rows(table, table_path))
    lines: dict[str, int] = {}
    added: list[str] = []
    changed: list[str] = []
    unchanged: list[str] = []
    blank = 0
    for line, row in rows:
        name = row.get("id")
        if "level" not in row:
            blank += 1
            continue
        if not isinstance(name, str):
            raise _fault(table_path, line, "id", "id is missing: each reading has its own")
        if name in lines:
            message = f"id {shown(name)} stands twice, first in line {lines[name]}"
            raise _fault(table_path, line, "id", message)
        lines[name] = line
        known = [each.get("id") for each in data_of(text).get("reading", ())]
        if name in known:
            at = known.index(name)
            stated = data_of(text)["reading"][at]
            other = {key: value for key, value in row.items() if not _same(key, value, stated)}
            for key, value in other.items():
                text = set_key(text=text, table="reading", row=at, key=key, value=value)
            (changed if other else unchanged).append(name)
        else:
            text = add_row(text=text, table="reading", entry=row)
            added.append(name)
    _checked(text, path=path, table_path=table_path, lines=lines)
    return Filled(
        text=text,
        added=tuple(added),
        changed=tuple(changed),
        unchanged=tuple(unchanged),
        blank=blank,
    )


def _same(key: str, value: Value, stated: Mapping[str, Any]) -> bool:
    """Whether a file says of a reading what a row says, however it is written."""
    if key not in stated:
        return False
    own = stated[key]
    if key in _LISTS:
        own = [own] if isinstance(own, str) else list(own)
    return bool(own == value) or str(own).split() == str(value).split()


def _rows(table: str, path: str) -> Iterator[tuple[int, dict[str, Value]]]:
    """Rows with their lines, as the project file would have them."""
    if len(table) > _MOST_BYTES:
        raise _fault(path, 1, None, "the table has more than 1 MB")
    header = table.lstrip("\ufeff").split("\n", 1)[0]
    delimiter = max(",;\t", key=header.count)
    reader = csv.reader(io.StringIO(table.lstrip("\ufeff")), delimiter=delimiter)
    try:
        columns = [_column(each, path) for each in next(reader)]
    except StopIteration:
        raise _fault(path, 1, None, f"the table is empty: it begins with {COLUMNS[0]}, …") from None
    for key in ("id", "level"):
        if key not in [name for name, _ in columns]:
            raise _fault(path, 1, key, f"there is no column {shown(key)}")
    for cells in reader:
        line = reader.line_num
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(columns):
            message = f"{len(cells)} cells in {len(columns)} columns: is there a comma in a number?"
            raise _fault(path, line, None, message)
        row: dict[str, Value] = {}
        for (key, unit), cell in zip(columns, cells, strict=False):
            if cell.strip() and key not in NOTES:
                row[key] = _value(key, cell.strip(), unit, path, line)
        yield line, row


def _column(heading: str, path: str) -> tuple[str, str]:
    """Key and unit of a column, such as "level (uW/m2)"."""
    found = _HEADED.fullmatch(heading.strip())
    key, unit = (found["key"], found["unit"].strip()) if found else (heading.strip(), "")
    key = key.lower()
    if key not in (*COLUMNS, *NOTES):
        raise _fault(path, 1, None, f"{shown(key)} is no column: {nearest_names(key, COLUMNS)}")
    return key, unit


def _value(key: str, cell: str, unit: str, path: str, line: int) -> Value:
    if unit and re.search(r"[A-Za-z]", cell):
        raise _fault(
            path, line, key,
            f"units are mixed: the heading says {shown(unit)} and the cell {shown(cell)}; write "
            "the unit once",
        )  # fmt: skip
    if unit:
        return f"{cell} {unit}"
    if key == "spots":
        return int(cell) if cell.isdigit() else cell
    if key in _LISTS:
        return [part for part in re.split(r"[;,\s]+", cell) if part]
    if key == "states":
        return _states(cell, path, line)
    return cell


def _states(cell: str, path: str, line: int) -> Mapping[str, Value]:
    pairs = [part.partition("=") for part in re.split(r"[;,]+", cell) if part.strip()]
    if not all(equals for _, equals, _ in pairs):
        raise _fault(path, line, "states", f'{shown(cell)} is not such as "W1=open; W2=shut"')
    return {name.strip(): state.strip() for name, _, state in pairs}


def _checked(text: str, *, path: str, table_path: str, lines: Mapping[str, int]) -> None:
    """Read the whole file again; a fault of a row is told at the row."""
    try:
        load_text(text, path=path)
    except ProjectFileError as error:
        ids = [each.get("id") for each in data_of(text).get("reading", ())]
        raise ProjectFileError(
            [_told(each, ids, lines, table_path) for each in error.faults]
        ) from None


def _told(fault: Fault, ids: list[str], lines: Mapping[str, int], table_path: str) -> Fault:
    where = fault.location
    found = re.match(r"reading\[(\d+)\]\.?(.*)", (where.key or "") if where else "")
    if where is None or found is None or ids[int(found[1])] not in lines:
        return fault
    name = ids[int(found[1])]
    location = Location(path=table_path, line=lines[name], key=found[2] or None, name=None)
    return Fault(message=f"reading {shown(name)}: {fault.message}", location=location)


def _fault(path: str, line: int, key: str | None, message: str) -> EnvelopeError:
    return ProjectFileError(
        [Fault(message=message, location=Location(path=path, line=line, key=key))]
    )
