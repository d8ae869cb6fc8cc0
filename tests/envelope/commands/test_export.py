"""`gapcast export`: the analysed scene for other programs, and the way back through them."""

from __future__ import annotations

import csv
import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from envelope.building.model import Building
from envelope.cli import main
from envelope.project import load
from envelope.rays import Sampling, cast_directions

MADE_OF = """
[construction]
exterior-wall = "brick"
interior-wall = "board"
slab = "slab"
roof = "board"
window = "pane"
door = "leaf"

[[assembly]]
id = "brick"
layers = [{ material = "brick", thickness = "240 mm" }]

[[assembly]]
id = "board"
layers = [{ material = "plasterboard", thickness = "25 mm" }]

[[assembly]]
id = "slab"
layers = [{ material = "concrete", thickness = "150 mm" }]

[[assembly]]
id = "pane"
layers = [{ material = "glass", thickness = "6 mm" }]

[[assembly]]
id = "leaf"
layers = [{ material = "wood", thickness = "40 mm" }]

[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"

[[source]]
id = "mast"
azimuth = "200 deg"
elevation = "10 deg"
band = "1805-1880 MHz"
level = { ground = "500 uW/m2" }

[[receiver]]
id = "pillow"
space = "den"
at = "1.1, 0.9, 0.7 m"

[[plan]]
id = "walls"
treat = [{ on = "den/walls", with = "coating" }, { on = "den/W1/reveals", with = "coating" }]
"""
ROOMS = """
format = 1
name = "two rooms"

[[storey]]
id = "ground"
floor = "0 m"

[[space]]
id = "den"
storey = "ground"
footprint = "0,0  4.2,0  4.2,2.6  2.7,2.6  2.7,3.6  0,3.6 m"
origin = "1.0, 2.0 m"
height = "2.4 m"

[[space]]
id = "hall"
storey = "ground"
size = "3.0 m x 2.6 m"
origin = "5.3, 2.0 m"
height = "2.4 m"

[[opening]]
id = "W1"
on = "den/1"
kind = "window"
at = "1.0 m"
sill = "0.9 m"
size = "1.5 m x 1.2 m"
reveal = "120 mm"

[[opening]]
id = "D1"
on = "den/2"
kind = "door"
at = "1.0 m"
size = "0.8 m x 2.0 m"
undercut = "8 mm"
"""


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "rooms.toml"
    path.write_text(ROOMS + MADE_OF)
    monkeypatch.chdir(tmp_path)
    return path


def tree(path: Path) -> dict[str, Any]:
    """JSON of a binary glTF file."""
    data = path.read_bytes()
    (length,) = struct.unpack_from("<I", data, 12)
    found: dict[str, Any] = json.loads(data[20 : 20 + length])
    return found


def solid_angles_sr(building: Building) -> dict[str, float]:
    crossings = cast_directions(
        building,
        space="den",
        position_m=np.array([2.1, 2.9, 0.7]),
        sampling=Sampling(points_per_panel=2**8, points=2**10),
    )
    sums = np.zeros(len(building.panels))
    np.add.at(sums, crossings.first_panel, crossings.weights_sr.mean(axis=1))
    return {panel.id: float(sums[index]) for index, panel in enumerate(building.panels)}


def test_glb_carries_names_treatments_loss_and_share(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", "rooms.toml", "-o", "out.glb"]) == 0
    assert "treatments of plan walls, loss and share at pillow" in capsys.readouterr().out
    nodes = {node["name"]: node.get("extras", {}) for node in tree(Path("out.glb"))["nodes"]}
    wall = nodes["den/1"]["gapcast"]
    assert wall["treatments"] == ["coating"]
    assert wall["assemblies"] == ["brick"]
    window = nodes["den/W1"]["gapcast"]
    assert window["treatments"] == []
    assert window["is_gap"]
    assert wall["loss_db"] > window["loss_db"] + 20.0
    assert 0.0 < wall["share"] < window["share"] < 1.0


def test_csv_says_of_each_panel_what_analyze_says(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", "rooms.toml", "-o", "out.csv", "--plan", "as-built"]) == 0
    capsys.readouterr()
    assert main(["analyze", "rooms.toml", "--plan", "as-built", "--json"]) == 0
    (plan,) = json.loads(capsys.readouterr().out)["plans"]
    leaks = {leak["panel"]: leak for leak in plan["receivers"][0]["panels"]}
    rows = {row["panel"]: row for row in csv.DictReader(Path("out.csv").read_text().splitlines())}
    assert set(rows) == {panel.id for panel in load(job).building.panels}
    assert rows["den/W1"]["behind"] == "outdoors"
    assert rows["den/D1"]["behind"] == "hall/D1"
    assert rows["den/1"]["treatments"] == ""
    for name, leak in leaks.items():
        if leak["loss_db"] is None:
            assert rows[name]["loss_db"] == ""
        else:
            assert float(rows[name]["loss_db"]) == pytest.approx(leak["loss_db"], abs=1e-9)
        assert float(rows[name]["share"]) == pytest.approx(leak["share"], abs=1e-12)
    assert rows["hall/1"]["loss_db"] == ""


@pytest.mark.parametrize(
    ("name", "stated"), [("out.glb", ""), ("out.obj", 'unit = "m"\nup = "z"\n')]
)
def test_a_room_comes_back_the_same(
    job: Path, name: str, stated: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", "rooms.toml", "-o", name]) == 0
    again = job.with_name("again.toml")
    again.write_text(f'format = 1\nname = "again"\n\n[model]\nfile = "{name}"\n{stated}' + MADE_OF)
    before, after = solid_angles_sr(load(job).building), solid_angles_sr(load(again).building)
    assert set(before) == set(after)
    assert before["den/floor"] == pytest.approx(3.767316, abs=1e-6)
    # Partly hidden by the reveal, so that what shows of them is sampled; all else is exact.
    sampled = {"den/W1", "den/W1/jamb-left", "den/W1/jamb-right"}
    for panel, solid_angle_sr in before.items():
        tolerance = 4e-3 if panel in sampled else 1e-6
        assert after[panel] == pytest.approx(solid_angle_sr, abs=tolerance), panel
    capsys.readouterr()
    ranked = []
    for path in (job, again):
        assert main(["analyze", path.name, "--json"]) == 0
        plans = json.loads(capsys.readouterr().out)["plans"]
        ranked.append(
            [
                [leak["panel"] for leak in plan["receivers"][0]["panels"] if leak["share"] > 1e-4]
                for plan in plans
            ]
        )
    assert len(ranked[0][0]) > 5
    assert ranked[0] == ranked[1]


def test_stl_says_what_it_cannot_carry(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", "rooms.toml", "-o", "out.stl"]) == 0
    out = capsys.readouterr().out
    assert "shapes only" in out
    assert "STL cannot tell these from their wall: den/D1, den/D1/undercut" in out


def test_without_a_receiver_there_is_neither_loss_nor_share(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = job.read_text()
    start = text.index("[[receiver]]")
    bare = text[:start] + text[text.index("[[plan]]") :]
    job.write_text(bare)
    assert main(["export", "rooms.toml", "-o", "out.csv"]) == 0
    assert "no receiver, so neither loss nor share" in capsys.readouterr().out
    rows = list(csv.DictReader(Path("out.csv").read_text().splitlines()))
    assert {row["loss_db"] for row in rows} == {""}
    assert {row["treatments"] for row in rows if row["panel"] == "den/1"} == {"coating"}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["-o", "out.dwg"], "out.dwg: files that end in .dwg cannot be written; .glb, .csv"),
        (["-o", "out.glb", "--plan", "wals"], "no plan 'wals' in this job: did you mean walls?"),
        (["-o", "out.glb", "--receiver", "pilow"], "no receiver 'pilow'"),
        (["-o", "no/such/out.glb"], "cannot be written"),
    ],
)
def test_what_cannot_be_is_said(
    job: Path, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["export", "rooms.toml", *arguments]) == 2
    assert message in capsys.readouterr().err
    assert not Path("out.glb").exists()
