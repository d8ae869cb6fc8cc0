"""Every shape that a project file can say, written as a user writes it: volumes and areas in
closed form."""

import math

import pytest

from envelope.project import load

FOOT = 0.3048
ROOT = math.sqrt(2.0)
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
"""
ROOM = """
[[space]]
id = "room"
storey = "ground"
size = "6 m x 4 m"
height = "1 m"
"""
GABLE = 'ceiling = { shape = "gable", along = "x", ridge = "3 m" }\n'
DORMER = """
[[dormer]]
id = "N"
space = "room"
"""

# what is written, volume of each space [m³], area of some panels [m²]
SHAPES = {
    "shed, in feet": (
        """
[[space]]
id = "room"
storey = "ground"
walk = "E 12 ft; N 10 ft; W 12 ft; S"
height = "7 ft"
ceiling = { shape = "shed", low = "south", ridge = "9 ft 6 in" }
""",
        {"room": 12 * 10 * (7 + 9.5) / 2 * FOOT**3},
        {
            "room/ceiling": 12 * math.hypot(10, 2.5) * FOOT**2,
            "room/south": 12 * 7 * FOOT**2,
            "room/east": 10 * (7 + 9.5) / 2 * FOOT**2,
            "room/north": 12 * 9.5 * FOOT**2,
        },
    ),
    "gable": (
        ROOM + GABLE,
        {"room": 6 * (4 * 1 + 4 * 2 / 2)},
        {"room/ceiling-1": 6 * 2 * ROOT, "room/ceiling-2": 6 * 2 * ROOT, "room/east": 8.0},
    ),
    "hipped": (
        ROOM + 'ceiling = { shape = "hipped", ridge = "3 m" }\n',
        # a wedge 2 m long over the middle, and a pyramid of 4 m by 4 m cut in two
        {"room": 24 + 2 * (4 * 2 / 2) + 4 * 4 * 2 / 3},
        {
            "room/ceiling-1": (6 + 2) / 2 * 2 * ROOT,
            "room/ceiling-2": 4 / 2 * 2 * ROOT,
            "room/ceiling-3": (6 + 2) / 2 * 2 * ROOT,
            "room/ceiling-4": 4 / 2 * 2 * ROOT,
        },
    ),
    "knee walls and a level part": (
        """
[[space]]
id = "room"
storey = "ground"
origin = "0, 1 m"
size = "5 m x 5 m"
height = "1 m"
ceiling = { shape = "gable", along = "x", pitch = "45 deg", flat = "2.4 m" }

[[space]]
id = "eaves"
storey = "ground"
size = "5 m x 0.9 m"
height = "0 m"
ceiling = { shape = "shed", low = "south", pitch = "45 deg" }
""",
        {"room": 5 * (5 * 2.4 - 1.4**2), "eaves": 5 * 0.9**2 / 2},
        {
            "room/south": 5.0,
            "room/ceiling-1": 5 * 1.4 * ROOT,
            "room/ceiling-3": 5 * 2.2,
            "room/west": 5 * 2.4 - 1.4**2,
            "eaves/ceiling": 5 * 0.9 * ROOT,
            "eaves/north": 5 * 0.9,
        },
    ),
    "dormer on the knee wall": (
        ROOM + GABLE + DORMER + 'origin = "2, 0 m"\nsize = "2 m x 2 m"\nheight = "2.2 m"\n',
        {"room": 48 + 2 * 1.2**2 / 2},
        {
            "room/south": 6 + 2 * 1.2,
            "room/N-2": 1.2**2 / 2,
            "room/N-4": 1.2**2 / 2,
            "room/N-ceiling": 2 * 1.2,
            "room/ceiling-1": (6 * 2 - 2 * 1.2) * ROOT,
        },
    ),
    "gable dormer in the slope": (
        ROOM
        + GABLE
        + DORMER
        + 'origin = "2, 0.5 m"\nsize = "2 m x 1.5 m"\nheight = "2 m"\n'
        + 'ceiling = { shape = "gable", along = "y", ridge = "2.5 m" }\n',
        # level part 0.5 m deep, and its roof, which runs in to where the slope is as high
        {"room": 48 + 2 * 0.5**2 / 2 + 2 * 0.5 / 2 * 0.5 + 2 * 0.5 * 0.5 / 6},
        {
            "room/N-1": 2 * 0.5 + 2 * 0.5 / 2,
            "room/N-2": 0.5**2 / 2,
            "room/N-ceiling-1": (0.5 + 1.0) / 2 * math.hypot(1, 0.5),
        },
    ),
    "cross gable": (
        """
[[space]]
id = "room"
storey = "ground"
footprint = "0,0  3,0  3,-3  5,-3  5,0  8,0  8,4  0,4 m"
height = "2 m"
ceiling = { shape = "gable", along = "x", ridge = "4 m", over = "0,0  8,0  8,4  0,4 m" }

[[dormer]]
id = "wing"
space = "room"
footprint = "3,-3  5,-3  5,2  3,2 m"
height = "2 m"
ceiling = { shape = "gable", along = "y", pitch = "45 deg" }
""",
        {"room": 8 * 4 * 3 + 3 * (2 * 2 + 1) + 1 / 3},
        {
            "room/3": 2 * 2 + 1,
            "room/2": 6.0,
            "room/wing-ceiling-1": 3 * ROOT + ROOT / 2,
            "room/ceiling-2": 8 * 2 * ROOT,
            "room/ceiling-1": (8 * 2 - 1) * ROOT,
        },
    ),
    "bay": (
        """
[[space]]
id = "room"
storey = "ground"
walk = "E 2 m; SE 0.7071067811865476 m; E 1 m; NE 0.7071067811865476 m; E 2 m; N 4 m; W 6 m; S"
height = "2.5 m"
""",
        {"room": 2.5 * (24 + (2 + 1) / 2 * 0.5)},
        {"room/2": 2.5 * ROOT / 2, "room/3": 2.5, "room/4": 2.5 * ROOT / 2, "room/floor": 24.75},
    ),
    "columns and a chimney breast": (
        """
[[space]]
id = "room"
storey = "ground"
footprint = "0,0  6,0  6,4.5  3.8,4.5  3.8,4.0  2.2,4.0  2.2,4.5  0,4.5 m"
height = "2.6 m"
hollow = ["1.5,1.2  1.8,1.2  1.8,1.5  1.5,1.5 m", "4,2  4.6,2  4.3,2.6 m"]
""",
        {"room": 2.6 * (6 * 4.5 - 1.6 * 0.5 - 0.3**2 - 0.6 * 0.6 / 2)},
        {
            "room/5": 2.6 * 1.6,
            "room/4": 2.6 * 0.5,
            "room/9": 2.6 * 0.3,
            "room/14": 2.6 * math.hypot(0.3, 0.6),
            "room/floor": 27 - 0.8 - 0.09 - 0.18,
            "room/ceiling": 27 - 0.8 - 0.09 - 0.18,
        },
    ),
    "attic and crawl space": (
        """
[[storey]]
id = "crawl"
floor = "-0.7 m"

[[storey]]
id = "attic"
floor = "2.7 m"

[[space]]
id = "crawl"
storey = "crawl"
size = "7 m x 5 m"
height = "0.5 m"

[[space]]
id = "room"
storey = "ground"
size = "7 m x 5 m"
height = "2.4 m"

[[space]]
id = "attic"
storey = "attic"
size = "7 m x 5 m"
height = "0 m"
ceiling = { shape = "gable", along = "x", ridge = "2 m" }
""",
        {"crawl": 17.5, "room": 84.0, "attic": 7 * 5 * 2 / 2},
        {
            "attic/ceiling-1": 7 * math.hypot(2.5, 2),
            "attic/east": 5 * 2 / 2,
            "crawl/south": 3.5,
        },
    ),
    "tilted skylight in a slope": (
        ROOM
        + GABLE
        + """
[[opening]]
id = "S"
on = "room/ceiling-south"
kind = "skylight"
at = "3, 1 m"
size = "0.8 m x 1 m"
reveal = "0.1 m"
state = "tilted"
tilt = "0.05 m"
""",
        {"room": 48 + 0.8 * 1 * 0.1},
        {
            "room/ceiling-1": 6 * 2 * ROOT - 0.8,
            "room/S/head": 0.8 * 0.1,
            "room/S/jamb-left": 1 * 0.1,
            # a slit at the head as wide as it tilts; what opens at a side is a triangle
            "room/S/gap-head": 0.8 * 0.05,
            "room/S/gap-left": 1 * 0.05 / 2,
            "room/S": 0.8 * 1 - 0.8 * 0.05 - 2 * 1 * 0.05 / 2,
        },
    ),
}


def built(tmp_path, text):
    path = tmp_path / "shape.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load(path).building


@pytest.mark.parametrize("shape", SHAPES)
def test_volume_and_areas(tmp_path, shape):
    text, volumes, areas = SHAPES[shape]
    building = built(tmp_path, text)
    found = {space.id: space.volume_m3 for space in building.spaces}
    assert found == pytest.approx(volumes, abs=1e-9)
    found = {name: building.panel(name).area_m2 for name in areas}
    assert found == pytest.approx(areas, abs=1e-9)


def areas_behind(building, panel):
    """Area of a panel by what lies behind it. [m²]"""
    found = {}
    for patch in building.patches_of[building.panel(panel).id]:
        found[patch.behind] = found.get(patch.behind, 0.0) + patch.area_m2
    return found


def test_a_basement_is_against_earth_up_to_grade(tmp_path):
    text = """
[[storey]]
id = "basement"
floor = "-1.5 m"

[[space]]
id = "room"
storey = "basement"
size = "4.6 m x 3.8 m"
height = "2.3 m"

[[panel]]
on = "room/west"
behind = "earth"
"""
    building = built(tmp_path, text)
    south = {"earth": 4.6 * 1.5, "outdoors": 4.6 * 0.8}
    assert areas_behind(building, "room/south") == pytest.approx(south, abs=1e-9)
    assert areas_behind(building, "room/west") == pytest.approx({"earth": 3.8 * 2.3}, abs=1e-9)
    assert areas_behind(building, "room/floor") == pytest.approx({"earth": 4.6 * 3.8}, abs=1e-9)


def test_split_levels_share_what_lies_between_the_higher_floor_and_the_lower_ceiling(tmp_path):
    text = """
[[space]]
id = "room"
storey = "ground"
floor = "0.75 m"
size = "4 m x 4.2 m"
height = "2.4 m"

[[space]]
id = "den"
storey = "ground"
origin = "4.15, 0 m"
size = "3.6 m x 4.2 m"
height = "3 m"

[[opening]]
id = "O"
on = "den/west"
kind = "open"
at = "1.4 m"
sill = "0.75 m"
size = "1.4 m x 2 m"
"""
    building = built(tmp_path, text)
    # the hole is cut out of both, and its wall's thickness is lined from the side that has it
    shared = 4.2 * 2.25 - 1.4 * 2
    for name in ("room/east", "den/west"):
        assert areas_behind(building, name)["space"] == pytest.approx(shared, abs=1e-9)
    assert sum(space.volume_m3 for space in building.spaces) == pytest.approx(
        4 * 4.2 * 2.4 + 3.6 * 4.2 * 3 + 1.4 * 2 * 0.15, abs=1e-9
    )


def test_an_attic_and_a_crawl_space_that_are_not_modelled(tmp_path):
    text = ROOM.replace('"1 m"', '"2.4 m"') + "raised = true\n"
    building = built(tmp_path, text)
    assert areas_behind(building, "room/floor") == pytest.approx({"outdoors": 24.0}, abs=1e-9)
    assert areas_behind(building, "room/ceiling") == pytest.approx({"outdoors": 24.0}, abs=1e-9)
    (patch,) = building.patches_of["room/ceiling"]
    # the ceiling's leaf and the roof's, with a void between of no certain width
    assert building.elements[patch.element].assembly == "ceiling-and-tiled-roof"
    (patch,) = building.patches_of["room/floor"]
    assert building.elements[patch.element].kind == "floor"


def test_two_buildings_and_what_stands_near_them(tmp_path):
    text = """
[[space]]
id = "room"
storey = "ground"
size = "4 m x 3 m"
height = "2.5 m"

[[space]]
id = "studio"
storey = "ground"
origin = "9, 4 m"
size = "3 m x 2 m"
height = "2.4 m"
ceiling = { shape = "shed", low = "east", ridge = "3 m" }

[[obstacle]]
id = "neighbour"
origin = "-4, -16 m"
size = "12 m x 8 m"
height = "7 m"
"""
    building = built(tmp_path, text)
    volumes = [space.volume_m3 for space in building.spaces]
    assert volumes == pytest.approx([30.0, 3 * 2 * 2.7], abs=1e-9)
    for panel in building.panels:
        assert {patch.behind for patch in building.patches_of[panel.id]} <= {"outdoors", "earth"}
    (block,) = building.obstacles
    assert block.corners.tolist() == [[-4, -16], [8, -16], [8, -8], [-4, -8]]
    assert (block.low_m, block.high_m) == (0.0, 7.0)
