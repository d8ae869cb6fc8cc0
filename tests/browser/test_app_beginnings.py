"""The app without a job that it can show: one with faults, and none at all."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from envelope.project import load

JOB = (Path(__file__).parent / "data" / "hut.toml").read_text(encoding="utf-8")
SLOW_MS = 60_000  # what is waited for in a machine that is busy with other things
Start = Callable[..., Any]


def test_a_job_with_faults_opens_and_is_mended(
    chromium: Browser, started: Start, tmp_path: Path
) -> None:
    path = tmp_path / "hut.toml"
    path.write_text(JOB.replace('"3 m x 2.4 m"', '"3 x 2.4"'), encoding="utf-8")
    with chromium.new_context() as context:
        page = context.new_page()
        page.goto(started("hut.toml", folder=tmp_path).address)
        expect(page.locator(".ga-fault-list")).to_contain_text('size = "3 x 2.4"', timeout=SLOW_MS)
        expect(page.locator(".ga-fault-list")).to_contain_text("line 26")
        expect(page.locator(".ga-fault-list p")).to_contain_text("without a unit")
        page.get_by_label("Text of the job file").fill(JOB)
        page.get_by_role("button", name="Check it again").click()
        expect(page.locator(".ga-gap").first).to_be_visible(timeout=SLOW_MS)
        second = started("hut.toml", folder=tmp_path)
        other = chromium.new_page()
        other.goto(second.address)
        expect(other.locator(".ga-notice")).to_contain_text("already open", timeout=SLOW_MS)
        expect(other.get_by_role("button", name="Save")).to_be_disabled()
        other.close()


def test_a_room_from_the_form(chromium: Browser, started: Start, tmp_path: Path) -> None:
    running = started(folder=tmp_path, empty_s=4.0)
    with chromium.new_context() as context:
        page = context.new_page()
        page.goto(running.address)
        page.get_by_label("what the job is called").fill("Back bedroom", timeout=SLOW_MS)
        page.get_by_label("length, along the south wall").fill("13 ft 9 in")
        page.get_by_label("width, along the west wall").fill("3,6 m")
        page.get_by_label("height").fill("2.4 m")
        page.get_by_role("button", name="Add a window").click()
        window = page.locator(".ga-set", has_text="Window 1")
        window.get_by_label("from its left corner").fill("4 ft")
        window.get_by_label("width").fill("4 ft")
        window.get_by_label("height").fill("4 ft")
        window.get_by_label("sill").fill("0.9 m")
        page.get_by_label("from the west wall", exact=True).fill("0.6 m")
        page.get_by_label("from the south wall", exact=True).fill("2 m")
        page.get_by_role("button", name="Add a source").click()
        source = page.locator(".ga-set", has_text="Source 1")
        expect(source.get_by_label("level outside")).to_be_visible()
        expect(source.get_by_label("from the west wall")).to_be_hidden()
        source.get_by_label("where it is").select_option("in this house or at a point")
        expect(source.get_by_label("level outside")).to_be_hidden()
        source.get_by_label("from the west wall").fill("-4 ft")
        source.get_by_label("from the south wall").fill("2 ft 6")
        source.get_by_label("over the room's floor").fill("3 ft")
        source.get_by_label("band").fill("2.4-2.48 GHz")
        source.get_by_label("power that it radiates").fill("100 mW")
        page.get_by_role("button", name="Make the job file").click()
        wrong = page.get_by_label("width, along the west wall")
        expect(wrong).to_be_focused()
        expect(page.locator(".ga-trouble:visible")).to_contain_text(["comma", "2 ft 6"])
        source.get_by_label("from the south wall").fill("2 ft 6 in")
        assert list(tmp_path.glob("*.toml")) == []
        wrong.fill("3.6 m")
        page.get_by_role("button", name="Make the job file").click()
        expect(page.locator(".ga-gap", has_text="window W1")).to_be_visible(timeout=SLOW_MS)
    made = load(tmp_path / "room.toml")
    assert made.name == "Back bedroom"
    assert made.sources[0].position_m == pytest.approx((-1.2192, 0.762, 0.9144))
    # nobody looks any more, and the program ends by itself
    end = time.monotonic() + 60
    while running.process.poll() is None and time.monotonic() < end:
        time.sleep(0.2)
    assert running.process.returncode == 0
