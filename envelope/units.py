"""Quantities as people write them, turned into SI numbers, and lengths turned back into text.

    "12 ft 4 1/2 in" → 3.7719          "15 deg" → 0.2618         "850 uW/m2" → 8.5e-4
    "4.2 m x 3.6 m" → (4.2, 3.6)       "1805-1880 MHz" → (1.805e9, 1.88e9)

Every function takes the text alone and raises `UnitError` with one sentence that says what was
found and what is allowed. Nothing is guessed: a bare number has no unit, a comma between digits
could be a decimal mark or a thousands mark, and both are refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from envelope.errors import UnitError

# Impedance of free space: CODATA 2022, 376.730313412 Ω (from memory).
_FREE_SPACE_OHM = 376.730313412

_LENGTHS = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet", "'"), 0.3048),
    **dict.fromkeys(("in", "inch", "inches", '"'), 0.0254),
    "km": 1e3,
    "cm": 1e-2,
    "mm": 1e-3,
    "um": 1e-6,
    "µm": 1e-6,
}
_IMPERIAL = (0.3048, 0.0254)
_ANGLES = {**dict.fromkeys(("deg", "°", "degree", "degrees"), math.pi / 180), "rad": 1.0}
_FREQUENCIES = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
_FLUXES = {"nW/m2": 1e-9, "uW/m2": 1e-6, "µW/m2": 1e-6, "mW/m2": 1e-3, "W/m2": 1.0}
_FLUXES |= {"uW/cm2": 1e-2, "µW/cm2": 1e-2, "mW/cm2": 10.0}
_FIELDS = {"V/m": 1.0, "mV/m": 1e-3}
_POWERS = {"uW": 1e-6, "µW": 1e-6, "mW": 1e-3, "W": 1.0, "kW": 1e3}
_SHEETS = {
    prefix + ohm + "/" + square: factor
    for prefix, factor in (("", 1.0), ("m", 1e-3), ("k", 1e3))
    for ohm in ("ohm", "ohms", "Ω")
    for square in ("sq", "square", "□")
}
_CONDUCTIVITIES = {"S/m": 1.0, "mS/m": 1e-3, "kS/m": 1e3, "MS/m": 1e6}
_SALES = {name: name for name in ("m2", "ft2", "m", "litre", "gallon", "roll", "piece")}
_SALES |= {"liter": "litre", "l": "litre", "gal": "gallon", "sqm": "m2", "each": "piece"}
_SALES |= dict.fromkeys(("sqft", "sf", "sq ft", "sq.ft", "sq. ft", "square foot"), "ft2")
_COMPASS = {"E": (1.0, 0.0), "N": (0.0, 1.0), "W": (-1.0, 0.0), "S": (0.0, -1.0)}
_COMPASS |= {
    north + east: (_COMPASS[east][0] * math.sqrt(0.5), _COMPASS[north][1] * math.sqrt(0.5))
    for north in "NS"
    for east in "EW"
}
_COMPASS_WORDS = {"NORTH": "N", "EAST": "E", "SOUTH": "S", "WEST": "W"}

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_VULGAR |= {"⅓": "1/3", "⅔": "2/3"}
_TYPOGRAPHY = str.maketrans(
    {
        **dict.fromkeys("′’‘ʹ", "'"),
        **dict.fromkeys("″”“ʺ", '"'),
        **dict.fromkeys("−–—‒‐‑", "-"),
        "\u2044": "/",  # the fraction slash
        "×": "x",
        "\u2126": "\u03a9",  # the ohm sign becomes the Greek letter
        "\u03bc": "\u00b5",  # the Greek letter becomes the micro sign
    }
)
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*([+-]?)\s*({_NUMBER})\s*(\S.*?)?\s*", re.DOTALL)
_TERM = re.compile(
    rf"(?:(?:(?P<whole>\d+)(?:\s+|-))?(?P<over>\d+)\s*/\s*(?P<under>\d+)|(?P<plain>{_NUMBER}))"
    r"\s*(?P<unit>[^\W\d_]+\.?|''|[\"'])?"
)
_WRITE_LENGTH = 'write it such as "3.6 m" or "12 ft 4 1/2 in"'
_JOINT = re.compile(r" ?-? ?")  # a hyphen may join feet and inches
_COMMA_IN_NUMBER = re.compile(r"\d\s?,\s?\d")
_LENGTH_UNIT_AT_END = re.compile(r" ?((?<![^\W\d_])[^\W\d_]+\.?|''|[\"'])\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One stretch of a walk round a room."""

    name: str  # "E", "NW"
    direction: tuple[float, float]  # unit vector in x and y
    length_m: float | None  # None where it closes the walk


@dataclass(frozen=True, slots=True, kw_only=True)
class Money:
    """An amount for one unit of something."""

    amount: Decimal
    currency: str  # three letters
    unit: str  # "m2", "ft2", "m", "litre", "gallon", "roll", "piece"


# Lengths


def parse_length(text: str) -> float:
    """Length in metres, with its sign.

    Examples
    --------
    >>> [round(parse_length(text), 6) for text in ("3600 mm", "12'-4 1/2\\"", "-1/2 in")]
    [3.6, 3.7719, -0.0127]
    """
    plain = _plain(text)
    _refuse_comma(plain, example="3.6 m")
    return _length(plain, found=text, unit=None)


def parse_size(text: str, *, count: int = 2) -> tuple[float, ...]:
    """Lengths in metres joined by ``x`` or ``×``; one unit at the end serves all.

    Examples
    --------
    >>> parse_size("4.2 x 3.6 m")
    (4.2, 3.6)
    """
    plain = _plain(text)
    example = " x ".join(("4.2 m", "3.6 m", "2.4 m")[:count])
    _refuse_comma(plain, example=example)
    body, unit = _split_unit(plain)
    parts = re.split(r"\s*[xX]\s*", body)
    if len(parts) != count:
        raise UnitError(
            f'{_shown(text)} has {len(parts)} of {count} lengths: write it such as "{example}"'
        )
    return tuple(_length(part, found=text, unit=unit) for part in parts)


def parse_point(text: str, *, count: int = 3) -> tuple[float, ...]:
    """Coordinates in metres joined by commas; one unit at the end serves all.

    Examples
    --------
    >>> parse_point("0.6, 1.2, 0.7 m")
    (0.6, 1.2, 0.7)
    """
    plain = _plain(text)
    example = ", ".join(("0.6", "1.2", "0.7")[:count]) + " m"
    body, unit = _split_unit(plain)
    parts = [part.strip() for part in body.split(",")]
    if len(parts) != count:
        hint = "; decimals take a point, not a comma" if len(parts) > count else ""
        raise UnitError(
            f"{_shown(text)} has {len(parts)} of {count} coordinates: "
            f'write it such as "{example}"{hint}'
        )
    return tuple(_length(part, found=text, unit=unit, zero=True) for part in parts)


def parse_footprint(text: str) -> tuple[tuple[float, float], ...]:
    """Corners in metres: ``x,y`` pairs with blanks (or semicolons) between, a unit at the end.

    Examples
    --------
    >>> parse_footprint("0,0  4.2,0  4.2,2.6 m")
    ((0.0, 0.0), (4.2, 0.0), (4.2, 2.6))
    """
    plain = _plain(text, longest=8000)
    body, unit = _split_unit(plain)
    if ";" in body:
        pairs = [pair.strip() for pair in body.split(";") if pair.strip()]
    else:
        pairs = re.sub(r"\s*,\s*", ",", body).split()
    corners = []
    for number, pair in enumerate(pairs, start=1):
        parts = [part.strip() for part in pair.split(",")]
        if len(parts) != 2:
            hint = "; decimals take a point, not a comma" if len(parts) > 2 else ""
            raise UnitError(
                f"corner {number} of {_shown(text)} is {_shown(pair)}: a corner is x,y, "
                f'such as "0,0  4.2,0  4.2,3.6  0,3.6 m"{hint}'
            )
        x, y = (_length(part, found=text, unit=unit, zero=True) for part in parts)
        corners.append((x, y))
    return tuple(corners)


def parse_walk(text: str) -> tuple[Leg, ...]:
    """Legs of a walk: compass points and lengths; the last may lack its length.

    Examples
    --------
    >>> [(leg.name, leg.length_m) for leg in parse_walk("E 4 m; N 3 m; W 400 cm; S")]
    [('E', 4.0), ('N', 3.0), ('W', 4.0), ('S', None)]
    """
    plain = _plain(text, longest=8000)
    _refuse_comma(plain, example="E 4.2 m; N 3.6 m; W 4.2 m; S")
    pieces = plain.strip().rstrip(";").split(";")
    legs = []
    for number, piece in enumerate(pieces, start=1):
        match = re.fullmatch(r"\s*([A-Za-z]+)\b\s*(.*?)\s*", piece, re.DOTALL)
        name = "" if match is None else match[1].upper()
        name = _COMPASS_WORDS.get(name, name)
        if match is None or name not in _COMPASS:
            raise UnitError(
                f"leg {number} of the walk is {_shown(piece.strip())}: a leg is one of "
                f'{", ".join(_COMPASS)} and a length, such as "E 13 ft 9 in"'
            )
        length_m = None
        if match[2]:
            length_m = _length(match[2], found=match[2], unit=None)
            if length_m <= 0.0:
                raise UnitError(
                    f"leg {number} of the walk is {_shown(piece.strip())}: its length must be "
                    "above 0; turn the compass point round instead"
                )
        elif number < len(pieces):
            raise UnitError(
                f"leg {number} of the walk has no length: only the last leg may leave it out"
            )
        legs.append(Leg(name=name, direction=_COMPASS[name], length_m=length_m))
    return tuple(legs)


def _length(text: str, *, found: str, unit: str | None, zero: bool = False) -> float:
    """Read one length; `unit` serves where it states none, `zero` allows a bare 0."""
    what = _shown(found)
    stripped = text.strip()
    sign = -1.0 if stripped.startswith("-") else 1.0
    body = stripped[1:].strip() if stripped[:1] in ("+", "-") else stripped
    if unit is not None:
        body = f"{body} {unit}"
    total, last, position, whole = Fraction(0), math.inf, 0, True
    while position < len(body) or not body:
        match = _TERM.match(body, position)
        if match is None:
            raise UnitError(f"{what} is not a length: {_WRITE_LENGTH}")
        number = _fraction(match, what=what)
        name = match["unit"]
        if name is None:
            if zero and number == 0 and position == 0 and match.end() == len(body):
                return 0.0
            raise UnitError(f"{what} has a number without a unit: {_WRITE_LENGTH}")
        factor = _LENGTHS.get('"' if name == "''" else name.rstrip(".").lower())
        if factor is None:
            raise UnitError(
                f"{what} has the unknown unit {_shown(name)}: a length is in m, cm, mm, ft or in; "
                + _WRITE_LENGTH
            )
        if last != math.inf:
            _check_follows(number=number, factor=factor, before=last, what=what)
        if not whole:
            raise UnitError(
                f"{what} has a fraction before its last part: only the last part may have "
                'one, such as "12 ft 4 1/2 in"'
            )
        total += number * _exact(factor)
        last, whole = factor, number.denominator == 1
        joint = _JOINT.match(body, match.end())
        position = match.end() if joint is None else joint.end()
    if total > 10**15:
        raise UnitError(f"{what} is too large")
    return sign * float(total)


def _check_follows(*, number: Fraction, factor: float, before: float, what: str) -> None:
    """Refuse parts that do not descend, mix metric with feet, or reach the part before."""
    if factor >= before or (factor in _IMPERIAL) != (before in _IMPERIAL):
        raise UnitError(
            f"{what} has parts that do not go from the larger unit to the smaller: "
            'write it such as "12 ft 4 1/2 in"'
        )
    if number * _exact(factor) >= _exact(before):
        larger = "a foot" if before == 0.3048 else "one of the unit before it"
        raise UnitError(
            f"{what} has a last part of {larger} or more: is a blank missing in a fraction? "
            'Write it such as "12 ft 4 1/2 in"'
        )


def _fraction(match: re.Match[str], *, what: str) -> Fraction:
    """Exact value of a term's number."""
    if match["plain"] is not None:
        return _exact_number(match["plain"], what=what)
    over, under, whole = match["over"], match["under"], match["whole"] or "0"
    if max(len(over), len(under), len(whole)) > 18:
        raise UnitError(f"{what} has too many digits")
    if int(under) == 0 or (match["whole"] is not None and int(over) >= int(under)):
        raise UnitError(f'{what} has an impossible fraction: write it such as "4 1/2 in"')
    return int(whole) + Fraction(int(over), int(under))


def _exact_number(text: str, *, what: str) -> Fraction:
    """Exact value of decimal text, refused where its size alone would cost time."""
    exponent = re.search(r"[eE]([+-]?\d+)\Z", text)
    if len(text) > 40 or (exponent is not None and abs(int(exponent[1])) > 30):
        raise UnitError(f"{what} has too many digits")
    return Fraction(text)


def _exact(factor: float) -> Fraction:
    return Fraction(repr(factor))


def _split_unit(plain: str) -> tuple[str, str | None]:
    """Take a unit at the end off, where nothing before it has one."""
    match = _LENGTH_UNIT_AT_END.search(plain)
    if match is None:
        return plain, None
    body = plain[: match.start()]
    without_marks = re.sub(r"(?<=\d)[eE](?=[+-]?\d)|[xX]", "", body)
    if re.search(r"[^\W\d_]|['\"]", without_marks):
        return plain, None
    return body, match[1]


# Everything else


def parse_angle(text: str) -> float:
    """Angle in radians, with its sign.

    Examples
    --------
    >>> round(parse_angle("180 deg"), 6)
    3.141593
    """
    return _scaled(text, units=_ANGLES, what="an angle", example="15 deg")


def parse_frequency(text: str) -> float:
    """Frequency in hertz.

    Examples
    --------
    >>> parse_frequency("2.45 GHz")
    2450000000.0
    """
    return _scaled(text, units=_FREQUENCIES, what="a frequency", example="2.45 GHz", fold=True)


def parse_band(text: str) -> tuple[float, float]:
    """Lower and upper end of a band in hertz; one frequency is a band of no width.

    Examples
    --------
    >>> parse_band("1805-1880 MHz")
    (1805000000.0, 1880000000.0)
    """
    plain = _plain(text)
    ends = re.split(r"(?<=[\w.])\s*(?:-|\bto\b)\s*(?=[\d.])", _hide_exponents(plain))
    ends = [end.replace("~", "-") for end in ends]
    example = "1805-1880 MHz"
    if len(ends) == 1:
        single = _scaled(text, units=_FREQUENCIES, what="a band", example=example, fold=True)
        return single, single
    if len(ends) != 2:
        raise UnitError(f'{_shown(text)} is not a band: write it such as "{example}"')
    unit = re.search(r"[A-Za-z]+\s*\Z", ends[1])
    if unit is not None and re.fullmatch(rf"\s*{_NUMBER}\s*", ends[0]):
        ends[0] = f"{ends[0]} {unit[0]}"
    low, high = (
        _scaled(end, units=_FREQUENCIES, what="a band", example=example, fold=True, found=text)
        for end in ends
    )
    if low > high:
        raise UnitError(
            f"the band {_shown(text)} has its ends swapped: write the lower frequency first, "
            f'such as "{example}"'
        )
    return low, high


def parse_power_density(text: str) -> float:
    """Power density in W/m², also from a field strength (root mean square) or dBm per m².

    Examples
    --------
    >>> parse_power_density("850 uW/m2"), parse_power_density("-30 dBm/m2")
    (0.00085, 1e-06)
    >>> round(parse_power_density("1 V/m"), 9)
    0.002654419
    """
    what, example = "a level", "850 uW/m2"
    number, unit = _number_and_unit(text, what=what, example=example)
    unit = unit.replace("^", "").replace("²", "2")
    if unit in _FIELDS:
        field_v_m = number * _FIELDS[unit]
        return _checked(field_v_m * field_v_m / _FREE_SPACE_OHM, text=text)
    if unit == "dBm/m2":
        return _from_db(number, text=text) * 1e-3
    if unit in _FLUXES:
        return _checked(_scale(number, _FLUXES[unit]), text=text)
    raise _unknown_unit(
        text, unit, what=what, allowed="uW/m2, mW/m2, W/m2, V/m or dBm/m2", example=example
    )


def parse_power(text: str) -> float:
    """Power in watts.

    Examples
    --------
    >>> parse_power("20 dBm"), parse_power("250 mW")
    (0.1, 0.25)
    """
    what, example = "a power", "20 dBm"
    number, unit = _number_and_unit(text, what=what, example=example)
    if unit in ("dBm", "dBW"):
        return _from_db(number, text=text) * (1e-3 if unit == "dBm" else 1.0)
    if unit in _POWERS:
        return _checked(_scale(number, _POWERS[unit]), text=text)
    raise _unknown_unit(text, unit, what=what, allowed="dBm, dBW, uW, mW, W or kW", example=example)


def parse_loss(text: str) -> float:
    """Loss in dB, such as "6 dB"."""
    return _scaled(text, units={"db": 1.0}, what="a loss", example="6 dB", fold=True)


def parse_area(text: str) -> float:
    """Area in m².

    Examples
    --------
    >>> parse_area("1.5 m2"), parse_area("10 ft²")
    (1.5, 0.9290304)
    """
    units = {"m2": 1.0, "m²": 1.0, "ft2": 0.09290304, "ft²": 0.09290304}
    return _scaled(text, units=units, what="an area", example="1.5 m2")


def parse_sheet_resistance(text: str) -> float:
    """Sheet resistance in ohms per square.

    Examples
    --------
    >>> parse_sheet_resistance("5 ohm/sq"), parse_sheet_resistance("40 mΩ/□")
    (5.0, 0.04)
    """
    return _scaled(text, units=_SHEETS, what="a sheet resistance", example="5 ohm/sq")


def parse_conductivity(text: str) -> float:
    """Conductivity in siemens per metre, such as "58 MS/m"."""
    return _scaled(text, units=_CONDUCTIVITIES, what="a conductivity", example="0.02 S/m")


def parse_money(text: str) -> Money:
    """Amount, currency and the unit that it buys.

    Examples
    --------
    >>> parse_money("24.50 EUR/m2")
    Money(amount=Decimal('24.50'), currency='EUR', unit='m2')
    """
    plain = _plain(text)
    _refuse_comma(plain, example="24.50 EUR/m2")
    match = re.fullmatch(
        r"\s*(\d{1,12}(?:\.\d{1,6})?)\s*([A-Z]{3})\s*(?:/|per)\s*(\S+(?: \S+)?)\s*", plain
    )
    unit = None if match is None else _SALES.get(match[3].replace("^", "").replace("²", "2"))
    if match is None or unit is None:
        raise UnitError(
            f"{_shown(text)} is not a price: write an amount, a currency of three capital letters "
            "and one of m2, ft2 (sqft), m, litre (l), gallon (gal), roll, piece, such as "
            '"24 EUR/m2"'
        )
    return Money(amount=Decimal(match[1]), currency=match[2], unit=unit)


def _scaled(
    text: str,
    *,
    units: Mapping[str, float],
    what: str,
    example: str,
    fold: bool = False,
    found: str | None = None,
) -> float:
    number, unit = _number_and_unit(text, what=what, example=example, found=found)
    factor = units.get(unit.lower() if fold else unit)
    if factor is None:
        allowed = {"a sheet resistance": "ohm/sq", "a loss": "dB"}.get(what)
        shown = allowed or ", ".join(
            {"hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz"}.get(name, name) for name in units
        )
        raise _unknown_unit(found or text, unit, what=what, allowed=shown, example=example)
    return _checked(_scale(number, factor), text=found or text)


def _number_and_unit(
    text: str, *, what: str, example: str, found: str | None = None
) -> tuple[float, str]:
    plain = _plain(text)
    shown = _shown(found or text)
    _refuse_comma(plain, example=example)
    match = _QUANTITY.fullmatch(plain)
    if match is None:
        raise UnitError(f'{shown} is not {what}: write it such as "{example}"')
    if match[3] is None:
        raise UnitError(f'{shown} has no unit: {what} is written such as "{example}"')
    return float(match[1] + match[2]), match[3]


def _scale(number: float, factor: float) -> float:
    # Dividing by a power of ten rounds once where multiplying by its inverse rounds twice.
    return number / round(1.0 / factor) if factor < 1e-2 else number * factor


def _from_db(decibels: float, *, text: str) -> float:
    if abs(decibels) > 300.0:
        raise UnitError(f"{_shown(text)} is out of any range: within ±300 dB is allowed")
    return float(10.0 ** (decibels / 10.0))


def _checked(value: float, *, text: str) -> float:
    if math.isinf(value):
        raise UnitError(f"{_shown(text)} is not a finite number")
    return value


def _unknown_unit(text: str, unit: str, *, what: str, allowed: str, example: str) -> UnitError:
    return UnitError(
        f"{_shown(text)} has the unknown unit {_shown(unit)}: {what} is in {allowed}, "
        f'such as "{example}"'
    )


def _hide_exponents(plain: str) -> str:
    """Keep the minus of ``1e-3`` from being taken for a dash between two ends."""
    return re.sub(r"(?<=\d)([eE])-(?=\d)", r"\1~", plain)


def _plain(text: str, *, longest: int = 200) -> str:
    """Typographic marks as their plain twins, vulgar fractions spelt out, single blanks."""
    if len(text) > longest:
        raise UnitError(f"{_shown(text)} is too long: at most {longest} characters are allowed")
    plain = text.translate(_TYPOGRAPHY)
    for mark, spelt in _VULGAR.items():
        plain = plain.replace(mark, f" {spelt} ")
    return " ".join(plain.split())


def _refuse_comma(plain: str, *, example: str) -> None:
    if _COMMA_IN_NUMBER.search(plain):
        raise UnitError(
            f"{_shown(plain)} has a comma between digits: write decimals with a point and no mark "
            f'between thousands, such as "{example}"'
        )


def _shown(text: str) -> str:
    """Quote what was found, short and on one line."""
    short = text if len(text) <= 60 else f"{text[:57]}..."
    return '"' + "".join(mark if mark.isprintable() else "?" for mark in short) + '"'
