"""A practitioner's tour: from nothing to a two-storey job and an order list, no file touched.

It types what somebody would type with a tape in hand, in feet and inches and with a slip or two,
reads what the screen says, and then reads the file that was written.
"""

from __future__ import annotations

import re
import signal
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page, expect

from envelope.project import load

SLOW_MS = 60_000
L_SHAPE = "E 13 ft 9 in; N 8 ft 6 in; W 4 ft 11 in; N 3 ft 3 in; W 8 ft 10 in; S"


class Tour:
    """The page, and what one does on it over and over."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.form = page.locator(".ga-rowform")

    def table(self, name: str) -> None:
        self.page.get_by_label("Part of the job").select_option(name)

    def fill(self, scope: Locator, typed: dict[str, str]) -> None:
        for label, value in typed.items():
            field = scope.get_by_label(label, exact=True).first
            if field.evaluate("node => node.tagName") == "SELECT":
                field.select_option(value)
            else:
                field.fill(value)

    def row(self, words: str) -> Locator:
        return self.page.locator(".ga-rows button", has_text=words)

    def add(self, table: str, typed: dict[str, str], *, sort: str = "", row: str = "") -> None:
        """Add a row and wait for it."""
        self.table(table)
        self.page.locator(".ga-add").click()
        if sort:
            self.form.get_by_label("what it is").select_option(sort)
        self.fill(self.form, typed)
        self.form.get_by_role("button", name="Add it").click()
        if row:
            expect(self.row(row)).to_have_attribute("aria-pressed", "true")

    def part(self, group: str, add: str, typed: dict[str, str]) -> None:
        """Add a part to what stands in brackets."""
        fields = self.form.locator("fieldset", has=self.page.get_by_text(group, exact=True)).first
        fields.get_by_role("button", name=add).click()
        last = fields.locator(".ga-parts > li").last
        self.fill(last, typed)
        last.get_by_label(list(typed)[-1]).press("Tab")


@pytest.fixture(scope="module")
def tour(
    chromium: Browser, started: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Tour, Path, Any]]:
    folder = tmp_path_factory.mktemp("tour")
    app = started(folder=folder)
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.set_default_timeout(SLOW_MS)
    page.goto(app.address)
    yield Tour(page), folder / "room.toml", app
    context.close()


def test_from_nothing_to_a_job_of_two_storeys(tour: tuple[Tour, Path, Any]) -> None:
    do, path, _ = tour
    page = do.page
    start = page.locator("form.ga-form")
    start.get_by_label("where it stands").select_option("upper floor")
    do.fill(
        start,
        {
            "what the job is called": "Alder Row 3 (invented)",
            "length, along the south wall": "13 ft 9 in",
            "width, along the west wall": "11 ft 9",  # a slip: no unit
            "height": "8 ft",
            "its floor over the ground": "9 ft 2 in",
            "from the west wall": "2 ft",
            "from the south wall": "6 ft",
        },
    )
    make = page.get_by_role("button", name="Make the job file and open it")
    make.click()
    wide = start.get_by_label("width, along the west wall")
    expect(wide).to_have_attribute("aria-invalid", "true")
    wide.fill("11 ft 9 in")
    make.click()
    expect(page.locator(".ga-big").first).to_be_visible()
    page.get_by_role("tab", name="Everything").click()
    do.add("storey", {"id": "ground", "floor": "0 m"}, row="ground")
    size = "13 ft 9 in x 11 ft 9 in"
    living = {"title": "Living room", "storey": "ground", "height": "8 ft", "size": size}
    do.add("space", living, sort="a rectangle", row="Living room")
    assert path.is_file()


def test_an_outline_is_changed_with_what_goes_with_it(tour: tuple[Tour, Path, Any]) -> None:
    do, _, _ = tour
    do.row("room").first.click()
    do.form.locator("summary").click()
    walk, size = (do.form.get_by_label(each, exact=True) for each in ("walk", "size"))
    walk.fill(L_SHAPE)
    walk.press("Tab")
    expect(do.page.locator(".ga-pending")).to_contain_text("Not taken yet: walk")
    expect(do.form.locator(".ga-trouble", has_text="takes one of")).to_be_visible()
    size.fill("")
    size.press("Tab")
    expect(do.page.locator(".ga-pending")).to_be_hidden()
    undo = do.page.get_by_role("button", name="Undo")
    expect(undo).to_have_attribute("title", "undo: walk, size of room")


def test_windows_doors_and_a_closet_one_of_them_drawn(tour: tuple[Tour, Path, Any]) -> None:
    do, _, _ = tour
    closet = {"title": "Closet", "storey": "storey", "height": "8 ft"}
    closet |= {"size": "4 ft 6 in x 2 ft 10 in", "beside": "room/3"}
    do.add("space", closet, sort="a rectangle", row="Closet")
    window = {"size": "3 ft x 4 ft", "sill": "3 ft", "at": "3 ft"}
    for title, on in (("South window", "room/1"), ("West window", "room/6")):
        do.add("opening", {"title": title, "on": on, **window}, sort="a window", row=title)
    door = {"size": "2 ft 4 in x 6 ft 8 in", "undercut": "3/8 in", "at": "1 ft"}
    for title, on in (("Door", "room/5"), ("Closet door", "room/3")):
        do.add("opening", {"title": title, "on": on, **door}, sort="a door")
        expect(do.row(title).last).to_have_attribute("aria-pressed", "true")
    # the third window is drawn on its wall
    do.page.locator(".ga-add").click()
    do.form.get_by_label("what it is").select_option("a window")
    do.fill(do.form, {"title": "East window", "on": "room/2"})
    do.form.get_by_label("on", exact=True).press("Tab")
    wall = do.page.locator(".ga-wall")
    expect(wall).to_be_visible()
    wall.scroll_into_view_if_needed()
    box = wall.bounding_box()
    assert box is not None
    x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.4 * box["height"]
    do.page.mouse.move(x - 40, y - 40)
    do.page.mouse.down()
    do.page.mouse.move(x, y, steps=3)
    do.page.mouse.move(x + 40, y + 40)
    do.page.mouse.up()
    expect(do.form.get_by_label("size", exact=True)).not_to_have_value("")
    do.form.get_by_role("button", name="Add it").click()
    expect(do.row("East window")).to_have_attribute("aria-pressed", "true")


def test_four_sources_and_a_reading_that_gives_one_of_them_its_level(
    tour: tuple[Tour, Path, Any],
) -> None:
    do, _, _ = tour
    direction = "in a direction outside: a mast, a meter across the street"
    mast = {"title": "Mast", "service": "LTE 1800", "azimuth": "210 deg", "elevation": "4 deg"}
    do.add("source", {**mast, "level": "850 uW/m2"}, sort=direction, row="Mast")
    router = {"title": "Router", "service": "Wi-Fi 2.4 GHz", "space": "living-room"}
    do.add(
        "source",
        {**router, "at": "3 ft, 3 ft, 3 ft", "eirp": "20 dBm"},
        sort="in a room of this house: a router, a telephone",
        row="Router",
    )
    meter = {"title": "Meter", "service": "LTE 900", "at": "-20 ft, 5 ft, 4 ft", "eirp": "23 dBm"}
    do.add("source", meter, sort="at a point outdoors, known by its power", row="Meter")
    roof = {"title": "Roof", "service": "LTE 800", "azimuth": "80 deg", "elevation": "12 deg"}
    do.add("source", roof, sort=direction)
    expect(do.form.locator(".ga-trouble", has_text="add a reading of roof")).to_be_visible()
    reading = {"id": "bed", "source": "roof", "space": "room", "at": "6 ft, 4 ft, 3 ft"}
    do.add("reading", {**reading, "level": "40 uW/m2", "spots": "6"}, row="bed")


def test_prices_three_plans_and_an_order_list(tour: tuple[Tour, Path, Any]) -> None:
    do, path, _ = tour
    page = do.page
    for treatment, price in (("coating", "24 EUR/m2"), ("window-film", "60 EUR/m2")):
        do.table("treatment")
        do.row(treatment).click()
        do.form.locator("summary").click()
        do.fill(do.form, {"price": price})
        do.form.get_by_label("price", exact=True).press("Tab")
        undo = page.get_by_role("button", name="Undo")
        expect(undo).to_have_attribute("title", f"undo: price of {treatment}")
    do.table("plan")
    do.row("plan-1").click()
    do.part("treat", "Add faces", {"on": "room/walls", "with": "coating"})
    expect(page.get_by_role("button", name="Undo")).to_have_attribute(
        "title", "undo: treat of plan-1"
    )
    for title, on, worn in (
        ("Walls and windows", "room/windows", "window-film"),
        ("All round", "room/ceiling", "coating"),
    ):
        page.locator(".ga-add").click()
        do.form.get_by_label("what it is").select_option("an extension of another plan")
        do.fill(do.form, {"title": title, "extends": "plan-1"})
        do.part("treat", "Add faces", {"on": on, "with": worn})
        do.form.get_by_role("button", name="Add it").click()
        expect(do.row(title)).to_have_attribute("aria-pressed", "true")
    page.get_by_role("tab", name="Faces").click()
    expect(page.locator(".ga-plan-pick")).to_have_count(4)
    expect(page.locator(".ga-gap", has_text="South window").first).to_be_visible()
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Order list", exact=True).click()
    page.get_by_label("plan", exact=True).select_option("All round")
    page.get_by_role("button", name="Show it").click()
    expect(page.locator(".ga-made")).to_contain_text("EUR")
    page.get_by_role("button", name="Close", exact=True).click()
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    job = load(path)
    assert [space.id for space in job.building.spaces] == ["room", "living-room", "closet"]
    assert len(job.building.storeys) == 2
    kinds = [panel.kind for panel in job.building.panels if panel.space == "room"]
    assert kinds.count("window") == 3
    assert {source.id for source in job.sources} == {"mast", "router", "meter", "roof"}
    assert len(job.plans) == 4
    text = path.read_text(encoding="utf-8")
    assert "# typical" in text or "# starter assemblies" in text  # comments of the form stay
    assert f'walk = "{L_SHAPE}"' in text


def test_a_click_on_a_step_of_the_plot_shows_its_plan(tour: tuple[Tour, Path, Any]) -> None:
    page = tour[0].page
    page.get_by_role("tab", name="What first").click()
    step = page.locator(".ga-plot-step").first
    expect(step).to_be_visible()
    words = step.get_attribute("aria-label")
    assert words is not None
    left = re.search(r"(\S+)\s\S+ left", words)
    assert left is not None
    step.click()
    expect(page.locator(".ga-plan-pick[aria-pressed=true]")).to_contain_text("Up to step 1")
    expect(page.locator(".ga-big").first).to_contain_text(left[1])
    expect(page.locator(".ga-step").first).to_have_attribute("aria-pressed", "true")
    found = Axe().run(page).response
    assert [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]] == []
    page.get_by_role("tab", name="Faces").click()
    page.locator(".ga-plan-pick", has_text="All round").click()


def test_two_pages_on_the_job_stay_in_step(tour: tuple[Tour, Path, Any]) -> None:
    do, _, _ = tour
    other = do.page.context.new_page()
    other.set_default_timeout(SLOW_MS)
    other.goto(do.page.url)
    expect(other.locator(".ga-big").first).to_be_visible()
    do.page.get_by_role("button", name="Undo").click()
    expect(other.locator(".ga-file")).to_contain_text("not saved")
    expect(other.locator(".ga-plan-pick")).to_have_count(3)
    other.get_by_role("button", name="Redo").click()
    expect(do.page.locator(".ga-plan-pick")).to_have_count(4)
    expect(do.page.locator(".ga-file")).to_contain_text("· saved")
    other.close()


def test_nobody_without_the_key_sees_what_was_made(tour: tuple[Tour, Path, Any]) -> None:
    do, _, app = tour
    for path in ("/made/0", "/own/page.js", "/"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(app.origin + path, timeout=10)
        assert refused.value.code == 403
        refused.value.close()
    found = do.page.evaluate("fetch('/made/99').then(answer => answer.status)")
    assert found == 404
    assert do.page.evaluate("fetch('/made/..%2Froom.toml').then(answer => answer.status)") >= 400


def test_the_page_says_when_the_program_has_ended(tour: tuple[Tour, Path, Any]) -> None:
    do, path, app = tour
    do.page.get_by_role("tab", name="Everything").click()
    do.table("space")
    do.row("Closet").click()
    do.fill(do.form, {"height": "7 ft 6 in"})
    do.form.get_by_label("height", exact=True).press("Tab")
    expect(do.page.locator(".ga-file")).to_contain_text("not saved")
    app.process.send_signal(signal.SIGKILL)
    gone = do.page.locator(".ga-gone")
    expect(gone).to_be_visible()
    expect(gone).to_contain_text("kept beside the job")
    expect(gone).to_contain_text("room.toml")
    kept = path.with_name(f".{path.name}.unsaved").read_text(encoding="utf-8")
    assert 'height = "7 ft 6 in"' in kept
