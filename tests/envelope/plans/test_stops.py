"""Where to stop: small sequences whose gains and their errors are made up, so that all is known."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import cast

import pytest

from envelope.exposure.differences import Difference
from envelope.physics.normal import normal_share_below
from envelope.plans.decision import Change, Rival, Step, is_worth_doing
from envelope.plans.stops import Gain, doubtful_steps, stops_of, why_stop

Made = tuple[float, float]  # gain of a step and standard deviation of its error [dB]
TENTH = 1.2816  # standard deviations to the 10th percentile; a table of the normal distribution


def gain_of(steps: list[Made]) -> Gain:
    """Gains of steps whose errors are independent, so that variances add."""

    def gain(start: int, end: int) -> Difference:
        below_db = sum(step[0] for step in steps[start:end])
        sigma = math.hypot(*(step[1] for step in steps[start:end]))
        return Difference(
            below_db=below_db,
            low_db=below_db - TENTH * sigma,
            high_db=below_db + TENTH * sigma,
            odds=float(normal_share_below(below_db / sigma)),
        )

    return gain


def change(unit: str, label: str) -> Change:
    return Change(unit=unit, label=label, panels=(), area_m2=1.0, was="")


def made(steps: list[Made]) -> list[Step]:
    gain = gain_of(steps)
    return [
        cast(Step, SimpleNamespace(is_better=is_worth_doing(gain(number, number + 1))))
        for number in range(len(steps))
    ]


SURE, SMALL, DOUBTFUL, VAIN = (3.0, 0.5), (0.6, 0.2), (1.5, 1.5), (0.05, 0.8)


@pytest.mark.parametrize(
    ("steps", "stops"),
    [
        ([], ()),
        ([SURE, SURE], (1, 2)),
        ([VAIN, VAIN], ()),
        ([SURE, VAIN], (1,)),
        # a last small step that can be told brings in none of the seven before it
        ([VAIN] * 7 + [SMALL], ()),
        ([SURE] + [VAIN] * 6 + [SMALL], (1,)),
        # two that only together can be told: 3 dB with an error of 2.1 dB is 1.41 deviations
        ([DOUBTFUL, DOUBTFUL], (2,)),
        ([SURE, DOUBTFUL, DOUBTFUL, VAIN], (1, 3)),
        # what makes it worse by itself, done together with the next one
        ([(-1.0, 0.3), (4.0, 0.5)], (2,)),
        # a sure start never makes up for a later step in vain
        ([(20.0, 0.5), VAIN, VAIN], (1,)),
        # enough, by the last step, to bear a doubtful one before it
        ([VAIN, SURE], (2,)),
    ],
)
def test_one_stops_where_the_money_so_far_is_well_spent(
    steps: list[Made], stops: tuple[int, ...]
) -> None:
    gain = gain_of(steps)
    found = stops_of(len(steps), gain)
    assert found == stops
    for index, stop in enumerate(found):  # from wherever one may stop, going on can be told
        assert all(is_worth_doing(gain(start, stop)) for start in (0, *found[:index]))


def test_what_is_done_only_together_is_said() -> None:
    steps = [SURE, DOUBTFUL, DOUBTFUL, VAIN]
    said = why_stop(made(steps), (1, 3), reached=False)
    assert said == (
        "do steps 2 and 3 as one or not at all: only together can it be told that they help; "
        "what follows brings too little, or no difference that can be told"
    )
    assert "do steps 2 to 4 as one" in why_stop(made(steps), (1, 4), reached=False)
    two = why_stop(made(steps), (2, 4), reached=False)
    assert two.startswith("do steps 1 and 2 and steps 3 and 4, each as one or not at all")
    assert why_stop(made(steps), (1, 3), reached=True) == "the target is reached"
    assert why_stop(made([SURE]), (1,), reached=False) == (
        "nothing more is on offer that lowers the level"
    )


def test_a_later_step_that_can_be_told_by_itself_is_not_passed_over_in_silence() -> None:
    said = why_stop(made([SURE, *[VAIN] * 6, SMALL]), (1,), reached=False)
    assert said == (
        "step 8 can be told by itself, but steps 2 to 8 together bring too little, or no "
        "difference that can be told"
    )
    assert why_stop(made([VAIN]), (), reached=False).startswith("what follows")


def test_what_is_done_as_one_with_a_step_is_no_rival_of_it() -> None:
    """ "Instead of step 1 do step 2" says nothing where both are done as one or not at all."""
    wall, door, floor = (change(unit, "coating") for unit in ("wall", "door", "floor"))

    def step(does: Change, other: Change, odds: float) -> Step:
        rival = Rival(changes=(other,), level_w_m2=1e-6, odds=odds)
        return cast(Step, SimpleNamespace(changes=(does,), rival=rival))

    steps = [step(wall, door, 0.4), step(door, floor, 0.6), step(floor, wall, 0.95)]
    assert [number for number, _ in doubtful_steps(steps, (2, 3))] == [2]
    assert [number for number, _ in doubtful_steps(steps, (1, 2, 3))] == [1, 2]
    assert doubtful_steps(steps, ()) == []
