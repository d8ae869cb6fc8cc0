"""Field types of the project file: text with a unit in, SI out, one sentence where it cannot be.

Each type is an `Annotated` alias whose metadata reads the value and describes itself in the JSON
Schema. They replace pydantic's own reading, whose messages speak of types and not of lengths.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any

from envelope import electrical_units, units
from envelope.building import ranges
from envelope.building.job import LossCurve
from envelope.building.ranges import Limits
from envelope.building.selectors import nearest_names
from envelope.building.unknowns import FURNISHING_M2
from envelope.errors import RangeError, UnitError
from envelope.physics.tables import services
from envelope.pricing.products import Price
from envelope.project import outlines as outline
from envelope.project.schema.metadata import Json, Read

_MOST_POINTS = 500  # of a table by frequency
_FURNISHED = (FURNISHING_M2.middle, FURNISHING_M2.high)


def shown(value: object) -> str:
    """Quote a value as a TOML file would write it, short and on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**30 else "a number of more than 30 digits"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str):
        text = value if len(value) <= 60 else f"{value[:57]}..."
        return '"' + "".join(mark if mark.isprintable() else "?" for mark in text) + '"'
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, Sequence):
        return "a list"
    if isinstance(value, datetime.date | datetime.time):
        return f"the date or time {value}"
    return "a value"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity(Read):
    """Text that a parser of `envelope.units` (or of an outline) turns into SI numbers.

    Limits hold for every number in the value.
    """

    parse: Callable[[str], Any]
    what: str  # "a length"
    example: str
    limits: Limits | None = None

    def read(self, value: object) -> object:
        if isinstance(value, int | float) and not isinstance(value, bool):
            raise UnitError(
                f"{shown(value)} is a bare number: {self.what} is written in quotes with its "
                f'unit, such as "{self.example}"'
            )
        if not isinstance(value, str):
            raise UnitError(
                f'{shown(value)} is not {self.what}: write it in quotes, such as "{self.example}"'
            )
        result = self.parse(value)
        self._check(value, result)
        return result

    def _check(self, text: str, result: Any) -> None:
        if self.limits is not None:
            self.limits.check(result, shown(text))

    def described(self) -> Json:
        bounds = "" if self.limits is None else self.limits.words()
        return {
            "type": "string",
            "description": self.what[:1].upper()
            + self.what[1:]
            + (f", {bounds}" if bounds else ""),
            "examples": [self.example],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class _OrNothing(Quantity):
    """A quantity whose range begins above 0, and which may also be 0 itself."""

    def _check(self, text: str, result: Any) -> None:
        if result != 0.0:
            Quantity._check(self, text, result)


@dataclass(frozen=True, slots=True, kw_only=True)
class Number(Read):
    """A plain number that has no unit."""

    limits: Limits
    example: str
    whole: bool = False

    @property
    def what(self) -> str:
        """What the number is."""
        return self.limits.what

    def read(self, value: object) -> object:
        kind = int if self.whole else (int, float)
        if isinstance(value, bool) or not isinstance(value, kind):
            noun = "a whole number" if self.whole else "a number"
            raise UnitError(
                f"{shown(value)} is not {noun}: {self.what} is written without quotes, "
                f"such as {self.example}"
            )
        self.limits.check(value, shown(value))
        return value if self.whole else float(value)

    def described(self) -> Json:
        return {
            "type": "integer" if self.whole else "number",
            **_minimum_and_maximum(self.limits),
            "description": self.what[:1].upper() + self.what[1:],
        }


def _minimum_and_maximum(limits: Limits) -> Json:
    low, high = limits.at_least, limits.at_most
    return {
        **({} if low is None else {"minimum": low.value}),
        **({} if high is None else {"maximum": high.value}),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(Read):
    """One word of a list."""

    what: str
    words: tuple[str, ...]

    @property
    def example(self) -> str:  # type: ignore[override]
        return self.words[0]

    def read(self, value: object) -> object:
        if not isinstance(value, str):
            raise UnitError(f"{shown(value)} is not {self.what}: {self._allowed()}")
        if value not in self.words:
            hint = nearest_names(value, self.words)
            near = f"; {hint}" if hint.startswith("did") else ""
            raise UnitError(f"{shown(value)} is not {self.what}: {self._allowed()}{near}")
        return value

    def _allowed(self) -> str:
        words = ", ".join(f'"{word}"' for word in self.words)
        return f"it is one of {words}" if len(self.words) > 1 else f"only {words} is allowed"

    def described(self) -> Json:
        return {"enum": list(self.words)}


# What a terminal would obey rather than show, and what turns the direction of text about.
_CONTROLS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Read):
    """Words: an id, a reference to one, a title."""

    what: str
    example: str
    pattern: str | None = None
    allowed: str = ""
    longest: int = 200

    def read(self, value: object) -> object:
        if not isinstance(value, str):
            raise UnitError(
                f'{shown(value)} is not {self.what}: write it in quotes, such as "{self.example}"'
            )
        if len(value) > self.longest:
            raise RangeError(
                f"{shown(value)} is {len(value)} characters long: {self.what} has at most "
                f"{self.longest}"
            )
        if not value.strip():
            raise UnitError(f'{self.what} is empty: write it such as "{self.example}"')
        if self.pattern is not None and re.fullmatch(self.pattern, value) is None:
            raise UnitError(f"{shown(value)} is not {self.what}: {self.allowed}")
        if _CONTROLS.search(value) is not None:
            raise UnitError(
                f"{shown(value)} holds a control character: {self.what} has plain characters only"
            )
        return value

    def described(self) -> Json:
        pattern = {} if self.pattern is None else {"pattern": f"^{self.pattern}$"}
        return {"type": "string", "maxLength": self.longest, "examples": [self.example], **pattern}


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve(Read):
    """A loss: one for every frequency, or a table by frequency."""

    example: str = "6 dB"

    def read(self, value: object) -> object:
        if not isinstance(value, Mapping):
            return LossCurve(frequencies_hz=(), losses_db=(_read_loss(value),))
        if len(value) > _MOST_POINTS:
            raise RangeError(
                f"a table of losses has at most {_MOST_POINTS} points, and this has {len(value)}"
            )
        frequencies, losses = [], []
        for name, loss in value.items():
            frequencies.append(_read_frequency(name))
            try:
                losses.append(_read_loss(loss))
            except (UnitError, RangeError) as error:
                raise UnitError(f"at {shown(name)}: {error}") from None
        if len(frequencies) < 2:
            raise RangeError(
                f"a table of losses needs at least two points, and this has {len(frequencies)}: "
                'one loss for every frequency is written such as "6 dB"'
            )
        for before, after, name in zip(frequencies, frequencies[1:], list(value)[1:], strict=False):
            if after <= before:
                raise RangeError(
                    f"the table of losses is not sorted: {shown(name)} does not come after the "
                    "frequency before it"
                )
        return LossCurve(frequencies_hz=tuple(frequencies), losses_db=tuple(losses))

    def described(self) -> Json:
        one = {"type": "string", "examples": [self.example]}
        table = {"type": "object", "minProperties": 2, "additionalProperties": {"type": "string"}}
        return {
            "description": "Loss in dB, or a table such as { '900 MHz' = '4 dB', … }",
            "anyOf": [one, table],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels(Read):
    """A level: one for every storey (key ""), or one a storey."""

    example: str = "850 uW/m2"

    def read(self, value: object) -> object:
        if not isinstance(value, Mapping):
            return {"": _read_level(value)}
        if not value:
            raise RangeError("the table of levels is empty: write one level a storey")
        levels = {}
        for storey, level in value.items():
            try:
                levels[storey] = _read_level(level)
            except (UnitError, RangeError) as error:
                raise UnitError(f"at {shown(storey)}: {error}") from None
        return levels

    def described(self) -> Json:
        one = {"type": "string", "examples": [self.example]}
        table = {"type": "object", "additionalProperties": one}
        return {"description": "Power density outside, or one a storey", "anyOf": [one, table]}


@dataclass(frozen=True, slots=True, kw_only=True)
class Names(Read):
    """One name or a list of names."""

    what: str
    example: str
    more: str

    def read(self, value: object) -> object:
        names = [value] if isinstance(value, str) else value
        if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
            raise UnitError(
                f"{shown(value)} is not {self.what}: write one name or a list of names, such as "
                f'"{self.example}" or {self.more}'
            )
        if len(names) > 20:
            raise RangeError(f"the list has {len(names)} names: at most 20 are allowed")
        return tuple(names)

    def described(self) -> Json:
        one = {"type": "string"}
        return {"anyOf": [one, {"type": "array", "items": one}], "examples": [self.example]}


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceName(Read):
    """A radio service by the name under which people know it."""

    example: str = "LTE 1800"

    def read(self, value: object) -> object:
        if not isinstance(value, str):
            raise UnitError(
                f'{shown(value)} is not a service: write it in quotes, such as "{self.example}"'
            )
        found = services.service_named(value)
        if found is None:
            near = nearest_names(value, services.BY_NAME)
            raise UnitError(
                f"there is no service {shown(value)} (a band may stand in its place): {near}"
            )
        return found.name

    def described(self) -> Json:
        return {"type": "string", "examples": list(services.BY_NAME)}


def _price(text: str) -> Price:
    money = units.parse_money(text)
    return Price(amount=money.amount, currency=money.currency, unit=money.unit)


_ID = r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}"
_ID_ALLOWED = (
    "an id begins with a letter or digit and goes on with letters, digits, hyphens and "
    "underscores, at most 64 in all"
)


def _opening_size(text: str) -> tuple[float, ...]:
    """Width and height, or one diameter."""
    if "x" in text.lower() or "\N{MULTIPLICATION SIGN}" in text:
        return units.parse_size(text, count=2)
    return (units.parse_length(text),)


def _furnishing(text: str) -> float:
    """An absorption area; who writes a word instead is told what rooms have."""
    try:
        return units.parse_area(text)
    except UnitError:
        bare, usual, full = (f'"{value:g} m2"' for value in (0.0, *_FURNISHED))
        raise UnitError(
            f"{shown(text)} is not what the things in a room absorb, as an area: write {bare} for "
            f"a bare room, {usual} for a usual bedroom, {full} with upholstery, curtains and carpet"
        ) from None


def within(limits: Limits, *, parse: Callable[[str], Any], example: str) -> Quantity:
    """A quantity whose numbers lie within limits."""
    return Quantity(parse=parse, what=limits.what, example=example, limits=limits)


def _length(limits: Limits, example: str) -> Quantity:
    return within(limits, parse=units.parse_length, example=example)


def _angle(limits: Limits, example: str) -> Quantity:
    return within(limits, parse=units.parse_angle, example=example)


def _size(count: int, example: str) -> Quantity:
    return within(ranges.SIZE, parse=partial(units.parse_size, count=count), example=example)


def _point(count: int, example: str) -> Quantity:
    parse = partial(units.parse_point, count=count)
    return within(ranges.COORDINATE, parse=parse, example=example)


def _float_of(quantity: Quantity) -> Callable[[object], float]:
    def read(value: object) -> float:
        result = quantity.read(value)
        assert isinstance(result, float)  # what the parsers below return
        return result

    return read


_read_loss = _float_of(within(ranges.LOSS, parse=units.parse_loss, example="6 dB"))
_read_frequency = _float_of(
    within(ranges.FREQUENCY, parse=units.parse_frequency, example="900 MHz")
)
_level = within(ranges.LEVEL, parse=units.parse_power_density, example="850 uW/m2")
_read_level = _float_of(_level)

Length = Annotated[float, _length(ranges.HEIGHT, "-0.3 m")]
Distance = Annotated[float, _length(ranges.DISTANCE, "0.9 m")]
Dimension = Annotated[float, _length(ranges.DIMENSION, "2.4 m")]
Eaves = Annotated[
    float,
    _OrNothing(parse=units.parse_length, what="a length", example="2.4 m", limits=ranges.DIMENSION),
]
Size = Annotated[tuple[float, float], _size(2, "1.5 m x 1.2 m")]
OpeningSize = Annotated[
    tuple[float, ...], within(ranges.SIZE, parse=_opening_size, example="1.5 m x 1.2 m")
]
BedSize = Annotated[
    tuple[float, float],
    within(ranges.BED, parse=lambda text: units.parse_size(text, count=2), example="0.9 m x 2.0 m"),
]
BoxSize = Annotated[tuple[float, float, float], _size(3, "0.9 m x 2.0 m x 0.3 m")]
Spot = Annotated[tuple[float, float], _point(2, "0, 0 m")]
Point = Annotated[tuple[float, float, float], _point(3, "0.6, 1.2, 0.7 m")]
PlainText = Annotated[str, Text(what="a text", example="north wall", longest=2000)]
Name = Annotated[str, Text(what="a name", example="Larch Cottage, upper bedroom")]
Id = Annotated[
    str, Text(what="an id", example="bedroom", pattern=_ID, allowed=_ID_ALLOWED, longest=64)
]
Reference = Annotated[str, Text(what="a name", example="bedroom")]
Storey = Annotated[str, Text(what="a storey", example="upper")]
Selector = Annotated[str, Text(what="a selector", example="bedroom/walls")]
Side = Annotated[
    str,
    Text(
        what="a side",
        example="south",
        pattern=r"x|y|north|east|south|west|[1-9]\d{0,2}",
        allowed='it is a compass word, "x" or "y", or the number of a wall',
        longest=5,
    ),
]
Where = Annotated[
    str, Quantity(parse=str, what="a position", example="1.0 m")  # read once its wall is known
]
Rectangle = Annotated[
    outline.Corners,
    Quantity(parse=outline.size_corners, what="a size", example="4.2 m x 3.6 m"),
]
Footprint = Annotated[
    outline.Corners,
    Quantity(
        parse=outline.footprint_corners,
        what="a footprint",
        example="0,0  4.2,0  4.2,3.6  0,3.6 m",
    ),
]
Walk = Annotated[
    outline.Corners,
    Quantity(parse=outline.walk_corners, what="a walk", example="E 4.2 m; N 3.6 m; W 4.2 m; S"),
]
Turn = Annotated[float, _angle(ranges.TURN, "15 deg")]
Elevation = Annotated[float, _angle(ranges.ELEVATION, "4 deg")]
Pitch = Annotated[float, _angle(ranges.PITCH, "42 deg")]
Spread = Annotated[float, _angle(ranges.SPREAD, "5 deg")]
Band = Annotated[
    tuple[float, float], within(ranges.BAND, parse=units.parse_band, example="1805-1880 MHz")
]
Service = Annotated[str, ServiceName()]
Power = Annotated[float, within(ranges.POWER, parse=units.parse_power, example="20 dBm")]
SheetResistance = Annotated[
    float,
    within(ranges.SHEET_RESISTANCE, parse=units.parse_sheet_resistance, example="5 ohm/sq"),
]
Conductivity = Annotated[
    float, within(ranges.CONDUCTIVITY, parse=units.parse_conductivity, example="0.02 S/m")
]
Cost = Annotated[Price, Quantity(parse=_price, what="a price", example="24 EUR/m2")]
Loss = Annotated[LossCurve, Curve()]
Level = Annotated[dict[str, float], Levels()]
OneLevel = Annotated[float, _level]
Decibels = Annotated[float, within(ranges.TOLERANCE, parse=units.parse_loss, example="3 dB")]
Tolerance = Annotated[float, _angle(ranges.DIRECTION_TOLERANCE, "5 deg")]
Area = Annotated[float, within(ranges.AREA, parse=units.parse_area, example="1.5 m2")]
Furnishing = Annotated[float, within(ranges.AREA, parse=_furnishing, example="2 m2")]
People = Annotated[int, Number(limits=ranges.PEOPLE, example="1", whole=True)]
Share = Annotated[float, Number(limits=ranges.SHARE, example="0.2")]
Duty = Annotated[float, Number(limits=ranges.DUTY, example="0.1")]
Coats = Annotated[int, Number(limits=ranges.COATS, example="2", whole=True)]
Permittivity = Annotated[float, Number(limits=ranges.PERMITTIVITY, example="2.9")]
LossTangent = Annotated[float, Number(limits=ranges.LOSS_TANGENT, example="0.02")]
Treatments = Annotated[
    tuple[str, ...], Names(what="a treatment", example="coating", more='["film", "curtain"]')
]
Sources = Annotated[
    tuple[str, ...], Names(what="a source", example="mast", more='["mast", "router"]')
]
Selectors = Annotated[
    tuple[str, ...],
    Names(what="a selector", example="*/windows", more='["*/windows", "bedroom/walls"]'),
]
Spots = Annotated[int, Number(limits=ranges.SPOTS, example="6", whole=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Day(Read):
    """A calendar date, in quotes or as TOML writes it; it is kept as text."""

    example: str = "2026-03-02"

    def read(self, value: object) -> object:
        if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value.isoformat()
        try:
            if isinstance(value, str):
                return datetime.date.fromisoformat(value.strip()).isoformat()
        except ValueError:
            pass
        raise UnitError(
            f"{shown(value)} is not a date: write year, month and day, such as {self.example}"
        )

    def described(self) -> Json:
        return {"type": "string", "format": "date", "examples": [self.example]}


Date = Annotated[str, Day()]
Beamwidth = Annotated[float, _angle(ranges.BEAMWIDTH, "60 deg")]
Ohms = Annotated[
    float,
    within(ranges.RESISTANCE, parse=electrical_units.parse_resistance, example="12 ohm"),
]
