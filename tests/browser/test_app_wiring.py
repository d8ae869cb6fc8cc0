"""The wiring entered in a real Chromium: by clicks on a wall, its field beside the level."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from envelope.project import load

JOB = (Path(__file__).parents[2] / "models" / "wiring.toml").read_text("utf-8")
BARE = JOB[: JOB.index("# ---- the wiring")] + (
    '[[plan]]\nid = "walls"\ntreat = [{ on = "bedroom/walls", with = "coating" }]\n'
)


@pytest.fixture(scope="module")
def opened(
    chromium: Browser, started: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Page, Path]]:
    path = tmp_path_factory.mktemp("job") / "wiring.toml"
    path.write_text(BARE, encoding="utf-8")
    running = started("wiring.toml", folder=path.parent)
    context = chromium.new_context(viewport={"width": 1360, "height": 860})
    page = context.new_page()
    page.goto(running.address)
    yield page, path
    context.close()


def test_outlets_by_clicks_and_the_field_beside_the_level(opened: tuple[Page, Path]) -> None:
    page, path = opened
    expect(page.locator(".ga-gap").first).to_be_visible()
    expect(page.locator(".ga-volts")).to_be_hidden()
    page.get_by_role("tab", name="Wiring").click()
    page.get_by_role("button", name="120/240 V split, 60 Hz").click()
    expect(page.locator(".ga-wire")).to_contain_text("leg-2 120 V 60 Hz 180 deg")
    page.get_by_label("Name of a circuit").fill("sockets")
    page.get_by_label("Route between its outlets").select_option("low")
    page.get_by_role("button", name="Add a circuit").click()
    expect(page.locator(".ga-wire")).to_contain_text("sockets: cable unknown, route low")
    south = page.locator(".ga-el", has_text="south wall").locator("svg")
    for number, share in enumerate((0.25, 0.75), start=1):
        box = south.bounding_box()
        assert box is not None
        south.click(position={"x": share * box["width"], "y": 0.85 * box["height"]})
        expect(page.locator(".ga-el-socket")).to_have_count(number)
    # of phase, cable and today's plan nothing is known: a range, never one number
    expect(page.locator(".ga-volts")).to_contain_text(
        re.compile(r"0\.\d+.to.*V/m at 60.Hz from the wiring, .* times today's")
    )
    expect(page.locator(".ga-volts")).to_contain_text("has no bond: it is not proposed so")
    page.get_by_label("What to place").select_option("bond")
    south.focus()  # the keyboard puts it there as well, from the middle of the face
    for _ in range(6):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.locator(".ga-volts")).not_to_contain_text("has no bond")
    page.locator('input[name="ga-mode"][value="wiring"]').check()
    expect(page.locator(".ga-legend")).to_contain_text("dark ones matter")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    wiring = load(path).wiring
    assert wiring is not None
    assert [outlet.circuit for outlet in wiring.outlets] == ["sockets", "sockets"]
    assert wiring.outlets[0].position_m[2] == pytest.approx(2.8 + 0.3, abs=0.1)
    assert len(wiring.bonds) == 1
