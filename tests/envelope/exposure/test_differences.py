"""Two levels that were drawn together: what moves both cancels, what moves one does not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from envelope.building.fitted import Fitted, FittedPlace
from envelope.exposure.differences import (
    Difference,
    LevelDraws,
    SourceDraws,
    difference,
    errors_left,
    lowered,
    paired,
)
from envelope.exposure.tolerances import deviates

COUNT = 2000


def moved(name: str, half_width_db: float, *, middle: float = 1.0) -> np.ndarray:
    """A level with a 10–90 % range of ±half_width_db, the first draw in the middle."""
    return middle * 10.0 ** (half_width_db * deviates(name, count=COUNT, seed=7) / 10.0)


def test_what_both_share_cancels():
    level = moved("level outside", 6.0)
    found = paired(4.0 * level, level)
    expected = 10.0 * math.log10(4.0)
    assert [found.below_db, found.low_db, found.high_db] == pytest.approx([expected] * 3)
    assert found.odds == 1.0
    assert found.can_be_told


def test_what_they_do_not_share_adds_in_squares():
    level = moved("level outside", 6.0)
    found = paired(level * moved("one", 3.0), level * moved("other", 4.0))
    assert found.below_db == 0.0
    assert [found.low_db, found.high_db] == pytest.approx([-5.0, 5.0], abs=0.25)
    assert found.odds == pytest.approx(0.5, abs=0.02)
    assert not found.can_be_told


def test_the_models_own_error_adds_in_squares_without_chance():
    found = paired(moved("one", 3.0), np.ones(COUNT + 1), error_db=4.0)
    assert [found.low_db, found.high_db] == pytest.approx([-5.0, 5.0], abs=0.05)


@pytest.mark.parametrize(("below_db", "error_db", "odds"), [
    # half a 10–90 % range is 1.2816 standard deviations: 0.9 below it, Φ(0.6408) = 0.7392 at half
    (2.0, 2.0, 0.9), (-2.0, 2.0, 0.1), (1.0, 2.0, 0.7392), (0.0, 2.0, 0.5),
    (0.0, 0.0, 0.5), (1.0, 0.0, 1.0), (-1.0, 0.0, 0.0),
])  # fmt: skip
def test_odds_of_the_order(below_db, error_db, odds):
    found = paired(np.full(9, 10.0 ** (below_db / 10.0)), np.ones(9), error_db=error_db)
    assert found.odds == pytest.approx(odds, abs=1e-4)


def test_an_error_too_small_for_any_digit_is_none():
    level = moved("one", 3.0)
    small = paired(level, np.ones(COUNT + 1), error_db=1e-309)
    assert small == paired(level, np.ones(COUNT + 1), error_db=0.0)
    assert paired(np.ones(9), np.ones(9), error_db=1e-309).low_db == 0.0


def test_the_other_way_round_it_is_the_same_difference():
    one, other = moved("one", 3.0, middle=2.0), moved("other", 1.0)
    there, back = paired(one, other, error_db=2.0), paired(other, one, error_db=2.0)
    assert back.below_db == pytest.approx(-there.below_db)
    assert [back.low_db, back.high_db] == pytest.approx([-there.high_db, -there.low_db], abs=1e-6)
    assert back.odds == pytest.approx(1.0 - there.odds)


@pytest.mark.parametrize("error_db", [0.0, 3.0])
def test_where_nothing_is_left_the_difference_is_infinite(error_db):
    level, nothing = np.ones(11), np.zeros(11)
    found = paired(level, nothing, error_db=error_db)
    assert (found.below_db, found.low_db, found.high_db) == (math.inf, math.inf, math.inf)
    assert found.odds == 1.0
    assert paired(nothing, level, error_db=error_db).high_db == -math.inf
    same = paired(nothing, nothing)
    assert same == Difference(below_db=0.0, low_db=0.0, high_db=0.0, odds=0.5)


def test_some_draws_without_anything_leave_one_end_finite():
    left = np.ones(101)
    left[1:16] = 0.0
    found = paired(np.ones(101), left, error_db=2.0)
    assert found.high_db == math.inf
    assert -2.5 < found.low_db < 0.0


def source(levels, *, direct: float = 0.0, diffuse: float = 0.0, error_db: float = 0.0):
    return SourceDraws(
        level_w_m2=np.array(levels), direct_w_m2=direct, diffuse_w_m2=diffuse, error_db=error_db
    )


def plan(**by_source: SourceDraws) -> LevelDraws:
    return LevelDraws(
        plan="p", by_source={("bed", name): drawn for name, drawn in by_source.items()}
    )


def test_levels_add_up_over_sources():
    levels = LevelDraws(
        plan="p",
        by_source={
            ("bed", "a"): source([1.0, 2.0]),
            ("bed", "b"): source([10.0, 20.0]),
            ("cot", "a"): source([100.0, 200.0]),
        },
    )
    assert levels.level_w_m2("bed").tolist() == [11.0, 22.0]
    assert levels.level_w_m2("bed", ["b"]).tolist() == [10.0, 20.0]
    assert levels.level_w_m2("cot").tolist() == [100.0, 200.0]


class TestTheModelsOwnError:
    """Errors of two plans at one spot: correlated by a half, so of two alike the difference has
    √(e² + e² − e²) = e; and only by the share of the level that differs."""

    def test_of_one_plan_it_is_that_of_its_diffuse_part(self):
        levels = plan(a=source([4.0], direct=3.0, diffuse=1.0, error_db=2.0))
        assert levels.own_db("bed") == pytest.approx(0.25 * 2.0)
        as_built = plan(a=source([400.0], direct=300.0, diffuse=100.0, error_db=2.0))
        # and a tenth of the 20 dB that it brings, for workmanship
        assert levels.own_db("bed", as_built=as_built) == pytest.approx(math.hypot(0.5, 2.0))

    def test_plans_that_have_nothing_in_common(self):
        one = plan(a=source([1.0, 1.0], diffuse=1.0, error_db=3.0))
        other = plan(b=source([1.0, 1.0], diffuse=0.0, direct=1.0))
        found = difference(one, other, "bed", as_built=one, in_one_place=False)
        assert [found.low_db, found.high_db] == pytest.approx([-3.0, 3.0], abs=1e-3)
        assert found.odds == 0.5
        assert not found.can_be_told

    def test_a_plan_against_itself_is_the_same(self):
        one = plan(a=source([1.0, 2.0, 3.0], diffuse=1.0, error_db=3.0))
        assert difference(one, one, "bed") == Difference(
            below_db=0.0, low_db=0.0, high_db=0.0, odds=0.5
        )

    def test_what_both_have_in_common_errs_alike(self):
        """Three quarters are a beam that neither stops; one a field that is all that differs."""
        steady = {"direct": 3.0, "error_db": 2.0}
        one = plan(a=source([4.0, 4.0], diffuse=1.0, **steady))
        other = plan(a=source([3.0, 3.0], diffuse=0.0, **steady))
        found = difference(one, other, "bed")
        below_db = 10.0 * math.log10(4.0 / 3.0)
        # own errors 0.5 and, for workmanship, a tenth of 1.25 dB; a quarter of the level differs
        own = math.sqrt(0.5**2 + 0.1249**2 - 0.5 * 0.1249) * 0.25
        assert found.below_db == pytest.approx(below_db)
        assert found.high_db - below_db == pytest.approx(own, abs=1e-3)
        assert found.can_be_told


def test_what_a_plan_s_work_is_off_by_holds_for_each_of_its_sources():
    """Read with both on: one of them alone is off by the work that was read, and by little else."""
    parts = {"a": (3.0, 1.0), "b": (0.3, 0.1)}
    place = FittedPlace(
        plans=("p",),
        covariance_db2=np.array([[0.04 + 9.0]]),
        work_db2=(9.0,),
        error_db=np.array([[0.0, 6.0, 6.0]]),
        parts_w_m2=(parts,),
        shift_db=(0.0,),
    )
    fitted = Fitted(
        count=2, seed=0, chosen=np.arange(3), level={}, duty={}, effective=2.0,
        places={"bed": place},
    )  # fmt: skip
    drawn = {
        ("bed", name): source([direct + diffuse] * 3, direct=direct, diffuse=diffuse, error_db=1.0)
        for name, (direct, diffuse) in parts.items()
    }
    levels = LevelDraws(plan="p", by_source=drawn, fitted=fitted)
    alone = errors_left((levels,), "bed", ["a"])
    together = errors_left((levels,), "bed")
    assert together.shift_db[0, 1] == pytest.approx(6.0)
    assert alone.shift_db[0, 1] == pytest.approx(6.0, abs=0.2)
    assert together.covariance_db2[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert 0.0 < alone.covariance_db2[0, 0] < 0.1


@pytest.mark.parametrize("left", [0.0, 0.25])
def test_sources_that_send_less_never_raise_the_level(left):
    """However far the model errs: the level is a sum, of which a part goes."""
    mast = source([3.0, 2.0, 4.0, 3.0], direct=1.0, diffuse=2.0, error_db=6.0)
    router = source([1.0, 2.0, 0.5, 1.0], diffuse=1.0, error_db=6.0)
    less = replace(router, level_w_m2=left * router.level_w_m2, diffuse_w_m2=left)
    before, after = plan(mast=mast, router=router), plan(mast=mast, router=less)
    found = difference(before, after, "bed")
    assert found == lowered(before, after, "bed")
    assert found.below_db == pytest.approx(10.0 * math.log10(4.0 / (3.0 + left)))
    assert 0.0 < found.low_db < found.below_db < found.high_db
    assert found.can_be_told
    assert found.odds == 1.0


def test_switching_off_what_is_known_to_three_decibels():
    """By hand: a third beside the rest, a router ±3 dB: 10·lg(1 + r), r ±3 dB about a third."""
    still = source(np.full(COUNT + 1, 3.0), direct=3.0)
    router = source(moved("router", 3.0), direct=1.0)
    before = plan(mast=still, router=router)
    found = difference(before, plan(mast=still, router=router.times(0.0)), "bed")
    low, middle, high = (10 * math.log10(1 + 10 ** (db / 10) / 3) for db in (-3.0, 0.0, 3.0))
    assert found.below_db == pytest.approx(middle)
    assert (found.low_db, found.high_db) == pytest.approx((low, high), abs=0.02)


def test_what_a_treatment_moves_beside_it_is_no_source_that_sends_less():
    mast = source([3.0, 2.0, 4.0], direct=3.0, error_db=1.0)
    router = source([1.0, 2.0, 0.5], diffuse=1.0, error_db=1.0)
    treated = source([2.0, 1.5, 2.4], direct=2.0, error_db=1.0)
    before = plan(mast=mast, router=router)
    after = plan(mast=treated, router=replace(router, level_w_m2=np.zeros(3), diffuse_w_m2=0.0))
    assert difference(before, after, "bed") != lowered(before, after, "bed")
