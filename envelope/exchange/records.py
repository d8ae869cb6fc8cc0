"""What an importer hands over: spaces ready for the building, and an honest account of the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from envelope.building.job import Assembly
from envelope.building.model import Space, Storey
from envelope.geometry.plane import Floats

OURS = "gapcast"  # key of the extras that an export of ours carries
NOTHING_FOUND = "nothing-found"  # assembly where the model has no element: it stops nothing
NoteKind = Literal["repaired", "left-out", "refused", "unmapped", "gap", "guessed", "remark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One thing that the user should know about an import."""

    kind: NoteKind
    subject: str  # object, space, panel or material that it concerns; "" for the file
    message: str
    position_m: tuple[float, float, float] | None = None  # where, for a picture
    others_m: tuple[tuple[float, float, float], ...] = ()  # further places of the same
    box_m: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None  # its extent

    def __str__(self) -> str:
        return f"{self.subject}: {self.message}" if self.subject else self.message


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelOrigin:
    """Where a panel comes from in the model, and what the model says stands there."""

    panel: str
    names: tuple[str, ...] = ()  # object, group, layer or element names
    materials: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()  # building elements behind it (IFC GlobalId), nearest first
    type: str | None = None  # class of the nearest
    beyond: str | None = None  # what the model itself leads to, "space B202", "outdoors"
    others: tuple[str, ...] = ()  # where parts of it lead to something else, the same of those
    reason: str = ""  # why it has the kind it has
    unexplained: bool = False  # a hole where the model has no element, nor an opening


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialUse:
    """A material of the model and the known material it was read as."""

    name: str
    known: str | None  # None where nothing fits
    panels: int
    why: str = ""  # what in its name or the job says so
    doubt: str = ""  # why it is unsure, "" where it is not

    @property
    def sureness(self) -> str:
        """How sure the reading is, in a word."""
        if self.known is None:
            return "unknown"
        return "unsure" if self.doubt else "sure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """How far a model's own surface stands off a panel that was fitted to it."""

    mean_m: float  # root of the mean square
    most_m: float  # 95 % of it lie nearer
    beyond: float  # share that stands off by more than 5 cm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """What prisms that were fitted to an open mesh leave of it."""

    offsets: Mapping[str, Offset]  # by panel id
    lines_m: Floats  # (k, 2, 2) cuts of the mesh in plan, for a drawing
    elsewhere: float  # share of its surface that is of no panel: furniture, other sides, outdoors


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Imported:
    """Spaces for `assemble_building`, what the model says of them, and what was done."""

    source: str
    format: str
    storeys: tuple[Storey, ...]
    spaces: tuple[Space, ...]
    origins: Mapping[str, PanelOrigin]  # by panel id
    notes: tuple[Note, ...] = ()
    assemblies: Mapping[str, Assembly] = field(default_factory=dict)  # from the model's layers
    construction: Mapping[str, str] = field(default_factory=dict)  # the commonest by element kind
    materials: tuple[MaterialUse, ...] = ()
    size_m: Floats | None = None  # (3,) of everything in the file
    north_rad: float = 0.0  # true azimuth of the model's +y
    grade_m: float | None = None  # where the file says so
    tables: Mapping[str, Any] = field(default_factory=dict)  # of the job that an export came from
    fit: Fit | None = None  # where rooms were fitted to an open mesh
    worked_out: str = ""  # how the rooms' shapes came about where the file does not give them

    def noted(self, kind: NoteKind) -> tuple[Note, ...]:
        """The notes of one kind."""
        return tuple(note for note in self.notes if note.kind == kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedSpace:
    """One space that a model offers."""

    id: str
    name: str
    storey: str
    area_m2: float  # of its floor
    volume_m3: float
    trouble: str = ""  # why it cannot be imported, "" where it can


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """What a model holds, to choose from before importing."""

    source: str
    format: str
    storeys: tuple[Storey, ...]
    spaces: tuple[ListedSpace, ...]
    notes: tuple[Note, ...] = ()
