"""The hand-out of the demo house in Chromium, opened from disk with the network off."""

from __future__ import annotations

import base64
import datetime
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from scipy.ndimage import distance_transform_edt

from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load
from envelope.rays import Sampling
from viewer.handout.build import write_handout
from viewer.scene.build import build_scene
from viewer.scene.colours import cividis
from viewer.scene.highlights import let_in_db
from viewer.scene.listing import listed_faces

DATE = datetime.date(2025, 11, 25)
QUICK = Sampling(points_per_panel=2**9, points=2**12)
WALL = "bedroom/6"  # faces the eye in the first view
PLANS = ["as-built", "walls-only", "walls-and-windows", "all-round"]


def start(page: Page, path: Path) -> None:
    page.goto(path.as_uri())
    page.wait_for_selector("html.ready", state="attached")


@pytest.fixture(scope="module")
def shared(chromium: Browser, handout: Any) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": 1280, "height": 860}, offline=True)
    page = context.new_page()
    start(page, handout.path)
    yield page
    context.close()


@pytest.fixture
def page(shared: Page) -> Page:
    """One page for many tests, put back as it opened."""
    shared.evaluate(
        """() => {
          for (const [name, value] of [["plan", "1"], ["receiver", "0"], ["mode", "let-in"]])
            document.querySelector(`input[name=${name}][value="${value}"]`).click();
          const beams = document.getElementById("beams");
          if (!beams.checked) beams.click();
          const storeys = document.getElementById("storeys");
          storeys.value = "room";
          storeys.dispatchEvent(new Event("change"));
          gapcast.view.home();
          gapcast.view.hover(null);
          if (gapcast.state.face) document.querySelector("#card .off").click();
          scrollTo(0, 0);
        }"""
    )
    settle(shared)
    return shared


def settle(page: Page) -> None:
    page.evaluate("() => new Promise((go) => requestAnimationFrame(() => setTimeout(go, 20)))")


def spot(page: Page, panel: str) -> tuple[float, float]:
    """A place in the picture where a face shows, as far from anything else as can be."""
    step = 6
    found = page.evaluate(
        """([id, step]) => {
          const box = document.querySelector("#view canvas").getBoundingClientRect();
          const rows = [];
          for (let y = 0; y < box.height; y += step) {
            rows.push([]);
            for (let x = 0; x < box.width; x += step)
              rows[rows.length - 1].push(gapcast.view.pickAt(x, y, 0) === id);
          }
          return rows;
        }""",
        [panel, step],
    )
    depth = distance_transform_edt(np.array(found))
    assert depth.max() > 1.0, f"{panel} does not show"
    row, column = np.unravel_index(int(depth.argmax()), depth.shape)
    return float(column * step), float(row * step)


def on_page(page: Page, at: tuple[float, float]) -> tuple[float, float]:
    box = page.locator("#view canvas").bounding_box()
    assert box is not None
    return box["x"] + at[0], box["y"] + at[1]


def picture(page: Page) -> np.ndarray:
    """Pixels of the cutaway alone."""
    settle(page)
    data = page.evaluate("() => gapcast.view.snapshot()")
    image = Image.open(io.BytesIO(base64.b64decode(data.split(",")[1])))
    return np.asarray(image.convert("RGB"))


def shown_verdict(page: Page) -> str:
    return page.locator(".verdicts .case.on .verdict").inner_text()


@pytest.mark.parametrize(("width", "touch"), [(1280, False), (390, True)])
def test_opens_from_disk_and_asks_for_nothing(
    watch: Callable[..., object], chromium: Browser, handout: Any, width: int, touch: bool
) -> None:
    watched = watch(chromium, width=width, height=844, touch=touch, density=3 if touch else 1)
    page = watched.page
    start(page, handout.path)
    assert watched.errors == []
    assert watched.outside() == []
    assert page.evaluate("document.documentElement.classList.contains('live-3d')")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.locator("header time").inner_text() == "25 November 2025"
    # no finer than two pixels a point, which a phone could not keep up with
    ratio = page.evaluate("(c => c.width / c.clientWidth)(document.querySelector('#view canvas'))")
    assert ratio == pytest.approx(2 if touch else 1, abs=0.01)


def test_is_small_enough_to_mail(handout: Any) -> None:
    assert handout.size == handout.path.stat().st_size
    assert 900_000 < handout.size < 2_000_000


def test_plans_change_words_numbers_and_colours(page: Page, handout: Any) -> None:
    shades = []
    page.locator("#beams").uncheck()
    for p, plan in enumerate(PLANS):
        page.locator(f"input[name=plan][value='{p}']").check(force=True)
        said = shown_verdict(page)
        assert ("Today" in said) if p == 0 else (plan in said)
        result = handout.scene.plans[p].receiver("pillow")
        assert result is not None
        leak = next(each for each in result.panels if each.panel == WALL)
        x, y = spot(page, WALL)
        drawn = picture(page)[round(y), round(x)] / 255
        place = handout.scene.let_in.position(let_in_db(leak, result=result))
        assert drawn == pytest.approx(cividis(np.array([place]))[0], abs=0.02), plan
        shades.append(drawn)
        first = page.locator(".side .case.on tr[data-face]").first.get_attribute("data-face")
        assert first == listed_faces(result)[0].panel
    assert np.abs(shades[0] - shades[1]).max() > 0.3


def test_colour_by_treatment_has_letters_and_a_legend(page: Page) -> None:
    page.locator("#beams").uncheck()
    bare = picture(page)
    page.locator("input[name=mode][value=treatment]").check(force=True)
    assert np.abs(picture(page).astype(int) - bare).max() > 60
    codes = page.locator(".gc-code:visible").all_inner_texts()
    assert codes
    assert set(codes) == {"A"}  # this plan has the coating alone
    # each stands on a face that carries it, and that nothing hides there
    under = page.evaluate(
        """() => [...document.querySelectorAll(".gc-code:not([hidden])")].map((code) => {
          const own = document.querySelector("#view").getBoundingClientRect();
          const box = code.getBoundingClientRect();
          const x = (box.left + box.right) / 2 - own.left;
          const y = (box.top + box.bottom) / 2 - own.top;
          const id = gapcast.view.pickAt(x, y, 0);
          return [id, gapcast.view.stage.get(id)?.panel.plans[1].treatments.length ?? 0];
        })"""
    )
    assert {id for id, _ in under} >= {"bedroom/3", "bedroom/5", WALL}
    assert len({id for id, _ in under}) == len(codes)
    assert all(count == 1 for _, count in under)
    assert "A coating" in page.locator(".legends .on .codes").inner_text().replace("\n", " ")
    page.locator("input[name=mode][value=loss]").check(force=True)
    assert "loss through a face" in page.locator(".legends .on").inner_text()


def test_a_transmitter_in_a_room_not_shown_has_an_open_mark(page: Page) -> None:
    filled = []
    for storeys in ("room", "all"):
        page.locator("#storeys").select_option(storeys)
        settle(page)
        filled.append(
            page.evaluate(
                """() => {
                  const { stage } = gapcast.view;
                  const { r, g, b } = stage.groups.sources.children
                    .filter((body) => body.renderOrder === 8 && body.material.uniforms.uColour)
                    .at(-1).material.uniforms.uColour.value;
                  return [r, g, b];
                }"""
            )
        )
    assert min(filled[0]) > 0.8  # paper, in a rim
    assert min(filled[1]) < 0.3  # the colour of sources


def test_beams_come_and_go(page: Page) -> None:
    with_beams = picture(page).astype(int)
    page.locator("#beams").uncheck()
    without = picture(page).astype(int)
    changed = np.abs(with_beams - without).max(axis=2) > 8
    assert 0.02 < changed.mean() < 0.6
    page.locator("#beams").check()
    assert np.array_equal(picture(page), with_beams)


def test_storeys(page: Page) -> None:
    counted = {}
    for choice in ("room", "one 1", "all", "peel 1"):
        page.locator("#storeys").select_option(choice)
        picture(page)
        counted[choice] = page.evaluate("() => gapcast.view.stats.calls")
    assert counted["room"] < counted["one 1"] < counted["peel 1"] < counted["all"]


def test_click_on_a_face_says_what_it_is_and_lets_in(page: Page) -> None:
    page.locator("#beams").uncheck()
    page.mouse.click(*on_page(page, spot(page, WALL)))
    card = page.locator("#card").inner_text()
    assert "west wall" in card
    assert "Treated with coating." in card
    assert "behind it: outdoors" in card
    assert "timber-wall" not in card  # an id of the file
    assert page.evaluate("() => gapcast.view.state.selected") == WALL
    page.locator("#card .off").click()
    assert "Point at a face" in page.locator("#card").inner_text()


def test_near_walls_and_hidden_faces_are_not_picked(page: Page) -> None:
    """A click goes through walls that are cut away, as the eye does."""
    picked = page.evaluate(
        """() => {
          const view = gapcast.view, found = [];
          const box = document.querySelector("#view canvas").getBoundingClientRect();
          for (let x = 5; x < box.width; x += 23)
            for (let y = 5; y < box.height; y += 23) found.push(view.pickAt(x, y, 0));
          return found.filter(Boolean);
        }"""
    )
    assert {"bedroom/6", "bedroom/floor"} <= set(picked)
    eye = page.evaluate("() => gapcast.view.getCamera().azimuth_rad")
    away = [np.sin(eye), np.cos(eye)]
    normals = page.evaluate(
        "() => Object.fromEntries(JSON.parse(document.getElementById('scene').textContent)"
        ".panels.map((panel) => [panel.id, [panel.kind, ...panel.normal]]))"
    )
    lofts = [name for name in picked if normals[name][0] == "ceiling"]
    assert lofts == []
    windows = [name for name in picked if normals[name][0] == "window"]
    assert all(normals[name][1] * away[0] + normals[name][2] * away[1] > 0 for name in windows)


def test_list_and_picture_are_linked_both_ways(page: Page) -> None:
    row = page.locator(".side .case.on tr[data-face='bedroom/W2']")
    row.hover()
    assert page.evaluate("() => gapcast.view.state.hovered") == "bedroom/W2"
    row.click()
    assert page.evaluate("() => gapcast.view.state.selected") == "bedroom/W2"
    assert "window W2" in page.locator("#card").inner_text()
    page.locator("#beams").uncheck()
    page.mouse.move(*on_page(page, spot(page, "bedroom/floor")))
    page.wait_for_selector(".side .case.on tr.over[data-face='bedroom/floor']")
    tip = page.locator("#view .gc-tip").inner_text()
    assert "floor" in tip
    assert "comes in here" in tip


def test_keys_turn_zoom_and_walk_through_faces(page: Page) -> None:
    page.locator("#view canvas").focus()
    before = page.evaluate("() => gapcast.view.getCamera()")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("+")
    after = page.evaluate("() => gapcast.view.getCamera()")
    assert after["azimuth_rad"] == pytest.approx(before["azimuth_rad"] + np.pi / 30, abs=1e-6)
    assert after["zoom"] == pytest.approx(1.15 * before["zoom"], rel=1e-6)
    page.keyboard.press("n")
    page.keyboard.press("Enter")
    first = page.locator(".side .case.on tr[data-face]").first
    assert page.evaluate("() => gapcast.state.face") == first.get_attribute("data-face")
    page.keyboard.press("Escape")
    assert page.evaluate("() => gapcast.state.face") is None


def test_every_control_is_reached_with_the_tab_key(page: Page) -> None:
    page.evaluate("() => { const h = document.querySelector('h1'); h.tabIndex = -1; h.focus(); }")
    reached = []
    for _ in range(14):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "() => document.activeElement.name || document.activeElement.id ||"
                " document.activeElement.className || document.activeElement.tagName"
            )
        )
    for name in ("plan", "receiver", "gc-canvas", "nearer", "mode", "beams", "storeys"):
        assert name in reached, reached
    page.locator("input[name=plan]:checked").focus()
    page.keyboard.press("ArrowDown")
    assert "walls-and-windows" in shown_verdict(page)


def test_nothing_is_drawn_while_nothing_changes(page: Page) -> None:
    page.mouse.move(2, 2)
    page.wait_for_timeout(150)
    before = page.evaluate("() => gapcast.view.stats.frames")
    page.wait_for_timeout(400)
    assert page.evaluate("() => gapcast.view.stats.frames") == before


def test_cameras_can_be_linked(page: Page) -> None:
    wanted = {"azimuth_rad": 1.0, "elevation_rad": 0.8, "zoom": 1.5, "target": [1.0, 2.0, 3.0]}
    page.evaluate("(wanted) => gapcast.view.setCamera(wanted)", wanted)
    got = page.evaluate("() => gapcast.view.getCamera()")
    for name, value in wanted.items():
        assert got[name] == pytest.approx(value, abs=1e-6), name


def test_labels_follow_when_the_picture_is_turned(page: Page) -> None:
    """They stand where a picture that is drawn once more puts them."""
    places = (
        "() => [...document.querySelectorAll('.gc-label')].filter((n) => !n.hidden).map((n) => "
        "{ const b = n.getBoundingClientRect(); return [n.textContent, b.left, b.top]; })"
    )
    for key in ("ArrowLeft", "ArrowLeft", "ArrowUp"):
        page.locator(".gc-canvas").focus()
        drawn = page.evaluate("() => gapcast.view.stats.frames")
        page.keyboard.press(key)
        page.wait_for_function("(drawn) => gapcast.view.stats.frames > drawn", arg=drawn)
        turned = page.evaluate(places)
        page.evaluate("() => gapcast.view.draw()")
        assert turned
        assert turned == page.evaluate(places)


def test_labels_lie_inside_the_picture_and_not_on_one_another(page: Page) -> None:
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('.gc-label')].filter((n) => !n.hidden).map((n) => "
        "{ const b = n.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; })"
    )
    frame = page.locator("#view").bounding_box()
    assert frame is not None
    assert len(boxes) >= 6
    for k, a in enumerate(boxes):
        assert a[0] >= frame["x"]
        assert a[2] <= frame["x"] + frame["width"]
        for b in boxes[k + 1 :]:
            assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_a_transmitter_indoors_has_its_name_and_is_explained(page: Page) -> None:
    names = page.locator(".gc-label.gc-source:visible").all_inner_texts()
    assert any(name.startswith("kitchen-router, under this floor") for name in names)
    assert any(re.fullmatch(r"street-meter, \d+\sm away", name) for name in names)
    legend = page.locator(".legends > .on")
    expect(legend).to_contain_text("transmitter, with the line of sight to it")


def test_the_mark_of_a_transmitter_is_explained_where_one_stands(page: Page) -> None:
    key = page.locator(".legends > .on .marks-key")
    expect(key).to_be_visible()
    assert page.evaluate("() => gapcast.view.marks()") is True
    # those that come as arrows alone have no mark
    page.evaluate("() => gapcast.view.setSilent(['kitchen-router'])")
    assert page.evaluate("() => gapcast.view.marks()") is False
    page.locator("#storeys").select_option("all")
    expect(key).to_be_hidden()
    page.evaluate("() => gapcast.view.setSilent([])")
    page.locator("#storeys").select_option("room")
    expect(key).to_be_visible()


@pytest.mark.parametrize("width", [1280, 390])
def test_the_first_view_tells_where_north_is(
    watch: Callable[..., object], chromium: Browser, handout: Any, width: int
) -> None:
    page = watch(chromium, width=width, height=844).page
    start(page, handout.path)
    letters = page.locator("#view .gc-compass:visible")
    expect(letters).to_have_count(4)
    assert sorted(letters.all_inner_texts()) == ["E", "N", "S", "W"]
    # on paper of its own, whatever lies behind
    for kind in ("compass", "source"):
        ground, ink = letters.page.locator(f"#view .gc-{kind}:visible").first.evaluate(
            "(n) => [getComputedStyle(n).backgroundColor, getComputedStyle(n).color]"
        )
        assert contrast(ground, ink) >= 4.5, kind


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two opaque CSS colours, WCAG 2.1 success criterion 1.4.3 (from memory)."""

    def luminance(colour: str) -> float:
        found = re.fullmatch(r"rgb\((\d+), (\d+), (\d+)\)", colour)
        assert found is not None, colour
        parts = [int(part) / 255 for part in found.groups()]
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_on_paper_the_picture_has_its_labels_and_no_buttons(
    watch: Callable[..., object], chromium: Browser, handout: Any
) -> None:
    page = watch(chromium).page
    start(page, handout.path)
    settle(page)
    x, y, width, height = page.locator("#view .gc-source:visible").first.evaluate(
        """(n) => { const a = n.getBoundingClientRect();
        const b = document.getElementById("view").getBoundingClientRect();
        return [a.left - b.left, a.top - b.top, a.width, a.height]; }"""
    )
    corner = slice(round(y + 2), round(y + height - 2)), slice(round(x + 9), round(x + width - 9))
    bare = picture(page)[corner].astype(int)
    # as browsers do it: told first, laid out for paper then
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    expect(page.locator(".print-only")).to_be_visible()
    for hidden in (".zoom", ".tools", "#view canvas"):
        expect(page.locator(hidden).first).to_be_hidden()
    data = page.locator(".print-only").get_attribute("src")
    assert data is not None
    image = Image.open(io.BytesIO(base64.b64decode(data.split(",")[1]))).convert("RGB")
    labelled = np.asarray(image)[corner].astype(int)
    # the plate is light and the name on it dark
    assert np.abs(labelled - bare).max() > 60
    assert labelled.min() < 120 < 240 < labelled.max()
    page.evaluate("() => dispatchEvent(new Event('afterprint'))")
    expect(page.locator(".print-only")).to_have_count(0)


def test_tables_fit_a_phone_with_their_words_beside_each_figure(
    watch: Callable[..., object], chromium: Browser, handout: Any
) -> None:
    page = watch(chromium, width=390, height=844).page
    start(page, handout.path)
    for box in (".case.on .scroll:has(.sources)", ".readings .scroll"):
        wide, room = page.locator(box).evaluate("(n) => [n.scrollWidth, n.clientWidth]")
        assert wide <= room
    said = page.locator(".case.on .sources tbody tr").first.inner_text()
    assert "with no house" in said
    assert "predicted" in said
    assert "likely range" in page.locator(".readings tbody tr").first.inner_text()
    # the name of a plan that needs two lines keeps clear of its dot
    left = page.evaluate(
        """() => [...document.querySelectorAll(".plan .who")].map((n) => {
          const range = document.createRange();
          range.selectNodeContents(n);
          return Math.max(...[...range.getClientRects()].map((r) => r.left)) -
            Math.min(...[...range.getClientRects()].map((r) => r.left));
        })"""
    )
    assert max(left) < 2


OUTSIDE = """
format = 1
name = "Cellar"

[construction]
exterior-wall = "timber-wall"
interior-wall = "stud-wall"
floor = "joist-floor"
roof = "ceiling-and-tiled-roof"

[[storey]]
id = "only"
floor = "0 m"

[[space]]
id = "room"
storey = "only"
size = "6 m x 4 m"
height = "2.4 m"
floor = "FLOOR"

[[obstacle]]
id = "neighbour"
origin = "-7, -16 m"
size = "20 m x 8 m"
height = "7 m"

[[receiver]]
id = "pillow"
space = "room"
at = "1.0, 2.0, 0.6 m"
"""


@pytest.mark.parametrize(("floor", "lines"), [("-1.5 m", 1), ("0 m", 0)])
def test_ground_level_and_neighbours_are_drawn(
    watch: Callable[..., object], chromium: Browser, tmp_path: Path, floor: str, lines: int
) -> None:
    path = tmp_path / "cellar.toml"
    path.write_text(OUTSIDE.replace("FLOOR", floor), encoding="utf-8")
    job = load(path)
    analysis = analyze(job=job, casts=cast_job(job, sampling=QUICK))
    scene = build_scene(job=job, results=analysis.plans)
    write_handout(path.with_suffix(".html"), scene=scene, job=job, analysis=analysis, date=DATE)
    watched = watch(chromium)
    start(watched.page, path.with_suffix(".html"))
    assert watched.errors == []
    hints = watched.page.locator("#view .gc-hint:visible")
    expect(hints.filter(has_text="neighbour")).to_have_count(1)
    expect(hints.filter(has_text="ground level")).to_have_count(lines)


def test_names_on_the_map_of_directions_are_whole_and_apart(page: Page) -> None:
    page.locator("#sky").scroll_into_view_if_needed()
    expect(page.locator("#sky .gc-name").first).to_be_visible()
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('#sky .gc-name')].map((n) => "
        "{ const b = n.getBBox(); return [b.x, b.y, b.x + b.width, b.y + b.height]; })"
    )
    assert len(boxes) >= 4
    for k, a in enumerate(boxes):
        assert min(a) >= -60
        assert max(a) <= 60
        for b in boxes[k + 1 :]:
            assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_map_of_directions_follows_and_picks(page: Page) -> None:
    page.locator("#sky").scroll_into_view_if_needed()
    names = page.locator("#sky .gc-name").all_text_contents()
    assert any(name.startswith("window W2") for name in names)
    gaps = page.locator("#sky .gc-gap-line").count()
    box = page.locator("#sky").bounding_box()
    assert box is not None
    # straight up is the ceiling
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert page.evaluate("() => gapcast.state.face") == "bedroom/ceiling"
    assert page.evaluate("() => gapcast.view.state.selected") == "bedroom/ceiling"
    page.locator("input[name=plan][value='3']").check(force=True)
    assert page.locator("#sky .gc-gap-line").count() < gaps


def test_receiver_switch_changes_everything(page: Page) -> None:
    page.locator("input[name=receiver][value='1']").check(force=True)
    assert "guest-pillow" in shown_verdict(page)
    first = page.locator(".side .case.on tr[data-face]").first.get_attribute("data-face")
    assert first is not None
    assert first.startswith("guest/")
    assert page.evaluate(
        "() => gapcast.sky.pickAt(0.5 * document.getElementById('sky')"
        ".clientWidth, 0.5 * document.getElementById('sky').clientWidth)"
    ) == ("guest/ceiling")


def test_tap_on_a_phone(watch: Callable[..., object], chromium: Browser, handout: Any) -> None:
    page = watch(chromium, width=390, height=844, touch=True, density=2).page
    start(page, handout.path)
    page.locator("#view").scroll_into_view_if_needed()
    page.touchscreen.tap(*on_page(page, spot(page, WALL)))
    page.wait_for_function("() => gapcast.state.face !== null")
    assert "comes in here" in page.locator("#view .gc-tip").inner_text()
    # one finger up and down scrolls the page instead of turning the room
    assert page.evaluate("() => document.querySelector('#view canvas').style.touchAction") == (
        "pan-y"
    )


def test_injected_script_does_not_run(page: Page) -> None:
    """What the page did not come with is refused by its policy."""
    ran = page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "globalThis.pwned = true";
          document.body.append(script);
          const image = document.createElement("div");
          image.innerHTML = "<img src=x onerror='globalThis.pwned = true'>";
          document.body.append(image);
          return new Promise((go) => setTimeout(() => go(Boolean(globalThis.pwned)), 100));
        }"""
    )
    assert ran is False
