"""What a hand-out says: plain sentences about what was found, for people who read no decibels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup, escape

from envelope.exposure.differences import Difference, difference
from envelope.exposure.results import PanelLeak, PlanResult, ReceiverResult, SourceResult
from envelope.text import area, compared, level, percent
from envelope.text.names import TODAY, face_title, shown, trial_names
from envelope.text.sentences import SAME_DB, WORSE_DB
from viewer.scene.records import Scene, ScenePanel, ScenePlan

_ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)  # ends of bars, of a decade
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_SIDES = {
    "sill": "sill",
    "head": "upper side of the recess",
    "jamb-left": "left side of the recess",
    "jamb-right": "right side of the recess",
}
CAN_BE_TOLD = f"no difference from {TODAY} that can be told"

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


def text(words: str) -> Markup:
    """Words as HTML."""
    return escape(words)


def name(words: str, *, limit: int = 48) -> Markup:
    """A name from a file, kept apart from the direction of the text around it."""
    return Markup("<bdi>{}</bdi>").format(shown(words, limit=limit))


# -- the one number of a plan ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """The one number by which a plan is judged, with its range: everywhere the same words.

    Levels in W/m²; where a job has no source, parts of an isotropic field of 1.
    """

    value: float
    low: float | None
    high: float | None
    is_level: bool

    def said(self, value: float, *, unit: bool = True) -> str:
        """One of its values in words."""
        return level(value, unit=unit) if self.is_level else percent(value)

    @property
    def words(self) -> str:
        """The number itself."""
        return self.said(self.value)

    @property
    def range_words(self) -> str:
        """Its 10–90 % range; nothing where none was worked out."""
        if self.low is None or self.high is None:
            return ""
        return f"{self.said(self.low, unit=False)} to {self.said(self.high, unit=False)}"


def amount(result: ReceiverResult) -> Amount:
    """The one number of a plan at a receiver."""
    found = result.headline
    return Amount(
        value=found.level_w_m2,
        low=found.low_w_m2,
        high=found.high_w_m2,
        is_level=bool(result.sources),
    )


def change(*, before: PlanResult, after: PlanResult, receiver: str) -> Difference:
    """How far a plan brings the level at a receiver below today's, with its range."""
    if before.draws is not None and after.draws is not None and before.draws.by_source:
        return difference(before.draws, after.draws, receiver)
    found = next(each for each in after.receivers if each.id == receiver).headline
    below_db = found.below_as_built_db
    return Difference(below_db=below_db, low_db=below_db, high_db=below_db, odds=1.0)


def is_told(found: Difference) -> bool:
    """Whether a change is outside its own doubt, and large enough to be worth a word."""
    return found.can_be_told and abs(found.below_db) >= WORSE_DB


def change_words(found: Difference) -> str:
    """A change in the shortest words that need no decibels."""
    return f"{compared(found.below_db)}" if is_told(found) else CAN_BE_TOLD


# -- sentences -------------------------------------------------------------------------------------


def verdict_today(result: ReceiverResult) -> Markup:
    """What reaches a receiver with nothing done."""
    found = amount(result)
    if not found.is_level:
        return Markup(
            "Today, <b>{}</b> of an even field from all open directions reach {}."
        ).format(found.words, name(result.name))
    share = percent(result.headline.level_w_m2 / result.outside_w_m2)
    return Markup(
        "Today, <b>{}</b> reach {}: {} of what would arrive with no house at all."
    ).format(found.words, name(result.name), share)


def verdict(*, title: str, result: ReceiverResult, found: Difference) -> Markup:
    """What reaches a receiver under a plan, and how that compares with today."""
    begin = Markup("With <i>{}</i>, <b>{}</b> reach {}").format(
        name(title), amount(result).words, name(result.name)
    )
    if not is_told(found):
        return Markup("{}: <b>{}</b>.").format(begin, CAN_BE_TOLD)
    if found.below_db < 0.0:
        return Markup(
            "{}: <strong class='worse'>worse than today</strong>, {}. "
            "Treated faces throw back what the untreated ones let in."
        ).format(begin, compared(found.below_db))
    if math.isinf(found.below_db):
        return Markup("{}: <b>nothing is left</b>.").format(begin)
    return Markup("{}: <b>{}</b> than today.").format(begin, compared(found.below_db))


def uncertainty(result: ReceiverResult, found: Difference | None) -> str:
    """The ranges of the number and of its change in a sentence."""
    one = amount(result)
    if one.low is None or one.high is None:
        return ""
    low = one.said(one.low, unit=False)
    said = f"Eight times in ten the truth lies between {low} and {one.said(one.high)}"
    if one.is_level and one.high > result.outside_w_m2:
        said += ", which at worst is more than with no house at all"
    if found is None or not is_told(found) or found.low_db == found.high_db:
        return f"{said}."
    ends = sorted((found.low_db, found.high_db), key=abs)
    return f"{said}, and the change between {compared(ends[0])} and {compared(ends[1])}."


def main_source(scene: Scene, result: ReceiverResult) -> Markup | str:
    """Which source brings most, and through which face."""
    total_w_m2 = result.level_w_m2
    if total_w_m2 <= 0.0 or not result.sources:
        return ""
    most = max(result.sources, key=lambda source: source.level_w_m2)
    part = most.level_w_m2 / total_w_m2
    begin = "All" if part >= 0.995 else "Most" if part > 0.5 else "The largest part"
    sentence = Markup("{} of that ({}) comes from {}").format(
        begin, percent(part), name(source_name(scene, most.id))
    )
    if (entry := most.main_entry) is not None:
        panel = scene.panels[scene.panel_index[entry.panel]]
        return Markup("{}, mostly through the {}.").format(
            sentence, client_title(panel, result.space)
        )
    return Markup("{}, through several faces.").format(sentence) if most.entries else sentence + "."


def next_face(scene: Scene, result: ReceiverResult) -> str:
    """Which face it is best to treat next, if any."""
    first = result.panels[0] if result.panels else None
    if first is None or not first.share > 0.0:
        return ""
    below_db = first.below_if_treated_db
    if below_db is None or below_db < WORSE_DB:
        return "Treating one more face alone would bring little or nothing."
    title = client_title(scene.panels[scene.panel_index[first.panel]], result.space)
    how = trial_names(first.treated_with)
    return (
        f"The face that matters most now is the {title}: {percent(first.share)} comes in there. "
        f"With it treated too ({how}), there would be {compared(below_db)}."
    )


def added(plan: ScenePlan, *, feet: bool) -> Markup | str:
    """What a plan adds, in m² or square feet."""
    used = [
        Markup("{} {}").format(name(treatment, limit=24), area(covered_m2, feet=feet))
        for treatment, covered_m2 in plan.treated_area_m2.items()
        if covered_m2 > 0.0
    ]
    return Markup("The plan adds {}.").format(Markup(", ").join(used)) if used else ""


def besides(done: Sequence[str]) -> str:
    """What a plan counts on that is no treatment."""
    return f"The plan counts on this besides: {'; '.join(done)}." if done else ""


def source_warnings(scene: Scene, result: ReceiverResult) -> list[Markup]:
    """Sources for which a plan makes things worse than they are today."""
    return [
        Markup("{} reaches {} more than today: {}.").format(
            name(source_name(scene, source.id)),
            name(result.name),
            compared(source.below_as_built_db),
        )
        for source in result.sources
        if source.below_as_built_db <= -WORSE_DB
    ]


# -- faces and sources -----------------------------------------------------------------------------


def source_name(scene: Scene, source: str) -> str:
    """What people call a source."""
    return next((each.name for each in scene.sources if each.id == source), source)


def client_title(panel: ScenePanel, home: str) -> str:
    """A face's name in words that need no trade."""
    if panel.kind != "reveal" or panel.opening is None:
        return face_title(panel, home=home, room=panel.room)
    side = _SIDES.get(panel.id.rpartition("/")[2], "side of the recess")
    return f"{side} of {shown(panel.title or panel.opening.removeprefix(f'{panel.space}/'))}"


def if_treated(leak: PanelLeak) -> str:
    """What treating a face does to the level."""
    below_db = leak.below_if_treated_db
    if below_db is None:
        return ""
    if leak.treated_with == leak.treatments:
        return "treated"
    if abs(below_db) < SAME_DB:
        return "no change"
    return compared(below_db)


def source_change(source: SourceResult) -> str:
    """How a source's level compares with today."""
    below_db = source.below_as_built_db
    return "the same" if abs(below_db) < WORSE_DB else compared(below_db)


def source_outside(source: SourceResult) -> str:
    """What of a source would arrive with no house; one that is off under a plan sends nothing."""
    return level(source.outside_w_m2) if source.outside_w_m2 > 0.0 else "sends nothing"


def source_range(source: SourceResult) -> str:
    """The 10–90 % range of a source's level; none of one that sends nothing."""
    if source.low_w_m2 is None or source.high_w_m2 is None or source.outside_w_m2 == 0.0:
        return ""
    return f"{level(source.low_w_m2, unit=False)} to {level(source.high_w_m2)}"


def material(used: str) -> str:
    """What was used outside the range of its source, without figures that are the planner's.

    Examples
    --------
    >>> material("plasterboard (at 806 MHz)"), material("slots 9.53 mm wide (at 2.442 GHz)")
    ('plasterboard', 'narrow slots')
    """
    named = shown(used.partition(" (")[0])
    return "narrow slots" if named.startswith("slots ") else named


def signed(value: float) -> str:
    """A number with a proper minus."""
    return f"{value:g}".replace("-", "−")


def ticks(*, low: float, high: float, count: int = 5) -> list[str]:
    """Numbers below a scale of colours."""
    return [signed(low + (high - low) * k / (count - 1)) for k in range(count)]


def rounded_up(value: float) -> float:
    """A round number that is no less, so that bars fill most of their width."""
    if value <= 0.0:
        return 1.0
    decade = 10.0 ** math.floor(math.log10(value))
    return next(step * decade for step in _ROUND if step * decade >= value)
