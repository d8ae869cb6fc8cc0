"""What an imported model leaves open is asked, and nothing is advised before it is answered."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from envelope.building.model import Building
from envelope.building.questions import Question
from envelope.cli import main
from envelope.exchange import to_obj
from envelope.project.load import load

MODEL = """format = 1
name = "two rooms of our own invention"
[model]
file = "rooms.obj"
unit = "m"
up = "z"
{model}
[site]
{site}
[construction]
exterior-wall = "timber-wall"
interior-wall = "stud-wall"
floor = "joist-floor"
slab = "ground-slab"
roof = "tiled-roof"
window = "double-glazing"
door = "hollow-wood-door"
[[receiver]]
id = "pillow"
space = "bedroom"
at = "1.0, 1.0, 0.7 m"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
[[plan]]
id = "walls"
treat = [{{ on = "bedroom/walls", with = "coating" }}]
"""


@pytest.fixture
def folder(tmp_path: Path, two_rooms: Building) -> Path:
    (tmp_path / "rooms.obj").write_text(to_obj(two_rooms))
    return tmp_path


def job(folder: Path, *, model: str = "", site: str = "") -> Path:
    path = folder / "job.toml"
    path.write_text(MODEL.format(model=model, site=site))
    return path


@pytest.mark.parametrize(
    ("model", "site", "asked"),
    [
        ("", "", ["ground"]),
        ("", 'grade = "0 m"', []),
        ('accept = ["ground"]', "", []),
        ('spaces = ["bedroom"]', 'grade = "0 m"', ["left-out"]),
        ('spaces = ["bedroom"]', "", ["left-out", "ground"]),
    ],
)
def test_what_is_open(folder: Path, model: str, site: str, asked: list[str]) -> None:
    found = load(job(folder, model=model, site=site)).questions
    assert [question.id for question in found] == asked
    if "left-out" in asked:
        assert {"bedroom/2", "bedroom/D1"} <= set(found[0].panels)


@pytest.mark.parametrize("command", ["decide", "compare"])
def test_nothing_is_advised_before(
    folder: Path, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(job(folder))
    assert main([command, path]) == 1
    shown = " ".join(capsys.readouterr().out.split())
    assert shown.startswith("Nothing is advised yet")
    assert 'write accept = ["ground"], or some of them, in [model].' in shown
    assert "dB" not in shown
    assert main([command, path, "--json"]) == 1
    plain = json.loads(capsys.readouterr().out)
    assert [each["id"] for each in plain["questions"]] == ["ground"]
    assert "variants" not in plain


def test_analyze_says_that_its_figures_rest_on_what_is_open(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyze", str(job(folder))]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    asked = shown.index("Buy nothing by these figures yet")
    assert asked < shown.index("the model does not say where the ground is") < shown.index("tried")
    assert main(["analyze", str(job(folder)), "--json"]) == 0
    (question,) = json.loads(capsys.readouterr().out)["questions"]
    assert question["id"] == "ground"
    assert "write grade" in question["settle"]
    assert main(["analyze", str(job(folder, site='grade = "0 m"'))]) == 0
    assert "Buy nothing" not in capsys.readouterr().out


def test_only_faces_of_the_room_with_the_bed_are_asked_about(tmp_path: Path) -> None:
    house = load(Path("models/house.toml")).building
    (tmp_path / "rooms.obj").write_text(to_obj(house))

    def asked(*spaces: str) -> tuple[Question, ...]:
        model = f"spaces = {json.dumps(spaces)}"
        return load(job(tmp_path, model=model, site='grade = "0 m"')).questions

    (question,) = (each for each in asked("kitchen", "bedroom") if each.id == "left-out")
    assert {panel.split("/")[0] for panel in question.panels} == {"bedroom"}
    assert 'accept = ["left-out"]' in question.settle
    # The rooms that it names close the bedroom; ways out of those do not ask again.
    found = re.match(r"import (.+) too \(spaces in \[model\]\)", question.settle)
    assert found is not None
    more = found[1].split(", ")
    assert "kitchen" not in more
    assert "left-out" not in {each.id for each in asked("kitchen", "bedroom", *more)}


def test_check_asks(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(job(folder))]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "open: the model does not say where the ground is; 0 m in its own heights" in shown


def test_an_unknown_question_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(job(folder, model='accept = ["everything"]'))]) == 2
    assert "left-out" in capsys.readouterr().err
