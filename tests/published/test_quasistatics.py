"""The wiring's field against closed forms, exact maps and finite differences.

The rows stand in `authorities/quasistatics.csv`, each with its source and how it was seen:
textbook formulas (sphere, disc, wire over a plane), F. H. Read (J. Comput. Phys. 133, 1, 1997) and
E. R. Love (Q. J. Mech. Appl. Math. 2, 428, 1949) for plates, the oblate-spheroidal solution for a
hole (Jackson sec. 3.13), Joukowski's map for a strip, and finite differences in an earthed box. The
unit cube's 0.66067815 is of C.-O. Hwang and M. Mascagni (J. Appl. Phys. 95, 3798,
2004), from memory.
"""

import csv
import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.physics.cables import equivalent_wire
from envelope.physics.tables.cables import CABLES, CORD, CrossSection
from envelope.wiring.elements import elements_of
from envelope.wiring.grid import breaks, wire_pieces
from envelope.wiring.matrix import field_matrix, potential_matrix
from envelope.wiring.network import factor, terminals, voltages

EPSILON_0_F_M = 8.8541878188e-12


def cosine(n, length=1.0):
    """Breaks that are finer at both ends."""
    return length * 0.5 * (1.0 - np.cos(np.pi * np.arange(n + 1) / n))


def rectangle(origin, along, up, us, vs):
    """Cells of a grid on a rectangle."""
    o, a, b = (np.asarray(value, dtype=float) for value in (origin, along, up))
    return [
        np.array(
            [o + u0 * a + v0 * b, o + u1 * a + v0 * b, o + u1 * a + v1 * b, o + u0 * a + v1 * b]
        )
        for u0, u1 in itertools.pairwise(us)
        for v0, v1 in itertools.pairwise(vs)
    ]


def plate(side, n, z=0.0):
    return rectangle([0, 0, z], [1, 0, 0], [0, 1, 0], cosine(n, side), cosine(n, side))


def cube(n):
    t = cosine(n)
    faces = []
    for axis in range(3):
        one, other = (np.eye(3)[other] for other in range(3) if other != axis)
        for level in (0.0, 1.0):
            faces += rectangle(level * np.eye(3)[axis], one, other, t, t)
    return faces


def disc(radius, rings, sectors, z=0.0, radii=None):
    """A disc of the same area as the round one, rings finer at the rim."""
    r = radius * np.sin(0.5 * np.pi * np.arange(rings + 1) / rings) if radii is None else radii
    turn = 2.0 * np.pi * np.arange(sectors + 1) / sectors
    swell = np.sqrt(2.0 * np.pi / sectors / np.sin(2.0 * np.pi / sectors))

    def at(distance, angle):
        return [swell * distance * np.cos(angle), swell * distance * np.sin(angle), z]

    cells = []
    for inner, outer in itertools.pairwise(r):
        for a, b in itertools.pairwise(turn):
            near = [at(inner, a)] if inner < 1e-12 else [at(inner, b), at(inner, a)]
            cells.append(np.array([*near, at(outer, a), at(outer, b)]))
    return cells


def sphere(level):
    """A sphere of radius 1 m as triangles of the same total area."""
    gold = (1 + 5**0.5) / 2
    corners = np.array(
        [
            *((s, t * gold, 0.0) for t in (1, -1) for s in (-1, 1)),
            *((0.0, s, t * gold) for t in (1, -1) for s in (-1, 1)),
            *((t * gold, 0.0, s) for t in (1, -1) for s in (-1, 1)),
        ]
    )
    corners /= np.linalg.norm(corners[0])
    edge = min(np.linalg.norm(corners[0] - other) for other in corners[1:])
    faces = [
        corners[[a, b, c]]
        for a in range(12)
        for b in range(a)
        for c in range(b)
        if all(
            abs(np.linalg.norm(corners[p] - corners[q]) - edge) < 1e-9
            for p, q in ((a, b), (b, c), (c, a))
        )
    ]
    for _ in range(level):
        finer = []
        for face in faces:
            middle = (face + np.roll(face, -1, axis=0)) / 2.0
            middle /= np.linalg.norm(middle, axis=1)[:, None]
            finer += [np.array([face[k], middle[k], middle[k - 1]]) for k in range(3)]
            finer.append(middle)
        faces = finer
    area = sum(np.linalg.norm(np.cross(f[1] - f[0], f[2] - f[0])) / 2.0 for f in faces)
    return [face * np.sqrt(4.0 * np.pi / area) for face in faces]


def capacitance(parts, earth_m=None, wires=()):
    """Capacitance matrix of bodies, each a list of cells; wires are the last body."""
    cells = [cell for part in parts for cell in part]
    elements = elements_of(wires=list(wires), cells=cells)
    matrix = potential_matrix(elements, earth_m=earth_m)
    owner = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    owner = np.concatenate((np.full(len(wires), len(parts)), owner))
    belongs = (owner[:, None] == np.arange(owner.max() + 1)).astype(float)
    charges = np.linalg.solve(matrix, belongs)
    return belongs.T @ charges, charges, elements


def extrapolated(coarse, fine, ratio):
    """Limit of two meshes whose error falls with the square of the step."""
    return fine + (fine - coarse) / (ratio**2 - 1.0)


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "quasistatics.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found, quantity
    return found


def numbers(text):
    return [float(each) for each in re.findall(r"(?<![\w.])[\d.]+(?:e[-+]?\d+)?", text)]


def value(quantity, inputs=""):
    (row,) = (row for row in rows(quantity) if inputs in row["inputs"])
    return float(row["value"])


def of_two_meshes(make, coarse, fine):
    return extrapolated(make(coarse), make(fine), fine / coarse)


def test_isolated_bodies():
    # each step halves the triangles' sides
    ball = extrapolated(capacitance([sphere(1)])[0][0, 0], capacitance([sphere(2)])[0][0, 0], 2.0)
    assert ball == pytest.approx(value("sphere capacitance"), rel=1e-3)
    flat = of_two_meshes(lambda n: capacitance([disc(1.0, n, 4 * n)])[0][0, 0], 5, 10)
    assert flat == pytest.approx(value("disc capacitance"), rel=1e-3)
    square = of_two_meshes(lambda n: capacitance([plate(1.0, n)])[0][0, 0], 9, 18)
    share = value("unit square plate capacitance / (4 pi eps0 a)")
    assert square == pytest.approx(4 * np.pi * EPSILON_0_F_M * share, rel=1e-3)
    box = of_two_meshes(lambda n: capacitance([cube(n)])[0][0, 0], 5, 10)
    assert box == pytest.approx(4 * np.pi * EPSILON_0_F_M * 0.66067815, rel=1e-3)


@pytest.mark.parametrize("height_m", [0.1, 0.02])
def test_a_plate_over_earth(height_m):
    def over_earth(n):
        return capacitance([plate(1.0, n, z=height_m)], earth_m=0.0)[0][0, 0]

    found = of_two_meshes(over_earth, 9, 18)
    expected = value("square plate above infinite ground plane", f"height={height_m:g} m")
    assert found == pytest.approx(expected, rel=1e-3)


def test_two_discs():
    def apart(n):
        both = capacitance([disc(1.0, n, 4 * n, z=0.05), disc(1.0, n, 4 * n)])[0]
        return (both[0, 0] - both[0, 1]) / 2.0

    found = of_two_meshes(apart, 6, 9)
    assert found == pytest.approx(value("circular parallel plates"), rel=1e-3)


def test_long_wires_over_earth():
    for row in rows("wire above ground plane"):
        height_m, radius_m = numbers(row["inputs"])
        half_m = max(200.0 * height_m, 100.0)
        # the charge per metre in the middle of a wire so long that its ends are far
        steps = np.concatenate((-np.geomspace(half_m, 0.2, 40), np.geomspace(0.2, half_m, 40)))
        pieces = [
            (np.array([[a, 0.0, height_m], [b, 0.0, height_m]]), radius_m)
            for a, b in itertools.pairwise(steps)
        ]
        elements = elements_of(wires=pieces)
        charge = np.linalg.solve(potential_matrix(elements, earth_m=0.0), np.ones(len(pieces)))
        found = charge[39] / 0.4
        assert found == pytest.approx(float(row["value"]), rel=5e-3), row


def test_the_field_of_wires_near_a_wall_and_a_floor():
    """A hot wire, and a pair, each against the line charges and their images of the rows."""
    for volts in (120.0, 230.0):
        for quantity, offsets, live in (
            ("unperturbed E, hot + neutral pair", (0.0025, -0.0025), (0,)),
            ("unperturbed E, flat 3-wire cable", (-0.005, 0.0, 0.005), (1,)),
        ):
            found = [row for row in rows(quantity) if f"V={volts:.0f} " in row["inputs"]]
            for row in found:
                steps = np.concatenate((-np.geomspace(60.0, 0.1, 50), np.geomspace(0.1, 60.0, 50)))
                pieces, owner = [], []
                for number, offset in enumerate(offsets):
                    for a, b in itertools.pairwise(steps):
                        ends = [[a, 0.0, 0.5 + offset], [b, 0.0, 0.5 + offset]]
                        pieces.append((np.array(ends), 0.0008))
                        owner.append(number)
                elements = elements_of(wires=pieces)
                volt = volts * np.isin(owner, live)
                charge = np.linalg.solve(potential_matrix(elements, earth_m=0.0), volt)
                field = field_matrix(elements, np.array([[0.0, 1.02, 0.5]]), earth_m=0.0) @ charge
                assert np.linalg.norm(field) == pytest.approx(float(row["value"]), rel=0.01), row


@pytest.mark.parametrize(
    ("name", "quantity"),
    [
        ("round", "cable, equivalent radius: round three-core"),
        ("flat", "cable, equivalent radius: flat hot-earth-neutral"),
    ],
)
def test_the_tables_cables_are_what_their_cross_sections_say(name, quantity):
    found = equivalent_wire(CABLES[name].section)
    assert found.radius_m == pytest.approx(value(quantity), rel=0.01)
    assert sum(found.weights) == pytest.approx(1.0, abs=1e-12)


def test_every_tabled_cable_is_its_resolved_cross_section():
    assert equivalent_wire(CABLES["flat"].section).weights[1] == pytest.approx(0.169, rel=0.01)
    for cable in (*CABLES.values(), CORD):
        if cable.section is not None:
            found = equivalent_wire(cable.section)
            assert found.weights[0] == pytest.approx(cable.weight, rel=0.01)
            assert found.radius_m == pytest.approx(cable.radius_m, rel=0.01)


def test_cross_sections_in_closed_form():
    """One bare wire is itself; a pair of equal wires acts as √(a d) (two cylinders, textbook).

    A coated wire looks the same from outside as a bare one of the same free charge: its radius
    follows from ln(b/r) = ln(b/a)/ε.
    """
    single = equivalent_wire(CrossSection(conductors_m=((0.0, 0.0, 0.8e-3),)))
    assert single.radius_m == pytest.approx(0.8e-3, rel=1e-3)
    pair = equivalent_wire(CrossSection(conductors_m=((-0.05, 0.0, 0.8e-3), (0.05, 0.0, 0.8e-3))))
    assert pair.radius_m == pytest.approx((0.8e-3 * 0.1) ** 0.5, rel=2e-3)
    coated = equivalent_wire(
        CrossSection(
            conductors_m=((0.0, 0.0, 0.8e-3),), insulation_m=(2.4e-3,), insulation_permittivity=4.0
        )
    )
    assert coated.radius_m == pytest.approx(2.4e-3 / 3.0**0.25, rel=0.01)


def test_bare_rows_of_cables():
    flat = CrossSection(conductors_m=tuple((x, 0.0, 0.8e-3) for x in (-5e-3, 0.0, 5e-3)))
    expected = value("cable, equivalent radius: flat neutral-hot-earth bare")
    assert equivalent_wire(flat).radius_m == pytest.approx(expected, rel=0.01)


def test_bond_resistance_rows():
    """The equation of a terminal, jωQ = −V/R, against the capacitive divider of the rows."""
    wire_sheet_f = 4.0 * value("wire above ground plane", "h=0.02 m")
    sheet_earth_f = 100e-12
    capacitance_f = np.array(
        [[wire_sheet_f + sheet_earth_f, -wire_sheet_f], [-wire_sheet_f, wire_sheet_f]]
    )
    for row in rows("sheet potential vs bonding resistance"):
        volts, hertz = (float(re.search(rf"{key}=(\d+)", row["inputs"])[1]) for key in ("V", "f"))
        ohm = float(re.search(r"R_ohm=(\S+);", row["inputs"])[1])
        found = voltages(
            capacitance_f,
            known=np.array([0.0, volts], complex),
            free=np.array([0]),
            resistance_ohm=np.array([ohm]),
            frequency_hz=hertz,
        )
        assert abs(found[0]) == pytest.approx(float(row["value"]), rel=2e-6), row
    for row in rows("displacement current into a bonded sheet"):
        found = 2.0 * np.pi * 50.0 * wire_sheet_f * 230.0
        assert found == pytest.approx(float(row["value"]), rel=1e-6)


def test_a_hole_in_a_sheet():
    """What comes through is the removed charge of the hole and the sheet's answer to it.

    In an even field on one side a whole sheet carries −ε0 E0; half of the field passes as if the
    sheet were not there, the other half is of that charge. Without it in the hole the sheet's own
    charge shifts until its potential is even again: both together are the field behind.
    """
    sectors = 32
    hole = disc(1.0, 6, sectors)
    radii = np.concatenate(([1.0], 1.0 + np.geomspace(0.02, 39.0, 22)))
    sheet = disc(40.0, 0, sectors, radii=radii)
    elements = elements_of(wires=[], cells=[*hole, *sheet])
    matrix = potential_matrix(elements, earth_m=None)
    in_hole = np.arange(len(elements)) < len(hole)
    charge = np.zeros(len(elements))
    charge[in_hole] = EPSILON_0_F_M * elements.cells.area_m2[in_hole]
    on_sheet = matrix[np.ix_(~in_hole, in_hole)] @ charge[in_hole]
    charge[~in_hole] = np.linalg.solve(matrix[np.ix_(~in_hole, ~in_hole)], -on_sheet)
    radius = 1.0
    for distance, allowed in ((0.02, 0.01), (1.0, 0.01), (2.0, 0.01), (10.0, 0.04), (20.0, 0.04)):
        t = distance / radius
        expected = (np.arctan(1.0 / t) - t / (1.0 + t * t)) / np.pi
        point = np.array([[0.0, 0.0, distance]])
        found = abs(field_matrix(elements, point, earth_m=None)[0, 2] @ charge)
        assert found == pytest.approx(expected, rel=allowed), distance
    for row in rows("static leakage through round hole"):
        radius_m, distance_m = numbers(row["inputs"])
        t = distance_m / radius_m
        exact = (np.arctan(1.0 / t) - t / (1.0 + t * t)) / np.pi
        assert exact == pytest.approx(float(row["value"]), rel=1e-5)


def test_a_bonded_strip_over_a_wire():
    """A long neutral strip in front of a line charge, against Joukowski's map (exact)."""
    half_m = 15.0
    middle = np.geomspace(0.3, half_m, 18)
    along = np.concatenate((-middle[::-1], [0.0], middle))
    for width_m, depth_m in ((0.25, 0.057), (0.25, 0.02), (0.3, 0.02), (0.23, 0.057)):
        across = width_m / 2.0 * np.sin(np.pi / 2.0 * np.linspace(-1, 1, 17))
        cells = rectangle([0, 0, 0], [1, 0, 0], [0, 1, 0], across, along)
        wires = [
            (np.array([[0.0, a, -depth_m], [0.0, b, -depth_m]]), 0.001)
            for a, b in itertools.pairwise(along)
        ]
        elements = elements_of(wires=wires, cells=cells)
        matrix = potential_matrix(elements, earth_m=None)
        wire = np.arange(len(elements)) < len(wires)
        charge = np.where(wire, elements.diameter_m, 0.0)
        # the strip's potential is even, and it carries what the wire does, the other way round
        system = np.block([[matrix[~wire][:, ~wire], -np.ones(((~wire).sum(), 1))]])
        system = np.vstack((system, np.append(np.ones((~wire).sum()), 0.0)))
        right = np.append(-matrix[np.ix_(~wire, wire)] @ charge[wire], -charge.sum())
        charge[~wire] = np.linalg.solve(system, right)[:-1]
        for row in rows("field in front of a strip"):
            strip, behind, sideways, front = numbers(row["inputs"])
            if (strip, behind) != (width_m, depth_m):
                continue
            point = np.array([[sideways, 0.0, front]])
            field = field_matrix(elements, point, earth_m=None)[0] @ charge
            bare = 1.0 / (2.0 * np.pi * EPSILON_0_F_M * np.hypot(sideways, front + depth_m))
            found = np.linalg.norm(field) / bare
            assert found == pytest.approx(float(row["value"]), rel=0.02), row


def test_an_earthed_box_with_a_plate():
    """A live wire and a plate in an earthed box, against finite differences of 25 mm."""
    size = np.array([5.0, 4.0, 3.0])
    steps = breaks(0.0, 2.0, coarse_m=0.3, lines=[(0.0, 0.05), (2.0, 0.05)])
    up = breaks(0.0, 1.5, coarse_m=0.3, lines=[(0.0, 0.05), (0.5, 0.06), (1.5, 0.05)])
    inner = rectangle([1.5, 2.2, 0.5], [1, 0, 0], [0, 0, 1], steps, up)
    shell = []
    for axis in range(3):
        one, other = (each for each in range(3) if each != axis)
        for level in (0.0, size[axis]):
            shell += rectangle(
                level * np.eye(3)[axis],
                np.eye(3)[one],
                np.eye(3)[other],
                np.linspace(0.0, size[one], 9),
                np.linspace(0.0, size[other], 8),
            )
    path = np.array([[1.0, 2.0, 1.0], [4.0, 2.0, 1.0]])
    wires = [(ends, 4.975e-3) for ends in wire_pieces(path, step_m=0.08)]
    elements = elements_of(wires=wires, cells=[*inner, *shell])
    points = np.array([[2.5, 2.6, 1.0], [2.5, 1.4, 1.0], [2.5, 3.0, 1.4], [3.8, 2.4, 1.0]])
    first, last = len(wires), len(wires) + len(inner)
    state = terminals(
        factor(
            matrix=potential_matrix(elements, earth_m=None),
            field=field_matrix(elements, points, earth_m=None),
            cells=np.arange(first, len(elements)),
            others=np.arange(first),
        ),
        islands=[np.arange(first, last), np.arange(last, len(elements))],
        runs=[np.arange(first)],
    )
    for word, ohm in (("bonded", 0.0), ("floating", np.inf)):
        volts = voltages(
            state.capacitance,
            known=np.array([0.0, 0.0, 1.0], complex),
            free=np.array([0]),
            resistance_ohm=np.array([ohm]),
            frequency_hz=50.0,
        )
        charge = (state.capacitance @ volts)[2].real
        assert charge == pytest.approx(value(f"charge of the wire, plate {word}"), rel=0.015)
        field = np.linalg.norm((state.field @ volts).reshape(-1, 3), axis=1)
        for point, found in zip(points, field, strict=True):
            label = "field at (" + ",".join(f"{each:g}" if each != 3.0 else "3.0" for each in point)
            for row in rows("field at"):
                same = row["quantity"].startswith(label) and row["quantity"].endswith(word)
                if same and float(row["value"]) > 0.04:
                    assert found == pytest.approx(float(row["value"]), rel=0.03), row
    assert abs(volts[0]) == pytest.approx(value("potential of a floating plate"), rel=0.015)
