"""Everything in the file changed beside the picture, and every page free of barriers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from envelope.project import load

JOB = (Path(__file__).parent / "data" / "hut.toml").read_text(encoding="utf-8")
COMMENTS = ("# kept", "# two words on it", "# measured twice", "# all four")
SLOW_MS = 60_000


@pytest.fixture(scope="module")
def opened(
    chromium: Browser, started: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Page, Path]]:
    path = tmp_path_factory.mktemp("job") / "hut.toml"
    path.write_text(JOB, encoding="utf-8")
    running = started("hut.toml", folder=path.parent)
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    page.set_default_timeout(SLOW_MS)
    page.goto(running.address)
    expect(page.locator(".ga-gap").first).to_be_visible(timeout=SLOW_MS)
    yield page, path
    context.close()


@pytest.fixture
def page(opened: tuple[Page, Path]) -> Iterator[Page]:
    """The page at its tables; what a test has changed is undone after it."""
    page, path = opened
    page.get_by_role("tab", name="Everything").click()
    yield page
    undo = page.get_by_role("button", name="Undo")
    while undo.is_enabled():
        told = undo.get_attribute("title")
        undo.click()
        expect(undo).not_to_have_attribute("title", told or "")
    page.get_by_role("tab", name="Faces").click()
    assert path.read_text(encoding="utf-8") == JOB


def table(page: Page, name: str) -> None:
    page.get_by_label("Part of the job").select_option(name)


def test_a_key_is_changed_where_it_stands_and_a_fault_is_said_at_its_field(page: Page) -> None:
    table(page, "space")
    height = page.locator(".ga-rowform").get_by_label("height")
    before = height.input_value()
    height.fill("9")
    height.press("Tab")
    field = page.locator(".ga-rowform .ga-field", has_text="height").first
    expect(field.locator(".ga-trouble")).to_contain_text("unit")
    expect(height).to_have_attribute("aria-invalid", "true")
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    height.fill("2.6 m")
    height.press("Tab")
    expect(page.get_by_role("button", name="Undo")).to_have_attribute(
        "title", "undo: height of hut"
    )
    expect(field.locator(".ga-trouble")).to_be_empty()
    page.get_by_role("tab", name="Text").click()
    text = page.locator(".ga-textpanel textarea")
    expect(text).to_have_value(JOB.replace(f'height = "{before}"', 'height = "2.6 m"'))


def test_a_treatment_is_added_and_can_be_put_on_a_face(page: Page) -> None:
    table(page, "treatment")
    page.get_by_role("button", name="Add a treatment").click()
    form = page.locator(".ga-rowform")
    form.get_by_label("what it is").select_option("one loss at every frequency, for an estimate")
    form.get_by_label("id", exact=True).fill("mesh")
    form.locator(".ga-parts").get_by_label("loss", exact=True).fill("18 dB")
    form.get_by_role("button", name="Add it").click()
    expect(page.locator(".ga-rows button", has_text="mesh")).to_have_attribute(
        "aria-pressed", "true"
    )
    page.get_by_role("tab", name="Faces").click()
    page.locator(".ga-gap", has_text="window W1").first.click()
    expect(page.locator('.ga-worn input[value="mesh"]')).to_be_visible()
    expect(page.locator('.ga-becomes[data-treatment="mesh"]')).to_contain_text("level becomes")


def test_a_name_changes_everywhere(page: Page, opened: tuple[Page, Path]) -> None:
    table(page, "treatment")
    page.locator(".ga-rows button", has_text="film").click()
    name = page.locator(".ga-rowform").get_by_label("id", exact=True)
    name.fill("clear-film")
    name.press("Tab")
    expect(page.locator(".ga-rows button", has_text="clear-film")).to_be_visible()
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    _, path = opened
    text = path.read_text(encoding="utf-8")
    assert "clear-film" in load(path).treatments
    for comment in COMMENTS:
        assert comment in text
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".ga-file")).to_contain_text("not saved")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")


def test_plans_stand_side_by_side_in_a_table(page: Page) -> None:
    page.get_by_role("button", name="Compare in a table").click()
    rows = page.locator(".ga-plantable tbody tr")
    expect(rows).to_have_count(len(load_plans()))
    expect(rows.last).to_contain_text("µW/m²")
    page.get_by_role("button", name="Close").click()
    expect(page.locator("dialog")).to_be_hidden()


def load_plans() -> list[str]:
    path = Path(__file__).parent / "data" / "hut.toml"
    return [plan.id for plan in load(path).plans]


@pytest.mark.parametrize("width", [1024, 1440])
def test_no_page_has_a_barrier(page: Page, width: int) -> None:
    """Against the rules of axe-core; the picture itself is described in words beside it."""
    page.set_viewport_size({"width": width, "height": 900})
    for name in ("Faces", "What first", "Everything", "Text", "Menu"):
        if name == "Menu":
            page.get_by_role("button", name="Menu").click()
            expect(page.locator(".ga-menu")).to_be_visible()
        else:
            page.get_by_role("tab", name=name).click()
        page.wait_for_timeout(300)
        found = Axe().run(page).response
        told = [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]]
        assert told == []
        assert len(found["passes"]) > 15
    page.get_by_role("button", name="Close", exact=True).click()
    page.set_viewport_size({"width": 1440, "height": 900})
