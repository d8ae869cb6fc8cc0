"""The first screen of `gapcast analyze`: what stands on it, and that it is one screen."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from envelope.building.job import Job
from envelope.cli import main
from envelope.project import load
from envelope.text.cautions import cautions_of

pytestmark = pytest.mark.usefixtures("casts_once")

JOBS = ("house", "bedroom", "attic")


@pytest.fixture(scope="module")
def screens() -> dict[tuple[str, int], str]:
    return {}


@pytest.fixture
def screen(screens, capsys, monkeypatch):
    def run(*arguments: str, columns: int = 132) -> str:
        monkeypatch.setenv("COLUMNS", str(columns))
        key = (" ".join(arguments), columns)
        if key not in screens:
            assert main(["analyze", *arguments]) == 0
            screens[key] = capsys.readouterr().out
        return screens[key]

    return run


@pytest.mark.parametrize("name", JOBS)
def test_it_is_one_screen(screen, name):
    lines = screen(f"models/{name}.toml").splitlines()
    assert len(lines) <= 25
    assert max(map(len, lines)) <= 132


@pytest.mark.parametrize("name", JOBS)
def test_figures_are_those_of_the_json(screen, name):
    said = " ".join(screen(f"models/{name}.toml").split())
    plain = json.loads(screen(f"models/{name}.toml", "--json"))
    for plan in plain["plans"]:
        for receiver in plan["receivers"]:
            found = receiver["headline"]
            micro = 1e6 * found["level_w_m2"]
            shown = f"{micro:.0f}" if micro >= 100 else f"{micro:.3g}"
            assert f" {shown} " in said, (plan["plan"], shown)
            against = receiver["against_as_built"]
            if against is not None and against["can_be_told"] and abs(against["low_db"]) > 0.2:
                assert f"{abs(found['below_as_built_db']):.1f} dB" in said
    today = plain["plans"][0]["receivers"][0]
    first = today["panels"][0]
    assert f"{first['below_if_treated_db']:.1f} dB less" in said


def test_the_list_is_in_the_order_in_which_treating_helps(screen):
    out = screen("models/house.toml")
    listed = re.search(r"What to treat next at pillow, today.*\n.*\n((?:.* dB less .*\n)+)", out)
    assert listed is not None
    gains = [float(each) for each in re.findall(r"([\d.]+) dB less", listed.group(1))]
    assert len(gains) >= 3
    assert gains == sorted(gains, reverse=True)
    assert out.index("\nsouth wall  ") < out.index("\nfloor  ")


def test_what_is_free_comes_before_the_faces_which_count_it_as_on(screen):
    out = screen("models/house.toml")
    free = out.index("Free first (off, moved or on a cable): without kitchen-router")
    assert free < out.index("What to treat next at pillow, today with kitchen-router on")
    assert "router on" not in screen("models/bedroom.toml")  # has none


def test_what_makes_it_worse_says_so(screen):
    assert re.search(
        r"Alone these make it worse: .*ceiling \(coating: [\d.]+ dB MORE\)",
        screen("models/house.toml"),
    )


def test_a_difference_within_its_doubt_is_none_that_can_be_told(screen):
    (row,) = re.findall(r"^walls-only .*$", screen("models/bedroom.toml"), re.M)
    assert re.search(r"cannot be told \([\d.]+ more to [\d.]+ less\)", row)
    (row,) = re.findall(r"^all-round .*$", screen("models/house.toml"), re.M)
    assert re.search(r"2\d\.\d dB less \([\d.]+ to [\d.]+\)", row)
    assert row.endswith("no change")  # at the other pillow, whose room nobody treats


def test_it_says_what_the_figures_rest_on_and_how_to_settle_it(screen):
    said = " ".join(screen("models/house.toml").split())
    plain = json.loads(screen("models/house.toml", "--json"))
    first = plain["rests_on"][0]
    assert f"These figures rest on {first['what']} (±{first['moves_db']:.1f} dB)" in said
    assert f"To settle the first: {first['settle']}." in said


def test_today_is_the_word_for_the_plan_without_treatment(screen):
    for name in JOBS:
        out = screen(f"models/{name}.toml")
        assert "as-built" not in out
        assert "as built" not in out
        assert re.search(r"^today ", out, re.M)


def test_all_directions_alike_is_another_view_of_the_same_table(screen):
    out = screen("models/house.toml", "--isotropic")
    assert "all directions alike, at 1.843 GHz" in out
    assert re.search(r"^west wall +\d+ % +coating +\d+ % +[\d.]+ dB less", out, re.M)


def test_one_plan_alone_is_judged_as_it_stands(screen):
    asked = ("models/house.toml", "--plan", "walls-and-windows", "--receiver", "pillow")
    (plan,) = json.loads(screen(*asked, "--json"))["plans"]
    (receiver,) = plan["receivers"]
    out = screen(*asked)
    level = f"{1e6 * receiver['headline']['level_w_m2']:.0f}"
    assert f"pillow (bedroom), walls-and-windows: {level} µW/m²" in out
    first = receiver["panels"][0]
    assert re.search(
        rf"^floor +{100 * first['share']:.0f} % +floor-fabric .* "
        rf"{first['below_if_treated_db']:.1f} dB less",
        out,
        re.M,
    )


class TestCautions:
    def test_they_belong_to_the_job(self, screen):
        out = screen("models/house.toml")
        assert "licensed electrician" in out
        assert "linked smoke and CO alarms" in out
        assert "way out must still open" in out
        only_today = screen("models/house.toml", "--plan", "as-built")
        assert "Caution" not in only_today

    def test_a_garage_next_door_a_vent_and_a_meter_are_named(self, tmp_path: Path):
        text = Path("models/house.toml").read_text(encoding="utf-8")
        text = text.replace('"kitchen"', '"garage"').replace('"kitchen/', '"garage/')
        path = tmp_path / "job.toml"
        path.write_text(text, encoding="utf-8")
        job = load(path)
        said = " ".join(cautions_of(job, _results(job)))
        assert "(adjoins garage)" in said
        assert "street-meter needs its radio link" in said


def _results(job: Job):
    from envelope.exposure.analysis import analyze
    from envelope.exposure.casts import cast_job
    from envelope.rays import Sampling

    casts = cast_job(job, sampling=Sampling(points_per_panel=2**8, points=2**10))
    return analyze(job=job, casts=casts).plans
