"""What people type and what scripts read: exit codes, messages, JSON, CSV, hostile names."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from envelope.cli import command_names, main
from envelope.exposure.serialise import COLUMNS

ROOM = """\
format = 1
name = "{name}"
[site]
reach = "0 m"
[construction]
exterior-wall = "wall"
slab = "wall"
roof = "wall"
window = "pane"
[[assembly]]
id = "wall"
loss = "200 dB"
[[assembly]]
id = "pane"
loss = "3 dB"
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
size = "1.5 m x 1.2 m"
[[treatment]]
id = "film"
kind = "fixed"
loss = "30 dB"
[[plan]]
id = "with-film"
treat = [{{ on = "room/W1", with = ["film"] }}]
"""
SOURCE = """\
[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "20 deg"
band = "1.8 GHz"
level = "100 uW/m2"
"""
BED = """\
[[receiver]]
id = "bed"
space = "room"
at = "1.6, 1.1, 0.7 m"
"""


@pytest.fixture
def job(tmp_path: Path):
    """``job(*tables, name="a room")``: path of a small project file."""

    def write(*tables: str, name: str = "a room") -> str:
        path = tmp_path / "job.toml"
        path.write_text(ROOM.format(name=name) + "".join(tables), encoding="utf-8")
        return str(path)

    return write


def answer(capsys, *arguments: str) -> tuple[int, str, str]:
    code = main(list(arguments))
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def strict(text: str):
    """JSON without the words that are not JSON."""

    def refuse(word: str):
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


CONTRACT = {
    "": {"format", "project", "threshold_db", "plans"},
    "plan": {"plan", "receivers"},
    "receiver": {
        "id", "position_m", "exposed_solid_angle_sr", "exposed_above_horizon_sr",
        "closure_error_sr", "standard_error", "bands", "sources", "gaps",
    },
    "band": {
        "frequency_hz", "unshielded_solid_angle_sr", "open_equivalent_solid_angle_sr",
        "isotropic_reduction_db",
    },
    "source": {
        "id", "outside_w_m2", "direct_w_m2", "diffuse_w_m2", "level_w_m2", "reduction_db",
        "lit_area_m2", "unshielded_area_m2", "unshielded_solid_angle_sr", "gaps",
    },
    "gap": {
        "panel", "kind", "treatments", "solid_angle_sr", "loss_db",
        "open_equivalent_solid_angle_sr", "share", "direct_share", "level_if_treated_w_m2",
        "below_if_treated_db", "treated_with",
    },
}  # fmt: skip


class TestAnalyzeAsJson:
    def test_every_promised_key_is_there(self, job, capsys):
        code, out, err = answer(capsys, "analyze", job(SOURCE, BED), "--json")
        assert (code, err) == (0, "")
        found = strict(out)
        assert CONTRACT[""] <= found.keys()
        assert (found["format"], found["project"], found["threshold_db"]) == (1, "a room", 20.0)
        assert [plan["plan"] for plan in found["plans"]] == ["as-built", "with-film"]
        for plan in found["plans"]:
            assert CONTRACT["plan"] <= plan.keys()
            for receiver in plan["receivers"]:
                assert CONTRACT["receiver"] <= receiver.keys()
                for name, rows in (
                    ("band", receiver["bands"]),
                    ("source", receiver["sources"]),
                    ("gap", receiver["gaps"]),
                ):
                    for row in rows:
                        assert CONTRACT[name] <= row.keys()

    def test_its_figures(self, job, capsys):
        _, out, _ = answer(capsys, "analyze", job(SOURCE, BED), "--json", "--plan", "as-built")
        (plan,) = strict(out)["plans"]
        (receiver,) = plan["receivers"]
        (gap,), (source,), (band,) = receiver["gaps"], receiver["sources"], receiver["bands"]
        assert receiver["position_m"] == [1.6, 1.1, 0.7]
        assert (gap["panel"], gap["kind"], gap["treatments"]) == ("room/W1", "window", [])
        assert gap["loss_db"] == pytest.approx(3.0, abs=1e-9)
        assert gap["share"] == pytest.approx(1.0, abs=1e-9)
        assert gap["treated_with"] == ["film"]
        assert 0.0 < gap["level_if_treated_w_m2"] < source["level_w_m2"]
        assert band["frequency_hz"] == 1.8e9
        assert source["outside_w_m2"] == pytest.approx(1e-4, rel=1e-12)
        assert source["below_as_built_db"] == 0.0
        assert source["low_w_m2"] < source["level_w_m2"] < source["high_w_m2"]
        (path,) = source["gaps"]
        assert path["panel"] == "room/W1"
        assert {landing["on"] for landing in path["lands"]} == {"room/floor", "room/3"}
        (ring,) = path["lands"][0]["polygons_m"]
        assert len(ring) == 4
        assert all(len(corner) == 3 for corner in ring)

    def test_a_source_names_the_panels_that_it_comes_through_gaps_or_not(self, job, capsys):
        """With the window treated no panel is a gap, and the beam still comes through one."""
        path = job(SOURCE, BED.replace("1.6, 1.1, 0.7", "1.6, 1.1, 1.4"))
        _, out, _ = answer(capsys, "analyze", path, "--json", "--plan", "with-film")
        (source,) = strict(out)["plans"][0]["receivers"][0]["sources"]
        assert source["gaps"] == []
        (through,) = source["paths"]
        assert through["panel"] == "room/W1"
        assert through["share"] == pytest.approx(1.0, abs=1e-9)

    def test_nothing_in_it_is_infinite(self, job, capsys):
        tight = job(SOURCE, BED)
        text = (
            Path(tight)
            .read_text(encoding="utf-8")
            .replace('"3 dB"', '"200 dB"')
            .replace('"0 m"', '"3 m"', 1)
        )
        Path(tight).write_text(
            text.replace('elevation = "20 deg"', 'elevation = "-90 deg"\nscattered = 0.0')
        )
        code, out, _ = answer(capsys, "analyze", tight, "--json")
        assert code == 0
        (receiver,) = strict(out)["plans"][0]["receivers"]
        assert receiver["gaps"] == []
        assert receiver["sources"][0]["reduction_db"] is None

    def test_one_receiver_of_two_has_the_levels_it_has_among_both(self, job, capsys):
        other = BED.replace('"bed"', '"desk"').replace("1.6, 1.1", "3.6, 2.6")
        path = job(SOURCE, BED, other)
        _, out, _ = answer(capsys, "analyze", path, "--json", "--plan", "as-built")
        _, alone, _ = answer(
            capsys, "analyze", path, "--json", "--plan", "as-built", "--receiver", "desk"
        )
        both = strict(out)["plans"][0]["receivers"]
        (desk,) = strict(alone)["plans"][0]["receivers"]
        assert desk == both[1]

    def test_without_a_source_an_even_field_is_assumed_and_said(self, job, capsys):
        path = job(BED)
        _, out, _ = answer(capsys, "analyze", path, "--json")
        (receiver,) = strict(out)["plans"][0]["receivers"]
        assert receiver["sources"] == []
        assert [band["frequency_hz"] for band in receiver["bands"]] == [2.45e9]
        _, out, _ = answer(capsys, "analyze", path)
        assert "isotropic field" in out
        assert "2.45 GHz" in out


class TestAnalyzeAsTables:
    def test_the_gap_and_a_plain_sentence(self, job, capsys):
        code, out, err = answer(capsys, "analyze", "--detail", job(SOURCE, BED))
        assert (code, err) == (0, "")
        said = " ".join(out.split())
        assert "room/W1: 100 % of the level at bed comes in here. Treated with film, " in said
        assert "3.0 dB" in out
        assert "no gaps" in out  # with the film
        assert "convention" in out
        assert "estimates" in out

    def test_csv_has_a_header_and_a_row_for_each_gap(self, job, capsys):
        code, out, _ = answer(capsys, "analyze", job(SOURCE, BED), "--csv", "--threshold", "40")
        assert code == 0
        rows = list(csv.DictReader(io.StringIO(out)))
        assert tuple(rows[0]) == COLUMNS
        assert [(row["plan"], row["panel"]) for row in rows] == [
            ("as-built", "room/W1"),
            ("with-film", "room/W1"),
        ]
        assert [row["treatments"] for row in rows] == ["", "film"]
        assert [float(row["loss_db"]) for row in rows] == pytest.approx([3.0, 33.0], abs=1e-9)
        assert [row["treated_with"] for row in rows] == ["film", "film"]
        assert float(rows[0]["below_if_treated_db"]) > 20.0
        assert float(rows[1]["below_if_treated_db"]) == 0.0

    @pytest.mark.parametrize(
        ("limit", "plan", "code"), [("0.01", "as-built", 1), ("12", "as-built", 0),
                                    ("0", "with-film", 0)],
    )  # fmt: skip
    def test_fail_over(self, job, capsys, limit, plan, code):
        found, out, err = answer(
            capsys, "analyze", job(BED), "--plan", plan, "--fail-over", limit, "--json"
        )
        assert found == code
        strict(out)
        assert ("more than the 0.01 sr allowed" in err) is (code == 1)

    @pytest.mark.parametrize("threshold", ["2.9", "3.1"])
    def test_threshold(self, job, capsys, threshold):
        _, out, _ = answer(
            capsys, "analyze", job(BED), "--plan", "as-built", "--threshold", threshold, "--json"
        )
        plain = strict(out)
        assert plain["threshold_db"] == float(threshold)
        assert len(plain["plans"][0]["receivers"][0]["gaps"]) == (threshold == "3.1")

    @pytest.mark.parametrize("value", ["-1", "nan", "inf", "many"])
    def test_a_threshold_that_is_none(self, job, capsys, value):
        with pytest.raises(SystemExit) as stopped:
            main(["analyze", job(BED), "--threshold", value])
        assert stopped.value.code == 2
        assert "allowed is a number from 0 up" in capsys.readouterr().err


class TestBadInput:
    def test_an_unknown_plan_offers_the_nearest(self, job, capsys):
        code, out, err = answer(capsys, "analyze", job(BED), "--plan", "with-flim")
        assert (code, out) == (2, "")
        assert err == "no plan 'with-flim' in this job: did you mean with-film?\n"

    def test_an_unknown_receiver_lists_them(self, job, capsys):
        code, _, err = answer(capsys, "analyze", job(BED), "--receiver", "qqq")
        assert code == 2
        assert err == "no receiver 'qqq' in this job: there are bed\n"

    def test_no_receiver(self, job, capsys):
        code, out, err = answer(capsys, "analyze", job(SOURCE))
        assert (code, out) == (2, "")
        assert "no receiver: add [[receiver]]" in err

    @pytest.mark.parametrize("command", ["analyze", "check", "compare"])
    def test_a_missing_file_and_a_folder(self, tmp_path, capsys, command):
        for path in (tmp_path / "nothing.toml", tmp_path):
            code, out, err = answer(capsys, command, str(path))
            assert (code, out) == (2, "")
            assert len(err.splitlines()) == 1
            assert "Traceback" not in err

    def test_every_fault_at_once_with_its_line(self, job, capsys):
        path = job(BED, SOURCE.replace("1.8 GHz", "1.8").replace('"100 uW/m2"', '"100"'))
        code, _, err = answer(capsys, "check", path)
        assert code == 2
        assert len(err.splitlines()) == 2
        assert all(line.startswith(f"{path}:") for line in err.splitlines())
        code, out, err = answer(capsys, "check", path, "--json")
        assert (code, err) == (2, "")
        faults = strict(out)["faults"]
        assert [fault["key"] for fault in faults] == ["source[0].band", "source[0].level"]
        assert all(isinstance(fault["line"], int) for fault in faults)

    def test_a_room_without_a_door_or_window_is_asked_for_them(self, job, capsys):
        path = Path(job(BED))
        said = "room has no door and no window in the job"
        assert said not in " ".join(answer(capsys, "check", str(path))[1].split())
        text = path.read_text()
        opening, plan = text.index("[[opening]]"), text.index("[[plan]]")
        bare = text[:opening] + text[text.index("[[treatment]]") : plan] + BED
        path.write_text(bare)
        assert said in " ".join(answer(capsys, "check", str(path))[1].split())

    def test_a_door_that_leads_into_the_air_asks_for_the_room_behind_it(self, job, capsys):
        said = "is a door to the outdoors, 3.15 m above the ground: if a landing or a room lies"
        path = Path(job(BED))
        as_door = path.read_text().replace('kind = "window"', 'kind = "door"')
        as_door = as_door.replace('sill = "0.9 m"\n', "").replace("window = ", "door = ")
        as_door = as_door.replace("slab = ", 'floor = "wall"\nslab = ')
        for height, expected in (("3.15 m", True), ("0.3 m", False)):
            path.write_text(as_door.replace('floor = "0 m"', f'floor = "{height}"'))
            code, out, err = answer(capsys, "check", str(path))
            assert (code, err) == (0, "")
            assert (said in " ".join(out.split())) is expected

    def test_no_command_and_an_unknown_one(self, capsys):
        for arguments in ([], ["analyse"]):
            with pytest.raises(SystemExit) as stopped:
                main(arguments)
            assert stopped.value.code == 2
            capsys.readouterr()


class TestHostileNames:
    @pytest.mark.parametrize(
        "name", ["[bold]loud[/bold]", "[red]", "[/]", "[link=x]y[/link]", "ends with [", ":smile:"]
    )
    @pytest.mark.parametrize("command", ["check", "analyze", "compare"])
    def test_markup_is_printed_as_it_stands(self, job, capsys, command, name):
        code, out, err = answer(capsys, command, job(SOURCE, BED, name=name))
        assert (code, err) == (0, "")
        assert name in out

    def test_a_backslash_at_the_end_changes_nothing(self, job, capsys):
        code, out, _ = answer(capsys, "check", job(BED, name="back\\\\"))
        assert code == 0
        assert "back\\" in out
        assert "[/bold]" not in out

    def test_an_escape_sequence_cannot_reach_the_terminal(self, job, capsys):
        code, out, err = answer(capsys, "analyze", job(SOURCE, BED, name="a\\u001b[31mb"))
        assert (code, out) == (2, "")
        assert "\x1b" not in err
        assert "control character" in err

    def test_a_plan_asked_for_by_a_hostile_name(self, job, capsys):
        code, _, err = answer(capsys, "analyze", job(BED), "--plan", "[bold]\x1b[31m")
        assert code == 2
        assert "\x1b" not in err


class TestCheckCompareSchema:
    def test_check_counts(self, job, capsys):
        code, out, _ = answer(capsys, "check", job(SOURCE, BED), "--json")
        assert code == 0
        plain = strict(out)
        assert plain["faults"] == []
        assert (plain["spaces"], plain["panels"], plain["openings"]) == (1, 7, 1)
        assert (plain["sources"], plain["receivers"]) == (1, 1)
        assert plain["volume_m3"] == pytest.approx(28.8, abs=1e-9)
        assert plain["plans"] == ["as-built", "with-film"]

    def test_compare_has_a_row_for_each_plan(self, job, capsys, monkeypatch):
        monkeypatch.setenv("COLUMNS", "160")  # so that no table is split
        code, out, _ = answer(capsys, "compare", job(SOURCE, BED))
        assert code == 0
        for plan in ("today", "with-film"):  # solid angles, then levels
            assert [line.split()[0] for line in out.splitlines() if line.startswith(plan)] == [
                plan,
                plan,
            ]

    def test_compare_on_several_storeys(self, job, capsys):
        storey = '[[storey]]\nid = "upper"\nfloor = "6 m"\n'
        path = job(SOURCE, BED, storey)
        text = Path(path).read_text().replace('slab = "wall"', 'slab = "wall"\nfloor = "wall"')
        Path(path).write_text(text)
        code, out, _ = answer(capsys, "compare", path, "--storeys", "ground, upper", "--json")
        assert code == 0
        ground, upper = strict(out)["variants"]
        assert (ground["storey"], upper["storey"]) == ("ground", "upper")
        seen = [
            variant["plans"][0]["receivers"][0]["exposed_solid_angle_sr"]
            for variant in (ground, upper)
        ]
        assert seen[1] > seen[0]  # the slab no longer blocks
        code, _, err = answer(capsys, "compare", path, "--storeys", "ground,uper")
        assert code == 2
        assert "upper" in err

    def test_the_schema_is_one(self, capsys):
        code, out, _ = answer(capsys, "schema")
        assert code == 0
        plain = strict(out)
        assert plain["$schema"].startswith("https://json-schema.org/")
        assert {"format", "name"} <= set(plain["required"])


class TestDemo:
    def test_copies_and_keeps_what_was_edited(self, tmp_path, capsys):
        folder = tmp_path / "a" / "b"
        code, out, _ = answer(capsys, "demo", str(folder))
        assert code == 0
        names = sorted(
            entry.name for entry in (Path(__file__).parents[3] / "models").iterdir()
            if entry.name.endswith(".toml")
        )  # fmt: skip
        assert sorted(path.name for path in folder.iterdir()) == names
        assert len(out.splitlines()) == len(names) >= 2
        edited = folder / names[0]
        edited.write_text("# mine\n", encoding="utf-8")
        code, out, _ = answer(capsys, "demo", str(folder))
        assert code == 0
        assert edited.read_text(encoding="utf-8") == "# mine\n"
        (line,) = [line for line in out.splitlines() if "left alone" in line]
        assert names[0] in line

    def test_every_sample_is_sound(self, tmp_path, capsys):
        main(["demo", str(tmp_path)])
        capsys.readouterr()
        for path in sorted(tmp_path.glob("*.toml")):
            code, out, err = answer(capsys, "check", str(path), "--json")
            assert (code, err) == (0, "")
            assert strict(out)["plans"][0] == "as-built"

    def test_into_a_file(self, tmp_path, capsys):
        path = tmp_path / "taken"
        path.write_text("")
        code, _, err = answer(capsys, "demo", str(path))
        assert code == 2
        assert "a folder is needed" in err
        code, _, err = answer(capsys, "demo", str(path / "below"))
        assert code == 2
        assert "cannot be made" in err


class TestLoss:
    def test_a_film_alone(self, job, capsys):
        path = job(BED)
        code, out, _ = answer(
            capsys, "loss", path, "--treatment", "film", "--at", "2.45 GHz", "--json"
        )
        assert code == 0
        plain = strict(out)
        assert plain["frequency_hz"] == [2.45e9]
        assert plain["loss_db"]["te"][0] == pytest.approx([30.0] * 5, abs=1e-9)
        assert plain["diffuse_loss_db"] == pytest.approx([30.0], abs=1e-9)

    def test_further_coats(self, job, capsys):
        coat = '[[treatment]]\nid = "coat"\nkind = "sheet"\nsheet-resistance = "8 ohm/sq"\n'
        code, out, _ = answer(capsys, "loss", job(BED, coat), "--treatment", "coat", "--json")
        assert code == 0
        (coats,) = strict(out)["further_coats"]
        assert coats["coats"] == [1, 2, 3, 4]
        first, *_, last = coats["diffuse_loss_db"]
        assert all(b > a + 6.0 for a, b in zip(first, last, strict=True))

    @pytest.mark.parametrize(
        ("arguments", "says"),
        [
            ([], "nothing to judge"),
            (["--treatment", "fim"], "did you mean film?"),
            (["--assembly", "wal"], "did you mean wall?"),
            (["--treatment", "film", "--at", "5"], "5"),
        ],
    )
    def test_what_it_refuses(self, job, capsys, arguments, says):
        code, out, err = answer(capsys, "loss", job(BED), *arguments)
        assert (code, out) == (2, "")
        assert says in err


class TestProcess:
    """What only a process of its own shows."""

    def command(self, *arguments: str) -> list[str]:
        return [sys.executable, "-m", "envelope.cli", *arguments]

    @pytest.mark.parametrize("unbuffered", ["", "1"])
    @pytest.mark.parametrize("arguments", [("schema",), ("check",), ("check", "--json")])
    def test_a_reader_that_goes_away_is_no_fault(self, job, arguments, unbuffered):
        first, *rest = arguments
        given = [first, *([] if first == "schema" else [job(BED)]), *rest]
        reading, writing = os.pipe()
        os.close(reading)  # before a word is written
        try:
            done = subprocess.run(
                self.command(*given),
                stdout=writing,
                stderr=subprocess.PIPE,
                text=True,
                timeout=60,
                env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
            )
        finally:
            os.close(writing)
        assert (done.returncode, done.stderr) == (0, "")

    def test_help_names_every_command(self):
        done = subprocess.run(self.command("--help"), capture_output=True, text=True, timeout=60)
        assert done.returncode == 0
        for name in command_names():
            assert name in done.stdout

    def test_help_loads_nothing_heavy(self):
        code = (
            "import sys; from envelope import cli\n"
            "try:\n    cli.main(['--help'])\nexcept SystemExit: pass\n"
            "heavy = {'numpy','numba','scipy','shapely','pydantic','rich','vtk'} & set(sys.modules)"
            "\nprint(sorted(heavy), file=sys.stderr)"
        )
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, timeout=60
        )
        assert done.stderr.strip() == "[]"
