"""Sentences on one face, for the tip and the card of a page."""

from __future__ import annotations

import math

from envelope.exposure.results import PanelLeak
from viewer.scene.records import PanelState
from viewer.scene.wording import decibels, percent, shown


def leak_sentences(leak: PanelLeak, *, receiver: str, threshold_db: float) -> tuple[str, ...]:
    """What a face lets in at a receiver."""
    first = (
        f"Lets in {percent(leak.share)} of what comes straight to {shown(receiver)}, "
        "all directions alike."
    )
    if math.isinf(leak.loss_db):
        return first, "Lets nothing through."
    passes = percent(10.0 ** (-leak.loss_db / 10.0))
    gap = f", so it is a gap (below {threshold_db:g} dB)" if leak.is_gap else ""
    return (
        first,
        f"Lets through {passes} of what meets it: a loss of {decibels(leak.loss_db)}{gap}.",
    )


def no_leak_sentence(receiver: str) -> str:
    """Said of every face through which nothing from outside comes."""
    return f"Nothing from outside comes to {shown(receiver)} through it."


def worn_sentence(state: PanelState) -> str:
    """What a face carries under a plan."""
    worn = " and ".join(shown(treatment) for treatment in state.treatments)
    return f"Treated with {worn}." if worn else "Untreated."
