"""Which walls, floors and ceilings act as conductors, and which treatments do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from envelope.building.job import Assembly, Job, Layer, Treatment
from envelope.building.model import Panel
from envelope.building.wiring import Conducts, Wiring
from envelope.physics.tables.conduction import (
    MASONRY,
    MASONRY_LEAST_M,
    METALS,
    TIMBER,
    TIMBER_LEAST_M,
)

_CAVITY_M = 0.04
_SKIN_M = 0.02  # masonry on the inner face that is thinner than this is plaster or a tile
# Up to here a sheet holds the field back like metal; the field is the same to 4 digits at 1e3.
_CONDUCTOR_OHM_SQ = 1e5
_SURFACES = ("wall", "floor", "ceiling", "reveal")


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


def usual_conduction(assembly: Assembly, *, other_side: bool = False) -> Conducts:
    """What an assembly of which nothing is said does at 50/60 Hz, seen from one side.

    Only what lies before its first cavity counts: a leaf of brick beyond a stud space does not
    shield the cables in it.
    """
    if assembly.parts or not assembly.layers:
        return "unknown"
    layers = assembly.layers[::-1] if other_side else assembly.layers
    leaf = _first_leaf(layers)
    if any(layer.material in METALS for layer in leaf):
        return "unknown"
    masonry = _thickness(leaf, MASONRY)
    if masonry >= MASONRY_LEAST_M:
        return "earthed"
    if masonry >= _SKIN_M and _thickness(layers, MASONRY) >= MASONRY_LEAST_M:
        return "unknown"  # hollow blocks
    return "unknown" if _thickness(leaf, TIMBER) >= TIMBER_LEAST_M else "no"


def _first_leaf(layers: Iterable[Layer]) -> list[Layer]:
    leaf: list[Layer] = []
    for layer in layers:
        if layer.material in ("air", "vacuum") and layer.thickness_m >= _CAVITY_M:
            break
        leaf.append(layer)
    return leaf


def _thickness(layers: Iterable[Layer], materials: frozenset[str]) -> float:
    names = {"timber": "wood", "softwood": "wood"}
    return sum(
        layer.thickness_m
        for layer in layers
        if names.get(layer.material or "", layer.material) in materials
    )


def panel_conduction(job: Job, panel: Panel, wiring: Wiring) -> Conducts:
    """What a panel does: as its assemblies say, unknown where its patches disagree."""
    if panel.kind not in _SURFACES:
        return "no"
    name = panel.host if panel.kind == "reveal" and panel.host is not None else panel.id
    said: set[Conducts] = set()
    for patch in job.building.patches_of[name]:
        element = job.building.elements[patch.element]
        assembly = None if element.assembly is None else job.assemblies.get(element.assembly)
        if assembly is None:
            continue
        stated = wiring.conducts.get(assembly.id)
        other = element.second == name and element.first != name
        said.add(usual_conduction(assembly, other_side=other) if stated is None else stated)
    if not said:
        return "no"
    return said.pop() if len(said) == 1 else "unknown"


def conduction_of(job: Job, panels: Iterable[Panel], wiring: Wiring) -> Mapping[str, Conducts]:
    """What each of some panels does."""
    return {panel.id: panel_conduction(job, panel, wiring) for panel in panels}


def is_masonry(job: Job, panel: Panel, wiring: Wiring) -> bool:
    """Whether cables in a face lie in plaster or a chase rather than between studs."""
    return panel_conduction(job, panel, wiring) in ("earthed", "isolated")
