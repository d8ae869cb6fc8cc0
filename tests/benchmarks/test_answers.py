"""What is kept must stay kept: another plan, and hundreds of draws, cost little beside a cast."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import run
from answers import Answers, answer_rows, answers
from scenes import ROOT

from envelope.rays import Sampling


def test_another_plan_and_many_draws_are_cheap_beside_the_casts() -> None:
    """By processor time; where this was written a sixtieth, a sixteenth and half of the cast."""
    found = answers(ROOT / "models" / "house.toml", rounds=2, clock=time.process_time)
    assert found.one_plan_s < 0.2 * found.cast_s
    assert found.all_plans_s < 0.5 * found.cast_s
    assert found.draws_s < 3.0 * found.cast_s


def test_rows_name_the_job_and_its_figures() -> None:
    found = answers(
        ROOT / "models" / "bedroom.toml",
        rounds=1,
        sampling=Sampling(points_per_panel=64, points=2**10),
        draws=5,
    )
    assert found.plans == 4
    assert found.draws == 5
    assert 0.0 < found.one_plan_s < found.afresh_s
    rows = answer_rows(
        Answers(
            job="j", plans=4, bands=3, draws=500, cast_s=0.5, one_plan_s=0.01, all_plans_s=0.05,
            afresh_s=0.6, draws_s=0.25,
        ),
        run.few,
    )  # fmt: skip
    assert rows == [
        ["one panel treated otherwise in j, over its casts", "1 : 50; 10 ms"],
        ["all 4 plans of j in 3 bands, over its casts", "1 : 10; 50 ms"],
        ["the same with every stack worked out anew", "1.2 : 1; 600 ms"],
        ["500 draws of one plan of j, over its casts", "1 : 2; 250 ms"],
    ]
