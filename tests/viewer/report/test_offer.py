"""The offer of the sample bedroom: its figures, its words, its limits."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from envelope.cli import main
from envelope.errors import EnvelopeError
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load
from envelope.works.offer import offer_of
from envelope.works.takeoff import take_off
from viewer.report.offer_page import offer_page
from viewer.report.practice import Practice, read_practice
from viewer.report.render import Sheet

JOB = Path(__file__).parents[3] / "models" / "bedroom.toml"


@pytest.fixture(scope="module")
def found():  # type: ignore[no-untyped-def]
    job = load(JOB)
    analysis = analyze(job=job, casts=cast_job(job), with_bands=True)
    plans = [job.plan("walls-only"), job.plan("all-round")]
    return job, analysis, offer_of(job, analysis, plans, "bed")


def test_figures_are_those_of_the_analysis_and_the_take_off(found) -> None:  # type: ignore[no-untyped-def]
    job, analysis, offer = found
    results = {result.plan: result.receivers[0] for result in analysis.plans}
    for option in offer.options:
        assert option.level_w_m2 == results[option.plan.id].level_w_m2
        assert option.low_w_m2 < option.level_w_m2 < option.high_w_m2
        assert option.take_off.bill.total == take_off(job, option.plan).bill.total
    assert offer.today_w_m2 == results["as-built"].level_w_m2


def test_a_promise_needs_a_difference_that_can_be_told(found) -> None:  # type: ignore[no-untyped-def]
    _, _, offer = found
    for option in offer.options:
        told = option.against_today.low_db > 0.0
        assert (option.accepted_at_w_m2 is not None) == told
    assert offer.options[-1].accepted_at_w_m2 == offer.options[-1].high_w_m2


def test_the_page_holds_what_a_client_signs_and_no_script(found) -> None:  # type: ignore[no-untyped-def]
    job, _, offer = found
    page = offer_page(
        job,
        offer,
        sheet=Sheet(
            practice=Practice(name="A <practice>", terms="Valid 30 days."),
            day=date(2026, 1, 2),
            paper="letter",
        ),
    )
    assert "size: letter" in page
    assert "A &lt;practice&gt;" in page
    assert "Valid 30 days." in page
    assert "<script" not in page
    assert "http" not in page.replace("http-equiv", "")
    for words in ("Option 1", "Option 2", "Total", "Not included", "Signature", "a meter decides"):
        assert words in page


def test_too_many_options_and_one_that_does_nothing(found) -> None:  # type: ignore[no-untyped-def]
    job, analysis, _ = found
    with pytest.raises(EnvelopeError, match="1 to 3 options"):
        offer_of(job, analysis, [job.plan("walls-only")] * 4, "bed")
    with pytest.raises(EnvelopeError, match="treats nothing"):
        offer_of(job, analysis, [job.plan("as-built")], "bed")


def test_a_practice_file(tmp_path: Path) -> None:
    path = tmp_path / "practice.toml"
    path.write_text('[practice]\nname = "Invented practice"\n', encoding="utf-8")
    assert read_practice(path).name == "Invented practice"
    path.write_text('[practice]\nnmae = "x"\n', encoding="utf-8")
    with pytest.raises(EnvelopeError, match=r"practice\.nmae is unknown; allowed: name"):
        read_practice(path)
    with pytest.raises(EnvelopeError, match="cannot be read"):
        read_practice(tmp_path / "none.toml")


def test_the_command_refuses_a_receiver_that_is_none(tmp_path: Path, capsys) -> None:  # type: ignore[no-untyped-def]
    out = tmp_path / "offer.html"
    assert main(["offer", str(JOB), "-o", str(out), "--receiver", "sofa"]) == 2
    assert "no receiver 'sofa'" in capsys.readouterr().err
    assert not out.exists()


def test_steps_on_offer_are_printed_since_they_leave_every_source_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")  # wide enough that no step is wrapped
    assert main(["offer", str(JOB), "--step", "2", "-o", str(tmp_path / "steps.html")]) == 0
    page = (tmp_path / "steps.html").read_text("utf-8")
    lines = capsys.readouterr().out.splitlines()
    worn = [re.sub(r".*: (.*?), .*", r"\1", line.partition(": ")[2]) for line in lines[1:3]]
    assert f"Option 1: Steps 1 to 2: {', '.join(dict.fromkeys(worn))}</h2>" in page
    assert lines[0].startswith("the sequence of `gapcast decide --leave-sources`")
    assert lines[3].startswith("  Stop after step ")
    # `decide` names the room once, above its table
    offered = [line.partition(": ")[2].replace(" of bedroom: ", ": ") for line in lines[1:3]]
    main(["decide", str(JOB), "--leave-sources"])
    decided = " ".join(capsys.readouterr().out.split())
    for step in offered:
        assert " ".join(step.split()) in decided
