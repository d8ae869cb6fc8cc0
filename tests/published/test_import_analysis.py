"""From other people's models to an analysis, by the commands that a user types.

Source: buildingSMART community sample test files, CC BY 4.0, Duplex Apartment (IFC2x3): its own
Bedroom 2 is A203; the Cornell box as OBJ (Guedis Cardenas and Morgan McGuire, Williams College,
2011, public domain), whose front is open: a trapezium of 4.00985 m² by its vertices, read from the
files on 2026-11-25. Both stay outside the project; these tests skip where they are absent.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import math
import re
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from envelope.cli import main
from envelope.project.load import load

MODELS = Path(__file__).parents[2].parent / "shared" / "models"

pytestmark = pytest.mark.skipif(not MODELS.is_dir(), reason="shared models are not here")


def by_plan(text: str) -> dict[str, Any]:
    """The one receiver's results in what `gapcast analyze --json` says, by plan."""
    return {plan["plan"]: plan["receivers"][0] for plan in json.loads(text)["plans"]}


def test_the_open_front_of_the_cornell_box_is_the_top_gap(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "box.toml"
    model = str(MODELS / "cornell-box.obj")
    assert main(["import", model, "--unit", "m", "--up", "y", "-o", str(path)]) == 0
    capsys.readouterr()
    assert main(["analyze", str(path), "--json"]) == 0
    found = by_plan(capsys.readouterr().out)
    assert set(found) == {"as-built", "example"}
    for plan in found.values():
        top = plan["panels"][0]
        assert top["panel"] == "space/open-south"
        assert top["kind"] == "open"
        assert top["is_gap"]
        assert top["area_m2"] == pytest.approx(4.00985, abs=1e-6)
        assert abs(plan["closure_error_sr"]) < 1e-6
    # With the other sides coated, it is what comes in.
    assert found["example"]["panels"][0]["share"] > 0.99


class Bedroom(NamedTuple):
    """A job of the duplex's A203: what was told, what was found, and how long it took."""

    job: Path
    told: str
    found: dict[str, Any]


@pytest.fixture(scope="module")
def bedroom(tmp_path_factory: pytest.TempPathFactory) -> Bedroom:
    pytest.importorskip("ifcopenshell")
    job = tmp_path_factory.mktemp("duplex") / "a203.toml"
    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        model = str(MODELS / "duplex.ifc")
        assert main(["import", model, "--space", "A203", "-o", str(job)]) == 0
    told = text.getvalue()
    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        assert main(["analyze", str(job), "--json"]) == 0
    return Bedroom(job, told, by_plan(text.getvalue()))


def test_bedroom_a203_is_a_job(bedroom: Bedroom) -> None:
    assert "A203/wall-6: leads to B202, which is not imported" in bedroom.told
    assert f"wrote {bedroom.job}: A203, 14 panels" in bedroom.told
    assert "7 panels lead to parts of the house that were not taken" in bedroom.told
    assert 'id = "basic-wall-exterior-brick-on-block"' in bedroom.job.read_text()


def test_the_analysis_of_a203_closes_and_its_example_treats_the_windows(bedroom: Bedroom) -> None:
    for plan in bedroom.found.values():
        assert plan["space"] == "A203"
        assert abs(plan["closure_error_sr"]) < 1e-3
        # Everything above the horizon, and what leaves downward through walls and floor.
        assert 2 * math.pi - 1e-6 < plan["exposed_solid_angle_sr"] < 4 * math.pi
    as_built, example = bedroom.found["as-built"], bedroom.found["example"]
    # The example has a film on the panes: they are gaps before it and none after.
    for plan, remain in ((as_built, True), (example, False)):
        assert any(gap["panel"].startswith("A203/window") for gap in plan["gaps"]) is remain
    before, after = (plan["bands"][0] for plan in (as_built, example))
    assert after["open_equivalent_solid_angle_sr"] < 0.5 * before["open_equivalent_solid_angle_sr"]


def test_the_rooms_that_are_asked_for_close_a203(bedroom: Bedroom, tmp_path: Path) -> None:
    (question,) = (each for each in load(bedroom.job).questions if each.id == "left-out")
    rooms = question.settle.removeprefix("import ").partition(" too (")[0].split(", ")
    assert {"A101", "A102", "A201", "B202"} <= set(rooms)  # it lies over A101 and A102
    closed = tmp_path / "closed.toml"
    wanted = json.dumps(["A203", *rooms])
    file = json.dumps(str(MODELS / "duplex.ifc"))
    text = re.sub(r"(?m)^file = .*$", lambda _: f"file = {file}", bedroom.job.read_text())
    closed.write_text(re.sub(r"(?m)^spaces = .*$", lambda _: f"spaces = {wanted}", text))
    assert "left-out" not in {each.id for each in load(closed).questions}


def test_a203_goes_on_as_glb_and_csv(
    bedroom: Bedroom, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("a203.glb", "a203.csv"):
        assert main(["export", str(bedroom.job), "-o", str(tmp_path / name)]) == 0
    rows = list(csv.DictReader((tmp_path / "a203.csv").read_text().splitlines()))
    assert len(rows) == 14
    assert sum(row["kind"] == "window" for row in rows) == 5
    assert {row["treatments"] for row in rows if row["kind"] == "wall"} == {"coating"}
    capsys.readouterr()
    assert main(["import", str(tmp_path / "a203.glb"), "--list"]) == 0
    assert "56.89 m³" in capsys.readouterr().out
