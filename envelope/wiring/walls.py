"""Which walls, floors and ceilings act as conductors, and which treatments do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from envelope.building.job import Assembly, Job, Layer
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
_SURFACES = ("wall", "floor", "ceiling", "reveal")


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
