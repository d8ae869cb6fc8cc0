"""Cover tests: how far a pair at the same spots scatters, and what it makes of the suspects."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.job import CoverTest, Job
from envelope.project import load
from envelope.survey import solve_levels
from envelope.survey.covering import bits, pair_sigma_db
from envelope.survey.hunt import Lineup, line_up, ranked
from envelope.survey.levels import at_stated_levels, bound_of
from envelope.text.surveys import (
    alike_words,
    look_here_words,
    next_test_words,
    suspected_place_words,
)

VISITS = Path(__file__).parents[3] / "models" / "visits.toml"


@pytest.fixture(scope="module")
def job() -> Job:
    return solve_levels(load(VISITS))


@pytest.fixture(scope="module")
def lineup(job: Job) -> Lineup:
    bound = bound_of(job)
    assert bound is not None
    return line_up(job, bound)


def _test(job: Job, panel: str, level_uw: float) -> CoverTest:
    bed = job.receivers[0]
    return CoverTest(
        id="foil", on=panel, panels=(panel,), space=bed.space, receiver=bed.id,
        position_m=bed.position_m,
        uncovered_w_m2=40e-6, level_w_m2=level_uw * 1e-6, plan="all-faces", spots=9,
    )  # fmt: skip


@pytest.mark.parametrize("taken", [0.02, 0.3, 0.8, 1.0])
@pytest.mark.parametrize("spots", [1, 2, 9])
def test_a_pair_scatters_as_two_fading_fields_of_which_one_is_part_of_the_other(
    taken: float, spots: int
) -> None:
    """Complex normal waves drawn 40,000 times, a share of their power taken away."""
    random = np.random.default_rng(5)
    drawn = random.standard_normal((2, 2, 40_000, spots))
    stays, goes = drawn[0] + 1j * drawn[1]
    before = np.sqrt(1.0 - taken) * stays + np.sqrt(taken) * goes
    after = stays
    ratio = (np.abs(after) ** 2).mean(axis=1) / (np.abs(before) ** 2).mean(axis=1)
    fading = float(np.std(10.0 * np.log10(ratio)))
    again = np.sqrt(2.0) / 1.2816  # 1 dB each time, as a standard deviation
    expected = float(pair_sigma_db(np.array([taken]), spots=spots)[0])
    assert expected == pytest.approx(np.hypot(fading, again), rel=0.02)


def test_bits_are_those_of_a_fair_coin_and_of_nothing() -> None:
    even = np.full((4, 2), 0.25)
    assert bits(np.array([0.5, 0.5]), even) == pytest.approx(0.0, abs=1e-12)
    half = np.array([[0.5, 1e-15], [0.5, 1e-15], [1e-15, 0.5], [1e-15, 0.5]])
    assert bits(np.array([0.5, 0.5]), half) == pytest.approx(1.0)


def test_foil_that_lowers_the_level_convicts_and_foil_that_does_not_clears(
    job: Job, lineup: Lineup
) -> None:
    free = ranked(lineup, scans=(), tests=())
    found = ranked(lineup, scans=(), tests=[_test(job, "bedroom/W2", 5.0)])
    cleared = ranked(lineup, scans=(), tests=[_test(job, "bedroom/W2", 40.0)])
    before, after, without = (
        next(each.odds for each in hunt.places if each.name == "bedroom/W2")
        for hunt in (free, found, cleared)
    )
    assert after > 0.95 > before
    assert without < 0.1 * before
    assert cleared.test is not None
    assert cleared.test.panels != ("bedroom/W2",)
    assert sum(each.odds for each in cleared.places) == pytest.approx(1.0)


def test_readings_alone_do_not_part_walls_and_the_hunt_says_so(job: Job, lineup: Lineup) -> None:
    """Without scans and tests, three readings of a room's field fit many faces alike."""
    free = ranked(lineup, scans=(), tests=())
    assert len(free.alike) >= 2
    words = alike_words(job, free)
    assert words.startswith("The readings cannot tell ")
    assert "each would show the same" in words
    assert free.test is not None
    assert "[[cover-test]]" in next_test_words(job, free.test)
    assert free.test.falls_db > 2.0 > abs(free.test.else_db)
    (first, *_) = free.places
    assert suspected_place_words(job, first)


def test_the_one_face_left_is_searched_with_the_meter(job: Job) -> None:
    """The hunt ends with what to do, and names what stands in a wall."""
    assert "Go over west wall with the meter" in look_here_words(job, "bedroom/west")
    assert "joints, round small window, and mend" in look_here_words(job, "bedroom/west")
    assert "its edges and joints, and mend" in look_here_words(job, "bedroom/W2")


def test_levels_go_back_to_what_the_file_states(job: Job) -> None:
    stated = {each.id: each for each in load(VISITS).sources}
    for each in at_stated_levels(job).sources:
        assert each.moved_db == 0.0
        mine = each.eirp_w or each.level_w_m2[""]
        theirs = stated[each.id].eirp_w or stated[each.id].level_w_m2[""]
        assert mine == pytest.approx(theirs, rel=1e-12)


def test_a_house_that_fits_needs_no_fault(job: Job) -> None:
    before = replace(
        job, readings=tuple(each for each in job.readings if not each.plan.treatments), scans=()
    )
    solved = solve_levels(replace(load(VISITS), readings=before.readings, scans=()))
    bound = bound_of(solved)
    assert bound is not None
    found = ranked(line_up(solved, bound), scans=(), tests=())
    assert found.places[0].name == ""
