"""Solid angles of a receiver under a plan: what is exposed, and what of it is unshielded.

A plan never casts again. The crossings are signatures with weights; a plan is a table of log
transmissions; a receiver's answer is their product:

    open-equivalent solid angle = Σ weight · ½ (exp Σ log T_TE + exp Σ log T_TM)

TE and TM are kept apart along a ray, since through parallel elements a ray keeps its
polarization; multiplying means would overstate the loss.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envelope.exposure.decibels import decibels
from envelope.exposure.transmission import Tables
from envelope.exposure.unshielded import ROUNDING, at_edges, moved_by_finer_angles_sr, unshielded
from envelope.geometry.plane import Floats
from envelope.rays import Crossings, standard_error

Ints = NDArray[np.int32] | NDArray[np.int64]

THRESHOLD_DB = 20.0
# What bins do to a sum, over what halving them changes in it: halves leave a quarter.
BINS_ERROR = 4.0 / 3.0


def loss_db(transmission: float) -> float:
    """Loss of a power transmission, infinite where nothing passes. [dB]"""
    return -decibels(transmission)


def totals(index: Ints, amounts: Floats, count: int) -> Floats:
    """Amounts (n,) added up by index, (count,)."""
    return np.asarray(np.bincount(index, weights=amounts, minlength=count), dtype=np.float64)


def unpolarized(values: Floats) -> Floats:
    """Mean (...) of TE and TM values (..., 2); numpy's own mean is slow over two numbers."""
    return np.asarray(0.5 * (values[..., 0] + values[..., 1]))


def threshold_transmission(threshold_db: float) -> float:
    """Transmission above which a direction counts as unshielded.

    A treatment of exactly the threshold's loss is not below it, whatever the last bit says.
    """
    return float(10.0 ** (-threshold_db / 10.0) * (1.0 + ROUNDING))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tagged:
    """A receiver's crossings with the transmissions of one plan on them."""

    transmission: Floats  # (signatures, bands), mean of TE and TM, 0 where blocked
    weights_sr: Floats  # (signatures, scrambles)
    exposed: Floats  # (signatures,) 1 where exposed, else 0
    above: Floats  # (signatures,) 1 where exposed above the horizon, else 0


def rows_of(crossings: Crossings) -> tuple[np.ndarray, np.ndarray]:
    """Row and cosine bin of each entry of a cast."""
    return np.divmod(crossings.entries, crossings.bins)


def logs_along(crossings: Crossings, tables: Tables) -> Floats:
    """Log transmission (signatures, bands, 2) of each signature."""
    rows, bins = rows_of(crossings)
    entries = tables.log_transmission[tables.stacks.of_row[rows], bins]
    return np.asarray(np.add.reduceat(entries, crossings.start[:-1], axis=0))


def tag(crossings: Crossings, tables: Tables) -> Tagged:
    """Put a plan's transmissions on a cast."""
    exposed = (crossings.sky > 0).astype(np.float64)
    transmission = unpolarized(np.exp(logs_along(crossings, tables))) * exposed[:, np.newaxis]
    return Tagged(
        transmission=transmission,
        weights_sr=crossings.weights_sr,
        exposed=exposed,
        above=(crossings.sky == 2).astype(np.float64),
    )


def exposed_sr(crossings: Crossings) -> float:
    """Exposed solid angle of a receiver. [sr]"""
    return _summed(crossings.solid_angle_sr, crossings.sky > 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BandAngles:
    """Solid angles of one receiver in one band."""

    frequency_hz: float  # the band's centre
    unshielded_solid_angle_sr: float
    unshielded_error_sr: float  # half-width that covers the truth 95 times in 100
    open_equivalent_solid_angle_sr: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SolidAngles:
    """Totals of one receiver under one plan."""

    exposed_sr: float
    above_horizon_sr: float
    closure_error_sr: float
    standard_error: float
    bands: tuple[BandAngles, ...]


def solid_angles(
    *,
    crossings: Crossings,
    tagged: Tagged,
    tables: Tables,
    frequency_hz: Floats,
    threshold_db: float,
    reference: int = 0,
) -> SolidAngles:
    """Solid angles of a receiver.

    `standard_error` is that of the open-equivalent solid angle at the `reference` frequency,
    relative to it; like every error stated here it is scaled to cover the truth 95 times in 100. It
    has what finer angles than the bins of the cosine would change in it. The unshielded solid angle
    has an error of its own, `unshielded_error_sr`: that of the rays, and twice what the signatures
    that lie across the threshold leave open, as if each erred by itself.
    """
    weights = tagged.weights_sr.mean(axis=1)
    exposed = exposed_sr(crossings)
    edges = at_edges(crossings, tables)
    found = unshielded(crossings, tables, edges=edges, limit=threshold_transmission(threshold_db))
    rays_sr = standard_error(found.by_scramble_sr)
    bands = tuple(
        BandAngles(
            frequency_hz=float(frequency),
            unshielded_solid_angle_sr=float(found.by_scramble_sr[band].mean()),
            # what bins do is one-sided, and is not added by squares
            unshielded_error_sr=math.hypot(rays_sr[band], 2.0 * found.in_doubt_sr[band])
            + float(found.moved_sr[band]),
            open_equivalent_solid_angle_sr=_summed(weights, tagged.transmission[:, band]),
        )
        for band, frequency in enumerate(frequency_hz)
    )
    through = tagged.transmission[:, reference]
    by_scramble = (through[:, np.newaxis] * tagged.weights_sr).sum(axis=0)
    mean = float(by_scramble.mean())
    moved_sr = moved_by_finer_angles_sr(
        crossings, tables, edges=edges, transmission=through, band=reference
    )
    error_sr = float(standard_error(by_scramble)) + BINS_ERROR * moved_sr
    return SolidAngles(
        exposed_sr=exposed,
        above_horizon_sr=_summed(weights, tagged.above),
        closure_error_sr=crossings.closure_error_sr,
        standard_error=error_sr / mean if mean > 0.0 else 0.0,
        bands=bands,
    )


def _summed(weights_sr: Floats, values: Floats | NDArray[np.bool_]) -> float:
    # a product of two long vectors would depend in its last digit on how many threads BLAS has
    return float((weights_sr * values).sum())
