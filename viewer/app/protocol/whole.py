"""Everything about a job at once, and what is new of it."""

from __future__ import annotations

from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.file import Status
from viewer.app.protocol.job import BillTold
from viewer.app.protocol.model import ModelTold
from viewer.scene.json_types import ColumnJson, ReadingJson, SceneJson, SkyJson

Losses = dict[str, dict[str, dict[str, list[float | None]]]]  # plan, receiver, panel: by band


class JobTold(TypedDict):
    """Everything about a job that is sound."""

    tell: Literal["job"]
    status: Status
    scene: SceneJson
    assemblies: dict[str, str]
    treatments: dict[str, str]
    titles: dict[str, str]
    only_on: dict[str, list[str]]
    places: dict[str, tuple[float, float, float]]
    origins: dict[str, tuple[float, float]]
    losses: Losses
    bills: dict[str, BillTold]
    beyond: list[str]
    assumed: bool
    tried: str | None
    model: ModelTold | None


class ColumnsTold(TypedDict):
    """What is new of some plans."""

    tell: Literal["columns"]
    plans: list[str]
    columns: dict[str, ColumnJson]
    losses: Losses
    bills: dict[str, BillTold]
    beyond: list[str]
    tried: str | None


class ProgressTold(TypedDict):
    """How much of the casting is done."""

    tell: Literal["progress"]
    share: float


class SkyTold(TypedDict):
    """All directions around a receiver."""

    tell: Literal["sky"]
    sky: SkyJson


class ReadingsTold(TypedDict):
    """Readings of the job; they are judged a moment after they are first told."""

    tell: Literal["readings"]
    readings: list[ReadingJson]


class SayTold(TypedDict):
    """One sentence."""

    tell: Literal["say"]
    text: str
    tone: Literal["plain", "bad"]


class TroubleTold(TypedDict):
    """What is wrong with what was typed, told at its form; `field` counts from 0, None for none."""

    tell: Literal["trouble"]
    at: Literal["place", "plan", "copy"]
    field: int | None
    message: str


class ReloadTold(TypedDict):
    """Another job is open here now: the page begins anew."""

    tell: Literal["reload"]
