"""Pages of the work: what each holds, what it leaves out, and what files are refused."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from envelope.cli import main
from envelope.exposure.differences import Difference
from envelope.plans.decision import FreeMeasure
from envelope.plans.source_changes import SourceChange
from envelope.project import load, load_text
from envelope.text.cautions import cautions_of_plans
from envelope.text.decisions import agreement_words
from envelope.works.takeoff import take_off
from envelope.works.workorder import work_order
from viewer.report.bonding_page import bonding_page
from viewer.report.inputs import reading_rows
from viewer.report.order_page import order_page
from viewer.report.render import Sheet
from viewer.report.survey_page import room_plan_svg
from viewer.report.wording import words_of
from viewer.report.work_order_page import work_order_page

MODELS = Path(__file__).parents[3] / "models"
SHEET = Sheet(day=date(2026, 1, 2), paper="letter")


def _words(page: str) -> str:
    """What a reader sees of a page, spaces as they are typed."""
    bare = re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)
    return " ".join(bare.replace("\xa0", " ").split())


@pytest.fixture(scope="module")
def wired():  # type: ignore[no-untyped-def]
    job = load(MODELS / "wiring.toml")
    plan = job.plan("walls-bonded")
    return job, plan, work_order(job, plan, words_of(job))


def test_a_work_order_has_a_page_for_each_trade_and_the_electricians_has_blanks(wired) -> None:  # type: ignore[no-untyped-def]
    job, plan, order = wired
    page = work_order_page(job, plan, order, sheet=SHEET)
    assert "size: letter" in page
    assert page.count('<section class="sheet') == len(order.trades)
    own = work_order_page(job, plan, order, sheet=SHEET, trade="electrician")
    assert own.count('<section class="sheet') == 1
    words = _words(own)
    for each in ("licence number", "Signature", "Your limit", "Stop until", "bond point"):
        assert each in words
    assert own.count("<svg class=") == 4  # every wall of the room
    for step in order.steps:
        assert (step.what in words) == (step.trade == "electrician")


def test_steps_that_are_now_or_never_are_told_first(wired) -> None:  # type: ignore[no-untyped-def]
    job, plan, order = wired
    words = _words(work_order_page(job, plan, order, sheet=SHEET))
    assert words.index("Now or never") < words.index("The steps at a glance")
    assert [step.number for step in order.now_or_never] == [1]


def test_a_bonding_plan_tells_each_resistance_and_each_contact(wired) -> None:  # type: ignore[no-untyped-def]
    job, plan, order = wired
    page = bonding_page(
        job, plan, order.take_off, order.bonding, sheet=SHEET, shares={"bedroom/W1": 0.25}
    )
    words = _words(page)
    assert "15.6 Ω" in words
    for outlet in ("by-the-door", "bed-left", "bed-right", "desk"):
        assert f"socket {outlet}" in words
    assert "radiator" in words
    assert "window W1 of bedroom 25 % of the level" in words


def test_an_order_list_has_every_line_of_the_take_off_and_its_total() -> None:
    job = load(MODELS / "house.toml")
    plan = job.plan("all-round")
    found = take_off(job, plan)
    words = _words(order_page(job, plan, found, sheet=SHEET))
    assert "4 044.82 EUR" in words
    assert str(found.bill.total) == "4044.82"
    for line in found.bill.lines:
        assert line.what in words
    assert "3 × 5 l, 3 × 1 l" in words
    assert "No finish coat is listed over coating" in words
    assert "No primer" not in words


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["takeoff", "house.toml", "-o", "order.txt"], "must end in .html or .pdf"),
        (["workorder", "house.toml", "--plan", "as-built", "-o", "x.html"], "treats nothing"),
        (["bond", "house.toml", "-o", "nowhere/x.html"], "there is no such folder"),
        (["offer", "house.toml", "-o", "x.html", "--practice", "none.toml"], "cannot be read"),
        (["handover", "house.toml", "-o", "x.html", "--receiver", "sofa"], "no receiver 'sofa'"),
        (["report", "house.toml", "-o", "x.html", "--plan", "all-arond"], "did you mean all-round"),
    ],
)
def test_a_page_that_cannot_be_is_refused_in_one_line(  # type: ignore[no-untyped-def]
    arguments: list[str], message: str, monkeypatch, capsys
) -> None:
    monkeypatch.chdir(MODELS)
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert message in said
    assert said.count("\n") == 1


def test_a_pdf_without_chromium_is_refused_before_anything_is_worked_out(  # type: ignore[no-untyped-def]
    monkeypatch, capsys, tmp_path: Path
) -> None:
    monkeypatch.setattr("viewer.report.pdf.browser", lambda: None)
    out = tmp_path / "order.pdf"
    assert main(["takeoff", str(MODELS / "house.toml"), "-o", str(out)]) == 2
    assert "none is installed" in capsys.readouterr().err
    assert not out.exists()


def _titled(tmp_path: Path) -> Path:
    """The ground-floor bedroom in a job of feet, with titles, doors painted, no tax stated."""
    text = (MODELS / "bedroom.toml").read_text(encoding="utf-8")
    text = text.replace('id = "bedroom"', 'id = "bedroom"\ntitle = "main bedroom"')
    text = text.replace('id = "W1"', 'id = "W1"\ntitle = "garden window"')
    text = text.replace('with = "door-fabric"', 'with = "coating"')
    text += """
[[reading]]
id = "after"
source = "hill-mast"
space = "bedroom"
at = "3 ft, 3 ft, 4 ft"
level = "2 uW/m2"
plan = "all-round"
states = { W1 = "open" }

[[reading]]
id = "before"
source = "hill-mast"
space = "bedroom"
at = "3 ft, 3 ft, 4 ft"
level = "90 uW/m2"
"""
    path = tmp_path / "titled.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_cautions_call_rooms_and_windows_as_the_client_does(tmp_path: Path) -> None:
    job = load(_titled(tmp_path))
    plans = [job.plan("all-round")]
    said = cautions_of_plans(job, plans, blocked=["bedroom"], for_client=True)
    assert said[0].startswith("main bedroom: phones")
    assert said[1].startswith("garden window and W2: a window that is a way out")
    assert said[-1].endswith("; none is placed yet.")
    planner = cautions_of_plans(job, plans, blocked=["bedroom"])
    assert planner[-1].endswith("; the job has none: add [[bond]].")


def test_a_reading_says_what_had_been_done_by_then_without_a_visit(tmp_path: Path) -> None:
    after, before = reading_rows(load(_titled(tmp_path)))
    assert (after["done"], before["done"]) == ("“all-round”", "nothing yet")
    assert after["where"] == "main bedroom, garden window open"


def test_a_painted_door_gets_its_finish_and_a_ring_is_in_the_measure_of_the_job(
    tmp_path: Path,
) -> None:
    job = load(_titled(tmp_path))
    steps = work_order(job, job.plan("all-round"), words_of(job)).steps
    (finish,) = (step for step in steps if step.what.startswith("Finish coats"))
    assert "bedroom/D1" in finish.where
    (leaf,) = (step for step in steps if step.what.startswith("Settle each coating or film"))
    assert leaf.trade == "electrician"
    assert set(leaf.where) == {"bedroom/W1", "bedroom/W2", "bedroom/D1"}
    (mask,) = (step for step in steps if step.what.startswith("Mask"))
    assert "a ring of 1/8 in to 1/4 in (3 to 6 mm) around" in mask.what.replace("\xa0", " ")


def test_a_tax_that_nobody_stated_is_not_shown_as_nought(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = _titled(tmp_path)
    main(["takeoff", str(path), "--plan", "walls-only"])
    assert "no tax included" in capsys.readouterr().out
    page = tmp_path / "order.html"
    main(["takeoff", str(path), "--plan", "walls-only", "-o", str(page)])
    words = _words(page.read_text(encoding="utf-8"))
    assert "Tax none included" in words


def test_a_client_is_told_why_a_source_counts_and_not_what_to_write() -> None:
    change = SourceChange(
        device="router",
        sources=("router",),
        do="off-at-night",
        factor=0.0,
        agreed_by="household",
        reason="it stands in kitchen (may = [] where it must stay on)",
    )
    gain = Difference(below_db=1.3, low_db=0.1, high_db=2.4, odds=1.0)
    free = FreeMeasure(change=change, level_w_m2=1e-6, gain=gain, counted=True)
    assert "may = []" in agreement_words(free)
    assert agreement_words(free, for_client=True) == "counted on below: it stands in kitchen"


def test_where_no_product_is_stated_the_order_says_so_and_no_name_twice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, page = str(MODELS / "bedroom.toml"), tmp_path / "order.html"
    assert main(["takeoff", job]) == 0
    told = [line.split() for line in capsys.readouterr().out.splitlines()]
    (ordered,) = [cells for cells in told if cells[:1] == ["film"]]
    assert ordered.count("film") == 1
    assert " ".join(ordered[2:]).count("no product stated") == 1
    assert main(["takeoff", job, "-o", str(page)]) == 0
    (row,) = re.findall(r"<tr><td>film</td>(.*?)</tr>", page.read_text("utf-8"))
    assert "film" not in row
    assert "no product stated" in row
    heads = re.findall(r"<th(?: [^>]*)?>(.*?)</th>", page.read_text("utf-8"))
    assert heads[:4] == ["To order, to do", "Quantity", "Packages", "Amount"]  # none left empty


def test_a_door_of_the_next_room_stands_in_its_wall_on_the_survey_plan() -> None:
    """Its leaf hangs on the other side, a wall's thickness away."""
    job = load_text(
        """
format = 1
name = "two rooms"
[construction]
exterior-wall = "timber-wall"
interior-wall = "stud-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
door = "hollow-wood-door"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
[[space]]
id = "closet"
storey = "ground"
beside = "room/east wall"
size = "1 m x 3 m"
height = "2.4 m"
[[opening]]
id = "D1"
on = "closet/west"
kind = "door"
at = "1 m"
size = "0.8 m x 2 m"
[[receiver]]
id = "bed"
space = "room"
at = "1, 1, 0.6 m"
""",
        path="rooms.toml",
    )
    drawn = room_plan_svg(job, "room", (), {})
    (floor,) = re.findall(r'<polygon points="([^"]+)"', drawn)
    east = max(float(corner.split(",")[0]) for corner in floor.split())
    (door,) = re.findall(r'<line x1="([^"]+)" y1="[^"]+" x2="([^"]+)"', drawn)
    assert {float(each) for each in door} == {east}
