"""How far into the room a run's field reaches when it is alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.wiring.choices import Choice, run_voltages
from envelope.wiring.elements import elements_of
from envelope.wiring.grid import wire_pieces
from envelope.wiring.matrix import field_matrix, potential_matrix
from envelope.wiring.system import System

REACH_V_M = 5.0  # at which a reach ends: common practice, no source
_FROM_M, _TO_M, _STEPS = 0.05, 5.0, 60
_STEP_M = 0.3


def reaches(system: System, answers: Sequence[Choice]) -> dict[str, float]:
    """Greatest distance from the middle of each run, towards the first receiver, with 5 V/m.

    Parameters
    ----------
    system : System
    answers : sequence of Choice
        Of which the one with the greatest voltage counts.
    """
    found: dict[str, float] = {}
    if not system.receivers:
        return found
    target = system.receivers[0].position_m
    distances = np.geomspace(_FROM_M, _TO_M, _STEPS)
    runs = system.runs(system.combinations[0])
    volts = np.abs(run_voltages(system.wiring, runs, answers, ())).max(axis=1)
    for run, volt in zip(runs, volts, strict=True):
        pieces = wire_pieces(run.path_m, step_m=_STEP_M)
        if not pieces or run.joint:
            continue
        elements = elements_of(wires=[(piece, run.radius_m) for piece in pieces])
        charge = np.linalg.solve(
            potential_matrix(elements, earth_m=system.earth_m), np.full(len(pieces), volt)
        )
        lengths = np.linalg.norm(np.diff(run.path_m, axis=0), axis=1)
        longest = int(np.argmax(lengths))
        start, end = run.path_m[longest], run.path_m[longest + 1]
        middle, along = (start + end) / 2.0, (end - start) / lengths[longest]
        away = target - middle
        away = away - (away @ along) * along
        if np.linalg.norm(away) < 1e-6:
            continue
        points = middle + distances[:, np.newaxis] * away / np.linalg.norm(away)
        points = points[points[:, 2] > system.earth_m]
        field = field_matrix(elements, points, earth_m=system.earth_m) @ charge
        below = np.flatnonzero(np.linalg.norm(field, axis=1) < REACH_V_M)
        last = int(below[0]) - 1 if len(below) else len(points) - 1
        found[run.id] = float(distances[last]) if last >= 0 else 0.0
    return found
