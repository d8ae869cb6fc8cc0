"""Every message between a page and the app, in one list for both sides.

A page asks by a record of `Asked`, told apart by ``do``; it is told one of `Told`, told apart by
``tell``. `viewer/app/page/protocol.d.ts` is generated from this package, and the page's scripts are
checked against it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, get_args

from pydantic import Field, TypeAdapter, ValidationError

from envelope.errors import EnvelopeError
from viewer.app.protocol.drawing import HoleTold, SeeWall, SpotTold, WallTold
from viewer.app.protocol.file import (
    AddRow,
    Drop,
    FaultTold,
    FaultyTold,
    FieldsTold,
    FieldTrouble,
    FileTold,
    KeyTold,
    NamedTold,
    OverwriteTold,
    PartsTold,
    ReadAgain,
    Redo,
    RemoveRow,
    Rename,
    Save,
    SeeFile,
    SetKeys,
    SetText,
    StarterTold,
    Status,
    StatusTold,
    TableTold,
    TakeUp,
    TryLock,
    Undo,
)
from viewer.app.protocol.job import (
    BillTold,
    Cast,
    ChoicesTold,
    ChoiceTold,
    Halt,
    Look,
    Move,
    NewPlan,
    PlanTold,
    SeeChoices,
    SeeSky,
    Treat,
)
from viewer.app.protocol.limits import MAX_ITEMS, MAX_TEXT, Length, PartsTyped
from viewer.app.protocol.model import (
    Accept,
    ImportModel,
    ListingTold,
    ListModel,
    ModelChoices,
    ModelPanel,
    ModelSpace,
    ModelStorey,
    ModelTold,
    ModelTroubleTold,
    QuestionTold,
    SetAssembly,
    SetKind,
)
from viewer.app.protocol.out import (
    BeginJob,
    Folder,
    JobFileTold,
    MadeTold,
    MakeOutput,
    MenuTold,
    OpenJob,
    OutputTold,
    SaveCopy,
    SeeMenu,
)
from viewer.app.protocol.start import FormTold, MakeJob, Trouble, TroublesTold
from viewer.app.protocol.steps import (
    FreeTold,
    KeepStep,
    PlotTold,
    PointTold,
    SeeSteps,
    StepsTold,
    StepTold,
    TickTold,
    TriedTold,
    TryStep,
)
from viewer.app.protocol.whole import (
    ColumnsTold,
    JobTold,
    Losses,
    ProgressTold,
    ReadingsTold,
    ReloadTold,
    SayTold,
    SkyTold,
    TroubleTold,
)
from viewer.app.protocol.wiring import (
    BehindTold,
    CautionsTold,
    CutoutTold,
    DrawnFaceTold,
    FieldTold,
    MarkTold,
    SeeWiring,
    WiringTold,
)

__all__ = [
    "ASKS",
    "MAX_ITEMS",
    "MAX_TEXT",
    "Accept",
    "AddRow",
    "Asked",
    "BeginJob",
    "BehindTold",
    "BillTold",
    "Cast",
    "CautionsTold",
    "ChoiceTold",
    "ChoicesTold",
    "ColumnsTold",
    "CutoutTold",
    "DrawnFaceTold",
    "Drop",
    "FaultTold",
    "FaultyTold",
    "FieldTold",
    "FieldTrouble",
    "FieldsTold",
    "FileTold",
    "Folder",
    "FormTold",
    "FreeTold",
    "Halt",
    "HoleTold",
    "ImportModel",
    "JobFileTold",
    "JobTold",
    "KeepStep",
    "KeyTold",
    "Length",
    "ListModel",
    "ListingTold",
    "Look",
    "Losses",
    "MadeTold",
    "MakeJob",
    "MakeOutput",
    "MarkTold",
    "MenuTold",
    "MessageError",
    "ModelChoices",
    "ModelPanel",
    "ModelSpace",
    "ModelStorey",
    "ModelTold",
    "ModelTroubleTold",
    "Move",
    "NamedTold",
    "NewPlan",
    "OpenJob",
    "OutputTold",
    "OverwriteTold",
    "PartsTold",
    "PartsTyped",
    "PlanTold",
    "PlotTold",
    "PointTold",
    "ProgressTold",
    "QuestionTold",
    "ReadAgain",
    "ReadingsTold",
    "Redo",
    "ReloadTold",
    "RemoveRow",
    "Rename",
    "Save",
    "SaveCopy",
    "SayTold",
    "SeeChoices",
    "SeeFile",
    "SeeMenu",
    "SeeSky",
    "SeeSteps",
    "SeeWall",
    "SeeWiring",
    "SetAssembly",
    "SetKeys",
    "SetKind",
    "SetText",
    "SkyTold",
    "SpotTold",
    "StarterTold",
    "Status",
    "StatusTold",
    "StepTold",
    "StepsTold",
    "TableTold",
    "TakeUp",
    "Tell",
    "TickTold",
    "Told",
    "Treat",
    "TriedTold",
    "Trouble",
    "TroubleTold",
    "TroublesTold",
    "TryLock",
    "TryStep",
    "Undo",
    "WallTold",
    "WiringTold",
    "read",
]

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
    | SetKeys
    | AddRow
    | RemoveRow
    | Rename
    | SeeChoices
    | Accept
    | SeeWall
    | SeeSteps
    | TryStep
    | KeepStep
    | SeeWiring
    | SeeMenu
    | MakeOutput
    | SaveCopy
    | OpenJob
    | BeginJob
    | MakeJob
    | ListModel
    | ImportModel
)
ASKS = get_args(Asked)
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


Told = (
    JobTold
    | FaultyTold
    | ColumnsTold
    | StatusTold
    | ProgressTold
    | SkyTold
    | ReadingsTold
    | FileTold
    | FieldsTold
    | NamedTold
    | ChoicesTold
    | PlanTold
    | SayTold
    | TroubleTold
    | OverwriteTold
    | FormTold
    | TroublesTold
    | ListingTold
    | ModelTroubleTold
    | WallTold
    | StepsTold
    | TriedTold
    | WiringTold
    | FieldTold
    | MenuTold
    | MadeTold
    | ReloadTold
)

Tell = Callable[[Told], None]  # one page is told something
