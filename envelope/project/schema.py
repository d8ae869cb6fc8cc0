"""What a project file may say: one model a table, each with the rules between its own keys.

pydantic reads the values (see `fields`) and refuses unknown keys. Rules that join several keys of
one table stand in `problems`, which answers with pairs of a key and a sentence, so that all of
them come at once and each finds its line.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field

from envelope import units
from envelope.building.job import Polarization
from envelope.building.records import OPENING_KINDS, PanelKind
from envelope.building.specs import OpeningState
from envelope.errors import UnitError
from envelope.project import fields
from envelope.project.fields import Choice

FORMAT = 1

DEFAULT_SPREAD_RAD = 0.08726646259971647  # 5°
DEFAULT_TOLERANCE_RAD = 0.0873  # 5°, as the record has it

Problems = Iterator[tuple[str, str]]
TreatmentKind = Literal["sheet", "mesh", "table", "layers", "fixed"]


def _hyphens(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


class Table(BaseModel):
    """A table of the file; its keys have hyphens."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        alias_generator=_hyphens,
        arbitrary_types_allowed=True,
    )

    # Keys that a later version will understand.
    later: ClassVar[tuple[str, ...]] = ()

    def problems(self) -> Problems:
        """Rules between keys that are broken, as pairs of a key and a sentence."""
        yield from ()

    def given(self) -> set[str]:
        """Keys that the file states."""
        return {_hyphens(name) for name in self.model_fields_set}


def _exactly_one(table: Table, *, what: str, of: tuple[str, ...]) -> Problems:
    given = [key for key in of if key in table.given()]
    if len(given) != 1:
        found = f"has {' and '.join(given)}" if given else "has none"
        yield (
            (given[-1] if given else "id"),
            f"{what} takes one of {', '.join(of)}, and this {found}",
        )


class Site(Table):
    """How the building stands on its ground."""

    north: fields.Turn = Field(0.0, description="True azimuth of +y, clockwise; default 0 deg")
    grade: fields.Length = Field(0.0, description="Ground level; default 0 m")
    reach: fields.Distance = Field(3.0, description="How near the ground blocks; default 3 m")


class Construction(Table):
    """Which assembly stands behind each kind of patch."""

    exterior_wall: fields.Reference | None = None
    interior_wall: fields.Reference | None = None
    floor: fields.Reference | None = None
    slab: fields.Reference | None = None
    roof: fields.Reference | None = None
    window: fields.Reference | None = None
    door: fields.Reference | None = None
    hatch: fields.Reference | None = None
    vent: fields.Reference | None = None
    skylight: fields.Reference | None = None
    light: fields.Reference | None = None
    box: fields.Reference | None = None

    def by_kind(self) -> dict[str, str]:
        """Assembly of each kind that is stated."""
        return {_hyphens(name): getattr(self, name) for name in self.model_fields_set}


class Layer(Table):
    """One layer: a material with its thickness, or a thin conducting sheet."""

    material: fields.Reference | None = None
    thickness: fields.Dimension | None = None
    sheet_resistance: fields.SheetResistance | None = None
    cavity: bool | None = Field(
        None,
        description="Its width varies from place to place, as between studs; default: air of "
        "40 mm or more",
    )

    def problems(self) -> Problems:
        yield from _exactly_one(self, what="a layer", of=("material", "sheet-resistance"))
        if self.material is not None and self.thickness is None:
            yield "thickness", 'thickness is missing, such as thickness = "12.5 mm"'
        if self.sheet_resistance is not None:
            for key in ("thickness", "cavity"):
                if key in self.given() and self.material is None:
                    yield key, f"{key} does not go with sheet-resistance"


Layers = Annotated[list[Layer], Field(min_length=1, max_length=60)]


class Material(Table):
    """A material of the job's own."""

    id: fields.Id
    permittivity: fields.Permittivity = Field(description="Relative permittivity")
    conductivity: fields.Conductivity | None = None
    loss_tangent: fields.LossTangent | None = None

    def problems(self) -> Problems:
        if self.conductivity is not None and self.loss_tangent is not None:
            yield "loss-tangent", "a material takes conductivity or loss-tangent, not both"


class Assembly(Table):
    """Layers of an element from inside to outside, or a loss at every angle."""

    id: fields.Id
    layers: Layers | None = None
    loss: fields.Loss | None = None
    entry_loss: fields.Reference | None = Field(
        None, description="A material class of 3GPP TR 38.901"
    )
    reflects: fields.Share | None = Field(None, description="Power fraction; default 0.1")
    note: fields.PlainText = ""

    def problems(self) -> Problems:
        yield from _exactly_one(self, what="an assembly", of=("layers", "loss", "entry-loss"))
        yield from _nested(self.layers)
        if self.reflects is not None and self.loss is None:
            yield "reflects", "reflects goes with loss only: layers and classes have their own"
        yield from _more_than_all(self.reflects, self.loss)


class Storey(Table):
    """A level on which spaces stand."""

    id: fields.Id
    floor: fields.Length


class Space(Table):
    """A room by its inside faces."""

    later = ("ceiling",)

    id: fields.Id
    storey: fields.Reference
    height: fields.Dimension
    size: fields.Rectangle | None = None
    footprint: fields.Footprint | None = None
    walk: fields.Walk | None = None
    origin: fields.Spot = Field((0.0, 0.0), description="Added to its own coordinates; default 0")
    raised: bool = Field(False, description="Its lowest floor stands clear of the earth")
    occupants: fields.People = Field(0, description="People in it, who absorb; default 0")
    furnishing: fields.Area = Field(
        0.0, description="Absorption cross-section of what stands in it; default 0 m2"
    )

    def problems(self) -> Problems:
        yield from _exactly_one(self, what="a space", of=("size", "footprint", "walk"))

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Corners in its own coordinates, counter-clockwise."""
        return self.size or self.footprint or self.walk or ()


class Opening(Table):
    """A window, door or other hole in a wall, floor or ceiling."""

    id: fields.Id
    on: fields.Reference = Field(description="bedroom/1, bedroom/south, bedroom/ceiling")
    kind: Annotated[PanelKind, Choice(what="a kind of opening", words=OPENING_KINDS)]
    at: fields.Where = Field(
        description="Along a wall from its first corner; on a floor or ceiling x, y of the centre"
    )
    size: fields.Size = Field(description="Width by height, or along x by along y")
    from_: Annotated[str, Choice(what="a side", words=("right", "left"))] = Field(
        "right", description="The corner, seen from inside, that `at` counts from"
    )
    sill: fields.Distance | None = Field(None, description="Default 0 m for doors and open holes")
    reveal: fields.Distance = Field(0.0, description="Depth of its jambs; default 0 m")
    undercut: fields.Distance = Field(0.0, description="Gap under a door; default 0 m")
    ring: fields.Distance = Field(0.0, description="Width kept clear round a box; default 0 m")
    state: Annotated[OpeningState, Choice(what="a state", words=("shut", "tilted", "open"))] = (
        Field("shut", description="Default shut")
    )
    assembly: fields.Reference | None = None

    def problems(self) -> Problems:
        space, slash, panel = self.on.partition("/")
        if not slash or not space or not panel or "/" in panel:
            yield "on", f'{fields.shown(self.on)} is not a panel: write it such as "bedroom/1"'
        try:
            self.position()
        except UnitError as error:
            yield "at", str(error)
        if self.flat:
            for key in ("sill", "from"):
                if key in self.given():
                    yield key, f"{key} goes with an opening in a wall only"
        elif self.sill is None and self.kind not in ("door", "open"):
            yield "sill", f'sill is missing: a {self.kind} needs it, such as sill = "0.9 m"'
        for key, value, kind in (("undercut", self.undercut, "door"), ("ring", self.ring, "box")):
            if value and self.kind != kind:
                yield key, f'{key} goes with kind = "{kind}" only'

    @property
    def flat(self) -> bool:
        """Whether it lies in a floor or ceiling."""
        return self.on.partition("/")[2].split("-")[0] in ("floor", "ceiling")

    def position(self) -> tuple[float | None, tuple[float, float] | None]:
        """Distance along its wall, or its centre."""
        if self.flat:
            x, y = units.parse_point(self.at, count=2)
            return None, (x, y)
        along_m = units.parse_length(self.at)
        if not 0.0 <= along_m <= 1e5:
            raise UnitError(
                f"{fields.shown(self.at)} is out of range: along a wall it must be 0 m or more"
            )
        return along_m, None


class Panel(Table):
    """What is said of panels apart from their treatment."""

    on: fields.Selector
    assembly: fields.Reference | None = None
    behind: Annotated[str, Choice(what="what lies behind", words=("earth",))] | None = None

    def problems(self) -> Problems:
        if self.assembly is None and self.behind is None:
            yield "on", 'this says nothing of the panel: give assembly or behind = "earth"'


# Keys of each kind of treatment: those it must have, and those it may.
_TREATMENT_KEYS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "sheet": (("sheet-resistance",), ("coats",)),
    "mesh": (("wire", "pitch"), ("metal", "conductivity")),
    "table": (("loss",), ()),
    "layers": (("layers",), ()),
    "fixed": (("loss",), ("reflects",)),
}


class Treatment(Table):
    """What is added on a panel."""

    id: fields.Id
    kind: Annotated[TreatmentKind, Choice(what="a kind of treatment", words=tuple(_TREATMENT_KEYS))]
    sheet_resistance: fields.SheetResistance | None = Field(None, description="Of one coat")
    coats: fields.Coats = Field(1, description="Default 1")
    wire: fields.Dimension | None = Field(None, description="Diameter of a mesh's wire")
    pitch: fields.Dimension | None = Field(None, description="From wire to wire")
    metal: fields.Reference | None = Field(None, description="What the wire is made of")
    conductivity: fields.Conductivity | None = Field(None, description="Of the wire")
    loss: fields.Loss | None = None
    reflects: fields.Share | None = Field(None, description="Power fraction")
    layers: Layers | None = None
    standoff: fields.Distance = Field(0.0, description="Air behind it; default 0 m")
    price: fields.Cost | None = None
    note: fields.PlainText = ""

    def problems(self) -> Problems:
        needed, allowed = _TREATMENT_KEYS[self.kind]
        given = self.given()
        for key in needed:
            if key not in given:
                yield key, f'{key} is missing: kind = "{self.kind}" needs it'
        common = {"id", "kind", "standoff", "price", "note"}
        for key in sorted(given - {*needed, *allowed, *common}):
            yield (
                key,
                (
                    f'{key} does not go with kind = "{self.kind}", which takes '
                    f"{', '.join((*needed, *allowed))}"
                ),
            )
        if self.kind == "mesh":
            yield from _exactly_one(self, what="a mesh", of=("metal", "conductivity"))
            if self.wire is not None and self.pitch is not None and self.pitch <= self.wire:
                yield "pitch", "pitch must be larger than wire: it runs from wire to wire"
        if self.kind == "table" and self.loss is not None and not self.loss.frequencies_hz:
            yield (
                "loss",
                (
                    'kind = "table" takes losses by frequency, such as '
                    '{ "900 MHz" = "40 dB", "3.5 GHz" = "34 dB" }'
                ),
            )
        if self.kind == "fixed":
            yield from _more_than_all(self.reflects, self.loss)
        yield from _nested(self.layers)


class Source(Table):
    """A direction outside, or a point."""

    id: fields.Id
    band: fields.Band
    azimuth: fields.Turn | None = Field(None, description="True, clockwise from north")
    elevation: fields.Elevation | None = Field(None, description="Up from the horizon")
    spread: fields.Spread = Field(DEFAULT_SPREAD_RAD, description="Half-angle; default 5 deg")
    level: fields.Level | None = None
    scattered: fields.Share = Field(0.0, description="Share that arrives evenly; default 0")
    space: fields.Reference | None = Field(None, description="Of a point; none: outdoors")
    at: fields.Point | None = None
    eirp: fields.Power | None = None
    polarization: Annotated[
        Polarization,
        Choice(what="a polarization", words=("unpolarized", "horizontal", "vertical")),
    ] = Field("unpolarized", description="Default unpolarized")
    ground_reflection: bool = Field(
        False, description="The level was measured without its mirrored partner; default false"
    )

    level_tolerance: fields.Decibels = Field(
        3.0, description="Half of the level's 10-90 % band; default 3 dB"
    )
    direction_tolerance: fields.Tolerance = Field(
        DEFAULT_TOLERANCE_RAD, description="Of its direction, the same; default 5 deg"
    )

    @property
    def is_point(self) -> bool:
        """Whether it is a point rather than a direction."""
        return bool(self.given() & {"space", "at", "eirp"})

    def problems(self) -> Problems:
        point, direction = ("at", "eirp"), ("azimuth", "elevation", "level")
        what = "a source at a point" if self.is_point else "a source in a direction"
        for key in point if self.is_point else direction:
            if key not in self.given():
                yield key, f"{key} is missing: {what} needs it"
        for key in (*direction, "spread", "scattered", "direction-tolerance"):
            if self.is_point and key in self.given():
                yield key, f"{key} does not go with {what}"


class Receiver(Table):
    """A point or a box where the level matters."""

    id: fields.Id
    space: fields.Reference
    at: fields.Point = Field(description="In the space's coordinates, height above its floor")
    size: fields.BoxSize | None = Field(None, description="Of a box, `at` being its centre")


class Treat(Table):
    """Which treatments a selector's panels get, from the surface inward; [] leaves them bare."""

    on: fields.Selector
    with_: fields.Treatments


class Plan(Table):
    """Which panel gets which treatments."""

    id: fields.Id
    title: fields.Name = ""
    extends: fields.Reference | None = None
    treat: Annotated[list[Treat], Field(max_length=500)] = Field(default_factory=list)


class ProjectFile(Table):
    """A job, in one file."""

    later = ("reading", "obstacle", "outlet", "circuit", "cable", "bond")

    format: Annotated[
        int,
        fields.Number(what="the format", example="1", at_least=1, at_most=FORMAT, whole=True),
    ]
    name: fields.Name
    site: Site = Field(default_factory=lambda: Site.model_validate({}))
    construction: Construction = Field(default_factory=lambda: Construction.model_validate({}))
    assembly: list[Assembly] = Field(default_factory=list)
    material: list[Material] = Field(default_factory=list)
    storey: list[Storey] = Field(default_factory=list)
    space: list[Space] = Field(default_factory=list)
    opening: list[Opening] = Field(default_factory=list)
    panel: list[Panel] = Field(default_factory=list)
    treatment: list[Treatment] = Field(default_factory=list)
    source: list[Source] = Field(default_factory=list)
    receiver: list[Receiver] = Field(default_factory=list)
    plan: list[Plan] = Field(default_factory=list)


# Tables that come many times, and how many of them a file may have.
LISTS: dict[str, tuple[type[Table], int]] = {
    "assembly": (Assembly, 500),
    "material": (Material, 500),
    "storey": (Storey, 100),
    "space": (Space, 500),
    "opening": (Opening, 3000),
    "panel": (Panel, 1000),
    "treatment": (Treatment, 500),
    "source": (Source, 200),
    "receiver": (Receiver, 200),
    "plan": (Plan, 200),
}
SINGLES: dict[str, type[Table]] = {"site": Site, "construction": Construction}


def json_schema() -> dict[str, Any]:
    """JSON Schema of the project file, for editors that check while one types."""
    found = _without_null(ProjectFile.model_json_schema(by_alias=True))
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **found,
        "title": "Gapcast project file",
    }


def _without_null(node: Any) -> Any:
    """TOML has no null: a key that may be left out is simply not required."""
    if isinstance(node, list):
        return [_without_null(item) for item in node if item != {"type": "null"}]
    if not isinstance(node, dict):
        return node
    clean = {
        key: _without_null(value)
        for key, value in node.items()
        if not (key == "default" and value is None)
    }
    only = clean.get("anyOf", ())
    return (
        {**only[0], **{k: v for k, v in clean.items() if k != "anyOf"}} if len(only) == 1 else clean
    )


def _nested(layers: list[Layer] | None) -> Problems:
    for index, layer in enumerate(layers or ()):
        for key, message in layer.problems():
            yield f"layers.{index}.{'material' if key == 'id' else key}", message


def _more_than_all(reflects: float | None, loss: Any) -> Problems:
    if reflects is None or loss is None:
        return
    least_db = min(loss.losses_db)
    if reflects + 10.0 ** (-least_db / 10.0) > 1.0 + 1e-9:
        yield (
            "reflects",
            (
                f"reflects = {reflects:g} and a loss of {least_db:g} dB would return and pass more "
                "than all of the power together"
            ),
        )
