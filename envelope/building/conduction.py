"""Which treatments conduct at 50/60 Hz, and which plans leave one without a bond."""

from __future__ import annotations

from envelope.building.job import Job, Treatment
from envelope.building.wiring import WiringPlan
from envelope.physics.tables.conduction import METALS

# Up to here a sheet holds the field back like metal; the field is the same to 4 digits at 1e3.
_CONDUCTOR_OHM_SQ = 1e5
_SURFACES = ("wall", "floor", "ceiling")


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


def unbonded_plans(job: Job) -> dict[str, tuple[str, ...]]:
    """Plans that coat walls, floors or ceilings with a conductor and have no bond on any of them.

    Each with the treatments that it leaves so.
    """
    conductive = conductive_treatments(job)
    found = {}
    for plan in job.plans:
        said = WiringPlan() if job.wiring is None else job.wiring.plan(plan.id)
        bonds = () if job.wiring is None else job.wiring.bonds
        bonded = {
            job.building.panel(bond.panel).id
            for bond in bonds
            if said.bonds is None or bond.id in said.bonds
        }
        coated = {
            panel: [name for name in names if name in conductive]
            for panel, names in plan.treatments.items()
            if job.building.panel(panel).kind in _SURFACES
        }
        names = [name for used in coated.values() for name in used]
        if names and not bonded & {panel for panel, used in coated.items() if used}:
            found[plan.id] = tuple(dict.fromkeys(names))
    return found
