"""The diffuse field: rooms that keep part of what gets in, coupled through their walls.

For every space i, with scalar power density S and panels p::

    S_i [ Σ A_p (1 − R_p)/4 + Σ σ ]  −  Σ A_p τ_p/4 · S_j  =  Q_i
          what leaves the air of i       what comes from     what beams bring:
          (absorbed or passed on)        the next space j    their reflected part

R and τ are means over a hemisphere as the surface feels it, seen from side i; σ are absorption
cross-sections of people and furnishings. A/4, not A/2: a diffuse field of scalar density S sends
S/4 through each square metre.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from envelope.errors import RangeError
from envelope.physics.arrays import (
    Floats,
    checked_fraction,
    checked_not_negative,
)

__all__ = ["OUTSIDE", "coupling_matrix", "density_answers_m2", "diffuse_densities_w_m2"]

OUTSIDE: Final = -1  # beyond a patch: outdoors or earth, from where nothing diffuse returns

# A room that keeps more than this would rest on rounding.
_LARGEST_CONDITION: Final = 1e13
_UNBOUNDED: Final = (
    "a space keeps all the power that enters it: nothing in it absorbs and nothing leads "
    "out, so that its diffuse field has no bound"
)


def coupling_matrix(
    *,
    area_m2: Floats,
    space: NDArray[np.int64],
    beyond: NDArray[np.int64],
    reflection: Floats,
    transmission: Floats,
    absorption_m2: Floats,
) -> Floats:
    """Left side of the power balance of coupled spaces.

    Parameters
    ----------
    area_m2 : (p,) float
        Area of each patch. [m²]
    space : (p,) int
        Space that the patch bounds, 0 to s − 1.
    beyond : (p,) int
        Space behind it, or `OUTSIDE`.
    reflection, transmission : (..., p) float
        Hemisphere means seen from the patch's own space; the power that comes from beyond is
        reckoned with this patch's transmission (it is the same in both directions).
    absorption_m2 : (..., s) float
        Absorption cross-sections in each space, added up. [m²]

    Returns
    -------
    matrix : (..., s, s) float
        [m²]
    """
    reflected = checked_fraction(reflection, what="diffuse reflection")
    passed = checked_fraction(transmission, what="diffuse transmission")
    if not np.all(reflected + passed <= 1.0 + 1e-9):
        raise RangeError("a patch reflects and passes more than arrives at it")
    absorbed = checked_not_negative(absorption_m2, what="absorption cross-section", unit="m²")
    area = checked_not_negative(area_m2, what="patch area", unit="m²")
    own = np.asarray(space, dtype=np.int64)
    other = np.asarray(beyond, dtype=np.int64)
    count = absorbed.shape[-1]
    if own.min(initial=0) < 0 or max(own.max(initial=0), other.max(initial=0)) >= count:
        raise RangeError(f"a patch names a space beyond the {count} that have an absorption")

    leading = np.broadcast_shapes(reflected.shape[:-1], passed.shape[:-1], absorbed.shape[:-1])
    matrix = np.zeros((*leading, count, count))
    diagonal = np.arange(count)
    matrix[..., diagonal, diagonal] = absorbed
    lost = area * (1.0 - reflected) / 4.0
    gained = area * passed / 4.0
    inner = np.flatnonzero(other != OUTSIDE)
    _add_at(matrix, own, own, lost)
    _add_at(matrix, own[inner], other[inner], -gained[..., inner])
    return matrix


def _add_at(
    matrix: Floats, row: NDArray[np.int64], column: NDArray[np.int64], values: Floats
) -> None:
    """Add values (..., n) to the entries of matrices (..., s, s), several to some of them."""
    if not len(row):
        return
    count = matrix.shape[-1]
    place = row * count + column
    order = np.argsort(place, kind="stable")
    held, first = np.unique(place[order], return_index=True)
    matrix[..., held // count, held % count] += np.add.reduceat(values[..., order], first, axis=-1)


def density_answers_m2(*, matrix: Floats, spaces: NDArray[np.int64]) -> Floats:
    """Density in some spaces for a watt that is fed to each space.

    Parameters
    ----------
    matrix : (..., s, s) float
        From `coupling_matrix`. [m²]
    spaces : (k,) int
        Those spaces.

    Returns
    -------
    answer : (..., k, s) float
        Its product with the power fed is the density. [1/m²]

    Raises
    ------
    RangeError
        As `diffuse_densities_w_m2`.
    """
    count = matrix.shape[-1]
    asked = np.ones((count, 1 + len(spaces)))
    asked[:, 1:] = np.eye(count)[:, spaces]
    turned = np.swapaxes(matrix, -1, -2)
    try:
        solved = np.linalg.solve(turned, np.broadcast_to(asked, (*matrix.shape[:-2], *asked.shape)))
    except np.linalg.LinAlgError as error:
        raise RangeError(_UNBOUNDED) from error
    # What all spaces answer to a watt in each are the column sums of the inverse, and no entry of
    # the inverse of such a matrix is negative: so the largest is the inverse's norm.
    norm = np.abs(matrix).sum(axis=-2).max(axis=-1)
    inverse_norm = np.abs(solved[..., 0]).max(axis=-1)
    if not np.all(norm * inverse_norm < _LARGEST_CONDITION):
        raise RangeError(_UNBOUNDED)
    return np.asarray(np.swapaxes(solved[..., 1:], -1, -2))


def diffuse_densities_w_m2(*, matrix: Floats, fed_w: ArrayLike) -> Floats:
    """Scalar power density of the diffuse field in every space.

    Parameters
    ----------
    matrix : (..., s, s) float
        From `coupling_matrix`. [m²]
    fed_w : (..., s) float
        Power that beams bring to each space: what they lose by reflection at their hits inside
        it, and the EIRP of transmitters in it after its first hit. [W]

    Returns
    -------
    density_w_m2 : (..., s) float
        [W/m²]

    Notes
    -----
    Power balance of electrically large, lossy cavities, coupled through their walls; without a
    direct beam it becomes the cavity formula of D. A. Hill et al., IEEE Trans. Electromagn.
    Compat. 36(3), 169–178, 1994 (citation from memory; formulas derived).

    Examples
    --------
    >>> matrix = coupling_matrix(
    ...     area_m2=np.array([60.0]), space=np.array([0]), beyond=np.array([OUTSIDE]),
    ...     reflection=np.array([0.5]), transmission=np.array([0.0]),
    ...     absorption_m2=np.array([0.5]),
    ... )
    >>> diffuse_densities_w_m2(matrix=matrix, fed_w=[1.0])
    array([0.125])
    """
    fed = checked_not_negative(fed_w, what="power fed to a space", unit="W")
    density_answers_m2(matrix=matrix, spaces=np.empty(0, dtype=np.int64))  # whether it has a bound
    density = np.linalg.solve(matrix, fed[..., np.newaxis])
    return np.asarray(density[..., 0])
