"""Quantities of the trade as people read them: cans, rolls, hours, money, resistances."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from envelope.building.job import Job
from envelope.building.model import OPENING_KINDS
from envelope.exposure.results import PanelLeak
from envelope.pricing.bill import BillLine
from envelope.pricing.packages import Purchase
from envelope.pricing.products import Product
from envelope.text.lengths import format_feet_inches
from envelope.text.names import face_title, plan_title, shown
from envelope.text.numbers import SPACE, area, grouped, length, significant, thickness

_LITRES_PER_GALLON = 3.785411784
_SQUARE_FOOT_M2 = 0.09290304


def amount(quantity: float, unit: str, *, feet: bool) -> str:
    """How much of something: "m2", "m", "litre", "h" or "piece".

    Examples
    --------
    >>> amount(22.152, "litre", feet=True), amount(22.152, "litre", feet=False)
    ('5.85\\xa0gal', '22.15\\xa0l')
    >>> amount(3.0, "piece", feet=False), amount(7.25, "h", feet=True)
    ('3\\xa0pc', '7.25\\xa0h')
    """
    if unit == "m2":
        return area(quantity, feet=feet)
    if unit == "m":
        return length(quantity, feet=feet)
    if unit == "litre" and feet:
        return f"{grouped(quantity / _LITRES_PER_GALLON, 2)}{SPACE}gal"
    word = {"litre": "l", "h": "h", "piece": "pc"}[unit]
    return f"{grouped(quantity, 0 if unit == 'piece' else 2)}{SPACE}{word}"


NO_PRODUCT = "no product stated"  # in place of packages: nothing can be ordered yet


def packages(product: Product, purchase: Purchase | None, *, feet: bool) -> str:
    """What is bought: ``2 × 5 l, 1 × 1 l``; nothing where no package is offered.

    Parameters
    ----------
    product : Product
    purchase : Purchase, optional
        Of the product's packages.
    feet : bool
        Whether contents are shown in gallons and feet.
    """
    if purchase is None:
        return ""
    return ", ".join(
        f"{count}{SPACE}×{SPACE}{pack.name or content(pack.holds, product.unit, feet=feet)}"
        for count, pack in zip(purchase.counts, product.packages, strict=True)
        if count
    )


def content(holds: Decimal, unit: str, *, feet: bool) -> str:
    """What a package holds, without zeros that say nothing.

    Examples
    --------
    >>> content(Decimal("3.78"), "litre", feet=True), content(Decimal(5), "litre", feet=False)
    ('1\\xa0gal', '5\\xa0l')
    >>> content(Decimal("30.48"), "m", feet=True)
    '100\\xa0ft'
    """
    value, word = float(holds), {"litre": "l", "m": "m", "piece": "pc"}[unit]
    if feet and unit == "litre":
        value, word = value / _LITRES_PER_GALLON, "gal"
    elif feet and unit == "m":
        value, word = value / 0.3048, "ft"
    digits = 1 if feet and unit == "m" else 2
    number = grouped(value, digits)
    return f"{number.rstrip('0').rstrip('.')}{SPACE}{word}"


def money(value: Decimal | float | int, currency: str | None) -> str:
    """An amount to the cent.

    Examples
    --------
    >>> money(Decimal("1234.5"), "EUR")
    '1\\xa0234.50\\xa0EUR'
    """
    return f"{grouped(float(value), 2)}{SPACE}{currency or ''}".rstrip()


def spread_rate(value_m2_l: float, *, feet: bool) -> str:
    """Area that one coat of a liquid covers.

    Examples
    --------
    >>> spread_rate(7.0, feet=False), spread_rate(6.9946, feet=True)
    ('7\\xa0m²/l', '285\\xa0ft²/gal')
    """
    if feet:
        return f"{grouped(value_m2_l * _LITRES_PER_GALLON / _SQUARE_FOOT_M2)}{SPACE}ft²/gal"
    return f"{value_m2_l:.3g}{SPACE}m²/l"


def ring_width(low_m: float, high_m: float, *, feet: bool) -> str:
    """How wide a ring around a box is kept clear; in feet also in millimetres, which are exact.

    Examples
    --------
    >>> ring_width(0.003, 0.006, feet=True), ring_width(0.003, 0.006, feet=False)
    ('1/8\\xa0in to 1/4\\xa0in (3 to 6\\xa0mm)', '3 to 6\\xa0mm')
    """
    metric = f"{1e3 * low_m:g} to {1e3 * high_m:g}{SPACE}mm"
    if not feet:
        return metric
    low, high = (format_feet_inches(each).replace(" ", SPACE) for each in (low_m, high_m))
    return f"{low} to {high} ({metric})"


def usual_value(value: float, unit: str, *, feet: bool) -> str:
    """A figure of the table of what is usual.

    Parameters
    ----------
    value : float
        SI.
    unit : str
        "m2/l", "share", "m", "count", "h" or "".
    feet : bool
    """
    if unit == "m2/l":
        return spread_rate(value, feet=feet)
    if unit == "share":
        return f"{100.0 * value:g}{SPACE}%"
    if unit == "m":
        return thickness(value, feet=feet)
    return f"{value:g}{SPACE}h" if unit == "h" else f"{value:g}"


def usual_words(job: Job, product: Product, key: str) -> str:
    """A figure of a product that was taken as usual, such as "spare 10 %".

    Parameters
    ----------
    job : Job
    product : Product
    key : str
        One of `product.assumed`.
    """
    values = {
        "spread-rate": (product.spread_rate_m2_l or 0.0, "m2/l"),
        "spare": (product.spare_share, "share"),
        "overlap": (product.overlap_m, "m"),
        "turn-up": (product.turn_up_m, "m"),
        "trim": (product.trim_m, "m"),
        "fullness": (product.fullness, ""),
        "hem": (product.hem_m, "m"),
    }
    return f"{key.replace('-', ' ')} {usual_value(*values[key], feet=job.feet)}"


def resistance(value_ohm: float) -> str:
    """A resistance that a meter shows.

    Examples
    --------
    >>> resistance(12.345)
    '12.3\\xa0Ω'
    """
    return f"{significant(value_ohm)}{SPACE}Ω"


def treatment_title(job: Job, treatment: str) -> str:
    """What the client calls a treatment."""
    found = job.treatments.get(treatment)
    return shown(treatment if found is None else found.title or found.id)


def plan_name(job: Job, plan: str) -> str:
    """What the client calls a plan; the one without treatment is today."""
    found = {each.id: each for each in job.plans}.get(plan)
    return plan_title(plan, "" if found is None else found.title)


def unpriced_words(job: Job, words: str) -> str:
    """Why something has no price, with the client's name of the treatment that lacks one.

    Such as "grey paint: no price" for "t-1: no price".
    """
    name, colon, why = words.partition(":")
    return f"{treatment_title(job, name)}:{why}" if colon and name in job.treatments else words


def line_title(job: Job, line: BillLine) -> str:
    """What is ordered or done; where no product is stated, the treatment itself."""
    if line.kind == "source":
        return f"{source_title(job, line.what)}: {line.treatment.replace('-', ' ')}"
    if line.kind == "setup":
        return f"set-up of {line.what}"
    return treatment_title(job, line.treatment) if line.without_product else line.what


def line_for(job: Job, line: BillLine) -> str:
    """The treatment that a line of a bill is for, where its title is not that."""
    own = line.without_product or line.kind == "source"
    return "" if own else treatment_title(job, line.treatment)


def line_quantity(job: Job, line: BillLine) -> str:
    """How much of it; nothing for what comes once."""
    once = line.kind in ("setup", "source")
    return "" if once else amount(line.quantity, line.unit, feet=job.feet)


def titles_of(job: Job) -> tuple[tuple[str, str], ...]:
    """Ids of what commands take by id and show by title, each with its title."""
    named = [(each.id, each.title) for each in job.plans]
    named += [(each.id, each.title) for each in job.receivers]
    named += [(each.id, each.title) for each in job.sources]
    named += [(each.id, each.title) for each in job.treatments.values()]
    named += [(each.id, each.title) for each in job.building.spaces]
    named += [
        (each.id.rpartition("/")[2], each.title)
        for each in job.building.panels
        if each.host is not None and each.kind in (*OPENING_KINDS, "open")
    ]
    return tuple(
        (name, shown(title)) for name, title in dict.fromkeys(named) if title not in ("", name)
    )


def titled(job: Job, leak: PanelLeak) -> PanelLeak:
    """What is found for a face, with the client's names of its treatments."""
    return replace(
        leak,
        treatments=tuple(treatment_title(job, each) for each in leak.treatments),
        treated_with=tuple(treatment_title(job, each) for each in leak.treated_with),
    )


def receiver_title(job: Job, receiver: str) -> str:
    """What the client calls the place where a level matters."""
    found = {each.id: each for each in job.receivers}.get(receiver)
    return shown(receiver if found is None else found.title or found.id)


def space_title(job: Job, space: str) -> str:
    """What the client calls a room."""
    return shown(job.building.space(space).title or space)


def opening_title(job: Job, opening: str) -> str:
    """What the client calls a window or a door."""
    found = (each.title for each in job.building.panels if each.id.rpartition("/")[2] == opening)
    return shown(next(filter(None, found), "") or opening)


def source_title(job: Job, source: str) -> str:
    """What the client calls a source, or a device that sends in several bands."""
    titles = {each.device: each.device_title for each in job.sources if each.device}
    titles |= {each.id: each.title for each in job.sources}
    return shown(titles.get(source) or source)


def figure_words(job: Job, words: str) -> str:
    """A figure that a result rests on, with the client's name for what it is of.

    Parameters
    ----------
    job : Job
    words : str
        Such as "level of mast" or "furnishing of bedroom", with an id at its end.
    """
    what, of, name = words.rpartition(" of ")
    if not of:
        return words
    if any(each.id == name for each in job.sources):
        return f"{what} of {source_title(job, name)}"
    if name in job.treatments:
        return f"{what} of {treatment_title(job, name)}"
    return f"{what} of {space_title(job, name)}" if name in job.building.space_index else words


def face_name(job: Job, panel: str) -> str:
    """A face with its room, as the client calls both."""
    found = job.building.panel(panel)
    title = face_title(found, home=found.space)
    return f"{title} of {space_title(job, found.space)}"


def faces_by_room(job: Job, panels: list[str] | tuple[str, ...]) -> list[tuple[str, str]]:
    """Faces in one line a room: the room's name, and its faces in their order.

    Reveals of one opening are named together.
    """
    rooms: dict[str, list[str]] = {}
    for name in dict.fromkeys(panels):
        panel = job.building.panel(name)
        own = rooms.setdefault(panel.space, [])
        title = face_title(panel, home=panel.space)
        if panel.kind == "reveal" and panel.opening is not None:
            opening = job.building.panel(panel.opening)
            title = f"reveals of {face_title(opening, home=opening.space)}"
        if title not in own:
            own.append(title)
    return [(space_title(job, space), ", ".join(own)) for space, own in rooms.items()]
