"""The client's hand-out: one HTML file that opens from disk and asks the network for nothing.

Everything is inside: three.js out of the NiceGUI wheel, our viewer, the scene, the maps of
directions, the tables. Its Content-Security-Policy allows the scripts and styles that stand in the
page by their hashes, and nothing from elsewhere. Without scripts or without WebGL the tables and a
picture remain.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from envelope.building.job import AS_BUILT, Job
from envelope.errors import EnvelopeError
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.assumptions import ASSUMED_SOURCE
from envelope.exposure.results import PanelLeak, ReceiverResult
from envelope.files import write_atomically
from envelope.text import decibels, frequency, percent, steradians
from envelope.text.names import shown
from envelope.text.sentences import WORSE_DB, trial
from viewer.handout import words
from viewer.handout.inline import data_address, inline_hash, inline_json
from viewer.handout.words import name, text
from viewer.scene.records import Scene, ScenePlan
from viewer.scene.to_json import to_text
from viewer.web.bundle import Engine, engine, own_module, own_text

_ROWS_AT_MOST = 9  # faces listed at once; the others wait behind a button
_SHARE_AT_LEAST = 5e-4
_PNG = b"\x89PNG\r\n\x1a\n"


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
        What each receiver sees, from `viewer.scene.sky.skies_json`, one a receiver, or none at all.
    pictures : mapping of str to bytes, optional
        By plan, a PNG of what gets in at the first receiver, which stands in where a browser has
        no WebGL.
    plan : str, optional
        Plan to open with; else the last one.
    more : str
        Further sections, such as that of `viewer.handout.wiring`.

    Raises
    ------
    EnvelopeError
        Where there is nothing to hand out, or a picture is no PNG or of no plan.
    """
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
    script = own_module("handout.js")
    style = own_text("cutaway.css") + own_text("handout.css")
    boot = 'document.documentElement.className = "js";'
    three = engine()
    parts = _Body(scene=scene, job=job, analysis=analysis, found=found, chosen=chosen)
    body = parts.html(
        date=date, pictures=pictures or {}, skies=len(skies) > 0, three=three, more=more
    )
    policy = "; ".join(
        [
            "default-src 'none'",
            f"script-src {inline_hash(boot)} {inline_hash(script)} blob:",
            f"style-src {inline_hash(style)}",
            "img-src data: blob:",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )
    title = text(shown(scene.name, limit=120))
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f"<title>{title}: where it gets in</title>",
            f"<style>{style}</style>",
            f"<script>{boot}</script></head>",
            f"<body>{body}",
            f'<script type="application/json" id="scene">{to_text(scene)}</script>',
            f'<script type="application/json" id="skies">{inline_json(list(skies))}</script>',
            f'<script type="text/plain" id="engine">{three.script}</script>',
            f'<script type="module">{script}</script>',
            "</body></html>",
        ]
    )


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
    ).encode()
    write_atomically(Path(path), page)
    return len(page)


class _Body:
    """The parts of the page that people read, for every plan and receiver."""

    def __init__(
        self,
        *,
        scene: Scene,
        job: Job,
        analysis: Analysis,
        found: Sequence[Sequence[ReceiverResult | None]],
        chosen: int,
    ) -> None:
        self._scene = scene
        self._job = job
        self._analysis = analysis
        self._found = found
        self._chosen = chosen
        ids = [plan.id for plan in scene.plans]
        self._bare = ids.index(AS_BUILT) if AS_BUILT in ids else None
        self._deepest_db = words.deepest([r for row in found for r in row if r is not None])

    def html(
        self,
        *,
        date: datetime.date,
        pictures: Mapping[str, bytes],
        skies: bool,
        three: Engine,
        more: str,
    ) -> str:
        scene = self._scene
        return "\n".join(
            [
                "<header><p class='kicker'>Where it gets in, and what each plan does about it</p>",
                f"<h1>{name(scene.name, limit=120)}</h1>",
                f"<p class='dated'><time datetime='{date.isoformat()}'>{words.long_date(date)}"
                "</time><span>prediction, not a measurement</span></p></header>",
                "<main>",
                "<div class='top'>",
                self._verdicts(),
                f"<div class='choose live'>{self._plan_switch()}",
                f"{self._receiver_switch()}</div></div>",
                "<div class='work'>",
                self._figure(pictures),
                self._side(),
                "</div>",
                self._directions() if skies else "",
                self._sources(),
                more,
                self._record(),
                _reading(scene, assumed=self._job.assumed_source, analysis=self._analysis),
                _cautions(),
                "</main>",
                _licences(three),
            ]
        )

    # -- the first screen

    def _each(self, make: Any) -> str:
        """A part of the page for every plan and receiver, of which one shows at a time."""
        parts = []
        for p, plan in enumerate(self._scene.plans):
            for r, result in enumerate(self._found[p]):
                if result is None:
                    continue
                shows = " on" if (p, r) == (self._chosen, 0) else ""
                parts.append(
                    f"<div class='case{shows}' data-plan='{p}' data-receiver='{r}'>"
                    f"{make(p, plan, r, result)}</div>"
                )
        return "".join(parts)

    def _before(self, receiver: int) -> ReceiverResult | None:
        return None if self._bare is None else self._found[self._bare][receiver]

    def _verdicts(self) -> str:
        def make(p: int, plan: ScenePlan, r: int, result: ReceiverResult) -> str:
            first = p == self._bare
            said = words.verdict(plan=plan, result=result, as_built=self._before(r), first=first)
            rest = [
                words.main_source(self._scene, result),
                words.main_way(self._scene, result),
                text(words.uncertainty(result)),
                words.added(plan, feet=self._scene.feet),
            ]
            warned = "".join(
                f"<p class='warning'>{each}</p>"
                for each in words.source_warnings(result, first=first)
            )
            return (
                f"<p class='verdict'>{said}</p><p class='more'>{' '.join(filter(None, rest))}</p>"
                f"{warned}"
            )

        return f"<section aria-live='polite' class='verdicts'>{self._each(make)}</section>"

    def _receiver_switch(self) -> str:
        if len(self._scene.receivers) < 2:
            return ""
        choices = "".join(
            f"<label><input type='radio' name='receiver' value='{r}'"
            f"{' checked' if r == 0 else ''}><span>{name(receiver.id)}"
            f"<small> in {name(receiver.space)}</small></span></label>"
            for r, receiver in enumerate(self._scene.receivers)
        )
        return f"<fieldset class='pills live'><legend>Looked at from</legend>{choices}</fieldset>"

    def _plan_switch(self) -> str:
        rows = "".join(
            f"<label class='plan'><input type='radio' name='plan' value='{p}'"
            f"{' checked' if p == self._chosen else ''}><span class='row'>"
            f"<bdi class='who'>{text(words.plan_name(plan))}</bdi>{self._levels(p)}</span></label>"
            for p, plan in enumerate(self._scene.plans)
        )
        steps = int(self._deepest_db // 10)
        marks = "".join(
            f"<span>{'all' if k == 0 else f'−{10 * k}'}</span>" for k in range(steps, -1, -1)
        )
        return (
            "<fieldset class='plans'>"
            "<legend>How much gets in under each plan, dB below outside</legend>"
            f"{rows}<p class='row marks' aria-hidden='true'><span></span>"
            f"<span class='ticks'>{marks}</span><span></span></p></fieldset>"
        )

    def _levels(self, p: int) -> str:
        """A plan's bar and number, for every receiver."""
        parts = []
        for r, result in enumerate(self._found[p]):
            if result is None:
                continue
            share = words.remaining(result)
            change = words.change_db(result, self._before(r))
            worse = p != self._bare and change <= -WORSE_DB
            flag = "<em class='worse'>▲ worse than today</em>" if worse else ""
            shows = " on" if r == 0 else ""
            bar = words.ladder(share=share, band=words.spread(result), deepest_db=self._deepest_db)
            parts.append(
                f"<span class='case wide{shows}' data-receiver='{r}'>{bar}{flag}"
                f"<span class='many'>{text(percent(share))}</span></span>"
            )
        return "".join(parts)

    def _stills(self, pictures: Mapping[str, bytes]) -> str:
        """What stands in for the cutaway: for every plan its picture, and what that shows."""
        parts = []
        for p, plan in enumerate(self._scene.plans):
            title = f"<bdi>{text(words.plan_name(plan))}</bdi>"
            works = "The plans, the tables and the map of directions work all the same."
            drawn = ""
            note = f"This browser shows no 3D, and no picture of {title} was drawn. {works}"
            if plan.id in pictures:
                at = self._scene.receivers[0]
                drawn = (
                    f"<img class='still' alt='Cutaway of the room, {text(words.plan_name(plan))}' "
                    f"src='{data_address(pictures[plan.id])}'>"
                )
                note = (
                    f"This browser shows no 3D. The picture: {title}, what gets in at "
                    f"{name(at.id)}. {works}"
                )
            shows = " on" if p == self._chosen else ""
            parts.append(
                f"<div class='case flat-still{shows}' data-plan='{p}'>{drawn}"
                f"<p class='flat-note'>{note}</p></div>"
            )
        return "".join(parts)

    def _figure(self, pictures: Mapping[str, bytes]) -> str:
        storeys = "".join(
            f"<option value='one {k}'>storey {text(shown(storey.id))}</option>"
            for k, storey in enumerate(self._scene.storeys)
        )
        whole = ""
        count = len(self._scene.storeys)
        if len(self._scene.spaces) > 1:
            peeled = "".join(
                f"<option value='peel {k}'>without the top {'storey' if k == 1 else f'{k} storeys'}"
                "</option>"
                for k in range(1, count)
            )
            whole = f"{storeys}<option value='all'>whole house</option>{peeled}"
        scene = self._scene
        treatments = "".join(
            f"<li><svg viewBox='0 0 24 14' aria-hidden='true'><rect width='24' height='14' "
            f"fill='{style.colour}'/>{_pattern(style.pattern)}</svg><b>{style.letter}</b> "
            f"{name(style.treatment)}</li>"
            for style in scene.treatments
        )
        gap = (
            "<p class='key'><span class='gap-mark' aria-hidden='true'></span>gap: lets through "
            f"more than {scene.threshold_db:g} dB of loss would</p>"
        )
        if any(source.position_m is not None for source in scene.sources):
            gap += (
                "<p class='key marks-key'><span class='star-mark' aria-hidden='true'>◆</span>"
                "transmitter, with the line of sight to it: dashed where something is between</p>"
            )
        return (
            "<figure class='picture'><div id='view'>"
            f"{self._stills(pictures)}</div>"
            "<div class='zoom live3d'>"
            "<button type='button' id='nearer' aria-label='nearer'>+</button>"
            "<button type='button' id='farther' aria-label='farther'>−</button>"
            "<button type='button' id='home' aria-label='back to the first view'>⟲</button></div>"
            "<figcaption>"
            "<div class='tools live3d'><fieldset class='pills'><legend>Colour</legend>"
            "<label><input type='radio' name='mode' value='let-in' checked>"
            "<span>what gets in</span></label>"
            "<label><input type='radio' name='mode' value='loss'><span>loss</span></label>"
            "<label><input type='radio' name='mode' value='treatment'>"
            "<span>treatment</span></label>"
            "</fieldset>"
            "<label class='tick'><input type='checkbox' id='beams' checked> beams</label>"
            f"<label class='pick'>Show <select id='storeys'><option value='room'>this room</option>"
            f"{whole}</select></label>"
            "</div>"
            "<div class='legends live3d'>"
            "<div data-mode='let-in' class='on'>"
            + words.colour_scale(
                low_db=scene.let_in.low_db,
                high_db=scene.let_in.high_db,
                bright_low=False,
                words="what one face lets in, dB below everything outside: bright is much",
            )
            + f"{gap}</div><div data-mode='loss'>"
            + words.colour_scale(
                low_db=scene.loss.low_db,
                high_db=scene.loss.high_db,
                bright_low=True,
                words="loss through a face, dB: bright is little, dark keeps out",
            )
            + f"{gap}</div><div data-mode='treatment'><ul class='codes'>{treatments}"
            "<li><svg viewBox='0 0 24 14' aria-hidden='true'><rect width='24' height='14' "
            f"fill='#d8d2c6'/></svg>untreated</li></ul>{gap}</div></div>"
            "<p class='hint live3d'>Drag to turn, tap or click a face. Near walls are left out so "
            "that you see in.</p></figcaption></figure>"
        )

    def _side(self) -> str:
        return (
            "<section class='side'><div id='card' class='card-of-face live' aria-live='polite'>"
            "<p>Point at a face in the picture or in the list: here it says what the face is and "
            "what it lets in.</p></div><h2>Where it comes in</h2>"
            f"{self._each(self._faces)}</section>"
        )

    def _faces(self, p: int, plan: ScenePlan, r: int, result: ReceiverResult) -> str:
        leaks = [leak for leak in result.panels if leak.share >= _SHARE_AT_LEAST or leak.is_gap]
        rows = [self._face(leak, result) for leak in leaks]
        head = (
            "<thead><tr><th scope='col'>face</th><th scope='col'>loss</th>"
            "<th scope='col'>brings now</th><th scope='col'>if treated</th></tr></thead>"
        )
        caption = (
            f"<caption class='spoken'>Faces by what treating them does at {name(result.id)}, "
            f"<bdi>{text(words.plan_name(plan))}</bdi></caption>"
        )
        table = (
            f"<table class='faces'>{caption}{head}<tbody>{''.join(rows[:_ROWS_AT_MOST])}</tbody>"
        )
        if len(rows) > _ROWS_AT_MOST:
            table += f"<tbody class='rest'>{''.join(rows[_ROWS_AT_MOST:])}</tbody>"
        rest = len(rows) - _ROWS_AT_MOST
        more = (
            f"<button type='button' class='unfold live'>{rest} more "
            f"{'face' if rest == 1 else 'faces'}</button>"
            if rest > 0
            else ""
        )
        return f"{table}</table>{more}"

    def _face(self, leak: PanelLeak, result: ReceiverResult) -> str:
        title = words.face_title(self._scene, leak.panel, result)
        worn = " + ".join(name(each, limit=24) for each in leak.treatments) or "untreated"
        gap = " <span class='gap-word'>gap</span>" if leak.is_gap else ""
        return (
            f"<tr data-face='{text(leak.panel)}'><th scope='row'><button type='button'>"
            f"{text(title)}</button>{gap}<small>{worn}</small></th>"
            f"<td>{text(decibels(leak.loss_db))}</td>"
            f"<td class='lets'>{text(percent(leak.share))}"
            f"{words.share_bar(leak.share, gap=leak.is_gap)}</td>"
            f"<td>{text(trial(leak))}</td></tr>"
        )

    # -- further down

    def _directions(self) -> str:
        who = "".join(
            f"<span class='case{' on' if r == 0 else ''}' data-receiver='{r}'>"
            f"What {name(receiver.id)} sees</span>"
            for r, receiver in enumerate(self._scene.receivers)
        )
        scale = words.colour_scale(
            low_db=self._scene.loss.low_db,
            high_db=self._scene.loss.high_db,
            bright_low=True,
            words="loss towards each direction, dB",
        )
        return (
            f"<section class='directions live'><h2>{who}</h2><div class='around'>"
            "<div id='sky'></div><div class='about'>"
            "<p>Every direction around the sleeper on one disc: straight up in the middle, the "
            "horizon the dashed circle, straight down all along the rim. It lies like a floor "
            "plan, north at the top. Equal areas are equal shares of all directions, so what "
            "looks large here is large for what comes in.</p>"
            f"{scale}<p class='key'><span class='gap-mark' aria-hidden='true'></span>gap</p>"
            "<p class='key'><span class='hatch-mark' aria-hidden='true'></span>blocked by the "
            f"ground{' or what stands outside' if self._scene.blocks else ''}</p>"
            "<p class='key'><span class='star-mark' aria-hidden='true'>◆</span>source; "
            "the dotted ring around it is how widely it spreads</p></div></div></section>"
        )

    def _sources(self) -> str:
        if not self._scene.sources:
            return ""

        def make(p: int, plan: ScenePlan, r: int, result: ReceiverResult) -> str:
            first = p == self._bare
            rows = "".join(
                words.source_row(source, first=first, scene=self._scene, result=result)
                for source in result.sources
            )
            return (
                "<div class='scroll' tabindex='0' role='region' aria-label='Table of sources'>"
                f"<table class='sources'><caption>{name(result.id)}, "
                f"<bdi>{text(words.plan_name(plan))}</bdi></caption><thead><tr>"
                "<th scope='col'>source</th><th scope='col'>with no house</th>"
                "<th scope='col'>predicted, and its margin</th><th scope='col'>reduction</th>"
                "<th scope='col'>beside today</th><th scope='col'>straight through</th>"
                f"</tr></thead><tbody>{rows}</tbody></table></div>"
            )

        return f"<section><h2>Which source brings how much</h2>{self._each(make)}</section>"

    def _record(self) -> str:
        def make(p: int, plan: ScenePlan, r: int, result: ReceiverResult) -> str:
            rows = "".join(
                f"<tr><th scope='row'>{text(frequency(band.frequency_hz))}</th>"
                f"<td>{text(steradians(band.unshielded_solid_angle_sr))}</td>"
                f"<td>{text(steradians(band.open_equivalent_solid_angle_sr))}</td>"
                f"<td>{text(decibels(band.isotropic_reduction_db))}</td></tr>"
                for band in result.bands
            )
            return (
                "<div class='scroll' tabindex='0' role='region' aria-label='Table of solid angles'>"
                f"<table class='record'><caption>{name(result.id)}, "
                f"<bdi>{text(words.plan_name(plan))}</bdi>: open to "
                f"{text(steradians(result.exposed_solid_angle_sr))} of 12.57 sr</caption>"
                "<thead><tr><th scope='col'>frequency</th>"
                "<th scope='col'>unshielded solid angle</th><th scope='col'>open-equivalent</th>"
                "<th scope='col'>reduction, all directions alike</th></tr></thead>"
                f"<tbody>{rows}</tbody></table></div>"
            )

        return f"<section><h2>For the record</h2>{self._each(make)}</section>"


def _pattern(kind: str) -> str:
    """A treatment's pattern as lines over its sample."""
    lines = {
        "rising": "M0 8L8 0M0 20L20 0M10 22L30 2",
        "falling": "M0 0L14 14M10 0L24 14M-10 0L4 14M20 0L34 14",
        "cross": "M0 8L8 0M0 20L20 0M10 22L30 2M0 0L14 14M10 0L24 14M-10 0L4 14",
        "upright": "M4 0V14M12 0V14M20 0V14",
        "level": "M0 4H24M0 10H24",
        "grid": "M4 0V14M12 0V14M20 0V14M0 4H24M0 10H24",
        "dots": "M4 4h.1M12 4h.1M20 4h.1M8 10h.1M16 10h.1",
    }
    return f"<path class='pattern {kind}' d='{lines[kind]}'/>" if kind in lines else ""


def _reading(scene: Scene, *, assumed: bool, analysis: Analysis) -> str:
    even = (
        "<p>The job names no source, so an even field from all open directions at 2.45 GHz is "
        "assumed.</p>"
        if assumed
        else ""
    )
    beyond = ", ".join(name(each) for each in analysis.extrapolated)
    outside = f"<p>Used outside the range of their source: {beyond}.</p>" if beyond else ""
    notes = "".join(
        f"<p>{text(shown(note, limit=300))}</p>"
        for note in dict.fromkeys((*scene.notes, *analysis.notes))
        if note != ASSUMED_SOURCE  # told in words of its own
    )
    return (
        "<section class='reading'><h2>How to read this</h2>"
        "<p>“Gets in” compares the power density predicted at the bed with what would arrive there "
        "with no house at all. It counts what comes straight and what the room throws back and "
        "forth. 10 dB less is a tenth, 20 dB a hundredth, 30 dB a thousandth.</p>"
        "<p>The share of a face is of what comes straight, all open directions counted alike: "
        "where the sources of today stand does not matter for it. A face is "
        f"called a gap where it loses less than {scene.threshold_db:g} dB.</p>"
        f"{even}<p>Directions count as blocked where they meet earth, or the ground close to the "
        "house: a convention of surveys, not physics.</p>"
        "<p>These are estimates from materials, plans and sources as they were told. A meter "
        "decides, and one reading in a room that reflects scatters by about 5.6 dB: average many "
        f"places.</p>{outside}{notes}</section>"
    )


def _cautions() -> str:
    items = "".join(
        f"<li><b>{text(title)}.</b> {text(said)}</li>" for title, said in words.CAUTIONS
    )
    return (
        f"<section class='cautions'><h2>Before and during the work</h2><ul>{items}</ul></section>"
    )


def _licences(three: Engine) -> str:
    texts = "".join(
        f"<h3>{text(title)}</h3><pre>{text(licence)}</pre>" for title, licence in three.licences
    )
    return (
        "<footer><p>Made with Gapcast. This file is complete: it loads nothing and sends nothing."
        "</p><details><summary>Licences of what is inside</summary>"
        f"{texts}</details></footer>"
    )
