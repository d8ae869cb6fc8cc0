"""Targets on one source, reductions, and weighted means of receivers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from envelope.building.job import Job
from envelope.cli import main
from envelope.errors import RangeError
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import Casts, cast_job
from envelope.plans.decide import decide
from envelope.plans.plan_levels import MEAN
from envelope.project import load
from envelope.rays import Sampling
from envelope.text.decisions import begins_without_words, counted_words

Maker = Callable[..., Job]

COT = (
    "[[plan]]\n",
    '[[receiver]]\nid = "cot"\nspace = "bedroom"\nat = "3.0, 2.4, 0.6 m"\n\n[[plan]]\n',
)


@pytest.fixture(scope="module")
def two(small_job: Maker) -> Job:
    return small_job("[]", COT)


@pytest.fixture(scope="module")
def two_casts(two: Job) -> Casts:
    return cast_job(two, sampling=Sampling(points_per_panel=2**6, points=2**10))


def test_a_target_on_one_source_counts_what_it_brings_and_no_other(
    small_job: Maker, small_casts: Casts
) -> None:
    job = small_job("[]")
    found = decide(job, casts=small_casts, sources=["router"], target_db=3.0)
    plans = [job.plan("as-built"), *(step.plan for step in found.steps)]
    levels = [
        next(each.level_w_m2 for each in plan.receivers[0].sources if each.id == "router")
        for plan in analyze(job=job, casts=small_casts, plans=plans).plans
    ]
    assert found.levels_w_m2[0][1] == pytest.approx(levels[0], rel=1e-9)
    for step, level in zip(found.steps, levels[1:], strict=True):
        assert step.level_w_m2 == pytest.approx(level, rel=1e-9)
    assert found.target_w_m2 == pytest.approx(levels[0] * 10.0**-0.3)
    assert found.why_stop == "the target is reached"
    assert found.by_source == (("router", pytest.approx(levels[0])),)
    assert counted_words(job, found) == "what router brings, and no other source"


def test_a_weighted_mean_counts_in_place_of_the_worst(two: Job, two_casts: Casts) -> None:
    found = decide(two, casts=two_casts, weights={"pillow": 3.0, "cot": 1.0})
    plans = [two.plan("as-built"), *(step.plan for step in found.steps)]
    means = []
    for plan in analyze(job=two, casts=two_casts, plans=plans).plans:
        pillow, cot = (each.level_w_m2 for each in plan.receivers)
        means.append(0.75 * pillow + 0.25 * cot)
    assert found.levels_w_m2 == ((MEAN, pytest.approx(means[0], rel=1e-9)),)
    for step, mean in zip(found.steps, means[1:], strict=True):
        assert step.level_w_m2 == pytest.approx(mean, rel=1e-9)
    assert found.receiver == "pillow"
    assert dict(found.shares) == {"pillow": 0.75, "cot": 0.25}
    words = counted_words(two, found)
    assert words == "the weighted mean of pillow (75\xa0%) and cot (25\xa0%)"


def test_all_weight_on_one_receiver_is_that_receiver(two: Job, two_casts: Casts) -> None:
    alone = decide(two, casts=two_casts, receiver="cot")
    mean = decide(two, casts=two_casts, weights={"pillow": 0.0, "cot": 5.0})
    assert [step.plan.treatments for step in mean.steps] == [
        step.plan.treatments for step in alone.steps
    ]
    for one, other in zip(mean.steps, alone.steps, strict=True):
        assert one.level_w_m2 == pytest.approx(other.level_w_m2, rel=1e-12)
        assert one.gain.low_db == pytest.approx(other.gain.low_db, abs=1e-9)


@pytest.mark.parametrize("weights", [{"pilow": 1.0}, {"pillow": 0.0}, {"pillow": -1.0, "cot": 3.0}])
def test_weights_that_cannot_be_are_refused(
    two: Job, two_casts: Casts, weights: dict[str, float]
) -> None:
    with pytest.raises(RangeError, match="weights: "):
        decide(two, casts=two_casts, weights=weights)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--target", "mats: 5 uW/m2"), "no source 'mats' in this job: did you mean mast?"),
        (("--target", "mast: 5"), "--target:"),
        (("--target", "-3 dB"), "-3 dB is no reduction: allowed is > 0 dB"),
        (("--weight", "bed=1"), "no receiver 'bed' in this job"),
        (("--weight", "pillow=much"), "a number of 0 or more is wanted, such as pillow=2"),
        (("--weight", "pillow=0"), "all of them are 0"),
        (("--weight", "pillow=1", "--receiver", "pillow"), "does not go with --receiver"),
    ],
)
def test_bad_goals_are_one_message(
    tmp_path: Path,
    small_text: Callable[..., str],
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    message: str,
) -> None:
    path = tmp_path / "flat.toml"
    path.write_text(small_text("[]"), encoding="utf-8")
    assert main(["decide", str(path), *arguments]) == 2
    found = capsys.readouterr()
    assert message in found.err
    assert found.out == ""


def test_sources_left_out_change_nothing_of_the_others(
    small_job: Maker, small_casts: Casts
) -> None:
    """Every plan brings the same from the mast with the router in the job or not."""
    job = small_job("[]")
    found = decide(job, casts=small_casts, sources=["mast"])
    alone = replace(job, sources=tuple(each for each in job.sources if each.id == "mast"))
    other = decide(
        alone, casts=cast_job(alone, sampling=Sampling(points_per_panel=2**7, points=2**11))
    )
    assert found.levels_w_m2[0][1] == pytest.approx(other.levels_w_m2[0][1], rel=1e-9)
    assert [step.level_w_m2 for step in found.steps] == pytest.approx(
        [step.level_w_m2 for step in other.steps], rel=1e-9
    )


def test_work_that_visits_say_is_done_is_said_not_to_count() -> None:
    """A decision begins with the rooms as built, whatever stands there by now."""
    models = Path(__file__).parents[3] / "models"
    assert begins_without_words(load(models / "visits.toml")) == (
        "the work of “Walls, ceiling and windows”, done by 2026-05-11, does not count here: today "
        "and all steps are of the rooms as built"
    )
    assert begins_without_words(load(models / "bedroom.toml")) == ""
