"""`gapcast decide`: the first screen in its order, JSON and CSV, and one message for bad input."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from envelope.cli import main
from envelope.project import load

MODELS = Path(__file__).parents[3] / "models"
BEDROOM = str(MODELS / "bedroom.toml")


@pytest.fixture(scope="module", autouse=True)
def one_cast() -> Iterator[None]:
    """The job is cast once for all of these tests, and with few rays."""
    patch = pytest.MonkeyPatch()
    import envelope.commands.decide as command
    from envelope.exposure.casts import Casts, cast_job
    from envelope.rays import Sampling

    kept: list[Casts] = []

    def cast(job: object, **_: object) -> Casts:
        if not kept:
            few = Sampling(points_per_panel=2**7, points=2**11)
            kept.append(cast_job(job, sampling=few))  # type: ignore[arg-type]
        return kept[0]

    patch.setattr(command, "cast", cast)
    yield
    patch.undo()


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["decide", BEDROOM, *arguments]) == 0
    return capsys.readouterr().out.replace("\xa0", " ")


_JSON: list[dict[str, Any]] = []


def as_json(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """The decision as JSON, asked for once."""
    if not _JSON:
        _JSON.append(json.loads(said(capsys, "--json")))
    return _JSON[0]


def test_the_first_screen_is_short_and_in_the_order_in_which_one_acts(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "130")
    out = said(capsys)
    heads = ["Today", "In this order", "Stop after step", "Stands or falls with", "Caution"]
    places = [out.index(head) for head in heads]
    assert places == sorted(places)
    assert len(out.splitlines()) <= 25
    assert "wall" in out
    assert "EUR" in out


@pytest.mark.parametrize("columns", ["80", "120"])
def test_a_target_out_of_reach_says_whether_the_budget_is_why(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, columns: str
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    out = " ".join(said(capsys, "--target", "1e-6 uW/m2", "--budget", "400 EUR").split())
    assert "is out of reach: the most that the budget buys comes to" in out


def test_detail_lists_the_plans_behind_the_sequence(capsys: pytest.CaptureFixture[str]) -> None:
    out = said(capsys, "--detail")
    assert "Plans that no other beats" in out
    assert "These figures rest on" in out


def test_json_and_csv_agree(capsys: pytest.CaptureFixture[str]) -> None:
    plain = json.loads(said(capsys, "--json", "--target", "20 uW/m2"))
    assert plain["format"] == 1
    assert [step["step"] for step in plain["steps"]] == list(range(1, len(plain["steps"]) + 1))
    assert all(0.0 <= step["odds_of_target"] <= 1.0 for step in plain["steps"])
    rows = list(csv.DictReader(io.StringIO(said(capsys, "--csv", "--target", "20 uW/m2"))))
    assert len(rows) == sum(len(step["changes"]) for step in plain["steps"])
    assert float(rows[-1]["cost_so_far"]) == plain["steps"][-1]["cost_so_far"]


def test_a_bed_that_may_move_comes_before_what_is_bought(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("envelope.plans.bed.STEP_M", 0.3)
    out = " ".join(said(capsys, "--bed").split())
    assert out.index("Free first: move the bed, head to the") < out.index("In this order")
    plain = json.loads(said(capsys, "--bed", "--json"))
    today, treated = plain["bed"]
    assert today["plan"] == "as-built"
    assert today["lowest_w_m2"] == today["places"][0]["level_w_m2"]
    assert treated["highest_w_m2"] < today["lowest_w_m2"]


def test_a_target_out_of_reach_says_what_can_be_had_and_what_limits_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    out = " ".join(said(capsys, "--target", "0.00001 uW/m2").split())
    assert "is out of reach: everything on offer together comes to" in out
    assert "What is left then: hill-mast" in out
    assert "In this order, all in bedroom" in out
    assert "1 window W1: film" in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--budget", "1 EUR"),
            "a budget of 1.00 EUR buys nothing that helps: the cheapest useful measure is "
            "window W2 of bedroom: ",
        ),
        (("--budget", "100 USD"), "this is in USD, and the job counts in EUR"),
        (("--budget", "much"), "--budget:"),
        (("--target", "10"), "--target:"),
        (("--receiver", "bedd"), "did you mean bed?"),
        (("--keep", "bedroom/W9"), "names no panel"),
        (("--keep", "bedroom/**"), "faces stay as they are, such as south wall of bedroom"),
    ],
)
def test_bad_input_is_one_message(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], message: str
) -> None:
    assert main(["decide", BEDROOM, *arguments]) == 2
    found = capsys.readouterr()
    assert message in found.err
    assert found.out == ""
    assert "Traceback" not in found.err


def test_on_a_narrow_terminal_a_screen_holds_what_one_acts_on(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    wide = as_json(capsys)
    first = wide["steps"][0]["changes"][0]
    monkeypatch.setenv("COLUMNS", "80")
    out = said(capsys)
    assert len(out.splitlines()) <= 25
    assert max(map(len, out.splitlines())) <= 80
    heads = ["Today", "In this order", f"Stop after step {wide['stop_after']}", "Never by itself"]
    settle = "Measure first" if wide["measure_first"] else "To settle it"
    places = [out.index(head) for head in (*heads, settle, "Caution", "--detail")]
    assert places == sorted(places)
    assert first["with"] in out
    numbers = re.findall(r"^\(?(\d+)\)? {2}", out, flags=re.MULTILINE)
    assert numbers == [str(each["step"]) for each in wide["steps"]]
    for words in ("phones and linked smoke", "must still open", "licensed electrician"):
        assert words in " ".join(out.split())


def test_the_sequence_is_written_as_a_plan_of_the_job(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "decided.toml"
    out = said(capsys, "-o", str(path), "--step", "2")
    assert out.splitlines()[-1].endswith("decided.toml: the job with the plan to-step-2")
    text = path.read_text("utf-8")
    assert text.startswith(Path(BEDROOM).read_text("utf-8").rstrip()[:-40])
    job = load(path)
    wanted = as_json(capsys)["steps"][1]["treatments"]
    plan = job.plan("to-step-2")
    assert {panel: list(names) for panel, names in plan.treatments.items()} == wanted
    assert plan.title.startswith("Steps 1 to 2: ")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [(("--step", "2"), "goes with --output"), (("-o", "x.toml", "--step", "99"), "steps 1 to")],
)
def test_a_step_that_cannot_be_written_is_refused(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["decide", BEDROOM, *arguments]) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
