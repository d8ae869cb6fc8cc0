"""Islands of conductive treatment: what is one conductor under a plan and needs one bond.

Two treated panels are one conductor where they meet along an edge: through a reveal, around a
corner, over a lap. What lies on the leaf of a window or a door ends at its frame and is an island
by itself: a film or a fabric there touches nothing unless someone laps it on purpose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import pi

import numpy as np

from envelope.building.conduction import is_conductive
from envelope.building.job import Job, Plan, Treatment
from envelope.building.model import OPENING_KINDS, Panel
from envelope.geometry.plane import Floats

MIN_CONTACT_M = 0.01  # of a common edge; below it, two panels meet at a corner only
_TOUCHING_M = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """An edge along which two treated panels are one conductor."""

    first: str
    second: str
    length_m: float
    lap: bool  # two treatments meet: only a lap that someone makes connects them


@dataclass(frozen=True, slots=True, kw_only=True)
class Island:
    """Panels whose conductive treatments are one conductor."""

    name: str  # its first panel by id
    panels: tuple[str, ...]
    treatments: tuple[str, ...]
    area_m2: float
    contacts: tuple[Contact, ...]
    leaf: bool  # on the leaf of a window, a door or the like


def direct_current_sheet_resistance_ohm_sq(treatment: Treatment) -> float | None:
    """Resistance of one square to direct current, None where only its shielding is known. [Ω/sq]

    Notes
    -----
    Coats lie in parallel. Of a mesh the wires along the current count, each a resistance of pitch
    over conductivity times cross-section.
    """
    if treatment.sheet_resistance_ohm_sq is not None:
        return treatment.sheet_resistance_ohm_sq / treatment.coats
    if treatment.kind == "mesh" and treatment.conductivity_s_m:
        assert treatment.wire_diameter_m is not None
        assert treatment.pitch_m is not None
        section_m2 = pi * treatment.wire_diameter_m**2 / 4.0
        return treatment.pitch_m / (treatment.conductivity_s_m * section_m2)
    return None


def islands_of(job: Job, plan: Plan) -> tuple[Island, ...]:
    """Islands of a plan, the largest first; of two alike the one whose name comes first."""
    layer: dict[str, tuple[str, ...]] = {}
    for panel in job.building.panels:
        names = tuple(
            name
            for name in plan.treatments.get(panel.id, ())
            if is_conductive(job.treatments[name])
        )
        if names:
            layer[panel.id] = names
    panels = [panel for panel in job.building.panels if panel.id in layer]
    contacts = [
        contact
        for one, other in combinations(panels, 2)
        for contact in _contacts(one, other, layer)
    ]
    groups = _groups([panel.id for panel in panels], contacts)
    found = []
    for group in groups:
        own = [panel for panel in panels if panel.id in group]
        found.append(
            Island(
                name=min(group),
                panels=tuple(panel.id for panel in own),
                treatments=tuple(sorted({name for panel in own for name in layer[panel.id]})),
                area_m2=sum(panel.area_m2 for panel in own),
                contacts=tuple(each for each in contacts if each.first in group),
                leaf=all(panel.kind in OPENING_KINDS for panel in own),
            )
        )
    return tuple(sorted(found, key=lambda island: (-round(island.area_m2, 9), island.name)))


def _contacts(one: Panel, other: Panel, layer: dict[str, tuple[str, ...]]) -> list[Contact]:
    if one.space != other.space or one.kind in OPENING_KINDS or other.kind in OPENING_KINDS:
        return []
    length = common_edge_m(_rings(one), _rings(other))
    if length < MIN_CONTACT_M:
        return []
    first, second = sorted((one.id, other.id))
    lap = not set(layer[one.id]) & set(layer[other.id])
    return [Contact(first=first, second=second, length_m=length, lap=lap)]


def _rings(panel: Panel) -> list[Floats]:
    return [panel.outline, *panel.holes]


def _segments(rings: Sequence[Floats]) -> list[tuple[Floats, Floats]]:
    return [pair for ring in rings for pair in pairwise([*ring, ring[0]])]


def common_edge_m(first: Sequence[Floats], second: Sequence[Floats]) -> float:
    """Length along which the edges of two polygons lie on one another.

    Parameters
    ----------
    first, second : sequence of (n, 3) float
        Rings of each. [m]

    Returns
    -------
    length : float
        [m]
    """
    total = 0.0
    for start, end in _segments(first):
        along = end - start
        length = float(np.linalg.norm(along))
        if length < _TOUCHING_M:
            continue
        unit = along / length
        for low, high in _segments(second):
            offsets = np.vstack((low - start, high - start))
            places = offsets @ unit
            beside = np.linalg.norm(offsets - np.outer(places, unit), axis=1)
            if beside.max() < _TOUCHING_M:
                overlap = min(length, places.max()) - max(0.0, places.min())
                total += max(0.0, float(overlap))
    return total


def _groups(names: list[str], contacts: list[Contact]) -> list[set[str]]:
    groups = {name: {name} for name in names}
    for contact in contacts:
        one, other = groups[contact.first], groups[contact.second]
        if one is not other:
            one |= other
            for name in other:
                groups[name] = one
    unique = {id(group): group for group in groups.values()}
    return list(unique.values())
