"""Levels in every draw, and how far two of them differ: paired, since all plans share the draws.

What moves both alike, such as the level outside, cancels; what moves one of them does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from envelope.exposure.tolerances import TENTH
from envelope.geometry.plane import Floats

_BEYOND = 6.0  # standard deviations within which a normal curve is looked for


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelDraws:
    """Levels of one plan in every draw, the first of which is the nominal one."""

    plan: str
    by_source_w_m2: Mapping[tuple[str, str], Floats]  # (receiver id, source id) → (draws,)

    def level_w_m2(self, receiver: str, sources: Sequence[str] | None = None) -> Floats:
        """Level (draws,) at a receiver from some sources together, or from all. [W/m²]"""
        return np.asarray(
            sum(
                (
                    levels
                    for (at, source), levels in self.by_source_w_m2.items()
                    if at == receiver and (sources is None or source in sources)
                ),
                0.0,
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """By how much one level lies below another, with its 10–90 % range."""

    below_db: float  # positive where the second is lower
    low_db: float
    high_db: float
    odds: float  # how likely the second is the lower one, 0 to 1

    @property
    def can_be_told(self) -> bool:
        """Whether the whole range lies on one side of no difference."""
        return self.low_db > 0.0 or self.high_db < 0.0


def paired(before_w_m2: Floats, after_w_m2: Floats, *, own_db: float = 0.0) -> Difference:
    """By how much a level lies below another one that was drawn together with it.

    Parameters
    ----------
    before_w_m2, after_w_m2 : (draws,) float
        Levels under the same draws, the nominal one first. [W/m²]
    own_db : float
        Half-width of the 10–90 % range of what the two do not share and was not drawn: the
        model's error in one of them and not in the other. [dB]
    """
    below_db = _below_db(before_w_m2, after_w_m2)
    drawn = below_db[1:] if len(below_db) > 1 else below_db
    return Difference(
        below_db=float(below_db[0]),
        low_db=percentile_db(drawn, 0.1, half_width_db=own_db),
        high_db=percentile_db(drawn, 0.9, half_width_db=own_db),
        odds=_odds(drawn, own_db),
    )


def _below_db(before: Floats, after: Floats) -> Floats:
    """Decibels (draws,) by which the second lies below the first; 0 where both are nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = 10.0 * (np.log10(before) - np.log10(after))
    return np.where((before <= 0.0) & (after <= 0.0), 0.0, found)


def _odds(drawn_db: Floats, half_width_db: float) -> float:
    if half_width_db > 0.0:
        return float(ndtr(drawn_db * TENTH / half_width_db).mean())
    return float((drawn_db > 0.0).mean() + 0.5 * (drawn_db == 0.0).mean())


def percentile_db(drawn_db: Floats, share: float, *, half_width_db: float) -> float:
    """Percentile of draws that an error is put on, each draw as a whole normal curve.

    Drawing an error that is independent of all others would only add chance. Draws may be
    infinite, which an error does not change. [dB]

    Parameters
    ----------
    drawn_db : (draws,) float
        [dB]
    share : float
        0 to 1.
    half_width_db : float
        Half of the error's 10–90 % range. [dB]
    """
    nothing, everything = np.isneginf(drawn_db), np.isposinf(drawn_db)
    if nothing.mean() >= share:
        return -np.inf
    if everything.mean() > 1.0 - share:
        return np.inf
    sigma = half_width_db / TENTH
    finite = drawn_db[np.isfinite(drawn_db)]
    if sigma == 0.0:
        return float(np.quantile(drawn_db, share, method="inverted_cdf"))
    low, high = finite.min() - _BEYOND * sigma, finite.max() + _BEYOND * sigma
    for _ in range(48):
        middle = 0.5 * (low + high)
        if ndtr((middle - drawn_db) / sigma).mean() < share:
            low = middle
        else:
            high = middle
    return float(0.5 * (low + high))
