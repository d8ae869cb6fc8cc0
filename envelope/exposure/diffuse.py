"""The diffuse field: what gets in stays in until a wall, a person or an opening takes it.

Each beam is followed through the whole building. At every hit inside a space the reflected part
feeds that space's balance; the transmitted part goes on as beam. The balances of all spaces are
one linear system, since what one room loses through a wall the next room gains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from envelope.building.job import Job, Source
from envelope.exposure.casts import Casts
from envelope.exposure.solid_angles import totals, unpolarized
from envelope.exposure.transmission import Bench, Stacks, Tables
from envelope.geometry.plane import Floats
from envelope.physics.diffuse import OUTSIDE, coupling_matrix, diffuse_densities_w_m2
from envelope.physics.tables.occupants import CROSS_SECTION_M2
from envelope.rays import Chain


def absorption_m2(
    job: Job,
    *,
    occupant_m2: Floats | float = CROSS_SECTION_M2,
    furnishing_m2: Floats | None = None,
) -> Floats:
    """Absorption cross-section (..., spaces) of the people and furnishings of each space. [m²]

    A space with a receiver holds one adult unless the job says otherwise.

    Parameters
    ----------
    occupant_m2 : (...) float
        Absorption cross-section of one adult. [m²]
    furnishing_m2 : (..., spaces) float, optional
        Of what stands in each space, where it is drawn; else as the job has it. [m²]
    """
    with_receiver = {receiver.space for receiver in job.receivers}
    people = []
    for space in job.building.spaces:
        people.append(job.occupants.get(space.id, 1 if space.id in with_receiver else 0))
    if furnishing_m2 is None:
        furnishing_m2 = np.array(
            [job.furnishing_m2.get(space.id, 0.0) for space in job.building.spaces]
        )
    each = np.asarray(occupant_m2)[..., np.newaxis]
    return np.asarray(np.array(people) * each + furnishing_m2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Faces:
    """Patches as the balance sees them; the same for every plan."""

    area_m2: Floats  # (patches,)
    space: np.ndarray  # (patches,) int
    beyond: np.ndarray  # (patches,) int, `OUTSIDE` where nothing diffuse comes back


def faces_of(job: Job) -> Faces:
    """Areas and neighbours of a building's patches."""
    building = job.building
    spaces = [building.space_index[building.panel(p.panel).space] for p in building.patches]
    beyond = [
        OUTSIDE if p.far is None else building.space_index[building.panel(p.far).space]
        for p in building.patches
    ]
    return Faces(
        area_m2=np.array([patch.area_m2 for patch in building.patches]),
        space=np.array(spaces, dtype=np.int64),
        beyond=np.array(beyond, dtype=np.int64),
    )


def hemisphere_means(tables: Tables, band: int) -> tuple[Floats, Floats]:
    """Transmission and near reflection (stacks,) that a diffuse field meets in one band."""
    bins = tables.log_transmission.shape[1]
    share = (np.arange(bins) + 0.5) / bins
    share = share / share.sum()  # 2∫X μ dμ at bin centres
    through = unpolarized(np.exp(tables.log_transmission[:, :, band])) @ share
    back = unpolarized(tables.near_reflection[:, :, band]) @ share
    # A slot may take more than its area; a balance may not give more than what arrives.
    return np.minimum(through, 1.0 - back), back


def balance_matrix(
    *,
    faces: Faces,
    tables: Tables,
    absorption: Floats,
    band: int,
    hemisphere: tuple[Floats, Floats] | None = None,
) -> Floats:
    """Left side (..., spaces, spaces) of the power balance of a plan in one band. [m²]

    Parameters
    ----------
    faces : Faces
        Of the building.
    tables : Tables
        Of the plan's stacks.
    absorption : (..., spaces) float
        From `absorption_m2`. [m²]
    band : int
        Which of the tables' bands.
    hemisphere : two (..., stacks) floats, optional
        Transmission and near reflection that a diffuse field meets; else as the tables have them.
    """
    if hemisphere is None:
        through, back = hemisphere_means(tables, band)
    else:
        through, back = hemisphere
        through = np.minimum(through, 1.0 - back)
    of_face = tables.stacks.of_face
    return coupling_matrix(
        area_m2=faces.area_m2,
        space=faces.space,
        beyond=faces.beyond,
        reflection=back[..., of_face],
        transmission=through[..., of_face],
        absorption_m2=absorption,
    )


def fed_w(*, chain: Chain, bench: Bench, stacks: Stacks, band: int, level: Floats) -> Floats:
    """Power (spaces,) that the rays of a chain leave in each space by reflection. [W]

    Parameters
    ----------
    chain : Chain
        From a source inward.
    bench, stacks : Bench, Stacks
        Of the job, and of the plan.
    band : int
        Which of the bench's bands.
    level : (rays,) float
        Power that a unit of a ray's weight carries.
    """
    arrives, reflected = arriving_w(chain=chain, bench=bench, stacks=stacks, band=band, level=level)
    inside = chain.space >= 0
    left = (arrives * reflected).sum(axis=1)
    return totals(chain.space[inside], left[inside], len(bench.job.building.spaces))


def arriving_w(
    *, chain: Chain, bench: Bench, stacks: Stacks, band: int, level: Floats
) -> tuple[Floats, Floats]:
    """Power (entries, 2) that arrives at each hit of a chain, and the share that it reflects.

    Parameters
    ----------
    chain, bench, stacks, band, level
        As in `fed_w`.
    """
    logs, reflected = bench.along(chain, stacks, band)
    before = np.cumsum(logs, axis=0) - logs
    ray = np.repeat(np.arange(len(chain.weights)), np.diff(chain.start))
    arrives = np.exp(before - before[chain.start[:-1]][ray])
    arrives *= (0.5 * chain.weights * level)[ray, np.newaxis]
    return arrives, reflected


def ray_levels(source: Source, chain: Chain, job: Job) -> Floats:
    """Power (rays,) that a unit of each ray's weight carries, without the scattered part.

    An exterior source may be stronger on higher storeys: what counts is where a ray comes in. Of
    a point source it is what it radiates in all, which is EIRP less its directivity: where its
    beam points, and so what a receiver sees of it, is not known, but a room gathers all of it.
    """
    building = job.building
    if source.eirp_w is not None:
        radiated_w = source.eirp_w / 10.0 ** (source.directivity_db / 10.0)
        return np.full(len(chain.weights), radiated_w / (4.0 * np.pi))
    storeys = [building.space(panel.space).storey for panel in building.panels]
    by_panel = np.array(
        [source.level_w_m2.get(each, source.level_w_m2.get("", 0.0)) for each in storeys]
    )
    entered = chain.side[chain.start[:-1]]
    return np.asarray((1.0 - source.scattered) * by_panel[entered])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Diffuse:
    """Diffuse density of one source in every space.

    `from_scattered` is for an outside field of unit radiance: it is multiplied with the
    radiance, which is the scattered level over the receiver's exposed solid angle.
    """

    from_beam_w_m2: Floats  # (spaces,)
    from_scattered: Floats  # (spaces,) per W/(m² sr)


def diffuse_of(
    *,
    source: Source,
    casts: Casts,
    bench: Bench,
    tables: Tables,
    faces: Faces,
    band: int,
) -> Diffuse:
    """Diffuse density that a source makes in every space under a plan.

    Parameters
    ----------
    source : Source
        One of the job's.
    casts : Casts
        Of the job.
    bench, tables, faces : Bench, Tables, Faces
        Of the job, of the plan, and of the building.
    band : int
        The source's, among the bench's.
    """
    job = bench.job
    matrix = balance_matrix(faces=faces, tables=tables, absorption=absorption_m2(job), band=band)
    chain = casts.chains[source.id]
    level = ray_levels(source, chain, job)
    beam = fed_w(chain=chain, bench=bench, stacks=tables.stacks, band=band, level=level)
    even = np.zeros_like(beam)
    if source.scattered > 0.0 and casts.even is not None:
        ones = np.ones(len(casts.even.weights))
        even = fed_w(chain=casts.even, bench=bench, stacks=tables.stacks, band=band, level=ones)
    solved = diffuse_densities_w_m2(matrix=matrix, fed_w=np.stack((beam, even)))
    return Diffuse(from_beam_w_m2=solved[0], from_scattered=solved[1])
