"""A model of others opened in the app: its spaces chosen, a face of it put right by clicking."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from envelope.building.model import Building
from envelope.building.rooms.specs import OpeningSpec
from envelope.exchange import to_glb

SLOW_MS = 60_000  # what is waited for in a machine that is busy with other things
WINDOW = OpeningSpec(
    id="W1", on="left/1", kind="window", width_m=1.2, height_m=1.1, along_m=1.0, sill_m=0.9
)


@pytest.fixture
def address(started: Callable[..., Any], tmp_path: Path, two_rooms: Callable[..., Building]) -> str:
    """The app without a file, in a folder with a model."""
    (tmp_path / "flat.glb").write_bytes(to_glb(two_rooms(openings=(WINDOW,))))
    return str(started(folder=tmp_path).address)


def test_a_room_of_a_model_is_opened_and_put_right(
    chromium: Browser, address: str, tmp_path: Path
) -> None:
    job = tmp_path / "flat.toml"
    with chromium.new_context(viewport={"width": 1360, "height": 860}) as context:
        page = context.new_page()
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        path = page.get_by_label("path of the model file")
        look = page.get_by_role("button", name="Look into it")
        page.goto(address)
        page.get_by_text("Or begin with an architect's model").click(timeout=SLOW_MS)
        path.fill("flat.stl", timeout=SLOW_MS)
        expect(page.get_by_label("unit of its lengths")).to_be_visible()
        path.fill("flat.gbl")
        expect(page.get_by_label("unit of its lengths")).to_be_hidden()
        look.click()
        expect(page.locator(".ga-model .ga-trouble")).to_contain_text("cannot be imported")
        path.fill("flat.glb")
        look.click()
        left = page.get_by_label("left")
        expect(left).to_be_visible(timeout=SLOW_MS)
        expect(page.locator(".ga-model .ga-tick", has_text="left")).to_contain_text("12.00 m²")
        make = page.get_by_role("button", name="Import them and open the job")
        make.click()
        expect(page.locator(".ga-model .ga-trouble")).to_contain_text("tick at least one")
        left.check()
        make.click()
        window = page.locator(".ga-gap", has_text="W1").first
        expect(window).to_be_visible(timeout=SLOW_MS)
        text = job.read_text(encoding="utf-8")
        assert tomllib.loads(text)["model"]["spaces"] == ["left"]

        window.click()
        made_of = page.get_by_label("it is made of")
        facts = page.locator(".ga-face > .ga-facts")
        expect(page.locator(".ga-tagging")).to_contain_text("taken for a")
        made_of.select_option("hollow-wood-door")
        expect(facts).to_contain_text("hollow-wood-door", timeout=SLOW_MS)
        expect(made_of).to_have_value("hollow-wood-door")
        page.get_by_label("it is a", exact=True).select_option("door")
        expect(page.locator(".ga-file")).to_contain_text("not saved")
        expect(page.locator("#ga-face-title")).to_contain_text("door", timeout=SLOW_MS)
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".ga-file")).to_contain_text("· saved")
        said = tomllib.loads(job.read_text(encoding="utf-8"))
        assert said["panel"] == [{"on": "left/W1", "assembly": "hollow-wood-door"}]
        assert said["tag"] == [{"name": "left/W1", "becomes": "door"}]
        for _ in range(2):
            undo = page.get_by_role("button", name="Undo")
            told = undo.get_attribute("title") or ""
            undo.click()
            expect(undo).not_to_have_attribute("title", told)
        expect(made_of).to_have_value("")
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".ga-file")).to_contain_text("· saved")
        assert job.read_text(encoding="utf-8") == text
        assert errors == []
