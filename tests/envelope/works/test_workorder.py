"""The order of the work on the sample house and on a room with a bond."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from envelope.cli import main
from envelope.project import load
from envelope.works.workorder import work_order
from viewer.report.wording import words_of

MODELS = Path(__file__).parents[3] / "models"


@pytest.fixture(scope="module")
def order():  # type: ignore[no-untyped-def]
    job = load(MODELS / "house.toml")
    return work_order(job, job.plan("all-round"), words_of(job))


def test_what_must_come_before_what(order) -> None:  # type: ignore[no-untyped-def]
    def place(words: str) -> int:
        return next(step.number for step in order.steps if words in step.what)

    chain = [
        "Rough-in",
        "Finish boards",
        "Prime every",
        "Mask",
        "Coating: 2 coats",
        "Bond",
        "Finish coats",
        "Final",
    ]
    numbers = [place(words) for words in chain]
    assert numbers == sorted(numbers)
    assert place("Final") == len(order.steps)


def test_every_treated_face_is_in_some_step(order) -> None:  # type: ignore[no-untyped-def]
    named = {panel for step in order.steps for panel in step.where}
    assert {face.panel for face in order.take_off.faces} <= named


def test_a_floor_is_now_or_never_and_a_window_is_not(order) -> None:  # type: ignore[no-untyped-def]
    by_what = {step.what.split(":")[0]: step for step in order.steps}
    assert by_what["Floor fabric"].now_or_never
    assert not by_what["Window film"].now_or_never


def test_the_electricians_steps_carry_their_cautions(order) -> None:  # type: ignore[no-untyped-def]
    own = [step for step in order.steps if step.trade == "electrician"]
    assert own
    for step in own:
        assert "icensed electrician" in step.caution
        assert "proved dead" in step.caution


def test_resistances_to_expect_come_with_a_bond() -> None:
    job = load(MODELS / "wiring.toml")
    found = work_order(job, job.plan("walls-bonded"), words_of(job))
    bond = next(step for step in found.steps if step.what.startswith("Bond"))
    assert "\xa0Ω or less from the north wall of bedroom, far corner" in bond.stop_until


def test_one_trade_as_json_and_a_trade_that_is_none(capsys) -> None:  # type: ignore[no-untyped-def]
    path = str(MODELS / "house.toml")
    assert main(["workorder", path, "--plan", "all-round", "--trade", "painter", "--json"]) == 0
    steps = json.loads(capsys.readouterr().out)["steps"]
    assert steps
    assert {step["trade"] for step in steps} == {"painter"}
    assert main(["workorder", path, "--trade", "plumber"]) == 2
    assert "electrician" in capsys.readouterr().err
