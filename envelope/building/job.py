"""What a job says of its building: assemblies, treatments, sources, receivers, plans. All SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from envelope.building.model import Building
from envelope.errors import EnvelopeError, Location
from envelope.geometry.plane import Floats, frozen
from envelope.pricing.products import Costs, Price, Product

Polarization = Literal["unpolarized", "horizontal", "vertical"]
Range = tuple[float, float]

LEVEL_TOLERANCE_DB = 3.0  # 10–90 % band of a stated level; common practice, no source
LOSS_TOLERANCE_DB = 2.0  # of a loss that is stated as such; common practice, no source


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material that the job defines itself."""

    id: str
    relative_permittivity: float
    conductivity_s_m: float | None = None
    loss_tangent: float | None = None


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
    price: Price | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """How a source's level outside, or a point's EIRP, came out of readings.

    All in W/m² for a source in a direction, in W for a point.
    """

    source: str
    quantity: Literal["level_w_m2", "eirp_w"]
    readings: tuple[str, ...]
    value: float
    low: float  # 10–90 % band
    high: float
    lowest: float  # within which it lies at least 95 times in 100
    highest: float
    notes: tuple[str, ...] = ()  # for people: what came out, and where it is poor


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """Where energy comes from: a direction outside, or a point.

    `level_w_m2` is the scalar power density at the receiver with every building removed; it has
    one entry "" where it holds for every storey, else one entry a storey. A point source has
    `position_m` and `eirp_w` instead.
    """

    id: str
    band_hz: Range
    azimuth_rad: float | None = None  # true, clockwise from north
    elevation_rad: float = 0.0
    spread_rad: float = 0.0  # half-angle of an evenly bright cone
    level_w_m2: Mapping[str, float] = field(default_factory=dict)
    scattered: float = 0.0  # share of the level that arrives evenly from the exposed directions
    space: str | None = None  # of a point; None where it stands outdoors
    position_m: Floats | None = None  # (3,) in the building's coordinates
    eirp_w: float | None = None
    polarization: Polarization = "unpolarized"
    ground_reflection: bool = False  # the level was measured without its mirrored partner
    level_tolerance_db: float = LEVEL_TOLERANCE_DB
    direction_tolerance_rad: float = 0.0873  # 5°, the same
    solved: Solved | None = None  # where the level or EIRP comes from readings

    @property
    def has_level(self) -> bool:
        """Whether its level or EIRP is known, stated or solved."""
        return bool(self.level_w_m2) or self.eirp_w is not None

    def __post_init__(self) -> None:
        if self.position_m is not None:
            object.__setattr__(self, "position_m", frozen(self.position_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Receiver:
    """A point or a box inside a space."""

    id: str
    space: str
    position_m: Floats  # (3,) in the building's coordinates; a box's centre
    size_m: Floats | None = None  # (3,) of a box

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))
        if self.size_m is not None:
            object.__setattr__(self, "size_m", frozen(self.size_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Which panel gets which treatments: panel id → treatment ids, from the surface inward.

    Where a plan has a window or door in another state than the building has it, `assemblies` says
    what then stands behind each of its panels: an assembly, or None for nothing.
    """

    id: str
    treatments: Mapping[str, tuple[str, ...]]
    title: str = ""
    assemblies: Mapping[str, str | None] = field(default_factory=dict)
    states: Mapping[str, str] = field(default_factory=dict)  # opening id → state, where it says so


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What a meter showed of one source or several together, before any treatment."""

    id: str
    sources: tuple[str, ...]
    position_m: Floats  # (3,) in the building's coordinates
    level_w_m2: float
    plan: Plan  # without treatment; windows and doors as they stood
    space: str | None = None  # None outdoors
    spots: int = 1  # places, and directions of the antenna, averaged in power
    tolerance_db: float = 0.0  # 10–90 % band of the meter, the same in every reading

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """Everything that one project file says, resolved against its building.

    `plans` always begins with "as-built", which has no treatment.
    """

    name: str
    building: Building
    assemblies: Mapping[str, Assembly]
    treatments: Mapping[str, Treatment]
    sources: tuple[Source, ...]
    receivers: tuple[Receiver, ...]
    plans: tuple[Plan, ...]
    materials: Mapping[str, Material] = field(default_factory=dict)
    occupants: Mapping[str, int] = field(default_factory=dict)  # people by space
    furnishing_m2: Mapping[str, float] = field(default_factory=dict)  # absorption cross-section
    assumed_source: bool = False  # no source in the file: an even exterior field at 2.45 GHz
    notes: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    products: tuple[Product, ...] = ()  # what is bought for treatments
    costs: Costs = field(default_factory=Costs)
    feet: bool = False  # lengths are written in feet and inches, and are shown so
    # where the project file says each thing, by (table, id, key): for messages about it
    places: Mapping[tuple[str, str, str], Location] = field(default_factory=dict)

    @property
    def solved(self) -> tuple[Solved, ...]:
        """Levels that come from readings; a source mirrored by the ground has none of its own."""
        return tuple(
            source.solved
            for source in self.sources
            if source.solved is not None and source.solved.source == source.id
        )

    @property
    def unsolved(self) -> tuple[str, ...]:
        """Sources that still need a level from their readings."""
        return tuple(source.id for source in self.sources if not source.has_level)

    def require_levels(self) -> None:
        """Refuse a job whose levels have not been solved yet.

        Raises
        ------
        EnvelopeError
            Where a source has neither level nor EIRP.
        """
        if self.unsolved:
            which = ", ".join(f'"{name}"' for name in self.unsolved)
            raise EnvelopeError(
                f"no level is known of source {which}: call solve_levels(job) to find it from "
                "the readings, or state it"
            )

    def plan(self, name: str) -> Plan:
        """Plan by id; KeyError where there is none."""
        return {plan.id: plan for plan in self.plans}[name]
