"""By how much every stack of a plan moves when tolerances are drawn.

A stack is solved again under every draw, at a few angles and frequencies: only the move is taken
from there, and put on what was computed exactly. The first draw is the nominal one and moves
nothing, so that a level's first draw is the level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from envelope.exposure.sequences import BINS
from envelope.exposure.solid_angles import unpolarized
from envelope.exposure.stacks import Stacker, StackKey
from envelope.exposure.tolerances import Draws
from envelope.exposure.transmission import SMALLEST, Bench, Tables
from envelope.geometry.plane import Floats
from envelope.physics.bands import band_mean, band_nodes
from envelope.physics.stacks import solve_many

ANGLES = np.array([0.03, 0.1, 0.25, 0.5, 0.75, 1.0])  # cosines at which stacks are followed
NODES = 3  # frequencies of a band
# A stack that a draw moves by more passes nothing that counts; what rays cross stays a number.
MOST_MOVED = 40.0  # in a logarithm: 174 dB


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StackDraws:
    """How the stacks of a plan move in one band, the first draw not at all."""

    factor: Floats  # (stacks, BINS, 2, draws) on the transmission
    reflection_shift: Floats  # (stacks, BINS, 2, draws) of the near side's reflection
    diffuse_transmission: Floats  # (draws, stacks) hemisphere means, both polarizations
    diffuse_reflection: Floats  # (draws, stacks)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Moved:
    """One stack's part of `StackDraws`."""

    factor: Floats  # (BINS, 2, draws)
    reflection_shift: Floats  # (BINS, 2, draws)
    diffuse_transmission: Floats  # (draws,)
    diffuse_reflection: Floats  # (draws,)


def stack_draws(*, bench: Bench, tables: Tables, draws: Draws, band: int) -> StackDraws:
    """Moves of a plan's stacks in one band; those of a stack are worked out once for a job.

    Parameters
    ----------
    bench, tables : Bench, Tables
        Of the job, and of the plan.
    draws : Draws
        Drawn figures.
    band : int
        Which of the bench's bands.
    """
    keys = tables.stacks.keys
    known: dict[StackKey, _Moved] = bench.kept(("moved", draws.key, band), dict)
    missing = [key for key in keys if key not in known]
    if missing:
        missing = [key for key in bench.expected_keys(tables.stacks) if key not in known]
    solved = _solved(missing, bench=bench, draws=draws, band=band) if missing else []
    for key, (log_moved, moved) in zip(missing, solved, strict=True):
        half = bench.bracket_half_width(key, band)
        if half > 0.0:
            log_moved = log_moved + half * draws.tolerances.bracket[:, np.newaxis]
        log_transmission, reflection = bench.binned(key)
        known[key] = _on_bins(
            log_moved=log_moved,
            moved=moved,
            log_transmission=log_transmission[:, band],
            reflection=reflection[:, band],
        )
    parts = [known[key] for key in keys]
    return StackDraws(
        factor=np.stack([part.factor for part in parts]),
        reflection_shift=np.stack([part.reflection_shift for part in parts]),
        diffuse_transmission=np.stack([part.diffuse_transmission for part in parts], axis=1),
        diffuse_reflection=np.stack([part.diffuse_reflection for part in parts], axis=1),
    )


def _solved(
    keys: Sequence[StackKey], *, bench: Bench, draws: Draws, band: int
) -> list[tuple[Floats, Floats]]:
    """By how much log transmission and reflection (angles, draws, 2) of stacks move."""
    low, high = bench.bands_hz[band]
    frequency_hz, weight = band_nodes(lowest_hz=low, highest_hz=high, count=NODES)
    stacker = Stacker(job=bench.job, frequency_hz=frequency_hz, tolerances=draws.tolerances)
    found = []
    for solved in solve_many(
        stacks=[stacker.items(key) for key in keys], frequency_hz=frequency_hz, cosine=ANGLES
    ):
        passed = band_mean(values=solved.transmission, weight=weight)
        parts = (
            np.log(np.maximum(passed, SMALLEST)),
            band_mean(values=solved.front_reflection, weight=weight),
        )
        whole = [np.broadcast_to(part, (draws.count, len(ANGLES), 2)) for part in parts]
        log_moved, moved = (np.moveaxis(part - part[:1], 0, 1) for part in whole)
        found.append((log_moved, moved))
    return found


def _on_bins(
    *, log_moved: Floats, moved: Floats, log_transmission: Floats, reflection: Floats
) -> _Moved:
    """Moves at a few angles as moves over coarse bins and of hemisphere means.

    Parameters
    ----------
    log_moved, moved : (angles, draws, 2) float
        Of log transmission and of reflection, at `ANGLES`.
    log_transmission, reflection : (bins, 2) float
        What the stack does nominally at the centres of the tables' bins.
    """
    bins = len(log_transmission)
    share = (np.arange(bins) + 0.5) / bins
    share = share / share.sum()
    passed = np.exp(log_transmission[:, np.newaxis] + np.tensordot(_onto(bins), log_moved, 1))
    back = _within(reflection[:, np.newaxis], np.tensordot(_onto(bins), moved, 1), passed)
    centres, coarse = ((np.arange(count) + 0.5) / count for count in (bins, BINS))
    nominal = np.stack(
        [
            [np.interp(coarse, centres, values[:, axis]) for axis in range(2)]
            for values in (log_transmission, reflection)
        ]
    ).transpose(0, 2, 1)[:, :, np.newaxis]  # (2, BINS, 1, 2)
    log_shift = np.clip(np.tensordot(_onto(BINS), log_moved, 1), -MOST_MOVED, MOST_MOVED)
    reflected = _within(
        nominal[1], np.tensordot(_onto(BINS), moved, 1), np.exp(nominal[0] + log_shift)
    )
    return _Moved(
        factor=np.exp(log_shift).transpose(0, 2, 1),
        reflection_shift=(reflected - nominal[1]).transpose(0, 2, 1),
        diffuse_transmission=share @ unpolarized(passed),
        diffuse_reflection=share @ unpolarized(back),
    )


def _within(nominal: Floats, moved: Floats, passed: Floats) -> Floats:
    """Reflection as it is moved: never below 0, nor above what does not pass.

    A slot may pass more than its area gives it; what it reflects nominally stands.
    """
    return np.clip(nominal + moved, 0.0, np.maximum(1.0 - passed, nominal))


@cache
def _onto(bins: int) -> Floats:
    """Weights (bins, angles) that interpolate from `ANGLES` to bin centres."""
    centres = (np.arange(bins) + 0.5) / bins
    found = np.stack([np.interp(centres, ANGLES, one) for one in np.eye(len(ANGLES))], axis=1)
    found.setflags(write=False)
    return found
