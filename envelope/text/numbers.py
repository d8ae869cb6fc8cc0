"""Numbers as people read them: the same in tables, on pages, in pictures.

Levels are in µW/m² with three figures that matter; thousands, signs and units stand apart by a
space that no line is broken at. A job whose rooms were measured in feet and inches is shown in feet
and inches.
"""

from __future__ import annotations

import math

from envelope.text.lengths import format_feet_inches, format_metres
from envelope.units import parse_length

SPACE = "\u00a0"  # between thousands, after a sign and before a unit: neither stands alone
LEAST_UW_M2 = 0.001  # a level below it is not told from nothing
_SQUARE_FOOT_M2 = 0.09290304
_EXACT_M = 1e-5
_LEAST_SR = 1e-6  # a solid angle below it is not told from nothing
_SAME_DB = 0.05  # what is nearer reads 0.0 dB
MOST_DB = 100.0  # levels that lie further apart are not told from one another by any meter
MOST_TIMES = 1e6  # beyond it a factor says nothing more to anybody


def grouped(value: float, digits: int = 0) -> str:
    """A number with its thousands set apart.

    Examples
    --------
    >>> grouped(1234.56, 1), grouped(850.0), grouped(-12345.0)
    ('1\\xa0234.6', '850', '-12\\xa0345')
    """
    return f"{value:,.{digits}f}".replace(",", SPACE)


def significant(value: float) -> str:
    """A number above 0 with three figures that matter, never with an exponent.

    Examples
    --------
    >>> significant(1234.56), significant(12.345), significant(0.04567), significant(99.96)
    ('1\\xa0235', '12.3', '0.0457', '100')
    """
    digits = 2 - math.floor(math.log10(value))
    # what is rounded up to the next power of ten has a figure more before its point
    digits = 2 - math.floor(math.log10(round(value, digits)))
    return grouped(value, max(0, digits))


def trimmed(value: float) -> str:
    """A round figure of a scale: three figures that matter at most, no noughts behind the point.

    Examples
    --------
    >>> trimmed(0.5), trimmed(1250.0), trimmed(0.001), trimmed(0.0)
    ('0.5', '1\\xa0250', '0.001', '0')
    """
    if value <= 0.0:
        return "0"
    words = significant(value)
    return words.rstrip("0").rstrip(".") if "." in words else words


def level(value_w_m2: float, *, unit: bool = True) -> str:
    """A power density.

    Examples
    --------
    >>> level(8.5e-4), level(1.2346e-3, unit=False), level(1e-10), level(0.0)
    ('850\\xa0µW/m²', '1\\xa0235', '<\\xa00.001\\xa0µW/m²', '0\\xa0µW/m²')
    """
    micro = value_w_m2 * 1e6
    if micro == 0.0:
        words = "0"
    elif micro < LEAST_UW_M2:
        words = f"<{SPACE}{LEAST_UW_M2:g}"
    else:
        words = significant(micro)
    return f"{words}{SPACE}µW/m²" if unit else words


def percent(share: float) -> str:
    """A share 0 to 1: whole per cents from 10 on, one decimal below, never a rounded nothing.

    Examples
    --------
    >>> percent(0.834), percent(0.02), percent(0.0004), percent(0.997)
    ('83\\xa0%', '2\\xa0%', '<\\xa00.1\\xa0%', '99.7\\xa0%')
    """
    value = 100.0 * share
    if not value > 0.0:
        return f"0{SPACE}%"
    if value < 0.1:
        return f"<{SPACE}0.1{SPACE}%"
    if 99.5 <= value < 99.95:
        return f"{value:.1f}{SPACE}%"
    if value >= 9.95:
        return f"{value:.0f}{SPACE}%"
    return f"{value:.1f}".removesuffix(".0") + f"{SPACE}%"


def steradians(value_sr: float) -> str:
    """A solid angle: three decimals, or three figures that matter where it is small.

    Examples
    --------
    >>> steradians(9.6162), steradians(0.0004937), steradians(0.0), steradians(2e-9)
    ('9.616\\xa0sr', '0.000494\\xa0sr', '0\\xa0sr', '<\\xa00.000001\\xa0sr')
    """
    if value_sr == 0.0:
        return f"0{SPACE}sr"
    if value_sr < _LEAST_SR:
        return f"<{SPACE}{_LEAST_SR:f}{SPACE}sr"
    return f"{f'{value_sr:.3f}' if value_sr >= 0.1 else significant(value_sr)}{SPACE}sr"


def decibels(value_db: float) -> str:
    """A loss, a reduction or a difference, with a proper minus sign; a tight one has no number.

    Examples
    --------
    >>> decibels(21.34), decibels(-0.04), decibels(-3.0), decibels(math.inf)
    ('21.3\\xa0dB', '0.0\\xa0dB', '−3.0\\xa0dB', 'nothing passes')
    """
    if math.isinf(value_db):
        return "nothing passes" if value_db > 0.0 else "no limit"
    # adding zero takes the sign off a loss that rounds to nothing
    return f"{round(value_db, 1) + 0.0:.1f}{SPACE}dB".replace("-", "−")


def difference_decibels(value_db: float) -> str:
    """How far two levels lie apart, without a sign; what no meter could tell has no number.

    Examples
    --------
    >>> difference_decibels(-3.04), difference_decibels(303.6)
    ('3.0\\xa0dB', 'more than 100\\xa0dB')
    """
    apart_db = abs(value_db)
    return f"more than {MOST_DB:g}{SPACE}dB" if apart_db > MOST_DB else decibels(apart_db)


def times(factor: float) -> str:
    """How many times.

    Examples
    --------
    >>> times(2.04), times(2.0), times(136.4), times(1148.2)
    ('2\\xa0times', '2\\xa0times', '136\\xa0times', '1\\xa0150\\xa0times')
    >>> times(2.3e30)
    'more than 1\\xa0000\\xa0000\\xa0times'
    """
    if factor > MOST_TIMES:
        return f"more than {times(MOST_TIMES)}"
    three = float(f"{factor:.3g}")  # more digits than any prediction has
    number = f"{factor:.1f}".removesuffix(".0") if factor < 9.95 else grouped(three)
    return f"{number}{SPACE}times"


def compared(below_db: float) -> str:
    """What lies so many decibels below something else, against it, in words.

    Examples
    --------
    >>> compared(21.34), compared(1.0), compared(0.0), compared(-0.5), compared(-6.0)
    ('136\\xa0times less', '21\\xa0% less', 'the same', '12\\xa0% more', '4\\xa0times as much')
    >>> compared(math.inf), compared(303.6)
    ('nothing left', 'more than 1\\xa0000\\xa0000\\xa0times less')
    """
    if math.isinf(below_db):
        return "nothing left" if below_db > 0.0 else "more"
    if abs(below_db) < _SAME_DB:
        return "the same"
    factor = 10.0 ** (abs(below_db) / 10.0)
    if below_db > 0.0:
        return (
            f"{100 * (1 - 1 / factor):.0f}{SPACE}% less"
            if factor < 2.0
            else f"{times(factor)} less"
        )
    return f"{100 * (factor - 1):.0f}{SPACE}% more" if factor < 2.0 else f"{times(factor)} as much"


def frequency(value_hz: float) -> str:
    """A frequency in the unit that leaves the fewest digits.

    Examples
    --------
    >>> frequency(1.8425e9), frequency(9e8)
    ('1.843\\xa0GHz', '900\\xa0MHz')
    """
    for size, unit in ((1e9, "GHz"), (1e6, "MHz"), (1e3, "kHz")):
        if value_hz >= size:
            return f"{value_hz / size:.4g}{SPACE}{unit}"
    return f"{value_hz:.4g}{SPACE}Hz"


def area(value_m2: float, *, feet: bool) -> str:
    """An area in m², or in square feet.

    Examples
    --------
    >>> area(1.92, feet=False), area(1.92, feet=True), area(0.0016, feet=False)
    ('1.92\\xa0m²', '20.7\\xa0ft²', '0.0016\\xa0m²')
    """
    if feet:
        value = value_m2 / _SQUARE_FOOT_M2
        return f"{grouped(value, 1 if value >= 1.0 else 3)}{SPACE}ft²"
    return f"{grouped(value_m2, 2 if value_m2 >= 0.1 else 4)}{SPACE}m²"


def volume(value_m3: float, *, feet: bool) -> str:
    """A volume in m³, or in cubic feet.

    Examples
    --------
    >>> volume(36.288, feet=False), volume(36.288, feet=True)
    ('36.3\\xa0m³', '1\\xa0281\\xa0ft³')
    """
    return (
        f"{grouped(value_m3 / 0.3048**3)}{SPACE}ft³" if feet else f"{grouped(value_m3, 1)}{SPACE}m³"
    )


def length(value_m: float, *, feet: bool) -> str:
    """A length to the centimetre, or to half an inch.

    Examples
    --------
    >>> length(3.7719, feet=False), length(3.7719, feet=True)
    ('3.77\\xa0m', '12\\xa0ft\\xa04\\xa01/2\\xa0in')
    """
    words = format_feet_inches(value_m, denominator=2) if feet else format_metres(value_m, digits=2)
    return words.replace(" ", SPACE)


def thickness(value_m: float, *, feet: bool) -> str:
    """What a layer measures; in inches where they say it exactly.

    Examples
    --------
    >>> thickness(0.0127, feet=True), thickness(0.0127, feet=False), thickness(0.0002, feet=True)
    ('1/2\\xa0in', '12.7\\xa0mm', '0.2\\xa0mm')
    """
    if feet:
        words = format_feet_inches(value_m)
        if abs(parse_length(words) - value_m) < _EXACT_M:
            return words.replace(" ", SPACE)
    return f"{1e3 * value_m:.4g}{SPACE}mm" if value_m < 1.0 else length(value_m, feet=False)


def offset(value_m: float, *, feet: bool) -> str:
    """How far a surface lies off another: whole millimetres, or eighths of an inch.

    Examples
    --------
    >>> offset(0.0042, feet=False), offset(0.0262, feet=True), offset(0.0002, feet=False)
    ('4\\xa0mm', '1\\xa0in', '<\\xa01\\xa0mm')
    """
    if feet:
        words = format_feet_inches(value_m, denominator=8)
        return words.replace(" ", SPACE) if value_m >= 0.0254 / 16 else f"<{SPACE}1/8{SPACE}in"
    return f"{1e3 * value_m:.0f}{SPACE}mm" if value_m >= 0.0005 else f"<{SPACE}1{SPACE}mm"


def far_length(value_m: float, *, feet: bool) -> str:
    """A distance out of doors, in whole metres or feet.

    Examples
    --------
    >>> far_length(11.4, feet=False), far_length(1234.0, feet=True)
    ('11\\xa0m', '4\\xa0049\\xa0ft')
    """
    return f"{grouped(value_m / 0.3048)}{SPACE}ft" if feet else f"{grouped(value_m)}{SPACE}m"


def field_strength(low_v_m: float, high_v_m: float, *, unit: bool = True) -> str:
    """An electric field, or the range in which it lies where that is wider than the method's 2 %.

    Examples
    --------
    >>> field_strength(13.8, 13.8), field_strength(4.46, 18.2), field_strength(0.0, 0.0)
    ('14\\xa0V/m', '4.5\\xa0to\\xa018\\xa0V/m', '0\\xa0V/m')
    """
    return _ranged(low_v_m, high_v_m, "V/m" if unit else "")


def volts(low_v: float, high_v: float) -> str:
    """A voltage, or the range in which it lies.

    Examples
    --------
    >>> volts(32.7, 32.7), volts(0.0, 12.2), volts(0.998, 1.02)
    ('33\\xa0V', '0\\xa0to\\xa012\\xa0V', '1.0\\xa0V')
    """
    return _ranged(low_v, high_v, "V")


def microamperes(low_a: float, high_a: float) -> str:
    """A small current, or the range in which it lies.

    Examples
    --------
    >>> microamperes(4.78e-6, 4.78e-6)
    '4.8\\xa0µA'
    """
    return _ranged(low_a * 1e6, high_a * 1e6, "µA")


def _two(value: float) -> str:
    """Two figures that matter, and no more than hundredths."""
    if value < 0.005:
        return "0" if value < 1e-9 else f"<{SPACE}0.01"
    digits = 1 - math.floor(math.log10(value))
    # what is rounded up to the next power of ten has a figure more before its point
    digits = 1 - math.floor(math.log10(round(value, digits)))
    return grouped(value, max(0, min(2, digits)))


def _ranged(low: float, high: float, unit: str) -> str:
    words = [_two(low), _two(high)]
    number = words[0] if words[0] == words[1] else f"{words[0]}{SPACE}to{SPACE}{words[1]}"
    return f"{number}{SPACE}{unit}".rstrip(SPACE)
