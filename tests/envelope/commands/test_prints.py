"""What is printed says what was found: totals, the leakiest face, flags, help."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

from envelope.cli import command_names, main
from envelope.commands.loss import listed_hz
from envelope.commands.loss_tables import even_against_head_on
from envelope.exposure.stack_loss import judge
from envelope.project import load

ROOM = """\
format = 1
name = "a room"
[site]
reach = "0 m"
[construction]
exterior-wall = "wall"
slab = "wall"
roof = "wall"
window = "pane"
[[assembly]]
id = "wall"
loss = "25 dB"
reflects = 0.2
[[assembly]]
id = "brick"
layers = [{ material = "brick", thickness = "115 mm" }]
[[assembly]]
id = "slab"
layers = [{ material = "concrete", thickness = "150 mm" }]
[[assembly]]
id = "pane"
loss = "12 dB"
[[storey]]
id = "ground"
floor = "0 m"
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.4 m"
[[opening]]
id = "W1"
on = "room/1"
kind = "window"
at = "1 m"
sill = "0.9 m"
size = "0.2 m x 0.2 m"
reveal = "0.1 m"
[[treatment]]
id = "foil"
kind = "fixed"
loss = "20 dB"
reflects = 0.9
[[treatment]]
id = "coat"
kind = "sheet"
sheet-resistance = "5 ohm/sq"
[[receiver]]
id = "bed"
space = "room"
at = "1.6, 1.1, 0.7 m"
[[plan]]
id = "all"
treat = [{ on = "room/**", with = "foil" }]
[[plan]]
id = "star"
treat = [{ on = "room/*", with = "foil" }]
"""
SOURCES = """\
[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "20 deg"
band = "1.8 GHz"
level = "100 uW/m2"
[[source]]
id = "second"
azimuth = "170 deg"
elevation = "12 deg"
band = "1.8 GHz"
level = "60 uW/m2"
[[source]]
id = "cell"
azimuth = "90 deg"
elevation = "8 deg"
band = "900 MHz"
level = "10 uW/m2"
"""


@pytest.fixture
def job(tmp_path: Path):
    def write(tables: str = SOURCES, *, change: tuple[str, str] | None = None) -> str:
        text = ROOM + tables
        if change is not None:
            assert change[0] in text
            text = text.replace(*change)
        path = tmp_path / "job.toml"
        path.write_text(text, encoding="utf-8")
        return str(path)

    return write


@pytest.fixture
def printed(capsys, monkeypatch: pytest.MonkeyPatch):
    def run(*arguments: str, columns: int = 132, code: int = 0) -> str:
        monkeypatch.setenv("COLUMNS", str(columns))
        assert main(list(arguments)) == code
        return capsys.readouterr().out

    return run


def flat(text: str) -> str:
    """Text whose lines were broken where the terminal ended."""
    return " ".join(text.split())


class TestTotals:
    def test_in_json_direct_and_diffuse_of_each_band_and_of_all(self, job, printed):
        plain = json.loads(printed("analyze", job(), "--json"))
        before, after, _ = (plan["receivers"][0] for plan in plain["plans"])
        for receiver in (before, after):
            mast, second, cell = receiver["sources"]
            alone, both = sorted(receiver["bands"], key=lambda band: len(band["sources"]))
            assert both["sources"] == ["mast", "second"]
            assert alone["sources"] == ["cell"]
            for found, parts in (
                (receiver["total"], (mast, second, cell)),
                (both["total"], (mast, second)),
                (alone["total"], (cell,)),
            ):
                for key in ("outside_w_m2", "direct_w_m2", "diffuse_w_m2", "level_w_m2"):
                    assert found[key] == pytest.approx(sum(part[key] for part in parts), rel=1e-12)
                assert found["low_w_m2"] < found["level_w_m2"] < found["high_w_m2"]
                assert found["reduction_db"] == pytest.approx(
                    10 * math.log10(found["outside_w_m2"] / found["level_w_m2"]), abs=1e-9
                )
            # one source alone has the band that it has as a source
            assert alone["total"]["low_w_m2"] == pytest.approx(cell["low_w_m2"], rel=1e-12)
        for found, untreated in (
            (after["total"], before["total"]),
            *(
                (one["total"], two["total"])
                for one, two in zip(after["bands"], before["bands"], strict=True)
            ),
        ):
            assert found["below_as_built_db"] == pytest.approx(
                10 * math.log10(untreated["level_w_m2"] / found["level_w_m2"]), abs=1e-9
            )
            assert found["below_as_built_db"] > 10.0
            assert untreated["below_as_built_db"] == 0.0

    def test_of_an_even_field_in_json(self, job, printed):
        plain = json.loads(printed("analyze", job(""), "--json", "--plan", "all"))
        ((receiver,),) = ([plan["receivers"][0]] for plan in plain["plans"])
        assert receiver["total"] is None
        (band,) = receiver["bands"]
        assert band["total"] is None
        assert receiver["headline"]["outside_w_m2"] == 1.0
        assert receiver["headline"]["reduction_db"] == band["isotropic_reduction_db"]
        assert receiver["headline"]["below_as_built_db"] == band["isotropic_below_as_built_db"]
        # the coating keeps 20 dB out; what is left stays in the room for longer
        assert 10.0 < band["isotropic_below_as_built_db"] < 20.0

    def test_the_row_of_all_sources_has_no_empty_cell(self, job, printed):
        out = printed("analyze", job(), "--detail", "--plan", "all", columns=160)
        (total,) = re.findall(r"^all  .*$", out, re.M)
        (one_band,) = re.findall(r"^all of one band  .*$", out, re.M)
        number = r"(?:\d[\d\u00a0.]*|<\u00a0[\d.]+)"
        row = rf"\s+{number}\s+{number}\s+{number}\s+{number}\s+{number} – {number}"
        assert re.fullmatch(rf"all{row}\s+[\d.]+ dB\s+[\d.]+ dB", total)
        assert re.fullmatch(rf"all of one band\s+1.8 GHz{row}\s+[\d.]+ dB\s+[\d.]+ dB", one_band)

    def test_compare_has_direct_diffuse_and_both_reductions_of_each_source(self, job, printed):
        path = job()
        out = printed("compare", path, columns=160)
        plain = json.loads(printed("compare", path, "--json"))
        ((receiver,),) = (
            [plan["receivers"][0] for plan in each["plans"] if plan["plan"] == "all"]
            for each in plain["variants"]
        )
        for heading in ("direct", "diffuse", "below outside", "below today"):
            found = re.findall(rf"(?<!\w){heading}(?!\w)", out)
            assert len(found) == 2, heading  # all sources together, and each of them
        for found in (receiver["total"], *receiver["sources"]):
            cells = rf"{found['reduction_db']:.1f} dB +{found['below_as_built_db']:.1f} dB"
            assert re.search(cells, out), cells
        assert "all at 1.8 GHz" in out

    def test_the_main_number_is_that_of_the_hand_out(self, job, printed):
        from envelope.commands.common import analyzed
        from viewer.handout import words as handout_words
        from viewer.scene.build import build_scene

        path = job()
        loaded = load(Path(path))
        analysis = analyzed(loaded, path=Path(path), plans=None, threshold_db=20.0)
        scene = build_scene(job=loaded, results=analysis.plans)
        after = analysis.plans[1].receivers[0]
        found = handout_words.change(
            before=analysis.plans[0], after=analysis.plans[1], receiver=after.id
        )
        verdict = handout_words.verdict(title="all", result=after, found=found)
        (number,) = re.findall(r"<b>(\d[\d.]*)\u00a0times less</b> than today", verdict)
        factor = f"{number} times less"
        out = flat(printed("analyze", path, "--detail", "--plan", "all"))
        assert f"dB below today ({factor})" in out
        (changed,) = re.findall(r"([\d.]+ dB) below today", out)
        assert f"{changed} less" in printed("compare", path)
        # and so is what the face brings that matters most today
        first = handout_words.next_face(scene, analysis.plans[0].receivers[0])
        (share,) = re.findall(r"(\d[\d.]*)\u00a0% comes in there", first)
        today = flat(printed("analyze", path, "--detail", "--plan", "as-built"))
        assert f"{share} % of the level at bed comes in here" in today

    def test_an_even_field_is_set_against_outside_and_as_built(self, job, printed):
        out = flat(printed("analyze", job(""), "--detail", "--plan", "all"))
        assert re.search(
            r"An isotropic field reaches bed \d+\.\d dB below outside \([\d. ]+ times less\)", out
        )
        assert re.search(r"1\d\.\d dB below today \(\d+ times less\)", out)


class TestWhatMattersMost:
    def test_faces_come_by_what_treating_them_does(self, job, printed):
        path = job()
        out = flat(printed("analyze", path, "--detail", "--plan", "as-built"))
        (face,) = re.findall(r"The face that matters most now is (room/\w+)", out)
        plain = json.loads(printed("analyze", path, "--plan", "as-built", "--json"))
        (receiver,) = plain["plans"][0]["receivers"]
        levels = [panel["level_if_treated_w_m2"] for panel in receiver["panels"]]
        assert levels == sorted(levels)
        assert face == receiver["panels"][0]["panel"]
        assert "One face is a gap" in out
        lines = printed("compare", path).splitlines()
        (start,) = [k for k, line in enumerate(lines) if "matters most now" in line]
        row = lines[start + 1]
        assert row.startswith("today")
        assert face.rpartition("/")[2] in row  # by name, as on the first screen
        assert row.endswith(" 1")

    def test_a_wall_is_called_by_its_side_too(self, job, printed):
        change = ('size = "0.2 m x 0.2 m"', 'size = "0.2 m x 0.2 m"\nstate = "shut"')
        out = flat(printed("analyze", job("", change=change), "--detail", "--threshold", "30 dB"))
        assert re.search(r"matters most now is \S+ \(the (?:north|south|east|west) wall\):", out)


class TestFlags:
    BRICK = ('exterior-wall = "wall"', 'exterior-wall = "brick"')

    def test_data_beyond_their_range_are_said_by_compare_as_by_analyze(self, job, printed):
        path = job(change=self.BRICK)
        for command in (("analyze", "--detail"), ("compare",)):
            out = flat(printed(*command, path))
            assert re.search(r"beyond the range [^:]*: .*brick \(at 900 MHz\)", out), command
        assert "brick" not in printed("compare", job())

    def test_compare_says_that_an_even_field_is_assumed(self, job, printed):
        said = "No source in the file: an isotropic field from all exposed directions"
        assert flat(printed("compare", job(""))).count(said) == 1
        assert said not in flat(printed("compare", job()))

    @pytest.mark.parametrize("columns", [80, 120])
    @pytest.mark.parametrize("command", [("analyze", "--detail"), ("compare",)])
    def test_no_heading_is_broken_and_no_line_too_long(self, job, printed, command, columns):
        out = printed(*command, job(), columns=columns)
        assert max(map(len, out.splitlines())) <= columns
        words = set(out.split())
        assert {"unshielded", "isotropic", "reduction", "diffuse", "today"} <= words

    def test_small_solid_angles_keep_their_figures(self, job, printed):
        out = printed(
            "analyze",
            "--detail",
            job("", change=('at = "1.6, 1.1, 0.7 m"', 'at = "3.9, 2.9, 2.3 m"')),
        )
        assert "0.0000 sr" not in out
        assert "0.000 sr" not in out


class TestFailOver:
    def test_it_names_plan_receiver_and_band(self, job, capsys):
        assert main(["analyze", job(), "--fail-over", "0 sr", "--threshold", "60dB"]) == 1
        first, second = capsys.readouterr().err.splitlines()
        assert re.fullmatch(
            r"plan all, receiver bed, (1\.8 GHz|900 MHz): [\d.]+ sr are unshielded, "
            r"more than the 0 sr allowed",
            first,
        )
        assert second.startswith("plan star, receiver bed")

    def test_as_built_counts_where_it_is_named(self, job, capsys):
        path = job()
        assert main(["analyze", path, "--fail-over", "0.001"]) == 0
        assert main(["analyze", path, "--fail-over", "0.001", "--plan", "as-built"]) == 1
        assert "plan as-built, receiver bed" in capsys.readouterr().err

    def test_its_help_says_so(self, capsys):
        with pytest.raises(SystemExit):
            main(["analyze", "--help"])
        assert "as-built counts only where --plan names it" in flat(capsys.readouterr().out)


class TestOptions:
    @pytest.mark.parametrize("text", ["10", "10 dB", "10dB", " 10.0 db "])
    def test_a_threshold_with_and_without_its_unit(self, job, printed, text):
        plain = json.loads(printed("analyze", job(""), "--threshold", text, "--json"))
        assert plain["threshold_db"] == 10.0

    @pytest.mark.parametrize("text", ["10 sr", "dB", "10 dBm", "-3 dB", "1e999", ""])
    def test_what_is_no_threshold(self, job, capsys, text):
        with pytest.raises(SystemExit) as stopped:
            main(["analyze", job(""), f"--threshold={text}"])
        assert stopped.value.code == 2
        assert "allowed is a number from 0 up" in capsys.readouterr().err

    @pytest.mark.parametrize("command", command_names())
    def test_every_command_says_what_it_does(self, capsys, command):
        with pytest.raises(SystemExit) as stopped:
            main([command, "--help"])
        assert stopped.value.code == 0
        out = capsys.readouterr().out
        sentence = flat(out.split("\n\n")[1])
        assert re.match(r"[A-Z][a-z]+ .{20,}\.$", sentence), sentence


class TestLossOfAStack:
    def test_reflection_by_angle_is_printed(self, job, printed):
        arguments = ("loss", job(), "--assembly", "slab", "--at", "28 GHz")
        plain = json.loads(printed(*arguments, "--json"))
        out = printed(*arguments)
        te, tm = (plain["reflection"][each][0][3] for each in ("te", "tm"))
        assert f"{100 * te:.0f} % / " in out
        assert re.search(rf"/ {100 * tm:.0f} %|/ {100 * tm:.1f}", out)
        assert out.count("60°") == 2

    def test_the_footnote_says_what_the_numbers_say(self, job, printed):
        path = job()
        slab = printed("loss", path, "--assembly", "slab", "--at", "28 GHz")
        plain = json.loads(printed("loss", path, "--assembly", "slab", "--at", "28 GHz", "--json"))
        more = plain["diffuse_loss_db"][0] - plain["loss_db"]["te"][0][0]
        assert more > 1.0
        assert f"an even field meets {more:.1f} dB more loss than a ray head-on" in flat(slab)
        coat = flat(printed("loss", path, "--treatment", "coat", "--at", "2.45 GHz"))
        assert re.search(r"an even field meets [\d.]+ dB less loss than a ray head-on", coat)
        foil = flat(printed("loss", path, "--treatment", "foil", "--at", "2.45 GHz"))
        assert "an even field meets the same loss as a ray head-on" in foil

    def test_over_several_frequencies_it_gives_both_ends(self, job):
        loaded = load(Path(job()))
        at = listed_hz([0.9e9, 28e9])
        found = judge(loaded, assembly="slab", treatments=["coat"], frequency_hz=at)
        said = even_against_head_on(found)
        less = found.loss_db[:, 0, 0] - found.diffuse_loss_db
        for value in (less.max(), less.min()):
            assert f"{abs(value):.1f}" in said

    def test_a_data_sheet_compares_only_with_the_treatment_alone(self, job, printed):
        path = job()
        alone = flat(printed("loss", path, "--treatment", "coat"))
        assert "data sheet holds head-on in air: compare column 0°" in alone
        both = flat(printed("loss", path, "--treatment", "coat", "--assembly", "brick"))
        assert "brick and what is on it together" in both
        assert "without --assembly" in both

    def test_no_near_twins_among_its_frequencies(self):
        own = [1.8425e9, 3.6e9, 2.442e9, 866.5e6]  # those of a job
        assert listed_hz(own).tolist() == [866.5e6, 1.8425e9, 2.442e9, 3.6e9, 5.5e9]
        assert listed_hz([]).tolist() == [0.9e9, 1.8e9, 2.45e9, 3.5e9, 5.5e9]
        assert listed_hz([2.442e9, 2.4421e9]).tolist().count(2.442e9) == 1
        assert len(listed_hz([2.442e9, 2.4421e9])) == 5


class TestSelectors:
    def test_check_says_which_reveals_a_star_left_bare(self, job, printed):
        out = flat(printed("check", job()))
        assert out.count("not the reveals between them") == 1
        assert "plan star treats" in out
        for part in ("sill", "head"):
            assert f"room/W1/{part}" in out
        assert "room/reveals" in out
        note = json.loads(printed("check", job(), "--json"))["notes"]
        assert any("plan star" in each for each in note)

    def test_nothing_is_said_where_the_reveals_are_treated_or_the_window_is_bare(
        self, job, printed
    ):
        change = ('{ on = "room/*", with = "foil" }', '{ on = "room/walls", with = "foil" }')
        assert "reveals between them" not in printed("check", job(change=change))

    def test_the_schema_says_what_a_star_leaves_out(self, printed):
        plain = json.loads(printed("schema"))
        said = plain["$defs"]["Treat"]["properties"]["on"]["description"]
        assert "bedroom/* leaves out reveals" in said
        assert "by their ids alone" in said


def test_demo_says_what_each_file_is(tmp_path, printed):
    lines = printed("demo", str(tmp_path)).splitlines()
    assert f"{tmp_path / 'house.toml'}: Larch Cottage, upper bedroom (invented)" in lines

    def test_whole_buildings_stand_beside_an_outer_wall(self, job, printed):
        """P.2109-2 at 2.45 GHz, traditional: 5.8, 15.2 and 27.7 dB at 10, 50 and 90 %."""
        wall = ("loss", job(), "--assembly", "wall", "--at", "2.45 GHz", "--at", "60 MHz")
        out = flat(printed(*wall))
        assert "2.45 GHz 15.2 (5.8 to 27.7) 30.6 (16.6 to 47.9) 12.2 23.9" in out
        assert "60 MHz – – – –" in out
        traditional, _, low_loss, _ = json.loads(printed(*wall, "--json"))["whole_buildings"]
        assert traditional["middle_db"] == [None, pytest.approx(15.2136, abs=1e-3)]
        assert low_loss["middle_db"] == [None, pytest.approx(12.1609, abs=1e-3)]
        assert low_loss["low_db"] is None

    def test_a_treatment_in_air_is_not_compared_with_whole_buildings(self, job, printed):
        alone = ("loss", job(), "--treatment", "coat", "--at", "2.45 GHz")
        assert json.loads(printed(*alone, "--json"))["whole_buildings"] == []
        assert "buildings" not in printed(*alone)


class TestStandardErrors:
    """What the rays reached stands beside what was asked for."""

    def test_what_was_asked_for_is_said_and_how_many_rays_it_took(self, job, printed):
        path = job()
        rays = []
        for asked in ("5 %", "0.1 %"):
            (receiver,) = json.loads(printed("analyze", path, "--error", asked, "--json"))["plans"][
                0
            ]["receivers"]
            assert receiver["asked_error"] == float(asked.split()[0]) / 100.0
            assert receiver["standard_error"] <= receiver["asked_error"]
            rays.append(receiver["rays"])
            said = f"; asked for: at most {float(asked.split()[0]):.2f} %"
            assert said in flat(printed("analyze", path, "--error", asked, "--detail"))
        assert rays[0] < rays[1]

    def test_an_error_out_of_range_is_refused(self, job, capsys):
        with pytest.raises(SystemExit) as ended:
            main(["analyze", job(), "--error", "50 %"])
        assert ended.value.code == 2
        assert "found '50 %'; allowed is 0.001 % to 10 %" in capsys.readouterr().err
