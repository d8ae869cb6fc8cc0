"""The ranking of panels: each trial against the same plan written out and analysed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from envelope.building.job import Job, Plan
from envelope.exposure.analysis import analyze, analyze_plan, bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.offers import offers_of
from envelope.exposure.stacks import REFLECTOR
from envelope.project import load
from envelope.rays import Sampling

FEW = Sampling(points_per_panel=2**9, points=2**12)
JOBS = {
    "house": "models/house.toml",
    "bedroom": "models/bedroom.toml",
    "attic": "models/attic.toml",
}


SEAL = replace(REFLECTOR, id="seal")  # the same under an id that a plan may have


def with_seal(job: Job) -> Job:
    return replace(job, treatments={**job.treatments, SEAL.id: SEAL})


def with_plan(plan: Plan, changes: dict[str, tuple[str, ...]]) -> Plan:
    written = {
        panel: tuple(SEAL.id if each == REFLECTOR.id else each for each in worn)
        for panel, worn in changes.items()
    }
    return replace(plan, id="tried", treatments={**plan.treatments, **written})


@pytest.fixture(scope="module", params=JOBS)
def analysed(request):
    job = with_seal(load(JOBS[request.param]))
    casts = cast_job(job, sampling=FEW)
    return job, casts, bench_of(job, casts)


class TestSealItAndLook:
    @pytest.mark.parametrize("index", [0, 1, 3])
    def test_a_trial_is_the_whole_analysis_of_the_changed_plan(self, analysed, index):
        job, casts, bench = analysed
        plan = job.plans[index]
        before = analyze_plan(bench=bench, plan=plan, casts=casts)
        checked = 0
        for at, receiver in enumerate(before.receivers):
            for leak in receiver.panels[::3]:
                after = analyze_plan(
                    bench=bench,
                    plan=with_plan(plan, {leak.panel: leak.treated_with}),
                    casts=casts,
                    with_ranks=False,
                )
                level = after.receivers[at].headline.level_w_m2
                assert leak.level_if_treated_w_m2 == pytest.approx(level, rel=1e-9), leak.panel
                checked += 1
        assert checked >= 4

    def test_panels_before_it_are_treated_too(self, analysed):
        job, casts, bench = analysed
        plan = job.plans[0]
        (first, *_) = analyze_plan(bench=bench, plan=plan, casts=casts).receivers
        together: dict[str, tuple[str, ...]] = {}
        tried = [leak for leak in first.panels if leak.level_with_all_before_w_m2 is not None]
        assert len(tried) >= 4
        for leak in tried:
            together[leak.panel] = leak.treated_with
            after = analyze_plan(
                bench=bench, plan=with_plan(plan, together), casts=casts, with_ranks=False
            )
            assert leak.level_with_all_before_w_m2 == pytest.approx(
                after.receivers[0].headline.level_w_m2, rel=1e-9
            )

    def test_an_isotropic_field_is_tried_as_well(self, analysed):
        job, casts, bench = analysed
        before = analyze_plan(bench=bench, plan=job.plans[1], casts=casts, isotropic=True)
        receiver = before.receivers[0]
        leak = receiver.panels[0]
        after = analyze_plan(
            bench=bench,
            plan=with_plan(job.plans[1], {leak.panel: leak.treated_with}),
            casts=casts,
        ).receivers[0]
        assert leak.level_if_treated_w_m2 == pytest.approx(
            after.reference.isotropic_level, rel=1e-9
        )

    def test_edges_move_trials_as_they_move_the_level(self):
        job = with_seal(load(JOBS["bedroom"]))
        casts = cast_job(job, sampling=FEW)
        bench = bench_of(job, casts)
        plan = job.plan("walls-only")
        before = analyze_plan(bench=bench, plan=plan, casts=casts, edges=True).receivers[0]
        leak = next(each for each in before.panels if each.panel == "bedroom/W1")
        after = analyze_plan(
            bench=bench,
            plan=with_plan(plan, {leak.panel: leak.treated_with}),
            casts=casts,
            edges=True,
            with_ranks=False,
        ).receivers[0]
        assert leak.level_if_treated_w_m2 == pytest.approx(after.level_w_m2, rel=1e-9)


class TestOrder:
    def test_panels_come_by_the_level_that_treating_them_leaves(self, analysed):
        job, casts, bench = analysed
        for plan in job.plans:
            for receiver in analyze_plan(bench=bench, plan=plan, casts=casts).receivers:
                levels = [leak.level_if_treated_w_m2 for leak in receiver.panels]
                assert levels == sorted(levels)
                assert [leak.panel for leak in receiver.gaps] == [
                    leak.panel for leak in receiver.panels if leak.is_gap
                ]

    def test_the_floor_comes_before_the_ceiling_that_makes_it_worse(self):
        job = load(JOBS["house"])
        casts = cast_job(job)
        found = analyze_plan(
            bench=bench_of(job, casts), plan=job.plan("walls-and-windows"), casts=casts
        ).receivers[0]
        by_panel = {leak.panel: leak for leak in found.panels}
        assert found.panels[0].panel == "bedroom/floor"
        assert by_panel["bedroom/floor"].below_if_treated_db > 6.0
        assert by_panel["bedroom/ceiling"].below_if_treated_db < -0.5
        # although by far the most of what comes straight, all directions alike, comes through it
        assert by_panel["bedroom/ceiling"].direct_share > 0.5


class TestOffers:
    def read(self, room_plain, window_plain, mast_plain, read_job, **changes) -> Job:
        treatments = [
            {"id": "coat", "kind": "fixed", "loss": "20 dB"},
            {"id": "film", "kind": "fixed", "loss": "15 dB"},
        ]
        plain = room_plain(
            assembly=[{"id": "wall", "loss": "6 dB"}, {"id": "pane", "loss": "1 dB"}],
            opening=[window_plain(), window_plain(id="W2", on="room/2", at="0.5 m")],
            source=[mast_plain()],
            treatment=treatments,
        )
        return read_job({**plain, **changes})

    def test_a_panel_is_offered_what_a_plan_puts_on_it_or_on_its_kind(
        self, room_plain, window_plain, mast_plain, read_job
    ):
        plans = [
            {"id": "a", "treat": [{"on": "room/W1", "with": "film"}]},
            {"id": "b", "treat": [{"on": "room/1", "with": "coat"}]},
            {"id": "c", "treat": [{"on": "room/W1", "with": ["film", "coat"]}]},
        ]
        job = self.read(room_plain, window_plain, mast_plain, read_job, plan=plans)
        offers = offers_of(job)
        panel = job.building.panel
        assert offers.of(panel("room/W1")) == (("film",), ("film", "coat"))
        assert offers.of(panel("room/W2")) == (("film",), ("film", "coat"))
        assert offers.of(panel("room/3")) == (("coat",),)
        assert offers.of(panel("room/floor")) == ((REFLECTOR.id,),)
        swapped = self.read(room_plain, window_plain, mast_plain, read_job, plan=plans[::-1])
        assert offers_of(swapped) == offers

    def test_a_face_is_offered_what_only_on_names_it_for(
        self, room_plain, window_plain, mast_plain, read_job
    ):
        job = self.read(room_plain, window_plain, mast_plain, read_job, plan=[])
        meant = replace(job, only_on={"film": ("room/W1", "room/W2"), "coat": ("room/floor",)})
        offers = offers_of(meant)
        panel = meant.building.panel
        assert offers.of(panel("room/W1")) == (("film",),)
        assert offers.of(panel("room/floor")) == (("coat",),)
        assert offers.of(panel("room/1")) == ((REFLECTOR.id,),)

    def test_the_better_of_two_is_taken_and_what_is_on_already_changes_nothing(
        self, room_plain, window_plain, mast_plain, read_job
    ):
        plans = [
            {"id": "a", "treat": [{"on": "room/W1", "with": "film"}]},
            {"id": "b", "treat": [{"on": "room/W1", "with": ["film", "coat"]}]},
        ]
        job = self.read(room_plain, window_plain, mast_plain, read_job, plan=plans)
        casts = cast_job(job, sampling=FEW)
        bench = bench_of(job, casts)
        found = {}
        for name in ("as-built", "b"):
            result = analyze_plan(bench=bench, plan=job.plan(name), casts=casts).receivers[0]
            found[name] = {leak.panel: leak for leak in result.panels}
        leak = found["as-built"]["room/W1"]
        assert leak.treated_with == ("film", "coat")
        assert leak.below_if_treated_db > 0.1
        on_already = found["b"]["room/W1"]
        assert on_already.treated_with == on_already.treatments
        assert on_already.below_if_treated_db == pytest.approx(0.0, abs=1e-12)
        assert on_already.level_with_all_before_w_m2 is None

    def test_a_reflector_keeps_everything_out(self, room_plain, window_plain, mast_plain, read_job):
        plain_walls = [{"id": "wall", "loss": "200 dB"}, {"id": "pane", "loss": "1 dB"}]
        job = self.read(
            room_plain, window_plain, mast_plain, read_job,
            assembly=plain_walls, opening=[window_plain()],
        )  # fmt: skip
        casts = cast_job(job, sampling=FEW)
        result = analyze_plan(bench=bench_of(job, casts), plan=job.plans[0], casts=casts)
        first = result.receivers[0].panels[0]
        assert first.panel == "room/W1"
        assert first.treated_with == (REFLECTOR.id,)
        assert first.share == pytest.approx(1.0, abs=1e-9)
        assert first.below_if_treated_db > 150.0


class TestTheRankedPlans:
    def test_ranking_one_plan_changes_nothing_in_it_and_tries_nothing_in_the_others(self):
        job = load(JOBS["bedroom"])
        casts = cast_job(job, sampling=FEW)
        every = analyze(job=job, casts=casts)
        first = job.plans[0].id
        one = analyze(job=job, casts=casts, ranked_plans=[first])
        assert one.plans[0].receivers[0].panels == every.plans[0].receivers[0].panels
        for ranked, unranked in zip(every.plans[1:], one.plans[1:], strict=True):
            for with_it, without in zip(ranked.receivers, unranked.receivers, strict=True):
                assert any(leak.treated_with for leak in with_it.panels)
                assert not any(leak.treated_with for leak in without.panels)
                assert without.level_w_m2 == with_it.level_w_m2
                shares = {leak.panel: leak.share for leak in with_it.panels}
                assert {leak.panel: leak.share for leak in without.panels} == shares

    def test_what_is_not_tried_together_is_what_it_is_by_itself(self):
        job = load(JOBS["bedroom"])
        casts = cast_job(job, sampling=FEW)
        every = analyze(job=job, casts=casts, ranked_plans=[job.plans[0].id])
        apart = analyze(job=job, casts=casts, ranked_plans=[job.plans[0].id], cumulated=False)
        leaks = [each.plans[0].receivers[0].panels for each in (every, apart)]
        assert any(leak.level_with_all_before_w_m2 is not None for leak in leaks[0])
        assert leaks[1] == tuple(
            replace(leak, level_with_all_before_w_m2=None) for leak in leaks[0]
        )
