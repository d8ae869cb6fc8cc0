"""What the job says of work on faces: bare, finished, now or never, treatments that go on some."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from envelope.building.job import Job
from envelope.errors import EnvelopeError, ProjectFileError
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import Casts
from envelope.plans.candidates import candidates_of
from envelope.plans.decide import decide
from envelope.text.decisions import kept_words, prices_missing, step_words

Maker = Callable[..., Job]


def panel(on: str, work: str) -> tuple[str, str]:
    return ("[[receiver]]", f'[[panel]]\non = "{on}"\nwork = "{work}"\n\n[[receiver]]')


def only(treatment: str, *where: str) -> tuple[str, str]:
    listed = ", ".join(f'"{each}"' for each in where)
    return (f'id = "{treatment}"\n', f'id = "{treatment}"\nonly-on = [{listed}]\n')


@pytest.mark.parametrize("work", ["bare", "finished"])
def test_such_faces_stay_as_they_are(small_job: Maker, small_casts: Casts, work: str) -> None:
    job = small_job("[]", panel("bedroom/W1", work), panel("bedroom/north", work))
    found = decide(job, casts=small_casts)
    for step in found.steps:
        assert not {"bedroom/W1", "bedroom/3"} & set(step.plan.treatments)
    assert found.candidates.kept == ("bedroom/3", "bedroom/W1")
    words = kept_words(job, found.candidates.kept)
    assert words == f"north wall of bedroom ({work}), window W1 of bedroom ({work})"
    (today,) = analyze(job=job, casts=small_casts, plans=[job.plan("as-built")]).plans
    tried = {
        leak.panel for leak in today.receivers[0].panels if leak.below_if_treated_db is not None
    }
    assert tried
    assert not {"bedroom/W1", "bedroom/3"} & tried


def test_what_is_now_or_never_is_marked_where_it_is_done(
    small_job: Maker, small_casts: Casts
) -> None:
    job = small_job("[]", panel("bedroom/ceiling", "now-or-never"))
    found = decide(job, casts=small_casts)
    ((unit, number),) = found.now_or_never
    assert unit == "bedroom/ceiling"
    done = [
        index
        for index, step in enumerate(found.steps[: found.stop_after], 1)
        if any(change.unit == unit for change in step.changes)
    ]
    assert number == (done[0] if done else None)
    assert any("(now or never)" in step_words(job, step) for step in found.steps)


def test_walls_that_are_out_of_reach_later_are_named_together_where_one_step_does_them(
    small_job: Maker, small_casts: Casts
) -> None:
    job = small_job("[]", panel("bedroom/walls", "now-or-never"))
    found = decide(job, casts=small_casts, budget_cents=10_000)  # buys no wall
    assert found.now_or_never == (("bedroom/walls", None),)


def test_prices_that_are_missing_beyond_the_third_are_counted(small_job: Maker) -> None:
    job = small_job("[]")
    lacking = tuple(f"{name}: no price" for name in "abcde")
    assert prices_missing(job, lacking[:3]) == "a: no price; b: no price; c: no price"
    assert prices_missing(job, lacking).endswith("c: no price; and 2 more")


def test_a_treatment_goes_only_where_it_may(small_job: Maker) -> None:
    fewer = ('{ on = "bedroom/walls", with = "coating" },', "")
    job = small_job(
        "[]", only("coating", "bedroom/south", "*/ceiling"), only("film", "*/windows"), fewer
    )
    candidates = candidates_of(job, base=job.plan("as-built"))
    treated = {
        (panel, name)
        for unit in candidates.units
        for option in unit.options
        for panel, names in option.treatments.items()
        for name in names
    }
    assert treated == {
        ("bedroom/1", "coating"),
        ("bedroom/ceiling", "coating"),
        ("bedroom/W1", "film"),
    }


def test_what_may_go_nowhere_is_said(small_job: Maker, small_casts: Casts) -> None:
    fewer = (
        '{ on = "bedroom/walls", with = "coating" },\n'
        '    { on = "bedroom/ceiling", with = "coating" },\n',
        "",
    )
    job = small_job("[]", only("film", "*/windows"), panel("bedroom/W1", "bare"), fewer)
    with pytest.raises(EnvelopeError, match="film may go only on faces that stay as they are"):
        decide(job, casts=small_casts)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (only("film", "*/doors"), r'treatment "film", only-on: "\*/doors" names no panel'),
        (only("film"), "the list is empty, so that it may go nowhere"),
        (only("coating", "*/ceiling"), r'"coating" may not go on "bedroom/1": its only-on allows'),
        (panel("bedroom/W1", "done"), 'it is one of "bare", "finished", "now-or-never"'),
        (panel("bedroom/W9", "bare"), "names no panel"),
    ],
)
def test_limits_that_cannot_be_are_refused(
    small_job: Maker, change: tuple[str, str], said: str
) -> None:
    with pytest.raises(ProjectFileError, match=said) as caught:
        small_job("[]", change)
    assert len(caught.value.faults) == 1


def test_a_misspelt_key_of_a_table_that_comes_once_is_one_fault(small_job: Maker) -> None:
    with pytest.raises(ProjectFileError) as caught:
        small_job("[]", ("exterior-wall = ", "exterior-wal = "))
    (fault,) = caught.value.faults
    assert 'did you mean "exterior-wall"?' in str(fault)
