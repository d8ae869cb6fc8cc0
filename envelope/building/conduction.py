"""Which treatments conduct at 50/60 Hz."""

from __future__ import annotations

from envelope.building.job import Job, Treatment
from envelope.physics.tables.conduction import METALS

# Up to here a sheet holds the field back like metal; the field is the same to 4 digits at 1e3.
_CONDUCTOR_OHM_SQ = 1e5


def is_conductive(treatment: Treatment) -> bool:
    """Whether a treatment acts as a conductor at 50/60 Hz.

    What is bought by its decibels (a table, a honeycomb, a fixed loss) counts as one: if it is
    not, it needs no bond, and no harm is done by asking.
    """
    if treatment.kind == "sheet":
        resistance = treatment.sheet_resistance_ohm_sq or 0.0
        return resistance / treatment.coats <= _CONDUCTOR_OHM_SQ
    if treatment.kind == "layers":
        return any(
            layer.material in METALS
            or (
                layer.sheet_resistance_ohm_sq is not None
                and layer.sheet_resistance_ohm_sq <= _CONDUCTOR_OHM_SQ
            )
            for layer in treatment.layers
        )
    return True


def conductive_treatments(job: Job) -> frozenset[str]:
    """Ids of the job's treatments that conduct."""
    return frozenset(name for name, made in job.treatments.items() if is_conductive(made))
