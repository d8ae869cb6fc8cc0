"""What a job says of its house wiring, 50 or 60 Hz. All SI, positions in the building's frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from envelope.building.sources import AS_BUILT
from envelope.geometry.plane import Floats, frozen

if TYPE_CHECKING:
    from envelope.geometry.polygons import Area  # shapely: not while a file is read

CableKind = Literal["round", "flat", "singles", "open", "metal-clad", "unknown"]
Route = Literal["low", "high", "floor", "ceiling", "unknown"]
OutletKind = Literal["socket", "switch", "light"]
DeviceWiring = Literal["two-core", "reversed", "earthed", "unknown"]
Conducts = Literal["no", "earthed", "isolated", "unknown"]

ROUTES: tuple[Route, ...] = ("low", "high", "floor", "ceiling")
CABLE_KINDS: tuple[CableKind, ...] = ("round", "flat")  # what an unknown one may be
PLUGS: tuple[DeviceWiring, ...] = ("two-core", "reversed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """What is switched off together."""

    id: str
    voltages_v: tuple[complex, ...]  # of its hot core; several where its phase is not known
    cable: CableKind = "unknown"
    # between its outlets; None where its cables are all entered, or no two outlets are there
    route: Route | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlet:
    """A point on a face that a circuit leads to."""

    id: str
    circuit: str
    panel: str
    position_m: Floats  # (3,) on the face
    kind: OutletKind = "socket"

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cable:
    """A run of a circuit that is known."""

    id: str
    circuit: str
    panel: str
    path_m: Floats  # (k, 3) corners on the face
    depth_m: float | None = None  # behind the face; None for the usual one

    def __post_init__(self) -> None:
        object.__setattr__(self, "path_m", frozen(self.path_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Device:
    """A lamp or another thing on a cord."""

    id: str
    outlet: str
    position_m: Floats  # (3,) its foot
    cord_m: Floats | None = None  # (k, 3) corners of the cord between outlet and foot
    height_m: float = 0.35
    wiring: DeviceWiring = "unknown"
    on: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))
        if self.cord_m is not None:
            object.__setattr__(self, "cord_m", frozen(self.cord_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bond:
    """Where a coating is connected to the protective earth."""

    id: str
    panel: str
    position_m: Floats  # (3,) on the face
    resistance_ohm: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """A narrow coat along the runs of a circuit."""

    panels: tuple[str, ...]
    treatments: tuple[str, ...]
    circuit: str
    width_m: float
    # of it on each panel that the plan does not coat anyway, in the panel's frame
    areas: Mapping[str, Area] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class WiringPlan:
    """What a plan does to the wiring's field."""

    strips: tuple[Strip, ...] = ()
    bonds: tuple[str, ...] | None = None  # None: every bond that lies on something it coats
    off: tuple[str, ...] = ()  # circuits


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldReading:
    """What a field meter showed."""

    id: str
    space: str
    position_m: Floats  # (3,)
    field_v_m: float
    plan: str = AS_BUILT
    off: tuple[str, ...] = ()  # circuits and devices that were off
    potential_free: bool = True  # else against earth
    tolerance: float = 0.0  # of the meter, a share

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_m", frozen(self.position_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """Everything that a job says of its wiring."""

    frequency_hz: float = 50.0
    circuits: tuple[Circuit, ...] = ()
    outlets: tuple[Outlet, ...] = ()
    cables: tuple[Cable, ...] = ()
    devices: tuple[Device, ...] = ()
    bonds: tuple[Bond, ...] = ()
    readings: tuple[FieldReading, ...] = ()
    plans: Mapping[str, WiringPlan] = field(default_factory=dict)  # by the plan's id
    conducts: Mapping[str, Conducts] = field(default_factory=dict)  # assemblies that say so

    def plan(self, name: str) -> WiringPlan:
        """What a plan does; nothing where it says nothing."""
        return self.plans.get(name, WiringPlan())

    def bonds_of(self, plan: str) -> tuple[Bond, ...]:
        """Bonds that a plan makes: all of them where it does not say."""
        named = self.plan(plan).bonds
        return tuple(each for each in self.bonds if named is None or each.id in named)

    def circuit(self, name: str) -> Circuit:
        """Circuit by id; KeyError where there is none."""
        return {each.id: each for each in self.circuits}[name]
