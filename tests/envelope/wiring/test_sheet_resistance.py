"""A sheet's resistance hardly matters at 50 Hz: held against a solution with currents in the sheet.

Charge leaves a cell as current through the sheet: jω Q + G P Q = −G P q on the wires, where G holds
the conductance from cell to cell, of width over distance over the sheet's resistance.
"""

import itertools

import numpy as np
import pytest

from envelope.wiring.elements import elements_of
from envelope.wiring.matrix import field_matrix, potential_matrix
from envelope.wiring.network import factor, magnitude, terminals, voltages

OMEGA = 2.0 * np.pi * 50.0
WIDE, HIGH, COUNT = 3.0, 2.0, 10
VOLTS = 230.0


def wall():
    """A wall of 3 x 2 m, a live wire behind it, points before it; the earth is 0.3 m below."""
    us, vs = np.linspace(0.0, WIDE, COUNT + 1), np.linspace(0.3, 0.3 + HIGH, COUNT + 1)
    cells = [
        np.array([[u0, 0, v0], [u1, 0, v0], [u1, 0, v1], [u0, 0, v1]])
        for u0, u1 in itertools.pairwise(us)
        for v0, v1 in itertools.pairwise(vs)
    ]
    line = np.linspace([-0.5, 0.06, 0.6], [3.5, 0.06, 0.6], 21)
    elements = elements_of(
        wires=[(np.array(p), 0.004) for p in itertools.pairwise(line)], cells=cells
    )
    points = np.array([[1.5, -0.4, 0.7], [0.4, -0.6, 1.2], [2.8, -0.3, 1.9]])
    return elements, points


def conductances(ohm_sq, bonded):
    """G (cells, cells) in siemens; the bonded cell leads to earth through a millionth of an ohm."""
    number = np.arange(COUNT * COUNT).reshape(COUNT, COUNT)
    step = np.array([WIDE, HIGH]) / COUNT
    total = np.zeros((COUNT * COUNT, COUNT * COUNT))
    for axis, (one, other) in enumerate(
        ((number[:-1], number[1:]), (number[:, :-1], number[:, 1:]))
    ):
        siemens = step[1 - axis] / step[axis] / ohm_sq
        for a, b in zip(one.ravel(), other.ravel(), strict=True):
            total[[a, b], [a, b]] += siemens
            total[[a, b], [b, a]] -= siemens
    total[bonded, bonded] += 1e6
    return total


def with_currents(ohm_sq):
    elements, points = wall()
    matrix = potential_matrix(elements, earth_m=0.0)
    wires, cells = slice(0, elements.wires), slice(elements.wires, None)
    bonds = conductances(ohm_sq, bonded=0)
    count = COUNT * COUNT
    left = np.block(
        [
            [matrix[wires, wires], matrix[wires, cells]],
            [
                bonds @ matrix[cells, wires],
                bonds @ matrix[cells, cells] + 1j * OMEGA * np.eye(count),
            ],
        ]
    )
    right = np.concatenate((np.full(elements.wires, VOLTS), np.zeros(count)))
    # rows of charge and of current are of very different size
    scale = np.abs(left).max(axis=1)
    charge = np.linalg.solve(left / scale[:, np.newaxis], right / scale)
    return magnitude(field_matrix(elements, points, earth_m=0.0) @ charge)


def as_a_conductor():
    elements, points = wall()
    cells = np.arange(elements.wires, len(elements))
    state = terminals(
        factor(
            matrix=potential_matrix(elements, earth_m=0.0),
            field=field_matrix(elements, points, earth_m=0.0),
            cells=cells,
            others=np.arange(elements.wires),
        ),
        islands=[cells],
        runs=[np.arange(elements.wires)],
    )
    volts = voltages(
        state.capacitance,
        known=np.array([0.0, VOLTS], complex),
        free=np.array([0]),
        resistance_ohm=np.array([0.0]),
        frequency_hz=50.0,
    )
    return magnitude((state.field @ volts).reshape(-1, 3))


@pytest.mark.parametrize("ohm_sq", [0.1, 5.0, 1e3])
def test_up_to_a_thousand_ohms_a_square_is_one_conductor(ohm_sq):
    assert with_currents(ohm_sq) == pytest.approx(as_a_conductor(), rel=1e-3)


def test_a_hundred_thousand_are_nearly_one_and_a_hundred_million_are_none():
    """Beside the field without the sheet: in its shadow there is next to nothing to compare."""
    elements, points = wall()
    wires = np.arange(elements.wires)
    charge = np.linalg.solve(
        potential_matrix(elements, earth_m=0.0)[np.ix_(wires, wires)], np.full(len(wires), VOLTS)
    )
    bare = magnitude(field_matrix(elements, points, earth_m=0.0)[..., wires] @ charge)
    conductor = as_a_conductor()
    assert (np.abs(with_currents(1e5) - conductor) < 0.02 * bare).all()
    assert (np.abs(with_currents(1e8) - conductor) > 0.2 * bare).all()
