"""Ranges of what a job may say: one truth for records and for the file that they are read from.

A bound has its SI value and its text, so that a message names it as people write it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from envelope.errors import RangeError

ROUNDING = 1e-12  # relative: what a conversion of units may add to a bound


@dataclass(frozen=True, slots=True)
class Bound:
    """One end of a range."""

    value: float  # SI
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A range of numbers, and what they are."""

    what: str  # "an elevation"
    above: Bound | None = None
    at_least: Bound | None = None
    at_most: Bound | None = None

    def hold(self, value: float) -> bool:
        """Whether a number lies within; infinity and not-a-number never do."""
        try:
            value = float(value)
            finite = math.isfinite(value)
        except OverflowError:  # a whole number of hundreds of digits
            return False
        if not finite:
            return False
        if self.above is not None and value <= self.above.value:
            return False
        low, high = self.at_least, self.at_most
        if low is not None and value < low.value - ROUNDING * abs(low.value):
            return False
        return high is None or value <= high.value + ROUNDING * abs(high.value)

    def check(self, values: float | Iterable[float], shown: str) -> None:
        """Raise RangeError where a number lies outside; `shown` is how it was written."""
        numbers = tuple(values) if isinstance(values, Iterable) else (values,)
        if not all(map(self.hold, numbers)):
            raise RangeError(f"{shown} is out of range: {self.what} must be {self.words()}")

    def words(self) -> str:
        """The range as the end of a sentence.

        Examples
        --------
        >>> SHARE.words(), LEVEL.words()
        ('from 0 to 1', 'above 0 W/m2 and at most 1e6 W/m2')
        """
        if self.at_least is not None and self.at_most is not None:
            if self.at_least == self.at_most:
                return self.at_least.text
            return f"from {self.at_least.text} to {self.at_most.text}"
        words = []
        if self.above is not None:
            words.append(f"above {self.above.text}")
        if self.at_least is not None:
            words.append(f"{self.at_least.text} or more")
        if self.at_most is not None:
            words.append(f"at most {self.at_most.text}")
        return " and ".join(words)


def plain(what: str, low: float, high: float) -> Limits:
    """Limits of a number that has no unit."""
    return Limits(what=what, at_least=Bound(low, f"{low:g}"), at_most=Bound(high, f"{high:g}"))


def out_of_range(limits: Limits, values: float | Iterable[float], name: str) -> Iterator[str]:
    """Say where a record's number lies outside its range, as one sentence or none."""
    numbers = tuple(values) if isinstance(values, Iterable) else (values,)
    shown = ", ".join(f"{number:.6g}" for number in numbers)
    try:
        limits.check(numbers, f"{name} = {shown}")
    except RangeError as error:
        yield str(error)


def _angle(what: str, low_deg: float, high_deg: float) -> Limits:
    low, high = (Bound(math.radians(deg), f"{deg:g} deg") for deg in (low_deg, high_deg))
    return Limits(what=what, at_least=low, at_most=high)


def _above_zero(what: str, most: Bound, unit: str) -> Limits:
    return Limits(what=what, above=Bound(0.0, f"0 {unit}"), at_most=most)


_FAR = Bound(1e5, "100 km")
NO_LENGTH = Bound(0.0, "0 m")
HEIGHT = Limits(what="a length", at_least=Bound(-1e5, "-100 km"), at_most=_FAR)
DISTANCE = Limits(what="a length", at_least=NO_LENGTH, at_most=_FAR)
DIMENSION = Limits(what="a length", above=NO_LENGTH, at_most=_FAR)
BED = Limits(what="a side of a bed", at_least=Bound(0.3, "0.3 m"), at_most=Bound(3.0, "3 m"))
SIZE = Limits(what="a size", above=NO_LENGTH, at_most=Bound(1e3, "1 km"))
COORDINATE = Limits(what="a coordinate", at_least=Bound(-1e5, "-100 km"), at_most=_FAR)
TURN = _angle("an angle", -360.0, 360.0)
ELEVATION = _angle("an elevation", -90.0, 90.0)
PITCH = Limits(
    what="a pitch",
    above=Bound(0.0, "0 deg"),
    at_most=Bound(math.radians(85.0), "85 deg"),
)
SPREAD = Limits(
    what="a spread",
    above=Bound(0.0, "0 deg"),
    at_most=Bound(math.radians(90.0), "90 deg"),
)
DIRECTION_TOLERANCE = _angle("a tolerance", 0.0, 90.0)
FREQUENCY = Limits(
    what="a frequency", at_least=Bound(30e6, "30 MHz"), at_most=Bound(100e9, "100 GHz")
)
BAND = Limits(what="a band", at_least=FREQUENCY.at_least, at_most=FREQUENCY.at_most)
LEVEL = _above_zero("a level", Bound(1e6, "1e6 W/m2"), "W/m2")
POWER = _above_zero("a power", Bound(1e9, "1e9 W"), "W")
LOSS = Limits(what="a loss", at_least=Bound(0.0, "0 dB"), at_most=Bound(200.0, "200 dB"))
ANY_LOSS = Limits(what="a loss", at_least=LOSS.at_least)  # of a record, which may be a stand-in
TOLERANCE = Limits(what="a tolerance", at_least=Bound(0.0, "0 dB"), at_most=Bound(30.0, "30 dB"))
SHEET_RESISTANCE = Limits(  # a plate of copper as thick as a house is long has 1e-9 ohm/sq
    what="a sheet resistance",
    at_least=Bound(1e-9, "1e-9 ohm/sq"),
    at_most=Bound(1e9, "1e9 ohm/sq"),
)
CONDUCTIVITY = Limits(
    what="a conductivity", at_least=Bound(0.0, "0 S/m"), at_most=Bound(1e9, "1e9 S/m")
)
AREA = Limits(what="an area", at_least=Bound(0.0, "0 m2"), at_most=Bound(1000.0, "1000 m2"))
PEOPLE = plain("the number of people", 0, 1000)
SHARE = plain("a share", 0, 1)
DUTY = plain("a duty", 0.001, 1)
COATS = plain("the number of coats", 1, 20)
SPOTS = plain("the number of spots", 1, 10_000)
PERMITTIVITY = plain("a relative permittivity", 1, 1000)
SPREAD_RATE = Limits(
    what="a spread rate", at_least=Bound(0.1, "0.1 m2/l"), at_most=Bound(100.0, "100 m2/l")
)
LABOUR = Limits(what="hours for an area", at_most=Bound(100.0, "100 h/m2"))
PERCENT = Limits(what="a share in per cent", at_most=Bound(1.0, "100 %"))
FULLNESS = plain("a fullness", 1, 5)
WORKDAY = plain("a working day in hours", 1, 24)
DOSE = plain("a dose per litre", 0, 100)
DAYS = plain("a number of days", 0, 1000)
LOSS_TANGENT = plain("a loss tangent", 0, 100)
BEAMWIDTH = Limits(
    what="a beam width",
    at_least=Bound(math.radians(5.0), "5 deg"),
    at_most=Bound(math.radians(180.0), "180 deg"),
)
# Of the house wiring
VOLTAGE = Limits(what="a voltage", above=Bound(0.0, "0 V"), at_most=Bound(1e3, "1 kV"))
SUPPLY_FREQUENCY = Limits(
    what="a frequency", at_least=Bound(16.0, "16 Hz"), at_most=Bound(400.0, "400 Hz")
)
RESISTANCE = Limits(
    what="a resistance", at_least=Bound(0.0, "0 ohm"), at_most=Bound(1e12, "1e6 Mohm")
)
FIELD_STRENGTH = Limits(
    what="a field", at_least=Bound(0.0, "0 V/m"), at_most=Bound(1e5, "100 kV/m")
)
METER_SHARE = Limits(
    what="a share in per cent", at_least=Bound(0.0, "0 %"), at_most=Bound(1.0, "100 %")
)
