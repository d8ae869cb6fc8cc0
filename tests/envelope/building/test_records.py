"""Records check themselves: what a notebook may say wrong, and what is then said."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.job import (
    AS_BUILT,
    Assembly,
    Job,
    Layer,
    LossCurve,
    Material,
    Plan,
    Receiver,
    Source,
    Treatment,
)
from envelope.errors import EnvelopeError, RecordError
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load
from envelope.rays import Sampling

FEW = Sampling(points_per_panel=2**6, points=2**9)
BEDROOM = Path(__file__).parents[1] / "project" / "data" / "bedroom.toml"


@pytest.fixture(scope="module")
def job() -> Job:
    return load(BEDROOM)


def said(make: Callable[[], object]) -> list[str]:
    with pytest.raises(RecordError) as caught:
        make()
    assert isinstance(caught.value, EnvelopeError)
    return [fault.message for fault in caught.value.faults]


def with_plan(job: Job, treatments: Mapping[str, Any], **also: Any) -> Job:
    return replace(job, plans=(*job.plans, Plan(id="mine", treatments=treatments, **also)))


class TestPlans:
    def test_an_unknown_panel_is_refused_with_the_nearest_names(self, job: Job) -> None:
        assert said(lambda: with_plan(job, {"bedroom/cieling": ("coating",)})) == [
            'plan "mine": "bedroom/cieling" names no panel of "bedroom": did you mean "ceiling"?'
        ]

    def test_an_unknown_treatment_is_refused_with_the_nearest_names(self, job: Job) -> None:
        assert said(lambda: with_plan(job, {"bedroom/ceiling": ("coatin",)})) == [
            'plan "mine": there is no treatment "coatin": did you mean "coating"?'
        ]

    def test_an_alias_is_resolved(self, job: Job) -> None:
        panel = next(panel for panel in job.building.panels if panel.aliases)
        plan = with_plan(job, {panel.aliases[0]: ("coating",)}).plan("mine")
        assert plan.treatments == {panel.id: ("coating",)}

    def test_a_group_and_one_name_are_resolved_and_the_last_wins(self, job: Job) -> None:
        plan = with_plan(job, {"bedroom/walls": "coating", "bedroom/2": []}).plan("mine")
        walls = {panel.id for panel in job.building.panels if panel.kind == "wall"}
        assert set(plan.treatments) == walls
        assert {p for p, names in plan.treatments.items() if not names} == {"bedroom/2"}

    def test_a_plan_made_outside_the_job_is_held_to_the_same(self, job: Job) -> None:
        casts = cast_job(job, sampling=FEW)
        wrong = Plan(id="mine", treatments={"bedroom/cieling": ("coating",)})
        assert said(lambda: analyze(job=job, casts=casts, plans=[wrong]))[0].startswith(
            'plan "mine": "bedroom/cieling" names no panel'
        )
        alias = Plan(id="mine", treatments={"bedroom/south": ("coating",)})
        number = Plan(id="mine", treatments={"bedroom/1": ("coating",)})
        by_alias, by_number = analyze(job=job, casts=casts, plans=[alias, number]).plans
        assert [p.treatments for p in by_alias.receivers[0].panels] == [
            p.treatments for p in by_number.receivers[0].panels
        ]

    def test_as_built_is_there_and_first_and_bare(self, job: Job) -> None:
        assert replace(job, plans=()).plans[0].id == AS_BUILT
        turned = replace(job, plans=tuple(reversed(job.plans)))
        assert turned.plans[0].id == AS_BUILT
        bad = Plan(id=AS_BUILT, treatments={"bedroom/1": ("coating",)})
        assert said(lambda: replace(job, plans=(bad,))) == [
            'plan "as-built": "as-built" always exists and has no treatment: give this plan '
            "another id"
        ]

    def test_an_unknown_plan_is_refused_with_the_nearest_names(self, job: Job) -> None:
        with pytest.raises(EnvelopeError, match='there is no plan "wals": did you mean "walls"'):
            job.plan("wals")

    def test_two_plans_of_one_id_are_refused(self, job: Job) -> None:
        twice = (*job.plans, job.plan("walls"))
        assert said(lambda: replace(job, plans=twice)) == [
            'two plans have the id "walls": give each its own'
        ]


SOURCE: dict[str, Any] = {"id": "mast", "band_hz": (1.8e9, 1.8e9), "azimuth_rad": 1.0}
# What is changed in a source that can be, and what is then said of it.
SOURCES: list[tuple[dict[str, Any], str]] = [
    ({"band_hz": (1e6, 2e6)}, "band_hz = 1e+06, 2e+06 is out of range: a band must be from 30 MHz"),
    ({"band_hz": (2e9, 1e9)}, "the band ends below where it begins"),
    ({"elevation_rad": 1.7}, "elevation_rad = 1.7 is out of range: an elevation must be from -90"),
    ({"elevation_rad": math.nan}, "elevation_rad = nan is out of range"),
    ({"spread_rad": -0.1}, "spread_rad = -0.1 is out of range: a spread must be above 0 deg"),
    ({"scattered": 1.5}, "scattered = 1.5 is out of range: a share must be from 0 to 1"),
    ({"level_w_m2": {"": -1.0}}, "level_w_m2 = -1 is out of range: a level must be above 0 W/m2"),
    ({"level_w_m2": {"": math.inf}}, "level_w_m2 = inf is out of range"),
    ({"level_tolerance_db": 50.0}, "level_tolerance_db = 50 is out of range: a tolerance must be"),
    ({"azimuth_rad": None}, "azimuth is missing: a source in a direction needs it"),
    ({"position_m": np.ones(3)}, "azimuth does not go with a source at a point"),
    ({"eirp_w": 1.0}, "eirp goes with a source at a point"),
    ({"ground_reflection": True, "elevation_rad": -0.1}, "ground-reflection goes with an elevat"),
]


@pytest.mark.parametrize(("change", "message"), SOURCES)
def test_a_source_that_cannot_be(change: dict[str, Any], message: str) -> None:
    (found,) = said(lambda: Source(**{**SOURCE, **change}))
    assert found.startswith('source "mast": ' + message)


def test_a_source_may_stand_at_the_end_of_each_range() -> None:
    half = math.pi / 2
    source = Source(**{**SOURCE, "elevation_rad": half, "spread_rad": half, "scattered": 1.0})
    assert source.elevation_rad == half


# Assemblies and treatments that cannot be, and what is said of them.
MADE_OF: list[tuple[Callable[[], object], str]] = [
    (lambda: Assembly(id="a"), "an assembly takes one of layers, parts, loss, entry-loss"),
    (
        lambda: Assembly(id="a", layers=(Layer(material="brick"),)),
        "thickness_m = 0 is out of range: a length must be above 0 m",
    ),
    (
        lambda: Assembly(id="a", loss=LossCurve(frequencies_hz=(), losses_db=(1.0,)), reflects=0.9),
        "reflects = 0.9 and a loss of 1 dB would return and pass more than all",
    ),
    (
        lambda: Assembly(id="a", loss=LossCurve(frequencies_hz=(2e9, 1e9), losses_db=(1.0, 2.0))),
        "the table of losses is not sorted by frequency",
    ),
    (
        lambda: Treatment(id="a", kind="sheet"),
        'sheet-resistance is missing: kind = "sheet" needs it',
    ),
    (
        lambda: Treatment(id="a", kind="sheet", sheet_resistance_ohm_sq=-5.0),
        "sheet_resistance_ohm_sq = -5 is out of range: a sheet resistance must be from 1e-9 ohm/sq",
    ),
    (
        lambda: Treatment(id="a", kind="mesh", wire_diameter_m=2e-3, pitch_m=1e-3),
        "pitch must be larger than wire: it runs from wire to wire",
    ),
    (
        lambda: Treatment(id="a", kind="sheet", sheet_resistance_ohm_sq=5.0, pitch_m=1e-3),
        'pitch does not go with kind = "sheet", which takes sheet-resistance, coats',
    ),
    (
        lambda: Treatment(id="a", kind="paint"),  # type: ignore[arg-type]
        '"paint" is not a kind of treatment: it is one of "sheet"',
    ),
    (
        lambda: Material(id="a", relative_permittivity=0.5),
        "relative_permittivity = 0.5 is out of range: a relative permittivity must be from 1",
    ),
]


@pytest.mark.parametrize(("make", "message"), MADE_OF)
def test_what_cannot_be_made(make: Callable[[], object], message: str) -> None:
    found = said(make)
    assert any(message in each for each in found), found


class TestJobs:
    def test_a_receiver_stands_in_its_space(self, job: Job) -> None:
        outside = Receiver(id="bed", space="bedroom", position_m=np.array([99.0, 1.0, 0.7]))
        (found,) = said(lambda: replace(job, receivers=(outside,)))
        assert found.startswith('receiver "bed": the point lies outside every space')
        elsewhere = Receiver(id="bed", space="bedrom", position_m=np.array([1.0, 1.0, 0.7]))
        assert said(lambda: replace(job, receivers=(elsewhere,))) == [
            'receiver "bed": there is no space "bedrom": did you mean "bedroom"?'
        ]

    def test_a_box_fits_into_its_space(self, job: Job) -> None:
        wide = replace(job.receivers[0], size_m=np.array([9.0, 1.0, 0.3]))
        (found,) = said(lambda: replace(job, receivers=(wide,)))
        assert "the box does not fit into space" in found

    def test_a_material_is_known(self, job: Job) -> None:
        odd = Assembly(id="odd", layers=(Layer(material="brik", thickness_m=0.1),))
        assert said(lambda: replace(job, assemblies={**job.assemblies, "odd": odd})) == [
            'assembly "odd": there is no material "brik": did you mean "brick"?'
        ]

    def test_a_key_is_the_id(self, job: Job) -> None:
        coat = job.treatments["coating"]
        assert said(lambda: replace(job, treatments={**job.treatments, "coat": coat})) == [
            'treatment "coating" is listed as "coat": a key is the id'
        ]

    def test_every_element_has_its_assembly(self, job: Job) -> None:
        few = dict(list(job.assemblies.items())[1:])
        assert (
            "the building names what is not defined"
            in said(lambda: replace(job, assemblies=few))[0]
        )

    def test_all_faults_come_at_once(self, job: Job) -> None:
        found = said(
            lambda: replace(
                job,
                receivers=(Receiver(id="bed", space="attic", position_m=np.zeros(3)),),
                plans=(Plan(id="mine", treatments={"bedroom/none": ("coating", "fim")}),),
            )
        )
        assert len(found) == 2

    def test_a_receivers_storey_has_a_level(self, job: Job) -> None:
        upper = replace(job.sources[0], level_w_m2={"upper": 1e-3})
        assert said(lambda: replace(job, sources=(upper,))) == [
            'source "mast": there is no level for storey "ground", where a receiver is'
        ]
