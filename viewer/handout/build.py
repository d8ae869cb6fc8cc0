"""The client's hand-out: one HTML file that opens from disk and asks the network for nothing.

Everything is inside: three.js out of the NiceGUI wheel, our viewer, the scene, the maps of
directions, the tables. Its Content-Security-Policy allows the scripts and styles that stand in the
page by their hashes, and nothing from elsewhere. Without scripts or without WebGL the tables and a
picture remain. `page.html.j2` lays the page out, `content.py` gathers what stands on it.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envelope.building.job import Job
from envelope.errors import EnvelopeError, MissingExtraError
from envelope.exposure.analysis_record import Analysis
from envelope.files import write_atomically
from envelope.plans.decision import Decision
from viewer.handout.inline import inline_json
from viewer.scene.records import Scene
from viewer.scene.to_json import to_json
from viewer.web.bundle import engine, inline_hash, own_module, own_text

if TYPE_CHECKING:
    from jinja2 import Template

_PNG = b"\x89PNG\r\n\x1a\n"
_BOOT = 'document.documentElement.className = "js";'


def handout_html(
    *,
    scene: Scene,
    job: Job,
    analysis: Analysis,
    date: datetime.date,
    skies: Sequence[dict[str, Any]] = (),
    pictures: Mapping[str, bytes] | None = None,
    plan: str | None = None,
    more: str = "",
    decision: Decision | None = None,
    promised: Analysis | None = None,
) -> str:
    """The page of a hand-out.

    Parameters
    ----------
    scene : Scene
        Of the job, with the plans to be shown; at least one.
    analysis : Analysis
        Of the same plans; its notes go into the page.
    date : datetime.date
        Written on the page.
    skies : sequence of dict
        What each receiver sees, from `viewer.scene.sky_cache.skies_json`, one a receiver, or none
        at all.
    pictures : mapping of str to bytes, optional
        By plan, a PNG of what gets in at the first receiver, which stands in where a browser has
        no WebGL.
    plan : str, optional
        Plan to open with; else the last one.
    more : str
        Further sections as HTML, such as that of `viewer.handout.wiring`.
    decision : Decision, optional
        What to do first at the first receiver; without, the page says nothing of it.
    promised : Analysis, optional
        Of the job as it was before any work, `envelope.survey.levels.before_work`, where readings
        were taken after it: what they are held against.

    Raises
    ------
    EnvelopeError
        Where there is nothing to hand out, or a picture is no PNG or of no plan.
    """
    template = _template()
    found = [[each.receiver(receiver.id) for receiver in scene.receivers] for each in scene.plans]
    if not any(result for row in found for result in row):
        raise EnvelopeError(
            "there is nothing to hand out: the job has no receiver with a result; "
            "allowed: at least one [[receiver]] and one analysed plan"
        )
    ids = [each.id for each in scene.plans]
    for named, drawn in (pictures or {}).items():
        if named not in ids:
            raise EnvelopeError(
                f"a picture is of plan {named!r}, which is not shown; allowed: {', '.join(ids)}"
            )
        if not drawn.startswith(_PNG):
            raise EnvelopeError("the picture of a hand-out is not a PNG; allowed: PNG bytes")
    if plan is not None and plan not in ids:
        raise EnvelopeError(f"there is no plan {plan!r}; allowed: {', '.join(ids)}")
    chosen = ids.index(plan) if plan is not None else len(ids) - 1
    from viewer.handout.content import content
    from viewer.handout.words import long_date

    script = own_module("handout.js")
    style = own_text("cutaway.css") + own_text("handout.css")
    three = engine()
    policy = "; ".join(
        [
            "default-src 'none'",
            f"script-src {inline_hash(_BOOT)} {inline_hash(script)} blob:",
            f"style-src {inline_hash(style)}",
            "img-src data: blob:",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )
    return template.render(
        content(
            scene=scene,
            job=job,
            analysis=analysis,
            chosen=chosen,
            pictures=pictures or {},
            decision=decision,
            promised=promised,
        ),
        date=long_date(date),
        date_iso=date.isoformat(),
        policy=policy,
        style=style,
        boot=_BOOT,
        script=script,
        engine=three.script,
        licences=three.licences,
        has_skies=len(skies) > 0,
        more=more,
        scene_json=inline_json(_for_clients(scene)),
        skies_json=inline_json(list(skies)),
    )


def _for_clients(scene: Scene) -> dict[str, Any]:
    """The scene as JSON, with the faces' names as the page's tables have them."""
    from viewer.handout.words import client_title

    found = to_json(scene)
    for panel, entry in zip(scene.panels, found["panels"], strict=True):
        entry["title"] = client_title(panel, panel.space)
    return found


@cache
def _template() -> Template:
    """The page's template; what is put into it is escaped.

    Raises
    ------
    MissingExtraError
        Where Jinja is not installed.
    """
    if find_spec("jinja2") is None:
        raise MissingExtraError(library="Jinja", extra="viewer")
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(own_text), autoescape=True, undefined=StrictUndefined
    ).get_template("page.html.j2")


def write_handout(
    path: str | Path,
    *,
    scene: Scene,
    job: Job,
    analysis: Analysis,
    date: datetime.date,
    skies: Sequence[dict[str, Any]] = (),
    pictures: Mapping[str, bytes] | None = None,
    plan: str | None = None,
    more: str = "",
    decision: Decision | None = None,
    promised: Analysis | None = None,
) -> int:
    """Write a hand-out, whole or not at all; its size in bytes. See `handout_html`."""
    page = handout_html(
        scene=scene,
        job=job,
        analysis=analysis,
        date=date,
        skies=skies,
        pictures=pictures,
        plan=plan,
        more=more,
        decision=decision,
        promised=promised,
    ).encode()
    write_atomically(Path(path), page)
    return len(page)
