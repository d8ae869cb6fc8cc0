"""What pages draw on: a wall seen from inside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from typing_extensions import TypedDict

from viewer.app.protocol.limits import Text


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeWall:
    """A wall by the name that a row of the file gives it."""

    do: Literal["wall"] = "wall"
    on: Text


class HoleTold(TypedDict):
    """An opening of a wall by its lower left and upper right corner. [m]"""

    id: str
    kind: str
    low: tuple[float, float]
    high: tuple[float, float]


class SpotTold(TypedDict):
    """An outlet, a box or a bond on a wall. [m]"""

    id: str
    kind: str
    at: tuple[float, float]


class WallTold(TypedDict):
    """A wall from its left end to its right, up from the floor [m]; or why it is not drawn."""

    tell: Literal["wall"]
    on: str
    panel: str | None
    title: str
    outline: list[tuple[float, float]]
    openings: list[HoleTold]
    marks: list[SpotTold]
    trouble: str | None
