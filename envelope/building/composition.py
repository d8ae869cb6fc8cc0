"""What things are made of: materials, assemblies of layers, and what is added on a panel. All SI.

Each record checks itself: one that cannot be raises `RecordError` with every fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from envelope.building import ranges
from envelope.building.refusals import Problems, in_range, refuse
from envelope.pricing.products import Price

HANGS_FROM_M = 0.02  # stand-off from which a treatment hangs freely; common practice, no source
LOSS_TOLERANCE_DB = 2.0  # of a loss that is stated as such; common practice, no source

# Keys of each kind of treatment: those it must have, and those it may.
TREATMENT_KEYS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "sheet": (("sheet-resistance",), ("coats",)),
    "mesh": (("wire", "pitch"), ("metal", "conductivity")),
    "table": (("loss",), ()),
    "layers": (("layers",), ()),
    "honeycomb": (("cell", "depth", "open-fraction"), ()),
    "fixed": (("loss",), ("reflects", "loss-tolerance")),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LossCurve:
    """A loss by frequency: one value holds at every frequency, more are joined in log frequency."""

    frequencies_hz: tuple[float, ...]  # empty where one value holds everywhere
    losses_db: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer of an assembly, from inside to outside.

    Exactly one of `material` (with a thickness) and `sheet_resistance_ohm_sq` (a coating on an
    interface, such as low emissivity glass) is given.
    """

    material: str | None = None
    thickness_m: float = 0.0
    sheet_resistance_ohm_sq: float | None = None
    cavity: bool = False  # spacing varies by more than a quarter wave: combined in power
    perhaps: bool = False  # a coat that may be there: left out, drawn as if it were
    perhaps_material: str | None = None  # what it may be instead of its material, drawn as often


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material that the job defines itself."""

    id: str
    relative_permittivity: float
    conductivity_s_m: float | None = None
    loss_tangent: float | None = None

    def __post_init__(self) -> None:
        refuse("material", self, material_problems(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembly:
    """What an element is made of: layers, a loss that holds at every angle, or other assemblies.

    Between `parts` lies air whose width varies, as between a ceiling and the roof over it: they
    are combined in power.
    """

    id: str
    layers: tuple[Layer, ...] = ()
    parts: tuple[str, ...] = ()  # assembly ids, from inside to outside
    loss: LossCurve | None = None
    entry_loss: str | None = None  # a 3GPP TR 38.901 material class
    reflects: float | None = None  # power fraction, for `loss`
    loss_tolerance_db: float = LOSS_TOLERANCE_DB  # 10–90 % band of a loss or a class
    note: str = ""

    def __post_init__(self) -> None:
        refuse("assembly", self, assembly_problems(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """What is added on a panel."""

    id: str
    kind: Literal["sheet", "mesh", "table", "layers", "honeycomb", "fixed"]
    sheet_resistance_ohm_sq: float | None = None  # of one coat
    coats: int = 1
    wire_diameter_m: float | None = None
    pitch_m: float | None = None
    conductivity_s_m: float | None = None  # of the mesh's wire
    table: LossCurve | None = None  # a data sheet's dB at normal incidence
    layers: tuple[Layer, ...] = ()
    cell_m: float | None = None  # inside width of a honeycomb's cell
    depth_m: float | None = None  # length of its cells
    open_fraction: float | None = None  # open area over whole area
    loss: LossCurve | None = None  # for "fixed"
    reflects: float | None = None
    loss_tolerance_db: float = LOSS_TOLERANCE_DB  # 10–90 % band of a "fixed" loss
    standoff_m: float = 0.0  # air between it and what it is put on
    hanging: bool | None = None  # free to move, as a curtain is; None: by its stand-off
    price: Price | None = None
    title: str = ""  # what the client calls it
    note: str = ""

    @property
    def hangs(self) -> bool:
        """Whether its stand-off varies from place to place, so that fringes do not count on it."""
        if self.hanging is None:
            return self.standoff_m >= HANGS_FROM_M
        return self.hanging and self.standoff_m > 0.0

    def __post_init__(self) -> None:
        refuse("treatment", self, treatment_problems(self))


def missing(key: str, kind: str) -> str:
    """Say that a kind of treatment lacks a key."""
    return f'{key} is missing: kind = "{kind}" needs it'


def does_not_go(key: str, kind: str) -> str:
    """Say that a key belongs to another kind of treatment."""
    needed, allowed = TREATMENT_KEYS[kind]
    return f'{key} does not go with kind = "{kind}", which takes {", ".join((*needed, *allowed))}'


def curve_problems(key: str, curve: LossCurve | None) -> Problems:
    """What is wrong with a loss by frequency."""
    if curve is None:
        return
    yield from in_range(key, ranges.ANY_LOSS, curve.losses_db, "losses_db")
    if not curve.frequencies_hz:
        if len(curve.losses_db) != 1:
            yield key, f"{len(curve.losses_db)} losses without frequencies: one is allowed"
        return
    yield from in_range(key, ranges.FREQUENCY, curve.frequencies_hz, "frequencies_hz")
    if len(curve.frequencies_hz) != len(curve.losses_db):
        count = len(curve.frequencies_hz), len(curve.losses_db)
        yield key, f"{count[0]} frequencies but {count[1]} losses: each point needs both"
    elif len(curve.frequencies_hz) < 2:
        yield key, "a table of losses needs at least two points, and this has 1"
    pairs = zip(curve.frequencies_hz, curve.frequencies_hz[1:], strict=False)
    if any(after <= before for before, after in pairs):
        yield key, "the table of losses is not sorted by frequency"


def layer_problems(layers: Iterable[Layer]) -> Problems:
    """What is wrong with layers: thickness and sheet resistance."""
    for number, layer in enumerate(layers):
        at = f"layers.{number}"
        if (layer.material is None) == (layer.sheet_resistance_ohm_sq is None):
            yield at, "a layer takes one of material, sheet-resistance"
        if layer.material is not None:
            yield from in_range(
                f"{at}.thickness", ranges.DIMENSION, layer.thickness_m, "thickness_m"
            )
        if layer.perhaps and layer.sheet_resistance_ohm_sq is None:
            yield f"{at}.perhaps", "perhaps goes with sheet-resistance: a coat that may be there"
        yield from in_range(
            f"{at}.sheet-resistance",
            ranges.SHEET_RESISTANCE,
            layer.sheet_resistance_ohm_sq,
            "sheet_resistance_ohm_sq",
        )


def material_problems(material: Material) -> Problems:
    """What is wrong with a material of the job's own."""
    yield from in_range(
        "permittivity",
        ranges.PERMITTIVITY,
        material.relative_permittivity,
        "relative_permittivity",
    )
    yield from in_range(
        "conductivity", ranges.CONDUCTIVITY, material.conductivity_s_m, "conductivity_s_m"
    )
    yield from in_range("loss-tangent", ranges.LOSS_TANGENT, material.loss_tangent, "loss_tangent")
    if material.conductivity_s_m is not None and material.loss_tangent is not None:
        yield "loss-tangent", "a material takes conductivity or loss-tangent, not both"


def assembly_problems(assembly: Assembly) -> Problems:
    """What is wrong with an assembly by itself."""
    given = [
        key
        for key, value in (
            ("layers", assembly.layers),
            ("parts", assembly.parts),
            ("loss", assembly.loss),
            ("entry-loss", assembly.entry_loss),
        )
        if value
    ]
    if len(given) != 1:
        found = f"has {' and '.join(given)}" if given else "has none"
        yield (
            given[-1] if given else "id",
            f"an assembly takes one of layers, parts, loss, entry-loss, and this {found}",
        )
    yield from layer_problems(assembly.layers)
    yield from curve_problems("loss", assembly.loss)
    yield from in_range(
        "loss-tolerance", ranges.TOLERANCE, assembly.loss_tolerance_db, "loss_tolerance_db"
    )
    yield from in_range("reflects", ranges.SHARE, assembly.reflects, "reflects")
    if assembly.reflects is not None and assembly.loss is None:
        yield "reflects", "reflects goes with loss only: layers and classes have their own"
    yield from _more_than_all(assembly.reflects, assembly.loss)


def _more_than_all(reflects: float | None, loss: LossCurve | None) -> Problems:
    if reflects is None or loss is None or not loss.losses_db:
        return
    least_db = min(loss.losses_db)
    if reflects + 10.0 ** (-least_db / 10.0) > 1.0 + 1e-9:
        yield (
            "reflects",
            f"reflects = {reflects:g} and a loss of {least_db:g} dB would return and pass more "
            "than all of the power together",
        )


def treatment_problems(treatment: Treatment) -> Problems:
    """What is wrong with a treatment by itself."""
    if treatment.kind not in TREATMENT_KEYS:
        kinds = ", ".join(f'"{kind}"' for kind in TREATMENT_KEYS)
        yield "kind", f'"{treatment.kind}" is not a kind of treatment: it is one of {kinds}'
        return
    values = {
        "sheet-resistance": treatment.sheet_resistance_ohm_sq,
        "wire": treatment.wire_diameter_m,
        "pitch": treatment.pitch_m,
        "conductivity": treatment.conductivity_s_m,
        "layers": treatment.layers or None,
        "cell": treatment.cell_m,
        "depth": treatment.depth_m,
        "open-fraction": treatment.open_fraction,
        "loss": treatment.table if treatment.kind == "table" else treatment.loss,
        "reflects": treatment.reflects,
    }
    needed, allowed = TREATMENT_KEYS[treatment.kind]
    for key in needed:
        if values[key] is None:
            yield key, missing(key, treatment.kind)
    for key in sorted(values.keys() - {*needed, *allowed}):
        if values[key] is not None:
            yield key, does_not_go(key, treatment.kind)
    yield from _treatment_ranges(treatment)
    wire, pitch = treatment.wire_diameter_m, treatment.pitch_m
    if treatment.kind == "mesh" and wire is not None and pitch is not None and pitch <= wire:
        yield "pitch", "pitch must be larger than wire: it runs from wire to wire"
    if treatment.kind == "mesh" and treatment.conductivity_s_m == 0.0:
        yield "conductivity", "a mesh's wire must conduct: its conductivity must be above 0 S/m"
    if treatment.kind == "table" and treatment.table and not treatment.table.frequencies_hz:
        yield (
            "loss",
            'kind = "table" takes losses by frequency, such as '
            '{ "900 MHz" = "40 dB", "3.5 GHz" = "34 dB" }',
        )
    if treatment.kind == "table" and treatment.table and 0.0 in treatment.table.losses_db:
        yield "loss", "a data sheet's loss of 0 dB is no shielding: each must be above 0 dB"
    if treatment.kind == "honeycomb" and treatment.open_fraction == 0.0:
        yield "open-fraction", "a honeycomb without open area is a plate: allowed is above 0"
    if treatment.kind == "fixed":
        yield from _more_than_all(treatment.reflects, treatment.loss)


def _treatment_ranges(treatment: Treatment) -> Problems:
    for key, limits, name in (
        ("sheet-resistance", ranges.SHEET_RESISTANCE, "sheet_resistance_ohm_sq"),
        ("coats", ranges.COATS, "coats"),
        ("wire", ranges.DIMENSION, "wire_diameter_m"),
        ("pitch", ranges.DIMENSION, "pitch_m"),
        ("conductivity", ranges.CONDUCTIVITY, "conductivity_s_m"),
        ("cell", ranges.DIMENSION, "cell_m"),
        ("depth", ranges.DIMENSION, "depth_m"),
        ("open-fraction", ranges.SHARE, "open_fraction"),
        ("reflects", ranges.SHARE, "reflects"),
        ("loss-tolerance", ranges.TOLERANCE, "loss_tolerance_db"),
        ("standoff", ranges.DISTANCE, "standoff_m"),
    ):
        yield from in_range(key, limits, getattr(treatment, name), name)
    yield from layer_problems(treatment.layers)
    yield from curve_problems("loss", treatment.table)
    yield from curve_problems("loss", treatment.loss)
