"""A job written as GLB and begun again from it: what its walls are made of comes back."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from envelope.building.job import Job
from envelope.exchange import Annotations, to_glb
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load, load_text
from envelope.project.embedded import carried
from envelope.project.load import toml_document
from envelope.project.new_from_model import Begun, begin_job
from envelope.rays import Sampling
from envelope.wiring.spread import solve_wiring

MODELS = Path(__file__).parents[3] / "models"
FEW = Sampling(points_per_panel=2**8, points=2**11)


def exported(job: Job, path: Path, tables: Mapping[str, Any]) -> Path:
    path.write_bytes(to_glb(job.building, notes=Annotations(tables=tables)))
    return path


def sample(name: str, folder: Path) -> tuple[Job, Path, dict[str, Any]]:
    text = (MODELS / f"{name}.toml").read_text()
    job = load_text(text, path="a.toml")
    tables = carried(toml_document(text, path="a.toml"), job)
    return job, exported(job, folder / f"{name}.glb", tables), tables


def analyzed(job: Job) -> dict[tuple[str, str], float]:
    """Loss of every panel under every plan, and the level of each. [dB], [W/m²]"""
    job = replace(job, receivers=job.receivers[:1])
    found: dict[tuple[str, str], float] = {}
    for plan in analyze(job=job, casts=cast_job(job, sampling=FEW)).plans:
        result = plan.receivers[0]
        found |= {(plan.plan, leak.panel): leak.loss_db for leak in result.panels}
        found[plan.plan, "level"] = result.level_w_m2
    return found


@pytest.mark.parametrize("name", ["bedroom", "house"])
def test_losses_and_levels_come_back(tmp_path: Path, name: str) -> None:
    job, glb, _ = sample(name, tmp_path)
    begun = begin_job(glb, folder=tmp_path)
    again = tmp_path / "again.toml"
    again.write_text(begun.text)
    before, after = analyzed(job), analyzed(load(again))
    assert after.keys() == before.keys()
    assert len(before) > 40
    for key, value in before.items():
        if key[1] == "level":
            assert after[key] == pytest.approx(value, rel=1e-4), key
        else:
            assert after[key] == pytest.approx(value, abs=0.01), key


def test_what_cannot_come_back_is_told(tmp_path: Path) -> None:
    _, glb, _ = sample("bedroom", tmp_path)
    told = [str(note) for note in begin_job(glb, folder=tmp_path).notes if note.kind == "left-out"]
    assert told == [
        'source "hill-mast": its level on upper: no space stands there',
        'source "street-cell": its level on upper: no space stands there',
    ]


def test_one_space_of_a_house_takes_what_is_its_own(tmp_path: Path) -> None:
    job, glb, _ = sample("house", tmp_path)
    begun = begin_job(glb, folder=tmp_path, spaces=["kitchen"])
    assert [space.id for space in begun.job.building.spaces] == ["kitchen"]
    assert {item.space for item in begun.job.receivers} <= {"kitchen"}
    assert list(begun.job.treatments) == list(job.treatments)
    told = {note.subject for note in begun.notes if "not taken" in note.message}
    assert f'receiver "{job.receivers[0].id}"' in told


def test_own_assemblies_win_over_starter_ones_of_the_same_name(tmp_path: Path) -> None:
    job, _, tables = sample("bedroom", tmp_path)
    mine = {"id": "stud-wall", "layers": [{"material": "concrete", "thickness": "0.31 m"}]}
    tables = {**tables, "assembly": [*tables["assembly"], mine]}
    begun = begin_job(exported(job, tmp_path / "b.glb", tables), folder=tmp_path)
    layers = begun.job.assemblies["stud-wall"].layers
    assert [(layer.material, layer.thickness_m) for layer in layers] == [("concrete", 0.31)]


def test_a_model_s_own_assemblies_are_carried(tmp_path: Path) -> None:
    _, glb, _ = sample("bedroom", tmp_path)
    first = begin_job(glb, folder=tmp_path)
    tables = carried({"model": {}}, first.job)
    assert {entry["id"] for entry in tables["assembly"]} >= {"brick-veneer", "double-pane"}
    second = begin_job(exported(first.job, tmp_path / "b.glb", tables), folder=tmp_path)
    for name in ("brick-veneer", "double-pane"):
        before, after = first.job.assemblies[name].layers, second.job.assemblies[name].layers
        assert [layer.material for layer in after] == [layer.material for layer in before]
        for one, two in zip(before, after, strict=True):
            assert two.thickness_m == pytest.approx(one.thickness_m)
            assert two.cavity == one.cavity
    assert second.job.building.site.north_rad == pytest.approx(first.job.building.site.north_rad)


@pytest.mark.parametrize(
    "tables",
    [
        {"assembly": [{"id": "brick-veneer", "layers": "none"}]},
        {"treatment": [{"id": 'x"]\n[model]', "kind": "sheet", "surprise": [None, 1]}]},
        {"site": [1, 2], "plan": "all", "model": {"file": "/etc/passwd"}, "treatment": 7},
        {"plan": [{"id": "a", "treat": [{"on": "***[", "with": 3}, 5]}], "treatment": [{}]},
        {"source": [{"id": "s", "level": {"ground": []}, "band": {"a b": "\u0000"}}]},
        {"receiver": [{"id": "r", "space": ["bedroom"], "at": {}}]},
        {"construction": {"exterior-wall": ["x"], 'roof = 1\n"': "y"}},
    ],
)
def test_what_a_stranger_wrote_is_left_out_and_told(tmp_path: Path, tables: dict[str, Any]) -> None:
    job, _, _ = sample("bedroom", tmp_path)
    glb = exported(job, tmp_path / "b.glb", tables)
    begun: Begun = begin_job(glb, folder=tmp_path)
    assert [space.id for space in begun.job.building.spaces] == ["bedroom"]
    assert "passwd" not in begun.text
    assert load_text(begun.text, path=str(tmp_path / "again.toml")).name == "b"


def test_the_scene_s_extras_hold_the_tables(tmp_path: Path) -> None:
    _, glb, tables = sample("bedroom", tmp_path)
    content = glb.read_bytes()
    (size,) = struct.unpack_from("<I", content, 12)
    tree = json.loads(content[20 : 20 + size])
    assert tree["scenes"][0]["extras"]["gapcast"]["tables"] == tables


def test_wiring_comes_back_with_the_same_field(tmp_path: Path) -> None:
    job, glb, _ = sample("wiring", tmp_path)
    begun = begin_job(glb, folder=tmp_path)
    assert not [note for note in begun.notes if note.kind == "left-out"]
    path = tmp_path / "again.toml"
    path.write_text(begun.text)
    again = load(path)
    assert job.wiring is not None
    assert again.wiring is not None
    fields = []
    for each, wiring in ((job, job.wiring), (again, again.wiring)):
        _, results = solve_wiring(each, wiring, plans=["walls-and-floor-strip"])
        fields.append({plan.plan: plan.receivers[0].field_v_m.high for plan in results.plans})
    assert fields[1] == pytest.approx(fields[0], rel=1e-4)


def test_wiring_on_faces_that_were_not_taken_is_told(tmp_path: Path) -> None:
    text = (MODELS / "wiring.toml").read_text()
    text = text.replace("[construction]", '[construction]\ninterior-wall = "stud-wall"')
    hall = (
        '\n[[space]]\nid = "hall"\nstorey = "upper"\nsize = "2 m x 2 m"\nheight = "2.45 m"\n'
        'beside = "bedroom/west wall"\nraised = true\n\n[[outlet]]\nid = "hall-outlet"\n'
        'circuit = "sockets"\non = "hall/north"\nat = "1 m"\n\n'
        '[[device]]\nid = "hall-lamp"\noutlet = "hall-outlet"\nat = "1, 1, 0.5 m"\n'
    )
    text += hall
    job = load_text(text, path="a.toml")
    glb = exported(job, tmp_path / "a.glb", carried(toml_document(text, path="a.toml"), job))
    begun = begin_job(glb, folder=tmp_path, spaces=["bedroom"])
    told = [str(note) for note in begun.notes if note.kind == "left-out"]
    assert 'outlet "hall-outlet": "hall/north" names no panel of the model' in told
    assert 'device "hall-lamp": its outlet "hall-outlet" was left out' in told
    assert any("its strip along" in each for each in told)
    wiring = begun.job.wiring
    assert wiring is not None
    assert len(wiring.outlets) == 6
