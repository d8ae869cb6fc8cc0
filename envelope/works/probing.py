"""Resistance between any two places on a coating, as a meter between two probes shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from envelope.building.islands import (
    Island,
    direct_current_sheet_resistance_ohm_sq,
    islands_of,
)
from envelope.building.job import Job, Plan
from envelope.errors import RangeError
from envelope.geometry.plane import Floats
from envelope.physics.sheet_conduction import resistances
from envelope.works.bonding import MESH_M, flat_pieces, sheet_of
from envelope.works.surface_mesh import Disc


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """Where a probe is held."""

    name: str  # as it was asked for
    panel: str  # id
    position_m: Floats  # (3,) on the face


def resistances_between(
    job: Job, plan: Plan, places: Sequence[Place], *, size_m: float = MESH_M
) -> Floats:
    """Resistance between every two places.

    Parameters
    ----------
    job : Job
    plan : Plan
    places : (n,) Place
        Each on something that conducts under the plan.
    size_m : float
        Of the triangles that current is solved on. [m]

    Returns
    -------
    resistance : (n, n) float
        0 on the diagonal, infinite between conductors that do not touch. [Ω]

    Raises
    ------
    RangeError
        Where a place is on no coating, too near its edge or another place, or on one whose
        resistance is not known.
    """
    islands = islands_of(job, plan)
    where = [_on(job, plan, islands, place) for place in places]
    found = np.where(np.eye(len(places), dtype=bool), 0.0, np.inf)
    for number, island in enumerate(islands):
        own = [index for index, (at, _) in enumerate(where) if at == number]
        if not own:
            continue
        for name in island.treatments:
            if direct_current_sheet_resistance_ohm_sq(job.treatments[name]) is None:
                raise RangeError(
                    f"the resistance of {name!r} to direct current is not known: state its "
                    "sheet-resistance"
                )
        discs = [_disc(job, places[index], where[index][1]) for index in own]
        _apart(places, own, discs)
        sheet = sheet_of(flat_pieces(job, island), discs, size_m)
        found[np.ix_(own, own)] = resistances(sheet)
    return found


def _on(job: Job, plan: Plan, islands: Sequence[Island], place: Place) -> tuple[int, int]:
    """The island that a place is on, and the coated face of it."""
    panel = job.building.panel(place.panel)
    spot = shapely.Point(panel.frame.flatten(place.position_m[np.newaxis])[0])
    for number, island in enumerate(islands):
        for index, each in enumerate(island.coated):
            if each.panel.id == panel.id and each.area.covers(spot):
                return number, index
    raise RangeError(f"{place.name}: nothing that conducts is there under plan {plan.id!r}")


def _disc(job: Job, place: Place, piece: int) -> Disc:
    panel = job.building.panel(place.panel)
    centre = panel.frame.flatten(place.position_m[np.newaxis])[0]
    return Disc(piece=piece, centre=centre, radius_m=job.defaults.value("probe"))


def _apart(places: Sequence[Place], own: Sequence[int], discs: Sequence[Disc]) -> None:
    for later, index in enumerate(own):
        for earlier in range(later):
            one, other = places[own[earlier]], places[index]
            away = float(np.linalg.norm(one.position_m - other.position_m))
            if away <= 2.2 * discs[later].radius_m:
                raise RangeError(f"{one.name} and {other.name}: two probes at one place")
