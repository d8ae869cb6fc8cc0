"""The job's file: saved, read again, undone, its text and its tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import PartsTyped, Text
from viewer.app.protocol.model import QuestionTold


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
class SetKeys:
    """Give keys of a table other values, as typed; None takes a key away.

    `row` is the place of a table that comes many times, `id` what it is called there; `parts` hold
    what is written in brackets, part by part. Keys that only fit together come together.
    """

    do: Literal["set-keys"] = "set-keys"
    table: str
    row: int | None
    id: str | None
    typed: dict[str, Text | None]
    parts: dict[str, PartsTyped] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class AddRow:
    """Add a table that comes many times, with what was typed; one without an id gets a free one."""

    do: Literal["add-row"] = "add-row"
    table: str
    typed: dict[str, Text]
    parts: dict[str, PartsTyped] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class RemoveRow:
    """Take a table away that comes many times; with what names it only where that is said."""

    do: Literal["remove-row"] = "remove-row"
    table: str
    row: int
    id: str | None
    with_named: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Rename:
    """Give a table another id, wherever it is named."""

    do: Literal["rename"] = "rename"
    table: str
    row: int
    id: str
    name: str


class Status(TypedDict):
    """The file and what is under way; `mark` is another one whenever the text is."""

    file: str
    folder: str
    saved: bool
    mark: str
    undo: str | None
    redo: str | None
    disk: Literal["same", "changed", "gone"]
    other: int | None
    waiting: bool
    questions: list[QuestionTold]
    casting: float | None
    stopped: bool


class FaultTold(TypedDict):
    """A fault of the file; `line` counts from 1."""

    line: int | None
    key: str | None
    text: str


class KeyTold(TypedDict):
    """A key that a table may have, and how its value is typed.

    `names` is the list that its value may be chosen from, `closed` where no other will do; `parts`
    say what stands in its brackets.
    """

    key: str
    kind: Literal["text", "number", "truth", "choice", "brackets"]
    said: str
    example: str
    choices: list[str]
    names: str | None
    closed: bool
    needed: bool
    parts: PartsTold | None


class PartsTold(TypedDict):
    """What stands in the brackets of a value; `alone` where it may also be one plain value."""

    shape: Literal["table", "tables", "names", "map"]
    keys: list[KeyTold]
    alone: bool


class StarterTold(TypedDict):
    """A sort of row that can be added: what is asked for it, and what it has already."""

    title: str
    keys: list[str]
    typed: dict[str, str]


class TableTold(TypedDict):
    """A table that a project file may have."""

    table: str
    title: str
    one: str
    many: bool
    keys: list[KeyTold]
    starters: list[StarterTold]


class FileTold(TypedDict):
    """The text of the file, and its tables with their values as they would be typed."""

    tell: Literal["file"]
    text: str
    tables: list[TableTold]
    rows: dict[str, list[dict[str, str]]]
    parts: dict[str, list[dict[str, list[dict[str, str]]]]]
    names: dict[str, list[str]]


class FieldTrouble(TypedDict):
    """Why a value was not taken; `part` and `inner` say where in its brackets."""

    key: str
    part: int | None
    inner: str
    message: str


class FieldsTold(TypedDict):
    """Why what was typed into a table was not taken."""

    tell: Literal["fields"]
    table: str
    row: int | None
    troubles: list[FieldTrouble]


class NamedTold(TypedDict):
    """What names a table that is to go, and would go or change with it."""

    tell: Literal["named"]
    table: str
    row: int
    id: str | None
    rows: list[str]


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
