"""What a project file may say of the house wiring: supplies, circuits, outlets, cables, bonds."""

from __future__ import annotations

import itertools
import math
from typing import Annotated, Any

from pydantic import Field

from envelope import electrical_units, units
from envelope.building import ranges
from envelope.building.wiring import CableKind, Conducts, DeviceWiring, OutletKind, Route
from envelope.errors import RangeError, UnitError
from envelope.project.schema import fields
from envelope.project.schema.fields import Choice, Names, Quantity, within
from envelope.project.schema.rooms import Problems, Table

UNKNOWN = "unknown"
_SAME_M = 1e-3


def _path(text: str) -> tuple[tuple[float, float], ...]:
    corners = units.parse_footprint(text)
    if not 2 <= len(corners) <= 100:
        raise RangeError(f"the path has {len(corners)} corners: 2 to 100 are allowed")
    for number, (one, other) in enumerate(itertools.pairwise(corners), start=1):
        if math.dist(one, other) < _SAME_M:
            raise RangeError(f"corners {number} and {number + 1} of the path are at one place")
    return corners


def _phase(text: str) -> float | None:
    return None if text.strip() == UNKNOWN else units.parse_angle(text)


def _nothing_or_angle(text: str) -> float | None:
    try:
        return _phase(text)
    except UnitError as error:
        raise UnitError(f'{error}; or "{UNKNOWN}"') from None


class _Phase(Quantity):
    """An angle, or that it is not known."""

    def _check(self, text: str, result: Any) -> None:
        if isinstance(result, float) and abs(result) > 2 * 3.1415927:
            raise RangeError(f'"{text}" is out of range: a phase is from -360 deg to 360 deg')


Voltage = Annotated[
    float, within(ranges.VOLTAGE, parse=electrical_units.parse_voltage, example="230 V")
]
Frequency = Annotated[
    float,
    within(ranges.SUPPLY_FREQUENCY, parse=electrical_units.parse_hertz, example="50 Hz"),
]
Phase = Annotated[float | None, _Phase(parse=_nothing_or_angle, what="a phase", example="120 deg")]
Resistance = Annotated[
    float, within(ranges.RESISTANCE, parse=electrical_units.parse_resistance, example="1 ohm")
]
FieldStrength = Annotated[
    float,
    within(ranges.FIELD_STRENGTH, parse=electrical_units.parse_field, example="12 V/m"),
]
Percent = Annotated[
    float, within(ranges.METER_SHARE, parse=electrical_units.parse_share, example="10 %")
]
Path = Annotated[
    tuple[tuple[float, float], ...],
    Quantity(parse=_path, what="a path", example="0, 0.3  4.0, 0.3 m"),
]
CircuitNames = Annotated[
    tuple[str, ...], Names(what="a circuit", example="sockets", more='["sockets", "lights"]')
]
BondNames = Annotated[tuple[str, ...], Names(what="a bond", example="b1", more='["b1", "b2"]')]
Side = Annotated[str, Choice(what="a side", words=("right", "left"))]
ConductsWord = Annotated[
    Conducts, Choice(what="what a wall does", words=("no", "earthed", "isolated", UNKNOWN))
]
_FROM = "The corner, seen from inside, that lengths along the wall count from; default right"


class Supply(Table):
    """A live conductor of the supply against earth."""

    id: fields.Id = "supply"
    voltage: Voltage = Field(description="To earth: 230 V, or 120 V of a split supply")
    frequency: Frequency
    phase: Phase = Field(0.0, description="Needed where there are several; default 0 deg")


class Circuit(Table):
    """What one breaker switches off."""

    id: fields.Id
    cable: Annotated[
        CableKind,
        Choice(
            what="a kind of cable",
            words=("round", "flat", "singles", "open", "metal-clad", UNKNOWN),
        ),
    ] = Field("unknown", description="Default unknown: round and flat are both computed")
    route: Annotated[
        Route, Choice(what="a route", words=("low", "high", "floor", "ceiling", UNKNOWN))
    ] = Field(
        "unknown",
        description="Between its outlets, in the order of the file; default unknown, and none "
        "where its cables are entered",
    )
    supply: fields.Reference | None = Field(
        None, description="Which supply feeds it; default the only one, or unknown"
    )
    phase: Phase = Field(None, description='Instead of its supply\'s; or "unknown"')


class Outlet(Table):
    """A socket, switch or light that a circuit leads to."""

    id: fields.Id
    circuit: fields.Reference
    on: fields.Reference = Field(description="A wall; a light may be on a ceiling")
    at: fields.Where = Field(description="Along the wall; on a ceiling x, y")
    height: fields.Distance | None = Field(
        None, description="Above the floor; default 0.3 m, a switch 1.1 m"
    )
    kind: Annotated[
        OutletKind, Choice(what="a kind of outlet", words=("socket", "switch", "light"))
    ] = Field("socket", description="Default socket")
    from_: Side = Field("right", description=_FROM)


class Cable(Table):
    """A run of a circuit that is known, by its corners on a face."""

    id: fields.Id | None = None
    circuit: fields.Reference
    on: fields.Reference
    path: Path = Field(
        description="Corners: along and up a wall; x and y on a floor or ceiling, in the space's "
        "coordinates"
    )
    depth: fields.Distance | None = Field(
        None,
        description="Behind the face; default 57 mm between studs, 20 mm in masonry, 100 mm under "
        "floorboards or above a ceiling (common practice, no source)",
    )
    from_: Side = Field("right", description=_FROM)


class Device(Table):
    """A lamp or another thing on a cord."""

    id: fields.Id
    outlet: fields.Reference
    at: fields.Point = Field(description="Its foot, in the space's coordinates")
    cord: Annotated[list[fields.Point], Field(max_length=50)] = Field(
        default_factory=list,
        description="Corners of its cord between outlet and foot; default down the wall and "
        "along the floor",
    )
    height: fields.Dimension = Field(0.35, description="Default 0.35 m")
    wiring: Annotated[
        DeviceWiring,
        Choice(what="a wiring", words=("two-core", "reversed", "earthed", UNKNOWN)),
    ] = Field(
        "unknown",
        description="two-core: the hot core is switched; reversed: the neutral is; default "
        "unknown, both ways round",
    )
    on: bool = Field(False, description="Switched on; default false, as at night")


class Bond(Table):
    """Where a coating is connected to the protective earth; one point an island."""

    id: fields.Id
    on: fields.Reference
    at: fields.Where = Field(description="Along the wall; on a floor or ceiling x, y")
    height: fields.Distance = Field(0.3, description="On a wall, above the floor; default 0.3 m")
    resistance: Resistance = Field(0.0, description="To earth; default 0 ohm")
    from_: Side = Field("right", description=_FROM)


class FieldReading(Table):
    """What a field meter showed, at 50 or 60 Hz."""

    id: fields.Id
    space: fields.Reference
    at: fields.Point
    field: FieldStrength
    against: Annotated[
        str, Choice(what="what it was measured against", words=("nothing", "earth"))
    ] = Field(description='"nothing": potential-free; "earth": a meter on an earth lead')
    plan: fields.Reference = Field("as-built", description="As it stood; default as-built")
    off: CircuitNames = Field((), description="Circuits off and devices unplugged")
    tolerance: Percent = Field(0.0, description="Of the meter; default 0 %")


class StripTable(Table):
    """A narrow coat along the runs of a circuit."""

    on: fields.Selector
    with_: fields.Treatments
    along: fields.Reference = Field(description="A circuit")
    width: fields.Dimension = Field(description="23 to 30 cm is common practice, no source")

    def problems(self) -> Problems:
        if not 0.05 <= self.width <= 2.0:
            yield "width", "a strip is 50 mm to 2 m wide"
