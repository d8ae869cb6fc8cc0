"""Offers as one page for paper: self-contained, no network, A4 or Letter."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any, Literal

from jinja2 import Environment, PackageLoader, StrictUndefined

from envelope import text
from envelope.building.job import Job
from envelope.exposure.differences import Difference
from envelope.text.sentences import odds_words
from envelope.works.offer import NOT_INCLUDED, SPOTS, Offer, OfferOption
from viewer.report.practice import Practice

Paper = Literal["a4", "letter"]
_SIZES = {"a4": "A4", "letter": "letter"}


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("viewer.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def offer_page(
    job: Job, offer: Offer, *, practice: Practice, day: date, paper: Paper = "a4"
) -> str:
    """The offer as HTML.

    Parameters
    ----------
    job : Job
        Whose rooms and words are used.
    offer : Offer
        Options with their figures.
    practice : Practice
        Who makes it.
    day : date
        Printed on it.
    paper : str
        "a4" or "letter".
    """
    return (
        _environment()
        .get_template("offer.html.j2")
        .render(
            job=job.name,
            practice=practice,
            day=day.isoformat(),
            size=_SIZES[paper],
            receiver=offer.receiver,
            today=text.level(offer.today_w_m2),
            today_range=_range(offer.today_low_w_m2, offer.today_high_w_m2),
            options=[_option(job, number, each) for number, each in enumerate(offer.options, 1)],
            beside=[
                {"first": one, "second": other, "words": _between(one, other, found)}
                for one, other, found in offer.beside
            ],
            not_included=NOT_INCLUDED,
            rests_on=offer.rests_on,
            spots=SPOTS,
            bonds=any(each.take_off.faces for each in offer.options),
        )
    )


def _range(low_w_m2: float, high_w_m2: float) -> str:
    return f"{text.level(low_w_m2, unit=False)} to {text.level(high_w_m2)}"


def _money(value: Any, currency: str | None) -> str:
    return f"{text.grouped(float(value), 2)}{text.SPACE}{currency or ''}".rstrip()


def _change(found: Difference) -> str:
    """In words that need no decibels first."""
    if not found.can_be_told:
        return "no difference from today that can be told"
    factor = text.times(10.0 ** (abs(found.below_db) / 10.0))
    low, high = sorted((abs(found.low_db), abs(found.high_db)))
    span = (
        f"{text.times(10.0 ** (low / 10.0)).removesuffix('times').strip()} to "
        f"{text.times(10.0 ** (high / 10.0))}"
    )
    if found.below_db < 0.0:
        return f"{factor} as much as today ({span}): this option makes the room worse"
    return f"{factor} less than today ({span})"


def _between(one: str, other: str, found: Difference) -> str:
    if not found.can_be_told:
        return f"Between {one} and {other} no difference can be told."
    better, worse = (other, one) if found.below_db > 0.0 else (one, other)
    odds = odds_words(replace(found, odds=max(found.odds, 1.0 - found.odds)))
    factor = text.times(10.0 ** (abs(found.below_db) / 10.0))
    return f"{better} leaves {factor} less than {worse}: {odds}."


def _days(count: int) -> str:
    if count == 0:
        return ""
    return "1 working day" if count == 1 else f"{count} working days"


def _option(job: Job, number: int, option: OfferOption) -> dict[str, Any]:
    bill = option.take_off.bill
    promised = option.accepted_at_w_m2
    parts = {
        kind: sum(line.amount for line in bill.lines if line.kind == kind and line.amount)
        for kind in ("material", "setup", "labour")
    }
    return {
        "number": number,
        "title": option.title,
        "treated": [
            {
                "what": each.treatment,
                "area": text.area(each.area_m2, feet=job.feet),
                "faces": len(each.faces),
            }
            for each in option.treated
        ],
        "level": text.level(option.level_w_m2),
        "range": _range(option.low_w_m2, option.high_w_m2),
        "change": _change(option.against_today),
        "material": _money(parts["material"] + parts["setup"], bill.currency),
        "labour": _money(parts["labour"], bill.currency),
        "hours": [
            {"trade": trade, "hours": text.grouped(hours, 1)} for trade, hours in option.labour_h
        ],
        "net": _money(bill.net, bill.currency),
        "tax": _money(bill.tax, bill.currency),
        "total": _money(bill.total, bill.currency),
        "unpriced": bill.unpriced,
        "days": _days(option.days),
        "accepted": "" if promised is None else text.level(promised),
    }
