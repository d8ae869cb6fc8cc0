"""What a project file may say: one model a table, each with the rules between its own keys.

The tables of the building itself are in `schema_rooms`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from envelope.building.job import Polarization
from envelope.project.schema import fields
from envelope.project.schema.costs import Costs, Product
from envelope.project.schema.fields import Choice
from envelope.project.schema.model import Model, Tag
from envelope.project.schema.rooms import (
    Ceiling,
    Dormer,
    Obstacle,
    Opening,
    Panel,
    Problems,
    Site,
    Space,
    State,
    Storey,
    Table,
    exactly_one,
    hyphens,
)

__all__ = [
    "FORMAT",
    "LISTS",
    "SINGLES",
    "Assembly",
    "Ceiling",
    "Construction",
    "Costs",
    "Dormer",
    "Layer",
    "Material",
    "Model",
    "Obstacle",
    "Opening",
    "Panel",
    "Plan",
    "Product",
    "ProjectFile",
    "Reading",
    "Receiver",
    "Site",
    "Source",
    "Space",
    "Storey",
    "Table",
    "Tag",
    "Treat",
    "Treatment",
    "json_schema",
]

FORMAT = 1

DEFAULT_SPREAD_RAD = 0.08726646259971647  # 5°
DEFAULT_TOLERANCE_RAD = 0.0873  # 5°, as the record has it

TreatmentKind = Literal["sheet", "mesh", "table", "layers", "honeycomb", "fixed"]


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
        return {hyphens(name): getattr(self, name) for name in self.model_fields_set}


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
        yield from exactly_one(self, what="a layer", of=("material", "sheet-resistance"))
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
    parts: Annotated[list[fields.Reference], Field(min_length=2, max_length=6)] | None = Field(
        None,
        description="Other assemblies from inside to outside with air between, as a ceiling and "
        "the roof over an attic that is not modelled",
    )
    loss: fields.Loss | None = None
    entry_loss: fields.Reference | None = Field(
        None, description="A material class of 3GPP TR 38.901"
    )
    reflects: fields.Share | None = Field(None, description="Power fraction; default 0.1")
    loss_tolerance: fields.Decibels | None = Field(
        None, description="Half of the 10-90 % band of its loss or class; default 2 dB"
    )
    note: fields.PlainText = ""

    def problems(self) -> Problems:
        yield from exactly_one(
            self, what="an assembly", of=("layers", "parts", "loss", "entry-loss")
        )
        yield from _nested(self.layers)
        if self.reflects is not None and self.loss is None:
            yield "reflects", "reflects goes with loss only: layers and classes have their own"
        yield from _more_than_all(self.reflects, self.loss)
        if self.loss_tolerance is not None and self.loss is None and self.entry_loss is None:
            yield (
                "loss-tolerance",
                "loss-tolerance goes with loss or entry-loss: layers have tolerances of their own",
            )


# Keys of each kind of treatment: those it must have, and those it may.
_TREATMENT_KEYS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "sheet": (("sheet-resistance",), ("coats",)),
    "mesh": (("wire", "pitch"), ("metal", "conductivity")),
    "table": (("loss",), ()),
    "layers": (("layers",), ()),
    "honeycomb": (("cell", "depth", "open-fraction"), ()),
    "fixed": (("loss",), ("reflects", "loss-tolerance")),
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
    loss_tolerance: fields.Decibels | None = Field(
        None, description="Half of the 10-90 % band of a fixed loss; default 2 dB"
    )
    layers: Layers | None = None
    cell: fields.Dimension | None = Field(None, description="Inside width of a honeycomb's cell")
    depth: fields.Dimension | None = Field(None, description="Length of its cells")
    open_fraction: fields.Share | None = Field(None, description="Open area over whole area")
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
            yield from exactly_one(self, what="a mesh", of=("metal", "conductivity"))
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
        if self.kind == "honeycomb" and self.open_fraction == 0.0:
            yield "open-fraction", "a honeycomb without open area is a plate: allowed is above 0"
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
    level: fields.Level | None = Field(None, description="Or leave it to a [[reading]]")
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
        direction = ("azimuth", "elevation")
        what = "a source at a point" if self.is_point else "a source in a direction"
        for key in ("at",) if self.is_point else direction:
            if key not in self.given():
                yield key, f"{key} is missing: {what} needs it"
        if self.ground_reflection and self.elevation is not None and self.elevation < 0.0:
            yield (
                "ground-reflection",
                "ground-reflection goes with an elevation of 0 deg or more: the ground mirrors "
                "what comes from above it",
            )
        beam = ("level", "spread", "scattered", "ground-reflection", "direction-tolerance")
        for key in (*direction, *beam):
            if self.is_point and key in self.given():
                yield key, f"{key} does not go with {what}"


class Reading(Table):
    """What a meter showed of a source before any treatment: its level outside is solved from it."""

    id: fields.Id
    source: fields.Sources = Field(description="Or several that were heard together")
    space: fields.Reference | None = Field(
        None, description="In which it was taken; none: outdoors"
    )
    at: fields.Point = Field(
        description="In the space's coordinates, height above its floor; outdoors the building's"
    )
    level: fields.OneLevel
    spots: fields.Spots = Field(
        1, description="Places, and directions of the antenna, averaged in power; default 1"
    )
    tolerance: fields.Decibels = Field(
        0.0, description="Half of the meter's own 10-90 % band, the same in every reading"
    )
    plan: Annotated[
        Literal["as-built"],
        Choice(what="a plan that readings are solved through", words=("as-built",)),
    ] = Field("as-built", description="Readings are taken before any treatment")
    states: Annotated[dict[str, State], Field(max_length=500)] = Field(
        default_factory=dict, description="States of openings by id, where they stood so"
    )

    def problems(self) -> Problems:
        if not self.source:
            yield "source", 'the list is empty: name the source, such as source = "mast"'
        for name in dict.fromkeys(self.source):
            if self.source.count(name) > 1:
                yield "source", f"{fields.shown(name)} is named twice"


class Receiver(Table):
    """A point or a box where the level matters."""

    id: fields.Id
    space: fields.Reference
    at: fields.Point = Field(description="In the space's coordinates, height above its floor")
    size: fields.BoxSize | None = Field(None, description="Of a box, `at` being its centre")


class Treat(Table):
    """Which treatments a selector's panels get, from the surface inward; [] leaves them bare."""

    on: fields.Selector = Field(
        description="An id, a glob or a group (walls, floor, ceiling, openings, windows, doors, "
        "reveals) under a space; the last match wins. A * stays between two slashes: bedroom/* "
        "leaves out reveals, which bedroom/reveals or bedroom/** names as well. Seams (undercuts, "
        "rings), boxes and bare holes are named by their ids alone"
    )
    with_: fields.Treatments


class Plan(Table):
    """Which panel gets which treatments."""

    id: fields.Id
    title: fields.Name = ""
    extends: fields.Reference | None = None
    treat: Annotated[list[Treat], Field(max_length=500)] = Field(default_factory=list)
    states: Annotated[dict[str, State], Field(max_length=500)] = Field(
        default_factory=dict, description="States of openings by id, where the plan has them so"
    )


class ProjectFile(Table):
    """A job, in one file."""

    later = ("outlet", "circuit", "cable", "bond")

    format: Annotated[
        int,
        fields.Number(what="the format", example="1", at_least=1, at_most=FORMAT, whole=True),
    ]
    name: fields.Name
    site: Site = Field(default_factory=lambda: Site.model_validate({}))
    construction: Construction = Field(default_factory=lambda: Construction.model_validate({}))
    model: Model | None = None
    tag: list[Tag] = Field(default_factory=list)
    assembly: list[Assembly] = Field(default_factory=list)
    material: list[Material] = Field(default_factory=list)
    storey: list[Storey] = Field(default_factory=list)
    space: list[Space] = Field(default_factory=list)
    dormer: list[Dormer] = Field(default_factory=list)
    obstacle: list[Obstacle] = Field(default_factory=list)
    opening: list[Opening] = Field(default_factory=list)
    panel: list[Panel] = Field(default_factory=list)
    treatment: list[Treatment] = Field(default_factory=list)
    source: list[Source] = Field(default_factory=list)
    reading: list[Reading] = Field(default_factory=list)
    receiver: list[Receiver] = Field(default_factory=list)
    plan: list[Plan] = Field(default_factory=list)
    product: list[Product] = Field(default_factory=list)
    costs: Costs = Field(default_factory=lambda: Costs.model_validate({}))


# Tables that come many times, and how many of them a file may have.
LISTS: dict[str, tuple[type[Table], int]] = {
    "tag": (Tag, 500),
    "assembly": (Assembly, 500),
    "material": (Material, 500),
    "storey": (Storey, 100),
    "space": (Space, 500),
    "dormer": (Dormer, 200),
    "obstacle": (Obstacle, 200),
    "opening": (Opening, 3000),
    "panel": (Panel, 1000),
    "treatment": (Treatment, 500),
    "source": (Source, 200),
    "reading": (Reading, 100),
    "receiver": (Receiver, 200),
    "plan": (Plan, 200),
    "product": (Product, 500),
}
# Tables that come once; without a [model] there is none.
SINGLES: dict[str, type[Table]] = {
    "site": Site,
    "construction": Construction,
    "costs": Costs,
    "model": Model,
}


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
