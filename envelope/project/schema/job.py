"""What a project file may say: one model a table, each with the rules between its own keys.

The tables of the building itself are in `rooms`, materials and treatments in `composition`, sources
in `sources`, visits and readings in `readings`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from envelope.building import ranges
from envelope.project.schema import fields, wiring
from envelope.project.schema.composition import Assembly, Layer, Material, Treatment
from envelope.project.schema.costs import Costs, Defaults, Product
from envelope.project.schema.fields import Choice
from envelope.project.schema.model import Model, Tag
from envelope.project.schema.readings import CoverTest, Meter, Reading, Resistance, Scan, Visit
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
    hyphens,
)
from envelope.project.schema.sources import PlanMeasure, Source, SourceMeasure
from envelope.project.schema.wiring import (
    Bond,
    Cable,
    Circuit,
    Device,
    FieldReading,
    Outlet,
    Supply,
)

__all__ = [
    "FORMAT",
    "LISTS",
    "ONE_OR_MORE",
    "SINGLES",
    "Assembly",
    "Bond",
    "Cable",
    "Ceiling",
    "Circuit",
    "Construction",
    "Costs",
    "CoverTest",
    "Defaults",
    "Device",
    "Dormer",
    "FieldReading",
    "Layer",
    "Material",
    "Meter",
    "Model",
    "MovedBed",
    "Obstacle",
    "Opening",
    "Outlet",
    "Panel",
    "Plan",
    "PlanMeasure",
    "Product",
    "ProjectFile",
    "Reading",
    "Receiver",
    "Resistance",
    "Scan",
    "Site",
    "Source",
    "SourceMeasure",
    "Space",
    "Storey",
    "Supply",
    "Table",
    "Tag",
    "Treat",
    "Treatment",
    "Visit",
    "json_schema",
]

FORMAT = 1


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


Head = Annotated[
    Literal["north", "east", "south", "west"],
    Choice(what="a side", words=("north", "east", "south", "west")),
]


class Bed(Table):
    """The bed that a receiver is in."""

    size: fields.BedSize | None = Field(
        None, description="Width x length; default that of the receiver's box, else 0.9 m x 2.0 m"
    )
    head: Head | None = Field(
        None, description="Side of the room, as walls are called, towards which it lies"
    )
    may_move: bool = Field(
        False, description="Whether the bed may stand elsewhere: `decide` then says where"
    )


class Receiver(Table):
    """A point or a box where the level matters."""

    id: fields.Id
    space: fields.Reference
    at: fields.Point = Field(description="In the space's coordinates, height above its floor")
    size: fields.BoxSize | None = Field(None, description="Of a box, `at` being its centre")
    title: fields.Name = Field("", description="What the client calls it")
    bed: Bed | None = Field(None, description="The bed it is in: a point is the pillow")

    def problems(self) -> Problems:
        if self.bed is not None and self.bed.size is not None and self.size is not None:
            yield "bed", "size of bed does not go with the receiver's own size, which is a box"


class Treat(Table):
    """Which treatments a selector's panels get, from the surface inward; [] leaves them bare."""

    on: fields.Selector = Field(
        description="An id, a glob or a group (walls, floor, ceiling, openings, windows, doors, "
        "reveals) under a space; the last match wins. A * stays between two slashes: bedroom/* "
        "leaves out reveals, which bedroom/reveals or bedroom/** names as well. Seams (undercuts, "
        "rings), boxes and bare holes are named by their ids alone"
    )
    with_: fields.Treatments


class MovedBed(Table):
    """Where a receiver stands under a plan, with its bed."""

    receiver: fields.Reference
    at: fields.Point = Field(description="As the receiver's own, in its space")
    head: Head | None = Field(
        None, description="Side of the room towards which it then lies; a box is turned with it"
    )


class Plan(Table):
    """Which panel gets which treatments, what is done about sources, where beds stand."""

    id: fields.Id
    title: fields.Name = ""
    extends: fields.Reference | None = None
    treat: Annotated[list[Treat], Field(max_length=500)] = Field(default_factory=list)
    states: Annotated[dict[str, State], Field(max_length=500)] = Field(
        default_factory=dict, description="States of openings by id, where the plan has them so"
    )
    measures: Annotated[list[PlanMeasure], Field(max_length=50)] = Field(
        default_factory=list,
        description="What is done about sources: it is counted, as a treatment is",
    )
    beds: Annotated[list[MovedBed], Field(max_length=50)] = Field(
        default_factory=list, description="Beds that stand elsewhere under the plan"
    )
    strips: Annotated[list[wiring.StripTable], Field(max_length=100)] = Field(
        default_factory=list, description="Narrow coats along the runs of a circuit"
    )
    bond: wiring.BondNames | None = Field(
        None, description="Bonds that it makes; default every one on a face that it coats; [] none"
    )
    off: wiring.CircuitNames = Field((), description="Circuits that stay off, as at night")

    def problems(self) -> Problems:
        for number, strip in enumerate(self.strips):
            for key, message in strip.problems():
                yield f"strips.{number}.{key}", message
        for number, measure in enumerate(self.measures):
            for key, message in measure.problems():
                yield f"measures.{number}.{key}", message


class ProjectFile(Table):
    """A job, in one file."""

    format: Annotated[
        int,
        fields.Number(limits=ranges.plain("the format", 1, FORMAT), example="1", whole=True),
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
    visit: list[Visit] = Field(default_factory=list)
    meter: list[Meter] = Field(default_factory=list)
    reading: list[Reading] = Field(default_factory=list)
    scan: list[Scan] = Field(default_factory=list)
    cover_test: list[CoverTest] = Field(default_factory=list)
    resistance: list[Resistance] = Field(default_factory=list)
    receiver: list[Receiver] = Field(default_factory=list)
    plan: list[Plan] = Field(default_factory=list)
    product: list[Product] = Field(default_factory=list)
    supply: Supply | list[Supply] = Field(
        default_factory=list, description="One table, or several as [[supply]]"
    )
    circuit: list[Circuit] = Field(default_factory=list)
    outlet: list[Outlet] = Field(default_factory=list)
    cable: list[Cable] = Field(default_factory=list)
    device: list[Device] = Field(default_factory=list)
    bond: list[Bond] = Field(default_factory=list)
    field_reading: list[FieldReading] = Field(default_factory=list)
    costs: Costs = Field(default_factory=lambda: Costs.model_validate({}))
    defaults: Defaults = Field(default_factory=lambda: Defaults.model_validate({}))


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
    "visit": (Visit, 50),
    "meter": (Meter, 20),
    "reading": (Reading, 200),
    "scan": (Scan, 200),
    "cover-test": (CoverTest, 200),
    "resistance": (Resistance, 200),
    "receiver": (Receiver, 200),
    "plan": (Plan, 200),
    "product": (Product, 500),
    "supply": (Supply, 6),
    "circuit": (Circuit, 50),
    "outlet": (Outlet, 300),
    "cable": (Cable, 300),
    "device": (Device, 50),
    "bond": (Bond, 50),
    "field-reading": (FieldReading, 200),
}
# Of these a file mostly has one, and may write it as a plain table.
ONE_OR_MORE = frozenset(("supply",))
# Tables that come once; without a [model] there is none.
SINGLES: dict[str, type[Table]] = {
    "site": Site,
    "construction": Construction,
    "costs": Costs,
    "defaults": Defaults,
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
