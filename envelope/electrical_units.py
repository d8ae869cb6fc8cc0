"""Quantities of electrical work as people write them: volts, ohms, hertz, volts a metre."""

from __future__ import annotations

import re

from envelope.errors import UnitError

_NUMBER = r"([+-]?(?:\d{1,12}(?:\.\d{0,9})?|\.\d{1,9})(?:[eE][+-]?\d{1,2})?)"
_VOLTS = {"V": 1.0, "kV": 1e3, "mV": 1e-3}
_OHMS = {"ohm": 1.0, "Ω": 1.0, "kohm": 1e3, "kΩ": 1e3, "Mohm": 1e6, "MΩ": 1e6}
_OHMS |= {"mohm": 1e-3, "mΩ": 1e-3}
_FIELDS = {"V/m": 1.0, "mV/m": 1e-3, "kV/m": 1e3}
_HERTZ = {"Hz": 1.0}
_SHARES = {"%": 0.01}


def _shown(text: str) -> str:
    return f'"{text}"' if len(text) <= 60 else f'"{text[:57]}..."'


def _scaled(text: str, units: dict[str, float], *, what: str, example: str) -> float:
    if re.search(r"\d,\d", text):
        raise UnitError(
            f'{_shown(text)} has a comma in a number: write a decimal point, such as "{example}"'
        )
    found = re.fullmatch(rf"\s*{_NUMBER}\s*(\S*)\s*", text)
    if found is None:
        raise UnitError(f'{_shown(text)} is not {what}: write it such as "{example}"')
    # the two signs for ohm look alike
    unit = found[2].replace("\N{OHM SIGN}", "Ω")
    if not unit:
        raise UnitError(f'{_shown(text)} has no unit: {what} is written such as "{example}"')
    if unit not in units:
        allowed = ", ".join(units)
        raise UnitError(
            f'{_shown(text)} has the unknown unit "{unit}": {what} is in {allowed}, such as '
            f'"{example}"'
        )
    return float(found[1]) * units[unit]


def parse_voltage(text: str) -> float:
    """A voltage in volts.

    Examples
    --------
    >>> parse_voltage("230 V")
    230.0
    """
    return _scaled(text, _VOLTS, what="a voltage", example="230 V")


def parse_resistance(text: str) -> float:
    """A resistance in ohms.

    Examples
    --------
    >>> parse_resistance("10 kohm")
    10000.0
    """
    return _scaled(text, _OHMS, what="a resistance", example="1 ohm")


def parse_field(text: str) -> float:
    """An electric field strength in volts a metre.

    Examples
    --------
    >>> parse_field("12 V/m")
    12.0
    """
    return _scaled(text, _FIELDS, what="a field", example="12 V/m")


def parse_hertz(text: str) -> float:
    """A supply's frequency in hertz.

    Examples
    --------
    >>> parse_hertz("50 Hz")
    50.0
    """
    return _scaled(text, _HERTZ, what="a frequency", example="50 Hz")


def parse_share(text: str) -> float:
    """A share in per cent, as a fraction.

    Examples
    --------
    >>> parse_share("10 %")
    0.1
    """
    return _scaled(text, _SHARES, what="a share in per cent", example="10 %")
