"""Sentences on results, worded once for the terminal, the app, pictures and pages.

The level at the receiver, direct and diffuse, is what a plan and a face are judged by. Where a job
has no source, an isotropic field of one unit from every exposed direction stands for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from envelope.building.job import AS_BUILT
from envelope.exposure.differences import Difference
from envelope.exposure.results import PanelLeak, ReceiverResult
from envelope.text.names import (
    TODAY,
    Face,
    face_title,
    panel_label,
    plan_title,
    shown,
    treatment_names,
    trial_names,
)
from envelope.text.numbers import (
    SPACE,
    compared,
    decibels,
    difference_decibels,
    frequency,
    level,
    percent,
)

WORSE_DB = 0.5  # from which a plan is said to make a level worse
SAME_DB = 0.05  # what is nearer reads as no change
NEXT_TO_NOTHING_DB = 0.2  # a range that lies within it reads as no change


def apart(below_db: float, what: str) -> str:
    """How far one level lies from another, in decibels and as a factor.

    Examples
    --------
    >>> apart(3.4, "outside"), apart(0.0, "today")
    ('3.4\\xa0dB below outside (2.2\\xa0times less)', 'the same as today')
    """
    words = compared(below_db)
    if words == "the same":
        return f"the same as {what}"
    if math.isinf(below_db):
        return f"nothing of what is {what}"
    side = "below" if below_db > 0.0 else "above"
    return f"{difference_decibels(below_db)} {side} {what} ({words})"


def short_apart(below_db: float, what: str) -> str:
    """The same without the factor, for captions and lists."""
    return apart(below_db, what).partition(" (")[0]


def leak_label(
    panel: Face,
    leak: PanelLeak,
    *,
    home: str | None,
    stands: str,
    room: str = "",
    behind: Sequence[str] = (),
) -> str:
    """The label of a panel by what it brings; a strip that stays open can wear nothing.

    Parameters
    ----------
    panel : Face
    leak : PanelLeak
    home : str, optional
        Id of the room that is looked at.
    stands : str
        How its leaf stands, such as "tilted".
    room : str
        What the client calls the panel's room.
    behind : sequence of str
        What lies behind it: "outdoors", "earth", "unmodelled" or ids of spaces.
    """
    title = face_title(panel, home=home, room=room)
    if "unmodelled" in behind:
        where = {"floor": "below", "ceiling": "above"}.get(panel.kind, "behind")
        stands = ", ".join(filter(None, (stands, f"room {where} not in the job")))
    if panel.kind == "seam" and not leak.treatments:
        return f"{title}: {percent(leak.share)}"
    return panel_label(title=title, treatments=leak.treatments, share=leak.share, stands=stands)


def headline(*, plan: str, title: str = "", result: ReceiverResult | None) -> tuple[str, ...]:
    """A plan in parts of one line: what people call it, its level, how that compares with today.

    Parameters
    ----------
    plan : str
        Its id.
    title : str
        What the client calls it, if anything.
    result : ReceiverResult, optional
        At the receiver that is looked at.
    """
    named = plan_title(plan, title)
    if result is None or not result.bands:
        return (named,)
    return named, *headline_parts(result, is_today=plan == AS_BUILT)


def headline_parts(result: ReceiverResult, *, is_today: bool) -> tuple[str, ...]:
    """The level that a plan is judged by, in parts of one line.

    With sources their level, against outside and against today; without, the isotropic field.
    """
    found = result.headline
    drawn = result.against_as_built
    change = apart(found.below_as_built_db, TODAY)
    if drawn is not None and not drawn.can_be_told:
        change = f"no difference from {TODAY} that can be told"
    elif found.below_as_built_db <= -WORSE_DB:
        change = f"worse than {TODAY}: {change}"
    against = () if is_today else (change,)
    if result.sources:
        within = ""
        if found.low_w_m2 is not None and found.high_w_m2 is not None:
            low, high = (level(end, unit=False) for end in (found.low_w_m2, found.high_w_m2))
            within = f" ({low} to {high})"
        return (
            f"{level(found.level_w_m2)}{within} at {shown(result.name, limit=24)}",
            short_apart(found.reduction_db, "outside"),
            *against,
        )
    at = frequency(result.reference.frequency_hz)
    return (
        f"at {shown(result.name, limit=24)} {short_apart(found.reduction_db, 'outside')} "
        f"(isotropic field, {at})",
        *against,
    )


def brings(leak: PanelLeak, result: ReceiverResult) -> str:
    """What of the level comes in by a face.

    Followed through the coupled rooms, direct and diffuse.
    """
    of = "an isotropic field" if result.isotropic_ranks else "the level"
    return f"{percent(leak.share)} of {of} at {shown(result.name)} comes in here"


def leak_sentences(
    leak: PanelLeak, result: ReceiverResult, *, threshold_db: float
) -> tuple[str, ...]:
    """What a face brings to a receiver, what treating it does, and its loss."""
    said = [f"{brings(leak, result)}.", trial_sentence(leak, result)]
    if math.isinf(leak.loss_db):
        said.append("Lets nothing through.")
    else:
        passes = percent(10.0 ** (-leak.loss_db / 10.0))
        gap = f", so it is a gap (below {threshold_db:g} dB)" if leak.is_gap else ""
        said.append(
            f"Lets through {passes} of what meets it at "
            f"{frequency(result.reference.frequency_hz)}: a loss of {decibels(leak.loss_db)}{gap}."
        )
    return tuple(each for each in said if each)


def no_leak_sentence(receiver: str) -> str:
    """Said of every face through which nothing from outside comes."""
    return f"Nothing from outside comes to {shown(receiver)} through it."


def trial(leak: PanelLeak) -> str:
    """What treating a face does to the level, shortly; nothing where it was not tried.

    Such as "floor-fabric: 8.1 dB less", "coating: 1.9 dB MORE", "film: no change".
    """
    change = leak.below_if_treated_db
    if change is None:
        return ""
    if leak.treated_with == leak.treatments:
        return "treated"
    return f"{trial_names(leak.treated_with)}: {change_words(change)}"


def change_words(below_db: float) -> str:
    """A change of a level in decibels, in a word that needs no sign.

    Examples
    --------
    >>> change_words(8.06), change_words(-1.9), change_words(0.01), change_words(math.inf)
    ('8.1\\xa0dB less', '1.9\\xa0dB MORE', 'no change', 'nothing left')
    """
    if math.isinf(below_db):
        return "nothing left"
    if abs(below_db) < SAME_DB:
        return "no change"
    return f"{difference_decibels(below_db)} {'less' if below_db > 0.0 else 'MORE'}"


def range_words(found: Difference) -> str:
    """The 10–90 % range of a difference, as `change_words` counts it.

    Examples
    --------
    >>> range_words(Difference(below_db=2.0, low_db=0.31, high_db=4.0, odds=0.95))
    '0.3 to 4.0'
    >>> range_words(Difference(below_db=-2.0, low_db=-4.0, high_db=-0.31, odds=0.05))
    '0.3 to 4.0'
    >>> range_words(Difference(below_db=2.0, low_db=-1.0, high_db=4.0, odds=0.8))
    '1.0 more to 4.0 less'
    >>> range_words(Difference(below_db=299.0, low_db=9.0, high_db=303.6, odds=1.0))
    '9.0 to more than 100'
    """
    low, high = (
        difference_decibels(end).removesuffix(f"{SPACE}dB") for end in (found.low_db, found.high_db)
    )
    if found.low_db < 0.0 < found.high_db:
        return f"{low} more to {high} less"
    return f"{low} to {high}" if found.low_db >= 0.0 else f"{high} to {low}"


def difference_words(found: Difference) -> str:
    """A difference in decibels with its range; none where the range holds both signs.

    Examples
    --------
    >>> difference_words(Difference(below_db=2.0, low_db=1.0, high_db=4.0, odds=1.0))
    '2.0\\xa0dB less (1.0 to 4.0)'
    >>> difference_words(Difference(below_db=2.0, low_db=-1.0, high_db=4.0, odds=0.8))
    'cannot be told (1.0 more to 4.0 less)'
    >>> difference_words(Difference(below_db=0.0, low_db=-0.1, high_db=0.03, odds=0.5))
    'no change'
    """
    if max(abs(found.low_db), abs(found.high_db)) < NEXT_TO_NOTHING_DB:
        return "no change"
    words = change_words(found.below_db) if found.can_be_told else "cannot be told"
    return f"{words} ({range_words(found)})"


def odds_words(found: Difference) -> str:
    """How likely the second of two levels is the lower one.

    Examples
    --------
    >>> odds_words(Difference(below_db=2.0, low_db=-1.0, high_db=4.0, odds=0.834))
    'lower in 83 of 100'
    >>> odds_words(Difference(below_db=9.0, low_db=7.0, high_db=12.0, odds=0.9999))
    'lower in 99 of 100 or more'
    """
    percent_lower = round(100.0 * found.odds)
    if percent_lower > 99:
        return "lower in 99 of 100 or more"
    if percent_lower < 1:
        return "lower in 1 of 100 or less"
    return f"lower in {percent_lower} of 100"


def trial_sentence(leak: PanelLeak, result: ReceiverResult) -> str:
    """What treating a face does, as a sentence; nothing where it was not tried."""
    change, after = leak.below_if_treated_db, leak.level_if_treated_w_m2
    if change is None or after is None:
        return ""
    if leak.treated_with == leak.treatments:
        return f"It has what the job offers for it: {treatment_names(leak.treatments)}."
    with_it = trial_names(leak.treated_with)
    begin = f"Treated with {with_it}" if with_it != "sealed tight" else "Sealed tight"
    if abs(change) < SAME_DB:
        return f"{begin}, it changes nothing."
    if change < 0.0:
        return (
            f"{begin}, it makes the level worse: {apart(change, 'now')}, since the room then "
            "keeps more of what gets in elsewhere."
        )
    if math.isinf(change):
        return f"{begin}, nothing is left."
    rest = level(after)
    if result.isotropic_ranks:
        rest = f"{percent(after)} of an isotropic field"
    return f"{begin}, {rest} is left: {apart(change, 'now')}."
