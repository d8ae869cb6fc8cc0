"""What pages are told of a scene: plans one by one, scopes, and what of a plan stands out."""

from __future__ import annotations

import json

import pytest

from viewer.scene.records import Scene
from viewer.scene.to_json import column_to_json, to_json


def test_a_column_has_what_its_plan_has_in_the_scene(house_scene: Scene):
    whole = json.loads(json.dumps(to_json(house_scene)))
    column = json.loads(json.dumps(column_to_json(house_scene, plan="walls-only")))
    assert column["plan"] == whole["plans"][1]
    for index, state in column["panels"].items():
        assert state == whole["panels"][int(index)]["plans"][1]
    assert column["beams"] == [beam["plans"][1] for beam in whole["beams"]]


def test_the_first_scope_is_the_receivers_room(house_scene: Scene):
    scopes = to_json(house_scene)["scopes"]
    said = [(each["mode"], each["storey"], each["count"]) for each in scopes]
    assert said == [
        ("room", None, 0),
        ("one", "ground", 0),
        ("one", "upper", 0),
        ("all", None, 0),
        ("peel", None, 1),
    ]
    room = scopes[0]
    assert (room["full"], room["low"], room["below"]) == (["bedroom"], ["hall"], ["living"])
    assert len({each["azimuth_rad"] for each in scopes}) == 1
    assert [mark["source"] for mark in room["marks"]] == ["mast", "router"]
    assert room["marks"][1]["arrow"] is None


@pytest.mark.parametrize("plan", ["as-built", "walls-only", "walls-and-film"])
def test_gaps_are_named_first_and_the_beam_that_brings_most_is_drawn_first(
    house_scene: Scene, plan: str
):
    found = to_json(house_scene)
    numbers = next(each for each in found["plans"] if each["id"] == plan)["receivers"][0]
    gaps = [label["is_gap"] for label in numbers["labels"]]
    assert gaps == sorted(gaps, reverse=True)
    place = [each["id"] for each in found["plans"]].index(plan)
    levels = [found["beams"][index]["plans"][place]["level_w_m2"] for index in numbers["beams"]]
    assert levels == sorted(levels, reverse=True)
    assert found["beams"][numbers["beams"][0]]["panel"] == "bedroom/W1"
