"""The offer on paper: options that the client chooses from and signs."""

from __future__ import annotations

from typing import Any

from envelope import text
from envelope.building.job import Job
from envelope.text.decisions import as_today_words
from envelope.text.measures import agreed_measures
from envelope.text.trade import figure_words, receiver_title, treatment_title
from envelope.works.offer import NOT_INCLUDED, Offer, OfferOption
from viewer.report.levels import between, change, level_range
from viewer.report.render import Sheet, render
from viewer.report.sections import bill_section


def offer_page(job: Job, offer: Offer, *, sheet: Sheet) -> str:
    """The offer as HTML.

    Parameters
    ----------
    job : Job
        Whose rooms and words are used.
    offer : Offer
        Options with their figures.
    sheet : Sheet
        Who makes it, on which day and paper.
    """
    titles = {option.plan.id: option.title for option in offer.options}
    values = {
        "receiver": receiver_title(job, offer.receiver),
        "today": text.level(offer.today_w_m2),
        "today_range": level_range(offer.today_low_w_m2, offer.today_high_w_m2),
        "as_today": as_today_words(
            job,
            [(option.title, option.by_source_w_m2) for option in offer.options],
            counting=[option.plan for option in offer.options],
        ),
        "options": [option_section(job, n, each) for n, each in enumerate(offer.options, 1)],
        "beside": [between(titles[one], titles[other], d) for one, other, d in offer.beside],
        "not_included": NOT_INCLUDED,
        "rests_on": [f"{figure_words(job, what)}: {taken}." for what, taken in offer.rests_on],
        "spots": job.defaults.count("spots"),
    }
    return render("offer.html.j2", job=job, sheet=sheet, values=values)


def _days(count: int) -> str:
    if count == 0:
        return ""
    return "1 working day" if count == 1 else f"{count} working days"


def option_section(job: Job, number: int, option: OfferOption) -> dict[str, Any]:
    """One option as the template lays it out.

    Parameters
    ----------
    job : Job
    number : int
        From 1.
    option : OfferOption
    """
    promised = option.accepted_at_w_m2
    return {
        "number": number,
        "title": option.title,
        "treated": [
            {
                "what": treatment_title(job, each.treatment),
                "area": text.area(each.area_m2, feet=job.feet),
                "faces": len(each.faces),
            }
            for each in option.treated
        ],
        "besides": list(agreed_measures(job, option.plan)),
        "level": text.level(option.level_w_m2),
        "range": level_range(option.low_w_m2, option.high_w_m2),
        "change": change(option.against_today),
        "worse": option.worse,
        "bill": bill_section(job, option.take_off.bill),
        "days": _days(option.days),
        "accepted": "" if promised is None else text.level(promised),
    }
