"""Symmetries and limits of the boundary elements."""

import itertools

import numpy as np
import pytest

from envelope.wiring.elements import elements_of
from envelope.wiring.matrix import field_matrix, mirrored, potential_at, potential_matrix
from envelope.wiring.network import factor, magnitude, terminals, voltages

COMMON = {"frequency_hz": 50.0}


def plate(corner, along, up, count):
    shares = np.linspace(0.0, 1.0, count + 1)
    a, u, v = (np.asarray(each, float) for each in (corner, along, up))
    return [
        np.array(
            [
                a + shares[i] * u + shares[j] * v,
                a + shares[i + 1] * u + shares[j] * v,
                a + shares[i + 1] * u + shares[j + 1] * v,
                a + shares[i] * u + shares[j + 1] * v,
            ]
        )
        for i in range(count)
        for j in range(count)
    ]


def scene(turn=None, shift=(0.0, 0.0, 0.0), size=1.0, count=6, step=10):
    """A live wire before one plate, and a second plate above; points beyond."""
    turned = np.eye(3) if turn is None else turn

    def moved(points):
        return size * (np.asarray(points, float) @ turned.T) + shift

    cells = [
        moved(cell)
        for corner, along, up in (
            ([0.0, 0.2, 0.5], [2.0, 0.0, 0.0], [0.0, 0.0, 1.5]),
            ([0.0, 0.2, 2.2], [2.0, 0.0, 0.0], [0.0, 1.5, 0.0]),
        )
        for cell in plate(corner, along, up, count)
    ]
    line = np.linspace([-0.5, 0.0, 1.0], [2.5, 0.0, 1.0], step + 1)
    wires = [(moved(pair), 0.004 * size) for pair in itertools.pairwise(line)]
    points = moved([[1.0, 0.9, 1.1], [0.4, 0.7, 1.6], [1.7, 1.4, 0.8]])
    return elements_of(wires=wires, cells=cells), points, count * count


def solved(elements, points, cells, earth_m=None, ohm=(np.inf, 0.0)):
    first = elements.wires
    state = terminals(
        factor(
            matrix=potential_matrix(elements, earth_m=earth_m),
            field=field_matrix(elements, points, earth_m=earth_m),
            cells=np.arange(first, len(elements)),
            others=np.arange(first),
        ),
        islands=[np.arange(first, first + cells), np.arange(first + cells, first + 2 * cells)],
        runs=[np.arange(first)],
    )
    volts = voltages(
        state.capacitance,
        known=np.array([0.0, 0.0, 230.0], complex),
        free=np.array([0, 1]),
        resistance_ohm=np.array(ohm),
        frequency_hz=50.0,
    )
    return state, volts, magnitude((state.field @ volts).reshape(-1, 3))


def rotation(seed):
    found, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return found if np.linalg.det(found) > 0.0 else -found


def test_the_matrix_is_symmetric_and_positive():
    elements, _, _ = scene()
    for earth_m in (None, 0.2):
        matrix = potential_matrix(elements, earth_m=earth_m)
        assert np.abs(matrix - matrix.T).max() < 1e-10 * np.abs(matrix).max()
        assert np.linalg.eigvalsh(matrix).min() > 0.0


def test_a_floating_sheet_has_no_charge_and_a_bonded_one_no_voltage():
    elements, points, cells = scene()
    state, volts, _ = solved(elements, points, cells, earth_m=0.0)
    charge = state.capacitance @ volts
    assert abs(charge[0]) < 1e-9 * abs(charge[2])
    assert volts[1] == 0.0
    # every column of charges adds up to its row of the capacitance matrix
    own = state.active < elements.wires
    assert state.charges[own].sum(axis=0) == pytest.approx(state.capacitance[2], rel=1e-9)


def test_capacitances_are_symmetric_and_of_the_right_sign():
    elements, points, cells = scene()
    state, _, _ = solved(elements, points, cells, earth_m=0.0)
    assert np.abs(state.capacitance - state.capacitance.T).max() < 1e-10 * state.capacitance.max()
    off = state.capacitance - np.diag(np.diag(state.capacitance))
    assert (off <= 0.0).all()
    assert (state.capacitance.sum(axis=1) > 0.0).all()


def test_turning_and_moving_a_room_changes_nothing():
    elements, points, cells = scene()
    _, _, before = solved(elements, points, cells)
    for seed in range(3):
        turned = scene(turn=rotation(seed), shift=(3.0, -7.0, 11.0))
        _, _, after = solved(*turned)
        assert after == pytest.approx(before, rel=1e-5)


def test_twice_the_size_is_half_the_field():
    _, _, before = solved(*scene())
    _, _, after = solved(*scene(size=2.0))
    assert after == pytest.approx(before / 2.0, rel=1e-9)


def test_halved_cells_move_the_field_by_less_than_3_per_cent():
    _, _, coarse = solved(*scene(count=6, step=15))
    _, _, fine = solved(*scene(count=12, step=30))
    assert coarse == pytest.approx(fine, rel=0.03)


def test_a_million_ohms_more_or_less_move_a_voltage_smoothly():
    elements, points, cells = scene()
    volts = [
        abs(solved(elements, points, cells, earth_m=0.0, ohm=(ohm, 0.0))[1][0])
        for ohm in (0.0, 1e3, 1e6, 1e8, 1e12, np.inf)
    ]
    assert volts == sorted(volts)
    assert volts[-2] == pytest.approx(volts[-1], rel=1e-3)


def test_the_earth_plane_is_at_zero_volts():
    elements, _, _ = scene()
    points = np.array([[0.3, 0.4, 0.0], [5.0, -2.0, 0.0]])
    on_plane = potential_at(elements, points, earth_m=0.0)
    above = potential_at(elements, points + np.array([0.0, 0.0, 0.3]), earth_m=0.0)
    assert np.abs(on_plane).max() < 1e-9 * np.abs(above).max()


def test_images_lie_as_far_below_the_earth_as_the_elements_above():
    elements, _, _ = scene()
    image = mirrored(elements, 0.25)
    assert image.centre[:, 2] == pytest.approx(0.5 - elements.centre[:, 2])
    assert image.cells.area_m2 == pytest.approx(elements.cells.area_m2)


def test_the_field_is_the_slope_of_the_potential():
    elements, points, _ = scene()
    charge = np.random.default_rng(1).normal(size=len(elements)) * 1e-12
    step = 1e-5
    slope = np.stack(
        [
            (
                potential_at(elements, points - step * axis, earth_m=0.1) @ charge
                - potential_at(elements, points + step * axis, earth_m=0.1) @ charge
            )
            / (2.0 * step)
            for axis in np.eye(3)
        ],
        axis=1,
    )
    field = field_matrix(elements, points, earth_m=0.1) @ charge
    # beyond three diameters a charge acts by its moments
    assert field == pytest.approx(slope, rel=2e-3, abs=2e-3 * np.abs(slope).max())


def test_closed_forms_are_what_quadrature_says():
    """A triangle, a skew quadrilateral and a wire, against 60 x 60 Gauss points."""
    corners = np.array([[0.1, 0.2, 0.3], [1.4, 0.1, 0.5], [1.1, 1.3, 0.2], [0.2, 0.9, 0.1]])
    normal = np.cross(corners[1] - corners[0], corners[3] - corners[0])
    normal /= np.linalg.norm(normal)
    corners -= ((corners - corners[0]) @ normal)[:, None] * normal
    nodes, weights = np.polynomial.legendre.leggauss(60)
    nodes, weights = (nodes + 1.0) / 2.0, weights / 2.0
    u, v = np.meshgrid(nodes, nodes)
    a, b, c, d = corners
    at = sum(
        (share[..., None] * corner)
        for share, corner in zip(
            ((1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v), corners, strict=True
        )
    )
    along = (1 - v)[..., None] * (b - a) + v[..., None] * (c - d)
    across = (1 - u)[..., None] * (d - a) + u[..., None] * (c - b)
    weight = np.outer(weights, weights) * np.linalg.norm(np.cross(along, across), axis=2)
    point = np.array([0.5, 0.6, 1.2])
    constant = 1.0 / (4.0 * np.pi * 8.8541878188e-12)
    far = np.linalg.norm(point - at, axis=2)
    expected = constant * (weight / far).sum() / weight.sum()
    elements = elements_of(wires=[], cells=[corners])
    found = potential_at(elements, point[None], earth_m=None)[0, 0]
    assert found == pytest.approx(expected, rel=1e-11)
