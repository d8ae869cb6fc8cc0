"""Drawings of faces, held against places worked out by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from envelope.building.job import Job
from envelope.project import load_text
from envelope.works.bonding import bonding_of
from envelope.works.elevations import Elevation, drawn_walls, elevations_of
from envelope.works.takeoff import take_off
from viewer.report.elevation_svg import WIDTH_MM, elevation_svg, mark_rows
from viewer.scene.behind import behind_faces

FOOT = 0.3048
JOB = """
format = 1
name = "Loft room"
supply = { voltage = "120 V", frequency = "60 Hz" }
[construction]
exterior-wall = "timber-wall"
slab = "ground-slab"
roof = "ceiling-and-tiled-roof"
window = "double-glazing"
door = "hollow-wood-door"
[[storey]]
id = "ground"
floor = "1 ft"
[[space]]
id = "loft"
storey = "ground"
walk = "E 20 ft; N 10 ft; W 10 ft; N 6 ft; W 10 ft; S"
height = "8 ft"
ceiling = { shape = "gable", along = "x", ridge = "12 ft" }
[[opening]]
id = "W1"
on = "loft/1"
kind = "window"
at = "5 ft"
sill = "3 ft"
size = "4 ft x 3 ft"
reveal = "6 in"
[[opening]]
id = "D1"
on = "loft/6"
kind = "door"
at = "2 ft"
size = "2 ft 8 in x 6 ft 8 in"
undercut = "3/8 in"
[[opening]]
id = "B1"
on = "loft/2"
kind = "box"
at = "3 ft"
sill = "1 ft"
size = "3 in x 4 in"
ring = "1/4 in"
[[circuit]]
id = "sockets"
route = "low"
[[outlet]]
id = "bed"
circuit = "sockets"
on = "loft/1"
at = "2 ft"
[[outlet]]
id = "desk"
circuit = "sockets"
on = "loft/1"
at = "12 ft"
[[bond]]
id = "earth"
on = "loft/1"
at = "16 ft"
height = "1 ft"
[[treatment]]
id = "coating"
kind = "sheet"
sheet-resistance = "6 ohm/sq"
[[treatment]]
id = "mesh"
kind = "mesh"
wire = "0.25 mm"
pitch = "1.3 mm"
metal = "copper"
[[product]]
id = "roll"
for = "mesh"
form = "roll"
width = "4 ft"
overlap = "2 in"
turn-up = "3 in"
packs = [{ holds = "100 ft", price = "300 USD" }]
[[receiver]]
id = "bed"
space = "loft"
at = "5 ft, 5 ft, 2 ft"
[[plan]]
id = "all"
treat = [{ on = "loft/walls", with = "coating" }, { on = "loft/reveals", with = "coating" },
         { on = "loft/floor", with = "mesh" }]
"""


@pytest.fixture(scope="module")
def job() -> Job:
    return load_text(JOB, path="job.toml")


@pytest.fixture(scope="module")
def faces(job: Job) -> dict[str, Elevation]:
    plan = job.plan("all")
    drawn = elevations_of(
        job,
        plan,
        panels=(*drawn_walls(job, plan), "loft/floor"),
        found=take_off(job, plan),
        bonding=bonding_of(job, plan, size_m=0.5),
        behind=behind_faces(job, plan),
    )
    return {face.panel: face for face in drawn}


def test_a_gables_wall_and_its_door_by_hand(faces: dict[str, Elevation]) -> None:
    """Wall 6 is 16 ft wide; eaves 8 ft, ridge 12 ft half way.

    The door lies 2 ft from its right end as seen from inside, so from 16 − 2 − 2 ft 8 in =
    11 ft 4 in to 14 ft from its left end, and reaches the floor with its undercut.
    """
    wall = faces["loft/6"]
    assert wall.width_m / FOOT == pytest.approx(16.0)
    assert wall.height_m / FOOT == pytest.approx(12.0)
    tops = sorted((round(x / FOOT, 6), round(y / FOOT, 6)) for x, y in wall.outline if y > 7 * FOOT)
    assert tops == [(0.0, 8.0), (8.0, 12.0), (16.0, 8.0)]
    (door,) = wall.openings
    assert door.low / FOOT == pytest.approx([11 + 4 / 12, 0.0], abs=1e-9)
    assert door.high / FOOT == pytest.approx([14.0, 6 + 8 / 12])


def test_a_box_its_ring_and_marks_by_hand(job: Job, faces: dict[str, Elevation]) -> None:
    """Wall 2 is 10 ft wide: the box begins 3 ft from its right end, its middle is 6 ft 10 1/2 in
    from the left and 1 ft 2 in above the floor; the ring is 1/4 in wider on every side."""
    wall = faces["loft/2"]
    (mark,) = wall.marks
    assert mark.at / FOOT == pytest.approx([6.875, 1 + 2 / 12])
    (ring,) = wall.rings
    assert (ring.max(axis=0) - ring.min(axis=0)) / FOOT == pytest.approx([3.5 / 12, 4.5 / 12])
    (row,) = mark_rows(job, wall)
    assert row.what == "electrical box B1"
    assert [words.replace("\xa0", " ") for words in (row.left, row.right, row.up)] == [
        "6 ft 10 1/2 in",
        "3 ft 1 1/2 in",
        "1 ft 2 in",
    ]


def test_outlets_bond_and_the_run_between_them(faces: dict[str, Elevation]) -> None:
    wall = faces["loft/1"]  # 20 ft wide; places count from its right end
    assert [(mark.id, mark.kind) for mark in wall.marks] == [
        ("earth", "bond"),
        ("desk", "socket"),
        ("bed", "socket"),
    ]
    assert [mark.at[0] / FOOT for mark in wall.marks] == pytest.approx([4.0, 8.0, 18.0])
    assert wall.runs == ()
    (run,) = wall.likely_runs  # a rule has put it there
    assert sorted([run.start[0] / FOOT, run.stop[0] / FOOT]) == pytest.approx([8.0, 18.0])


def test_seams_of_a_floor_stand_where_strips_begin(faces: dict[str, Elevation]) -> None:
    """Strips of 4 ft that overlap by 2 in begin every 3 ft 10 in."""
    seams = faces["loft/floor"].seams
    assert sorted(line.start[0] / FOOT for line in seams) == pytest.approx(
        [(3 + 10 / 12) * k for k in range(1, 6)]
    )


def test_every_drawing_is_well_formed_and_lies_within_its_sheet(
    job: Job, faces: dict[str, Elevation]
) -> None:
    for face in faces.values():
        drawn = elevation_svg(job, face, title=face.panel)
        root = ElementTree.fromstring(drawn)
        width, height = (float(each) for each in root.attrib["viewBox"].split()[2:])
        assert width <= WIDTH_MM
        for words in root.iter("{http://www.w3.org/2000/svg}text"):
            assert 0.0 < float(words.attrib["x"]) < width
            assert 0.0 < float(words.attrib["y"]) < height
        for points in re.findall(r'points="([^"]+)"', drawn):
            for pair in points.split():
                x, y = (float(each) for each in pair.split(","))
                assert 0.0 <= x <= width
                assert 0.0 <= y <= height


def test_dimensions_are_in_the_measure_of_the_job(job: Job, faces: dict[str, Elevation]) -> None:
    in_feet = elevation_svg(job, faces["loft/1"], title="x").replace("\xa0", " ")
    assert ">20 ft<" in in_feet
    assert ">4 ft × 3 ft<" in in_feet
    metric = elevation_svg(replace(job, feet=False), faces["loft/1"], title="x")
    assert ">6.10 m<" in metric.replace("\xa0", " ")


def test_a_strip_along_a_run_is_drawn_where_it_is_coated() -> None:
    """The sample's known run lies 0.8 m from the west wall, over 3.6 m, under a strip of 25 cm."""
    path = Path(__file__).parents[3] / "models" / "wiring.toml"
    job = load_text(path.read_text("utf-8"), path="wiring.toml")
    plan = job.plan("walls-and-floor-strip")
    (floor,) = elevations_of(job, plan, panels=["bedroom/floor"], behind=behind_faces(job, plan))
    (strip,) = floor.strips
    assert strip.min(axis=0) == pytest.approx([0.675, 0.0], abs=1e-9)
    assert strip.max(axis=0) == pytest.approx([0.925, 3.6], abs=1e-9)
    (run,) = floor.runs
    assert (run.start[0], run.stop[0]) == pytest.approx((0.8, 0.8))
