"""Strengths from readings as plain arrays: weights, scatter, least squares, bands."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from envelope.exposure.model_error import SHARED_DB
from envelope.exposure.tolerances import TENTH
from envelope.survey.solving import (
    AGAIN_DB,
    LIKE_NO_SCATTER,
    OPEN_AIR_DB,
    WIDEST_DB,
    Heard,
    can_be_told_apart,
    scatter_shape,
    solve,
    steady_weights,
)

DRAWS = 101
MANY = 10_000  # spots, so that nothing scatters


def heard(shown: list[float], direct: list[list[float]], **changes: Any) -> Heard:
    """Readings that come straight, whose responses nothing moves."""
    rows = len(shown)
    straight = np.array(direct, dtype=float)
    plain: dict[str, Any] = {
        "shown_w_m2": np.array(shown, dtype=float),
        "direct": straight,
        "spread": np.zeros_like(straight),
        "known_direct": np.zeros(rows),
        "known_spread": np.zeros(rows),
        "spots": np.ones(rows),
        "tolerance_db": np.zeros(rows),
        "indoors": np.ones(rows),
        **{key: np.array(value, dtype=float) for key, value in changes.items()},
    }
    whole = plain["direct"] + plain["spread"]
    known = plain["known_direct"] + plain["known_spread"]
    return Heard(
        drawn=np.repeat(whole[..., np.newaxis], DRAWS, axis=-1),
        known_drawn=np.repeat(known[:, np.newaxis], DRAWS, axis=-1),
        **plain,
    )


def half_width_db(found, place: int = 0) -> float:
    return 5.0 * math.log10(found.high[place] / found.low[place])


class TestOneSource:
    def test_a_reading_over_its_response(self):
        found = solve(heard([2e-4], [[0.1]]))
        assert found.value == pytest.approx([2e-3], rel=1e-12)

    def test_indoors_the_band_is_the_models_own_error(self):
        found = solve(heard([2e-4], [[0.1]]))
        assert half_width_db(found) == pytest.approx(math.hypot(SHARED_DB, AGAIN_DB), rel=0.05)

    def test_outdoors_it_is_that_of_a_level_read_on_the_spot(self):
        found = solve(heard([2e-4], [[1.0]], indoors=[0.0]))
        assert half_width_db(found) == pytest.approx(math.hypot(OPEN_AIR_DB, AGAIN_DB), rel=0.05)

    def test_the_meters_tolerance_adds_in_squares(self):
        found = solve(heard([2e-4], [[0.1]], tolerance_db=[12.0]))
        assert half_width_db(found) == pytest.approx(math.hypot(12.0, SHARED_DB), rel=0.05)

    def test_errors_that_readings_share_do_not_average_out(self):
        one = solve(heard([1e-4], [[0.1]], tolerance_db=[4.0]))
        nine = solve(heard([1e-4] * 9, [[0.1]] * 9, tolerance_db=[4.0] * 9))
        assert half_width_db(nine) == pytest.approx(half_width_db(one), rel=0.06)

    def test_errors_of_their_own_do(self):
        nine = solve(heard([1e-4] * 9, [[1.0]] * 9, indoors=[0.0] * 9))
        assert half_width_db(nine) == pytest.approx(
            math.hypot(OPEN_AIR_DB, AGAIN_DB) / 3.0, rel=0.05
        )

    def test_readings_are_averaged_in_decibels(self):
        found = solve(heard([1e-4, 4e-4], [[1.0], [1.0]], indoors=[0.0, 0.0]))
        assert found.value == pytest.approx([2e-4], rel=0.05)

    def test_one_that_scatters_less_weighs_more(self):
        spread = {"spread": [[0.1], [0.1]], "spots": [1.0, MANY]}
        found = solve(heard([1e-5, 4e-5], [[0.0], [0.0]], **spread))
        assert found.value == pytest.approx([4e-4], rel=0.1)

    def test_the_wide_band_holds_the_narrow_one(self):
        found = solve(heard([1e-5], [[0.0]], spread=[[0.1]]))
        assert found.lowest < found.low < found.value < found.high < found.highest

    def test_a_tolerance_holds_the_band_on_both_sides(self):
        found = solve(heard([1e-5], [[0.0]], spread=[[0.1]]))
        by = 10.0 ** (found.tolerance_db / 10.0)
        assert (found.value / by <= found.low * 1.000001).all()
        assert (found.value * by >= found.high * 0.999999).all()


class TestScatter:
    def test_one_spot_of_a_diffuse_field_scatters_by_5_57_decibels(self):
        # 10 lg of an exponential deviate: 10/ln 10 · π/√6
        shape = scatter_shape(heard([1.0], [[0.0]], spread=[[1.0]]), np.ones(1))
        assert shape == pytest.approx([1.0])
        drawn = 10.0 * np.log10(np.random.default_rng(3).gamma(shape[0], size=200_000))
        assert drawn.std() == pytest.approx(5.570, abs=0.03)

    def test_spots_average(self):
        shape = scatter_shape(heard([1.0], [[0.0]], spread=[[1.0]], spots=[6.0]), np.ones(1))
        assert shape == pytest.approx([6.0])

    def test_beside_a_steady_part_it_is_as_simulated(self):
        random = np.random.default_rng(5)
        waves = random.standard_normal((400_000, 2)) * math.sqrt(0.5) + (2.0, 0.0)
        power = (waves**2).sum(axis=1)  # D = 4, S = 1
        shape = scatter_shape(heard([5.0], [[4.0]], spread=[[1.0]]), np.ones(1))
        assert 1.0 / shape[0] == pytest.approx(power.var() / power.mean() ** 2, rel=0.01)

    def test_what_comes_straight_does_not_scatter(self):
        assert scatter_shape(heard([1.0], [[1.0]]), np.ones(1)) == [LIKE_NO_SCATTER]

    def test_sources_add_their_variances(self):
        shape = scatter_shape(heard([1.0], [[0.0, 0.0]], spread=[[1.0, 1.0]]), np.array([1.0, 1.0]))
        assert shape == pytest.approx([2.0])


class TestSeveralSources:
    def test_as_many_readings_as_sources_are_met_exactly(self):
        truth = np.array([3e-4, 2e-2])  # of units that lie far apart, as a level's and an EIRP's
        direct = np.array([[0.5, 1e-4], [0.01, 0.2]])
        found = solve(heard((direct @ truth).tolist(), direct.tolist()))
        assert found.value == pytest.approx(truth, rel=1e-9)

    def test_more_readings_that_agree_change_nothing(self):
        truth = np.array([3e-4, 2e-4])
        direct = np.array([[0.5, 0.1], [0.1, 0.2], [0.3, 0.3]])
        found = solve(heard((direct @ truth).tolist(), direct.tolist()))
        assert found.value == pytest.approx(truth, rel=1e-9)

    def test_none_comes_out_below_nothing(self):
        found = solve(heard([1e-4, 1e-4], [[1.0, 1.0], [1.0, 0.2]]))
        assert (found.value >= 0.0).all()
        assert (found.lowest >= 0.0).all()

    def test_what_is_known_is_taken_off(self):
        found = solve(heard([5e-4], [[0.1]], known_direct=[3e-4]))
        assert found.value == pytest.approx([2e-3], rel=1e-9)

    def test_one_that_may_be_nothing_has_the_widest_tolerance(self):
        found = solve(heard([3.01e-4], [[0.1]], known_direct=[3e-4]))
        assert found.low[0] == 0.0
        assert found.tolerance_db[0] == WIDEST_DB

    @pytest.mark.parametrize(
        ("direct", "expected"),
        [
            ([[1.0, 0.0], [0.0, 1.0]], True),
            ([[1.0, 0.5], [0.2, 0.1]], False),
            ([[1.0, 0.5], [0.2, 0.1], [0.2, 0.6]], True),
            ([[1.0, 2e-6], [0.2, 3e-6]], True),
        ],
    )
    def test_whether_they_can_be_told_apart(self, direct, expected):
        assert can_be_told_apart(heard([1e-4] * len(direct), direct)) is expected


class TestWeights:
    def test_independent_errors_weigh_by_the_inverse_of_their_variance(self):
        found = steady_weights(np.diag([1.0, 4.0]))
        assert found == pytest.approx([0.8, 0.2], abs=1e-5)

    def test_what_all_share_weighs_nothing(self):
        found = steady_weights(np.diag([1.0, 4.0]) + 100.0)
        assert found == pytest.approx([0.8, 0.2], abs=1e-3)

    def test_none_is_below_nothing(self):
        found = steady_weights(np.array([[1.0, 3.0], [3.0, 16.0]]))
        assert found == pytest.approx([1.0, 0.0], abs=1e-5)


def test_a_tenth_of_a_normal_deviate_lies_beyond():
    assert 0.5 * math.erfc(TENTH / math.sqrt(2.0)) == pytest.approx(0.1)


class TestFadingReadings:
    """The logarithm of an exponential deviate lies γ (Euler's constant) below that of its mean.

    In decibels 2.51 dB, as of the power of a Rayleigh-fading signal; the mean of n of them is a
    gamma deviate of shape n, whose logarithm lies ln n − ψ(n) below that of its mean.
    """

    @pytest.mark.parametrize(
        ("spots", "correction_db"),
        # 10/ln 10 · (ln n − ψ(n)), ψ(1) = −0.5772157, ψ(2) = 0.4227843, ψ(10) = 2.2517526
        [(1, 2.5068), (2, 1.1742), (10, 0.2208)],
    )
    def test_a_reading_of_the_rooms_field_shows_too_little_on_the_mean(self, spots, correction_db):
        found = solve(heard([2e-4], [[0.0]], spread=[[0.1]], spots=[spots]))
        assert 10 * math.log10(found.value[0] / 2e-3) == pytest.approx(correction_db, abs=1e-3)

    def test_beside_a_steady_part_it_scatters_less(self):
        """Half of it steady: variance (S² + 2DS)/(D + S)² = 3/4, so a gamma of shape 4/3."""
        found = solve(heard([2e-4], [[0.05]], spread=[[0.05]]))
        # ln(4/3) − ψ(4/3), where ψ(4/3) = ψ(1/3) + 3 = −3.1320337 + 3
        expected_db = 10 / math.log(10) * (0.2876821 + 0.1320337)
        assert 10 * math.log10(found.value[0] / 2e-3) == pytest.approx(expected_db, abs=1e-3)
