"""A client reads names, one number a plan and what is left, and no id, key or steradian."""

from __future__ import annotations

import datetime
import json
import re

import pytest

from envelope.api import cast
from envelope.exposure.analysis import analyze
from envelope.plans.decide import decide
from envelope.project import load_text
from envelope.text import level, percent
from viewer.handout.build import handout_html
from viewer.handout.steps import StepsSection, steps_section
from viewer.scene.build import build_scene
from viewer.scene.titles import with_titles

IDS = ("sp-1", "sp-2", "w-1", "d-1", "t-1", "t-2", "src-1", "src-2", "rec-1", "pl-1", "pl-2")
JOB = """
format = 1
name = "Hazel End, back bedroom (invented)"
[construction]
exterior-wall = "timber-wall"
floor = "joist-floor"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
door = "hollow-wood-door"
[[storey]]
id = "ground"
floor = "0 ft"
[[storey]]
id = "upper"
floor = "9 ft"
[[space]]
id = "sp-1"
title = "back bedroom"
storey = "upper"
walk = "E 12 ft; N 8 ft; W 4 ft; N 3 ft; W 8 ft; S"
height = "8 ft"
[[space]]
id = "sp-2"
title = "living room"
storey = "ground"
size = "12 ft x 11 ft"
height = "8 ft"
[[opening]]
id = "w-1"
title = "garden window"
on = "sp-1/south"
kind = "window"
at = "3 ft"
sill = "3 ft"
size = "4 ft x 4 ft"
reveal = "4 in"
[[opening]]
id = "d-1"
title = "bedroom door"
on = "sp-1/west"
kind = "door"
at = "1 ft"
size = "2 ft 8 in x 6 ft 8 in"
undercut = "3/8 in"
[[treatment]]
id = "t-1"
title = "grey paint"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
price = "4 USD/ft2"
[[treatment]]
id = "t-2"
title = "clear film"
kind = "sheet"
sheet-resistance = "9 ohm/sq"
price = "8 USD/ft2"
[[source]]
id = "src-1"
title = "tower on the ridge"
azimuth = "171 deg"
elevation = "3 deg"
service = "LTE 1800"
level = "640 uW/m2"
[[source]]
id = "src-2"
title = "router in the living room"
space = "sp-2"
at = "6 ft, 3 ft, 4 ft"
service = "Wi-Fi 2.4"
eirp = "20 dBm"
owner = "household"
[[receiver]]
id = "rec-1"
title = "Tom's pillow"
space = "sp-1"
at = "3 ft, 4 ft, 2 ft"
[[plan]]
id = "pl-1"
title = "Walls first"
treat = [{ on = "sp-1/walls", with = "t-1" }]
[[plan]]
id = "pl-2"
title = "Walls and window"
extends = "pl-1"
treat = [{ on = "sp-1/w-1", with = "t-2" }, { on = "sp-1/floor", with = "t-1" }]
"""


@pytest.fixture(scope="module")
def made() -> tuple[str, StepsSection, dict[str, float]]:
    """The page, its steps, and the level of each plan. [W/m²]"""
    job = load_text(JOB, path="job.toml")
    casts = cast(job, rays="few")
    analysis = analyze(job=job, casts=casts, plans=job.plans, with_bands=True)
    scene = with_titles(build_scene(job=job, results=analysis.plans), job)
    decision = decide(job, casts=casts, receiver="rec-1")
    page = handout_html(
        scene=scene, job=job, analysis=analysis, date=datetime.date(2025, 3, 1), decision=decision
    )
    levels = {each.plan: each.receivers[0].level_w_m2 for each in analysis.plans}
    return page, steps_section(job, decision), levels


def words_of(page: str) -> str:
    """What is read: no tags, scripts or styles, and not the licences of what is inside."""
    read = re.sub(r"<(script|style|details)\b.*?</\1>", " ", page, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", read))


def test_no_id_key_or_unit_of_the_planner_is_read(made: tuple[str, StepsSection, object]) -> None:
    said = words_of(made[0])
    assert not [name for name in IDS if re.search(rf"(?<![\w-]){name}(?![\w-])", said)]
    for planners in ("jamb", " sr ", "no gap", "[[", "`", " = ", ".toml"):
        assert planners not in said, planners
    for title in ("Tom's pillow", "garden window", "tower on the ridge", "Walls and window"):
        assert title in said.replace("&#39;", "'"), title


def test_what_the_picture_says_of_faces_has_titles_too(
    made: tuple[str, StepsSection, object],
) -> None:
    (found,) = re.findall(r'<script type="application/json" id="scene">(.*?)</script>', made[0])
    scene = json.loads(found.replace("\\u003c", "<"))
    said = [label["text"] for plan in scene["plans"] for label in plan["receivers"][0]["labels"]]
    said += [mark["label"] for scope in scene["scopes"] for mark in scope["marks"]]
    said += [panel["title"] for panel in scene["panels"]]
    assert "router in the living room, under this floor" in said
    assert not [words for words in said if any(name in words for name in IDS)]


def test_a_plan_has_one_number_everywhere(made: tuple[str, StepsSection, dict[str, float]]) -> None:
    page, _, levels = made
    said = words_of(page)
    chosen = level(levels["pl-2"]).replace("\u00a0", " ")
    assert f"With Walls and window , {chosen} reach" in said
    for part in (r'<label class="plan">.*?</label>', r'<section class="readings">.*?</section>'):
        found = " ".join(re.findall(part, page, re.S))
        for each in levels.values():
            assert level(each) in found


def test_what_is_free_stands_before_the_first_step(
    made: tuple[str, StepsSection, dict[str, float]],
) -> None:
    page, section, levels = made
    start = section.start
    assert start is not None
    assert start.does == ("router in the living room: switch it off at night",)
    # else the first step would seem to bring what switching off a router brings
    today = levels["as-built"]
    first = float(section.groups[0][1][0].bar)
    assert 100.0 > float(start.bar) >= first > 0.0
    assert start.share == percent(float(start.bar) / 100.0)
    assert section.today == level(today)
    said = words_of(page)
    assert said.index("counted on in every step below") < said.index("Do first")
