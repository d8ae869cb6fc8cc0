"""The hand-out where WebGL or scripts are missing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

PLANS = ["as-built", "walls-only", "walls-and-windows", "all-round"]


def test_without_webgl_picture_tables_and_map_remain(
    watch: Callable[..., Any], chromium_without_webgl: Browser, handout: Any
) -> None:
    watched = watch(chromium_without_webgl)
    page = watched.page
    page.goto(handout.path.as_uri())
    page.wait_for_selector("html.ready", state="attached")
    assert watched.outside() == []
    assert page.evaluate("document.documentElement.classList.contains('flat')")
    assert not page.locator(".tools").is_visible()
    # the picture is of the plan that is chosen, and its note says of what
    note, still = page.locator(".flat-note:visible"), page.locator(".still:visible")
    expect(note).to_have_count(1)
    expect(note).to_contain_text("no picture of walls-only was drawn")
    expect(still).to_have_count(0)
    for plan, said in (("as-built", "today"), ("all-round", "all-round")):
        page.locator(f"input[name=plan][value='{PLANS.index(plan)}']").check(force=True)
        expect(note).to_contain_text(f"The picture: {said}, ")
        expect(note).to_contain_text("µW/m² at pillow")
        expect(still).to_have_count(1)
        page.wait_for_function(
            "() => [...document.querySelectorAll('.still')].every((each) => each.complete)"
        )
        drawn = still.evaluate(
            """(image) => { const c = document.createElement("canvas"); c.width = c.height = 1;
            const pen = c.getContext("2d"); pen.drawImage(image, 0, 0);
            return [...pen.getImageData(0, 0, 1, 1).data].slice(0, 3); }"""
        )
        assert drawn == pytest.approx(handout.stills[plan], abs=4)
    expect(page.locator(".verdicts .case.on .verdict")).to_contain_text("all-round")
    page.locator(".side .case.on tr[data-face] button").first.click()
    assert "comes in here" in page.locator("#card").inner_text()
    assert page.locator("#sky .gc-line").count() > 3
    inked = page.evaluate(
        "() => { const c = document.querySelector('#sky canvas'); return [...c.getContext('2d')"
        ".getImageData(c.width / 2, c.height / 2, 1, 1).data]; }"
    )
    assert inked[3] == 255


def test_a_still_is_read_on_a_phone_and_leaves_no_empty_area(
    watch: Callable[..., Any], chromium_without_webgl: Browser, handout: Any
) -> None:
    page = watch(chromium_without_webgl, width=390, height=844, touch=True).page
    page.goto(handout.path.as_uri())
    page.wait_for_selector("html.flat.ready", state="attached")
    page.locator(f"input[name=plan][value='{PLANS.index('all-round')}']").check(force=True)
    view, still = page.locator("#view"), page.locator(".still:visible")
    # a picture of 880 px is shown as large, and drawn sideways
    assert still.bounding_box()["width"] == pytest.approx(880, abs=1)
    assert page.evaluate("() => document.documentElement.scrollWidth") == 390
    box = page.locator(".flat-still.on .scroll")
    assert "sideways" in box.evaluate("(node) => getComputedStyle(node, '::before').content")
    box.evaluate("(node) => { node.scrollLeft = 9999; }")
    assert still.bounding_box()["x"] == pytest.approx(390 - 880, abs=1)
    note = page.locator(".flat-note:visible").bounding_box()
    frame = view.bounding_box()
    assert frame["y"] + frame["height"] == pytest.approx(note["y"] + note["height"], abs=1)
    # while the cutaway is being loaded, the still fills the place that it will have
    page.evaluate("() => document.documentElement.classList.remove('flat')")
    for side in ("y", "height"):
        assert still.bounding_box()[side] == pytest.approx(view.bounding_box()[side], abs=1)


def test_without_scripts_every_plan_is_written_out(chromium: Browser, handout: Any) -> None:
    context = chromium.new_context(java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(handout.path.as_uri())
    visible = page.locator(".verdict").all_inner_texts()
    assert len(visible) == len(PLANS) * 2
    assert page.locator("table.faces").count() == len(PLANS) * 2
    context.close()
