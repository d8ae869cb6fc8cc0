"""Steps that are kept as plans of the file: read again, they are what was promised."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

import envelope
from envelope.building.job import Job, Plan, SourceMeasure
from envelope.errors import ProjectFileError, RecordError
from envelope.exposure.analysis import analyze, analyze_plan, bench_of
from envelope.exposure.casts import Casts, cast_job
from envelope.exposure.level_map import floor_levels
from envelope.plans.decide import decide
from envelope.project import load_text
from envelope.project.edit_table import add_row
from envelope.project.plan_entry import plan_entry
from envelope.rays import Sampling
from envelope.survey import solve_levels
from envelope.survey.responses import responses
from envelope.text.decisions import as_today_words
from envelope.text.measures import agreed_measures, counted_words
from envelope.text.trade import line_for, line_title
from envelope.works.takeoff import cost_of, take_off
from envelope.works.workorder import work_order
from viewer.report.wording import words_of

MODELS = Path(__file__).parents[3] / "models"
FEW = Sampling(points_per_panel=2**6, points=2**10)
EVERYTHING = """[
    { do = "off-at-night" },
    { do = "lower-power", by = "6 dB" },
    { do = "cable", cost = "60 EUR" },
    { do = "move", to = "2.5, 2.6, 0.3 m" },
    { do = "move", along = ["0.4, 0.4, 1 m", "2.6, 0.4, 1 m"], agreed-by = "nobody" },
]"""
Maker = Callable[..., Job]


def kept(text: str, job: Job, plan: Plan, path: str = "flat.toml") -> Job:
    """The job read again with a plan written into its file as "kept"."""
    entry = plan_entry(job, plan, name="kept", title="What was decided")
    return load_text(add_row(text=text, table="plan", entry=entry), path=path)


@pytest.mark.parametrize("name", ["house", "bedroom", "attic", "visits"])
def test_a_step_kept_in_the_file_brings_what_was_promised(name: str) -> None:
    text = (MODELS / f"{name}.toml").read_text("utf-8")
    path = str(MODELS / f"{name}.toml")
    job = solve_levels(load_text(text, path=path))
    casts = cast_job(job, sampling=FEW, lit=False)
    money = {"attic": 40_000}
    found = decide(
        job, casts=casts, receiver=job.receivers[0].id, max_steps=3, budget_cents=money.get(name)
    )
    step = found.steps[-1]
    again = solve_levels(kept(text, job, step.plan, path))
    assert again.plan("kept").measures.keys() == {each.device for each in step.sources}
    result = analyze_plan(
        bench=bench_of(again, casts), plan=again.plan("kept"), casts=casts, with_ranks=False
    )
    levels = {each.id: each.level_w_m2 for each in result.receivers}
    for receiver, level_w_m2 in step.levels_w_m2:
        assert levels[receiver] == pytest.approx(level_w_m2, rel=1e-9)


@pytest.mark.parametrize(
    "measure",
    [
        '{ source = "router", do = "off-at-night" }',
        '{ source = "router", do = "lower-power", by = "6 dB" }',
        '{ source = "router", do = "move", to = "2.5, 2.6, 0.3 m" }',
        '{ source = "router", do = "move", to = "0.95, 0.4, 1 m" }',
    ],
)
def test_a_plan_counts_its_sources_as_a_job_with_them_so(
    small_text: Callable[..., str], small_casts: Casts, measure: str
) -> None:
    text = (
        small_text(EVERYTHING) + f'[[plan]]\nid = "kept"\nextends = "all"\nmeasures = [{measure}]'
    )
    job = load_text(text, path="flat.toml")
    found = analyze(job=job, casts=small_casts, with_bands=True, ranked_plans=())
    (own,) = found.plan("kept").receivers
    taken = job.plan("kept").measures["router"]
    router = replace(
        job.sources[1],
        position_m=job.sources[1].position_m if taken.position_m is None else taken.position_m,
    )
    # by hand: a job without it, or with it so, cast by itself
    sources = [job.sources[0]]
    if taken.factor > 0.0:
        sources.append(replace(router, eirp_w=(router.eirp_w or 0.0) * taken.factor))
    plans = tuple(replace(plan, measures={}) for plan in job.plans)
    alone = replace(job, sources=tuple(sources), plans=plans)
    casts = cast_job(alone, sampling=Sampling(points_per_panel=2**7, points=2**11))
    (other,) = (
        analyze(job=alone, casts=casts, with_bands=True, ranked_plans=()).plan("kept").receivers
    )
    assert own.level_w_m2 == pytest.approx(other.level_w_m2, rel=1e-9)
    assert own.low_w_m2 is not None
    assert own.high_w_m2 is not None
    assert own.low_w_m2 < own.level_w_m2 < own.high_w_m2
    shares = {each.panel: each.share for each in own.panels}
    assert shares == pytest.approx({each.panel: each.share for each in other.panels}, abs=1e-9)
    assert own.reference_band == found.plans[0].receivers[0].reference_band
    read = kept(text.replace('"kept"', '"before"'), job, job.plan("kept"))
    again = analyze(job=read, casts=small_casts, ranked_plans=()).plan("kept").receivers[0]
    assert again.level_w_m2 == pytest.approx(own.level_w_m2, rel=1e-9)


def test_a_kept_step_has_the_ranges_of_the_decision(
    small_text: Callable[..., str], small_casts: Casts
) -> None:
    text = small_text('[{ do = "move", to = "2.5, 2.6, 0.3 m" }, { do = "cable", cost = "9 EUR" }]')
    job = load_text(text, path="flat.toml")
    found = decide(job, casts=small_casts)
    for step in (found.steps[0], found.steps[-1]):
        again = kept(text, job, step.plan)
        own = (
            analyze(
                job=again,
                casts=small_casts,
                with_bands=True,
                ranked_plans=(),
                plans=again.plans[-1:],
            )
            .plans[0]
            .receivers[0]
        )
        assert own.level_w_m2 == pytest.approx(step.level_w_m2, rel=1e-9)
        assert own.against_as_built is not None
        for name in ("below_db", "low_db", "high_db", "odds"):
            promised = getattr(step.so_far, name)
            assert getattr(own.against_as_built, name) == pytest.approx(promised, rel=1e-6)


def test_a_bed_that_a_plan_moves_has_its_own_casts(small_text: Callable[..., str]) -> None:
    bed = '[[plan]]\nid = "kept"\nbeds = [{ receiver = "pillow", at = "2.9, 2.3, 0.7 m" }]\n'
    job = load_text(small_text() + bed, path="flat.toml")
    casts = cast_job(job, sampling=FEW)
    assert len(casts.elsewhere) == 1
    own = analyze(job=job, casts=casts, ranked_plans=()).plan("kept").receivers[0]
    there = load_text(
        small_text(None, ('at = "0.7, 1.2, 0.7 m"', 'at = "2.9, 2.3, 0.7 m"')), path="flat.toml"
    )
    other = analyze(job=there, casts=cast_job(there, sampling=FEW), ranked_plans=()).plans[0]
    assert own.level_w_m2 == pytest.approx(other.receivers[0].level_w_m2, rel=1e-9)
    assert own.position_m == pytest.approx(other.receivers[0].position_m)
    # a plan made after the casts is cast when it is asked for
    late = replace(job.plan("kept"), id="late")
    bare = replace(casts, elsewhere={})
    result = analyze_plan(bench=bench_of(job, bare), plan=late, casts=bare).receivers[0]
    assert result.level_w_m2 == pytest.approx(own.level_w_m2, rel=1e-12)


def test_the_map_of_a_plan_has_its_sources(small_job: Maker, small_casts: Casts) -> None:
    job = small_job('[{ do = "off-at-night" }]')
    off = Plan(id="off", treatments={}, measures={"router": "off-at-night"})  # type: ignore[dict-item]
    maps = [
        floor_levels(job=job, casts=small_casts, plan=plan, receiver=job.receivers[0], step_m=1.0)
        for plan in (job.plan("as-built"), off)
    ]
    inside = maps[0].inside
    assert (maps[1].by_source_w_m2["router"][inside] == 0.0).all()
    assert maps[1].by_source_w_m2["mast"][inside] == pytest.approx(
        maps[0].by_source_w_m2["mast"][inside]
    )


def test_a_plan_takes_over_and_takes_back(small_text: Callable[..., str]) -> None:
    text = small_text(EVERYTHING)
    text += """
[[plan]]
id = "off"
extends = "all"
measures = [{ source = "router", do = "off-at-night" }]
beds = [{ receiver = "pillow", at = "2.9, 2.3, 0.7 m", head = "east" }]

[[plan]]
id = "more"
extends = "off"

[[plan]]
id = "on-again"
extends = "more"
measures = [{ source = "router", do = "leave" }]
"""
    job = load_text(text, path="flat.toml")
    assert {plan.id: [m.do for m in plan.measures.values()] for plan in job.plans} == {
        "as-built": [],
        "all": [],
        "off": ["off-at-night"],
        "more": ["off-at-night"],
        "on-again": [],
    }
    assert job.plan("more").treatments == job.plan("all").treatments
    bed = job.plan("on-again").beds["pillow"]
    assert bed.bed is not None
    assert (bed.bed.head, bed.position_m.tolist()) == ("east", [2.9, 2.3, 0.7])


@pytest.mark.parametrize(
    ("said", "line", "words"),
    [
        ('measures = [{ source = "ruter", do = "off-at-night" }]', "measures[0].source", "router"),
        ('measures = [{ source = "router", do = "off" }]', "measures[0].do", "off-at-night"),
        ('measures = [{ source = "router", do = "move" }]', "measures[0].to", "to is missing"),
        ('measures = [{ source = "router", do = "move", to = "9, 9, 1 m" }]', "do", "like this"),
        ('measures = [{ source = "router", do = "lower-power", by = "3 dB" }]', "do", "like this"),
        ('measures = [{ source = "router", do = "cable", by = "3 dB" }]', "by", "goes with"),
        ('measures = [{ source = "mast", do = "off-at-night" }]', "source", "in a direction"),
        (
            'measures = [{ source = "router", do = "cable" }, { source = "router", do = "leave" }]',
            "measures[1].source",
            "twice",
        ),
        ('beds = [{ receiver = "pilow", at = "1, 1, 1 m" }]', "beds[0].receiver", "pillow"),
        ('beds = [{ receiver = "pillow", at = "9, 1, 1 m" }]', "beds[0].at", "bedroom"),
    ],
)
def test_what_cannot_be_is_named_with_its_key(
    small_text: Callable[..., str], said: str, line: str, words: str
) -> None:
    text = small_text(EVERYTHING) + f'\n[[plan]]\nid = "wrong"\n{said}\n'
    with pytest.raises(ProjectFileError) as raised:
        load_text(text, path="flat.toml")
    (fault,) = raised.value.faults
    assert line in str(raised.value)
    assert words in fault.message


def test_may_holds_for_plans_from_a_notebook_too(small_job: Maker) -> None:
    job = small_job("[]")
    off = envelope.Plan(id="off", treatments={}, measures={"router": SourceMeasure(do="cable")})
    with pytest.raises(RecordError, match="nothing may be done"):
        job.resolved(off)
    with pytest.raises(RecordError, match="did you mean"):
        job.resolved(replace(off, measures={"ruter": SourceMeasure(do="cable")}))


def test_what_a_plan_counts_on_is_in_its_words_its_bill_and_its_work(
    small_text: Callable[..., str],
) -> None:
    own = '[[plan]]\nid = "quiet"\nextends = "all"\n'
    own += 'measures = [{ source = "router", do = "cable" }]\n'
    own += 'beds = [{ receiver = "pillow", at = "2.9, 2.3, 0.7 m", head = "east" }]\n'
    job = load_text(small_text(EVERYTHING) + own, path="flat.toml")
    quiet, plain = job.plan("quiet"), job.plan("all")
    said = [words.replace("\xa0", " ") for words in agreed_measures(job, quiet)]
    assert said == [
        "router on a cable, its radio off (you agree to it, 60.00 EUR)",
        "the bed at pillow moved to 2.90 m, 2.30 m, 0.70 m of bedroom, head to the east "
        "(you agree to it)",
    ]
    assert counted_words(job, plain) == ""
    assert take_off(job, quiet).bill.net == take_off(job, plain).bill.net + 60
    assert cost_of(job, quiet).net == cost_of(job, plain).net + 60
    line = take_off(job, quiet).bill.lines[-1]
    assert (line_title(job, line), line_for(job, line)) == ("router: cable", "")
    steps = work_order(job, quiet, words_of(job)).steps
    asked = [step for step in steps if step.trade == "household"]
    assert [step.what for step in asked] == [
        f"before the last reading: {words}" for words in agreed_measures(job, quiet)
    ]
    brought = {"mast": 2e-6, "router": 0.0}
    promise = as_today_words(job, [("quiet", brought)], counting=[quiet])
    assert promise.startswith("“quiet” counts on this besides: router on a cable")
    both = as_today_words(job, [("quiet", brought), ("all", brought)], counting=[quiet, plain])
    assert both.startswith("Levels here count every source as it is today")


@pytest.mark.parametrize(
    ("owner", "who"),
    [("household", "you agree"), ("neighbour", "the neighbour must"), (None, "whose it is")],
)
def test_who_must_agree_follows_from_whose_it_is(
    small_text: Callable[..., str], owner: str | None, who: str
) -> None:
    text = small_text() if owner is None else small_text(None, ("# may", f'owner = "{owner}"'))
    text += '[[plan]]\nid = "off"\nmeasures = [{ source = "router", do = "off-at-night" }]\n'
    job = load_text(text, path="flat.toml")
    assert who in agreed_measures(job, job.plan("off"))[0]


def test_a_reading_finds_on_what_is_off_at_night_only(small_text: Callable[..., str]) -> None:
    text = small_text(EVERYTHING)
    for name, do in (("night", "off-at-night"), ("cable", "cable")):
        text += f'[[plan]]\nid = "{name}"\nmeasures = [{{ source = "router", do = "{do}" }}]\n'
        text += f'[[reading]]\nid = "r-{name}"\nreceiver = "pillow"\nplan = "{name}"\n'
        text += 'level = "20 uW/m2"\nspots = 6\n'
    job = load_text(text, path="flat.toml")
    night, cable = job.readings
    assert not night.plan.measures
    assert cable.plan.measures["router"].factor == 0.0
    alone = text.replace('id = "r-cable"', 'id = "r-cable"\nsource = "router"')
    with pytest.raises(ProjectFileError, match="sends nothing under plan"):
        load_text(alone, path="flat.toml")
    found = responses(job, draws=4)
    place = found.sources.index("router")
    assert found.direct[1, place] + found.spread[1, place] == 0.0
    assert found.direct[0, place] + found.spread[0, place] > 0.0
