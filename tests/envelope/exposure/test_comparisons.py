"""Plans side by side: every difference has a range, and the order has its odds."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.exposure.comparisons import on_another_storey, pairs_among
from envelope.exposure.serialise import analysis_as_plain


@pytest.fixture
def found(room_plain, window_plain, mast_plain, read_job, few):
    plain = room_plain(
        assembly=[
            {"id": "wall", "loss": "10 dB", "reflects": 0.3},
            {"id": "pane", "loss": "1 dB"},
        ],
        opening=[window_plain()],
        treatment=[
            {"id": "foil", "kind": "fixed", "loss": "30 dB"},
            {"id": "wash", "kind": "fixed", "loss": "0.1 dB", "loss-tolerance": "0 dB"},
        ],
        plan=[
            {"id": "washed", "treat": [{"on": "room/walls", "with": "wash"}]},
            {"id": "tight", "treat": [{"on": "room/**", "with": "foil"}]},
        ],
        source=[mast_plain(spread="5 deg", scattered=0.2, **{"level-tolerance": "10 dB"})],
    )
    job = read_job(plain)
    analysis = analyze(job=job, casts=cast_job(job, sampling=few), with_bands=True)
    return SimpleNamespace(
        job=job, analysis=analysis, plans={plan.plan: plan for plan in analysis.plans}
    )


def test_the_level_outside_cancels(found):
    """A level good to 10 dB has a band of 20 dB and more; by how much a plan helps is known."""
    (receiver,) = found.plans["tight"].receivers
    known = receiver.against_as_built
    assert receiver.high_w_m2 / receiver.low_w_m2 > 100.0
    assert known.high_db - known.low_db < 10.0
    assert known.low_db < receiver.total.below_as_built_db < known.high_db
    assert known.odds == pytest.approx(1.0)
    assert known.below_db == pytest.approx(receiver.total.below_as_built_db, abs=1e-9)


def test_each_plan_stands_against_the_one_before_it(found):
    (pair,) = pairs_among(found.analysis.plans)
    assert (pair.receiver, pair.plan, pair.against) == ("bed", "tight", "washed")
    assert pair.difference.can_be_told
    (washed,), (tight,) = (found.plans[name].receivers for name in ("washed", "tight"))
    apart_db = tight.total.below_as_built_db - washed.total.below_as_built_db
    assert pair.difference.below_db == pytest.approx(apart_db, abs=1e-9)
    (plain,) = analysis_as_plain(found.analysis)["differences"]
    assert (plain["plan"], plain["against"]) == ("tight", "washed")


def test_what_changes_little_has_a_narrow_range(found):
    """Nearly all of the level is in common, and errs alike."""
    known = found.plans["washed"].receivers[0].against_as_built
    assert abs(known.below_db) < 0.2
    assert known.high_db - known.low_db < 0.5


def test_two_storeys_have_nothing_in_common(found):
    plan = found.plans["washed"]
    known = on_another_storey(plan, plan, "bed")
    assert known.below_db == 0.0
    assert known.low_db < 0.0 < known.high_db
    assert known.odds == pytest.approx(0.5)
