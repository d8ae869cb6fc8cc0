"""What a job's wiring leaves open, before anything is solved."""

from __future__ import annotations

from collections.abc import Iterator

from envelope.building.islands import coated_faces
from envelope.building.job import Job
from envelope.building.wiring import Wiring
from envelope.wiring.choices import unknowns
from envelope.wiring.walls import conduction_of


def wiring_counts(wiring: Wiring) -> dict[str, int]:
    """How many there are of each thing that was entered, by the word for several."""
    return {
        "circuits": len(wiring.circuits),
        "outlets": len(wiring.outlets),
        "cables": len(wiring.cables),
        "devices": len(wiring.devices),
        "bonds": len(wiring.bonds),
        "field readings": len(wiring.readings),
    }


def wiring_notes(job: Job) -> tuple[str, ...]:
    """Sentences on circuits without a run, bonds on nothing, and what is not known."""
    if job.wiring is None:
        return ()
    return (*_without_run(job.wiring), *_bonds_on_nothing(job, job.wiring), *_open(job, job.wiring))


def _without_run(wiring: Wiring) -> Iterator[str]:
    outlets = [outlet.circuit for outlet in wiring.outlets]
    laid = {cable.circuit for cable in wiring.cables}
    for circuit in wiring.circuits:
        if circuit.id not in laid and outlets.count(circuit.id) < 2:
            yield (
                f"circuit {circuit.id} has no run, so nothing of it but what is plugged in counts: "
                "give it two [[outlet]]s or a [[cable]]."
            )


def _bonds_on_nothing(job: Job, wiring: Wiring) -> Iterator[str]:
    coated = {each.panel.id for plan in job.plans for each in coated_faces(job, plan)}
    for bond in wiring.bonds:
        panel = job.building.panel(bond.panel).id
        if panel not in coated:
            yield f"bond {bond.id} lies on {panel}, which no plan coats with anything conductive."


def _open(job: Job, wiring: Wiring) -> Iterator[str]:
    rooms = dict.fromkeys(receiver.space for receiver in job.receivers)
    panels = [panel for room in rooms for panel in job.building.space(room).panels]
    walls = "unknown" in conduction_of(job, panels, wiring).values()
    found = unknowns(wiring, walls=walls) if wiring.circuits else []
    if found:
        yield (
            f"not known of the wiring: {', '.join(found)}. `gapcast wiring` computes each of these "
            "every way and shows the range; a potential-free meter, circuit by circuit, settles it."
        )
