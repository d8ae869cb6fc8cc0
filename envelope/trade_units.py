"""Quantities of the trade as people write them: money, volumes, spread rates, hours."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from envelope.errors import UnitError

LITRES_PER_US_GALLON = 3.785411784
SQUARE_METRES_PER_SQUARE_FOOT = 0.09290304

_NUMBER = r"(\d{1,12}(?:\.\d{1,9})?)"
_VOLUMES = {
    "l": 1.0,
    "litre": 1.0,
    "litres": 1.0,
    "liter": 1.0,
    "liters": 1.0,
    "ml": 1e-3,
    "gal": LITRES_PER_US_GALLON,
    "gallon": LITRES_PER_US_GALLON,
    "gallons": LITRES_PER_US_GALLON,
    "qt": LITRES_PER_US_GALLON / 4,
}
_LENGTHS = {"m": 1.0, "ft": 0.3048, "yd": 0.9144}
_AREAS = {"m2": 1.0, "m²": 1.0, "ft2": SQUARE_METRES_PER_SQUARE_FOOT}
_AREAS |= dict.fromkeys(
    ("ft²", "sqft", "sq ft", "sf", "square feet"), SQUARE_METRES_PER_SQUARE_FOOT
)
_PIECES = {"piece": 1.0, "pieces": 1.0}


class Amount(NamedTuple):
    """An amount of a currency."""

    amount: Decimal
    currency: str


class Content(NamedTuple):
    """What a package holds, in litres, metres or pieces."""

    holds: float
    unit: str  # "litre", "m", "piece"


def _shown(text: str) -> str:
    return f'"{text}"' if len(text) <= 60 else f'"{text[:57]}..."'


def _matched(text: str, pattern: str, *, what: str, example: str) -> re.Match[str]:
    if re.search(r"\d,\d", text):
        raise UnitError(
            f'{_shown(text)} has a comma in a number: write a decimal point, such as "{example}"'
        )
    found = re.fullmatch(r"\s*" + pattern + r"\s*", text)
    if found is None:
        raise UnitError(f'{_shown(text)} is not {what}: write it such as "{example}"')
    return found


def parse_amount(text: str) -> Amount:
    """An amount of money.

    Examples
    --------
    >>> parse_amount("260 EUR")
    Amount(amount=Decimal('260'), currency='EUR')
    """
    found = _matched(text, _NUMBER + r"\s*([A-Z]{3})", what="an amount", example="260 EUR")
    return Amount(amount=Decimal(found[1]), currency=found[2])


def parse_hourly(text: str) -> Amount:
    """An hourly rate.

    Examples
    --------
    >>> parse_hourly("48 EUR/h")
    Amount(amount=Decimal('48'), currency='EUR')
    """
    pattern = _NUMBER + r"\s*([A-Z]{3})\s*(?:/|per)\s*(?:h|hr|hour)"
    found = _matched(text, pattern, what="an hourly rate", example="48 EUR/h")
    return Amount(amount=Decimal(found[1]), currency=found[2])


def parse_content(text: str) -> Content:
    """What a package holds: a volume, a length off a roll, or pieces.

    Examples
    --------
    >>> parse_content("5 l"), parse_content("10 pieces")
    (Content(holds=5.0, unit='litre'), Content(holds=10.0, unit='piece'))
    """
    found = _matched(text, _NUMBER + r"\s*([A-Za-z]+)", what="a content", example="5 l")
    word = found[2] if found[2] in _LENGTHS else found[2].lower()
    for table, unit in ((_VOLUMES, "litre"), (_LENGTHS, "m"), (_PIECES, "piece")):
        if word in table:
            return Content(holds=float(found[1]) * table[word], unit=unit)
    raise UnitError(
        f"{_shown(text)}: the unit {found[2]!r} is unknown; allowed: l, ml, gal, qt, m, ft, yd, "
        "piece"
    )


def parse_spread_rate(text: str) -> float:
    """Area that one coat of a litre covers. [m²/l]

    Examples
    --------
    >>> parse_spread_rate("7 m2/l"), round(parse_spread_rate("285 ft2/gal"), 4)
    (7.0, 6.9946)
    """
    pattern = _NUMBER + r"\s*(\S+?(?: \S+?)?)\s*(?:/|per)\s*([A-Za-z]+)"
    found = _matched(text, pattern, what="a spread rate", example="7 m2/l")
    area, volume = _AREAS.get(found[2]), _VOLUMES.get(found[3].lower())
    if area is None or volume is None:
        raise UnitError(f"{_shown(text)} is not an area per volume; allowed: m2/l, ft2/gal")
    return float(found[1]) * area / volume


def parse_labour(text: str) -> float:
    """Hours of work for an area. [h/m²]

    Examples
    --------
    >>> parse_labour("0.25 h/m2"), parse_labour("15 min/m2")
    (0.25, 0.25)
    """
    pattern = _NUMBER + r"\s*(h|min)\s*(?:/|per)\s*(\S+(?: \S+)?)"
    found = _matched(text, pattern, what="hours for an area", example="0.25 h/m2")
    area = _AREAS.get(found[3])
    if area is None:
        raise UnitError(f"{_shown(text)} is not time for an area; allowed: h/m2, min/m2, h/ft2")
    return float(found[1]) * (1.0 if found[2] == "h" else 1.0 / 60.0) / area


def parse_percent(text: str) -> Decimal:
    """A share in per cent.

    Examples
    --------
    >>> parse_percent("20 %")
    Decimal('0.2')
    """
    found = _matched(text, _NUMBER + r"\s*%", what="a share in per cent", example="20 %")
    return Decimal(found[1]) / 100
