"""Volts on each element for a coulomb on each other one, and the field at points.

The matrix is Galerkin's: an entry is the mean potential on one element of a coulomb on another,
so that it is symmetric, which is reciprocity, and positive definite. The earth is a plane whose
image charges have the other sign.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from envelope.geometry.plane import Floats
from envelope.physics.electrostatics import (
    Indices,
    Polygons,
    distant_field,
    distant_potential,
    polygon_field,
    polygon_potential,
    segment_field,
    segment_potential,
    wire_self_potential,
)
from envelope.wiring.elements import Elements, bilinear

_FAR = 3.0  # mean diameters from which on a charge acts by its moments
_MAX_PARTS = 8  # pieces that a side is cut into for the mean
_ROWS = 512  # of the matrix at once
# Two runs in one place lie side by side: their axes are this many radii apart.
_BESIDE = 3.0
_PAIRS = 20_000  # at once: what stays in a processor's cache
_MIRROR = np.array([1.0, 1.0, -1.0])


def potential_matrix(elements: Elements, *, earth_m: float | None, order: int = 3) -> Floats:
    """Mean potential on each element for a coulomb on each. [V/C]

    Parameters
    ----------
    elements : Elements
        n wires and cells.
    earth_m : float or None
        Height of the earth plane; None where there is none. [m]
    order : int
        Gauss points along each piece of a side.

    Returns
    -------
    matrix : (n, n) float
        Symmetric.
    """
    count = len(elements)
    matrix = np.zeros((count, count))
    images: list[float | None] = [None] if earth_m is None else [None, earth_m]
    for plane in images:
        sign = 1.0 if plane is None else -1.0
        sources = elements if plane is None else mirrored(elements, plane)
        near: list[tuple[Indices, Indices]] = []
        for low in range(0, count, _ROWS):
            rows = slice(low, min(low + _ROWS, count))
            offset = elements.centre[rows, np.newaxis] - sources.centre
            square = np.einsum("ija,ija->ij", offset, offset)
            limit = 0.5 * _FAR * (elements.diameter_m[rows, np.newaxis] + sources.diameter_m)
            close = square <= limit * limit
            found = np.nonzero(close)
            offset[found] = 1.0
            moments = elements.moments[rows, np.newaxis] + sources.moments
            block = sign * distant_potential(offset=offset, moments=moments)
            block[found] = 0.0
            matrix[rows] += block
            upper = found[1] >= found[0] + low
            near.append((found[0][upper] + low, found[1][upper]))
        first = np.concatenate([pair[0] for pair in near])
        second = np.concatenate([pair[1] for pair in near])
        values = sign * _near(elements, sources, first, second, order)
        matrix[first, second] += values
        off = first != second
        matrix[second[off], first[off]] += values[off]
    return matrix


def mirrored(elements: Elements, earth_m: float) -> Elements:
    """The same elements below the earth plane, each cell's corners the other way round."""
    shift = np.array([0.0, 0.0, 2.0 * earth_m])
    return Elements(
        ends=elements.ends * _MIRROR + shift,
        radius_m=elements.radius_m,
        cells=Polygons(corners=(elements.cells.corners * _MIRROR + shift)[:, [0, 3, 2, 1]]),
        strand=elements.strand,
    )


def _near(
    elements: Elements, sources: Elements, first: Indices, second: Indices, order: int
) -> Floats:
    """Mean over the smaller element of each pair of the larger one's potential."""
    values = np.zeros(len(first))
    real = sources is elements
    itself = (first == second) & (first < elements.wires) if real else np.zeros(len(first), bool)
    own = first[itself]
    if len(own):
        values[itself] = wire_self_potential(
            length_m=elements.diameter_m[own], radius_m=elements.radius_m[own]
        )
    rest = np.flatnonzero(~itself)
    # A pair and its mirrored pair are alike, so either of the two may be the one that acts.
    swap = elements.diameter_m[first[rest]] > elements.diameter_m[second[rest]]
    outer = np.where(swap, second[rest], first[rest])
    inner = np.where(swap, first[rest], second[rest])
    gap = np.linalg.norm(elements.centre[outer] - sources.centre[inner], axis=1)
    gap -= 0.5 * (elements.diameter_m[outer] + elements.diameter_m[inner])
    step = np.maximum(gap, 0.7 * np.maximum(elements.width_m[inner], elements.width_m[outer]))
    for wires in (True, False):
        chosen = np.flatnonzero((outer < elements.wires) == wires)
        if not len(chosen):
            continue
        parts = _parts(elements, outer[chosen], step[chosen], wires=wires)
        for pattern in np.unique(parts, axis=0):
            same = chosen[(parts == pattern).all(axis=1)]
            samples = int(np.prod(pattern)) * order ** (1 if wires else 2)
            for some in _pieces(same, samples):
                values[rest[some]] = _means(
                    elements, sources, outer[some], inner[some], pattern, order
                )
    return values


def _parts(elements: Elements, outer: Indices, step: Floats, *, wires: bool) -> Indices:
    """Pieces (m, 2) that the sides of the outer elements are cut into."""
    if wires:
        sides = np.stack((elements.diameter_m[outer], np.zeros(len(outer))), axis=1)
    else:
        edges = elements.cells.edges[outer - elements.wires, :, 2]
        sides = np.stack(
            (np.maximum(edges[:, 0], edges[:, 2]), np.maximum(edges[:, 1], edges[:, 3])), axis=1
        )
    return np.minimum((sides / step[:, np.newaxis]).astype(np.intp) + 1, _MAX_PARTS)


def _pieces(which: Indices, samples: int) -> Iterator[Indices]:
    size = max(1, _PAIRS // samples)
    for low in range(0, len(which), size):
        yield which[low : low + size]


def _means(
    elements: Elements,
    sources: Elements,
    outer: Indices,
    inner: Indices,
    pattern: Indices,
    order: int,
) -> Floats:
    """Mean over each outer element (k,) of its inner element's potential."""
    nodes, weights = np.polynomial.legendre.leggauss(order)
    nodes, weights = (nodes + 1.0) / 2.0, weights / 2.0
    along, across = (
        (
            np.concatenate([(nodes + part) / count for part in range(count)]),
            np.tile(weights / count, count),
        )
        for count in pattern.tolist()
    )
    if outer[0] < elements.wires:
        ends = elements.ends[outer]
        u = along[0][:, np.newaxis, np.newaxis]
        at = (1.0 - u) * ends[:, 0] + u * ends[:, 1]
        share = np.repeat(along[1][:, np.newaxis], len(outer), axis=1)
    else:
        u, v = (grid.ravel() for grid in np.meshgrid(along[0], across[0], indexing="ij"))
        weight = np.outer(along[1], across[1]).ravel()[:, np.newaxis]
        which = outer - elements.wires
        at, area = bilinear(elements.cells, which, np.stack((u, v), axis=1))
        share = weight * area
    every = np.tile(inner, len(at))
    radius = np.ones(len(inner))
    wires = (outer < elements.wires) & (inner < elements.wires)
    apart = elements.strand[outer[wires]] != elements.strand[inner[wires]]
    radius[wires] = np.where(apart, _BESIDE, 1.0)
    wider = np.tile(radius, len(at))
    potential = _potential(sources, at.reshape(-1, 3), every, wider).reshape(share.shape)
    means: Floats = (potential * share).sum(axis=0) / share.sum(axis=0)
    return means


def _potential(
    elements: Elements, points: Floats, which: Indices, wider: Floats | None = None
) -> Floats:
    """Potential at each point of a coulomb on its element; `wider` scales a wire's radius."""
    values = np.zeros(len(points))
    wire = which < elements.wires
    if wire.any():
        own = which[wire]
        radius = elements.radius_m[own] * (1.0 if wider is None else wider[wire])
        values[wire] = segment_potential(
            points=points[wire], ends=elements.ends[own], radius_m=radius
        )
    if not wire.all():
        own = which[~wire] - elements.wires
        values[~wire] = polygon_potential(points=points[~wire], polygons=elements.cells, which=own)
    return values


def _field(elements: Elements, points: Floats, which: Indices) -> Floats:
    values = np.zeros((len(points), 3))
    wire = which < elements.wires
    if wire.any():
        own = which[wire]
        values[wire] = segment_field(
            points=points[wire], ends=elements.ends[own], radius_m=elements.radius_m[own]
        )
    if not wire.all():
        own = which[~wire] - elements.wires
        values[~wire] = polygon_field(points=points[~wire], polygons=elements.cells, which=own)
    return values


def field_matrix(elements: Elements, points: Floats, *, earth_m: float | None) -> Floats:
    """Field at points for a coulomb on each element.

    Parameters
    ----------
    elements : Elements
        n wires and cells.
    points : (m, 3) float
        Where. [m]
    earth_m : float or None
        Height of the earth plane. [m]

    Returns
    -------
    field : (m, 3, n) float
        [V/m/C]
    """
    total = np.zeros((len(points), len(elements), 3))
    for plane in (None,) if earth_m is None else (None, earth_m):
        sources = elements if plane is None else mirrored(elements, plane)
        sign = 1.0 if plane is None else -1.0
        size = max(1, 200_000 // max(1, len(elements)))
        for low in range(0, len(points), size):
            rows = slice(low, low + size)
            offset = points[rows, np.newaxis] - sources.centre
            square = np.einsum("ija,ija->ij", offset, offset)
            limit = _FAR * sources.diameter_m
            found = np.nonzero(square <= limit * limit)
            here = offset[found] + sources.centre[found[1]]
            offset[found] = 1.0
            block = distant_field(offset=offset, moments=sources.moments)
            block[found] = _field(sources, here, found[1])
            total[rows] += sign * block
    return np.moveaxis(total, 2, 1)


def potential_at(elements: Elements, points: Floats, *, earth_m: float | None) -> Floats:
    """Potential (m, n) at points for a coulomb on each element, in closed form. [V/C]"""
    total = np.zeros((len(points), len(elements)))
    which = np.tile(np.arange(len(elements)), len(points))
    at = np.repeat(points, len(elements), axis=0)
    for plane in (None,) if earth_m is None else (None, earth_m):
        sources = elements if plane is None else mirrored(elements, plane)
        sign = 1.0 if plane is None else -1.0
        total += sign * _potential(sources, at, which).reshape(total.shape)
    return total
