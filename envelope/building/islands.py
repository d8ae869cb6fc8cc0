"""Islands of conductive treatment: what is one conductor under a plan and needs one bond.

Two treated faces are one conductor where they meet along an edge: through a reveal, around a
corner, over a lap; a strip along a run is a face of its own. What lies on the leaf of a window or a
door ends at its frame and is an island by itself: a film or a fabric there touches nothing unless
someone laps it on purpose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
import shapely

from envelope.building.conduction import is_conductive
from envelope.building.job import Job, Plan, Treatment
from envelope.building.model import OPENING_KINDS, Panel
from envelope.building.wiring import Bond, Wiring, WiringPlan
from envelope.geometry.plane import Floats
from envelope.geometry.polygons import Area, polygon_of

MIN_CONTACT_M = 0.01  # of a common edge; below it, two faces meet at a corner only
ON_IT_M = 0.1  # from a coating, within which a bond point lies on it
_TOUCHING_M = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coated:
    """A panel, or a strip of one, with the conductive treatments on it."""

    panel: Panel
    area: Area  # in the panel's frame
    treatments: tuple[str, ...]
    strip: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """An edge along which two treated panels are one conductor."""

    first: str
    second: str
    length_m: float
    lap: bool  # two treatments meet: only a lap that someone makes connects them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Island:
    """Faces whose conductive treatments are one conductor."""

    name: str  # its first panel by id
    panels: tuple[str, ...]
    treatments: tuple[str, ...]
    area_m2: float
    contacts: tuple[Contact, ...]
    leaf: bool  # on the leaf of a window, a door or the like
    coated: tuple[Coated, ...]


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


def coated_faces(job: Job, plan: Plan) -> list[Coated]:
    """Panels and strips that a plan covers with something that conducts, panel by panel."""
    said = _said(job, plan)
    found = []
    for panel in job.building.panels:
        names = _conductive(job, plan.treatments.get(panel.id, ()))
        if names:
            found.append(Coated(panel=panel, area=polygon_of(panel), treatments=names))
            continue
        for strip in said.strips:
            names = _conductive(job, strip.treatments)
            if names and panel.id in strip.areas:
                found += [
                    Coated(panel=panel, area=part, treatments=names, strip=True)
                    for part in shapely.get_parts(strip.areas[panel.id])
                    if part.area > 0.0
                ]
    return found


def islands_of(job: Job, plan: Plan) -> tuple[Island, ...]:
    """Islands of a plan, the largest first; of two alike the one whose name comes first."""
    coated = coated_faces(job, plan)
    touching = _touching(coated)
    found = []
    for group in _groups(len(coated), [(one, other) for one, other, _ in touching]):
        own = [coated[number] for number in sorted(group)]
        found.append(
            Island(
                name=min(each.panel.id for each in own),
                panels=tuple(dict.fromkeys(each.panel.id for each in own)),
                treatments=tuple(sorted({name for each in own for name in each.treatments})),
                area_m2=sum(float(each.area.area) for each in own),
                contacts=tuple(contact for one, _, contact in touching if one in group),
                leaf=all(each.panel.kind in OPENING_KINDS for each in own),
                coated=tuple(own),
            )
        )
    return tuple(sorted(found, key=lambda island: (-round(island.area_m2, 9), island.name)))


def groups_that_touch(coated: Sequence[Coated]) -> list[list[int]]:
    """Numbers of coated faces in groups, each of which is one conductor."""
    pairs = [(one, other) for one, other, _ in _touching(coated)]
    return [sorted(group) for group in _groups(len(coated), pairs)]


def _touching(coated: Sequence[Coated]) -> list[tuple[int, int, Contact]]:
    rings = [_rings(each) for each in coated]
    return [
        (one, other, contact)
        for one, other in _near(rings)
        if (contact := _contact(coated[one], coated[other], rings[one], rings[other])) is not None
    ]


def bonds_of(job: Job, plan: Plan, islands: Sequence[Island]) -> list[list[Bond]]:
    """The bonds of the job that a plan makes on each of its islands, in the order of their ids."""
    bonds = () if job.wiring is None else job.wiring.bonds_of(plan.id)
    in_order = sorted(bonds, key=lambda each: each.id)
    return bonds_on(job, [island.coated for island in islands], in_order)


def bonds_on(
    job: Job, groups: Sequence[Sequence[Coated]], bonds: Sequence[Bond]
) -> list[list[Bond]]:
    """The bonds on each group of coated faces.

    A bond belongs to the coating on its panel that is nearest to it, if it lies on it.

    Parameters
    ----------
    job : Job
    groups : sequence of sequence of Coated
        What is one conductor each.
    bonds : sequence of Bond
    """
    found: list[list[Bond]] = [[] for _ in groups]
    for bond in bonds:
        panel = job.building.panel(bond.panel)
        spot = shapely.Point(panel.frame.flatten(bond.position_m[np.newaxis])[0])
        near = [
            (float(each.area.distance(spot)), number)
            for number, group in enumerate(groups)
            for each in group
            if each.panel.id == panel.id
        ]
        if near and min(near)[0] <= ON_IT_M:
            found[min(near)[1]].append(bond)
    return found


def floating(job: Job, plan: Plan) -> tuple[Island, ...]:
    """Islands of a plan on which it makes no bond, but for those on leaves of windows and doors."""
    islands = islands_of(job, plan)
    return tuple(
        island
        for island, bonds in zip(islands, bonds_of(job, plan, islands), strict=True)
        if not bonds and not island.leaf
    )


def unbonded_plans(job: Job) -> dict[str, tuple[str, ...]]:
    """Plans that leave a coating without a bond, each with the treatments that it leaves so."""
    found = {}
    for plan in job.plans:
        names = [name for island in floating(job, plan) for name in island.treatments]
        if names:
            found[plan.id] = tuple(dict.fromkeys(names))
    return found


def _said(job: Job, plan: Plan) -> WiringPlan:
    return (job.wiring or Wiring()).plan(plan.id)


def _conductive(job: Job, names: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in names if is_conductive(job.treatments[name]))


def _near(rings: Sequence[Sequence[Floats]]) -> list[tuple[int, int]]:
    """Pairs of polygons whose boxes touch, in order."""
    if not rings:
        return []
    every = [np.concatenate(each) for each in rings]
    low = np.array([points.min(axis=0) for points in every])
    high = np.array([points.max(axis=0) for points in every])
    apart = low[:, np.newaxis] - high[np.newaxis]
    gap = np.maximum(apart, apart.swapaxes(0, 1)).max(axis=2)
    return [(int(a), int(b)) for a, b in np.argwhere(np.triu(gap <= _TOUCHING_M, k=1))]


def _contact(
    one: Coated, other: Coated, first: Sequence[Floats], second: Sequence[Floats]
) -> Contact | None:
    if one.panel.space != other.panel.space:
        return None
    if one.panel.kind in OPENING_KINDS or other.panel.kind in OPENING_KINDS:
        return None
    length = common_edge_m(first, second)
    if length < MIN_CONTACT_M:
        return None
    names = sorted((one.panel.id, other.panel.id))
    lap = not set(one.treatments) & set(other.treatments)
    return Contact(first=names[0], second=names[1], length_m=length, lap=lap)


def _rings(coated: Coated) -> list[Floats]:
    panel = coated.panel
    if not coated.strip:
        return [panel.outline, *panel.holes]
    rings = (coated.area.exterior, *coated.area.interiors)
    return [panel.frame.lift(np.asarray(ring.coords)[:-1]) for ring in rings]


def _segments(rings: Sequence[Floats]) -> Floats:
    """Edges (e, 2, 3) of rings (n, 3)."""
    return np.concatenate([np.stack((ring, np.roll(ring, -1, axis=0)), axis=1) for ring in rings])


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
    one, other = _segments(first), _segments(second)
    along = one[:, 1] - one[:, 0]
    length = np.linalg.norm(along, axis=1)
    one, along, length = (each[length >= _TOUCHING_M] for each in (one, along, length))
    unit = along / length[:, np.newaxis]
    offsets = other[np.newaxis] - one[:, np.newaxis, np.newaxis, 0]  # (a, b, 2, 3)
    places = np.einsum("abkx,ax->abk", offsets, unit)
    beside = np.linalg.norm(
        offsets - places[..., np.newaxis] * unit[:, np.newaxis, np.newaxis], axis=-1
    ).max(axis=-1)
    shared = np.minimum(length[:, np.newaxis], places.max(axis=-1)) - np.maximum(
        0.0, places.min(axis=-1)
    )
    return float(np.maximum(shared, 0.0)[beside < _TOUCHING_M].sum())


def _groups(count: int, touching: Sequence[tuple[int, int]]) -> list[set[int]]:
    groups = {number: {number} for number in range(count)}
    for first, second in touching:
        one, other = groups[first], groups[second]
        if one is not other:
            one |= other
            for number in other:
                groups[number] = one
    unique = {id(group): group for group in groups.values()}
    return list(unique.values())
