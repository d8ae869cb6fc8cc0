"""The sequence on the client's page, and the order of its list of faces."""

from __future__ import annotations

import dataclasses
import datetime
import re
from pathlib import Path

import pytest

from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.results import PanelLeak, PlanResult
from envelope.plans.decide import decide
from envelope.plans.decision import Decision
from envelope.project import load
from envelope.rays import Sampling
from envelope.text.decisions import step_lines, worse_words
from viewer.handout.build import handout_html
from viewer.handout.steps import steps_section
from viewer.scene.build import build_scene
from viewer.scene.listing import listed_faces

ROOT = Path(__file__).parent.parent.parent.parent


@pytest.fixture(scope="module")
def job() -> Job:
    return load(ROOT / "models" / "bedroom.toml")


@pytest.fixture(scope="module")
def casts(job: Job) -> Casts:
    return cast_job(job, sampling=Sampling(points_per_panel=2**6, points=2**9))


@pytest.fixture(scope="module")
def decision(job: Job, casts: Casts) -> Decision:
    return decide(job, casts=casts, receiver=job.receivers[0].id)


def test_each_step_stands_in_one_group_with_what_remains(job: Job, decision: Decision) -> None:
    section = steps_section(job, decision)
    rows = [row for _, rows in section.groups for row in rows]
    assert [row.number for row in rows] == list(range(1, len(decision.steps) + 1))
    titles = [title for title, _ in section.groups]
    assert titles[0] == "Do first"
    for row, step in zip(rows, decision.steps, strict=True):
        left = 100.0 * step.level_w_m2 / decision.levels_w_m2[0][1]
        assert float(row.bar) == pytest.approx(left, abs=0.006)
        assert len(row.does) == len(step_lines(job, step))
        assert not any("bedroom/" in line for line in row.does)
    assert section.priced is decision.candidates.priced


def test_what_is_never_done_by_itself_names_the_step_that_does_it(
    job: Job, decision: Decision
) -> None:
    """Who reads both lists must not find the same face advised and warned of."""
    done = {
        (change.unit, change.label): number
        for number, step in enumerate(decision.steps[: decision.stop_after], start=1)
        for change in step.changes
    }
    numbers = [done.get((each.unit, each.label)) for each in decision.worse]
    assert any(numbers)
    assert not all(numbers)
    for number, each in zip(numbers, decision.worse, strict=True):
        said = worse_words(job, decision, each)
        assert said.endswith(f", except as step {number}") is (number is not None)


def test_the_page_says_it_without_decibels_and_ids_of_panels(
    job: Job, casts: Casts, decision: Decision
) -> None:
    analysis = analyze(job=job, casts=casts, plans=job.plans[:2], with_bands=True)
    scene = build_scene(job=job, results=analysis.plans)
    date = datetime.date(2025, 3, 1)
    page = handout_html(scene=scene, job=job, analysis=analysis, date=date, decision=decision)
    (said,) = re.findall(r'<section class="first">.*?</section>', page, re.S)
    words = re.sub(r"<[^>]+>", " ", said)
    assert "Do first" in words
    assert "of today" in words
    assert not re.search(r"\bdB\b|\bsr\b|bedroom/|jamb", words)
    plain = handout_html(scene=scene, job=job, analysis=analysis, date=date)
    assert 'class="first"' not in plain


def test_a_small_gap_does_not_stand_above_a_large_treated_face(
    house_results: tuple[PlanResult, ...],
) -> None:
    result = house_results[-1].receivers[0]

    def leak(panel: str, share: float, below_db: float | None, *, treated: bool) -> PanelLeak:
        worn = ("coating",) if treated else ()
        return dataclasses.replace(
            result.panels[0],
            panel=panel,
            share=share,
            below_if_treated_db=below_db,
            treatments=worn,
            treated_with=("coating",),
        )

    faces = (
        leak("gap", 0.02, 0.1, treated=False),
        leak("floor", 0.3, 3.0, treated=False),
        leak("worse", 0.1, -1.0, treated=False),
        leak("wall", 0.44, 0.9, treated=True),
        leak("shut", 0.0, None, treated=False),
    )
    listed = listed_faces(dataclasses.replace(result, panels=faces))
    assert [each.panel for each in listed] == ["floor", "wall", "worse", "gap", "shut"]
    for plan in house_results:
        for each in plan.receivers:
            assert sorted(x.panel for x in listed_faces(each)) == sorted(
                x.panel for x in each.panels
            )
