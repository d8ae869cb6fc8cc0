"""Titles in place of ids, in everything of a scene that a client reads, and no figure changed."""

from __future__ import annotations

import json
from dataclasses import replace

from envelope.api import cast
from envelope.building.job import Job
from envelope.exposure.analysis import analyze
from envelope.project import load_text
from viewer.scene.build import build_scene
from viewer.scene.records import Scene
from viewer.scene.titles import with_titles
from viewer.scene.to_json import to_json

JOB = """
format = 1
name = "Room"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.5 m"
[[opening]]
id = "W1"
on = "room/south"
kind = "window"
at = "1 m"
sill = "1 m"
size = "1 m x 1 m"
[[treatment]]
id = "treat-one"
title = "grey paint"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
[[treatment]]
id = "treat-two"
kind = "sheet"
sheet-resistance = "9 ohm/sq"
[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "4 deg"
service = "LTE 1800"
level = "100 uW/m2"
[[receiver]]
id = "bed"
space = "room"
at = "2, 1.5, 0.6 m"
[[plan]]
id = "walls"
treat = [{ on = "room/walls", with = "treat-one" }, { on = "room/W1", with = "treat-two" }]
"""


def _scene(job: Job) -> Scene:
    analysis = analyze(job=job, casts=cast(job, rays="few"), plans=job.plans)
    return build_scene(job=job, results=analysis.plans, threshold_db=20.0)


def test_treatments_are_called_by_their_titles_and_figures_stay() -> None:
    job = load_text(JOB, path="job.toml")
    plain = _scene(job)
    titled = with_titles(plain, job)
    before, after = (json.dumps(to_json(scene)) for scene in (plain, titled))
    assert "treat-one" in before
    assert "treat-one" not in after
    assert "treat-two" in after  # which has no title
    assert before.replace("treat-one", "grey paint") == after


def test_one_title_for_two_treatments_names_neither() -> None:
    job = load_text(JOB.replace('id = "treat-two"', 'id = "treat-two"\ntitle = "grey paint"'),
                    path="job.toml")  # fmt: skip
    plain = build_scene(job=job)
    assert with_titles(plain, job) is plain
    job = load_text(JOB, path="job.toml")
    alike = {**job.treatments, "treat-one": replace(job.treatments["treat-one"], title="treat-two")}
    assert with_titles(plain, replace(job, treatments=alike)) is plain
