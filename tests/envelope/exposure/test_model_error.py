"""The model's own error: closed forms, limits, and what plans do not share."""

from __future__ import annotations

import math

import numpy as np
import pytest

from envelope.exposure.model_error import (
    difference_own_db,
    diffuse_error_db,
    own_db,
    shared_db,
)

TENTH = 1.2815515594457831


def of_room(absorbed, *, area=None, standing=0.0):
    count = len(absorbed)
    return diffuse_error_db(
        area_m2=np.full(count, 10.0) if area is None else np.asarray(area, dtype=float),
        space=np.zeros(count, dtype=np.int64),
        reflection=1.0 - np.asarray(absorbed, dtype=float),
        absorption_m2=np.array([standing]),
    )[0]


def test_faces_all_alike():
    """Black: 4.8 dB as a standard deviation; a perfect mirror with nothing in it: none."""
    assert of_room([1.0] * 6) == pytest.approx(TENTH * 4.8, rel=1e-12)
    assert of_room([0.0] * 6) == 0.0
    assert of_room([0.1] * 6) == pytest.approx(TENTH * 0.48, rel=1e-9)


def test_two_black_faces_of_six_mirrors():
    """ᾱ = 1/3, σ_α = √(1/3 · 2/3) = 0.4714."""
    expected = TENTH * math.hypot(4.8 / 3, 5.4 * math.sqrt(2) / 3)
    assert of_room([1, 1, 0, 0, 0, 0]) == pytest.approx(expected, rel=1e-12)
    # faces cut in pieces are the same faces
    areas = [5, 5, 10, 4, 6, 10, 10, 10]
    assert of_room([1, 1, 1, 0, 0, 0, 0, 0], area=areas) == pytest.approx(expected, rel=1e-12)


def test_partly_coated_is_less_sure_than_bare_or_closed():
    """Faces of a bedroom: walls, walls, ceiling, floor by area; α by layer formulas, rounded."""
    area = [10.1, 8.5, 10.1, 8.5, 14.7, 14.7]
    bare, walls, closed = (
        of_room(absorbed, area=area, standing=0.3)
        for absorbed in ([0.8] * 6, [0.1] * 4 + [0.75, 0.8], [0.1] * 6)
    )
    assert closed < 1.0 < walls < 5.0
    assert walls < bare  # of the diffuse field alone: the bare room's is a small part of its level
    level, share = 1.0, {"bare": 0.2, "walls": 0.85, "closed": 0.9}
    found = {
        name: own_db(
            level_w_m2=level,
            diffuse_w_m2=np.array([share[name] * level]),
            error_db=np.array([error]),
            as_built_w_m2=level,
        )
        for name, error in (("bare", bare), ("walls", walls), ("closed", closed))
    }
    assert found["walls"] > 2 * found["bare"]
    assert found["walls"] > 2 * found["closed"]


def test_people_and_furnishing_absorb_four_times_their_cross_section():
    """60 m² of faces: 1.5 m² in the room count like 0.1 on every face."""
    assert of_room([0.2] * 6, standing=1.5) == pytest.approx(of_room([0.3] * 6), rel=1e-9)
    assert of_room([0.2] * 6, standing=1e6) == pytest.approx(TENTH * 4.8)


def test_rooms_and_draws_apart():
    area, space = np.array([10.0, 20.0, 5.0, 5.0]), np.array([0, 1, 0, 1])
    reflection = np.array([[0.2, 0.9, 0.2, 0.9], [0.5, 0.5, 0.1, 0.9]])
    found = diffuse_error_db(
        area_m2=area, space=space, reflection=reflection, absorption_m2=np.zeros((2, 2))
    )
    assert found.shape == (2, 2)
    assert found[0] == pytest.approx([TENTH * 4.8 * 0.8, TENTH * 4.8 * 0.1], rel=1e-6)
    for row, room in ((0, 0), (1, 1), (1, 0)):
        own = space == room
        alone = of_room(1.0 - reflection[row, own], area=area[own])
        assert found[row, room] == pytest.approx(alone, rel=1e-6)


def test_own_error_of_a_level():
    """A level without diffuse part, as built, has none of its own; a tenth of what is gained."""
    plain = {"error_db": np.array([4.0, 2.0]), "as_built_w_m2": 1.0}
    assert own_db(level_w_m2=1.0, diffuse_w_m2=np.zeros(2), **plain) == 0.0
    assert own_db(level_w_m2=1e-2, diffuse_w_m2=np.zeros(2), **plain) == pytest.approx(2.0)
    assert own_db(level_w_m2=10.0, diffuse_w_m2=np.zeros(2), **plain) == pytest.approx(1.0)
    assert own_db(level_w_m2=1.0, diffuse_w_m2=np.array([0.5, 0.25]), **plain) == pytest.approx(2.5)
    assert own_db(level_w_m2=0.1, diffuse_w_m2=np.array([0.1, 0.0]), **plain) == pytest.approx(
        math.hypot(4.0, 1.0)
    )
    assert own_db(level_w_m2=0.0, diffuse_w_m2=np.zeros(2), **plain) == 0.0


def test_what_two_plans_do_not_share():
    assert difference_own_db(one_db=0.0, other_db=3.0) == pytest.approx(3.0)
    assert difference_own_db(one_db=2.0, other_db=2.0) == pytest.approx(2.0)
    assert difference_own_db(one_db=1.0, other_db=3.0) == pytest.approx(math.sqrt(7.0))
    assert difference_own_db(one_db=3.0, other_db=1.0) == pytest.approx(math.sqrt(7.0))


def test_the_shared_part_against_a_published_scatter():
    """3GPP TR 38.901, Table 7.4.3-2: σ 4.4 dB of a low-loss building's entry loss (from memory).

    Its walls are unknown, here they are drawn: what is shared must be less, and not by much.
    """
    assert 0.75 * 4.4 * TENTH < shared_db() < 4.4 * TENTH
