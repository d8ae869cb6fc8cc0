"""Sources moved, turned down and off: tables against the analysis of the job so changed."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

import envelope
from envelope.building.job import Job
from envelope.commands.check import unowned_sources
from envelope.errors import ProjectFileError
from envelope.exposure.analysis import analyze_plan, bench_of
from envelope.exposure.casts import Casts, cast_job
from envelope.plans.candidates import candidates_of
from envelope.plans.decide import decide
from envelope.plans.source_changes import SourceChange, changes_of
from envelope.plans.terms import tables_of
from envelope.plans.units import Option, Unit, changes_in, plan_of
from envelope.project import load_text
from envelope.rays import Sampling
from envelope.text.decisions import agreement_words, as_today_words, undone_words
from envelope.text.measures import measure_words
from envelope.text.numbers import level as level_words

FEW = Sampling(points_per_panel=2**7, points=2**11)
EVERYTHING = """[
    { do = "off-at-night" },
    { do = "lower-power", by = "6 dB" },
    { do = "cable", cost = "60 EUR" },
    { do = "move", to = "2.5, 2.6, 0.3 m" },
    { do = "move", along = ["0.4, 0.4, 1 m", "2.6, 0.4, 1 m"], agreed-by = "nobody" },
]"""


Maker = Callable[..., Job]


@pytest.fixture(scope="module")
def job(small_job: Maker) -> Job:
    return small_job(EVERYTHING)


@pytest.fixture(scope="module")
def casts(small_casts: Casts) -> Casts:
    return small_casts


def test_tables_of_sources_are_what_the_analysis_of_the_changed_job_gives(
    job: Job, casts: Casts
) -> None:
    today = job.plan("as-built")
    changes = changes_of(job)["router"]
    assert [each.do for each in changes][:4] == ["off-at-night", "lower-power", "cable", "move"]
    assert len(changes) == 4 + 5  # a line is tried at five places
    options = [Option(label="leave"), *(Option(label=each.do, change=each) for each in changes[:5])]
    source = Unit(id="router", title="router", options=tuple(options))
    units = [*candidates_of(job, base=today).units, source]
    tables = tables_of(job=job, casts=casts, bench=bench_of(job, casts), units=units, base=today)
    rng = np.random.default_rng(5)
    every = np.array(list(itertools.product(*(range(len(unit.options)) for unit in units))))
    chosen = every[rng.permutation(len(every))[:16]]
    for chose, level in zip(chosen, tables.levels(chosen)[:, 0], strict=True):
        plan = plan_of(units, chose, base=today, name="p")
        changed = _changed(job, changes_in(units, chose))
        again = cast_job(changed, sampling=FEW)
        (receiver,) = analyze_plan(
            bench=bench_of(changed, again),
            plan=replace(plan, measures={}),
            casts=again,
            with_ranks=False,
        ).receivers
        assert level == pytest.approx(receiver.level_w_m2, rel=1e-9)
        (own,) = analyze_plan(
            bench=bench_of(job, casts), plan=plan, casts=casts, with_ranks=False
        ).receivers
        assert level == pytest.approx(own.level_w_m2, rel=1e-9)


def _changed(job: Job, done: Sequence[SourceChange]) -> Job:
    """The job with the router as changes leave it, without it where it is off."""
    sources = []
    for each in job.sources:
        for change in done if each.id == "router" else ():
            assert each.eirp_w is not None
            each = replace(each, eirp_w=each.eirp_w * (change.factor or 1.0))
            if change.position_m is not None:
                each = replace(each, position_m=change.position_m, space=change.space)
        if each.id != "router" or all(change.factor for change in done):
            sources.append(each)
    return replace(job, sources=tuple(sources))


def test_steps_count_on_the_best_free_measure_and_say_what_is_left_without(
    job: Job, casts: Casts
) -> None:
    found = decide(job, casts=casts)
    counted = [each for each in found.free if each.counted]
    assert [each.change.do for each in counted] == ["off-at-night"]
    assert found.start_w_m2 == pytest.approx(counted[0].level_w_m2)
    assert found.start_w_m2 < found.levels_w_m2[0][1]
    assert found.undone_w_m2 is not None
    assert found.undone_w_m2 > found.steps[found.stop_after - 1].level_w_m2
    assert undone_words(job, found).endswith("stays on at night")
    assert all(step.sources == (counted[0].change,) for step in found.steps)
    left = decide(job, casts=casts, leave_sources=True)
    assert not any(each.counted for each in left.free)
    assert left.start_w_m2 == pytest.approx(left.levels_w_m2[0][1])
    assert len(left.free) == len(found.free)


def test_what_costs_money_is_a_step_like_any_other(casts: Casts, small_job: Maker) -> None:
    job = small_job('[{ do = "cable", cost = "15 EUR" }]')
    found = decide(job, casts=casts)
    (cable,) = [(step, change) for step in found.steps for change in step.changes if change.source]
    assert cable[1].unit == "router"
    assert cable[0].sources[0].do == "cable"
    assert found.start_w_m2 == pytest.approx(found.levels_w_m2[0][1])
    assert found.steps[-1].total_cents == sum(step.cents for step in found.steps)


def test_a_neighbours_source_is_shown_and_not_counted_on(casts: Casts, small_job: Maker) -> None:
    job = small_job('[{ do = "off-at-night", agreed-by = "neighbour" }]')
    found = decide(job, casts=casts)
    assert [(each.change.do, each.counted) for each in found.free] == [("off-at-night", False)]
    assert found.start_w_m2 == pytest.approx(found.levels_w_m2[0][1])
    assert "neighbour" in agreement_words(found.free[0])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('id = "router"', 'id = "router"\ntitle = "neighbour\'s router"'),
        ('id = "study"', 'id = "study"\ntitle = "next door\'s study"'),
        ('"router"', '"next-door-router"'),
    ],
)
def test_what_is_called_the_neighbours_is_not_counted_on_unless_the_job_says_so(
    small_job: Maker, old: str, new: str
) -> None:
    job = small_job(None, (old, new))
    ((change,),) = changes_of(job).values()
    assert (change.do, change.is_free) == ("off-at-night", False)
    job = small_job('[{ do = "off-at-night" }]', (old, new))
    ((change,),) = changes_of(job).values()
    assert change.is_free


def test_a_source_that_sends_less_never_raises_the_level(casts: Casts, small_job: Maker) -> None:
    changes = '[{ do = "off-at-night" }, { do = "lower-power", by = "3 dB" }]'
    for free in decide(small_job(changes), casts=casts).free:
        assert 0.0 < free.gain.low_db < free.gain.below_db < free.gain.high_db
        assert free.gain.can_be_told
        if free.change.do == "lower-power":
            assert free.gain.high_db < 3.0  # what the source itself falls by


def test_figures_of_a_source_that_is_off_do_not_bear_on_the_steps(
    casts: Casts, small_job: Maker
) -> None:
    words = {
        may: [rest.words for rest in decide(small_job(may), casts=casts).rests]
        for may in ("[]", '[{ do = "off-at-night" }]')
    }
    assert any("router" in each for each in words["[]"])
    assert not any("router" in each for each in words['[{ do = "off-at-night" }]'])


def test_a_source_in_the_home_may_be_off_at_night_unless_the_job_says_otherwise(
    small_job: Maker,
) -> None:
    own = ("# may", 'owner = "household"')
    (change,) = changes_of(small_job(None, own))["router"]
    assert (change.do, change.cost, change.is_free) == ("off-at-night", 0, True)
    assert "study" in change.reason
    titled = small_job(None, own, ('id = "study"', 'id = "study"\ntitle = "home office"'))
    (change,) = changes_of(titled)["router"]
    assert change.reason.startswith("it stands in home office (")
    assert changes_of(small_job("[]")) == {}
    assert changes_of(small_job(None, ('"router"', '"gas-meter"'))) == {}


@pytest.mark.parametrize("title", ["router", "Flat 2", "downstairs", "upstairs tenant"])
def test_whose_a_router_is_is_asked_where_no_name_tells(
    casts: Casts, small_job: Maker, title: str
) -> None:
    job = small_job(None, ('id = "router"', f'id = "router"\ntitle = "{title}"'))
    found = decide(job, casts=casts)
    (free,) = found.free
    assert (free.change.agreed_by, free.change.is_free, free.counted) == ("unknown", False, False)
    assert found.start_w_m2 == pytest.approx(found.levels_w_m2[0][1])
    assert "whose is it?" in agreement_words(free)
    assert any("whose is it?" in each for each in unowned_sources(job))
    theirs = small_job(None, ("# may", 'owner = "neighbour"'))
    ((change,),) = changes_of(theirs).values()
    assert (change.agreed_by, change.is_free) == ("neighbour", False)
    assert unowned_sources(theirs) == []


def test_bands_of_one_device_are_changed_together(small_job: Maker) -> None:
    job = small_job(
        '[{ do = "off-at-night" }]',
        ('band = "2.4-2.4835 GHz"\neirp = "20 dBm"', 'bands = [{ service = "Wi-Fi 2.4", eirp = '
        '"20 dBm" }, { service = "Wi-Fi 5", eirp = "20 dBm" }]'),
    )  # fmt: skip
    (change,) = changes_of(job)["router"]
    assert change.sources == ("router-wi-fi-2-4", "router-wi-fi-5")
    found = envelope.decide(job, envelope.cast(job, rays="few"))
    assert len(found.free) == 1


@pytest.mark.parametrize("may", ['[{ do = "off-at-night" }]', '[{ do = "cable", cost = "9 EUR" }]'])
def test_where_the_only_source_may_be_off_faces_are_decided_with_it_on(
    small_job: Maker, small_casts: Casts, may: str
) -> None:
    job = small_job(may)
    alone = replace(job, sources=job.sources[1:])
    found = decide(alone, casts=small_casts)
    (free,) = found.free
    assert (free.level_w_m2, free.gain.below_db, free.counted) == (0.0, np.inf, False)
    assert found.start_w_m2 == pytest.approx(found.levels_w_m2[0][1])
    assert all(step.level_w_m2 > 0.0 for step in found.steps)


def test_where_it_goes_is_said_in_the_rooms_own_coordinates(job: Job) -> None:
    words = [measure_words(job, each) for each in changes_of(job)["router"]]
    assert words[0] == "switch it off at night"
    assert words[1] == "turn its power down by 6\xa0dB"
    assert words[3] == "move it to 2.50\xa0m, 2.60\xa0m, 0.30\xa0m of study"


@pytest.mark.parametrize(
    ("may", "key", "said"),
    [
        ('[{ do = "move", to = "9, 1, 1 m" }]', "may[0].to", "the source cannot be moved there"),
        ('[{ do = "move" }]', "may[0].do", "a move takes one of to, along, and this has none"),
        ('[{ do = "move", space = "den", to = "1,1,1 m" }]', "may[0].space", 'no space "den"'),
        ('[{ do = "cable", by = "3 dB" }]', "may[0].by", 'by goes with do = "lower-power"'),
        ('[{ do = "lower-power" }]', "may[0].by", "say how much less it sends"),
        ('[{ do = "cable", cost = "9 USD" }]', "may[0].cost", "the job counts in EUR"),
        ('[{ do = "wire" }]', "may[0].do", "it is one of"),
        ('[{ do = "cable", agreed-by = "me" }]', "may[0].agreed-by", "is not who must agree"),
    ],
)
def test_what_cannot_be_is_refused_at_its_key(
    may: str, key: str, said: str, small_text: Callable[..., str]
) -> None:
    with pytest.raises(ProjectFileError) as caught:
        load_text(small_text(may), path="flat.toml")
    (fault,) = caught.value.faults
    assert fault.location is not None
    assert (fault.location.key or "").endswith(key)
    assert said in str(fault)


def test_a_source_in_a_direction_is_not_moved_from_here(small_job: Maker) -> None:
    with pytest.raises(ProjectFileError, match="one far away is not moved"):
        small_job(None, ("scattered = 0.1", 'scattered = 0.1\nmay = [{ do = "off-at-night" }]'))


def test_a_promise_says_that_sources_count_as_today_and_what_a_free_measure_brings(
    small_job: Maker,
) -> None:
    job = small_job(None, ("# may", 'owner = "household"'))
    others = {each.id: 2e-6 for each in job.sources if each.id != "router"}
    rest = sum(others.values())
    said = as_today_words(job, [("all round", {**others, "router": 1e-6})])
    assert "as it is today (router on)" in said
    assert "router: switch it off at night" in said
    then = f"{level_words(rest)} instead of {level_words(rest + 1e-6)} with “all round”"
    assert said.endswith(f"would leave {then}.")
    plain = "Levels here count every source as it is today."
    assert as_today_words(job, [("all round", {**others, "router": 0.0})]) == plain
    assert as_today_words(small_job("[]"), [("all round", {**others, "router": 1e-6})]) == plain
