"""[model] and [[tag]] in a project file: spaces of a model file, and what the file says of them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from envelope.building.job import Job
from envelope.building.model import Site, Storey
from envelope.building.rooms.build import build_building
from envelope.building.rooms.specs import OpeningSpec, PanelSpec, SpaceSpec
from envelope.errors import ProjectFileError
from envelope.exchange import to_glb
from envelope.project import load, load_text

HEAD = 'format = 1\nname = "two rooms"\n\n'
MODEL = '[model]\nfile = "rooms.glb"\n'
MADE_OF = """
[construction]
exterior-wall = "brick"
interior-wall = "board"
floor = "board"
slab = "board"
roof = "board"
window = "pane"
door = "board"

[[assembly]]
id = "brick"
layers = [{ material = "brick", thickness = "240 mm" }]

[[assembly]]
id = "board"
layers = [{ material = "plasterboard", thickness = "25 mm" }]

[[assembly]]
id = "pane"
layers = [{ material = "glass", thickness = "6 mm" }]

[[assembly]]
id = "heavy"
layers = [{ material = "concrete", thickness = "200 mm" }]
"""
USE = """
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "5 ohm/sq"

[[source]]
id = "mast"
azimuth = "180 deg"
elevation = "5 deg"
band = "1800 MHz"
level = { ground = "100 uW/m2", attic = "300 uW/m2" }

[[receiver]]
id = "pillow"
space = "den"
at = "1.0, 1.0, 0.7 m"

[[plan]]
id = "walls"
treat = [{ on = "den/walls", with = "coating" }, { on = "*/W?", with = "coating" }]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two rooms side by side and a third above, as a GLB file of their own."""
    names = ("exterior-wall", "interior-wall", "floor", "slab", "roof", "window")
    spots = {"den": ("ground", 0.0, 0.0), "hall": ("ground", 4.1, 0.0), "loft": ("attic", 0.0, 2.7)}
    building = build_building(
        site=Site(),
        storeys=[Storey(id="ground", floor_m=0.0), Storey(id="attic", floor_m=2.7)],
        spaces=[
            SpaceSpec(
                id=name,
                storey=storey,
                corners=[[0, 0], [4, 0], [4, 3], [0, 3]],  # type: ignore[arg-type]
                height_m=2.5,
                origin=[x, 0.0],  # type: ignore[arg-type]
                floor_m=z,
            )
            for name, (storey, x, z) in spots.items()
        ],
        openings=[
            OpeningSpec(
                id="W1",
                on="den/1",
                kind="window",
                width_m=1.0,
                height_m=1.0,
                along_m=1.0,
                sill_m=1.0,
            )
        ],
        panels=[PanelSpec(on="den/east", assembly="heavy")],
        construction=dict.fromkeys(names, "any"),
    )
    (tmp_path / "rooms.glb").write_bytes(to_glb(building))
    return tmp_path


def read(folder: Path, text: str) -> Job:
    return load_text(HEAD + text, path="job.toml", folder=folder)


def faults(folder: Path, text: str) -> list[str]:
    with pytest.raises(ProjectFileError) as caught:
        read(folder, text)
    return [str(fault) for fault in caught.value.faults]


def made_of(job: Job, panel: str) -> list[str | None]:
    building = job.building
    return [building.elements[patch.element].assembly for patch in building.patches_of[panel]]


def test_spaces_storeys_selectors_plans_and_levels_work(folder: Path) -> None:
    job = read(folder, MODEL + MADE_OF + USE)
    building = job.building
    assert [space.id for space in building.spaces] == ["den", "hall", "loft"]
    assert [(storey.id, storey.floor_m) for storey in building.storeys] == [
        ("ground", 0.0),
        ("attic", 2.7),
    ]
    assert job.receivers[0].position_m.tolist() == pytest.approx([1.0, 1.0, 0.7])
    assert job.plan("walls").treatments == {
        f"den/{name}": ("coating",) for name in ("1", "W1", "2", "3", "4")
    }
    assert made_of(job, "den/1") == ["brick"]
    assert made_of(job, "den/W1") == ["pane"]
    assert [patch.far for patch in building.patches_of["den/ceiling"]] == ["loft/floor"]


def test_a_file_is_found_beside_its_project(folder: Path) -> None:
    (folder / "job.toml").write_text(HEAD + MODEL + MADE_OF)
    assert len(load(folder / "job.toml").building.spaces) == 3


def test_rules_come_in_the_order_of_the_file(folder: Path) -> None:
    rules = """
[[tag]]
kind = "wall"
assembly = "heavy"

[[tag]]
name = "den/south"
assembly = "brick"

[[tag]]
kind = "wall"
storey = "Attic"
assembly = "board"

[[tag]]
name = "*W1"
becomes = "door"
"""
    job = read(folder, MODEL + rules + MADE_OF)
    assert made_of(job, "den/1") == ["brick"]
    assert made_of(job, "den/3") == ["heavy"]
    assert made_of(job, "loft/1") == ["board"]
    assert job.building.panel("den/W1").kind == "door"
    assert made_of(job, "den/W1") == ["board"]


def test_a_rule_beats_the_model_on_the_other_side_and_a_panel_table_beats_both(
    folder: Path,
) -> None:
    # The model itself says that the wall between den and hall is heavy, on the den's side.
    assert set(made_of(read(folder, MODEL + MADE_OF), "den/2")) == {"heavy"}
    rule = '\n[[tag]]\nname = "hall/west"\nassembly = "brick"\n'
    job = read(folder, MODEL + rule + MADE_OF)
    assert "heavy" not in made_of(job, "den/2")
    assert made_of(job, "hall/4")[0] == "brick"
    table = '\n[[panel]]\non = "den/east"\nassembly = "pane"\n'
    job = read(folder, MODEL + rule + MADE_OF + table)
    assert made_of(job, "den/2")[0] == "pane"
    assert "brick" not in made_of(job, "hall/4")


def test_earth_can_be_said_of_a_panel(folder: Path) -> None:
    job = read(folder, MODEL + MADE_OF + '\n[[panel]]\non = "den/north"\nbehind = "earth"\n')
    assert {patch.behind for patch in job.building.patches_of["den/3"]} == {"earth"}


def test_obstacles_stand_beside_a_model(folder: Path) -> None:
    block = '\n[[obstacle]]\nid = "barn"\nsize = "4 m x 4 m"\norigin = "0, {} m"\nheight = "5 m"\n'
    job = read(folder, MODEL + MADE_OF + block.format("-9"))
    assert [each.id for each in job.building.obstacles] == ["barn"]
    (message,) = faults(folder, MODEL + MADE_OF + block.format("-2"))
    assert "obstacle barn reaches into space den" in message
    assert message.startswith("job.toml:")
    assert "obstacle[0]" in message


def test_a_space_can_be_tried_on_another_storey(folder: Path) -> None:
    text = HEAD + MODEL + 'spaces = ["hall", "loft"]\n' + MADE_OF
    job = load_text(text, path="job.toml", folder=folder, storey_of={"hall": "attic"})
    assert job.building.space("hall").floor_m == pytest.approx(2.7)
    assert job.building.panel("hall/floor").outline[:, 2] == pytest.approx([2.7] * 4)
    with pytest.raises(ProjectFileError, match='there is no storey "attc": did you mean "attic"'):
        load_text(text, path="job.toml", folder=folder, storey_of={"hall": "attc"})


def test_a_changed_model_and_an_idle_rule_are_noted(folder: Path) -> None:
    rule = '\n[[tag]]\nid = "glazing"\nname = "*glass*"\nbecomes = "window"\n'
    job = read(folder, MODEL + 'fingerprint = "0123456789abcdef"\n' + rule + MADE_OF)
    assert any("rooms.glb has changed since it was imported" in note for note in job.notes)
    assert "glazing catches no panel of rooms.glb" in job.notes
    (note,) = [note for note in job.notes if "has changed" in note]
    now = note.split('"')[1]
    job = read(folder, MODEL + f'fingerprint = "{now}"\n' + MADE_OF)
    assert not any("has changed" in note for note in job.notes)


def test_a_model_is_read_again_when_its_file_changes(folder: Path) -> None:
    assert len(read(folder, MODEL + MADE_OF).building.spaces) == 3
    path = folder / "rooms.glb"
    path.write_bytes(b"glTF")
    os.utime(path, ns=(1, 1))
    (message,) = faults(folder, MODEL + MADE_OF)
    assert message.startswith('job.toml:5 model.file: "rooms.glb": ')


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            '[model]\nfile = "gone.ifc"\n' + MADE_OF,
            'job.toml:5 model.file: "gone.ifc": there is no such file',
        ),
        (
            MODEL + 'spaces = ["hal"]\n' + MADE_OF,
            "job.toml:6 model.spaces: \"rooms.glb\": there is no space 'hal'; the nearest names "
            "are hall",
        ),
        (
            MODEL + 'storey = "cellar"\n' + MADE_OF,
            "job.toml:6 model.storey: \"rooms.glb\": there is no storey 'cellar' with spaces; "
            "there are ground, attic",
        ),
        (
            MODEL + 'unit = "m"\n' + MADE_OF,
            'job.toml:5 model.file: "rooms.glb": glTF is in metres with y up by definition; '
            "leave unit and up away",
        ),
        (
            MODEL + 'unit = "yard"\n' + MADE_OF,
            'job.toml:6 model.unit: "yard" is not a unit: it is one of "m", "cm", "mm", "ft", "in"',
        ),
        (
            "[model]\n" + MADE_OF,
            'job.toml:4 model.file: file is missing, such as file = "house.ifc"',
        ),
        (
            MODEL + MADE_OF + '\n[[space]]\nid = "den"\nstorey = "x"\nheight = "1 m"\n'
            'size = "1 m x 1 m"\n',
            "job.toml:32 space: [[space]] does not go with [model], which brings its own: take "
            "one or the other",
        ),
        (
            MODEL + "[[tag]]\nassembly = 'hevy'\n" + MADE_OF,
            'job.toml:7 tag[0].assembly: there is no assembly "hevy": did you mean "heavy"?',
        ),
        (
            MODEL + "[[tag]]\nkind = 'wall'\n" + MADE_OF,
            "job.toml:6 tag[0].id: a rule takes assembly, becomes or both, and this has neither",
        ),
        (
            MODEL + MADE_OF + '\n[[receiver]]\nid = "p"\nspace = "dne"\nat = "1, 1, 1 m"\n',
            'job.toml:34 receiver[0].space: there is no space "dne": did you mean "den"?',
        ),
        (
            MODEL + 'materials = { "Gips" = "plastr" }\n' + MADE_OF,
            'job.toml:6 model.materials.Gips: there is no material "plastr": did you mean "plaster',
        ),
        (
            MODEL + MADE_OF + '\n[[panel]]\non = "den/sout"\nassembly = "heavy"\n',
            'job.toml:33 panel[0].on: "den/sout" names no panel: did you mean "den/south"',
        ),
        (
            MODEL + MADE_OF.replace('id = "heavy"', 'id = "other"'),
            'job.toml:5 model.file: the model\'s panel "den/2" is made of "heavy", which is not '
            'defined: add [[assembly]] with id = "heavy"',
        ),
        (
            MODEL + MADE_OF.replace('window = "pane"\n', ""),
            "job.toml:7 construction.window: [construction] has no line for window, which "
            "den/W1 needs",
        ),
    ],
)
def test_faults_name_line_and_key(folder: Path, text: str, expected: str) -> None:
    found = faults(folder, text)
    assert len(found) == 1
    assert found[0].startswith(expected)


def test_a_unit_that_is_missing_is_told_at_the_table(folder: Path) -> None:
    (folder / "box.obj").write_text("v 0 0 0\nv 2 0 0\nv 2 3 0\nv 0 0 4\nf 1 2 3\nf 1 2 4\n")
    (message,) = faults(folder, '[model]\nfile = "box.obj"\n' + MADE_OF)
    assert message.startswith('job.toml:4 model.unit: "box.obj": OBJ carries no unit')
    assert "as feet it measures 0.61 × 0.914 × 1.22 m" in message


def test_rules_without_a_model_are_refused(folder: Path) -> None:
    found = faults(folder, '[[tag]]\nbecomes = "window"\n' + MADE_OF)
    assert (
        "job.toml:4 tag: [[tag]] goes with [model] only: it is a rule for a model's panels" in found
    )


def test_a_job_without_a_model_loads_no_importer() -> None:
    code = (
        "import sys\n"
        "from envelope.project import load\n"
        "load('models/bedroom.toml')\n"
        "print([name for name in sys.modules if name.startswith('envelope.exchange')])\n"
    )
    root = Path(__file__).parents[3]
    answer = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root
    )
    assert answer.stdout.strip() == "[]"
