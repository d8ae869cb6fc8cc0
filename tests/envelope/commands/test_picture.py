"""The picture command: what may be asked for, and one scale for every plan of a job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from envelope.cli import main
from viewer.pictures import cutaway as pictures
from viewer.pictures import gl
from viewer.scene.records import Scale
from viewer.scene.scopes import scope_of

JOB = """
format = 1
name = "Two floors"

[construction]
exterior-wall = "wall"
interior-wall = "wall"
floor = "wall"
roof = "wall"

[[assembly]]
id = "wall"
loss = "3 dB"

[[storey]]
id = "ground"
floor = "0 m"

[[storey]]
id = "upper"
floor = "2.7 m"

[[space]]
id = "den"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"

[[space]]
id = "room"
storey = "upper"
size = "4 m x 3 m"
height = "2.4 m"

[[receiver]]
id = "bed"
space = "room"
at = "1.6, 1.1, 0.7 m"

[[source]]
id = "mast"
azimuth = "200 deg"
elevation = "20 deg"
spread = "5 deg"
band = "1.8 GHz"
level = "100 uW/m2"

[[treatment]]
id = "coat"
kind = "fixed"
loss = "35 dB"

[[plan]]
id = "all"
treat = [
    { on = "room/walls", with = "coat" },
    { on = "room/ceiling", with = "coat" },
    { on = "room/floor", with = "coat" },
]
"""


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_text(JOB, encoding="utf-8")
    return "job.toml"


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (["--storey", "uper"], "no storey 'uper' in this job: did you mean upper?"),
        (["--peel", "2"], "2 storeys to take off, of 2: one must be left"),
        (["--storey", "upper", "--peel", "1"], "it goes with no storey"),
        (["--sky", "--storey", "upper"], "are for the cutaway alone"),
        (["--map", "--colour", "loss"], "are for the cutaway alone"),
    ],
)
def test_what_cannot_be_shown_is_said(
    job: str, asked: list[str], message: str, capsys: pytest.CaptureFixture[str]
):
    assert main(["picture", job, "-o", "p.png", *asked]) == 2
    assert message in capsys.readouterr().err
    assert not Path("p.png").exists()


def test_all_pictures_have_one_scale_and_one_corner(job: str, monkeypatch: pytest.MonkeyPatch):
    drawn: list[tuple[Any, dict[str, Any]]] = []
    monkeypatch.setattr(gl, "require_offscreen", lambda: None)
    monkeypatch.setattr(pictures, "cutaway", lambda scene, **asked: drawn.append((scene, asked)))
    monkeypatch.setattr(
        pictures, "before_after", lambda scene, **asked: drawn.append((scene, asked))
    )
    for asked in (
        ["--plan", "as-built"],
        ["--plan", "all", "--storey", "all", "--colour", "treatment"],
        ["--plan", "all", "--plan", "as-built", "--peel", "1"],
        ["--storey", "ground"],
    ):
        assert main(["picture", job, "-o", "p.png", *asked]) == 0
    scales = {(scene.let_in, scene.loss) for scene, _ in drawn}
    assert scales == {(Scale(low_db=-40.0, high_db=0.0), Scale(low_db=0.0, high_db=40.0))}
    corners = {scope_of(scene, receiver="bed").view for scene, _ in drawn}
    assert len(corners) == 1
    # a plan that is not drawn is not worked out
    assert [[plan.id for plan in scene.plans] for scene, _ in drawn] == [
        ["as-built"],
        ["all"],
        ["as-built", "all"],
        ["all"],
    ]
    shown = [
        tuple(asked.get(key) for key in ("plan", "storey", "whole", "peeled", "quantity"))
        for _, asked in drawn
    ]
    assert shown == [
        ("as-built", None, None, None, "let-in"),
        ("all", None, True, None, "treatment"),
        (None, None, True, 1, "let-in"),
        ("all", "ground", None, None, "let-in"),
    ]
    assert (drawn[2][1]["before"], drawn[2][1]["after"]) == ("all", "as-built")
