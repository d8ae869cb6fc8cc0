"""What a project file may say: one model a table, each with the rules between its own keys.

The tables of the building itself are in `schema_rooms`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import Field

from envelope.building import job as records
from envelope.building import ranges
from envelope.building.composition import TREATMENT_KEYS, does_not_go
from envelope.building.job import Polarization
from envelope.building.refusals import bare
from envelope.building.unknowns import DIRECTIVITY_DB, DUTY, scattered_range
from envelope.errors import RecordError
from envelope.geometry.plane import Floats, frozen
from envelope.physics.materials import metal_conductivity_s_m
from envelope.physics.tables import metals, services
from envelope.project.schema import fields, wiring
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
    "Device",
    "Dormer",
    "FieldReading",
    "Layer",
    "Material",
    "Model",
    "Obstacle",
    "Opening",
    "Outlet",
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
    "Supply",
    "Table",
    "Tag",
    "Treat",
    "Treatment",
    "json_schema",
]

FORMAT = 1

# An air layer this wide in an assembly lies between studs, joists or leaves of a wall, where its
# width varies by more than a quarter wave; glazing cavities are narrower. Common practice, no
# source: the file may say otherwise with `cavity`.
_CAVITY_M = 0.04
_TURN_RAD = 2.0 * math.pi
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


def of_record(table: str, make: Callable[[], object]) -> Problems:
    """What a record of a table finds wrong with itself."""
    try:
        make()
    except RecordError as error:
        for fault in error.faults:
            key = fault.subject[2] if fault.subject else "id"
            yield key, bare(table, fault)


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

    perhaps: bool = Field(
        False, description="A coat that may be there: left out, and drawn as if it were there"
    )

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a layer", of=("material", "sheet-resistance"))
        if self.material is not None and self.thickness is None:
            yield "thickness", 'thickness is missing, such as thickness = "12.5 mm"'
        if self.sheet_resistance is not None:
            for key in ("thickness", "cavity"):
                if key in self.given() and self.material is None:
                    yield key, f"{key} does not go with sheet-resistance"

    def record(self) -> records.Layer:
        """The layer, in SI."""
        return records.Layer(
            material=self.material,
            thickness_m=self.thickness or 0.0,
            sheet_resistance_ohm_sq=self.sheet_resistance,
            cavity=self._is_cavity() if self.cavity is None else self.cavity,
            perhaps=self.perhaps,
        )

    def _is_cavity(self) -> bool:
        wide = self.thickness is not None and self.thickness >= _CAVITY_M
        return wide and self.material in ("air", "vacuum")


def _or_default(tolerance_db: float | None) -> float:
    return records.LOSS_TOLERANCE_DB if tolerance_db is None else tolerance_db


Layers = Annotated[list[Layer], Field(min_length=1, max_length=60)]


class Material(Table):
    """A material of the job's own."""

    id: fields.Id
    permittivity: fields.Permittivity = Field(description="Relative permittivity")
    conductivity: fields.Conductivity | None = None
    loss_tangent: fields.LossTangent | None = None

    def problems(self) -> Problems:
        yield from of_record("material", self.record)

    def record(self) -> records.Material:
        """The material, in SI."""
        return records.Material(
            id=self.id,
            relative_permittivity=self.permittivity,
            conductivity_s_m=self.conductivity,
            loss_tangent=self.loss_tangent,
        )


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
    conducts: wiring.ConductsWord | None = Field(
        None,
        description="At 50/60 Hz; default by its layers: thick masonry earthed, thick timber "
        "unknown, else no",
    )
    note: fields.PlainText = ""

    def problems(self) -> Problems:
        yield from _nested(self.layers)
        if not any(True for _ in _nested(self.layers)):
            yield from of_record("assembly", self.record)
        if self.loss_tolerance is not None and self.loss is None and self.entry_loss is None:
            yield (
                "loss-tolerance",
                "loss-tolerance goes with loss or entry-loss: layers have tolerances of their own",
            )

    def record(self) -> records.Assembly:
        """The assembly, in SI."""
        return records.Assembly(
            id=self.id,
            layers=tuple(layer.record() for layer in self.layers or ()),
            parts=tuple(self.parts or ()),
            loss=self.loss,
            entry_loss=self.entry_loss,
            reflects=self.reflects,
            loss_tolerance_db=_or_default(self.loss_tolerance),
            note=self.note,
        )


class Treatment(Table):
    """What is added on a panel."""

    id: fields.Id
    kind: Annotated[TreatmentKind, Choice(what="a kind of treatment", words=tuple(TREATMENT_KEYS))]
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
    hanging: bool | None = Field(
        None, description="Free to move, as a curtain is; default: a standoff of 20 mm or more"
    )
    price: fields.Cost | None = None
    note: fields.PlainText = ""

    def problems(self) -> Problems:
        nested = tuple(_nested(self.layers))
        found = [*nested, *self._strangers()]
        if not nested:
            found += of_record("treatment", self.record)
        yield from dict.fromkeys(found)
        if self.kind == "mesh":
            yield from exactly_one(self, what="a mesh", of=("metal", "conductivity"))

    def _strangers(self) -> Problems:
        """Keys that belong to another kind, also where they say what is so anyway."""
        common = {"id", "kind", "standoff", "hanging", "price", "note"}
        own = {key for keys in TREATMENT_KEYS[self.kind] for key in keys}
        for key in sorted(self.given() - own - common):
            yield key, does_not_go(key, self.kind)

    def record(self) -> records.Treatment:
        """The treatment, in SI; a metal that is not known counts as one that is."""
        conductivity = self.conductivity
        if self.metal in metals.CONDUCTIVITY_S_M:
            conductivity = metal_conductivity_s_m(metal=self.metal)
        return records.Treatment(
            id=self.id,
            kind=self.kind,
            sheet_resistance_ohm_sq=self.sheet_resistance,
            coats=self.coats,
            wire_diameter_m=self.wire,
            pitch_m=self.pitch,
            conductivity_s_m=conductivity,
            table=self.loss if self.kind == "table" else None,
            layers=tuple(layer.record() for layer in self.layers or ()),
            cell_m=self.cell,
            depth_m=self.depth,
            open_fraction=self.open_fraction,
            loss=None if self.kind == "table" else self.loss,
            reflects=self.reflects,
            loss_tolerance_db=_or_default(self.loss_tolerance),
            standoff_m=self.standoff,
            hanging=self.hanging,
            price=self.price,
            note=self.note,
        )


class SourceBand(Table):
    """One of several bands in which a transmitter sends."""

    band: fields.Band | None = None
    service: fields.Service | None = Field(None, description="Instead of band: its usual name")
    level: fields.Level | None = None
    eirp: fields.Power | None = None
    scattered: fields.Share | None = Field(None, description="Default: the source's own")

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a band", of=("band", "service"), fallback="level")

    @property
    def suffix(self) -> str:
        """What tells its id from those of the source's other bands."""
        if self.service is not None:
            return re.sub(r"[^a-z0-9]+", "-", self.service.lower()).strip("-")
        assert self.band is not None
        return f"{0.5e-6 * sum(self.band):.0f}"


class Source(Table):
    """A direction outside, or a point."""

    id: fields.Id
    title: fields.Name = Field("", description="What the client calls it")
    band: fields.Band | None = None
    service: fields.Service | None = Field(
        None, description="Instead of band: the service's usual name"
    )
    bands: Annotated[list[SourceBand], Field(min_length=1, max_length=20)] | None = Field(
        None,
        description="Instead of band: several, each with its level or EIRP; each counts as a "
        'source of its own, such as "mast-lte-1800"',
    )
    azimuth: fields.Turn | None = Field(None, description="True, clockwise from north")
    elevation: fields.Elevation | None = Field(None, description="Up from the horizon")
    spread: fields.Spread = Field(DEFAULT_SPREAD_RAD, description="Half-angle; default 5 deg")
    level: fields.Level | None = Field(None, description="Or leave it to a [[reading]]")
    detector: Annotated[str, Choice(what="a detector", words=("average", "peak"))] = Field(
        "average",
        description="What level shows: the average (default), or the peak while it sends, which "
        "then counts times duty",
    )
    scattered: fields.Share | None = Field(
        None,
        description="Share that arrives evenly from the exposed directions; else drawn, by "
        "line-of-sight",
    )
    line_of_sight: bool | None = Field(
        None, description="Whether its antenna can be seen from the building"
    )
    space: fields.Reference | None = Field(None, description="Of a point; none: outdoors")
    at: fields.Point | None = None
    eirp: fields.Power | None = Field(None, description="While it sends")
    duty: fields.Duty | None = Field(
        None, description="Share of the time that it sends; else drawn, 0.1 to 1"
    )
    directivity: fields.Decibels | None = Field(
        None,
        description="By how much EIRP exceeds what a point radiates in all; else drawn, 2 to 5 dB",
    )
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
        own = {"space", "at", "eirp", "directivity"}
        if "detector" not in self.given():
            own.add("duty")
        return bool(self.given() & own)

    def each_band(self) -> tuple[Source, ...]:
        """The source in each of its bands, which then are sources of their own."""
        if self.bands is None:
            if self.service is None:
                return (self,)
            found = services.BY_NAME[self.service]
            return (self.model_copy(update={"band": (found.low_hz, found.high_hz)}),)
        parts: list[Source] = []
        for each in self.bands:
            said = each.model_dump(exclude_none=True, exclude={"scattered"})
            if each.scattered is not None:
                said["scattered"] = each.scattered
            one = self.model_copy(update={**said, "bands": None, "id": f"{self.id}-{each.suffix}"})
            parts += one.each_band()
        return tuple(parts)

    def _in_bands(self) -> Problems:
        """What is wrong with its bands: each states what a source of one band states."""
        key, other = ("eirp", "level") if self.is_point else ("level", "eirp")
        for index, each in enumerate(self.bands or ()):
            yield from ((f"bands.{index}.{at}", said) for at, said in each.problems())
            if key not in each.given():
                yield f"bands.{index}.{key}", f"{key} is missing: each of several bands needs it"
            if other in each.given():
                what = "at a point" if self.is_point else "in a direction"
                yield f"bands.{index}.{other}", f"{other} does not go with a source {what}"
        if self.bands is not None:
            for key in sorted(self.given() & {"level", "eirp"}):
                yield key, f"{key} stands in each of bands instead"
            suffixes = [each.suffix for each in self.bands if each.service or each.band]
            for suffix in sorted({name for name in suffixes if suffixes.count(name) > 1}):
                yield "bands", f'two of the bands would be called "{self.id}-{suffix}"'

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a source", of=("band", "service", "bands"))
        yield from self._in_bands()
        direction = ("azimuth", "elevation")
        what = "a source at a point" if self.is_point else "a source in a direction"
        for key in ("at",) if self.is_point else direction:
            if key not in self.given():
                yield key, f"{key} is missing: {what} needs it"
        beam = (
            "level", "detector", "spread", "scattered", "line-of-sight", "ground-reflection",
            "direction-tolerance",
        )  # fmt: skip
        for key in (*direction, *beam):
            if self.is_point and key in self.given():
                yield key, f"{key} does not go with {what}"
        stated = self.eirp is not None or self.bands is not None
        if self.detector == "peak":
            if self.duty is None:
                yield (
                    "detector",
                    "a peak level needs the share of the time that the source sends, such as "
                    "duty = 0.04: the average is what counts",
                )
        elif self.duty is not None and not stated:
            yield (
                "duty",
                'duty goes with eirp, or with detector = "peak": a level is an average already',
            )
        if not self.is_point and self.azimuth is not None and self.band is not None:
            yield from of_record("source", self.record)

    def record(self, position_m: Floats | None = None) -> records.Source:
        """The source, in SI, at a point where it has one; of `each_band`."""
        assert self.band is not None
        return records.Source(
            id=self.id,
            title=self.title,
            band_hz=self.band,
            azimuth_rad=None if self.azimuth is None else self.azimuth % _TURN_RAD,
            elevation_rad=self.elevation or 0.0,
            spread_rad=0.0 if self.is_point else self.spread,
            level_w_m2={
                storey: level * (self._duty() if self.detector == "peak" else 1.0)
                for storey, level in (self.level or {}).items()
            },
            scattered=self._scattered(),
            line_of_sight=self.line_of_sight,
            space=self.space,
            position_m=position_m,
            eirp_w=None if self.eirp is None else self.eirp * self._duty(),
            directivity_db=self._directivity_db() if self.is_point else 0.0,
            polarization=self.polarization,
            ground_reflection=self.ground_reflection,
            level_tolerance_db=self.level_tolerance,
            direction_tolerance_rad=self.direction_tolerance,
        )

    def _scattered(self) -> float:
        """As stated, or the middle of what is drawn."""
        if self.scattered is not None:
            return self.scattered
        return 0.0 if self.is_point else scattered_range(self.line_of_sight).middle

    def _duty(self) -> float:
        return DUTY.middle if self.duty is None else self.duty

    def _directivity_db(self) -> float:
        return DIRECTIVITY_DB.middle if self.directivity is None else self.directivity


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
        plan = records.Plan(id=records.AS_BUILT, treatments={})
        yield from of_record("reading", lambda: self.record(position_m=self.at, plan=plan))

    def record(
        self, *, position_m: Floats | tuple[float, ...], plan: records.Plan
    ) -> records.Reading:
        """The reading, in SI."""
        return records.Reading(
            id=self.id,
            sources=self.source,
            position_m=frozen(position_m),
            level_w_m2=self.level,
            plan=plan,
            space=self.space,
            spots=self.spots,
            tolerance_db=self.tolerance,
        )


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
    reading: list[Reading] = Field(default_factory=list)
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
