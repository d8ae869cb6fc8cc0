"""What commands say of levels that were solved from readings."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from envelope.cli import main

JOB = """\
format = 1
name = "A surveyed room"
[construction]
exterior-wall = "wall"
slab = "wall"
floor = "wall"
roof = "wall"
window = "pane"
[[assembly]]
id = "wall"
loss = "45 dB"
reflects = 0.5
[[assembly]]
id = "pane"
loss = "3 dB"
[[storey]]
id = "ground"
floor = "0 m"
[[storey]]
id = "upper"
floor = "2.8 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
[[opening]]
id = "W1"
on = "room/1"
kind = "window"
at = "1.2 m"
sill = "0.8 m"
size = "1.4 m x 1.2 m"
[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "2 deg"
band = "1805-1880 MHz"
[[receiver]]
id = "bed"
space = "room"
at = "1.3, 1.1, 0.7 m"
[[reading]]
id = "sunny"
source = "mast"
space = "room"
at = "1.9, 1.1, 1.4 m"
level = "120 uW/m2"
spots = 6
[[reading]]
id = "corner"
source = "mast"
space = "room"
at = "3.5, 1.5, 1.4 m"
level = "9 uW/m2"
"""
SENTENCE = "mast: level outside solved from 2 readings (sunny, corner): "
SHADOW = "reading corner lies in a deep shadow: "


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return path


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main([*words]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_check_counts_them_and_says_what_came_out_and_how_well(job, capsys):
    text = printed(capsys, "check", str(job))
    assert "2 readings" in text
    assert f"note: {SENTENCE}" in text
    assert f"note: {SHADOW}" in text


def test_check_as_json(job, capsys):
    found = json.loads(printed(capsys, "check", str(job), "--json"))
    assert found["readings"] == 2
    (solved,) = found["solved"]
    assert solved["source"] == "mast"
    assert solved["quantity"] == "level_w_m2"
    assert solved["readings"] == ["sunny", "corner"]
    order = [solved[key] for key in ("low_95", "low", "value", "high", "high_95")]
    assert order == sorted(order)
    assert order[0] > 0.0
    assert solved["notes"][0].startswith(SENTENCE)
    assert any(note.startswith(SHADOW) for note in found["notes"])


def test_analyze_and_compare_say_so_too(job, capsys):
    assert SENTENCE in printed(capsys, "analyze", "--detail", str(job))
    assert SENTENCE in printed(capsys, "compare", str(job))


def test_analyze_as_json_takes_the_solved_level(job, capsys):
    found = json.loads(printed(capsys, "analyze", str(job), "--json"))
    (solved,) = found["solved"]
    (source,) = found["plans"][0]["receivers"][0]["sources"]
    assert source["outside_w_m2"] == pytest.approx(solved["value"], rel=1e-12)


def test_on_another_storey_the_level_stays(job, capsys):
    text = printed(capsys, "compare", str(job), "--storeys", "ground,upper", "--json")
    ground, upper = json.loads(text)["variants"]
    assert ground["solved"] == upper["solved"]


def test_a_job_without_readings_has_none(job, capsys, tmp_path):
    plain = JOB[: JOB.index("[[reading]]")].replace('1880 MHz"', '1880 MHz"\nlevel = "1 uW/m2"')
    (tmp_path / "plain.toml").write_text(plain, encoding="utf-8")
    found = json.loads(printed(capsys, "check", str(tmp_path / "plain.toml"), "--json"))
    assert (found["readings"], found["solved"]) == (0, [])
    assert " reading" not in printed(capsys, "check", str(tmp_path / "plain.toml"))
