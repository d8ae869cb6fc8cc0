"""The joint estimate against closed forms, and against itself: ranks of planted truths are even.

Simulation-based calibration after Talts et al., "Validating Bayesian inference algorithms with
simulation-based calibration", arXiv:1804.06788 (from memory): what is drawn from the prior, read,
and estimated has an even rank among the draws of its posterior.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.unknowns import Range3, duty_range
from envelope.survey import joint
from envelope.survey.joint import FEW, Question, _deviates, _Problem, part_of, settle
from envelope.survey.noise import noise_of

TENTH_TO_ALL = Range3(low=0.1, middle=1.0, high=1.0, least=0.01, most=1.0)
STEADY = 1e9  # shape of a reading that does not fade
DB = 10.0 / np.log(10.0)


def question(**changes: object) -> Question:
    """Two readings of one source in a room that is known, without fading."""
    plain = Question(
        shown_db=np.array([-30.0, -30.0]),
        noise=[noise_of(shape=STEADY, sigma_db=1.0)] * 2,
        response_w_m2=np.full((2, 1, 400), 1e-3),
        level_sigma_db=np.array([2.0]),
        duty=[None],
        peak=np.array([False, False]),
        shared_sigma_db=0.0,
        indoors=np.array([True, True]),
        meter=np.array([0, 0]),
        meter_sigma_db=np.array([0.0, 0.0]),
        place=np.array([0, 1]),
        place_covariance_db2=np.diag([4.0, 9.0]),
    )
    return replace(plain, **changes)


def mean_and_sigma(values: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    mean = float(values @ weight)
    return mean, float(np.sqrt((values - mean) ** 2 @ weight))


def test_normal_errors_come_out_as_algebra_has_them() -> None:
    """Readings 3 dB and 1 dB above what is expected: normal conditioning by hand."""
    cloud = settle(question(shown_db=np.array([-27.0, -29.0])))
    # covariance of the two readings: level 4 shared, places 4 and 9, again 1 each
    covariance = np.array([[9.0, 4.0], [4.0, 14.0]])
    across = np.array([4.0, 4.0])
    mean = across @ np.linalg.solve(covariance, [3.0, 1.0])
    sigma = np.sqrt(4.0 - across @ np.linalg.solve(covariance, across))
    found = mean_and_sigma(cloud.level_db[0], cloud.weight)
    assert found == pytest.approx((mean, sigma), abs=0.12)
    at_place = np.array([4.0, 0.0])  # of the first place's error, with both readings
    mean = at_place @ np.linalg.solve(covariance, [3.0, 1.0])
    sigma = np.sqrt(4.0 - at_place @ np.linalg.solve(covariance, at_place))
    found = mean_and_sigma(cloud.place_db[0], cloud.weight)
    assert found == pytest.approx((mean, sigma), abs=0.12)
    likelihood = -0.5 * np.array([3.0, 1.0]) @ np.linalg.solve(covariance, [3.0, 1.0])
    likelihood -= 0.5 * np.log(np.linalg.det(2.0 * np.pi * covariance))
    assert cloud.log_evidence == pytest.approx(likelihood, abs=0.05)


def test_a_reading_at_the_bed_binds_it_whatever_is_unknown() -> None:
    """The level there is the reading within the meter's doubt; the prediction was 40 dB wide."""
    random = np.random.default_rng(5)
    wide = 1e-3 * 10 ** random.normal(0.0, 1.2, (1, 1, 300))
    cloud = settle(
        question(
            shown_db=np.array([-25.0]),
            noise=[noise_of(shape=STEADY, sigma_db=0.5)],
            response_w_m2=wide,
            level_sigma_db=np.array([8.0]),
            peak=np.array([False]),
            indoors=np.array([True]),
            meter=np.array([0]),
            meter_sigma_db=np.array([1.0]),
            place=np.array([0]),
            place_covariance_db2=np.array([[6.0]]),
            shared_sigma_db=4.0,
        )
    )
    mean, sigma = mean_and_sigma(cloud.expected_db[0], cloud.weight)
    assert mean == pytest.approx(-25.0, abs=0.3)
    assert sigma == pytest.approx(np.hypot(0.5, 1.0), abs=0.15)
    assert cloud.effective > FEW


def many_sources(count: int) -> Question:
    """Five readings under two plans of many sources that come through at odds."""
    random = np.random.default_rng(7)
    return question(
        shown_db=random.normal(-28.0, 3.0, 5),
        noise=[noise_of(shape=3.0, sigma_db=1.0)] * 5,
        response_w_m2=10.0 ** random.uniform(-6.0, -3.0, (5, count, 90)),
        level_sigma_db=random.uniform(0.5, 4.0, count),
        duty=[None if at % 2 else TENTH_TO_ALL for at in range(count)],
        peak=np.array([False, True, False, False, False]),
        shared_sigma_db=1.5,
        indoors=np.array([True, True, False, True, True]),
        meter=np.array([0, 1, 0, 0, 1]),
        meter_sigma_db=np.array([1.0, 2.0, 1.0, 1.0, 2.0]),
        place=np.array([0, 1, -1, 1, 0]),
        plan=np.array([-1, 0, -1, 1, 0]),
        plan_sigma_db=np.array([1.0, 3.0]),
    )


@pytest.mark.parametrize("times", [1, 12])  # fewer readings than deviates, and more
def test_newtons_step_solves_the_whole_system(times: int) -> None:
    """What is solved in readings is what the deviates' own matrix says."""
    asked = part_of(many_sources(12), [*range(5)] * times)
    random = np.random.default_rng(3)
    problem = _Problem(
        asked,
        np.arange(90),
        random.normal(size=(12, 90)),
        random.uniform(0.5, 2.0, (3, 90)),
        np.ones(90),
    )
    place = random.normal(size=(90, _deviates(asked)))
    there = problem.at(place)
    step = there.slope.newton(there.gradient)
    left = (there.slope.curve() @ step[..., np.newaxis])[..., 0]
    np.testing.assert_allclose(left, there.gradient, rtol=1e-9, atol=1e-9)
    # and the gradient is that of the likelihood, within what the noise's table leaves
    for each in (0, 5, 12, 13, 14, 15, 17):
        moved = np.zeros_like(place)
        moved[:, each] = 0.02
        up, down = problem.at(place + moved), problem.at(place - moved)
        by_difference = (up.log_likelihood - down.log_likelihood) / 0.04 - place[:, each]
        np.testing.assert_allclose(by_difference, there.gradient[:, each], atol=0.02 * times)


def test_draws_in_stretches_are_the_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = many_sources(6)
    whole = settle(asked)
    monkeypatch.setattr(joint, "AT_ONCE", 0)
    in_parts = settle(asked)
    np.testing.assert_allclose(in_parts.level_db, whole.level_db, atol=0.02)
    np.testing.assert_allclose(in_parts.weight, whole.weight, atol=2e-5)
    assert in_parts.log_evidence == pytest.approx(whole.log_evidence, abs=0.01)


def test_a_handful_of_members_never_makes_a_band() -> None:
    """Where file and readings agree in two members of 400 only, weights are flattened."""
    response = np.full((2, 1, 400), 1e-3)
    response[1, 0, 2:] = 1e-8
    cloud = settle(question(response_w_m2=response))
    assert cloud.tempered < 1.0
    assert cloud.effective == pytest.approx(FEW, rel=0.05)


def test_switching_off_tells_two_sources_apart() -> None:
    """A router of any duty: with it 10 times as much is read as without it."""
    response = np.full((2, 2, 400), 1e-3)
    response[1, 1] = 0.0
    cloud = settle(
        question(
            shown_db=np.array([-30.0, -40.0]),
            response_w_m2=response,
            level_sigma_db=np.array([6.0, 6.0]),
            duty=[None, duty_range(None)],
            place_covariance_db2=np.diag([0.01, 0.01]),
            place=np.array([0, 0]),
        )
    )
    apart = cloud.level_db[1] - cloud.level_db[0]
    mean, sigma = mean_and_sigma(apart, cloud.weight)
    assert mean == pytest.approx(10 * np.log10(9.0), abs=0.5)
    assert sigma < 2.0


def test_a_bound_says_only_that_the_level_is_below_it() -> None:
    below = [noise_of(shape=STEADY, sigma_db=1.0, shows="below")] * 2
    cloud = settle(question(noise=below, shown_db=np.array([-10.0, -10.0])))
    assert mean_and_sigma(cloud.level_db[0], cloud.weight) == pytest.approx((0.0, 2.0), abs=0.15)
    cloud = settle(question(noise=below, shown_db=np.array([-40.0, -40.0])))
    assert mean_and_sigma(cloud.level_db[0], cloud.weight)[0] < -2.0


def test_a_single_spot_fades_as_an_exponential_deviate_does() -> None:
    """Standard deviation 5.57 dB, mean −2.51 dB: π/√6 and Euler's constant, each times 10/ln 10.

    Hill, Electromagnetic Fields in Cavities (2009), chapter 7: the received power of one
    polarization in a diffuse field is exponentially distributed (the two figures are computed).
    """
    noise = noise_of(shape=1.0, sigma_db=0.2)
    weight = np.exp(noise.log) / np.exp(noise.log).sum()
    mean, sigma = mean_and_sigma(noise.grid_db, weight)
    assert mean == pytest.approx(-np.euler_gamma * DB, abs=0.01)
    assert sigma == pytest.approx(np.hypot(np.pi / np.sqrt(6.0) * DB, 0.2), abs=0.01)


@pytest.mark.parametrize("spots", [9, 25])
def test_averaging_narrows_it_as_independent_samples_do(spots: int) -> None:
    """The mean power of n spots has a relative standard deviation of 1/√n."""
    noise = noise_of(shape=float(spots), sigma_db=0.1)
    weight = np.exp(noise.log) / np.exp(noise.log).sum()
    power = 10 ** (noise.grid_db / 10)
    mean, sigma = mean_and_sigma(power, weight)
    assert mean == pytest.approx(1.0, abs=2e-3)
    assert sigma == pytest.approx(1 / np.sqrt(spots), rel=0.02)


def test_ranks_of_planted_levels_are_even() -> None:
    """200 worlds of three sources, two places, one of them the bed, and a meter with a bias."""
    random = np.random.default_rng(77)
    ranks = np.array([_rank(random) for _ in range(200)])
    counts = np.histogram(ranks, bins=10, range=(0.0, 1.0))[0]
    chi_squared = float(((counts - 20.0) ** 2 / 20.0).sum())
    assert chi_squared < 27.9  # one in a thousand, nine degrees of freedom
    assert 0.72 <= ((ranks > 0.1) & (ranks < 0.9)).mean() <= 0.88


def _rank(random: np.random.Generator) -> float:
    """Rank of a planted level at a second bed, which shares figures, levels and errors."""
    members = 100
    responses = 1e-4 * 10 ** random.normal(0.0, 0.4, (3, 3, members + 1))
    covariance = np.diag([4.0, 4.0, 6.0])
    covariance[0, 1] = covariance[1, 0] = 2.0
    level = random.normal(0.0, 3.0, 3)
    errors = np.linalg.cholesky(covariance) @ random.standard_normal(3)
    shared = 4.0 * 1.2815516 / 1.5332063 * random.standard_t(4.0)
    meter = 1.5 * random.standard_normal()
    spots = np.array([1.0, 9.0, 3.0])
    power = (responses[:, :, -1] * 10 ** (level / 10)).sum(axis=1)
    fading = random.gamma(spots) / spots
    shown = 10 * np.log10(power * fading) + shared + errors + meter + random.standard_normal(3)
    cloud = settle(
        question(
            shown_db=shown[1:],
            noise=[noise_of(shape=each, sigma_db=1.0) for each in spots[1:]],
            response_w_m2=responses[1:, :, :-1],
            level_sigma_db=np.full(3, 3.0),
            duty=[None] * 3,
            peak=np.full(2, False),
            indoors=np.full(2, True),
            meter=np.zeros(2, dtype=int),
            meter_sigma_db=np.full(2, 1.5),
            place=np.array([1, 2]),
            place_covariance_db2=covariance,
            shared_sigma_db=4.0,
        ),
        each=3,
    )
    there = responses[0][:, cloud.member] * 10 ** (cloud.level_db / 10)
    drawn = 10 * np.log10(there.sum(axis=0)) + cloud.shared_db + cloud.place_db[0]
    truth = 10 * np.log10(power[0]) + shared + errors[0]
    return float(cloud.weight @ (drawn < truth))
