"""The diffuse balance and the model's own error against power that was traced.

The tracing knows no balance: it follows rays with specular and scattered reflections through
coupled rooms (`power_tracing.py`). Layer formulas are common to both.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from power_tracing import trace
from traced_rooms import FEW, errors_of, facets_under, only, random_room, rays_of

from envelope.building.job import LossCurve, Plan, Treatment
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load

MODELS = Path(__file__).parents[2] / "models"
OPAQUE = LossCurve(frequencies_hz=(), losses_db=(200.0,))


def levels(job, plans=None):
    """(direct, diffuse) of the job's one source by plan and receiver."""
    analysis = analyze(job=job, casts=cast_job(job, sampling=FEW), plans=plans)
    return {
        (plan.plan, receiver.id): (
            receiver.sources[0].direct_w_m2,
            receiver.sources[0].diffuse_w_m2,
        )
        for plan in analysis.plans
        for receiver in plan.receivers
    }


def traced_over_computed_db(job, plan, computed, *, space, scattering, count=10_000):
    facets = facets_under(job, plan)
    found = trace(facets, rays_of(job, facets, count=count), scattering=scattering)
    assert found.lost_share < 1e-4
    return 10 * np.log10(found.diffuse[:, job.building.space_index[space]].mean() / computed)


def test_rough_rooms_are_as_the_balance_says():
    """Reflections to all sides: within 0.5 dB of the balance, bare, partly treated and closed."""
    job = only(load(MODELS / "bedroom.toml"), "hill-mast")
    computed = levels(job)
    for plan in ("as-built", "walls-only", "walls-and-windows", "all-round"):
        _, diffuse = computed[plan, "bed"]
        found = traced_over_computed_db(job, plan, diffuse, space="bedroom", scattering=1.0)
        assert abs(found) < 0.5, (plan, found)


# The router's few rays that get through a floor and a ceiling, both coated, say nothing here.
# Closed all round, the mast comes in through neighbours' walls, where the field is not even.
PLANS_OF = {
    "kitchen-router": {"as-built": 0.6, "walls-only": 0.6},
    "mast": {"as-built": 0.6, "walls-only": 0.6, "all-round": 2.0},
}


@pytest.mark.parametrize("source", list(PLANS_OF))
def test_rough_rooms_of_a_house_are_as_the_balance_of_all_of_them_says(source):
    """Nine coupled rooms: from the kitchen through joists and landing, and from outside."""
    job = only(load(MODELS / "house.toml"), source)
    computed = levels(job)
    for plan, allowed_db in PLANS_OF[source].items():
        _, diffuse = computed[plan, "pillow"]
        found = traced_over_computed_db(
            job, plan, diffuse, space="bedroom", scattering=1.0, count=40_000
        )
        assert abs(found) < allowed_db, (plan, found)


# Mostly mirror-like reflections, the mean over the room. What an earlier tracing of another hand
# found, spot by spot: −0.8 to +1.1 dB as built, −3.3 to +5.1 with the walls alone, ±0.7 all round.
SMOOTH_DB = {
    "as-built": (0.5, 1.6),
    "walls-only": (1.5, 3.5),
    "walls-and-windows": (2.0, 4.5),
    "all-round": (-0.5, 0.5),
}


def test_smooth_partly_treated_rooms_keep_more_than_the_balance_says():
    """Along a window's beam walls that mirror keep power in a room; closed all round it is even."""
    job = only(load(MODELS / "bedroom.toml"), "hill-mast")
    computed = levels(job)
    for plan, (low_db, high_db) in SMOOTH_DB.items():
        _, diffuse = computed[plan, "bed"]
        found = traced_over_computed_db(job, plan, diffuse, space="bedroom", scattering=0.3)
        assert low_db < found < high_db, (plan, found)


def sealed(job, panels):
    """The job with a perfect reflector on offer, and plans that put it on one panel each."""
    foil = Treatment(id="foil", kind="fixed", loss=OPAQUE, reflects=1.0)
    plans = tuple(Plan(id=panel, treatments={panel: ("foil",)}) for panel in panels)
    return replace(
        job, treatments={**job.treatments, "foil": foil}, plans=(job.plan("as-built"), *plans)
    )


def test_what_sealing_one_panel_changes():
    """Diffuse level in the demo bedroom with one panel sealed after another, over as built."""
    panels = ("bedroom/W1", "bedroom/W2", "bedroom/ceiling", "bedroom/1", "bedroom/3")
    job = sealed(only(load(MODELS / "bedroom.toml"), "hill-mast"), panels)
    computed = levels(job)
    before = trace(
        facets_under(job, "as-built"),
        rays_of(job, facets_under(job, "as-built"), count=40_000),
        scattering=1.0,
    ).diffuse.mean()
    for panel in panels:
        facets = facets_under(job, panel)
        after = trace(facets, rays_of(job, facets, count=40_000), scattering=1.0).diffuse.mean()
        change = computed[panel, "bed"][1] / computed["as-built", "bed"][1]
        assert after / before == pytest.approx(change, rel=0.15), panel


@pytest.mark.parametrize("plan", ["as-built", "walls-only", "all-round"])
def test_shares_of_the_diffuse_level_by_the_panel_it_came_in_by(plan):
    """Demo bedroom: each panel's part of the diffuse field, traced and as the shares have it."""
    job = only(load(MODELS / "bedroom.toml"), "hill-mast")
    analysis = analyze(job=job, casts=cast_job(job, sampling=FEW), plans=[job.plan(plan)])
    (receiver,) = analysis.plan(plan).receivers
    (source,) = receiver.sources
    direct = {path.panel: path.level_w_m2 for path in source.paths}
    computed = {
        panel.panel: (panel.share * source.level_w_m2 - direct.get(panel.panel, 0.0))
        / source.diffuse_w_m2
        for panel in receiver.panels
    }
    assert sum(computed.values()) == pytest.approx(1.0, abs=1e-6)
    facets = facets_under(job, plan)
    found = trace(facets, rays_of(job, facets, count=40_000), scattering=1.0)
    traced = found.entered.mean(axis=0) / found.diffuse.mean()
    assert traced.sum() == pytest.approx(1.0, rel=1e-9)
    for panel, share in computed.items():
        assert traced[job.building.panel_index[panel]] == pytest.approx(share, abs=0.03), panel
    assert max(computed.values()) < 0.97  # more than one panel counts


@pytest.mark.parametrize("seed", [101, 102, 103])
def test_the_own_error_of_a_plan_holds_spots_of_rooms_it_was_not_fitted_to(seed):
    """10–90 %: about 80 of 100 spots; over the recorded run it is 80."""
    plans = ("as-built", "walls", "walls-openings", "all-round")
    found = list(
        errors_of(random_room(seed, plans[1:]), scatterings=(0.1, 0.4), count=8000, plans=plans)
    )
    assert {each.plan for each in found} == set(plans)
    within = np.mean([np.abs(each.at_spots_db) < each.own_db for each in found])
    assert 0.6 < within <= 0.99
    by_plan = {
        plan: np.sqrt(np.mean([each.at_spots_db**2 for each in found if each.plan == plan]))
        for plan in plans
    }
    # partly treated the field is far from even; bare and closed it is near the balance
    assert by_plan["walls"] > 1.3 * by_plan["as-built"]
    assert by_plan["walls"] > 1.3 * by_plan["all-round"]
    for plan, spread_db in by_plan.items():
        own_db = np.mean([each.own_db for each in found if each.plan == plan])
        assert spread_db < 1.8 * own_db / 1.2816, plan
