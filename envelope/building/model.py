"""The building: closed spaces of planar panels, the patches behind them, the elements between.

    Space ── Panel ── Patch ──┬── facing Patch of another space
      (closed)  (polygon) (one   ├── outdoors
                          thing  ├── earth
                          behind)└── a part of the house that is not modelled
                             └── Element (the building part, shared by both sides)

Every importer ends here, and nothing downstream reads geometry from anywhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np

from envelope.geometry.plane import Floats, Frame, Region, area_vector, frame_of, frozen

PanelKind = Literal[
    "wall",
    "floor",
    "ceiling",
    "window",
    "door",
    "hatch",
    "vent",
    "skylight",
    "light",
    "box",
    "open",
    "reveal",
    "seam",
]
OPENING_KINDS: tuple[PanelKind, ...] = (
    "window",
    "door",
    "hatch",
    "vent",
    "skylight",
    "light",
    "box",
    "open",
)

# "unmodelled" is a part of the house that the job leaves out: all that is known of it is that it is
# neither earth nor outdoors.
Behind = Literal["outdoors", "earth", "space", "unmodelled"]

# Which line of `[construction]` an element follows unless its panel names an assembly.
# "none" is a bare hole: nothing stands there.
ElementKind = Literal[
    "exterior-wall",
    "interior-wall",
    "floor",
    "slab",
    "roof",
    "window",
    "door",
    "hatch",
    "vent",
    "skylight",
    "light",
    "box",
    "none",
]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """A planar polygon of a space's boundary, seen from inside.

    `outline` runs counter-clockwise seen from inside the space, so that `frame.normal` points
    into it. Holes are where openings sit: each is filled exactly by a panel of its own.
    """

    id: str  # "bedroom/1", "bedroom/floor", "bedroom/W1", "bedroom/W1/sill"
    space: str
    kind: PanelKind
    outline: Floats  # (n, 3) [m]
    holes: tuple[Floats, ...] = ()  # each (k, 3) [m]
    aliases: tuple[str, ...] = ()  # other ids that name it, such as "bedroom/south"
    host: str | None = None  # wall, floor or ceiling that carries this opening, reveal or seam
    opening: str | None = None  # panel id of the opening that a reveal or seam belongs to
    assembly: str | None = None  # set where the project names one for this panel
    earth: bool = False  # said to be against earth
    unmodelled: bool = False  # what no space faces of it leads to a part of the house left out
    stands_open: bool = False  # its leaf is open: nothing stands in the hole
    filled: bool = False  # a seam with its opening's own material in it: only treatments stop short
    inner: bool = False  # stands round a hollow inside its space: a column, a chimney
    title: str = ""  # of an opening, and of what belongs to it: what the client calls it
    tags: tuple[str, ...] = ()  # names that an imported model gave (layer, material, type)
    frame: Frame = field(init=False)
    area_m2: float = field(init=False)

    def __post_init__(self) -> None:
        outline = frozen(self.outline)
        holes = tuple(frozen(hole) for hole in self.holes)
        net = float(np.linalg.norm(area_vector(outline)))
        net -= sum(float(np.linalg.norm(area_vector(hole))) for hole in holes)
        object.__setattr__(self, "outline", outline)
        object.__setattr__(self, "holes", holes)
        object.__setattr__(self, "frame", frame_of(outline))
        object.__setattr__(self, "area_m2", net)

    def __repr__(self) -> str:
        return f"<Panel {self.id!r}: {self.kind} of {self.area_m2:.2f} m²>"

    @property
    def normal(self) -> Floats:
        """Unit normal (3,), pointing into the space."""
        return self.frame.normal


def said_behind(
    panels: Mapping[str, Panel], name: str, *, earth: bool, unmodelled: bool
) -> dict[str, Panel]:
    """Panels of which it was said what lies behind one of them, and so behind its openings.

    Parameters
    ----------
    panels : mapping
        By id.
    name : str
        The panel of which it was said.
    earth, unmodelled : bool
        What was said; neither leaves everything as it is, and one puts an end to the other.
    """
    if not (earth or unmodelled):
        return {}
    return {
        id: replace(panel, earth=earth, unmodelled=unmodelled)
        for id, panel in panels.items()
        if id == name or panel.host == name
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Storey:
    """A level on which spaces stand."""

    id: str
    floor_m: float  # height of its finished floor


@dataclass(frozen=True, slots=True, weakref_slot=True, kw_only=True, eq=False)
class Space:
    """A closed room volume."""

    id: str
    storey: str
    panels: tuple[Panel, ...]
    floor_m: float  # height of its floor, from which a receiver's height is counted
    origin: Floats = field(default_factory=lambda: frozen((0.0, 0.0)))  # of its own coordinates
    raised: bool = False  # its lowest floor stands clear of the earth
    title: str = ""  # what the client calls it
    volume_m3: float = field(init=False)

    def __repr__(self) -> str:
        return f"<Space {self.id!r}: {len(self.panels)} panels, {self.volume_m3:.1f} m³>"

    def __post_init__(self) -> None:
        object.__setattr__(self, "origin", frozen(self.origin))
        object.__setattr__(self, "volume_m3", enclosed_volume(self.panels))


def enclosed_volume(panels: tuple[Panel, ...]) -> float:
    """Volume inside closed panels whose normals point inward, by the divergence theorem. [m³]"""
    reference = panels[0].outline[0]
    total = 0.0
    for panel in panels:
        depth = float((panel.outline[0] - reference) @ panel.normal)
        total -= depth * panel.area_m2 / 3.0
    return total


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Element:
    """The building part behind a patch, shared by both panels where it has two."""

    index: int
    kind: ElementKind
    assembly: str | None  # None only where kind is "none"
    first: str  # panel on whose side the assembly's first layer lies
    second: str | None = None  # the panel on its other side, where that is a space


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """The part of a panel that has one and the same thing behind it."""

    index: int
    panel: str
    regions: tuple[Region, ...]  # in the panel's frame; disjoint
    area_m2: float
    behind: Behind
    element: int  # index into Building.elements
    far: str | None = None  # facing panel, where behind is "space"
    partner: int | None = None  # index of the facing panel's patch that looks back
    distance_m: float = 0.0  # to the facing panel, along the normal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Site:
    """How the building stands on its ground."""

    north_rad: float = 0.0  # true azimuth of the project's +y, clockwise from north
    grade_m: float = 0.0  # ground level
    reach_m: float = 3.0  # how near to the building the ground blocks a downward ray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Obstacle:
    """A convex block outdoors that stops every ray, such as a neighbour's house.

    A point lies in it where ``planes[:, :3] @ point <= planes[:, 3]`` for every row.
    """

    id: str
    corners: Floats  # (n, 2) of its footprint, counter-clockwise [m]
    low_m: float
    high_m: float
    planes: Floats = field(init=False)  # (n + 2, 4): outward unit normal, and its offset

    def __post_init__(self) -> None:
        corners = frozen(self.corners)
        sides = np.roll(corners, -1, axis=0) - corners
        outward = np.column_stack((sides[:, 1], -sides[:, 0])) / np.hypot(*sides.T)[:, np.newaxis]
        planes = np.zeros((len(corners) + 2, 4))
        planes[:-2, :2] = outward
        planes[:-2, 3] = np.einsum("ij,ij->i", outward, corners)
        planes[-2:, 2] = 1.0, -1.0
        planes[-2:, 3] = self.high_m, -self.low_m
        object.__setattr__(self, "corners", corners)
        object.__setattr__(self, "planes", frozen(planes))

    def holds(self, point: Floats) -> bool:
        """Whether a point (3,) lies inside it or on it."""
        return bool(np.all(self.planes[:, :3] @ point <= self.planes[:, 3]))


@dataclass(frozen=True, kw_only=True, eq=False)
class Building:
    """Spaces, panels, patches and elements, checked; the one geometry of a job.

    `panels` lists every panel, space by space in the order of `spaces`, so that a panel's index
    is the same everywhere. `digest` fingerprints the geometry: a cast carries it.
    """

    site: Site
    storeys: tuple[Storey, ...]  # from the lowest up
    spaces: tuple[Space, ...]
    panels: tuple[Panel, ...]
    patches: tuple[Patch, ...]
    elements: tuple[Element, ...]
    digest: str
    notes: tuple[str, ...] = ()  # conventions that were applied and that the user should know
    obstacles: tuple[Obstacle, ...] = ()  # none of them in a space

    def __repr__(self) -> str:
        return (
            f"<Building: {len(self.storeys)} storeys, {len(self.spaces)} spaces, "
            f"{len(self.panels)} panels>"
        )

    @cached_property
    def panel_index(self) -> dict[str, int]:
        """Index of each panel by id and by alias."""
        found = {panel.id: index for index, panel in enumerate(self.panels)}
        for index, panel in enumerate(self.panels):
            for alias in panel.aliases:
                found.setdefault(alias, index)
        return found

    @cached_property
    def space_index(self) -> dict[str, int]:
        """Index of each space by id."""
        return {space.id: index for index, space in enumerate(self.spaces)}

    @cached_property
    def patches_of(self) -> dict[str, tuple[Patch, ...]]:
        """Patches of each panel, by the panel's id."""
        found: dict[str, list[Patch]] = {panel.id: [] for panel in self.panels}
        for patch in self.patches:
            found[patch.panel].append(patch)
        return {panel: tuple(patches) for panel, patches in found.items()}

    @cached_property
    def standings(self) -> dict[tuple[str | None, tuple[float, ...]], str | None]:
        """Trouble with points that records name, by space and point; kept as it is found."""
        return {}

    def panel(self, name: str) -> Panel:
        """Panel by id or alias."""
        return self.panels[self.panel_index[name]]

    def space(self, name: str) -> Space:
        """Space by id."""
        return self.spaces[self.space_index[name]]
