"""Cables, outlets, bonds and strips in the scene: where they are, and what their colours say."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from envelope.project import load_text
from envelope.wiring.spread import solve_wiring
from viewer.pictures import cutaway
from viewer.pictures.cutaway import staged_of
from viewer.scene.build import build_scene, with_results
from viewer.scene.to_json import to_json
from viewer.scene.view import Margins
from viewer.scene.wiring import share_colour, share_key, tube

JOB = (Path(__file__).parents[3] / "models" / "wiring.toml").read_text("utf-8")
MARGINS = Margins(left=10, right=90, top=40, bottom=30)


@pytest.fixture(scope="module")
def job():
    return load_text(JOB, path="wiring.toml")


@pytest.fixture(scope="module")
def solved(job):
    return solve_wiring(job, job.wiring)[1]


@pytest.fixture(scope="module")
def scene(job, solved):
    return build_scene(job=job, wiring=solved)


def test_a_tube_is_closed_and_as_large_as_its_line_is_long():
    path = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [2.0, 0.0, 1.0]])
    made = tube(path, 0.02)
    assert np.abs(made.area_vector_m2).max() < 1e-12
    # two decagonal prisms, each longer by its radius at both ends
    decagon = 0.5 * 10 * 0.02**2 * math.sin(2 * math.pi / 10)
    assert made.volume_m3 == pytest.approx(decagon * (2.04 + 1.04), rel=1e-9)


def test_before_anything_is_solved_cables_have_no_colour(job):
    shown = build_scene(job=job).wiring
    assert shown.fields == ()
    assert {cable.shares for cable in shown.cables} == {()}
    kinds = {cable.id: cable.kind for cable in shown.cables}
    assert kinds["under-the-bed"] == "run"
    assert kinds["bedside-lamp cord"] == "cord"
    assert kinds["bedside-lamp"] == "device"
    assert {spot.kind for spot in shown.spots} == {"socket", "switch", "light", "bond"}


def test_colours_and_words_are_those_of_the_figures(scene, solved):
    at = scene.plan_index["walls-bonded"]
    left = {each.what: each for each in solved.plans[at].receivers[0].remaining}
    for cable in scene.wiring.cables:
        share = left[cable.what].share
        shown = cable.shares[at][0]
        assert shown.colour == share_colour((share.low + share.high) / 2.0)
        assert shown.matters == ((share.low + share.high) / 2.0 < 0.98)
    first, _ = scene.wiring.named(at, 0)[0]
    assert first.id == "bedside-lamp"
    assert scene.wiring.fields[at][0].endswith("V/m")


def test_dark_is_what_matters():
    key = share_key()
    assert key[0] == ("#00224e", "50 % or less")
    light = [sum(int(colour[k : k + 2], 16) for k in (1, 3, 5)) for colour, _ in key]
    assert light == sorted(light)
    assert share_colour(-3.0) == share_colour(0.5)
    assert share_colour(9.0) == share_colour(1.5)


def test_strips_and_bonds_show_under_their_plans_alone(scene, job):
    (strip,) = scene.wiring.strips
    assert strip.panel == "bedroom/floor"
    assert strip.plans == ("walls-and-floor-strip",)
    assert strip.mesh.area_m2 == pytest.approx(0.25 * 3.6)
    assert strip.mesh.vertices[:, 2] == pytest.approx(2.8 + 0.006)
    (bond,) = (spot for spot in scene.wiring.spots if spot.kind == "bond")
    assert bond.plans == ("walls-bonded", "walls-and-floor-strip")
    # from the right-hand corner, seen from inside: on the south wall that is the western one
    assert bond.at_m == pytest.approx([2.6, 0.0, 2.8 + 0.3])


def test_a_picture_of_the_wiring_shows_no_beams_and_hides_no_cable(scene):
    def staged(plan, quantity):
        shot = cutaway.shot_of(
            scene, plan=plan, size=(640, 440), margins=MARGINS, scale=1, quantity=quantity
        )
        return staged_of(shot)

    drawn = staged("walls-and-floor-strip", "wiring")
    of = {body.of: body for body in drawn.bodies}
    assert of["under-the-bed"].over
    assert of["bond"].over
    assert drawn.beams == ()
    assert sum(body.of == "bedroom/floor" for body in drawn.bodies) == 2  # the floor and its strip
    assert "bond" not in {body.of for body in staged("as-built", "wiring").bodies}
    assert "under-the-bed" not in {body.of for body in staged("as-built", "treatment").bodies}


def test_the_json_holds_it_all(scene, job):
    plain = json.loads(json.dumps(to_json(scene), allow_nan=False))["wiring"]
    assert len(plain["cables"]) == len(scene.wiring.cables)
    by_id = {cable["id"]: cable for cable in plain["cables"]}
    assert len(by_id["bedside-lamp"]["plans"]) == len(scene.plans)
    assert by_id["bedside-lamp cord"]["what"] == "bedside-lamp"
    assert [key["words"] for key in plain["key"]][2] == "100 %"
    # figures that no longer hold are taken away
    stale = with_results(scene, job=job, results=())
    assert to_json(stale)["wiring"]["fields"] == []
    assert to_json(stale)["wiring"]["cables"][0]["plans"] == []


def test_a_job_without_wiring_has_none(job):
    start = JOB.index("# ---- the wiring")
    bare = load_text(JOB[:start], path="bare.toml")
    assert build_scene(job=bare).wiring is None
    assert to_json(build_scene(job=bare))["wiring"] is None
