"""Rooms, openings and sources under the names that the client knows."""

from __future__ import annotations

from pathlib import Path

from envelope.project import load
from viewer.scene.build import build_scene
from viewer.scene.scopes import scope_of
from viewer.scene.to_json import to_json

JOB = """
format = 1
name = "Named"

[construction]
exterior-wall = "timber-wall"
interior-wall = "stud-wall"
floor = "joist-floor"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"

[[storey]]
id = "ground"
floor = "0 m"

[[space]]
id = "r1"
title = "Mira's room"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"

[[opening]]
id = "W1"
title = "garden window"
on = "r1/south"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "1.2 m x 1.1 m"
reveal = "120 mm"
film-edge = "2 mm"

[[source]]
id = "m1"
title = "church tower"
azimuth = "180 deg"
elevation = "0 deg"
band = "1805-1880 MHz"
level = "500 uW/m2"

[[source]]
id = "router"
title = "grey router"
space = "r1"
at = "3, 2, 1 m"
band = "2400-2480 MHz"
eirp = "100 mW"

[[receiver]]
id = "pillow"
space = "r1"
at = "1, 1, 0.6 m"
"""


def test_titles_stand_in_place_of_ids(tmp_path: Path) -> None:
    path = tmp_path / "named.toml"
    path.write_text(JOB, encoding="utf-8")
    scene = build_scene(job=load(path))
    titles = {panel["id"]: panel["title"] for panel in to_json(scene)["panels"]}
    assert titles["r1/W1"] == "garden window"
    assert titles["r1/W1/sill"] == "sill of garden window"
    assert titles["r1/W1/film-edge"] == "film edge of garden window"
    assert titles["r1/1"] == "south wall"
    mast, router = scope_of(scene, receiver="pillow").marks
    assert mast.label == "church tower, azimuth 180°, level"
    assert (mast.short, router.label) == ("church tower", "grey router in Mira's room")
    assert scene.spaces[0].name == "Mira's room"
