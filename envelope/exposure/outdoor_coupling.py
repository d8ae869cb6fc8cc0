"""Out of one room's window and in through another's: a bound of what goes round the outside.

    room a ─ window ─→ outdoors ─→ window ─ room b        inner corner: they see each other
                 along the façade, or past a corner        they do not: diffraction alone

Beams are followed through the outdoors; the diffuse field that leaves a room is not. It is
little: 30 dB below the field of the room that it leaves where two bare windows face each other
across an inner corner. It counts where all that lies between the rooms is closed and the source
stands indoors. So it is kept out of the level and put on the upper end of its range.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from envelope.building.model import Building, Patch
from envelope.exposure.diffuse import Faces, absorption_m2, balance_matrix, hemisphere_means
from envelope.exposure.results import PlanResult
from envelope.exposure.transmission import Bench, Tables
from envelope.geometry.plane import Floats

__all__ = [
    "Exchange",
    "exchange_factors",
    "outdoor_coupling_m2",
    "outdoor_gain",
    "outdoor_notes",
]

Ints = NDArray[np.int64]

# Seen along the wall a Lambertian opening is dark, a wave is not: in the plane of the wall the
# density of an incoherent aperture is at most S A/(8π d²), half of it of either polarization
# (Parseval on the second Rayleigh–Sommerfeld integral), as of one that shines alike to all sides.
# So neither cosine of an exchange is taken to be below a half.
_LEAST_COSINE: Final = 0.5
# Behind its own wall's plane an opening is round a corner: 20 dB and more for an edge that bends
# a path by a right angle (ITU-R P.526, ν ≥ 2.4: half a wavelength from the edge and more).
_ROUND_CORNER: Final = 0.01
_PLANE: Final = 1e-6
_MOST_PATCHES: Final = 1000  # on either side of an exchange
_WORTH_SAYING: Final = 0.1  # of a level: 0.4 dB


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exchange:
    """Areas with which outer patches of some rooms exchange a field with those of others."""

    into: Ints  # (r,) patches of the rooms asked for
    out_of: Ints  # (c,) all outer patches
    factors_m2: Floats  # (r, c)


def exchange_factors(building: Building, *, rooms: Collection[str]) -> Exchange:
    """Bound of the area with which outer patches exchange a Lambertian field.

    Parameters
    ----------
    building : Building
    rooms : collection of str
        Spaces into which it is asked for.

    Returns
    -------
    exchange : Exchange
        A_i F_ij, 0 within a room. [m²]

    Notes
    -----
    A_i A_j cos θ_i cos θ_j/(π d²) between centres, no part of it hidden, at most the smaller
    area; distances are not taken below half of both patches' widths. Of very many patches the
    largest count.
    """
    outer = [patch for patch in building.patches if _leads_outdoors(building, patch)]
    outer = sorted(outer, key=lambda patch: -patch.area_m2)
    inner = [patch for patch in outer if building.panel(patch.panel).space in rooms]
    into, out_of = inner[:_MOST_PATCHES], outer[:_MOST_PATCHES]
    indices = [np.array([patch.index for patch in each], dtype=np.int64) for each in (into, out_of)]
    if not into:
        return Exchange(into=indices[0], out_of=indices[1], factors_m2=np.zeros((0, len(out_of))))
    here, there = _sides(building, into), _sides(building, out_of)
    apart = there.centre_m[np.newaxis] - here.centre_m[:, np.newaxis]
    distance = np.linalg.norm(apart, axis=2)
    width = np.sqrt(here.area_m2)[:, np.newaxis] + np.sqrt(there.area_m2)
    shone = _shone(np.einsum("ijk,ik->ij", apart, here.outward), distance)
    shone *= _shone(-np.einsum("ijk,jk->ij", apart, there.outward), distance)
    areas = here.area_m2[:, np.newaxis], there.area_m2
    found = areas[0] * areas[1] * shone / (np.pi * np.maximum(distance, 0.5 * width) ** 2)
    found = np.minimum(found, np.minimum(*areas))
    found[here.space[:, np.newaxis] == there.space] = 0.0
    return Exchange(into=indices[0], out_of=indices[1], factors_m2=found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sides:
    """Outer sides of patches."""

    centre_m: Floats  # (n, 3)
    outward: Floats  # (n, 3)
    area_m2: Floats  # (n,)
    space: Ints  # (n,)


def _sides(building: Building, patches: Sequence[Patch]) -> _Sides:
    panels = [building.panel(patch.panel) for patch in patches]
    return _Sides(
        centre_m=np.array([_centre(building, patch) for patch in patches]),
        outward=np.array([-panel.normal for panel in panels]),
        area_m2=np.array([patch.area_m2 for patch in patches]),
        space=np.array([building.space_index[panel.space] for panel in panels]),
    )


def _shone(towards_m: Floats, distance_m: Floats) -> Floats:
    """Cosine (r, c) at one end of an exchange, with what diffraction leaves of it."""
    cosine = towards_m / np.maximum(distance_m, 1e-9)
    return np.maximum(cosine, _LEAST_COSINE) * np.where(cosine < -_PLANE, _ROUND_CORNER, 1.0)


def _leads_outdoors(building: Building, patch: Patch) -> bool:
    """Whether what leaves through a patch is outdoors, not in the void beside an inner wall."""
    kind = building.elements[patch.element].kind
    return patch.behind == "outdoors" and kind not in ("interior-wall", "floor")


def _centre(building: Building, patch: Patch) -> Floats:
    outer, _ = max(patch.regions, key=lambda region: float(np.ptp(region[0], axis=0).prod()))
    middle = 0.5 * (outer.min(axis=0) + outer.max(axis=0))
    return np.asarray(building.panel(patch.panel).frame.lift(middle[np.newaxis])[0])


def outdoor_coupling_m2(*, exchange: Exchange, faces: Faces, transmission: Floats) -> Floats:
    """What a room takes in of another's diffuse field, per unit of its density.

    Parameters
    ----------
    exchange : Exchange
        From `exchange_factors`.
    faces : Faces
        Of the building.
    transmission : (patches,) float
        Hemisphere means of the plan.

    Returns
    -------
    coupling_m2 : (spaces, spaces) float
        Into the row's space, from the column's. [m²]
    """
    into, out_of = exchange.into, exchange.out_of
    passed = transmission[into, np.newaxis] * exchange.factors_m2 * transmission[out_of] / 4.0
    spaces = int(faces.space.max()) + 1
    found = np.zeros((spaces, spaces))
    np.add.at(found, (faces.space[into][:, np.newaxis], faces.space[out_of]), passed)
    return found


def outdoor_gain(*, bench: Bench, tables: Tables, faces: Faces, band: int) -> Floats:
    """Density that a room may get round the outside, per diffuse density of another one.

    Parameters
    ----------
    bench, tables, faces : Bench, Tables, Faces
        Of the job, of a plan, and of the building.
    band : int
        Which of the bench's bands.

    Returns
    -------
    gain : (spaces, spaces) float
        In the row's space, of the column's; rows of rooms with receivers alone. What comes in by
        yet another room is left out, so that no row depends on where else receivers are.
    """
    job = bench.job
    rooms = {receiver.space for receiver in job.receivers}
    exchange = bench.kept("exchange", lambda: exchange_factors(job.building, rooms=rooms))
    through, _ = hemisphere_means(tables, band)
    coupling = outdoor_coupling_m2(
        exchange=exchange, faces=faces, transmission=through[tables.stacks.of_face]
    )
    matrix = balance_matrix(faces=faces, tables=tables, absorption=absorption_m2(job), band=band)
    own = sorted(job.building.space_index[room] for room in rooms)
    answers = np.linalg.solve(matrix, np.eye(len(matrix))[:, own])
    gain = np.zeros_like(coupling)
    gain[own] = answers[own, np.arange(len(own)), np.newaxis] * coupling[own]
    return gain


def outdoor_notes(plans: Sequence[PlanResult]) -> tuple[str, ...]:
    """Where what comes round the outside could matter, the worst plan of each receiver."""
    worst: dict[str, tuple[float, str]] = {}
    for plan in plans:
        for receiver in plan.receivers:
            around = sum(source.round_outside_w_m2 for source in receiver.sources)
            level = receiver.level_w_m2
            if around > _WORTH_SAYING * level:
                share = around / level if level > 0.0 else np.inf
                worst[receiver.id] = max(worst.get(receiver.id, (0.0, "")), (share, plan.plan))
    return tuple(
        f"At {receiver}, plan {plan}: {_size(share)} may leave other rooms through their windows "
        "and outer walls and come in from outdoors. The level leaves it out, the upper end of its "
        "range holds it. Treat the windows of both rooms to be rid of it."
        for receiver, (share, plan) in worst.items()
    )


def _size(share: float) -> str:
    if share > 1.0:
        return "more power than the whole level"
    return f"up to {100.0 * share:.0f} % of the level in addition"
