"""What a hand-out says: plain sentences and small pieces of HTML about what was found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from html import escape

from envelope.exposure.results import ReceiverResult, SourceResult
from envelope.text import SPACE, area, decibels, level, names, percent, times
from envelope.text.names import TODAY, plan_title, shown
from envelope.text.sentences import SAME_DB, WORSE_DB, brings, trial_sentence
from viewer.scene.colours import cividis_table
from viewer.scene.records import Scene, ScenePlan

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

CAUTIONS = (
    (
        "Electricity",
        "Bonding a coating to the building's electrical system, and any work near live wiring, is "
        "for a licensed electrician under the local code: power off and proved dead, the earth "
        "checked first; never to neutral, to pipes or to a rod of its own. Circuits in coated "
        "walls need residual-current (ground-fault) protection: a fault through a coating may be "
        "too small to trip a breaker.",
    ),
    (
        "Calls and alarms",
        "A shielded room blocks phones, wireless alarms, medical telemetry and smart meters. Try "
        "an ordinary call (never an emergency number as a test), keep a wired alternative, and "
        "check that linked smoke and carbon monoxide alarms still work.",
    ),
    (
        "Ways out and air",
        "Keep escape windows, combustion air and ventilation free.",
    ),
    (
        "Materials",
        "Film can crack glass by thermal stress; foil can trap moisture; fabrics have a fire "
        "class; recessed lights need clearance. Heated floors and old layers with lead or "
        "asbestos need a specialist.",
    ),
    (
        "Transmitters inside",
        "A phone or router used inside a shielded room raises the level there.",
    ),
)


def long_date(day: date) -> str:
    """Such as ``25 November 2025``."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def text(words: str) -> str:
    """Words as HTML."""
    return escape(words, quote=True)


def name(words: str, *, limit: int = 48) -> str:
    """A name from a file as HTML, kept apart from the direction of the text around it."""
    return f"<bdi>{escape(shown(words, limit=limit), quote=True)}</bdi>"


def remaining(result: ReceiverResult) -> float:
    """Share of what would arrive with no building that reaches the receiver, 0 to 1."""
    found = result.headline
    return found.level_w_m2 / found.outside_w_m2 if found.outside_w_m2 > 0.0 else 0.0


def spread(result: ReceiverResult) -> tuple[float, float] | None:
    """The same share at the ends of the 10–90 % band."""
    if result.outside_w_m2 <= 0.0 or result.low_w_m2 is None or result.high_w_m2 is None:
        return None
    return result.low_w_m2 / result.outside_w_m2, result.high_w_m2 / result.outside_w_m2


def below_db(share: float) -> float:
    """A share as decibels below."""
    return -10.0 * math.log10(share) if share > 0.0 else math.inf


def plan_name(plan: ScenePlan) -> str:
    """A plan's title in plain words."""
    return plan_title(plan.id, plan.title)


def change_db(result: ReceiverResult, as_built: ReceiverResult | None) -> float:
    """How far a plan brings the level below the one as built; negative where it is higher."""
    if as_built is None:
        return 0.0
    before, now = remaining(as_built), remaining(result)
    if now <= 0.0:
        return math.inf if before > 0.0 else 0.0
    return 10.0 * math.log10(before / now) if before > 0.0 else 0.0


def verdict(
    *, plan: ScenePlan, result: ReceiverResult, as_built: ReceiverResult | None, first: bool
) -> str:
    """What a plan comes to at a receiver, in sentences of HTML; `first` is the plan as built."""
    at = name(result.id)
    share = f"<b>{text(percent(remaining(result)))}</b>"
    what = (
        "of the power that would arrive with no house at all"
        if result.outside_w_m2 > 0.0
        else "of an isotropic field from all open directions"
    )
    if first:
        return f"Today, {share} {what} reaches {at}."
    begin = f"With <i><bdi>{text(plan_name(plan))}</bdi></i>, {share} {what} reaches {at}"
    change = change_db(result, as_built)
    if math.isinf(change):
        return f"{begin}."
    factor = 10.0 ** (abs(change) / 10.0)
    if change <= -WORSE_DB:
        more = (
            f"{100 * (factor - 1):.0f}{SPACE}% more than {TODAY}"
            if factor < 2.0
            else f"{times(factor)} as much as {TODAY}"
        )
        return (
            f"{begin}: <strong class='worse'>worse than no treatment</strong>, {more}. "
            "Treated faces throw back what the untreated ones let in."
        )
    if change < WORSE_DB:
        return f"{begin}: <b>no real change</b> from {TODAY}."
    less = f"{100 * (1 - 1 / factor):.0f}{SPACE}%" if factor < 2.0 else times(factor)
    return f"{begin}, <b>{less} less</b> than {TODAY}."


def source_warnings(result: ReceiverResult, *, first: bool) -> list[str]:
    """Sources for which a plan makes things worse than they are as built."""
    if first:
        return []
    return [
        f"For {name(source.id)} it is worse than no treatment: "
        f"{text(decibels(-source.below_as_built_db))} more reaches {name(result.id)}."
        for source in result.sources
        if source.below_as_built_db <= -WORSE_DB
    ]


def main_source(scene: Scene, result: ReceiverResult) -> str:
    """Which source brings most, and through which face."""
    total_w_m2 = result.level_w_m2
    if total_w_m2 <= 0.0 or not result.sources:
        return ""
    most = max(result.sources, key=lambda source: source.level_w_m2)
    part = most.level_w_m2 / total_w_m2
    begin = "All" if part >= 0.995 else "Most" if part > 0.5 else "The largest part"
    sentence = f"{begin} of that ({text(percent(part))}) comes from {name(most.id)}"
    if most.paths and most.direct_w_m2 > most.diffuse_w_m2 and most.paths[0].share > 0.5:
        return f"{sentence}, through the {text(face_title(scene, most.paths[0].panel, result))}."
    if most.diffuse_w_m2 > most.direct_w_m2:
        return f"{sentence}, thrown back and forth in the room."
    return f"{sentence}."


def main_way(scene: Scene, result: ReceiverResult) -> str:
    """Which face it is best to treat next, and how many gaps there are."""
    first = result.panels[0] if result.panels else None
    said = f"{_count(len(result.gaps))}."
    if first is None or not first.share > 0.0:
        return said
    change = first.below_if_treated_db
    if change is None or change < SAME_DB:
        return f"Treating one more face alone lowers nothing. {said}"
    title = text(face_title(scene, first.panel, result))
    return (
        f"The face that matters most now is the {title}: {text(brings(first, result))}. "
        f"{text(trial_sentence(first, result))} {said}"
    )


def added(plan: ScenePlan, *, feet: bool) -> str:
    """What a plan adds, in m² or square feet."""
    used = [
        f"{name(treatment, limit=24)} {area(covered_m2, feet=feet)}"
        for treatment, covered_m2 in plan.treated_area_m2.items()
        if covered_m2 > 0.0
    ]
    return f"The plan adds {', '.join(used)}." if used else ""


def _count(gaps: int) -> str:
    if gaps == 0:
        return "No face is a gap"
    return "One face is a gap" if gaps == 1 else f"{gaps} faces, jambs included, are gaps"


def face_title(scene: Scene, panel_id: str, result: ReceiverResult) -> str:
    """A face's name, with its room where that is not the receiver's own."""
    return names.face_title(scene.panels[scene.panel_index[panel_id]], home=result.space)


def uncertainty(result: ReceiverResult) -> str:
    """The 10–90 % band in words."""
    band = spread(result)
    if band is None:
        return ""
    low, high = (percent(value) for value in band)
    said = f"Eight times in ten the truth lies between {low} and {high}"
    if band[0] > 1.0:
        return f"{said}: more than with no house at all."
    if band[1] > 1.0:
        return f"{said}, that is, at worst, more than with no house at all."
    return f"{said}."


# -- small drawings ------------------------------------------------------------------------------


def ladder(*, share: float, band: tuple[float, float] | None, deepest_db: float) -> str:
    """A plan's place on the scale that all plans share: the longer the bar, the more gets in."""

    def place(value: float) -> float:
        return 100.0 * max(0.0, 1.0 - below_db(min(value, 1.0)) / deepest_db)

    whisker = ""
    if band is not None:
        low, high = place(band[0]), place(band[1])
        whisker = (
            f'<line class="whisker" x1="{low:.2f}" x2="{high:.2f}" y1="5" y2="5"/>'
            f'<line class="whisker" x1="{low:.2f}" x2="{low:.2f}" y1="2.5" y2="7.5"/>'
            f'<line class="whisker" x1="{high:.2f}" x2="{high:.2f}" y1="2.5" y2="7.5"/>'
        )
    # More than with no house at all: the bar runs off its scale, and says so.
    beyond = '<path class="beyond" d="M95 0 L100 5 L95 10 Z"/>' if share > 1.0 else ""
    return (
        '<svg class="ladder" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        '<rect class="track" x="0" y="3.4" width="100" height="3.2"/>'
        f'<rect class="level" x="0" y="3.4" width="{place(share):.2f}" height="3.2"/>'
        f"{whisker}{beyond}</svg>"
    )


def share_bar(share: float, *, gap: bool) -> str:
    """A bar of a share, hatched where the face is no gap."""
    width = max(100.0 * share, 0.6 if share > 0.0 else 0.0)
    kind = "gap" if gap else "tight"
    return (
        '<svg class="bar" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        f'<rect class="track" width="100" height="10"/>'
        f'<rect class="{kind}" width="{width:.2f}" height="10"/></svg>'
    )


def colour_scale(*, low_db: float, high_db: float, bright_low: bool, words: str) -> str:
    """The colours of a quantity with numbers; the ends stand for what is beyond them."""
    colours = cividis_table(24)
    if bright_low:
        colours = tuple(reversed(colours))
    stops = "".join(
        f'<rect x="{k * 100 / len(colours):.3f}" y="0" width="{100 / len(colours) + 0.2:.3f}" '
        f'height="10" fill="{colour}"/>'
        for k, colour in enumerate(colours)
    )
    steps = 4
    ticks = "".join(
        f"<span>{_signed(low_db + (high_db - low_db) * k / steps)}</span>" for k in range(steps + 1)
    )
    return (
        f'<p class="scale-words">{text(words)}</p>'
        '<svg class="scale" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        f'{stops}</svg><p class="ticks">{ticks}</p>'
    )


def _signed(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def deepest(results: Sequence[ReceiverResult]) -> float:
    """How far down the scale of all plans must reach. [dB]"""
    values = [10.0]
    for result in results:
        band = spread(result)
        for share in (remaining(result), *(band or ())):
            if 0.0 < share < 1.0:
                values.append(below_db(share))
    return 10.0 * math.ceil(max(values) / 10.0 - 1e-9)


def _reduction(value_db: float) -> str:
    """A reduction in words that need no sign."""
    return f"{decibels(-value_db)} more" if value_db <= -0.05 else decibels(abs(value_db))


def source_row(source: SourceResult, *, first: bool, scene: Scene, result: ReceiverResult) -> str:
    """One source's line of the table of sources."""
    band = ""
    if source.low_w_m2 is not None and source.high_w_m2 is not None:
        band = f"<small>{text(level(source.low_w_m2))} to {text(level(source.high_w_m2))}</small>"
    through = ""
    if source.paths and source.paths[0].share > 0.0:
        most = source.paths[0]
        title = face_title(scene, most.panel, result)
        through = f"{text(title)}, {text(percent(most.share))}"
    change = source.below_as_built_db
    if first:
        compared = "–"
    elif change <= -WORSE_DB:
        compared = f"<strong class='worse'>{text(decibels(-change))} worse</strong>"
    elif change < WORSE_DB:
        compared = "the same"
    else:
        compared = f"{text(decibels(change))} better"
    return (
        f"<tr><th scope='row'>{name(source.id)}</th>"
        f"<td>{text(level(source.outside_w_m2))}</td>"
        f"<td>{text(level(source.level_w_m2))}{band}</td>"
        f"<td>{text(_reduction(source.reduction_db))}</td><td>{compared}</td>"
        f"<td>{through}</td></tr>"
    )
