"""Out of one room's window and in through another's: a bound of what goes round the outside.

    room a ─ window ─→ outdoors ─→ window ─ room b        inner corner: they see each other
                 along the façade, or past a corner        they do not: diffraction alone

Beams are followed through the outdoors; the diffuse field that leaves a room is not. It is
little: 30 dB below the field of the room that it leaves where two bare windows face each other
across an inner corner. It counts where all that lies between the rooms is closed and the source
stands indoors. So it is kept out of the level and put on the upper end of its range.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from envelope.building.model import Building, Patch
from envelope.exposure.diffuse import Faces, absorption_m2, balance_matrix, hemisphere_means
from envelope.exposure.results import PlanResult
from envelope.exposure.transmission import Bench, Tables
from envelope.geometry.plane import Floats
from envelope.physics.diffuse import OUTSIDE

__all__ = [
    "exchange_factors",
    "outdoor_coupling_m2",
    "outdoor_gain",
    "outdoor_notes",
]

# Seen along the wall a Lambertian opening is dark, a wave is not: in the plane of the wall the
# density of an incoherent aperture is at most S A/(8π d²), half of it of either polarization
# (Parseval on the second Rayleigh–Sommerfeld integral), as of one that shines alike to all sides.
# So neither cosine of an exchange is taken to be below a half.
_LEAST_COSINE: Final = 0.5
# Behind its own wall's plane an opening is round a corner: 20 dB and more for an edge that bends
# a path by a right angle (ITU-R P.526, ν ≥ 2.4: half a wavelength from the edge and more).
_ROUND_CORNER: Final = 0.01
_PLANE: Final = 1e-6
_WORTH_SAYING: Final = 0.1  # of a level: 0.4 dB


def exchange_factors(building: Building) -> Floats:
    """Bound of the area with which outer patches exchange a Lambertian field.

    Returns
    -------
    factors_m2 : (patches, patches) float
        A_i F_ij, symmetric; 0 within a room and for all that does not lead outdoors. [m²]

    Notes
    -----
    A_i A_j cos θ_i cos θ_j/(π d²) between centres, no part of it hidden, at most the smaller
    area; distances are not taken below half of both patches' widths.
    """
    count = len(building.patches)
    outer = [patch for patch in building.patches if _leads_outdoors(building, patch)]
    factors = np.zeros((count, count))
    if not outer:
        return factors
    centre = np.array([_centre(building, patch) for patch in outer])
    outward = np.array([-building.panel(patch.panel).normal for patch in outer])
    area = np.array([patch.area_m2 for patch in outer])
    space = np.array([building.space_index[building.panel(each.panel).space] for each in outer])
    apart = centre[np.newaxis] - centre[:, np.newaxis]  # [i, j] from i to j
    distance = np.linalg.norm(apart, axis=2)
    width = np.sqrt(area)
    reach = np.maximum(distance, 0.5 * (width[:, np.newaxis] + width))
    with np.errstate(invalid="ignore", divide="ignore"):
        seen = np.einsum("ijk,ik->ij", apart, outward) / distance
    seen = np.nan_to_num(seen)
    shone = np.maximum(seen, _LEAST_COSINE) * np.where(seen < -_PLANE, _ROUND_CORNER, 1.0)
    found = area[:, np.newaxis] * area * shone * shone.T / (np.pi * reach**2)
    found = np.minimum(found, np.minimum(area[:, np.newaxis], area))
    found[space[:, np.newaxis] == space] = 0.0
    index = [patch.index for patch in outer]
    factors[np.ix_(index, index)] = found
    return factors


def _leads_outdoors(building: Building, patch: Patch) -> bool:
    """Whether what leaves through a patch is outdoors, not in the void beside an inner wall."""
    kind = building.elements[patch.element].kind
    return patch.behind == "outdoors" and kind not in ("interior-wall", "floor")


def _centre(building: Building, patch: Patch) -> Floats:
    outer, _ = max(patch.regions, key=lambda region: float(np.ptp(region[0], axis=0).prod()))
    middle = 0.5 * (outer.min(axis=0) + outer.max(axis=0))
    return np.asarray(building.panel(patch.panel).frame.lift(middle[np.newaxis])[0])


def outdoor_coupling_m2(*, factors_m2: Floats, faces: Faces, transmission: Floats) -> Floats:
    """What a room takes in of another's diffuse field, per unit of its density.

    Parameters
    ----------
    factors_m2 : (patches, patches) float
        From `exchange_factors`. [m²]
    faces : Faces
        Of the building.
    transmission : (patches,) float
        Hemisphere means of the plan.

    Returns
    -------
    coupling_m2 : (spaces, spaces) float
        Into the row's space, from the column's. [m²]
    """
    spaces = int(faces.space.max()) + 1
    outside = np.where(faces.beyond == OUTSIDE, transmission, 0.0)
    passed = factors_m2 * outside[:, np.newaxis] * outside / 4.0
    onto = np.zeros((len(faces.space), spaces))
    onto[np.arange(len(faces.space)), faces.space] = 1.0
    return np.asarray(onto.T @ passed @ onto)


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
        In the row's space, of the column's.
    """
    job = bench.job
    factors = bench.kept("exchange factors", lambda: exchange_factors(job.building))
    through, _ = hemisphere_means(tables, band)
    coupling = outdoor_coupling_m2(
        factors_m2=factors, faces=faces, transmission=through[tables.stacks.of_face]
    )
    matrix = balance_matrix(faces=faces, tables=tables, absorption=absorption_m2(job), band=band)
    return np.asarray(np.linalg.solve(matrix, coupling))


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
