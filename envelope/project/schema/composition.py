"""What a project file may say of materials, assemblies and treatments."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import Field

from envelope.building import job as records
from envelope.building.composition import TREATMENT_KEYS, does_not_go
from envelope.building.refusals import bare
from envelope.errors import RecordError
from envelope.physics.materials import metal_conductivity_s_m
from envelope.physics.tables import metals
from envelope.project.schema import fields, wiring
from envelope.project.schema.fields import Choice
from envelope.project.schema.rooms import (
    Problems,
    Table,
    exactly_one,
)

# An air layer this wide in an assembly lies between studs, joists or leaves of a wall, where its
# width varies by more than a quarter wave; glazing cavities are narrower. Common practice, no
# source: the file may say otherwise with `cavity`.
_CAVITY_M = 0.04


TreatmentKind = Literal["sheet", "mesh", "table", "layers", "honeycomb", "fixed"]


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

    perhaps_material: fields.Reference | None = Field(
        None, description="What it may be instead of its material, drawn as often"
    )

    def problems(self) -> Problems:
        yield from exactly_one(self, what="a layer", of=("material", "sheet-resistance"))
        if self.perhaps_material is not None and self.material is None:
            yield "perhaps-material", "perhaps-material goes with material"
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
            perhaps_material=self.perhaps_material,
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
    only_on: fields.Selectors | None = Field(
        None, description="Faces on which it may go, such as */windows; default any"
    )
    title: fields.Name = Field("", description="What the client calls it")
    note: fields.PlainText = ""

    def problems(self) -> Problems:
        nested = tuple(_nested(self.layers))
        found = [*nested, *self._strangers()]
        if not nested:
            found += of_record("treatment", self.record)
        yield from dict.fromkeys(found)
        if self.only_on == ():
            yield (
                "only-on",
                "the list is empty, so that it may go nowhere: name faces, such as */windows, or "
                "leave the key out where it may go anywhere",
            )
        if self.kind == "mesh":
            yield from exactly_one(self, what="a mesh", of=("metal", "conductivity"))

    def _strangers(self) -> Problems:
        """Keys that belong to another kind, also where they say what is so anyway."""
        common = {"id", "kind", "standoff", "hanging", "price", "only-on", "title", "note"}
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
            title=self.title,
            note=self.note,
        )


def _nested(layers: list[Layer] | None) -> Problems:
    for index, layer in enumerate(layers or ()):
        for key, message in layer.problems():
            yield f"layers.{index}.{'material' if key == 'id' else key}", message
