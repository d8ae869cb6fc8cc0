"""What leaves the app: pages, pictures, lists, copies; and other jobs to go to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Text

Folder = Literal["job", "home"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeMenu:
    """What can be made of the job, where it may go, and which other jobs there are."""

    do: Literal["menu"] = "menu"


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeOutput:
    """Write a page, picture or list of the job as it stands; without a name it is only shown."""

    do: Literal["make"] = "make"
    output: str
    plan: str | None
    receiver: str | None
    name: Text
    folder: Folder = "job"
    overwrite: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SaveCopy:
    """Write the text as it stands into another file, and go on with the one that is open."""

    do: Literal["save-copy"] = "save-copy"
    name: Text
    folder: Folder = "job"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenJob:
    """Open another job of those that the menu names; unsaved edits stay beside the one before."""

    do: Literal["open"] = "open"
    path: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class BeginJob:
    """Go to the form that begins a job."""

    do: Literal["begin"] = "begin"


class OutputTold(TypedDict):
    """Something that can be made: how a file of it is called, and what it asks for."""

    id: str
    group: str
    title: str
    said: str
    name: str
    takes_plan: bool
    text: bool


class JobFileTold(TypedDict):
    """Another job that can be opened."""

    path: str
    name: str
    folder: str
    recent: bool


class MenuTold(TypedDict):
    """What the menu offers."""

    tell: Literal["menu"]
    outputs: list[OutputTold]
    folder: str
    home: str
    copy: str
    jobs: list[JobFileTold]


class MadeTold(TypedDict):
    """What has been made: the file with its address here, a text to read, or why it was not."""

    tell: Literal["made"]
    output: str
    file: str | None
    address: str | None
    text: str | None
    trouble: str | None
    exists: bool
