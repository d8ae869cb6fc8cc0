"""The sample jobs hold what is said of them beside them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from envelope.project import load

MODELS = Path(__file__).parent.parent / "models"
EXPECTED = json.loads((MODELS / "expected.json").read_text("utf-8"))


def test_every_sample_has_expected_counts() -> None:
    assert set(EXPECTED) == {path.name for path in MODELS.glob("*.toml")}


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_sample_holds_what_is_said_of_it(name: str) -> None:
    job = load(MODELS / name)
    building = job.building
    kinds = {panel.kind for panel in building.panels}
    found = {
        "storeys": len(building.storeys),
        "spaces": len(building.spaces),
        "walls": sum(panel.kind == "wall" for panel in building.panels),
        "windows": sum(panel.kind == "window" for panel in building.panels),
        "reveals": sum(panel.kind == "reveal" for panel in building.panels),
        "seams": sum(panel.kind == "seam" for panel in building.panels),
        "sources": len(job.sources),
        "receivers": len(job.receivers),
        "plans": [plan.id for plan in job.plans],
    }
    assert {key: found[key] for key in EXPECTED[name] if key in found} == {
        key: value for key, value in EXPECTED[name].items() if key in found
    }
    assert set(EXPECTED[name]["kinds"]) == kinds
    volume = sum(space.volume_m3 for space in building.spaces)
    assert volume == pytest.approx(EXPECTED[name]["volume_m3"], abs=5e-4)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_sample_says_that_it_is_invented(name: str) -> None:
    assert "(invented)" in load(MODELS / name).name
