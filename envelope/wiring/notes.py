"""What a job's wiring leaves open, before anything is solved."""

from __future__ import annotations

from collections.abc import Iterator

from envelope.building.islands import bonds_of, islands_of
from envelope.building.job import Job
from envelope.building.wiring import Wiring
from envelope.wiring.choices import unknowns
from envelope.wiring.routing import distinct_routes
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
    made = {
        bond.id
        for plan in job.plans
        for bonds in bonds_of(job, plan, islands_of(job, plan))
        for bond in bonds
    }
    for bond in wiring.bonds:
        if bond.id not in made:
            panel = job.building.panel(bond.panel).id
            yield f"bond {bond.id} on {panel} lies on no conductive coating of any plan."


def _open(job: Job, wiring: Wiring) -> Iterator[str]:
    rooms = dict.fromkeys(receiver.space for receiver in job.receivers)
    panels = [panel for room in rooms for panel in job.building.space(room).panels]
    walls = "unknown" in conduction_of(job, panels, wiring).values()
    routes = {
        circuit.id for circuit in wiring.circuits if len(distinct_routes(job, wiring, circuit)) > 1
    }
    found = unknowns(wiring, walls=walls, routes=routes) if wiring.circuits else []
    if found:
        yield (
            f"not known of the wiring: {', '.join(found)}. `gapcast wiring` computes each of these "
            "every way and shows the range; a potential-free meter, circuit by circuit, settles it."
        )
