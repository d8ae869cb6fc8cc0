"""Every message of the app: read from what a page sends, and the same on both sides."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load
from envelope.rays import Sampling
from viewer.app import protocol
from viewer.app.controller import _ACTS
from viewer.app.protocol import MakeJob, MessageError, Move, Treat
from viewer.scene.build import build_scene
from viewer.scene.json_types import ColumnJson, SceneJson, SkyJson
from viewer.scene.sky_cache import skies_json
from viewer.scene.to_json import column_to_json, to_json

ROOT = Path(__file__).parent.parent.parent.parent
sys.path.insert(0, str(ROOT / "tests" / "js"))
import declarations  # noqa: E402


def test_messages_become_records() -> None:
    asked = {"do": "treat", "plan": "some", "panels": ["a/1"], "treatments": ["film", "coat"]}
    assert protocol.read(asked) == Treat(plan="some", panels=("a/1",), treatments=("film", "coat"))
    moved = protocol.read({"do": "move", "receiver": "bed", "at": [1, "2 ft", 0.5]})
    assert moved == Move(receiver="bed", at=(1.0, "2 ft", 0.5))
    made = protocol.read({"do": "form", "file": "a.toml", "typed": {"name": "A", "masts": []}})
    assert made == MakeJob(file="a.toml", typed={"name": "A", "masts": []})


@pytest.mark.parametrize(
    ("asked", "place"),
    [
        (None, "do"),
        ([], "do"),
        ({"do": "explode"}, "do"),
        ({"do": "treat", "plan": "some", "panels": "a/1", "treatments": []}, "panels"),
        ({"do": "treat", "plan": "some", "panels": [["a/1"]], "treatments": []}, "panels.0"),
        ({"do": "treat", "plan": 3, "panels": [], "treatments": []}, "plan"),
        ({"do": "move", "receiver": "bed", "at": [1, 2]}, "at"),
        ({"do": "move", "receiver": "bed", "at": [math.nan, 1, 1]}, "at.0"),
        ({"do": "text", "text": "x" * (protocol.MAX_TEXT + 1)}, "text"),
    ],
)
def test_what_is_no_message_is_refused_by_its_key(asked: object, place: str) -> None:
    with pytest.raises(MessageError, match=f"does not fit: {place}"):
        protocol.read(asked)


def test_the_desk_does_whatever_a_page_may_ask_of_a_job() -> None:
    beginnings = {protocol.MakeJob, protocol.ListModel, protocol.ImportModel}
    beginnings |= {protocol.OpenJob, protocol.BeginJob}
    assert set(_ACTS) == set(protocol.ASKS) - beginnings


def test_declarations_for_the_scripts_are_up_to_date() -> None:
    """Where this fails: ``python tests/js/declarations.py``."""
    scene = declarations.SCENE_FILE.read_text(encoding="utf-8")
    assert scene == declarations.scene_declarations()
    messages = declarations.PROTOCOL_FILE.read_text(encoding="utf-8")
    assert messages == declarations.protocol_declarations()


@pytest.mark.parametrize("name", ["bedroom", "house", "attic"])
def test_the_json_of_a_scene_has_exactly_the_keys_that_are_declared(name: str) -> None:
    job = load(ROOT / "models" / f"{name}.toml")
    casts = cast_job(job, sampling=Sampling(points_per_panel=2**5, points=2**8))
    results = analyze(job=job, casts=casts).plans
    for scene in (build_scene(job=job), build_scene(job=job, results=results)):
        whole = to_json(scene)
        assert TypeAdapter(SceneJson).validate_python(whole) == whole
        for plan in scene.plans:
            column = column_to_json(scene, plan=plan.id)
            assert TypeAdapter(ColumnJson).validate_python(column) == column
    for sky in skies_json(job=job, results=results, side=40):
        assert TypeAdapter(SkyJson).validate_python(sky) == sky
