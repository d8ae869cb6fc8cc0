"""Tables of `gapcast loss`: a stack by itself, by frequency and angle."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from rich.markup import escape

from envelope.commands.layout import PlainTable, open_console, plain_table
from envelope.commands.tables import print_extrapolated
from envelope.exposure.stack_loss import Coats, StackLoss, WholeBuildings
from envelope.geometry.plane import Floats
from envelope.text import SPACE, decibels, frequency, percent

SAME_DB = 0.05  # below it two losses read the same


def print_loss(
    found: StackLoss, coats: Sequence[Coats], title: str, *, assembly: str | None = None,
    buildings: Sequence[WholeBuildings] = (),
) -> None:  # fmt: skip
    """Print loss and reflection of a stack by frequency and angle.

    Parameters
    ----------
    found : StackLoss
    coats : sequence of Coats
        What further coats of its sheets bring.
    title : str
        Names of what it is made of.
    assembly : str, optional
        Where an assembly is part of it.
    buildings : sequence of WholeBuildings
        Published losses of whole buildings, to compare with.
    """
    console = open_console()
    where = ", from the room outward" if assembly is not None else " in air, no wall behind"
    console.print(f"[bold]{escape(title)}[/bold]{where}")
    console.print(
        _by_angle(
            found,
            "loss in dB, by angle from head-on; TE / TM",
            found.loss_db,
            [_bare_db(value) for value in found.diffuse_loss_db],
            _bare_db,
        )
    )
    console.print()
    console.print(
        _by_angle(
            found,
            "thrown back into the room, by angle from head-on; TE / TM",
            found.reflection,
            [percent(float(value)) for value in found.diffuse_reflection],
            lambda value: percent(float(value)),
        )
    )
    for each in coats:
        console.print()
        console.print(_coats(found, each))
    if buildings:
        console.print()
        console.print(_whole_buildings(found, buildings))
        sources = "; ".join(dict.fromkeys(each.source for each in buildings))
        console.print(
            f"For comparison ({sources}). These are statistics of many buildings and of places "
            "deep inside, with inner walls, furniture and coated glass: one outer wall alone "
            "lets more through.",
            style="dim",
        )
    console.print()
    print_extrapolated(console, found.extrapolated)
    console.print(
        "TE, TM: the electric field along the surface, or in the plane of incidence. Even field: "
        "from all directions alike, both polarizations.",
        style="dim",
    )
    console.print(even_against_head_on(found), style="dim")
    if assembly is not None:
        console.print(
            f"This is {escape(assembly)} and what is on it together: the figure of a data sheet, "
            "which holds head-on in air, compares with column 0° without --assembly.",
            style="dim",
        )
    else:
        console.print(
            "The figure of a data sheet holds head-on in air: compare column 0°.", style="dim"
        )


def even_against_head_on(found: StackLoss) -> str:
    """What the numbers say of an even field against a ray head-on."""
    head_on = _mean_loss_db(found.loss_db[:, 0])
    with np.errstate(invalid="ignore"):  # where neither lets anything through
        less = np.nan_to_num(head_on - found.diffuse_loss_db, nan=0.0)
    most, least = float(less.max()), float(less.min())
    begin = "At these frequencies an even field meets"
    if most < SAME_DB and least > -SAME_DB:
        return f"{begin} the same loss as a ray head-on."
    if least > -SAME_DB:
        return f"{begin} {_span(least, most)} less loss than a ray head-on."
    if most < SAME_DB:
        return f"{begin} {_span(-most, -least)} more loss than a ray head-on."
    return (
        f"{begin} up to {decibels(most)} less and up to {decibels(-least)} more loss than a ray "
        "head-on, depending on the frequency."
    )


def _span(low: float, high: float) -> str:
    low = max(low, 0.0)
    if f"{low:.1f}" == f"{high:.1f}":
        return decibels(high)
    return f"{low:.1f} to {decibels(high)}"


def _mean_loss_db(both: Floats) -> Floats:
    """Loss of both polarizations together, from the loss of each (…, 2). [dB]"""
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10(np.mean(10.0 ** (-both / 10.0), axis=-1)))


def _bare_db(value: float) -> str:
    return decibels(float(value)).removesuffix(f"{SPACE}dB")


def _by_angle(
    found: StackLoss,
    title: str,
    values: Floats,
    even: Sequence[str],
    said: Callable[[float], str],
) -> PlainTable:
    angles = [f">{angle:.0f}°" for angle in found.angle_deg]
    table = plain_table("frequency", *angles, ">even field", title=title)
    for index, hertz in enumerate(found.frequency_hz):
        cells = []
        for column, angle in enumerate(found.angle_deg):
            te, tm = (said(value) for value in values[index, column])
            cells.append(te if angle == 0.0 else f"{te} / {tm}")
        table.add_row(frequency(float(hertz)), *cells, even[index])
    return table


def _whole_buildings(found: StackLoss, buildings: Sequence[WholeBuildings]) -> PlainTable:
    table = plain_table(
        "frequency",
        *(f">{each.kind}" for each in buildings),
        title="published entry loss in dB: the middle (10 to 90 in 100 buildings)",
    )
    for index, hertz in enumerate(found.frequency_hz):
        table.add_row(
            frequency(float(hertz)), *(_middle_and_range(each, index) for each in buildings)
        )
    return table


def _middle_and_range(found: WholeBuildings, index: int) -> str:
    middle = float(found.middle_db[index])
    if np.isnan(middle):
        return "–"
    if found.low_db is None or found.high_db is None:
        return _bare_db(middle)
    low, high = _bare_db(found.low_db[index]), _bare_db(found.high_db[index])
    return f"{_bare_db(middle)} ({low} to {high})"


def _coats(found: StackLoss, coats: Coats) -> PlainTable:
    counts = [">1 coat", *(f">{count} coats" for count in coats.coats if count > 1)]
    title = f"coats of {escape(coats.treatment)}: loss of the whole in an even field, in dB"
    table = plain_table("frequency", *counts, title=title)
    for index, hertz in enumerate(found.frequency_hz):
        cells = [_bare_db(row[index]) for row in coats.diffuse_loss_db]
        table.add_row(frequency(float(hertz)), *cells)
    return table
