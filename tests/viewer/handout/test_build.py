"""The hand-out's page as text, its sentences, and the scripts that go into it."""

from __future__ import annotations

import base64
import dataclasses
import datetime
import hashlib
import io
import json
import math
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from envelope.building.job import Job, Reading
from envelope.errors import EnvelopeError
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.differences import Difference
from envelope.exposure.results import Entry, PlanResult
from envelope.text import level as written
from envelope.text.names import panel_title
from viewer.handout import words
from viewer.handout.build import handout_html, write_handout
from viewer.scene.build import build_scene
from viewer.scene.records import Scene
from viewer.web import bundle as engines
from viewer.web.bundle import check_engine, check_inline, engine, own_module, own_text

DATE = datetime.date(2025, 3, 1)


@pytest.fixture(scope="session")
def analysis(house_results: tuple[PlanResult, ...]) -> Analysis:
    return Analysis(
        project="house",
        threshold_db=20.0,
        plans=house_results,
        notes=("grade is <assumed>",),
        extrapolated=("brick & co",),
    )


@pytest.fixture(scope="session")
def page(house_scene: Scene, house_job: Job, analysis: Analysis) -> str:
    return handout_html(scene=house_scene, job=house_job, analysis=analysis, date=DATE)


class Outline(HTMLParser):
    """Tags with their attributes, and the text of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inline: list[tuple[dict[str, str | None], str]] = []
        self._open: dict[str, str | None] | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._open = {"": tag, **dict(attrs)} if tag in ("script", "style") else None

    def handle_data(self, data: str) -> None:
        if self._open is not None:
            self.inline.append((self._open, data))

    def handle_endtag(self, tag: str) -> None:
        self._open = None


# -- one file that asks for nothing --------------------------------------------------------------


def test_loads_nothing_from_anywhere(page: str) -> None:
    for tag, attributes in Outline(page).tags:
        for name in ("src", "href", "srcset", "action", "data", "poster"):
            value = attributes.get(name)
            assert value is None or value.startswith("data:"), (tag, name)
        assert tag not in ("link", "iframe", "object", "embed", "form", "base")
        assert not [name for name in attributes if name.startswith("on")]
        assert "style" not in attributes  # the policy would refuse it


def test_policy_allows_what_stands_in_the_page_and_nothing_else(page: str) -> None:
    outline = Outline(page)
    (policy,) = [
        attributes["content"]
        for tag, attributes in outline.tags
        if attributes.get("http-equiv") == "Content-Security-Policy"
    ]
    assert policy is not None
    rules = {rule.split()[0]: rule.split()[1:] for rule in policy.split("; ")}
    assert rules["default-src"] == ["'none'"]
    assert rules["base-uri"] == rules["form-action"] == ["'none'"]
    runs = [
        text
        for attributes, text in outline.inline
        if attributes[""] == "script" and attributes.get("type") in (None, "module")
    ]
    assert len(runs) == 2
    hashes = {
        "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"
        for text in runs
    }
    assert set(rules["script-src"]) == hashes | {"blob:"}
    (style,) = [text for attributes, text in outline.inline if attributes[""] == "style"]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert rules["style-src"] == [f"'sha256-{digest}'"]
    assert rules["img-src"] == ["data:", "blob:"]
    assert page.index("Content-Security-Policy") < page.index("<style")


def test_scene_in_the_page_can_be_read(page: str, house_scene: Scene) -> None:
    found = {
        attributes["id"]: text
        for attributes, text in Outline(page).inline
        if attributes.get("type") == "application/json"
    }
    assert json.loads(found["scene"])["name"] == house_scene.name
    assert json.loads(found["skies"]) == []


def test_has_date_cautions_licences_and_notes(page: str) -> None:
    assert "1 March 2025" in page
    assert 'datetime="2025-03-01"' in page
    assert "licensed electrician" in page
    assert "emergency number" in page
    assert "Keep escape windows" in page
    assert page.count("THE SOFTWARE IS PROVIDED") == 3
    assert "a meter decides" in page
    assert "grade is" not in page  # a note for the planner
    assert "brick &amp; co" in page


def test_is_written_whole(
    house_scene: Scene, house_job: Job, analysis: Analysis, page: str, tmp_path: Path
) -> None:
    path = tmp_path / "out.html"
    size = write_handout(path, scene=house_scene, job=house_job, analysis=analysis, date=DATE)
    assert path.read_text("utf-8") == page
    assert size == path.stat().st_size < 2_000_000
    assert [each.name for each in tmp_path.iterdir()] == ["out.html"]


def test_pictures_go_in_and_get_smaller(
    house_scene: Scene, house_job: Job, analysis: Analysis
) -> None:
    drawn = {}
    for plan, width in (("as-built", 300), ("walls-only", 320)):
        noise = io.BytesIO()
        Image.effect_noise((width, 200), 60).convert("RGB").save(noise, "PNG")
        drawn[plan] = noise.getvalue()
    page = handout_html(
        scene=house_scene, job=house_job, analysis=analysis, date=DATE, pictures=drawn
    )
    shown = re.findall(
        r'flat-still( on)?" data-plan="(\d)">'
        r'<div class="scroll"[^>]*><img class="still" alt="([^"]+)" '
        r'src="data:image/(\w+);base64,([^"]+)"></div>'
        r'<p class="flat-note">([^.]+)\. The picture: (.+?), [\d.]+\xa0µW/m² at ',
        page,
    )
    assert [each[1] for each in shown] == ["0", "1"]
    assert ["today" in each[2] for each in shown] == [True, False]
    for (*_, kind, data, said, title), (plan, png) in zip(shown, drawn.items(), strict=True):
        content = base64.b64decode(data)
        assert kind == "jpeg"
        assert len(content) < len(png)
        assert Image.open(io.BytesIO(content)).size == Image.open(io.BytesIO(png)).size
        assert said == "This browser shows no 3D"
        assert title == f"<bdi>{'today' if plan == 'as-built' else plan}</bdi>"


def test_a_plan_without_a_picture_says_so(page: str) -> None:
    assert '<img class="still"' not in page
    assert "no picture of <bdi>today</bdi> was drawn" in page


def test_refuses_what_it_cannot_hand_out(
    house_scene: Scene, house_job: Job, analysis: Analysis
) -> None:
    given = {"job": house_job, "analysis": analysis, "date": DATE}
    with pytest.raises(EnvelopeError, match="not a PNG"):
        handout_html(scene=house_scene, pictures={"as-built": b"GIF89a"}, **given)
    with pytest.raises(EnvelopeError, match="picture is of plan 'nope', which is not shown"):
        handout_html(scene=house_scene, pictures={"nope": b""}, **given)
    with pytest.raises(EnvelopeError, match="no plan 'nope'; allowed: as-built, walls-only"):
        handout_html(scene=house_scene, plan="nope", **given)
    with pytest.raises(EnvelopeError, match="nothing to hand out"):
        handout_html(scene=build_scene(job=house_job), **given)


def test_names_are_escaped(house_job: Job, analysis: Analysis) -> None:
    evil = "<img src=x onerror=alert(1)>'\""
    job = dataclasses.replace(house_job, name=evil + "\u202e")
    scene = build_scene(job=job, results=analysis.plans)
    page = handout_html(scene=scene, job=job, analysis=analysis, date=DATE)
    outline = Outline(page)
    assert not [tag for tag, _ in outline.tags if tag == "img"]
    assert "<img src=x" not in page
    assert "\u202e" not in page.split('<script type="application/json"')[0]


# -- what it says --------------------------------------------------------------------------------


def told(below_db: float, low_db: float | None = None, high_db: float | None = None) -> Difference:
    low, high = (below_db if end is None else end for end in (low_db, high_db))
    return Difference(below_db=below_db, low_db=low, high_db=high, odds=0.5)


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (told(-1.76), "<strong class='worse'>worse than today</strong>, 50\u00a0% more."),
        (told(-6.02), "<strong class='worse'>worse than today</strong>, 4\u00a0times as much."),
        (told(0.1), "<b>no difference from today that can be told</b>."),
        (told(3.0, -1.0, 5.0), "<b>no difference from today that can be told</b>."),
        (told(1.55), "<b>30\u00a0% less</b> than today."),
        (told(17.0), "<b>50\u00a0times less</b> than today."),
        (told(math.inf), "<b>nothing is left</b>."),
    ],
)
def test_says_plainly_what_a_plan_does(
    house_results: tuple[PlanResult, ...], found: Difference, said: str
) -> None:
    result = house_results[1].receivers[0]
    sentence = words.verdict(title="walls-only", result=result, found=found)
    # the level of the fixture: 300 of 850 µW/m²
    assert sentence.startswith(
        "With <i><bdi>walls-only</bdi></i>, <b>300\u00a0µW/m²</b> reach <bdi>bed</bdi>: "
    )
    assert said in sentence


def test_today_is_said_with_what_would_come_without_a_house(
    house_results: tuple[PlanResult, ...],
) -> None:
    assert words.verdict_today(house_results[0].receivers[0]) == (
        "Today, <b>300\u00a0µW/m²</b> reach <bdi>bed</bdi>: "
        "35\u00a0% of what would arrive with no house at all."
    )


def test_a_face_is_named_only_where_over_half_comes_in_by_it(
    house_scene: Scene, house_results: tuple[PlanResult, ...]
) -> None:
    """Direct and diffuse: a beam may aim at a face that lets in little of what there is."""
    (first, *_) = house_results[0].receivers
    strongest = max(first.sources, key=lambda each: each.level_w_m2)
    panels = [panel.id for panel in house_scene.panels if panel.space == first.space][:2]

    def said(*shares: float) -> str:
        entries = tuple(
            Entry(panel=panel, share=share)
            for panel, share in zip(panels[: len(shares)], shares, strict=True)
        )
        changed = dataclasses.replace(strongest, entries=entries)
        result = dataclasses.replace(
            first,
            sources=tuple(changed if each is strongest else each for each in first.sources),
        )
        return str(words.main_source(house_scene, result))

    assert "mostly through the" in said(0.6, 0.4)
    assert said(0.3, 0.25).endswith(", through several faces.")
    assert "through" not in said()


def test_a_source_that_is_off_is_said_to_send_nothing(
    house_results: tuple[PlanResult, ...],
) -> None:
    source = house_results[0].receivers[0].sources[0]
    assert words.source_outside(source) == written(source.outside_w_m2)
    off = dataclasses.replace(source, outside_w_m2=0.0, low_w_m2=0.0, high_w_m2=0.0)
    assert words.source_outside(off) == "sends nothing"
    assert words.source_range(off) == ""


def test_a_plan_has_one_number_in_sentence_list_table_and_picture(
    house_scene: Scene, house_job: Job, analysis: Analysis
) -> None:
    noise = io.BytesIO()
    Image.new("RGB", (20, 20)).save(noise, "PNG")
    page = handout_html(
        scene=house_scene,
        job=house_job,
        analysis=analysis,
        date=DATE,
        pictures={"walls-only": noise.getvalue()},
        plan="walls-only",
    )
    body = page.split('<script type="application/json"')[0]
    for pattern in (
        r"With <i><bdi>walls-only</bdi></i>, <b>([^<]+)</b> reach",
        r'<bdi class="who">walls-only</bdi>.*?<span class="many">([^<]+)</span>',
        r"The picture: <bdi>walls-only</bdi>, ([^<]+) at <bdi>",
        r"<td><bdi>walls-only</bdi></td><td><span[^>]*>predicted </span>([^<]+)</td>",
    ):
        match = re.search(pattern, body, re.DOTALL)
        assert match is not None, pattern
        assert match[1] == "300\u00a0µW/m²", pattern


def test_a_client_meets_no_word_of_the_trade(page: str) -> None:
    body = page.split('<script type="application/json"')[0].split("<body>")[1]
    seen = re.sub(r"<[^>]+>", " ", body.split("<footer>")[0])
    for word in (r"\bsr\b", "jamb", "steradian", "not below", "as-built", r"bedroom/", "isotropic"):
        assert not re.search(word, seen), word


def test_there_is_room_for_the_reading_after_the_work(page: str) -> None:
    rows = re.findall(r"<tr><th scope=\"row\"><bdi>bed</bdi></th>(.*?)</tr>", page, re.DOTALL)
    assert len(rows) == 3  # today and the two plans
    assert all(row.count('class="blank"') == 2 for row in rows)


@pytest.mark.parametrize(
    ("high_w_m2", "low_w_m2", "said"),
    [
        (6.8e-4, 8.5e-5, "between 85.0 and 680\u00a0µW/m²."),
        (
            *(17e-4, 8.5e-5),
            "between 85.0 and 1\u00a0700\u00a0µW/m², "
            "which at worst is more than with no house at all.",
        ),
    ],
)
def test_margin_of_the_estimate(
    house_results: tuple[PlanResult, ...], high_w_m2: float, low_w_m2: float, said: str
) -> None:
    plain = house_results[0].receivers[0]
    result = dataclasses.replace(plain, low_w_m2=low_w_m2, high_w_m2=high_w_m2)
    assert words.uncertainty(result, None) == f"Eight times in ten the truth lies {said}"
    assert words.uncertainty(plain, None) == ""
    change = words.uncertainty(result, told(17.0, 10.0, 20.0))
    assert change.endswith("and the change between 10\u00a0times less and 100\u00a0times less.")


def test_bars_are_drawn_to_scale_with_their_range(house_scene: Scene, house_job: Job) -> None:
    results = []
    for plan, factor in zip(house_scene.plans, (1.0, 0.5, 0.01), strict=True):
        assert plan.result is not None
        (found,) = plan.result.receivers
        level = found.level_w_m2 * factor
        source = dataclasses.replace(found.sources[0], level_w_m2=level)
        found = dataclasses.replace(
            found, sources=(source,), low_w_m2=0.5 * level, high_w_m2=2.0 * level
        )
        results.append(dataclasses.replace(plan.result, receivers=(found,)))
    page = handout_html(
        scene=build_scene(job=house_job, results=results),
        job=house_job,
        analysis=Analysis(project="", threshold_db=20.0, plans=tuple(results)),
        date=DATE,
    )
    # 300 µW/m² of a scale that ends at 600, as the highest range does
    assert re.findall(r'class="level" x="0" y="3.4" width="([\d.]+)"', page) == [
        "50.00",
        "25.00",
        "0.50",
    ]
    assert re.findall(r'class="whisker" d="M([\d.]+) 5H([\d.]+)M', page) == [
        ("25.00", "100.00"),
        ("12.50", "50.00"),
        ("0.25", "1.00"),
    ]
    assert "<span>0</span><span>600\u00a0µW/m²</span>" in page


@pytest.mark.parametrize(
    ("level", "said"),
    [
        (8.5e-4, "850\u00a0µW/m²"),
        (1.2346e-3, "1\u00a0235\u00a0µW/m²"),
        (3.14159e-6, "3.14\u00a0µW/m²"),
        (1e-10, "<\u00a00.001\u00a0µW/m²"),
        (0.0, "0\u00a0µW/m²"),
    ],
)
def test_levels_in_words(level: float, said: str) -> None:
    assert written(level) == said


@pytest.mark.parametrize(
    ("panel", "kind", "aliases", "said"),
    [
        ("a/1", "wall", ("a/south",), "south wall"),
        ("a/2", "wall", (), "wall 2"),
        ("a/ceiling-2", "ceiling", (), "ceiling 2"),
        ("a/D1", "door", (), "door D1"),
        ("a/C1", "open", (), "bare opening C1"),
        ("a/W1/sill", "reveal", (), "sill of W1"),
        ("a/B1/ring", "seam", (), "ring around B1"),
    ],
)
def test_names_of_faces(panel: str, kind: str, aliases: tuple[str, ...], said: str) -> None:
    assert panel_title(panel=panel, space="a", kind=kind, aliases=aliases) == said


# -- scripts and styles --------------------------------------------------------------------------


def test_engine_of_the_wheel_can_be_inlined() -> None:
    found = engine()
    assert 500_000 < len(found.script) < 1_500_000
    assert found.version.startswith("3.")
    assert [title for title, _ in found.licences][:2] == ["three.js", "tween.js"]
    assert all("MIT" in text for _, text in found.licences)


@pytest.mark.parametrize(
    ("script", "message"),
    [
        ("var A;export{A as THREE};", "does not export OrbitControls"),
        ("var A;export{A as THREE_X,A as OrbitControls};", "does not export THREE"),
        ("export default 1", "does not export THREE and OrbitControls"),
        (
            "import x from './y.js';var A;export{A as THREE,A as OrbitControls};",
            "imports other files",
        ),
        ("'</SCRIPT>';var A;export{A as THREE,A as OrbitControls};", "cannot be put into a page"),
        ("'<!--';var A;export{A as THREE,A as OrbitControls};", "cannot be put into a page"),
    ],
)
def test_engine_that_would_not_do_is_refused(script: str, message: str) -> None:
    with pytest.raises(EnvelopeError, match=message):
        check_engine(script, origin="a wheel")


def test_engine_that_would_do_is_taken() -> None:
    check_engine("var A=1;export{A as OrbitControls,A as THREE};", origin="a wheel")


def test_modules_are_joined_into_one_that_imports_nothing() -> None:
    joined = own_module("cutaway.js")
    assert not re.search(r"^\s*import\b", joined, re.MULTILINE)
    assert joined.count("const { mount } = ") == 1
    assert joined.rstrip().endswith("export { mount };")
    # what is used stands before what uses it
    last = joined.index("const { mount }")
    assert all(joined.index(f"const {{ {name}") < last for name in ("TAU", "labelsIn"))


def test_two_modules_may_not_export_one_name(monkeypatch: pytest.MonkeyPatch) -> None:
    texts = {
        "a.js": 'import { one } from "./b.js";\nexport function one() {}\n',
        "b.js": "export function one() {}\n",
    }
    monkeypatch.setattr(engines, "own_text", lambda name: texts[name])
    with pytest.raises(EnvelopeError, match=r"a\.js and b\.js both export 'one'"):
        own_module("a.js")


def test_own_texts_can_stand_in_a_page() -> None:
    for name in ("cutaway.css", "handout.css"):
        check_inline(own_text(name), what=name)
        assert "url(" not in own_text(name)
        assert "@import" not in own_text(name)


def luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    """Contrast ratio of WCAG 2.1, success criterion 1.4.3 (formula from memory)."""
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.fixture(scope="session")
def colour_named() -> Callable[[str], str]:
    root = re.search(r":root \{([^}]*)\}", own_text("handout.css"))
    assert root is not None
    named = dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6})", root.group(1)))
    return lambda name: named[name]


@pytest.mark.parametrize("ground", ["--gc-paper", "--sheet", "--gc-label"])
@pytest.mark.parametrize("ink", ["--gc-ink", "--gc-muted", "--gc-source", "--alarm"])
def test_words_stand_out_from_the_paper(
    colour_named: Callable[[str], str], ink: str, ground: str
) -> None:
    assert contrast(colour_named(ink), colour_named(ground)) >= 4.5


def test_contrast_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_areas_in_the_measure_of_the_job(house_scene: Scene) -> None:
    plan = dataclasses.replace(house_scene.plans[1], treated_area_m2={"coating": 31.64})
    assert words.added(plan, feet=False) == "The plan adds <bdi>coating</bdi> 31.64\u00a0m²."
    assert words.added(plan, feet=True) == "The plan adds <bdi>coating</bdi> 340.6\u00a0ft²."


def test_readings_stand_beside_what_was_predicted_and_the_rest_is_left_blank(
    house_scene: Scene, house_job: Job, analysis: Analysis, page: str
) -> None:
    """What was read after the work fills its cell; the others wait for a pen."""
    bed = house_job.receivers[0]
    after = Reading(
        id="after", sources=tuple(each.id for each in house_job.sources), space=bed.space,
        position_m=bed.position_m, receiver=bed.id, level_w_m2=38e-6, plan=house_job.plans[-1],
    )  # fmt: skip
    job = dataclasses.replace(house_job, readings=(after,))
    read = handout_html(scene=house_scene, job=job, analysis=analysis, date=DATE, promised=analysis)
    blank = '<td class="blank"></td>'
    assert page.count(blank) - read.count(blank) == 2  # the value, and the meter
    assert f'<td class="blank">{written(38e-6)}</td>' in read
    assert "was promised before the work" in read
    assert "was promised before the work" not in page
