"""Direct current in thin conductive sheets: resistances between contacts, by finite elements.

A sheet that is folded over walls, reveals and ceilings is one surface to the current: the
equation ∇·(g ∇u) = 0 does not see the folds, only lengths along the surface.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from envelope.errors import RangeError
from envelope.physics.arrays import Floats

__all__ = ["Indices", "Sheet", "conductance_matrix", "pieces_of", "resistances", "resistances_to"]

Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A conductive surface as triangles, with places where something metallic touches it."""

    nodes: Floats  # (n, 3) [m]
    triangles: Indices  # (m, 3) indices of nodes
    sheet_resistance_ohm_sq: Floats  # (m,) of each triangle [Ω/sq]
    contacts: tuple[Indices, ...]  # nodes of each contact, all at one potential


def conductance_matrix(sheet: Sheet) -> csc_array:
    """Stiffness of linear elements with the contacts' nodes joined: one unknown a contact.

    Returns
    -------
    conductance : (k, k) sparse float
        Current into each unknown for potentials of all of them; rows add up to 0. The contacts come
        first, in their order. [S]

    Raises
    ------
    RangeError
        Where a node belongs to two contacts.

    Notes
    -----
    A triangle's entry between two of its corners is −g/2 times the cotangent of the angle at the
    third: the standard linear element. Potentials are never below the exact minimum of the
    dissipated power, so a resistance comes out too low and rises to its value as triangles shrink.
    """
    unknown = _unknowns(sheet)
    corners = sheet.nodes[sheet.triangles]
    rows: list[Indices] = []
    columns: list[Indices] = []
    values: list[Floats] = []
    for third in range(3):
        one, other = (third + 1) % 3, (third + 2) % 3
        to_one = corners[:, one] - corners[:, third]
        to_other = corners[:, other] - corners[:, third]
        twice_area = np.linalg.norm(np.cross(to_one, to_other), axis=1)
        cotangent = np.einsum("ij,ij->i", to_one, to_other) / twice_area
        weight = 0.5 * cotangent / sheet.sheet_resistance_ohm_sq
        left, right = (unknown[sheet.triangles[:, each]] for each in (one, other))
        rows += [left, right, left, right]
        columns += [right, left, left, right]
        values += [-weight, -weight, weight, weight]
    size = int(unknown.max()) + 1
    entries = np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))
    return csc_array(coo_array(entries, shape=(size, size)))


def _unknowns(sheet: Sheet) -> Indices:
    """The unknown of each node: contacts first, then every node that belongs to none."""
    unknown = np.full(len(sheet.nodes), -1, dtype=np.intp)
    for index, nodes in enumerate(sheet.contacts):
        if np.any(unknown[nodes] >= 0):
            raise RangeError(f"contact {index} shares a place with another contact")
        unknown[nodes] = index
    free = np.flatnonzero(unknown < 0)
    unknown[free] = len(sheet.contacts) + np.arange(len(free))
    return unknown


def pieces_of(sheet: Sheet) -> Indices:
    """Which connected piece each contact lies on: (contacts,) numbers from 0.

    Two contacts on different pieces have no resistance between them: they are not connected.
    """
    matrix = conductance_matrix(sheet)
    _, labels = connected_components(matrix, directed=False)
    return np.asarray(labels[: len(sheet.contacts)], dtype=np.intp)


def _potentials(matrix: csc_array, *, earthed: int, fed: Sequence[int]) -> Floats:
    """Potentials (k, f) for 1 A into each fed unknown and out of the earthed one. [V]"""
    size = matrix.shape[0]
    _, labels = connected_components(matrix, directed=False)
    kept = np.flatnonzero((labels == labels[earthed]) & (np.arange(size) != earthed))
    place = np.full(size, -1, dtype=np.intp)
    place[kept] = np.arange(len(kept))
    currents = np.zeros((len(kept), len(fed)))
    for column, index in enumerate(fed):
        if index != earthed and place[index] >= 0:
            currents[place[index], column] = 1.0
    potentials = np.full((size, len(fed)), np.inf)
    potentials[earthed] = 0.0
    if len(kept):
        potentials[kept] = splu(matrix[kept][:, kept]).solve(currents)
    return potentials


def resistances(sheet: Sheet) -> Floats:
    """Resistance between every two contacts, symmetric, 0 on the diagonal.

    Returns
    -------
    resistance : (c, c) float
        Infinite between contacts on surfaces that do not touch. [Ω]

    References
    ----------
    Checked against two discs on a large sheet, R = (Rs/π) acosh(D/2a), bars, and four contacts
    at the edge of a sheet of any shape (L. J. van der Pauw, Philips Res. Rep. 13, 1958).
    """
    matrix = conductance_matrix(sheet)
    count = len(sheet.contacts)
    found = np.zeros((count, count))
    for earthed in range(count):
        fed = range(earthed + 1, count)
        potentials = _potentials(matrix, earthed=earthed, fed=fed)
        for column, index in enumerate(fed):
            found[earthed, index] = found[index, earthed] = potentials[index, column]
    return found


def resistances_to(sheet: Sheet, *, contact: int, probes: Sequence[int]) -> Floats:
    """Resistance from small probes on the sheet to one contact.

    Parameters
    ----------
    sheet : Sheet
        The surface.
    contact : int
        Index of the contact that all are measured against, such as the bond.
    probes : (p,) int
        Indices of the other contacts.

    Returns
    -------
    resistance : (p,) float
        Infinite where a probe lies on another surface. [Ω]
    """
    potentials = _potentials(conductance_matrix(sheet), earthed=contact, fed=list(probes))
    return np.array([potentials[probe, column] for column, probe in enumerate(probes)])
