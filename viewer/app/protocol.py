"""Every message between a page and the app, in one list for both sides.

A page asks by a record of `Asked`, told apart by ``do``; it is told one of `Told`, told apart by
``tell``. `viewer/app/page/protocol.d.ts` is generated from this module, and the page's scripts are
checked against it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError
from typing_extensions import TypedDict

from envelope.errors import EnvelopeError
from viewer.scene.json_types import ColumnJson, SceneJson, SkyJson

Length = Annotated[float, Field(allow_inf_nan=False)] | str  # metres, or as typed with its unit
Point = tuple[Length, Length, Length]
MAX_TEXT = 2_000_000  # characters of one text in a message
MAX_ITEMS = 20_000
Text = Annotated[str, Field(max_length=MAX_TEXT)]
Texts = Annotated[tuple[str, ...], Field(max_length=MAX_ITEMS)]


# What a page asks for


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Plans and receiver that the page shows."""

    do: Literal["look"] = "look"
    plans: Texts
    receiver: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Treat:
    """Give faces these treatments under a plan, the one on the surface first."""

    do: Literal["treat"] = "treat"
    plan: str
    panels: Texts
    treatments: Texts


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlan:
    """Add a plan that starts as another one is; without an id it gets the next free one.

    A copy stands on its own; an extension follows later changes of the other plan.
    """

    do: Literal["new-plan"] = "new-plan"
    beside: str
    how: Literal["copy", "extension"] = "copy"
    id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Put a receiver elsewhere in its room: its room's own coordinates, height over its floor."""

    do: Literal["move"] = "move"
    receiver: str
    at: Point


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
class SetAssembly:
    """Say what a model's panels are made of; None takes what the model says."""

    do: Literal["set-assembly"] = "set-assembly"
    panels: Texts
    assembly: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetKind:
    """Say what kind a model's panels are; None takes what the model says."""

    do: Literal["set-kind"] = "set-kind"
    panels: Texts
    kind: str | None


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
class Cast:
    """Cast what is missing."""

    do: Literal["cast"] = "cast"


@dataclass(frozen=True, slots=True, kw_only=True)
class Halt:
    """Stop casting."""

    do: Literal["halt"] = "halt"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeSky:
    """All directions around a receiver."""

    do: Literal["sky"] = "sky"
    receiver: str


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


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeChoices:
    """What a click on each treatment of a face would bring, put on these faces."""

    do: Literal["choices"] = "choices"
    plan: str
    panel: str
    panels: Texts
    receiver: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeJob:
    """Write a job file from the form of the start page; `typed` is what its fields hold."""

    do: Literal["form"] = "form"
    file: str
    typed: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class ListModel:
    """What a model file holds; unit and up where its format says neither."""

    do: Literal["model"] = "model"
    path: str
    unit: str = ""
    up: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportModel:
    """Write a job file for rooms of a model."""

    do: Literal["import"] = "import"
    path: str
    unit: str = ""
    up: str = ""
    file: str = ""
    spaces: Texts


# One tuple for the union, its reader and the generated types.
ASKS = (
    Look,
    Treat,
    NewPlan,
    Move,
    Undo,
    Redo,
    Save,
    ReadAgain,
    SetText,
    SetAssembly,
    SetKind,
    TakeUp,
    Drop,
    TryLock,
    Cast,
    Halt,
    SeeSky,
    SeeFile,
    SetKey,
    AddRow,
    RemoveRow,
    Rename,
    SeeChoices,
    MakeJob,
    ListModel,
    ImportModel,
)
Asked = (
    Look
    | Treat
    | NewPlan
    | Move
    | Undo
    | Redo
    | Save
    | ReadAgain
    | SetText
    | SetAssembly
    | SetKind
    | TakeUp
    | Drop
    | TryLock
    | Cast
    | Halt
    | SeeSky
    | SeeFile
    | SetKey
    | AddRow
    | RemoveRow
    | Rename
    | SeeChoices
    | MakeJob
    | ListModel
    | ImportModel
)
_READER: TypeAdapter[Asked] = TypeAdapter(Annotated[Asked, Field(discriminator="do")])


class MessageError(EnvelopeError):
    """A page asked for something that is not in the list."""


def read(asked: object) -> Asked:
    """The record of what a page sent.

    Raises
    ------
    MessageError
        Where it is not a message of the list; names the key.
    """
    try:
        return _READER.validate_python(asked)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"][1:]) or "do"
        raise MessageError(
            f"the page sent a message that does not fit: {place}: {first['msg']}"
        ) from None


# What a page is told


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


class ModelPanel(TypedDict):
    """What a model says of a panel, and what the job file says of it by its id."""

    kind: str
    assembly: str | None
    names: list[str]
    materials: list[str]
    type: str | None
    reason: str
    rule: str | None
    own_assembly: str | None
    own_kind: str | None


class ModelTold(TypedDict):
    """The model that the rooms come from."""

    source: str
    kinds: list[str]
    assemblies: list[str]
    panels: dict[str, ModelPanel]


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


class BillTold(TypedDict):
    """What a plan costs; `total` in words, None where nothing of it has a price."""

    total: str | None
    unpriced: list[str]


class ChoiceTold(TypedDict):
    """What a choice brings; `level_w_m2` is None without a source, `more` is what it costs more."""

    treatments: list[str]
    level_w_m2: float | None
    reduction_db: float | None
    below_now_db: float | None
    more: str | None


Losses = dict[str, dict[str, dict[str, list[float | None]]]]  # plan, receiver, panel: by band


class JobTold(TypedDict):
    """Everything about a job that is sound."""

    tell: Literal["job"]
    status: Status
    scene: SceneJson
    assemblies: dict[str, str]
    treatments: dict[str, str]
    places: dict[str, tuple[float, float, float]]
    losses: Losses
    bills: dict[str, BillTold]
    beyond: list[str]
    assumed: bool
    model: ModelTold | None


class FaultyTold(TypedDict):
    """A job that has faults."""

    tell: Literal["faulty"]
    status: Status
    text: str
    faults: list[FaultTold]


class ColumnsTold(TypedDict):
    """What is new of some plans."""

    tell: Literal["columns"]
    plans: list[str]
    columns: dict[str, ColumnJson]
    losses: Losses
    bills: dict[str, BillTold]
    beyond: list[str]


class StatusTold(Status):
    """The status alone."""

    tell: Literal["status"]


class ProgressTold(TypedDict):
    """How much of the casting is done."""

    tell: Literal["progress"]
    share: float


class SkyTold(TypedDict):
    """All directions around a receiver."""

    tell: Literal["sky"]
    sky: SkyJson


class ChoicesTold(TypedDict):
    """What a click on each treatment of a face brings, by treatment."""

    tell: Literal["choices"]
    plan: str
    panel: str
    choices: dict[str, ChoiceTold]


class PlanTold(TypedDict):
    """The plan that was made for the page."""

    tell: Literal["plan"]
    id: str


class SayTold(TypedDict):
    """One sentence."""

    tell: Literal["say"]
    text: str
    tone: Literal["plain", "bad"]


class OverwriteTold(TypedDict):
    """The file has changed on disk: whether to write over it."""

    tell: Literal["overwrite"]
    text: str


class ModelChoices(TypedDict):
    """What the start page lets one choose from for a model."""

    units: list[str]
    axes: list[str]
    unstated: list[str]


class FormTold(TypedDict):
    """The start page: what its fields let one choose, as value and words."""

    tell: Literal["form"]
    folder: str
    model: ModelChoices
    choices: dict[str, list[tuple[str, str]]]


class Trouble(TypedDict):
    """What is wrong with a field of the start page."""

    where: str
    message: str


class TroublesTold(TypedDict):
    """What is wrong with the start page's form."""

    tell: Literal["troubles"]
    troubles: list[Trouble]


class ModelStorey(TypedDict):
    """A storey of a model."""

    id: str
    floor_m: float


class ModelSpace(TypedDict):
    """A room of a model; `trouble` says why it cannot be imported."""

    id: str
    name: str
    storey: str
    area_m2: float
    volume_m3: float
    trouble: str


class ListingTold(TypedDict):
    """What a model file holds."""

    tell: Literal["listing"]
    source: str
    format: str
    storeys: list[ModelStorey]
    spaces: list[ModelSpace]
    notes: list[str]
    more_notes: int


class ModelTroubleTold(TypedDict):
    """Why a model cannot be used."""

    tell: Literal["model-trouble"]
    message: str


Told = (
    JobTold
    | FaultyTold
    | ColumnsTold
    | StatusTold
    | ProgressTold
    | SkyTold
    | FileTold
    | FieldTold
    | ChoicesTold
    | PlanTold
    | SayTold
    | OverwriteTold
    | FormTold
    | TroublesTold
    | ListingTold
    | ModelTroubleTold
)

Tell = Callable[[Told], None]  # one page is told something
