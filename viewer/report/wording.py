"""How people read what steps and lists speak of, in the measure of a job."""

from __future__ import annotations

from envelope.building.job import Job
from envelope.text import trade
from envelope.works.workorder import Words


def words_of(job: Job) -> Words:
    """Faces, quantities and packages as a job's people read them."""
    return Words(
        called=lambda panel: trade.face_name(job, panel),
        treatment=lambda treatment: trade.treatment_title(job, treatment),
        amount=lambda quantity, unit: trade.amount(quantity, unit, feet=job.feet),
        packages=lambda product, bought: trade.packages(product, bought, feet=job.feet),
        resistance=trade.resistance,
    )
