"""The hand-out's paragraph on the wiring: plain words, ranges, cautions."""

import re
from pathlib import Path

import pytest

from envelope.commands.wiring_account import wiring_account
from envelope.project.load import load_text
from envelope.wiring.spread import solve_wiring
from envelope.wiring_text import paragraph
from viewer.handout.wiring import wiring_section

JOB = (Path(__file__).parents[3] / "models" / "wiring.toml").read_text("utf-8")


def solved(text, before=None):
    job = load_text(text, path="wiring.toml")
    return solve_wiring(job, job.wiring, before=before)


def plain(results, plan):
    return " ".join(paragraph(results, plan=plan))


@pytest.fixture(scope="module")
def system_and_results():
    return solved(JOB)


@pytest.fixture(scope="module")
def demo(system_and_results):
    return system_and_results[1]


def test_the_paragraph_says_what_decides_and_what_is_not_known(demo):
    said = plain(demo, "walls-and-floor-strip")
    assert re.search(r"field of about 1\d\sto\s\d+\sV/m at pillow today", said)
    assert "With sockets switched off at the board, about" in said
    assert "With walls-and-floor-strip it is about" in said
    assert "Not known yet: the cable of lights, which way round bedside-lamp" in said
    assert "never to neutral, pipes or a separate rod" in said
    assert "licensed electrician" in said


def test_a_plan_that_raises_the_field_says_why(demo):
    said = plain(demo, "walls-bonded")
    assert "That may be more than today, because" in said


def test_a_plan_without_coating_has_no_word_of_bonds(demo):
    said = plain(demo, "sockets-off-at-night")
    assert "neutral" not in said


def test_a_coating_that_floats_must_not_stay_so(system_and_results):
    unbonded = re.sub(r"\[\[bond\]\]\n(?:.+\n)+", "", JOB)
    _, results = solved(unbonded, before=system_and_results[0])
    said = plain(results, "walls-bonded")
    assert "a coating is not connected to earth yet. It must not stay so" in said


def test_the_section_holds_the_map():
    job = load_text(JOB, path="wiring.toml")
    account = wiring_account(job, "walls-bonded")
    section = wiring_section(account.sentences, picture=account.picture)
    assert section.startswith("<section class='wiring'>")
    assert "src='data:image/" in section
    assert "<img" not in wiring_section(account.sentences)
    assert "find and mark the cable first" not in section
    # names are kept apart from the direction of the text around them
    assert "\u2068walls-bonded\u2069 it is about" in section


def test_a_plan_with_strips_says_what_to_mind_of_them(demo):
    said = " ".join(paragraph(demo, plan="walls-and-floor-strip", strips=True))
    assert "find and mark the cable first; no nail or screw through it" in said


def test_words_from_a_file_are_escaped():
    assert "&lt;b&gt;" in wiring_section(["With <b> off."])


def test_a_job_without_wiring_has_no_account():
    text = JOB[: JOB.index("# ---- the wiring")] + JOB[JOB.index("# ---- plans") :]
    plans = text.index('[[plan]]\nid = "walls-and-floor-strip"')
    assert wiring_account(load_text(text[:plans], path="wiring.toml"), "walls-bonded") is None
