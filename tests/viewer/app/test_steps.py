"""What to do first in the app: the words, a step tried out, a step kept as a plan."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from envelope.building.job import Plan
from envelope.commands.decide import decision_json
from envelope.project import load, load_text
from envelope.project.plan_entry import treat_entries
from envelope.rays import Sampling
from viewer.app.session import EditError, Session
from viewer.app.steps import Steps

ROOT = Path(__file__).parent.parent.parent.parent
JOB = (
    (ROOT / "tests" / "browser" / "data" / "hut.toml").read_text("utf-8")
    + """
[[plan]]
id = "film-too"
extends = "walls"
treat = [{ on = "hut/W1", with = "film" }]
"""
)


@pytest.fixture(scope="module")
def steps(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Steps]:
    path = tmp_path_factory.mktemp("steps") / "hut.toml"
    path.write_text(JOB, encoding="utf-8")
    session = Session(path, sampling=Sampling(points_per_panel=2**6, points=2**9))
    session.cast()
    yield Steps(session=session)
    session.close()


def test_the_sequence_is_told_with_what_remains_and_what_not_to_do(steps: Steps) -> None:
    told = asyncio.run(steps.told("pillow"))
    assert told is not None
    assert told["trouble"] is None
    every = [*told["first"], *told["then"], *told["rest"]]
    assert [each["number"] for each in every] == list(range(1, len(every) + 1))
    assert any("window W1" in words for each in every for words in each["does"])
    shares = [each["share"] for each in [*told["first"], *told["then"]]]
    assert all(0.0 < share < 1.0 for share in shares)
    assert told["notes"][0].startswith("Prices are missing")  # the hut states none
    assert told["stop"].startswith("Stop after step")
    assert any("walls of hut with coat" in each for each in told["worse"])  # the open pane remains
    assert all(", from " in each for each in told["worse"])  # what it is worse than


def test_the_plot_shows_the_figures_that_decide_prints(steps: Steps) -> None:
    told = asyncio.run(steps.told("pillow"))
    assert told is not None
    plot = told["plot"]
    assert plot is not None
    job = steps.session.job
    assert job is not None
    plain = decision_json(job, asyncio.run(steps._decide("pillow")))
    assert plot["today"] == plain["today_w_m2"]["pillow"]
    assert [each["level"] for each in plot["steps"]] == [
        each["levels_w_m2"]["pillow"] for each in plain["steps"]
    ]
    for point, step in zip(plot["steps"], plain["steps"], strict=True):
        assert point["worth"] == step["worth_doing"]
        below_db = 10.0 * math.log10(plot["today"] / point["high"])
        assert below_db == pytest.approx(step["below_today_low_db"], abs=1e-9)
        assert point["low"] <= point["level"] <= point["high"]
    assert plot["across"] == "area treated, m² (not all is priced)"
    area_m2 = sum(change["area_m2"] for change in plain["steps"][0]["changes"])
    assert plot["steps"][0]["cost"] == pytest.approx(area_m2, abs=0.02)
    assert len(plot["front"]) == len(plain["front"]["plans"])


def test_a_step_is_tried_out_in_the_picture_and_the_file_stays(steps: Steps) -> None:
    told = asyncio.run(steps.told("pillow"))
    assert told is not None
    number = len([*told["first"], *told["then"], *told["rest"]])
    tried = asyncio.run(steps.try_out("pillow", number))
    assert steps.session.text == JOB
    assert steps.tried == tried["plan"]
    job, findings = steps.job, steps.session.findings
    assert job is not None
    assert findings is not None
    result = findings.of(plan=job.plan(tried["plan"]))
    decision = asyncio.run(steps._decide("pillow"))
    level = decision.steps[number - 1].level_w_m2
    assert result.receivers[0].level_w_m2 == pytest.approx(level, rel=1e-6)
    with pytest.raises(EditError, match="no such step"):
        asyncio.run(steps.try_out("pillow", number + 1))


def test_a_step_that_is_kept_is_a_plan_like_any_other(steps: Steps) -> None:
    asyncio.run(steps.told("pillow"))
    tried = asyncio.run(steps.try_out("pillow", 1))
    before = steps.job
    assert before is not None
    wanted = dict(before.plan(tried["plan"]).treatments)
    name = steps.keep("As decided")
    assert steps.tried is None
    job = load_text(steps.session.text, path="hut.toml")
    assert dict(job.plan(name).treatments) == wanted
    assert job.plan(name).title == "As decided"
    steps.session.undo()
    assert steps.session.text == JOB
    with pytest.raises(EditError, match="nothing is tried out"):
        steps.keep("")


def test_a_kept_step_keeps_what_it_does_about_sources(steps: Steps) -> None:
    told = asyncio.run(steps.told("pillow"))
    assert told is not None
    decision = asyncio.run(steps._decide("pillow"))
    tried = asyncio.run(steps.try_out("pillow", 1))
    name = steps.keep("")
    job = load_text(steps.session.text, path="hut.toml")
    done = {each.device: each.do for each in decision.steps[0].sources}
    assert {source: each.do for source, each in job.plan(name).measures.items()} == done
    assert bool(done) == bool(tried["note"])


def test_entries_name_groups_where_all_of_a_group_are_alike() -> None:
    job = load(ROOT / "models" / "house.toml")
    panels = {panel.id: panel for panel in job.building.panels}
    walls = [name for name, each in panels.items() if each.kind == "wall" and name[:3] == "bed"]
    every = Plan(id="p", treatments=dict.fromkeys([*walls, "bedroom/W1"], ("coating",)))
    assert treat_entries(job, every) == [
        {"on": "bedroom/walls", "with": "coating"},
        {"on": "bedroom/W1", "with": "coating"},
    ]
    for plan in job.plans:
        entries = treat_entries(job, plan)
        text = (ROOT / "models" / "house.toml").read_text("utf-8")
        treat = ", ".join(
            f'{{ on = "{each["on"]}", with = {str(each["with"]).replace(chr(39), chr(34))} }}'
            if isinstance(each["with"], list)
            else f'{{ on = "{each["on"]}", with = "{each["with"]}" }}'
            for each in entries
        )
        again = load_text(f'{text}\n[[plan]]\nid = "again"\ntreat = [{treat}]\n', path="h.toml")
        assert dict(again.plan("again").treatments) == dict(plan.treatments)
