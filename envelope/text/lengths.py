"""Lengths as text that `envelope.units` reads back: metres, feet and inches, coordinates."""

from __future__ import annotations

from fractions import Fraction


def format_metres(value_m: float, *, digits: int | None = None) -> str:
    """Length in metres as text; with every digit that is needed to read it back unless told.

    Examples
    --------
    >>> format_metres(3.7719), format_metres(3.7719, digits=2)
    ('3.7719 m', '3.77 m')
    """
    return f"{value_m!r} m" if digits is None else f"{value_m:.{digits}f} m"


def format_feet_inches(value_m: float, *, denominator: int = 16) -> str:
    """Length in feet and inches to the nearest fraction of an inch.

    Examples
    --------
    >>> format_feet_inches(3.7719), format_feet_inches(-0.0127), format_feet_inches(3.6576)
    ('12 ft 4 1/2 in', '-1/2 in', '12 ft')
    """
    steps = round(abs(Fraction(value_m)) / Fraction("0.0254") * denominator)
    feet, rest = divmod(steps, 12 * denominator)
    inches, part = divmod(rest, denominator)
    words = [f"{feet} ft"] if feet else []
    if inches or part:
        fraction = Fraction(part, denominator)
        shown = [str(inches)] if inches else []
        shown += [f"{fraction.numerator}/{fraction.denominator}"] if part else []
        words.append(" ".join(shown) + " in")
    sign = "-" if value_m < 0 and steps else ""
    return sign + (" ".join(words) or "0 in")


def format_point(values_m: tuple[float, ...]) -> str:
    """Coordinates as a project file writes them, to a tenth of a millimetre.

    Examples
    --------
    >>> format_point((0.6, 1.25, 0.7))
    '0.6, 1.25, 0.7 m'
    """
    return ", ".join(f"{round(value, 4) + 0.0:g}" for value in values_m) + " m"
