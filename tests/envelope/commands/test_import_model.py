"""`gapcast import`: list, preview, write a job that runs at once; and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from envelope.cli import main
from envelope.project import load

# A room of 4 × 3 × 2.5 m in millimetres, z up: a window of 1.5 m² in its south wall, no ceiling.
CORNERS = """
v 0 0 0
v 4000 0 0
v 4000 3000 0
v 0 3000 0
v 0 0 2500
v 4000 0 2500
v 4000 3000 2500
v 0 3000 2500
v 1000 0 900
v 2500 0 900
v 2500 0 1900
v 1000 0 1900
"""
FACES = """
o den
g slab
f 1 2 3 4
g north
usemtl brickwork
f 3 4 8 7
g east
f 2 3 7 6
g west
f 4 1 5 8
g south
f 1 2 10 9
f 2 6 11 10
f 6 5 12 11
f 5 1 9 12
g pane
usemtl glazed
f 9 10 11 12
"""
OBJ = CORNERS + FACES
UNITS = ("--unit", "mm", "--up", "z")
RULES = """
[[tag]]
id = "masonry"
material = "brick*"
assembly = "heavy"               # by the model's material

[[tag]]
name = "pane"
becomes = "window"

[[tag]]
kind = "door"
assembly = "heavy"

[[assembly]]
id = "heavy"
layers = [{ material = "concrete", thickness = "200 mm" }]
"""


@pytest.fixture
def den(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the room, which is also where the command runs."""
    (tmp_path / "den.obj").write_text(OBJ)
    (tmp_path / "rules.toml").write_text(RULES)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """What was printed, line breaks of tables undone."""
    return " ".join(capsys.readouterr().out.split())


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    return captured.err.strip()


def test_list_shows_the_spaces(den: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["import", "den.obj", *UNITS, "--list"]) == 0
    assert re.search(r"den\s+den\s+12\.00 m²\s+30\.00 m³", capsys.readouterr().out)
    assert sorted(path.name for path in den.iterdir()) == ["den.obj", "rules.toml"]


def test_a_job_is_written_that_runs_at_once(den: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["import", "den.obj", *UNITS, "-o", "job.toml"]) == 0
    out = said(capsys)
    assert "wrote job.toml: den, 7 panels" in out
    assert "den/open-top: a hole of 12 m² with no face in it, kept open" in out
    assert "typical layers, check on site: ground-slab, timber-wall, double-glazing" in out
    assert "an even exterior field at 2.45 GHz is assumed" in out
    assert main(["analyze", "job.toml", "--json"]) == 0
    analysis = json.loads(capsys.readouterr().out)
    assert [plan["plan"] for plan in analysis["plans"]] == ["as-built", "example"]
    (receiver,) = analysis["plans"][1]["receivers"]
    assert receiver["position_m"] == pytest.approx([2.0, 1.5, 0.7])
    assert abs(receiver["closure_error_sr"]) < 1e-6
    # The open top is seen under an angle that the coating of the walls cannot change.
    gap = receiver["panels"][0]
    assert gap["panel"] == "den/open-top"
    assert gap["is_gap"]
    # 4 arctan(ab / (h √(a² + b² + h²))) of a rectangle over its middle, a = 2, b = 1.5, h = 1.8 m
    assert gap["solid_angle_sr"] == pytest.approx(1.983700, abs=1e-6)


def test_the_text_says_what_is_known_and_marks_what_is_typical(den: Path) -> None:
    assert main(["import", "den.obj", *UNITS, "--space", "den", "-o", "job.toml"]) == 0
    text = (den / "job.toml").read_text()
    assert 'file = "den.obj"\nunit = "mm"\nup = "z"\nspaces = ["den"]\n' in text
    assert 'exterior-wall = "timber-wall"   # typical, check on site' in text
    assert "# No [[source]]" in text
    job = load(den / "job.toml")
    assert job.assumed_source
    assert job.plan("example").treatments["den/north"] == ("coating",)
    assert job.plan("example").treatments["den/pane"] == ("film",)
    assert "replace each by what is bought" in text
    assert job.building.panel("den/pane").area_m2 == pytest.approx(1.5)


def test_the_example_has_a_film_only_where_there_is_a_pane(den: Path) -> None:
    (den / "shed.obj").write_text(OBJ.replace("g pane\nusemtl glazed", "g infill"))
    assert main(["import", "shed.obj", *UNITS, "-o", "shed.toml"]) == 0
    job = load(den / "shed.toml")
    assert list(job.treatments) == ["coating"]
    assert set(job.plan("example").treatments.values()) == {("coating",)}


def test_the_model_is_named_relative_to_the_job(den: Path) -> None:
    (den / "jobs").mkdir()
    assert main(["import", "den.obj", *UNITS, "-o", "jobs/job.toml"]) == 0
    assert 'file = "../den.obj"' in (den / "jobs" / "job.toml").read_text()
    assert load(den / "jobs" / "job.toml").building.space("den").volume_m3 == pytest.approx(30.0)


def test_preview_names_the_rule_that_caught_each_panel_and_the_leftovers(
    den: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["import", "den.obj", *UNITS, "--rules", "rules.toml", "--dry-run"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"den/north\s+wall\s+10\.00 m²\s+outdoors\s+heavy\s+masonry", out)
    assert re.search(r"den/pane\s+window\s+1\.50 m²\s+outdoors\s+double-glazing\s+tag 2", out)
    assert re.search(r"den/slab\s+floor\s+12\.00 m²\s+earth\s+ground-slab\s+none", out)
    # usemtl holds from the north wall on until the pane: east, west and south are brickwork too
    assert "caught by no rule: 2 panels (den/slab, den/open-top)" in " ".join(out.split())
    assert "rule tag 3 catches no panel" in out
    assert not (den / "job.toml").exists()


def test_rules_go_into_the_job_as_they_are_written(
    den: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["import", "den.obj", *UNITS, "--rules", "rules.toml", "-o", "job.toml"]) == 0
    capsys.readouterr()
    assert (
        'assembly = "heavy"               # by the model\'s material'
        in (den / "job.toml").read_text()
    )
    building = load(den / "job.toml").building
    (patch,) = building.patches_of["den/north"]
    assert building.elements[patch.element].assembly == "heavy"
    assert main(["import", "job.toml", "--dry-run"]) == 0
    assert re.search(r"den/north\s+wall .* heavy\s+masonry", capsys.readouterr().out)


def test_nothing_is_overwritten(den: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (den / "job.toml").write_text("mine")
    message = refused(["import", "den.obj", *UNITS, "-o", "job.toml"], capsys)
    assert message == "job.toml: is there already and is not overwritten; choose another name"
    assert (den / "job.toml").read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["den.obj", *UNITS], "nothing to write to: name a project file with -o"),
        (["den.obj", *UNITS, "-o", "job.txt"], "job.txt: the name of a project file ends in .toml"),
        (["den.dxf", "-o", "job.toml"], "files that end in .dxf cannot be imported: export"),
        (["gone.obj", *UNITS, "-o", "job.toml"], "gone.obj: there is no such file"),
        (["den.obj", "-o", "job.toml"], "OBJ carries no unit and no up axis; say unit and up"),
        (["den.obj", "-o", "job.toml"], "as mm it measures 4 × 3 × 2.5 m"),
        (["den.obj", *UNITS, "--space", "dne", "-o", "job.toml"], "nearest names are den"),
        (["den.obj", *UNITS, "--storey", "attic", "-o", "job.toml"], "there is no storey 'attic'"),
        (["den.obj", *UNITS, "--rules", "no.toml", "--dry-run"], "no.toml: there is no such file"),
        (["rules.toml"], "is a project file already; with --dry-run"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(
    den: Path, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said_of_it = refused(["import", *arguments], capsys)
    assert message in said_of_it
    assert "\n" not in said_of_it
    assert not (den / "job.toml").exists()


@pytest.mark.parametrize(
    ("rules", "message"),
    [
        ('[[tag]]\nname = "x"', "rules.toml:1 tag[0].id: a rule takes assembly, becomes or both"),
        ('[[tag]]\nbecomes = "wndow"', 'rules.toml:2 tag[0].becomes: "wndow" is not a kind'),
        ('[[space]]\nid = "x"', "rules.toml:1 space: a file of rules holds [[tag]]"),
        ('[[tag]]\nassembly = "hevy"', 'rules.toml:2 tag[0].assembly: there is no assembly "hevy"'),
    ],
)
def test_bad_rules_are_told_with_their_line(
    den: Path, rules: str, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (den / "rules.toml").write_text(rules)
    arguments = ["import", "den.obj", *UNITS, "--rules", "rules.toml", "-o", "job.toml"]
    assert message in refused(arguments, capsys)
    assert not (den / "job.toml").exists()


def scrap(count: int) -> str:
    """The den, and loose triangles outside it, each an object of its own."""
    lines = [OBJ.rstrip("\n")]
    for index in range(count):
        x = 20_000 + 1_000 * index
        lines += [f"o scrap{index}", f"v {x} 0 0", f"v {x + 500} 0 0", f"v {x} 500 0"]
        lines.append("f -3 -2 -1")
    return "\n".join(lines) + "\n"


def test_everything_that_was_left_out_can_be_seen(
    den: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (den / "many.obj").write_text(scrap(60))
    assert main(["import", "many.obj", *UNITS, "-o", "many.toml"]) == 0
    out = said(capsys)
    assert "and 48 more: --dry-run lists them all" in out
    assert "scrap59" not in out
    for look in (["many.obj", *UNITS, "--dry-run"], ["many.toml", "--dry-run"]):
        assert main(["import", *look]) == 0
        out = said(capsys)
        assert all(f"scrap{index}:" in out for index in range(60))
        assert " more" not in out
    assert main(["import", "many.obj", *UNITS, "--list"]) == 0
    assert "scrap59:" in said(capsys)


def test_a_model_in_feet_is_told_in_feet(den: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scaled = []
    for line in filter(None, scrap(1).splitlines()):
        word, *rest = line.split()
        numbers = [f"{float(value) / 304.8:.9g}" for value in rest] if word == "v" else rest
        scaled.append(" ".join([word, *numbers]))
    (den / "feet.obj").write_text("\n".join(scaled))
    assert main(["import", "feet.obj", "--unit", "ft", "--up", "z", "--list"]) == 0
    out = said(capsys)
    assert "129.2 ft²" in out  # 12 m²
    assert "1 059 ft³" in out  # 30 m³
    assert "(at 66 ft 5 in, 10 in, 0 in)" in out  # 20.25 m, 0.25 m
    assert " m²" not in out
    assert " m)" not in out
    assert main(["import", "feet.obj", "--unit", "ft", "--up", "z", "--dry-run"]) == 0
    out = said(capsys)
    assert "ft²" in out
    assert " m²" not in out


def test_a_refused_model_in_feet_says_its_size_in_feet(
    den: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (den / "sheet.obj").write_text("v 0 0 0\nv 10 0 0\nv 10 0 8\nv 0 0 8\nf 1 2 3 4\n")
    shapeless = ["import", "sheet.obj", "--unit", "ft", "--up", "y", "-o", "sheet.toml"]
    told = refused(shapeless, capsys).replace("\u00a0", " ")
    assert "no closed space was found in a model of" in told
    assert "10 ft" in told
    assert " m (" not in told
