"""Charges and voltages: sheets that are earthed, bonded or left floating, wires that are live.

Sheets have many cells and change seldom, wires have few pieces and change often: the sheets are
factored once, and wires, plugs, phases and bonds are then solved on what is left (a Schur
complement).

    sheets s:  P_ss q_s + P_sw q_w = B v_islands      L Lᵀ = P_ss, Z = L⁻¹ P_sw, Y = L⁻¹ B
    wires w:   P_ws q_s + P_ww q_w = φ_w              K = P_ww − Zᵀ Z
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, cholesky, solve_triangular

from envelope.geometry.plane import Floats
from envelope.physics.electrostatics import Complexes, Indices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheets:
    """A factored set of cells, and what they do to wires and to points."""

    cells: Indices  # (s,) elements that are sheets here
    others: Indices  # (w,) elements that may be wires here
    lower: Floats  # (s, s) Cholesky factor
    coupled: Floats  # (s, w) Z
    reduced: Floats  # (w, w) K
    felt: Floats  # (s, 3m) L⁻¹ of the cells' field at the points
    seen: Floats  # (3m, w) field of the wires there, the sheets' answer at 0 V included


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Terminals:
    """Islands first, then runs: what a volt on each brings."""

    capacitance: Floats  # (t, t) [F]
    field: Floats  # (3m, t) [V/m/V]
    charges: Floats  # (s + a, t) of the elements `active` [C/V]
    active: Indices  # (s + a,)
    islands: int


def factor(*, matrix: Floats, field: Floats, cells: Indices, others: Indices) -> Sheets:
    """Factor the cells of a state.

    Parameters
    ----------
    matrix : (n, n) float
        Volts a coulomb, `matrix.potential_matrix`. [V/C]
    field : (m, 3, n) float
        Field at points a coulomb, `matrix.field_matrix`. [V/m/C]
    cells : (s,) int
        Elements that are sheets.
    others : (w,) int
        Elements that may be wires or floating bodies.
    """
    flat = field.reshape(-1, field.shape[-1])
    lower = (
        cholesky(matrix[np.ix_(cells, cells)], lower=True, overwrite_a=True, check_finite=False)
        if len(cells)
        else np.zeros((0, 0))
    )
    coupled = _under(lower, matrix[np.ix_(cells, others)])
    felt = _under(lower, np.ascontiguousarray(flat[:, cells].T))
    return Sheets(
        cells=cells,
        others=others,
        lower=lower,
        coupled=coupled,
        reduced=matrix[np.ix_(others, others)] - coupled.T @ coupled,
        felt=felt,
        seen=flat[:, others] - felt.T @ coupled,
    )


def _under(lower: Floats, right: Floats) -> Floats:
    if not len(lower):
        return right
    solved: Floats = solve_triangular(lower, right, lower=True, check_finite=False)
    return solved


def terminals(
    sheets: Sheets, *, islands: Sequence[Indices], runs: Sequence[Indices], charges: bool = True
) -> Terminals:
    """What a volt on each island and each run brings.

    Parameters
    ----------
    sheets : Sheets
        The factored cells.
    islands : sequence of int arrays
        Elements of each island; together all of `sheets.cells`.
    runs : sequence of int arrays
        Elements of each run, out of `sheets.others`; those named in none are not there.
    charges : bool
        Whether the charge of each element is wanted too, for maps.
    """
    volts = np.zeros((len(sheets.cells), len(islands)))
    for number, island in enumerate(islands):
        volts[np.searchsorted(sheets.cells, island), number] = 1.0
    own = _under(sheets.lower, volts)
    place = {int(element): number for number, element in enumerate(sheets.others)}
    members = [np.array([place[int(each)] for each in run], dtype=np.intp) for run in runs]
    active = np.concatenate(members) if members else np.zeros(0, dtype=np.intp)
    live = np.zeros((len(active), len(runs)))
    at = 0
    for number, member in enumerate(members):
        live[at : at + len(member), number] = 1.0
        at += len(member)
    coupled = sheets.coupled[:, active]
    right = np.concatenate((-(coupled.T @ own), live), axis=1)
    wires = (
        cho_solve(
            cho_factor(sheets.reduced[np.ix_(active, active)], lower=True, check_finite=False),
            right,
            check_finite=False,
        )
        if len(active)
        else right
    )
    held = np.concatenate((own, np.zeros((len(own), len(runs)))), axis=1) - coupled @ wires
    capacitance = np.concatenate((own.T @ held, live.T @ wires))
    field = sheets.seen[:, active] @ wires
    field[:, : len(islands)] += sheets.felt.T @ own
    on_cells = (
        solve_triangular(sheets.lower, held, lower=True, trans=1, check_finite=False)
        if charges and len(sheets.cells)
        else np.zeros((len(sheets.cells) if charges else 0, held.shape[1]))
    )
    return Terminals(
        capacitance=(capacitance + capacitance.T) / 2.0,
        field=field,
        charges=np.concatenate((on_cells, wires)) if charges else np.zeros((0, held.shape[1])),
        active=np.concatenate((sheets.cells, sheets.others[active])),
        islands=len(islands),
    )


def voltages(
    capacitance: Floats,
    *,
    known: Complexes,
    free: Indices,
    resistance_ohm: Floats,
    frequency_hz: float,
) -> Complexes:
    """Voltages of all terminals, those of floating and bonded islands solved.

    Parameters
    ----------
    capacitance : (t, t) float
        Capacitance matrix of the terminals. [F]
    known : (t,) complex
        Voltages, 0 where they are to be found. [V]
    free : (k,) int
        Terminals whose voltage follows from their charge.
    resistance_ohm : (k,) float
        From each of them to earth: 0 bonded, infinite floating. [Ω]
    frequency_hz : float
        Of the supply. [Hz]

    Returns
    -------
    voltages : (t,) complex
        [V]
    """
    result = known.astype(np.complex128)
    result[free] = 0.0
    loose = free[resistance_ohm > 0.0]
    if not len(loose):
        return result
    # jωQ = −V/R: what charges the island leaves through its bond.
    leak = 1.0 / resistance_ohm[resistance_ohm > 0.0] / (2j * np.pi * frequency_hz)
    system = capacitance[np.ix_(loose, loose)] + np.diag(leak)
    result[loose] = np.linalg.solve(system, -(capacitance[loose] @ result))
    return result


def magnitude(field: Complexes) -> Floats:
    """Root-sum-square of the three components (..., 3) of a field. [V/m]"""
    total: Floats = np.sqrt((np.abs(field) ** 2).sum(axis=-1))
    return total
