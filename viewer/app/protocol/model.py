"""An imported model: what is in it, what its panels are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Texts


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
    bed: str = ""  # the space in which the bed stands; the first unless named


@dataclass(frozen=True, slots=True, kw_only=True)
class Accept:
    """Take something that the model leaves open as it is assumed to be."""

    do: Literal["accept"] = "accept"
    question: str


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


class ModelChoices(TypedDict):
    """What the start page lets one choose from for a model."""

    units: list[str]
    axes: list[str]
    unstated: list[str]


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


class QuestionTold(TypedDict):
    """Something that the model leaves open, what counts meanwhile, and how to settle it."""

    id: str
    words: str
    settle: str


class ModelTroubleTold(TypedDict):
    """Why a model cannot be used."""

    tell: Literal["model-trouble"]
    message: str
