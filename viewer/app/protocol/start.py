"""The page while there is no job yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from typing_extensions import TypedDict

from viewer.app.protocol.model import ModelChoices


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeJob:
    """Write a job file from the form of the start page; `typed` is what its fields hold."""

    do: Literal["form"] = "form"
    file: str
    typed: dict[str, Any]


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
