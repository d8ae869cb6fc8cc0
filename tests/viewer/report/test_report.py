"""The report of the sample bedroom with wiring, and of a job of our own in feet and gallons."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pytest

from envelope.api import cast
from envelope.building.job import Job
from envelope.commands.documents import report_parts
from envelope.commands.takeoff import take_off_json
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.differences import Difference
from envelope.plans.decide import decide
from envelope.project import load_text
from envelope.works.offer import offer_of
from viewer.report.bonding_page import bonding_page
from viewer.report.hand_over_page import hand_over_page
from viewer.report.offer_page import offer_page
from viewer.report.order_page import order_page
from viewer.report.render import Sheet
from viewer.report.report_page import ReportParts, report_page
from viewer.report.work_order_page import work_order_page

JOB = """
format = 1
name = "Ivy Court, nursery (invented)"
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
[[storey]]
id = "ground"
floor = "1 ft"
[[space]]
id = "room-7"
title = "nursery"
storey = "ground"
size = "12 ft x 10 ft"
height = "8 ft"
[[opening]]
id = "W1"
title = "garden window"
on = "room-7/south"
kind = "window"
at = "4 ft"
sill = "3 ft"
size = "4 ft x 4 ft"
[[opening]]
id = "B1"
on = "room-7/east"
kind = "box"
at = "3 ft"
sill = "1 ft"
size = "2 in x 3 in"
ring = "3/16 in"
[[treatment]]
id = "t-1"
title = "grey paint"
kind = "sheet"
sheet-resistance = "8 ohm/sq"
[[treatment]]
id = "t-2"
title = "clear film"
kind = "sheet"
sheet-resistance = "9 ohm/sq"
price = "6.50 USD/sqft"
[costs]
tax = "6.25 %"
[[product]]
id = "p-1"
for = "t-1"
form = "liquid"
title = "shielding paint"
spread-rate = "285 sq ft/gal"
packs = [{ holds = "1 gal", price = "240 USD" }]
[[source]]
id = "s-1"
title = "tower on the ridge"
azimuth = "171 deg"
elevation = "3 deg"
service = "LTE 1800"
level = "640 uW/m2"
[[receiver]]
id = "r-1"
title = "the crib"
space = "room-7"
at = "3 ft, 4 ft, 2 ft"
[[plan]]
id = "p-walls"
title = "Walls first"
treat = [{ on = "room-7/walls", with = "t-1" }]
[[plan]]
id = "p-all"
title = "Walls and window"
extends = "p-walls"
treat = [{ on = "room-7/ceiling", with = "t-1" }, { on = "room-7/W1", with = "t-2" }]
"""


@dataclass(frozen=True)
class Worked:
    job: Job
    analysis: Analysis
    parts: ReportParts

    @property
    def page(self) -> str:
        sheet = Sheet(day=date(2026, 1, 2))
        return report_page(self.job, self.analysis, self.parts, sheet=sheet)


def worked(text: str) -> Worked:
    job = load_text(text, path="job.toml")
    casts = cast(job, rays="few")
    analysis = analyze(
        job=job, casts=casts, plans=job.plans, with_bands=True, ranked_plans=["as-built", "p-all"]
    )
    parts = report_parts(
        job,
        analysis,
        plan=job.plan("p-all"),
        receiver="r-1",
        decision=decide(job, casts=casts),
        source_text=text,
    )
    return Worked(job, analysis, parts)


@pytest.fixture(scope="module")
def mine() -> Worked:
    return worked(JOB)


def words(page: str) -> str:
    """What a reader sees of a page before the job's own file, spaces as they are typed."""
    bare = re.sub(r"<style.*?</style>|<pre.*?</pre>", " ", page, flags=re.DOTALL)
    bare = re.sub(r"<[^>]+>", " ", bare).replace("&#34;", '"').replace("&#39;", "'")
    return " ".join(bare.replace("\xa0", " ").split())


def test_every_part_is_there_in_order(mine: Worked) -> None:
    said = words(mine.page)
    parts = (
        "In short",
        "The visit",
        "What to do first, and why",
        "Plans compared",
        "The chosen plan: Walls and window",
        "Quantities",
        "Bonding",
        "The order of the work",
        "Drawings",
        "How far to trust this",
        "Where the figures come from",
        "Appendix: what was entered",
    )
    places = [said.index(part) for part in parts]
    assert places == sorted(places)


def test_it_stands_alone(mine: Worked) -> None:
    page = mine.page
    assert "<script" not in page
    assert not re.search(r"""(?:src|href)=["'](?!data:)""", page)
    assert not re.search(r"url\((?!data:)", page)
    assert len(page) < 8_000_000


def test_a_client_reads_titles_and_no_id_and_no_advice_on_the_file(mine: Worked) -> None:
    said = words(mine.page).partition("For the planner")[0]
    for each in ("grey paint", "clear film", "tower on the ridge", "the crib", "garden window"):
        assert each in said
    ids = ("t-1", "t-2", "s-1", "r-1", "room-7", "p-1", "p-walls", "p-all")
    for each in (*ids, "[[", "`", "settle it"):
        assert each not in said, each


def test_measures_are_those_of_the_job(mine: Worked) -> None:
    """Walls 2 (12 + 10) 8 − 4 × 4 − 2 × 3 in and its ring, ceiling 120 ft²: 455.9 ft².

    At 285 ft²/gal and 10 % on top 1.76 gal: two cans, 480 USD.
    """
    said = words(mine.page)
    assert "grey paint 455.9 ft²" in said
    assert "1.76 gal 2 × 1 gal" in said
    assert "480.00" in said
    assert "6.25 %" in said
    assert " m²" not in said.replace("µW/m²", "")


def test_a_hand_over_says_what_must_not_be_drilled_and_what_was_promised(mine: Worked) -> None:
    page = hand_over_page(
        mine.job,
        mine.parts.plan,
        mine.parts.order,
        sheet=Sheet(day=date(2026, 1, 2)),
        analysis=mine.analysis,
        receiver="r-1",
    )
    said = words(page)
    start = said.index("Do not drill")
    forbidden = said[start : said.index(". A fixing", start)]
    for each in ("south wall", "east wall", "north wall", "west wall", "ceiling"):
        assert each in forbidden
    assert "floor" not in forbidden
    high = mine.analysis.plan("p-all").receivers[0].headline.high_w_m2
    assert high is not None
    assert f"at or below {high * 1e6:.3g} µW/m²" in said
    for each in ("Film: no cleaning", "ordinary call", "Patch and test again", "its clear ring"):
        assert each in said
    assert "Curtain:" not in said
    assert page.count('<div class="slot">') == 4 + 1 + 1 + 2  # walls, bond, ring, meter twice


def test_figures_are_those_of_the_analysis(mine: Worked) -> None:
    said = words(mine.page)
    result = mine.analysis.plan("p-all").receivers[0]
    assert f"{result.level_w_m2 * 1e6:.3g} µW/m²" in said
    assert mine.parts.decision is not None
    for number, _ in enumerate(mine.parts.decision.steps, 1):
        assert re.search(rf" {number} [a-z].*?USD", said)


def outputs(found: Worked) -> dict[str, str]:
    """What a reader sees of every output of a job."""
    job, plan, order = found.job, found.parts.plan, found.parts.order
    sheet = Sheet(day=date(2026, 1, 2))
    plans = [job.plan("p-walls"), plan]
    offer = offer_of(job, found.analysis, plans, "r-1")
    pages = {
        "report": found.page,
        "offer": offer_page(job, offer, sheet=sheet),
        "order list": order_page(job, plan, order.take_off, sheet=sheet),
        "work order": work_order_page(job, plan, order, sheet=sheet),
        "bonding": bonding_page(job, plan, order.take_off, order.bonding, sheet=sheet),
        "hand-over": hand_over_page(
            job, plan, order, sheet=sheet, analysis=found.analysis, receiver="r-1"
        ),
    }
    said = {name: words(page) for name, page in pages.items()}
    said["take-off"] = json.dumps(take_off_json(job, order.take_off), indent=1)
    return said


def test_a_price_moves_the_totals_that_it_should_and_nothing_else(mine: Worked) -> None:
    """Film at 7.50 in place of 6.50 USD/ft² over 16 ft²: 16 USD net, 1 USD of tax at 6.25 %.

    Walls alone have no film, so their option of the offer and their row of the report stay.
    """
    dearer = worked(JOB.replace("6.50 USD/sqft", "7.50 USD/sqft"))
    bills = [each.parts.order.take_off.bill for each in (mine, dearer)]
    assert bills[1].net - bills[0].net == 16
    assert bills[1].total - bills[0].total == 17
    figures = [
        {f"{value:.2f}" for value in (bill.net, bill.tax, bill.total)} | {film}
        for bill, film in zip(bills, ("104.00", "120.00"), strict=True)
    ]
    before, after = outputs(mine), outputs(dearer)
    for name, text in before.items():
        one, other = text.split(), after[name].split()
        moved = [(a, b) for a, b in zip(one, other, strict=True) if a != b]
        if name in ("work order", "bonding", "hand-over"):
            assert not moved, name
            continue
        plain = [{word.strip('",') for word, _ in moved}, {word.strip('",') for _, word in moved}]
        for values, seen in zip(figures, plain, strict=True):
            assert values <= seen | {"104.00", "120.00"}, name
        if name in ("report", "offer"):
            assert "510.00" in one  # walls alone, with tax
            assert "510.00" in other
        # nothing but figures moves, and of these only sums of money
        assert all(re.fullmatch(r"[\d.]+", each) for pair in plain for each in pair), name
    money = re.compile(r"(\d[\d.]*) USD")
    step = [set(money.findall(each["report"])) for each in (before, after)]
    assert "104" in step[0]  # the step that films the window, before tax
    assert "120" in step[1]


def test_an_offer_without_labour_says_so_and_a_worse_plan_cannot_be_ticked(mine: Worked) -> None:
    job, sheet = mine.job, Sheet(day=date(2026, 1, 2))
    offer = offer_of(job, mine.analysis, [mine.parts.plan], "r-1")
    page = offer_page(job, offer, sheet=sheet)
    said = words(page)
    assert "Labour not included" in said
    assert "Total, without labour" in said
    assert "0.00" not in said.replace("480.00", "").replace("584.00", "")
    assert page.count('class="tick"') == 1
    worse = Difference(below_db=-3.0, low_db=-5.0, high_db=-1.0, odds=0.01)
    option = replace(offer.options[0], against_today=worse)
    page = offer_page(job, replace(offer, options=(option,)), sheet=sheet)
    assert page.count('class="tick"') == 0
    assert "2 times as much as today (1.3 to 3.2 times): this makes the room worse" in words(page)
    assert "cannot be chosen" in words(page)


def test_a_job_without_sources_has_its_wiring_its_bond_and_no_promise() -> None:
    path = Path(__file__).parents[3] / "models" / "wiring.toml"
    job = load_text(path.read_text("utf-8"), path="wiring.toml")
    plan = job.plan("walls-bonded")
    analysis = analyze(
        job=job,
        casts=cast(job, rays="few"),
        plans=[job.plan("as-built"), plan],
        with_bands=True,
        ranked_plans=["as-built"],
    )
    parts = report_parts(
        job, analysis, plan=plan, receiver="pillow", decision=None, undecided="None can be given."
    )
    said = words(report_page(job, analysis, parts, sheet=Sheet(day=date(2026, 1, 2))))
    assert "No source was surveyed" in said
    assert "of the field outside" in said
    assert "No value is promised for this plan." in said
    assert "None can be given." in said
    assert "The electric field of the house wiring" in said
    assert "15.6 Ω" in said
