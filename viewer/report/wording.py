"""How people read what steps and lists speak of, in the measure of a job."""

from __future__ import annotations

from envelope.building.job import Job
from envelope.text import length, trade
from envelope.text.measures import agreed_measures
from envelope.works.bonding import Bridge
from envelope.works.workorder import Words


def words_of(job: Job) -> Words:
    """Faces, quantities and packages as a job's people read them."""
    return Words(
        called=lambda panel: trade.face_name(job, panel),
        besides=lambda plan: agreed_measures(job, plan),
        treatment=lambda treatment: trade.treatment_title(job, treatment),
        amount=lambda quantity, unit: trade.amount(quantity, unit, feet=job.feet),
        packages=lambda product, bought: trade.packages(product, bought, feet=job.feet),
        resistance=trade.resistance,
        ring=lambda low_m, high_m: trade.ring_width(low_m, high_m, feet=job.feet),
    )


def bridge_words(job: Job, bridge: Bridge) -> str:
    """From which face to which a bridge leads, and how far."""
    start, stop = (trade.face_name(job, panel) for panel in (bridge.panel, bridge.to_panel))
    apart = (
        f"{length(bridge.gap_m, feet=job.feet)} apart" if bridge.gap_m >= 0.01 else "side by side"
    )
    return f"from {start} to {stop}, {apart}"
