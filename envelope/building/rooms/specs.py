"""What a person says of a building in dimensions, in SI, before there is any geometry."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from envelope.building.model import PanelKind
from envelope.geometry.plane import Floats, frozen

OpeningState = Literal["shut", "tilted", "open", "shuttered"]
# Panels beside a leaf that are, or may be, of its own material.
GAPS = ("gap-head", "gap-left", "gap-right")  # where its sash tilts
FILM_EDGE = "film-edge"
FRAME = "frame"  # round the pane: of its own assembly, and no film reaches it
CeilingShape = Literal["flat", "shed", "gable", "hipped"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CeilingSpec:
    """Planes of which the lowest at each spot is the ceiling; the room's height is the eaves.

    A shed rises over its outline in one direction, a gable from two sides to a ridge, a hipped
    ceiling from every wall of a convex outline at one pitch.
    """

    shape: CeilingShape = "flat"
    direction_rad: float = 0.0  # from +x to +y: of a gable's ridge, or in which a shed rises
    ridge_m: float | None = None  # greatest height above the floor; either this
    pitch_rad: float | None = None  # or this; a gable's then holds on both sides
    through: tuple[float, float] | None = None  # a point under a gable's ridge; default the middle
    flat_m: float | None = None  # a level ceiling that cuts the planes off, as under collar beams
    over: Floats | None = None  # (n, 2) whose edges are the eaves; default the room's footprint


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DormerSpec:
    """A part of a room's plan over which a ceiling of its own counts where it is the higher one.

    Where its edge runs inside the room, a wall of its own closes the step between the two: the
    cheeks and the front of a dormer. A cross gable is one too.
    """

    id: str
    corners: Floats  # (n, 2) in the space's own coordinates, counter-clockwise [m]
    height_m: float  # of its eaves, above the space's floor
    ceiling: CeilingSpec = field(default_factory=CeilingSpec)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpaceSpec:
    """A room: its footprint (inside faces) raised to a height.

    Wall k (from 1) runs from corner k to corner k+1; seen from inside, its first corner is at the
    right-hand end, since corners run counter-clockwise.
    """

    id: str
    storey: str
    corners: Floats  # (n, 2) in its own coordinates, counter-clockwise [m]
    height_m: float  # to the ceiling, or to the eaves of one that is not flat
    origin: Floats = field(default_factory=lambda: frozen((0.0, 0.0)))
    floor_m: float = 0.0  # absolute height of its floor
    title: str = ""  # what the client calls it
    raised: bool = False
    ceiling: CeilingSpec = field(default_factory=CeilingSpec)
    dormers: tuple[DormerSpec, ...] = ()
    hollows: tuple[Floats, ...] = ()  # each (n, 2): columns, a chimney; full height


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpeningSpec:
    """An opening in a wall (`along_m`, `sill_m`) or in a floor or ceiling (`centre`)."""

    id: str
    on: str  # "bedroom/1", "bedroom/south", "bedroom/ceiling"
    kind: PanelKind
    width_m: float  # along the wall, or along x; across the slope of a sloped ceiling
    height_m: float  # upward, or along y; up the slope of a sloped ceiling
    round: bool = False  # a circle of diameter `width_m`, as twelve sides of the same area
    along_m: float | None = None
    from_left: bool = False  # `along_m` counts from the left-hand corner seen from inside
    sill_m: float = 0.0
    centre: tuple[float, float] | None = None  # in the space's own coordinates
    title: str = ""  # what the client calls it
    reveal_m: float = 0.0
    undercut_m: float = 0.0
    ring_m: float = 0.0
    seams_m: float = 0.0  # beside and above a door, all round a hatch
    film_edge_m: float = 0.0  # of the glazing, that no film reaches
    frame_m: float = 0.0  # width of the frame, within the opening
    frame_assembly: str | None = None  # what the frame is made of
    tilt_m: float = 0.0  # how far the head of its sash comes in where some state has it tilted
    state: OpeningState = "shut"
    assembly: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PanelSpec:
    """What is said of one panel apart from its treatment."""

    on: str
    assembly: str | None = None
    earth: bool = False
    unmodelled: bool = False  # leads to a part of the house that is left out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ObstacleSpec:
    """A box outdoors that stops every ray, such as a neighbour's house."""

    id: str
    corners: Floats  # (n, 2) convex, counter-clockwise, in the building's coordinates [m]
    low_m: float  # absolute
    high_m: float
