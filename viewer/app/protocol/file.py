"""The job's file: saved, read again, undone, its text and its tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """Take the last edit back."""

    do: Literal["undo"] = "undo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Redo:
    """Do again what was taken back."""

    do: Literal["redo"] = "redo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Save:
    """Write the text into the file."""

    do: Literal["save"] = "save"
    overwrite: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadAgain:
    """Take what the file holds now."""

    do: Literal["read-again"] = "read-again"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetText:
    """Take another text of the job file, sound or not."""

    do: Literal["text"] = "text"
    text: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeUp:
    """Go on with the unsaved edits of an earlier session."""

    do: Literal["take-up"] = "take-up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """Drop the unsaved edits of an earlier session."""

    do: Literal["drop"] = "drop"


@dataclass(frozen=True, slots=True, kw_only=True)
class TryLock:
    """Try again to become the one program that may change the job."""

    do: Literal["try-lock"] = "try-lock"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeFile:
    """Whether the page shows the file: its text and its tables are told with every change."""

    do: Literal["file"] = "file"
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SetKey:
    """Give a key of a table another value, as typed; None takes the key away.

    `row` is the place of a table that comes many times, `id` what it is called there.
    """

    do: Literal["set-key"] = "set-key"
    table: str
    row: int | None
    id: str | None
    key: str
    typed: Text | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AddRow:
    """Add a table that comes many times, with what was typed."""

    do: Literal["add-row"] = "add-row"
    table: str
    typed: dict[str, Text]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemoveRow:
    """Take a table away that comes many times."""

    do: Literal["remove-row"] = "remove-row"
    table: str
    row: int
    id: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rename:
    """Give a table another id, wherever it is named."""

    do: Literal["rename"] = "rename"
    table: str
    row: int
    id: str
    name: str


class Status(TypedDict):
    """The file and what is under way."""

    file: str
    folder: str
    saved: bool
    undo: str | None
    redo: str | None
    disk: Literal["same", "changed", "gone"]
    other: int | None
    waiting: bool
    casting: float | None
    stopped: bool


class FaultTold(TypedDict):
    """A fault of the file; `line` counts from 1."""

    line: int | None
    key: str | None
    text: str


class KeyTold(TypedDict):
    """A key that a table may have, and how its value is typed."""

    key: str
    kind: Literal["text", "number", "truth", "choice", "brackets"]
    said: str
    example: str
    choices: list[str]
    names: str | None
    needed: bool


class TableTold(TypedDict):
    """A table that a project file may have."""

    table: str
    title: str
    many: bool
    keys: list[KeyTold]


class FileTold(TypedDict):
    """The text of the file, and its tables with their values as they would be typed."""

    tell: Literal["file"]
    text: str
    tables: list[TableTold]
    rows: dict[str, list[dict[str, str]]]


class FieldTold(TypedDict):
    """Why a value was not taken."""

    tell: Literal["field"]
    table: str
    row: int | None
    key: str
    message: str


class FaultyTold(TypedDict):
    """A job that has faults."""

    tell: Literal["faulty"]
    status: Status
    text: str
    faults: list[FaultTold]


class StatusTold(Status):
    """The status alone."""

    tell: Literal["status"]


class OverwriteTold(TypedDict):
    """The file has changed on disk: whether to write over it."""

    tell: Literal["overwrite"]
    text: str
