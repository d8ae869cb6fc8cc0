"""Levels and differences as a client reads them: factors before decibels, ranges beside figures."""

from __future__ import annotations

from dataclasses import replace

from envelope import text
from envelope.exposure.decibels import reduction_db
from envelope.exposure.differences import Difference, difference
from envelope.exposure.results import PlanResult, ReceiverResult
from envelope.text.names import TODAY
from envelope.text.sentences import odds_words

NOT_TOLD = f"no difference from {TODAY} that can be told"


def level_range(low_w_m2: float, high_w_m2: float) -> str:
    """The range of a level."""
    return f"{text.level(low_w_m2, unit=False)} to {text.level(high_w_m2)}"


def at_receiver(result: PlanResult, receiver: str) -> ReceiverResult:
    """What a plan comes to at one receiver."""
    return next(each for each in result.receivers if each.id == receiver)


def amount(found: ReceiverResult) -> str:
    """The one number of a plan; a part of an isotropic field where the job has no source."""
    value = found.headline.level_w_m2
    return text.level(value) if found.sources else f"{text.percent(value)} of the field outside"


def amount_range(found: ReceiverResult) -> str:
    """Its 10–90 % range; nothing where none was worked out."""
    low, high = found.headline.low_w_m2, found.headline.high_w_m2
    if low is None or high is None:
        return ""
    if found.sources:
        return level_range(low, high)
    return f"{text.percent(low)} to {text.percent(high)}"


def paired(one: PlanResult, other: PlanResult, today: PlanResult, receiver: str) -> Difference:
    """By how much another plan lies below one, from draws that both share.

    Parameters
    ----------
    one, other : PlanResult
    today : PlanResult
        Without treatment.
    receiver : str
        Where the levels are compared.

    Notes
    -----
    Where nothing was surveyed there are no draws: an isotropic field is compared without a range.
    """
    if one.draws is None or other.draws is None:
        levels = [at_receiver(each, receiver).headline.level_w_m2 for each in (one, other)]
        below_db = reduction_db(*levels)
        odds = 1.0 if below_db > 0.0 else 0.0
        return Difference(below_db=below_db, low_db=below_db, high_db=below_db, odds=odds)
    return difference(one.draws, other.draws, receiver, as_built=today.draws)


def change(found: Difference) -> str:
    """A change against today in words that need no decibels first."""
    if not found.can_be_told:
        return NOT_TOLD
    factor = text.times(10.0 ** (abs(found.below_db) / 10.0))
    low, high = sorted((abs(found.low_db), abs(found.high_db)))
    span = ""
    if high > low:
        least = text.times(10.0 ** (low / 10.0)).removesuffix("times").strip()
        span = f" ({least} to {text.times(10.0 ** (high / 10.0))})"
    if found.below_db < 0.0:
        return f"{factor} as much as {TODAY}{span}: this makes the room worse"
    return f"{factor} less than {TODAY}{span}"


def between(one: str, other: str, found: Difference) -> str:
    """Two plans beside one another, in a sentence.

    Parameters
    ----------
    one, other : str
        What they are called.
    found : Difference
        By how much the other lies below the one.
    """
    if not found.can_be_told:
        return f"Between “{one}” and “{other}” no difference can be told."
    better, worse = (other, one) if found.below_db > 0.0 else (one, other)
    odds = odds_words(replace(found, odds=max(found.odds, 1.0 - found.odds)))
    factor = text.times(10.0 ** (abs(found.below_db) / 10.0))
    if found.high_db == found.low_db:
        return f"“{better}” leaves {factor} less than “{worse}”."
    return f"“{better}” leaves {factor} less than “{worse}”: {odds}."
