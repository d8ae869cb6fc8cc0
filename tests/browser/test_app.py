"""The app as someone uses it: in a real Chromium, with a real file and a real server."""

from __future__ import annotations

import re
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Locator, Page, expect

from envelope.project import load

JOB = (Path(__file__).parent / "data" / "hut.toml").read_text(encoding="utf-8")
SLOW_MS = 60_000  # what is waited for in a machine that is busy with other things
Start = Callable[..., Any]


@dataclass
class Bench:
    """A page on a running app, and the file behind it."""

    page: Page
    path: Path
    context: BrowserContext
    origin: str
    addresses: list[str]

    def face(self, name: str) -> None:
        """Pick a face in the list."""
        self.page.locator(".ga-gap", has_text=name).first.click()
        expect(self.page.locator("#ga-face-title")).to_have_text(name)

    def tick(self, treatment: str) -> None:
        self.page.locator(f'.ga-worn input[value="{treatment}"]').click()

    def settled(self) -> None:
        """Wait for numbers and for their 10–90 % band, after which nothing is under way."""
        expect(self.page.locator(".ga-answer:not(.ga-old)")).to_contain_text(
            "eight times in ten", timeout=SLOW_MS
        )


@pytest.fixture(scope="module")
def app(
    chromium: Browser, started: Start, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Bench]:
    path = tmp_path_factory.mktemp("job") / "hut.toml"
    path.write_text(JOB, encoding="utf-8")
    running = started("hut.toml", folder=path.parent)
    context = chromium.new_context(viewport={"width": 1360, "height": 860})
    addresses: list[str] = []
    context.on("request", lambda request: addresses.append(request.url))
    page = context.new_page()
    page.goto(running.address)
    yield Bench(page=page, path=path, context=context, origin=running.origin, addresses=addresses)
    context.close()


@pytest.fixture
def bench(app: Bench) -> Iterator[Bench]:
    """The app with nothing changed; what a test has changed is undone and saved after it."""
    app.settled()
    yield app
    app.settled()
    undo = app.page.get_by_role("button", name="Undo")
    app.page.wait_for_function("!document.querySelector('dialog[open]')")
    while undo.is_enabled():
        told = undo.get_attribute("title")
        undo.click()
        expect(undo).not_to_have_attribute("title", told or "")
    if app.page.get_by_role("button", name="Save").is_enabled():
        app.page.get_by_role("button", name="Save").click()
    expect(app.page.locator(".ga-file")).to_contain_text("· saved")
    assert app.path.read_text(encoding="utf-8") == JOB


def level(page: Page) -> float:
    """Level at the receiver, as the page says it. [µW/m²]"""
    said = page.locator(".ga-answer .ga-big").inner_text()
    assert said.endswith("\u00a0µW/m²")
    return float(said.removesuffix("µW/m²").replace("\u00a0", ""))


def until_it_differs(drawn: Locator, before: bytes) -> None:
    """Wait for a picture that is not the one before."""
    end = time.monotonic() + SLOW_MS / 1e3
    while drawn.screenshot() == before:
        assert time.monotonic() < end, "the picture stays as it was"
        drawn.page.wait_for_timeout(100)


def test_a_treatment_changes_numbers_and_file_and_can_be_undone(bench: Bench) -> None:
    page = bench.page
    before = level(page)
    row = page.locator(".ga-gap", has_text="window W1")
    expect(row).to_contain_text("gap")
    bench.face("window W1")
    expect(page.locator(".ga-face")).to_contain_text("1.92 m²")
    expect(page.locator(".ga-face")).to_contain_text("the outdoors")
    bench.tick("film")
    expect(page.locator(".ga-file")).to_contain_text("not saved")
    expect(row).not_to_contain_text("gap")
    assert level(page) < before / 20
    assert bench.path.read_text(encoding="utf-8") == JOB
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    text = bench.path.read_text(encoding="utf-8")
    assert load(bench.path).plan("walls").treatments["hut/W1"] == ("film",)
    for comment in ("# kept", "# two words on it", "# measured twice", "# all four"):
        assert comment in text
    page.keyboard.press("Control+z")
    expect(row).to_contain_text("gap")
    assert level(page) == before
    page.get_by_role("button", name="Redo").click()
    expect(row).not_to_contain_text("gap")


def test_a_click_on_the_picture_picks_a_face(bench: Bench) -> None:
    page = bench.page
    box = page.locator(".gc-canvas").bounding_box()
    assert box is not None
    title = page.locator("#ga-face-title")
    found = set()
    for x in (0.3, 0.45, 0.6, 0.7):
        for y in (0.35, 0.5, 0.65):
            page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
            if title.is_visible():
                found.add(title.inner_text())
                # the row of the face that was picked is marked, too
                pressed = page.locator('.ga-gap[aria-pressed="true"]')
                assert pressed.count() == 0 or title.inner_text() in pressed.inner_text()
    names = {"south wall", "east wall", "north wall", "west wall"}
    assert len(found & (names | {"floor", "window W1"})) >= 3
    page.mouse.click(box["x"] + 4, box["y"] + 4)
    expect(title).to_be_hidden()


def test_the_picture_takes_the_colours_of_the_change(bench: Bench) -> None:
    page = bench.page
    bench.face("window W1")
    page.get_by_label("treatment", exact=True).check()
    before = page.locator(".gc-canvas").screenshot()
    bench.tick("film")
    expect(page.locator(".ga-legend")).to_contain_text("film")
    until_it_differs(page.locator(".gc-canvas"), before)
    page.get_by_label("what gets in").check()


def test_plans_stand_side_by_side_and_turn_together(bench: Bench) -> None:
    page = bench.page
    page.get_by_label("Show today beside").check()
    expect(page.locator(".gc-canvas")).to_have_count(2)
    expect(page.locator("figcaption").nth(1)).to_contain_text("today")
    other = page.locator(".gc-canvas").nth(1)
    before = other.screenshot()
    page.locator(".gc-canvas").first.focus()
    for _ in range(6):
        page.keyboard.press("ArrowLeft")
    until_it_differs(other, before)
    page.keyboard.press("0")
    page.get_by_label("Show today beside").uncheck()
    expect(page.locator(".gc-canvas")).to_have_count(1)


def test_pictures_in_one_row_begin_at_one_height_and_use_the_place(bench: Bench) -> None:
    page = bench.page
    page.get_by_role("button", name="New plan from this one").click()
    pressed = page.locator('.ga-plan-pick[aria-pressed="true"] strong')
    expect(pressed).to_have_text(re.compile(r"walls-\d"))
    for name in ("today", "walls"):
        page.get_by_label(f"Show {name} beside", exact=True).check()
    rooms = page.locator(".ga-room")
    expect(rooms).to_have_count(3)
    expect(page.locator(".gc-canvas")).to_have_count(3)
    boxes = rooms.evaluate_all(
        "(nodes) => nodes.map((n) => { const b = n.getBoundingClientRect();"
        " return [b.left, b.top, b.width, b.height]; })"
    )
    rows: dict[float, list[list[float]]] = {}
    for box in boxes:
        rows.setdefault(box[1], []).append(box)
    assert len(rows) == 2  # three columns would leave each picture narrow and tall
    assert len({round(box[3]) for box in boxes}) == 1
    assert all(box[2] > box[3] for box in boxes)
    for name in ("today", "walls"):
        page.get_by_label(f"Show {name} beside", exact=True).uncheck()
    expect(rooms).to_have_count(1)


def test_a_source_that_gets_worse_is_said_though_the_sum_is_better(
    chromium: Browser, started: Start, tmp_path: Path
) -> None:
    router = """
[[source]]
id = "router"
space = "hut"
at = "2.6, 0.4, 0.4 m"
band = "2.4-2.48 GHz"
eirp = "-30 dBm"
"""
    path = tmp_path / "hut.toml"
    path.write_text(JOB.replace('"hut/walls"', '"hut/*"') + router, encoding="utf-8")
    app = started("hut.toml", folder=tmp_path)
    context = chromium.new_context(viewport={"width": 1360, "height": 860})
    page = context.new_page()
    page.goto(app.address)
    answer = page.locator(".ga-answer")
    said = re.compile("For router it is worse than today: .+\\sdB more reaches pillow")
    expect(answer).to_contain_text(said, timeout=SLOW_MS)
    expect(answer).not_to_contain_text("(▲ worse than today)")
    router_box = page.locator(".ga-sources li", has_text="router").locator("input")
    router_box.uncheck()
    expect(answer).not_to_contain_text("For router", timeout=SLOW_MS)
    router_box.check()
    page.locator(".ga-plan-pick", has=page.get_by_text("today", exact=True)).click()
    expect(answer).not_to_contain_text("worse", timeout=SLOW_MS)
    context.close()


def test_a_new_plan_is_shown_and_as_built_stays_bare(bench: Bench) -> None:
    page = bench.page
    page.locator(".ga-plan-pick", has=page.get_by_text("today", exact=True)).click()
    bench.face("window W1")
    assert page.locator(".ga-worn input").first.is_disabled()
    page.get_by_role("button", name="New plan from this one").click()
    picked = page.locator('.ga-plan-pick[aria-pressed="true"]')
    expect(picked).to_contain_text("plan-1")
    expect(page.locator('.ga-worn input[value="film"]')).to_be_visible()
    page.get_by_text("Put on other kinds of face so far (1)").click()  # the coat, on walls
    bench.tick("coat")
    expect(page.locator(".ga-gap", has_text="window W1")).not_to_contain_text("gap")
    page.locator(".ga-plan-pick", has_text="walls").click()
    expect(page.locator(".ga-gap", has_text="window W1")).to_contain_text("gap")


def test_one_treatment_on_every_wall(bench: Bench) -> None:
    page = bench.page
    bench.face("north wall")
    page.get_by_label("Put it on").select_option("kind")
    bench.tick("film")
    expect(page.locator(".ga-face")).to_contain_text("From the surface inward: coat, then film.")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    worn = load(bench.path).plan("walls").treatments
    assert [worn[f"hut/{k}"] for k in (1, 2, 3, 4)] == [("coat", "film")] * 4


def test_sources_go_off_and_on(bench: Bench) -> None:
    page = bench.page
    before = level(page)
    said = page.locator(".ga-answer .ga-big").inner_text()
    page.locator(".ga-sources input").first.uncheck()
    expect(page.locator(".ga-answer .ga-big")).not_to_have_text(said)
    assert level(page) < 0.5 * before
    page.locator(".ga-sources input").first.check()
    bench.settled()
    assert level(page) == before


def test_the_pillow_is_typed_and_dragged(bench: Bench) -> None:
    page = bench.page
    before = page.locator(".ga-answer").inner_text()
    page.get_by_label("from the west side").fill("2 ft 6 in")
    page.get_by_role("button", name="Put it there").click()
    expect(page.locator(".ga-answer")).not_to_have_text(before, timeout=SLOW_MS)
    bench.settled()
    mark = page.locator(".ga-plan-mark")
    box = mark.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 40, box["y"] + box["height"] / 2, steps=4)
    page.mouse.up()
    expect(page.get_by_role("button", name="Undo")).to_have_attribute(
        "title", re.compile("undo: move pillow to 1")
    )
    expect(page.get_by_label("from the west side")).not_to_have_value("0.762 m")
    bench.settled()
    page.get_by_label("from the west side").fill("9 m")
    page.get_by_role("button", name="Put it there").click()
    expect(page.locator("#ga-place-trouble")).to_contain_text("outside")


IN_FEET = (
    JOB.replace('"3 m x 2.4 m"', '"10 ft x 8 ft"')
    .replace('"2.2 m"', '"7 ft 2 1/2 in"')
    .replace('"0.6 m"', '"2 ft"')
    .replace('"0.7 m"', '"2 ft 3 in"')
    .replace('"1.6 m x 1.2 m"', '"5 ft x 4 ft"')
    .replace('"1.4, 1.2, 0.6 m"', '"4 ft 7 1/2 in, 4 ft, 2 ft"')
    + """
[[source]]
id = "router"
space = "hut"
at = "9 ft, 1 ft, 1 ft"
band = "2.4-2.48 GHz"
eirp = "20 dBm"
"""
)


def test_a_job_in_feet_is_shown_in_feet(chromium: Browser, started: Start, tmp_path: Path) -> None:
    path = tmp_path / "hut.toml"
    path.write_text(IN_FEET, encoding="utf-8")
    app = started("hut.toml", folder=tmp_path)
    context = chromium.new_context(viewport={"width": 1360, "height": 860})
    page = context.new_page()
    page.goto(app.address)
    west = page.get_by_label("from the west side")
    expect(west).to_have_value("4 ft 7 1/2 in", timeout=SLOW_MS)
    expect(page.get_by_label("above the floor")).to_have_value("2 ft")
    gap = page.locator(".ga-gap", has_text="window W1").first
    expect(gap).to_be_visible(timeout=SLOW_MS)
    gap.click()
    expect(page.locator(".ga-facts").first).to_contain_text("20.0 ft²")
    # a transmitter in the room stands in the picture, the key and the table
    named = page.locator(".gc-label.gc-source", has_text="router in hut")
    expect(named).to_be_visible(timeout=SLOW_MS)
    expect(page.locator(".ga-legend")).to_contain_text("line of sight")
    row = page.locator(".ga-table tbody tr", has_text="router")
    expect(row).to_contain_text(re.compile(r"dB (above|below)|the same"))
    expect(row).not_to_contain_text("-")
    # what is typed in either measure is taken, and shown in the job's
    west.fill("1.2192 m")
    page.get_by_role("button", name="Put it there").click()
    expect(west).to_have_value("4 ft", timeout=SLOW_MS)
    undo = page.get_by_role("button", name="Undo")
    expect(undo).to_have_attribute("title", "undo: move pillow to 4 ft, 4 ft, 2 ft")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    context.close()


def test_data_used_beyond_their_range_are_said(
    chromium: Browser, started: Start, tmp_path: Path
) -> None:
    told = 'loss = { "900 MHz" = "1 dB", "2 GHz" = "1 dB" }'  # the cell sends above 3 GHz
    text = JOB.replace('id = "pane"\nloss = "1 dB"', f'id = "pane"\n{told}')
    assert told in text
    path = tmp_path / "hut.toml"
    path.write_text(text, encoding="utf-8")
    app = started("hut.toml", folder=tmp_path)
    context = chromium.new_context(viewport={"width": 1360, "height": 860})
    page = context.new_page()
    page.goto(app.address)
    said = page.locator(".ga-right .ga-note", has_text="beyond the range of their source")
    expect(said).to_contain_text("assembly pane", timeout=SLOW_MS)
    context.close()


def test_the_sky_shows_what_the_pillow_sees(bench: Bench) -> None:
    page = bench.page
    page.locator(".ga-skypart summary").click()
    expect(page.locator(".gc-sky svg")).to_contain_text("mast", timeout=SLOW_MS)
    page.locator(".ga-skypart summary").click()


def test_two_tabs_show_one_job(bench: Bench) -> None:
    other = bench.context.new_page()
    other.goto(bench.origin)
    expect(other.locator(".ga-gap").first).to_be_visible(timeout=SLOW_MS)
    bench.face("window W1")
    bench.tick("film")
    expect(other.locator(".ga-gap", has_text="window W1")).not_to_contain_text("gap")
    expect(other.locator(".ga-file")).to_contain_text("not saved")
    other.get_by_role("button", name="Undo").click()
    expect(bench.page.locator(".ga-gap", has_text="window W1")).to_contain_text("gap")
    # buttons and list come with different messages: the test ends when both have come
    expect(bench.page.get_by_role("button", name="Undo")).to_be_disabled()
    other.close()


def test_a_file_that_changed_or_vanished_is_told(bench: Bench) -> None:
    page = bench.page
    bench.face("window W1")
    bench.tick("film")
    expect(page.locator(".ga-file")).to_contain_text("not saved")
    bench.path.write_text(JOB + "# someone else\n", encoding="utf-8")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("dialog")).to_contain_text("changed on disk")
    page.get_by_role("button", name="Leave it for now").click()
    assert "someone else" in bench.path.read_text(encoding="utf-8")
    bench.path.unlink()
    expect(page.locator(".ga-notice")).to_contain_text("deleted", timeout=SLOW_MS)
    page.get_by_role("button", name="Write it again").click()
    expect(page.locator(".ga-file")).to_contain_text("· saved")
    assert load(bench.path).plan("walls").treatments["hut/W1"] == ("film",)


def test_names_from_the_file_do_not_run(bench: Bench) -> None:
    expect(bench.page.locator("h1")).to_contain_text("Hut <script>")
    assert "hut.toml" in bench.page.title()


def test_nothing_is_loaded_from_elsewhere(bench: Bench) -> None:
    sent = [address for address in bench.addresses if not address.startswith(("data:", "blob:"))]
    assert sent
    assert {re.split(r"[/?#]", address.split("://")[1])[0] for address in sent} == {
        bench.origin.removeprefix("http://")
    }


def test_without_the_key_there_is_nothing(bench: Bench, chromium: Browser) -> None:
    for path in ("/", "/own/page.js", "/_nicegui_ws/socket.io/?EIO=4&transport=polling"):
        with pytest.raises(urllib.error.HTTPError) as caught:
            urllib.request.urlopen(bench.origin + path, timeout=10)
        assert caught.value.code == 403
        assert caught.value.read() == b""
        caught.value.close()
    with chromium.new_context() as context:
        stranger = context.new_page()
        with pytest.raises(Error, match="ERR_HTTP_RESPONSE_CODE_FAILURE"):
            stranger.goto(bench.origin)


def test_every_control_has_a_name_and_the_keyboard_reaches_it(bench: Bench) -> None:
    page = bench.page
    bench.face("window W1")
    nameless = page.evaluate(
        """() => [...document.querySelectorAll('.ga button, .ga input, .ga select, .ga summary')]
        .filter(node => node.offsetParent !== null)
        .filter(node => !(node.textContent.trim() || node.getAttribute('aria-label')
                          || (node.labels && node.labels.length)))
        .map(node => node.outerHTML)"""
    )
    assert nameless == []
    page.locator("h1").click()
    reached = set()
    for _ in range(90):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.getAttribute('class') ?? ''"))
    assert {"gc-canvas", "ga-plan-pick", "ga-gap", "ga-plan-mark"} <= reached
