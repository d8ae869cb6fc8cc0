"""What a project file may say of the building: storeys, spaces, dormers, openings, panels.

pydantic reads the values (see `fields`) and refuses unknown keys. Rules that join several keys of
one table stand in `problems`, which answers with pairs of a key and a sentence, so that all of
them come at once and each finds its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field

from envelope import units
from envelope.building.model import OPENING_KINDS, PanelKind
from envelope.building.rooms.specs import CeilingShape, OpeningState
from envelope.errors import UnitError
from envelope.project.schema import fields
from envelope.project.schema.fields import Choice

WORK = ("bare", "finished", "now-or-never")
DEFAULT_TILT_M = 0.1  # common practice, no source
# bedroom/floor, bedroom/ceiling-2, bedroom/ceiling-south, bedroom/N1-ceiling
_FLAT = re.compile(r"(?:[A-Za-z0-9_-]+-)?(?:floor|ceiling)(?:-[a-z0-9]+)?")

Problems = Iterator[tuple[str, str]]
State = Annotated[
    OpeningState, Choice(what="a state", words=("shut", "tilted", "open", "shuttered"))
]


def hyphens(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


class Table(BaseModel):
    """A table of the file; its keys have hyphens."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        alias_generator=hyphens,
        arbitrary_types_allowed=True,
    )

    # Keys that a later version will understand.
    later: ClassVar[tuple[str, ...]] = ()
    # Words that people write for a key whose spelling is far from theirs, or near another's.
    meant: ClassVar[Mapping[str, str]] = {}

    def problems(self) -> Problems:
        """Rules between keys that are broken, as pairs of a key and a sentence."""
        yield from ()

    @classmethod
    def loose_problems(cls, entry: Mapping[str, Any]) -> Problems:
        """What is wrong with keys that are read late, where another key is faulty already."""
        yield from ()

    def given(self) -> set[str]:
        """Keys that the file states."""
        return {hyphens(name) for name in self.model_fields_set}


def exactly_one(table: Table, *, what: str, of: tuple[str, ...], fallback: str = "id") -> Problems:
    """Rule that a table states one of some keys."""
    given = [key for key in of if key in table.given()]
    if len(given) != 1:
        found = f"has {' and '.join(given)}" if given else "has none"
        yield (
            (given[-1] if given else fallback),
            f"{what} takes one of {', '.join(of)}, and this {found}",
        )


class Site(Table):
    """How the building stands on its ground."""

    north: fields.Turn = Field(0.0, description="True azimuth of +y, clockwise; default 0 deg")
    grade: fields.Length = Field(0.0, description="Ground level; default 0 m")
    reach: fields.Distance = Field(3.0, description="How near the ground blocks; default 3 m")


class Storey(Table):
    """A level on which spaces stand."""

    id: fields.Id
    floor: fields.Length


class Ceiling(Table):
    """Planes that rise from the eaves, which are the height; the lowest at each spot counts."""

    shape: Annotated[CeilingShape, Choice(what="a shape", words=("shed", "gable", "hipped"))]
    along: fields.Side | None = Field(
        None,
        description='Of a gable: its ridge runs along "x" (east and west), "y" (north and south) '
        'or a wall, such as "1"; a compass word says the same',
    )
    low: fields.Side | None = Field(
        None, description='Of a shed: the side of its eaves, such as "south", or a wall'
    )
    ridge: fields.Dimension | None = Field(None, description="Greatest height above the floor")
    pitch: fields.Pitch | None = Field(None, description="Instead of ridge")
    through: fields.Spot | None = Field(
        None, description="x, y of a point under a gable's ridge; default midway"
    )
    flat: fields.Dimension | None = Field(
        None, description="Height of a level part, as under collar beams"
    )
    over: fields.Footprint | None = Field(
        None, description="Outline whose edges are the eaves; default the space's own"
    )

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a ceiling", of=("ridge", "pitch"), fallback="shape")
        for key, shape, words in (
            ("along", "gable", ("x", "y", "north", "east", "south", "west")),
            ("low", "shed", ("north", "east", "south", "west")),
        ):
            value = getattr(self, key)
            if self.shape == shape and value is None:
                yield key, f'{key} is missing: a {shape} needs it, such as {key} = "{words[0]}"'
            elif self.shape != shape and value is not None:
                yield key, f'{key} goes with shape = "{shape}" only'
            elif value is not None and value not in words and not value.isdigit():
                allowed = ", ".join(f'"{word}"' for word in words)
                yield key, f"{fields.shown(value)} is not allowed: {key} is {allowed} or a wall"
        if self.through is not None and self.shape != "gable":
            yield "through", 'through goes with shape = "gable" only'


class _Outlined(Table):
    """What has an outline in plan."""

    size: fields.Rectangle | None = None
    footprint: fields.Footprint | None = None
    walk: fields.Walk | None = None
    origin: fields.Spot = Field((0.0, 0.0), description="Added to its own coordinates; default 0")

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Corners in its own coordinates, counter-clockwise."""
        return self.size or self.footprint or self.walk or ()


_OUTLINES = ("size", "footprint", "walk")


class Space(_Outlined):
    """A room by its inside faces."""

    id: fields.Id
    title: fields.Name = Field("", description="What the client calls it")
    storey: fields.Storey
    height: fields.Eaves  # to the ceiling, or to the eaves of one that is not flat
    floor: fields.Length = Field(0.0, description="Its floor above its storey's; default 0 m")
    ceiling: Ceiling | None = None
    hollow: Annotated[list[fields.Footprint], Field(max_length=50)] = Field(
        default_factory=list,
        description="Outlines of what stands free in it from floor to ceiling: columns, a chimney",
    )
    beside: fields.Reference | None = Field(
        None,
        description="In place of origin: the wall of a neighbour that it adjoins, such as "
        '"hall/north wall"; the wall between is as thick as [construction] interior-wall',
    )
    shift: fields.Length = Field(
        0.0,
        description="With beside: how far its west or south end lies from that of the "
        "neighbour's wall, towards east or north; default 0 m",
    )
    apart: fields.Dimension | None = Field(
        None, description="With beside: thickness of the wall between, where it is another"
    )
    raised: bool = Field(False, description="Its lowest floor stands clear of the earth")
    occupants: fields.People | None = Field(
        None, description="People in it, who absorb; default 1 where a receiver is, else 0"
    )
    furnishing: fields.Furnishing | None = Field(
        None,
        description="Absorption cross-section of what stands in it; else a furnished bedroom "
        "where a receiver is, drawn from 1 to 4 m2, and nothing elsewhere",
    )

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a space", of=_OUTLINES)
        for key in ("shift", "apart"):
            if key in self.given() and self.beside is None:
                yield key, f"{key} goes with beside"
        if self.beside is not None and "origin" in self.given():
            yield "origin", "origin does not go with beside, which places the room"
        if self.height == 0.0 and self.ceiling is None:
            yield "height", '"0 m" is out of range: a length must be above 0 m and at most 100 km'
        yield from _within("ceiling", self.ceiling)


class Dormer(_Outlined):
    """A part of a space's plan with a ceiling of its own, which counts where it is the higher.

    A dormer, or a cross gable. Walls close the step where its outline runs inside the room.
    """

    id: fields.Id
    space: fields.Reference
    height: fields.Dimension = Field(description="Of its ceiling or eaves above the space's floor")
    ceiling: Ceiling | None = Field(None, description="Default flat")

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a dormer", of=_OUTLINES)
        yield from _within("ceiling", self.ceiling)


class Obstacle(_Outlined):
    """A block outdoors that stops every ray: a neighbour's house. The building's coordinates."""

    id: fields.Id
    height: fields.Dimension
    floor: fields.Length | None = Field(None, description="Its foot, absolute; default the grade")

    def problems(self) -> Problems:
        yield from exactly_one(self, what="an obstacle", of=_OUTLINES)


class Opening(Table):
    """A window, door or other hole in a wall, floor or ceiling."""

    id: fields.Id
    title: fields.Name = Field("", description="What the client calls it")
    on: fields.Reference = Field(description="bedroom/1, bedroom/south, bedroom/ceiling")
    kind: Annotated[PanelKind, Choice(what="a kind of opening", words=OPENING_KINDS)]
    at: fields.Where = Field(
        description="Along a wall from its first corner; on a floor or ceiling x, y of the centre"
    )
    size: fields.OpeningSize = Field(
        description="Width by height; along x by along y in a level floor or ceiling, across by "
        "up the slope in a sloped one; or the diameter of a round one"
    )
    from_: Annotated[str, Choice(what="a side", words=("right", "left"))] = Field(
        "right", description="The corner, seen from inside, that `at` counts from"
    )
    sill: fields.Distance | None = Field(None, description="Default 0 m for doors and open holes")
    reveal: fields.Distance = Field(0.0, description="Depth of its jambs; default 0 m")
    undercut: fields.Distance = Field(0.0, description="Gap under a door; default 0 m")
    ring: fields.Distance = Field(0.0, description="Width kept clear round a box; default 0 m")
    seams: fields.Distance = Field(
        0.0, description="Gap beside and over a door, all round a hatch; default 0 m"
    )
    film_edge: fields.Distance = Field(
        0.0, description="Edge of the pane that no film reaches; default 0 m"
    )
    frame: fields.Distance = Field(
        0.0,
        description="Width of a window's frame, within its size; no film reaches it. Default 0 m: "
        "all of the opening counts as glass",
    )
    frame_assembly: fields.Reference | None = Field(
        None, description='What the frame is made of, such as "wood-frame" or "metal-frame"'
    )
    tilt: fields.Dimension | None = Field(
        None,
        description="How far the head of a tilted sash comes in; default 100 mm where it is tilted",
    )
    shutter: fields.Reference | None = Field(None, description="Assembly outside it when shuttered")
    state: State = Field("shut", description="Default shut; a plan may say otherwise")
    assembly: fields.Reference | None = None

    def problems(self) -> Problems:
        yield from self.loose_problems({"on": self.on, "at": self.at})
        if self.flat:
            for key in ("sill", "from"):
                if key in self.given():
                    yield key, f"{key} goes with an opening in a wall only"
        elif self.sill is None and self.kind not in ("door", "open"):
            yield "sill", f'sill is missing: a {self.kind} needs it, such as sill = "0.9 m"'
        for key, value, kinds in (
            ("undercut", self.undercut, ("door",)),
            ("ring", self.ring, ("box", "light")),
            ("seams", self.seams, ("door", "hatch")),
            ("film-edge", self.film_edge, ("window", "skylight")),
            ("frame", self.frame, ("window", "skylight")),
            ("tilt", self.tilt, ("window", "skylight")),
            ("shutter", self.shutter, ("window", "skylight", "door")),
        ):
            if value and self.kind not in kinds:
                words = " or ".join(f'"{kind}"' for kind in kinds)
                yield key, f"{key} goes with kind = {words} only"
        if self.frame and self.frame_assembly is None:
            yield (
                "frame-assembly",
                "frame-assembly is missing: a frame needs it, such as "
                'frame-assembly = "wood-frame"',
            )
        if self.frame_assembly is not None and not self.frame:
            yield "frame-assembly", 'frame-assembly goes with a frame, such as frame = "3 in"'
        trouble = self.cannot_be(self.state)
        if trouble is not None:
            yield "state", trouble

    @classmethod
    def loose_problems(cls, entry: Mapping[str, Any]) -> Problems:
        on, at = entry.get("on"), entry.get("at")
        if not isinstance(on, str):
            return
        space, slash, panel = on.partition("/")
        if not slash or not space or not panel or "/" in panel:
            yield "on", f'{fields.shown(on)} is not a panel: write it such as "bedroom/1"'
        if isinstance(at, str):
            try:
                _position(at, flat=_is_flat(on))
            except UnitError as error:
                yield "at", str(error)

    def cannot_be(self, state: str) -> str | None:
        """Why it cannot be in a state, or None."""
        if state == "shuttered" and self.shutter is None:
            return 'a shuttered opening names what closes it, such as shutter = "roller-shutter"'
        if state == "tilted" and self.kind not in ("window", "skylight"):
            return f"a {self.kind} cannot be tilted: only a window or skylight can"
        if state != "shut" and self.kind in ("box", "light", "open"):
            return f"a {self.kind} has no state: leave it out"
        return None

    @property
    def tilt_m(self) -> float:
        """How far its sash tilts in; 0 where no state can have it tilted."""
        if self.tilt is None:
            return DEFAULT_TILT_M if self.state == "tilted" else 0.0
        return self.tilt

    @property
    def flat(self) -> bool:
        """Whether it lies in a floor or ceiling."""
        return _is_flat(self.on)

    def position(self) -> tuple[float | None, tuple[float, float] | None]:
        """Distance along its wall, or its centre."""
        return _position(self.at, flat=self.flat)


def _is_flat(on: str) -> bool:
    return _FLAT.fullmatch(on.partition("/")[2]) is not None


def _position(at: str, *, flat: bool) -> tuple[float | None, tuple[float, float] | None]:
    if flat:
        x, y = units.parse_point(at, count=2)
        return None, (x, y)
    along_m = units.parse_length(at)
    if not 0.0 <= along_m <= 1e5:
        raise UnitError(f"{fields.shown(at)} is out of range: along a wall it must be 0 m or more")
    return along_m, None


class Panel(Table):
    """What is said of panels apart from their treatment."""

    on: fields.Selector
    assembly: fields.Reference | None = None
    behind: (
        Annotated[
            str,
            Choice(what="what lies behind", words=("earth", "unmodelled")),
        ]
        | None
    ) = Field(None, description='"unmodelled": a part of the house that the job leaves out')
    work: Annotated[str, Choice(what="what work may be done", words=WORK)] | None = Field(
        None,
        description='"bare": keep it so; "finished": nothing more is done to it; "now-or-never": '
        "out of reach once it is closed, such as a floor that is up",
    )

    @property
    def is_construction(self) -> bool:
        """Whether it speaks of what stands there, rather than of the work."""
        return self.assembly is not None or self.behind is not None

    def problems(self) -> Problems:
        if not self.is_construction and self.work is None:
            words = ", ".join(f'"{word}"' for word in WORK)
            yield (
                "on",
                'this says nothing of the panel: give assembly, behind = "earth" or '
                f'"unmodelled", or work, which is one of {words}',
            )


def _within(key: str, table: Table | None) -> Problems:
    for inner, message in () if table is None else table.problems():
        yield f"{key}.{inner}", message
