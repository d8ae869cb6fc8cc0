"""Pages for paper from templates: self-contained, no script, no network, A4 or Letter."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any, Literal

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from envelope.building.job import Job
from envelope.text.names import shown
from viewer.report.practice import Practice

Paper = Literal["a4", "letter"]
_SIZES = {"a4": "A4", "letter": "letter"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Whose page it is, of which day, on which paper."""

    practice: Practice = field(default_factory=Practice)
    day: date
    paper: Paper = "a4"

    @property
    def size(self) -> str:
        """As CSS has it."""
        return _SIZES[self.paper]


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("viewer.report", "."),
        autoescape=lambda name: name is not None and ".html." in name,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["capitalize_first"] = lambda words: words[:1].upper() + words[1:]
    return made


def css_text(words: str) -> Markup:
    """Words for the inside of a string in a style sheet, where no mark of HTML is read.

    Examples
    --------
    >>> print(css_text("Tom's room, 2"))
    Tom\\27 s room, 2
    """
    return Markup("").join(
        Markup(sign) if sign.isalnum() or sign in " ,.-()" else Markup(f"\\{ord(sign):x} ")
        for sign in words
    )


def render(template: str, *, job: Job, sheet: Sheet, values: dict[str, Any]) -> str:
    """A page from one of the templates.

    Parameters
    ----------
    template : str
        Name of its file.
    job : Job
        Whose name stands on it.
    sheet : Sheet
    values : dict
        What the template speaks of.
    """
    name = shown(job.name, limit=120)
    footer = css_text(shown(job.name, limit=70))
    page = _environment().get_template(template)
    return page.render(
        job=name, footer=footer, sheet=sheet, day=sheet.day.isoformat(), feet=job.feet, **values
    )
