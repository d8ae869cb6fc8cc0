"""What a picture shows of shapes: dormers, roofs, basements, split levels, columns, states."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from envelope.project import load
from envelope.text import decibels
from envelope.text.names import panel_label, panel_title
from viewer.pictures.cutaway import shot_of
from viewer.pictures.labels import Wanted, place
from viewer.pictures.staging import stage
from viewer.scene.build import build_scene
from viewer.scene.compass import blocked_arcs, ring_for
from viewer.scene.floorplan import room_plan
from viewer.scene.openings import tilted
from viewer.scene.records import Scene
from viewer.scene.rooms import (
    grade_lines,
    other_buildings,
    roof_lines,
    rooms_of,
)
from viewer.scene.to_json import to_json
from viewer.scene.view import Margins, View

HEAD = """
format = 1
name = "Shape"

[construction]
exterior-wall = "timber-wall"
interior-wall = "stud-wall"
floor = "joist-floor"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
door = "hollow-wood-door"

[[storey]]
id = "ground"
floor = "0 m"

[[receiver]]
id = "pillow"
space = "room"
at = "1.0, 2.0, 0.6 m"
"""
ROOM = """
[[space]]
id = "room"
storey = "ground"
size = "6 m x 4 m"
"""
NORTH_WEST = View(azimuth_rad=math.radians(315.0))  # the south and the east wall show


def scene_of(tmp_path: Path, text: str) -> Scene:
    path = tmp_path / "shape.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return build_scene(job=load(path))


def test_a_dormers_cheek_leaves_no_stub_in_the_air(tmp_path: Path):
    scene = scene_of(
        tmp_path,
        ROOM
        + """
height = "1 m"
ceiling = { shape = "gable", along = "x", ridge = "3 m" }

[[dormer]]
id = "N"
space = "room"
origin = "2, 0 m"
size = "2 m x 2 m"
height = "2.2 m"
""",
    )
    stubs = {wall.panel: len(wall.stub.triangles) for wall in scene.walls}
    assert stubs["room/N-2"] == stubs["room/N-4"] == 0
    assert all(stubs[f"room/{number}"] > 0 for number in (1, 2, 3, 4))


def test_a_sloped_roof_that_is_cut_away_is_drawn_in_lines(tmp_path: Path):
    gable = ROOM + 'height = "1 m"\nceiling = { shape = "gable", along = "x", ridge = "2 m" }\n'
    scene = scene_of(tmp_path, gable)
    rooms = rooms_of(scene=scene, receiver="pillow")
    # neither slope of 27° is turned to an eye 34° up: both are told by their outlines
    lines = roof_lines(scene=scene, rooms=rooms, view=NORTH_WEST)
    assert len(lines) == 2
    heights = np.concatenate(lines)[:, 2]
    assert (heights.min(), heights.max()) == (pytest.approx(1.0), pytest.approx(2.0))
    low = View(azimuth_rad=math.radians(0.0), elevation_rad=math.radians(10.0))
    (line,) = roof_lines(scene=scene, rooms=rooms, view=low)  # the south slope shows its inside
    assert line[:, 1].min() == pytest.approx(2.0)
    flat = scene_of(tmp_path, ROOM + 'height = "2.4 m"\n')
    assert roof_lines(scene=flat, rooms=rooms, view=NORTH_WEST) == []


def test_the_grounds_level_is_drawn_on_walls_below_it(tmp_path: Path):
    sunk = ROOM + 'height = "2.4 m"\nfloor = "-1.5 m"\n'
    window = """
[[opening]]
id = "W"
on = "room/south"
kind = "window"
at = "1 m"
sill = "1.2 m"
size = "1 m x 0.8 m"
"""
    scene = scene_of(tmp_path, sunk + window)
    rooms = rooms_of(scene=scene, receiver="pillow")
    lines = grade_lines(scene=scene, rooms=rooms, view=NORTH_WEST)
    ends = np.concatenate(lines)
    assert ends[:, 2] == pytest.approx(np.zeros(len(ends)), abs=1e-12)
    # the south wall of 6 m without its window, and the east wall of 4 m, in their own planes
    long = sum(float(np.linalg.norm(b - a)) for a, b in lines)
    assert long == pytest.approx(6.0 - 1.0 + 4.0)
    assert all(np.allclose(line[:, 1], 0.0) or np.allclose(line[:, 0], 6.0) for line in lines)
    assert to_json(scene)["grade_m"] == 0
    above = scene_of(tmp_path, ROOM + 'height = "2.4 m"\n')
    assert grade_lines(scene=above, rooms=rooms, view=NORTH_WEST) == []


def test_what_blocks_is_drawn_on_the_horizon(tmp_path: Path):
    scene = scene_of(
        tmp_path,
        ROOM
        + """
height = "2.4 m"

[[obstacle]]
id = "neighbour"
origin = "-7, -16 m"
size = "20 m x 8 m"
height = "7 m"
""",
    )
    ring = ring_for(scene=scene, rooms=rooms_of(scene=scene, receiver="pillow"))
    ((name, turns),) = blocked_arcs(scene, ring)
    # 10 m to both sides of the room's middle, its near side 10 m to the south
    assert name == "neighbour"
    assert to_json(scene)["blocks"] == [
        {"id": "neighbour", "corners": scene.blocks[0].corners_m.reshape(-1).tolist()}
    ]
    degrees = np.sort(np.degrees(turns) % 360.0)
    assert (degrees[0], degrees[-1]) == (pytest.approx(135.0), pytest.approx(225.0))
    assert np.diff(degrees).max() < 4.0


def test_no_floor_of_a_split_level_floats(tmp_path: Path):
    split = """
[[space]]
id = "room"
storey = "ground"
floor = "0.75 m"
size = "4 m x 4 m"
height = "2.4 m"

[[space]]
id = "den"
storey = "ground"
origin = "4.2, 0 m"
size = "3 m x 4 m"
height = "3 m"
"""
    scene = scene_of(tmp_path, split)
    feet = {space.id: float(space.base.vertices[:, 2].min()) for space in scene.spaces}
    assert feet["room"] == pytest.approx(feet["den"]) == pytest.approx(-0.22)
    # with a room beneath it, its floor is as thick as any
    gallery = split.replace('"0.75 m"', '"3.2 m"').replace('"4.2, 0 m"', '"0, 0 m"')
    scene = scene_of(tmp_path, gallery)
    feet = {space.id: float(space.base.vertices[:, 2].min()) for space in scene.spaces}
    assert feet == pytest.approx({"room": 3.2 - 0.22, "den": -0.22})


def test_columns_stand_in_the_plan_and_holes_in_the_floor_do_not(tmp_path: Path):
    scene = scene_of(
        tmp_path,
        """
[[storey]]
id = "upper"
floor = "2.7 m"

[[space]]
id = "below"
storey = "ground"
size = "6 m x 4 m"
height = "2.4 m"

[[space]]
id = "room"
storey = "upper"
size = "6 m x 4 m"
height = "2.4 m"
hollow = ["1,1  1.5,1  1.5,1.5  1,1.5 m"]

[[opening]]
id = "H"
on = "room/floor"
kind = "hatch"
at = "4, 2 m"
size = "0.8 m x 0.8 m"
""",
    )
    # the hatch reaches up to the floor beyond, the room below does not
    below = scene.spaces[scene.space_index["below"]]
    assert below.top_m == pytest.approx(2.4)
    assert below.block.vertices[:, 2].max() == pytest.approx(2.4)
    plan = room_plan(scene, space="room")
    assert plan.floor.area == pytest.approx(24.0 - 0.25)
    walls = plan.walls
    assert walls.contains(plan.floor.interiors[0].centroid)


def test_labels_say_how_windows_stand(tmp_path: Path):
    text = ROOM + 'height = "2.4 m"\n'
    for number, state in enumerate(("shut", "tilted", "open", "shuttered")):
        text += f"""
[[opening]]
id = "W{number}"
on = "room/south"
kind = "window"
at = "{0.3 + 1.4 * number:.1f} m"
sill = "0.9 m"
size = "1 m x 1.2 m"
tilt = "0.1 m"
state = "{state}"
shutter = "aluminium-shutter"
"""
    text += """
[[plan]]
id = "night"
states = { W0 = "tilted", W1 = "shut", W2 = "shuttered" }
"""
    scene = scene_of(tmp_path, text)
    said = {
        plan: [
            scene.panels[scene.panel_index[f"room/W{k}"]].states[scene.plan_index[plan]].stands
            for k in range(4)
        ]
        for plan in ("as-built", "night")
    }
    assert said == {
        "as-built": ["", "tilted", "open", "shutter down"],
        "night": ["tilted", "", "shutter down", "shutter down"],
    }
    words = panel_label(title="window W1", treatments=(), share=0.5, stands="tilted")
    assert words == "window W1, tilted, untreated: 50\u00a0%"
    sent = to_json(scene)["panels"][scene.panel_index["room/W1"]]
    assert [plan["stands"] for plan in sent["plans"]] == ["tilted", ""]
    gap = panel_title(panel="room/W1/gap-head", space="room", kind="seam")
    assert gap == "gap at head of W1"


def test_a_loss_that_rounds_to_nothing_has_no_sign():
    assert [decibels(value) for value in (-0.04, 0.04, -0.06)] == [
        "0.0\u00a0dB",
        "0.0\u00a0dB",
        "−0.1\u00a0dB",
    ]


def test_no_leader_runs_through_another_label():
    # the second label's place lies where the first would rather stand
    wanted = [
        Wanted(text="window", size=(140, 24), anchor=(300, 200), around=(260, 180, 340, 240)),
        Wanted(text="ceiling", size=(140, 24), anchor=(300, 164)),
    ]
    first, second = place(wanted=wanted, frame=(0, 0, 600, 400))
    left, top, right, bottom = first.box
    for t in np.linspace(0.0, 1.0, 41):
        x, y = (1 - t) * np.array(second.leader) + t * np.array(second.wanted.anchor)
        assert not (left < x < right and top < y < bottom)


def test_a_tilted_sash_leans_into_the_room(tmp_path: Path):
    scene = scene_of(
        tmp_path,
        ROOM
        + """height = "2.4 m"

[[opening]]
id = "W"
on = "room/north"
kind = "window"
at = "0.5 m"
sill = "0.9 m"
size = "1 m x 1.2 m"
tilt = "0.1 m"
state = "tilted"

[[plan]]
id = "night"
states = { W = "shut" }
""",
    )
    panel = scene.panels[scene.panel_index["room/W"]]
    leaf = tilted(panel, scene)
    inward = (leaf.mesh.vertices - panel.mesh.vertices) @ panel.normal
    tall = float(np.ptp(panel.mesh.vertices[:, 2]))
    # the strip at its head is as high as the sash has come in
    assert inward.max() == pytest.approx(0.1)
    assert inward.min() == pytest.approx(0.0)
    assert np.ptp(leaf.mesh.vertices[:, 2]) == pytest.approx(math.sqrt(tall**2 - 0.1**2))
    assert leaf.area_m2 == panel.area_m2
    seen_from = View(azimuth_rad=math.radians(150.0))
    for plan, said in (("as-built", ["in the wall", "leaning"]), ("night", ["in the wall"])):
        shot = shot_of(
            scene,
            plan=plan,
            size=(640, 440),
            margins=Margins(left=10, right=90, top=40, bottom=30),
            view=seen_from,
        )
        drawn = stage(
            scene=scene,
            plan=plan,
            receiver="pillow",
            scope=shot.scope,
            camera=shot.camera,
            theme=shot.theme,
        )
        leaves = [
            "leaning" if np.ptp(body.mesh.vertices @ panel.normal) > 0.05 else "in the wall"
            for body in drawn.bodies
            if len(body.mesh.vertices) == 4
            and np.allclose(body.mesh.vertices[:, 0], panel.mesh.vertices[:, 0])
        ]
        assert leaves == said


def test_other_buildings_are_said_to_be_beyond_the_picture(tmp_path: Path):
    text = (
        ROOM
        + """height = "2.4 m"

[[space]]
id = "next"
storey = "ground"
size = "2 m x 3.6 m"
height = "2.4 m"
origin = "6.15 m, 0 m"

[[space]]
id = "shed"
storey = "ground"
size = "2 m x 2 m"
height = "2.4 m"
origin = "20 m, 0 m"
"""
    )
    scene = scene_of(tmp_path, text)
    alone = rooms_of(scene=scene, receiver=scene.receivers[0].id)
    assert other_buildings(scene, alone) == ("shed",)
    whole = rooms_of(scene=scene, receiver=scene.receivers[0].id, whole=True)
    assert other_buildings(scene, whole) == ()
