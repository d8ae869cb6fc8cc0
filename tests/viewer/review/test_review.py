"""The review page of an import: what it says, and that its lines can be written."""

from __future__ import annotations

import base64
import hashlib
import html
import re
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from envelope.building.library import ASSEMBLIES
from envelope.building.model import Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, SpaceSpec
from envelope.cli import main
from envelope.exchange import Imported, Note, to_obj
from envelope.project.load import load
from viewer.review.build import line_for
from viewer.review.controls import for_note
from viewer.review.drawings import TINTS, plan

CONSTRUCTION = dict.fromkeys(
    ("exterior-wall", "interior-wall", "roof", "slab", "floor", "window", "door"), "any"
)


def rooms():
    """A den of 4 × 3 m and a bath beside it, a window and a door."""
    return build_building(
        site=Site(),
        storeys=[Storey(id="ground", floor_m=0.0)],
        spaces=[
            SpaceSpec(id="den", storey="ground", height_m=2.4,
                      corners=np.array([[0, 0], [4.0, 0], [4.0, 3.0], [0, 3.0]])),
            SpaceSpec(id="bath", storey="ground", height_m=2.4, origin=np.array([4.1, 0.0]),
                      corners=np.array([[0, 0], [2.0, 0], [2.0, 3.0], [0, 3.0]])),
        ],
        openings=[
            OpeningSpec(id="W1", on="den/1", kind="window", width_m=1.5, height_m=1.2,
                        along_m=1.0, sill_m=0.9),
            OpeningSpec(id="D1", on="den/2", kind="door", width_m=0.8, height_m=2.0, along_m=1.0),
        ],
        panels=[],
        construction=CONSTRUCTION,
    )  # fmt: skip


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    Path("a.obj").write_text(to_obj(rooms()))
    command = ["import", "a.obj", "--unit", "m", "--up", "z", "--space", "den"]
    assert main([*command, "-o", "job.toml", "--review", "review.html"]) == 0
    return Path("review.html").read_text()


def test_the_page_shows_faces_questions_and_drawings(page: str) -> None:
    text = html.unescape(re.sub(r"<[^>]+>", " ", page))
    for said in (
        "a.obj: before you trust it",
        "den/2, den/D1",
        "a part that is not imported",
        "the model does not say where the ground is",
        "ground at 0.00 m",
        "12.00 m²",
    ):
        assert said in " ".join(text.split()), said
    assert "default-src 'none'" in page
    assert len(re.findall(r"<svg", page)) == 4  # two sections, a plan, a cutaway
    for svg in re.findall(r"<svg.*?</svg>", page, flags=re.S):
        ET.fromstring(svg)


def test_its_one_script_is_the_one_that_its_policy_names(page: str) -> None:
    (script,) = re.findall(r'<script type="module">(.*?)</script>', page, flags=re.S)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in html.unescape(page)
    assert "http" not in script


def test_each_finding_has_its_control(page: str) -> None:
    tags = re.findall(r"<(?:input|select)[^>]*data-into[^>]*>", page)
    into = {tag: re.search(r'data-into="([^"]*)"', tag)[1] for tag in tags}
    keys = {(into[tag], html.unescape(re.search(r'data-key="([^"]*)"', tag)[1])) for tag in tags}
    assert ("model.spaces", "bath") in keys
    assert ("model.accept", "left-out") in keys
    assert ("site.grade", "grade") in keys
    assert {("tag", f"den/{name}") for name in ("1", "2", "W1", "D1", "floor")} <= keys
    # without scripts they would do nothing
    assert all(" disabled" in tag for tag in tags)
    assert page.count("<noscript>") >= 2


@pytest.mark.parametrize(
    ("kind", "subject"), [("guessed", "double-unknown"), ("guessed", "door-assumed")]
)
def test_what_controls_offer_exists(kind: str, subject: str) -> None:
    imported = Imported(source="a", format="IFC", storeys=(), spaces=(), origins={})
    (control,) = for_note(Note(kind=kind, subject=subject, message=""), imported)
    offered = [name for name in control.options if name]
    assert len(offered) >= 3
    assert set(offered) <= set(ASSEMBLIES)
    assert control.options[0] == ""  # nothing is chosen for anybody


def test_a_fitted_scan_is_drawn_and_its_deviation_told(tmp_path: Path) -> None:
    lines = np.array([[[0.0, 0.0], [4.0, 0.0]]])
    assert '<path class="scan" d="M' in plan(rooms(), "ground", feet=False, lines_m=lines)
    assert "scan" not in plan(rooms(), "ground", feet=False)


def test_a_job_s_page_can_be_written_again(page: str) -> None:
    assert main(["import", "job.toml", "--review", "again.html"]) == 0
    assert Path("again.html").read_text().count("<tr>") == page.count("<tr>")


def test_a_name_that_is_no_page_is_refused(capsys: pytest.CaptureFixture[str], page: str) -> None:
    with pytest.raises(SystemExit):
        main(["import", "a.obj", "--review", "a.txt"])
    assert "ends in .html" in capsys.readouterr().err


def test_names_of_the_file_are_text_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = to_obj(rooms()).replace("den", "<b>x")
    Path("a.obj").write_text(text)
    assert main(["import", "a.obj", "--unit", "m", "--up", "z", "--review", "r.html"]) == 0
    assert "<b>x" not in Path("r.html").read_text()


def test_a_plan_tints_walls_by_what_lies_behind() -> None:
    found = plan(rooms(), "ground", feet=False)
    marks = {
        name: fill for fill, name in re.findall(r'fill="(#\w+)"><title>([^<]+)</title>', found)
    }
    assert marks["den/1"] == TINTS["outdoors"]
    assert marks["den/2"] == TINTS["space"]
    assert marks["den/W1"] == TINTS["window"]
    assert marks["den/D1"] == TINTS["door"]


@pytest.mark.parametrize(
    ("kind", "subject"),
    [("guessed", "double-unknown"), ("guessed", "door-assumed"), ("unmapped", 'Un"ob'),
     ("remark", "ground")],
)  # fmt: skip
def test_lines_are_toml_with_names_that_exist(kind, subject: str) -> None:
    imported = Imported(source="a", format="IFC", storeys=(), spaces=(), origins={})
    line = line_for(Note(kind=kind, subject=subject, message=""), imported)
    read = tomllib.loads(line)
    for tag in read.get("tag", ()):
        assert tag["assembly"] in ASSEMBLIES
    assert read


def test_the_line_of_a_left_out_room_loads(page: str) -> None:
    job = Path("job.toml").read_text()
    (line,) = re.findall(r"spaces = \[[^\]]*\]", html.unescape(page))[:1]
    before = re.search(r"spaces = \[[^\]]*\]", job)
    assert before is not None
    Path("more.toml").write_text(job.replace(before[0], line))
    assert {space.id for space in load("more.toml").building.spaces} == {"den", "bath"}
