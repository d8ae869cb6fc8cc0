"""What a person says of a building in dimensions, in SI, before there is any geometry."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from envelope.building.planar import Floats, frozen
from envelope.building.records import PanelKind

OpeningState = Literal["shut", "tilted", "open"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpaceSpec:
    """A room: its footprint (inside faces) raised to a height.

    Wall k (from 1) runs from corner k to corner k+1; seen from inside, its first corner is at the
    right-hand end, since corners run counter-clockwise.
    """

    id: str
    storey: str
    corners: Floats  # (n, 2) in its own coordinates, counter-clockwise [m]
    height_m: float
    origin: Floats = field(default_factory=lambda: frozen((0.0, 0.0)))
    floor_m: float = 0.0  # absolute height of its floor
    raised: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpeningSpec:
    """An opening in a wall (`along_m`, `sill_m`) or in a floor or ceiling (`centre`)."""

    id: str
    on: str  # "bedroom/1", "bedroom/south", "bedroom/ceiling"
    kind: PanelKind
    width_m: float  # along the wall, or along x
    height_m: float  # upward, or along y
    along_m: float | None = None
    from_left: bool = False  # `along_m` counts from the left-hand corner seen from inside
    sill_m: float = 0.0
    centre: tuple[float, float] | None = None  # in the space's own coordinates
    reveal_m: float = 0.0
    undercut_m: float = 0.0
    ring_m: float = 0.0
    state: OpeningState = "shut"
    assembly: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PanelSpec:
    """What is said of one panel apart from its treatment."""

    on: str
    assembly: str | None = None
    earth: bool = False
