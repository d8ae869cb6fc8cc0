"""The diffuse field in every draw: stacks move, and what absorbs in the rooms does.

What a chain of rays feeds to rooms is added up over its sequences (`envelope.exposure.sequences`);
those that no plan changes are added up once for a job, others once for the stacks that they cross.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from envelope.building.job import Source
from envelope.exposure.diffuse import (
    Faces,
    absorption_m2,
    arriving_w,
    balance_matrix,
    ray_levels,
)
from envelope.exposure.sequence_groups import Groups, stack_numbers
from envelope.exposure.sequences import (
    Bools,
    Branch,
    Longs,
    branches_of,
    few_draws,
    rows_of_moves,
    sequences_of,
)
from envelope.exposure.stack_draws import StackDraws
from envelope.exposure.tolerances import Draws
from envelope.exposure.transmission import Bench, Stacks, Tables
from envelope.geometry.plane import Floats
from envelope.physics.diffuse import density_answers_m2
from envelope.rays import Chain


def answer_draws_m2(
    *,
    bench: Bench,
    tables: Tables,
    faces: Faces,
    band: int,
    draws: Draws,
    moved: StackDraws,
    spaces: Longs,
) -> Floats:
    """Density in some spaces for a watt fed to each space: (draws, k, spaces). [1/m²]

    Parameters
    ----------
    bench, tables, faces : Bench, Tables, Faces
        Of the job, of the plan, and of the building.
    band : int
        Which of the tables' bands.
    draws, moved : Draws, StackDraws
        Drawn figures, and how the plan's stacks move with them in that band.
    spaces : (k,) int
        Those in which somebody asks for it.
    """
    absorption = absorption_m2(
        bench.job, occupant_m2=draws.occupant_m2, furnishing_m2=draws.furnishing_m2
    )
    count, whole = absorption.shape
    found = np.empty((count, len(spaces), whole))
    for some in few_draws(count, held=whole**2):
        matrix = balance_matrix(
            faces=faces,
            tables=tables,
            absorption=absorption[some],
            band=band,
            hemisphere=(moved.diffuse_transmission[some], moved.diffuse_reflection[some]),
        )
        found[some] = density_answers_m2(matrix=matrix, spaces=spaces)
    return found


def beam_density_draws(
    *,
    source: Source,
    chain: Chain,
    bench: Bench,
    stacks: Stacks,
    varying: Bools,
    band: int,
    draws: Draws,
    moved: StackDraws,
    answer: Floats,
) -> Floats:
    """Diffuse density (draws, k) of a source's beam, as in `Diffuse`. [W/m²]

    Parameters
    ----------
    source, chain : Source, Chain
        One of the job's, and its rays inward.
    bench, stacks : Bench, Stacks
        Of the job, and of the plan.
    varying : (rows,) bool
        From `varying_rows`.
    band : int
        The source's, among the bench's.
    draws, moved : Draws, StackDraws
        Drawn figures, and how the plan's stacks move with them in that band.
    answer : (draws, k, spaces) float
        From `answer_draws_m2`. [1/m²]
    """
    fed = fed_draws_w(
        chain=chain, bench=bench, stacks=stacks, varying=varying, band=band, draws=draws,
        moved=moved, level=ray_levels(source, chain, bench.job),
    )  # fmt: skip
    return densities_w_m2(answer, fed)


def densities_w_m2(answer: Floats, fed_w: Floats) -> Floats:
    """Densities (draws, k) of what is fed (draws, spaces) to the spaces. [W/m²]"""
    return np.asarray(np.einsum("dks,ds->dk", answer, fed_w))


def fed_draws_w(
    *,
    chain: Chain,
    bench: Bench,
    stacks: Stacks,
    varying: Bools,
    band: int,
    draws: Draws,
    moved: StackDraws,
    level: Floats,
) -> Floats:
    """Power (draws, spaces) that the rays of a chain leave in each space by reflection. [W]

    Parameters
    ----------
    chain, bench, stacks, varying, band, draws, moved
        As in `beam_density_draws`.
    level : (rays,) float
        Power that a unit of a ray's weight carries; always the same for a chain.
    """
    sequences = sequences_of(chain, bench)
    spaces = len(bench.job.building.spaces)
    same, changed = branches_of(chain, bench, varying)

    @cache
    def carried() -> tuple[Floats, Floats]:
        arrives, reflected = arriving_w(
            chain=chain, bench=bench, stacks=stacks, band=band, level=level
        )
        return (
            sequences.added(arrives, sequences.of_entry),
            sequences.added(arrives * reflected, sequences.of_entry),
        )

    def add(branch: Branch, group: Longs) -> Floats:
        arriving, left = carried()
        return _fed(branch, group=group, arriving=arriving, left=left, stacks=stacks, moved=moved)

    def grouped(branch: Branch) -> Groups:
        space = sequences.space[branch.whole]
        return Groups.of(branch, varying, space)

    def fed(groups: Groups) -> Floats:
        return groups.added(stack_numbers(bench, stacks), add, draws=draws.count, targets=spaces)

    name = (chain, varying.tobytes(), band, draws.key)
    kept = bench.kept(("fed", *name), lambda: fed(grouped(same)))
    return np.asarray(kept + fed(bench.kept(("groups", *name), lambda: grouped(changed))))


def _fed(
    branch: Branch,
    *,
    group: Longs,
    arriving: Floats,
    left: Floats,
    stacks: Stacks,
    moved: StackDraws,
) -> Floats:
    """What groups of sequences feed (groups, draws), each by its last hit."""
    count = moved.factor.shape[-1]
    held = np.flatnonzero(group >= 0)
    held = held[np.argsort(group[held], kind="stable")]
    found = np.zeros((int(group.max(initial=-1)) + 1, count))
    if not len(held):
        return found
    whole = branch.whole[held]
    groups, first = np.unique(group[held], return_index=True)
    carried, sent_back = arriving[whole][..., np.newaxis], left[whole][..., np.newaxis]
    parent, which = branch.parent[held], branch.stack_and_bin(stacks, moved.factor)[held]
    for some in few_draws(count, held=2 * len(branch.whole)):
        shift = moved.reflection_shift[..., some]
        fed = np.take(rows_of_moves(shift), which, axis=0, mode="clip")
        fed = fed.reshape(-1, *shift.shape[2:])
        fed *= carried
        fed += sent_back
        np.maximum(fed, 0.0, out=fed)
        fed *= np.take(branch.factors(stacks, moved.factor[..., some]), parent, axis=0, mode="clip")
        found[groups, some] = np.add.reduceat(fed, first, axis=0).sum(axis=1)
    return found
