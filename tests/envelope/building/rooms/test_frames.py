"""A window's frame: a ring of its own assembly within the opening, which film does not reach."""

from __future__ import annotations

from dataclasses import replace

import pytest

import envelope
from envelope.cli import main
from envelope.errors import ProjectFileError
from envelope.project import load_text
from envelope.text.decisions import frames_words

ROOM = """format = 1
name = "room"
[construction]
exterior-wall = "wall"
slab = "wall"
roof = "wall"
window = "double-glazing"
[[assembly]]
id = "wall"
loss = "60 dB"
[[storey]]
id = "ground"
floor = "0 ft"
[[space]]
id = "room"
storey = "ground"
size = "12 ft x 10 ft"
height = "8 ft"
[[opening]]
id = "W1"
on = "room/south wall"
kind = "window"
at = "3 ft"
sill = "3 ft"
size = "5 ft x 4 ft"
{frame}
[[treatment]]
id = "film"
kind = "fixed"
loss = "60 dB"
[[source]]
id = "mast"
service = "LTE 1800"
azimuth = "180 deg"
elevation = "2 deg"
level = "400 uW/m2"
[[receiver]]
id = "pillow"
space = "room"
at = "6 ft, 5 ft, 2 ft"
[[plan]]
id = "film"
treat = [{{ on = "room/windows", with = "film" }}]
[[plan]]
id = "open"
extends = "film"
states = {{ W1 = "open" }}
"""
FRAME = 'frame = "3 in"\nframe-assembly = "{of}"'
INCH = 0.0254


def job(frame: str = "") -> envelope.Job:
    return load_text(ROOM.format(frame=frame), path="room.toml")


def level(frame: str = "", plan: str = "film") -> float:
    made = job(frame)
    casts = envelope.cast(made, rays="few")
    found = envelope.analyze(made, casts, plans=[plan], ranges=False)
    return found.plans[0].receivers[0].level_w_m2


def test_the_frame_is_a_ring_of_its_own_assembly() -> None:
    building = job(FRAME.format(of="wood-frame")).building
    frame, pane = building.panel("room/W1/frame"), building.panel("room/W1")
    whole = 60 * 48 * INCH**2
    assert pane.area_m2 == pytest.approx(54 * 42 * INCH**2)
    assert frame.area_m2 == pytest.approx(whole - pane.area_m2)
    made_of = {
        name: building.elements[building.patches_of[name][0].element].assembly
        for name in ("room/W1", "room/W1/frame")
    }
    assert made_of == {"room/W1": "double-glazing", "room/W1/frame": "wood-frame"}


def test_a_film_on_the_window_leaves_the_frame_bare() -> None:
    treated = job(FRAME.format(of="wood-frame")).plan("film").treatments
    assert set(treated) == {"room/W1"}


def test_a_bare_frame_decides_where_the_rest_is_tight() -> None:
    """3 in of a window of 5 ft × 4 ft is a fifth of it: it lets in hundreds of times the rest."""
    tight, wood = level(), level(FRAME.format(of="wood-frame"))
    assert wood > 30.0 * tight
    assert level(FRAME.format(of="metal-frame")) < 0.1 * wood


def test_an_open_window_takes_its_frame_along() -> None:
    made = job(FRAME.format(of="wood-frame"))
    plan = made.plan("open")
    assert plan.assemblies["room/W1/frame"] is None
    assert level(FRAME.format(of="metal-frame"), "open") == pytest.approx(
        level("", "open"), rel=0.02
    )


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        ('frame = "3 in"', "frame-assembly is missing: a frame needs it, such as"),
        ('frame-assembly = "wood-frame"', 'frame-assembly goes with a frame, such as frame = "3'),
        (FRAME.format(of="wood"), 'there is no assembly "wood":'),
        ('frame = "2 ft"\nframe-assembly = "wood-frame"', "frame or tilt leave no leaf"),
    ],
)
def test_frames_that_cannot_be(frame: str, message: str) -> None:
    with pytest.raises(ProjectFileError) as caught:
        job(frame)
    assert any(message in fault.message for fault in caught.value.faults)


def test_check_asks_for_frame_and_film_edge(tmp_path, capsys) -> None:
    path = tmp_path / "room.toml"
    path.write_text(ROOM.format(frame=""), encoding="utf-8")
    assert main(["check", str(path)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "W1 (line 20): frame and film-edge not stated and taken as none" in said
    stated = ROOM.format(frame='frame = "0 m"\nfilm-edge = "1/8 in"')
    path.write_text(stated, encoding="utf-8")
    assert main(["check", str(path)]) == 0
    assert "W1 (line" not in capsys.readouterr().out


def test_a_decision_says_what_a_bare_frame_lets_in_until_something_may_go_on_it() -> None:
    made = job(FRAME.format(of="wood-frame"))
    casts = envelope.cast(made, rays="few")
    bare = envelope.decide(made, casts)
    ((panel, share),) = bare.frames
    assert panel == "room/W1/frame"
    assert [change.unit for step in bare.steps for change in step.changes] == ["room/W1"]
    (found,) = envelope.analyze(made, casts, plans=[bare.steps[-1].plan]).plans[0].receivers
    assert share == next(each.share for each in found.panels if each.panel == panel)
    said = frames_words(made, bare).replace("\xa0", " ")
    assert f"lets in {share:.0%} of what is left".replace("%", " %") in said
    foil = envelope.Plan(id="foil", treatments={"room/W1/frame": "film"})
    offered = envelope.decide(replace(made, plans=(*made.plans, foil)), casts)
    units = {change.unit for step in offered.steps for change in step.changes}
    assert units == {"room/W1", "room/W1/frame"}
    assert offered.frames == ()
    assert frames_words(made, offered) == ""
