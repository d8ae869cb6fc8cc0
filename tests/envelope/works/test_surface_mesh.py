"""Conduction on meshed coatings against closed forms."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from envelope.geometry.plane import Frame, frame_of, frozen
from envelope.physics.sheet_conduction import Sheet, pieces_of, resistances
from envelope.works.surface_mesh import Disc, FlatPiece, SurfaceMesh, mesh_surface


def wall(
    outline: list[tuple[float, float, float]],
    holes: list[shapely.Polygon] | None = None,
    ohm: float = 5.0,
) -> FlatPiece:
    corners = np.array(outline)
    frame = frame_of(corners)
    area = shapely.Polygon(frame.flatten(corners))
    for hole in holes or []:
        area = area.difference(hole)
    return FlatPiece(frame=frame, area=area, sheet_resistance_ohm_sq=ohm)


def sheet_of(mesh: SurfaceMesh, pieces: list[FlatPiece], contacts: tuple | None = None) -> Sheet:
    ohm = np.array([piece.sheet_resistance_ohm_sq for piece in pieces])[mesh.piece_of]
    return Sheet(
        nodes=mesh.nodes,
        triangles=mesh.triangles,
        sheet_resistance_ohm_sq=ohm,
        contacts=mesh.contacts if contacts is None else contacts,
    )


def flat(width: float, height: float) -> list[tuple[float, float, float]]:
    return [(0, 0, 0), (width, 0, 0), (width, 0, height), (0, 0, height)]


def on_line(mesh: SurfaceMesh, axis: int, value: float) -> np.ndarray:
    return np.flatnonzero(np.abs(mesh.nodes[:, axis] - value) < 1e-9)


def area_of(mesh: SurfaceMesh) -> float:
    corners = mesh.nodes[mesh.triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return float(np.linalg.norm(cross, axis=1).sum() / 2)


def test_bars_across_a_strip() -> None:
    """Two bars along the short sides: R = Rs · length / width, exactly (geometry)."""
    pieces = [wall(flat(4.0, 1.5))]
    mesh = mesh_surface(pieces_flat=pieces, discs=[], size_m=0.2)
    bars = (on_line(mesh, 0, 0.0), on_line(mesh, 0, 4.0))
    found = resistances(sheet_of(mesh, pieces, bars))
    assert found[0, 1] == pytest.approx(5.0 * 4.0 / 1.5, rel=1e-12)


def test_a_strip_folded_round_corners_is_the_strip_laid_flat() -> None:
    pieces = [
        wall([(0, 0, 0), (2, 0, 0), (2, 0, 1.5), (0, 0, 1.5)]),
        wall([(2, 0, 0), (2, 1.3, 0), (2, 1.3, 1.5), (2, 0, 1.5)]),
        wall([(2, 1.3, 0), (2.4, 2.0, 0), (2.4, 2.0, 1.5), (2, 1.3, 1.5)]),
    ]
    mesh = mesh_surface(pieces_flat=pieces, discs=[], size_m=0.17)
    ends = (on_line(mesh, 0, 0.0), on_line(mesh, 1, 2.0))
    length = 2.0 + 1.3 + np.hypot(0.4, 0.7)
    found = resistances(sheet_of(mesh, pieces, ends))
    assert found[0, 1] == pytest.approx(5.0 * length / 1.5, rel=1e-12)


def test_two_round_contacts_on_a_large_sheet() -> None:
    """R = (Rs/π) acosh(D/2a) on an unbounded sheet: 2-D conduction between equipotential discs.

    9.077834 Ω at 5 Ω/sq, D = 3 m, a = 10 mm. A sheet of finite size is above it; images at the
    sides of a square of side L add about (Rs/π)·O(D²/L²), so the square is 60 m wide.
    """
    pieces = [wall(flat(60.0, 60.0))]
    discs = [Disc(piece=0, centre=np.array([x, 30.0]), radius_m=0.01) for x in (28.5, 31.5)]
    mesh = mesh_surface(pieces_flat=pieces, discs=discs, size_m=2.0)
    found = resistances(sheet_of(mesh, pieces))[0, 1]
    assert found == pytest.approx(9.077834, rel=0.01)


def test_half_a_sheet_has_twice_the_resistance() -> None:
    """By symmetry: contacts on the middle line, cut along it."""
    whole = [wall(flat(6.0, 6.0))]
    discs = [Disc(piece=0, centre=np.array([x, 3.0]), radius_m=0.05) for x in (2.0, 4.0)]
    mesh = mesh_surface(pieces_flat=whole, discs=discs, size_m=0.3)
    both = resistances(sheet_of(mesh, whole))[0, 1]
    shape = shapely.box(0, 0, 6, 3)
    for x in (2.0, 4.0):
        shape = shape.difference(shapely.Point(x, 3.0).buffer(0.05, quad_segs=16))
    half = [FlatPiece(frame=whole[0].frame, area=shape, sheet_resistance_ohm_sq=5.0)]
    cut = mesh_surface(pieces_flat=half, discs=[], size_m=0.025)
    away = [np.hypot(cut.nodes[:, 0] - x, cut.nodes[:, 2] - 3.0) for x in (2.0, 4.0)]
    contacts = tuple(np.flatnonzero(each < 0.0501) for each in away)
    one = resistances(sheet_of(cut, half, contacts))[0, 1]
    assert one == pytest.approx(2.0 * both, rel=0.01)


def test_four_contacts_at_the_edge_satisfy_van_der_pauw() -> None:
    """exp(−πR₁/Rs) + exp(−πR₂/Rs) = 1 for point contacts at the edge of any sheet without holes.

    L. J. van der Pauw, Philips Research Reports 13, 1958. R₁ is the voltage between two
    neighbours per ampere through the other two; from two-point resistances it is
    (R₁₄ + R₂₃ − R₁₃ − R₂₄)/2.
    """
    outline = [(0, 0, 0), (5, 0, 0), (5, 0, 2), (3, 0, 2), (3, 0, 3.5), (0, 0, 3.5)]
    pieces = [wall(outline, ohm=7.0)]
    mesh = mesh_surface(pieces_flat=pieces, discs=[], size_m=0.05)
    spots = [(1.0, 0.0), (5.0, 1.0), (3.0, 3.0), (0.0, 2.0)]
    contacts = tuple(
        np.array([np.argmin(np.hypot(mesh.nodes[:, 0] - x, mesh.nodes[:, 2] - z))])
        for x, z in spots
    )
    two = resistances(sheet_of(mesh, pieces, contacts))
    # current in at 1, out at 2; voltage between 4 and 3
    first = (two[0, 2] + two[1, 3] - two[0, 3] - two[1, 2]) / 2.0
    second = (two[1, 3] + two[2, 0] - two[1, 0] - two[2, 3]) / 2.0
    assert np.exp(-np.pi * first / 7.0) + np.exp(-np.pi * second / 7.0) == pytest.approx(
        1.0, abs=0.01
    )


def test_finer_triangles_come_closer_from_below() -> None:
    errors = []
    exact = None
    pieces = [wall(flat(6.0, 3.0))]
    discs = [Disc(piece=0, centre=np.array([x, 1.5]), radius_m=0.05) for x in (1.0, 5.0)]
    values = [
        resistances(sheet_of(mesh_surface(pieces_flat=pieces, discs=discs, size_m=h), pieces))[0, 1]
        for h in (0.6, 0.3, 0.15, 0.075)
    ]
    exact = values[-1] + (values[-1] - values[-2]) / 3.0
    errors = [exact - value for value in values]
    assert all(after < before for before, after in itertools.pairwise(errors))
    assert errors[1] / exact < 0.01


def test_area_is_that_of_the_pieces_less_the_discs_and_all_is_one_surface() -> None:
    window = shapely.box(1.0, 0.9, 2.2, 2.0)
    box = shapely.box(3.0, 0.25, 3.08, 0.33)
    pieces = [
        wall(flat(4.2, 2.4), [window, box]),
        wall([(4.2, 0, 0), (4.2, 3.0, 0), (4.2, 3.0, 2.4), (4.2, 0, 2.4)]),
        wall([(0, 0, 2.4), (4.2, 0, 2.4), (4.2, 3.0, 2.4), (0, 3.0, 2.4)][::-1]),
    ]
    discs = [
        Disc(piece=0, centre=np.array([3.2, 0.3]), radius_m=0.015),
        Disc(
            piece=2, centre=pieces[2].frame.flatten(np.array([[1.0, 2.5, 2.4]]))[0], radius_m=0.01
        ),
    ]
    mesh = mesh_surface(pieces_flat=pieces, discs=discs, size_m=0.2)
    expected = sum(piece.area.area for piece in pieces) - np.pi * (0.015**2 + 0.01**2)
    assert area_of(mesh) == pytest.approx(expected, rel=1e-9)
    assert set(pieces_of(sheet_of(mesh, pieces)).tolist()) == {0}


def test_pieces_that_do_not_touch_are_not_connected() -> None:
    pieces = [wall(flat(2.0, 2.0)), wall([(2.1, 0, 0), (4, 0, 0), (4, 0, 2), (2.1, 0, 2)])]
    discs = [Disc(piece=index, centre=np.array([0.5, 0.5]), radius_m=0.01) for index in (0, 1)]
    mesh = mesh_surface(pieces_flat=pieces, discs=discs, size_m=0.3)
    sheet = sheet_of(mesh, pieces)
    assert resistances(sheet)[0, 1] == np.inf
    assert len(set(pieces_of(sheet).tolist())) == 2


def test_turned_in_space_nothing_changes() -> None:
    rng = np.random.default_rng(4)
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    base = wall(flat(4.0, 2.5))
    moved = Frame(
        origin=frozen(turn @ base.frame.origin + 3.0),
        u=frozen(turn @ base.frame.u),
        v=frozen(turn @ base.frame.v),
        normal=frozen(turn @ base.frame.normal),
    )
    values = []
    for frame in (base.frame, moved):
        pieces = [FlatPiece(frame=frame, area=base.area, sheet_resistance_ohm_sq=5.0)]
        discs = [Disc(piece=0, centre=np.array([x, 1.0]), radius_m=0.02) for x in (0.5, 3.0)]
        mesh = mesh_surface(pieces_flat=pieces, discs=discs, size_m=0.25)
        values.append(resistances(sheet_of(mesh, pieces))[0, 1])
    assert values[0] == pytest.approx(values[1], rel=1e-9)
