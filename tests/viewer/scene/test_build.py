"""The scene: its arrays mean what they say, and so does its JSON."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from envelope.building.job import Assembly, Job, Layer, Plan, Receiver
from envelope.building.model import Site, Storey
from envelope.exposure.results import PanelLeak, PlanResult
from envelope.geometry.plane import area_vector, frame_of
from envelope.project import load_text
from envelope.text import decibels, percent, steradians
from envelope.text.names import shown, source_label
from viewer.handout.inline import inline_json
from viewer.scene.beams import Rays, sweep
from viewer.scene.build import build_scene
from viewer.scene.compass import direction_to
from viewer.scene.highlights import let_in_db
from viewer.scene.meshes import bed_for, fill_polygon, prism
from viewer.scene.records import Scene
from viewer.scene.sky_cache import skies_json
from viewer.scene.to_json import to_json

# -- filling --------------------------------------------------------------------------------------


def test_fill_keeps_the_area_of_a_wall_with_a_hole_and_a_door_at_its_edge():
    outline = np.array([[0, 0, 0], [0, 0, 2.4], [4, 0, 2.4], [4, 0, 0]], dtype=float)[::-1]
    door = np.array([[1, 0, 0], [1, 0, 2], [1.8, 0, 2], [1.8, 0, 0]], dtype=float)[::-1]
    window = np.array([[2.5, 0, 1], [2.5, 0, 2], [3.5, 0, 2], [3.5, 0, 1]], dtype=float)[::-1]
    frame = frame_of(outline)
    mesh, rings = fill_polygon(frame=frame, outline=outline, holes=(door, window))
    assert mesh.area_m2 == pytest.approx(4 * 2.4 - 0.8 * 2 - 1.0, abs=1e-12)
    # all triangles turn the same way: the vector area is as long as the area
    assert mesh.area_vector_m2 @ frame.normal == pytest.approx(mesh.area_m2, abs=1e-12)
    assert sorted(rings) == [4, 8]  # the window's ring, and the outline with the door's notch


def test_every_panel_keeps_its_area_and_looks_into_its_space(house_scene: Scene):
    assert len(house_scene.panels) == (6 + 1) + (8 + 3) + 6  # living, bedroom, hall
    for panel in house_scene.panels:
        assert panel.mesh.area_m2 == pytest.approx(panel.area_m2, abs=1e-9), panel.id
        assert panel.mesh.area_vector_m2 @ panel.normal == pytest.approx(panel.area_m2, abs=1e-9)


def test_a_mark_lies_on_its_panel_and_clear_of_its_holes(house_scene: Scene):
    for panel in house_scene.panels:
        frame = frame_of(panel.outlines[0])
        inside = [
            Polygon(frame.flatten(panel.mesh.vertices[triangle])).buffer(1e-6)
            for triangle in panel.mesh.triangles
        ]
        spot = Point(frame.flatten(panel.mark_m[np.newaxis])[0])
        assert any(triangle.contains(spot) for triangle in inside), panel.id
        assert abs((panel.mark_m - panel.outlines[0][0]) @ panel.normal) < 1e-9


def test_prism_is_closed_and_has_its_volume():
    ring = Polygon([(0, 0), (3, 0), (3, 2), (0, 2)], [[(1, 0.5), (1, 1.5), (2, 1.5), (2, 0.5)]])
    body = prism(ring, low_m=1.0, high_m=1.5)
    assert body.volume_m3 == pytest.approx((6.0 - 1.0) * 0.5, abs=1e-12)
    assert np.abs(body.area_vector_m2).max() < 1e-12


# -- walls ----------------------------------------------------------------------------------------


def test_stubs_leave_the_doorway_free_and_corners_meet(house_scene: Scene):
    stubs = {wall.panel: wall.stub for wall in house_scene.walls}
    # wall 2 is 2.6 m long, 0.18 m thick, has a door of 0.8 m, and a mitre out at both ends
    wall = stubs["bedroom/2"]
    assert wall.volume_m3 == pytest.approx(0.10 * 0.18 * (2.6 - 0.8 + 0.18), abs=1e-9)
    # stubs of one room tile the ring between its inside and its outside: nothing counted twice
    total = sum(stubs[f"bedroom/{k}"].volume_m3 for k in range(1, 7))
    footprint = Polygon([(0, 0), (4.2, 0), (4.2, 2.6), (2.7, 2.6), (2.7, 3.6), (0, 3.6)])
    ring = footprint.buffer(0.18, join_style="mitre").area - footprint.area
    assert total == pytest.approx(0.10 * (ring - 0.8 * 0.18), abs=1e-9)


def test_standing_walls_show_their_tops_and_cover_the_outer_footprint(house_scene: Scene):
    bedroom = house_scene.spaces[house_scene.space_index["bedroom"]]
    outer = Polygon(bedroom.outer[0])
    footprint = Polygon(bedroom.footprint[0])
    assert footprint.area == pytest.approx(4.2 * 3.6 - 1.5 * 1.0, abs=1e-9)
    assert outer.symmetric_difference(footprint.buffer(0.18, join_style="mitre")).area < 5e-3
    for wall in house_scene.walls:
        assert wall.standing.vertices[:, 2].max() == pytest.approx(
            5.15 if wall.storey == "upper" else 2.5
        )
    assert bedroom.block.volume_m3 == pytest.approx(outer.area * (2.4 + 0.22), rel=1e-9)


# -- beams ----------------------------------------------------------------------------------------


def test_beam_onto_a_floor_is_a_closed_prism():
    window = np.array([[0, 0, 1], [0, 0, 2], [1, 0, 2], [1, 0, 1]], dtype=float)
    frame = frame_of(window)
    assert frame.normal @ (0, 1, 0) == pytest.approx(1.0)
    towards = np.array([0.0, -1.0, 1.0]) / math.sqrt(2)  # comes down into the room at 45°
    landing = np.array([[0, 1, 0], [1, 1, 0], [1, 2, 0], [0, 2, 0]], dtype=float)
    swept = sweep(frame=frame, outline=window, polygons=[landing], rays=Rays(direction=towards))
    # base 1 m² in the window's plane, its depth along y from 1 m to 2 m
    assert swept.volume_m3 == pytest.approx(1.5, abs=1e-12)
    assert np.abs(swept.inside.area_vector_m2).max() < 1e-12
    (near, far), *rest = swept.outside
    assert not rest
    assert np.linalg.norm(area_vector(near)) == pytest.approx(1.0, abs=1e-9)
    assert (far - near) @ towards == pytest.approx(np.full(len(near), 2.6))


def test_sides_between_landings_at_one_depth_are_left_out_and_steps_are_kept():
    window = np.array([[0, 0, 0], [0, 0, 2], [2, 0, 2], [2, 0, 0]], dtype=float)
    frame = frame_of(window)
    rays = Rays(direction=np.array([0.0, -1.0, 0.0]))

    def upright(x0: float, x1: float, y: float) -> np.ndarray:
        return np.array([[x0, y, 0], [x0, y, 2], [x1, y, 2], [x1, y, 0]], dtype=float)

    flush = sweep(
        frame=frame, outline=window, polygons=[upright(0, 1, 3), upright(1, 2, 3)], rays=rays
    )
    assert flush.volume_m3 == pytest.approx(12.0, abs=1e-9)
    assert flush.inside.area_m2 == pytest.approx(2 * 4.0 + 4 * 6.0, abs=1e-9)  # no inner wall
    stepped = sweep(
        frame=frame, outline=window, polygons=[upright(0, 1, 3), upright(1, 2, 1)], rays=rays
    )
    assert stepped.volume_m3 == pytest.approx(2 * 3.0 + 2 * 1.0, abs=1e-9)
    # two caps twice, top and bottom 3 + 1 each, sides 2·3 and 2·1, and the step of 2·2
    assert stepped.inside.area_m2 == pytest.approx(8.0 + 8.0 + 6.0 + 2.0 + 4.0, abs=1e-9)
    assert np.abs(stepped.inside.area_vector_m2).max() < 1e-9


def test_beam_of_a_point_spreads():
    window = np.array([[-1, 0, -1], [-1, 0, 1], [1, 0, 1], [1, 0, -1]], dtype=float)
    landing = np.array([[-2, 1, -2], [-2, 1, 2], [2, 1, 2], [2, 1, -2]], dtype=float)
    swept = sweep(
        frame=frame_of(window),
        outline=window,
        polygons=[landing],
        rays=Rays(position_m=np.array([0.0, -1.0, 0.0])),
    )
    # frustum of height 1 between squares of 4 m² and 16 m²
    assert swept.volume_m3 == pytest.approx((4 + 16 + 8) / 3, abs=1e-9)
    assert all((far[:, 1] > -1.0).all() for _, far in swept.outside)  # never past the source


def test_beams_of_the_house_end_where_they_land(house_scene: Scene):
    beam = next(each for each in house_scene.beams if each.panel == "bedroom/W1")
    assert {landing.on for landing in beam.landings} >= {"bed", "bedroom/floor", "bedroom/6"}
    for landing in beam.landings:
        assert landing.mesh.area_m2 == pytest.approx(landing.area_m2, abs=1e-6)
    assert np.abs(beam.inside.area_vector_m2).max() < 1e-6
    # the window is 0.9 m to 2.1 m above the floor of a convex corner: all of its beam stays inside
    room = house_scene.spaces[house_scene.space_index["bedroom"]]
    assert (beam.inside.vertices >= room.low_m - 1e-6).all()
    assert (beam.inside.vertices <= room.high_m + 1e-6).all()
    assert [share.share for share in beam.shares if share is not None] == [0.95, 0.95, 0.95]


# -- directions, bed ------------------------------------------------------------------------------


def test_directions_turn_with_the_site():
    east = direction_to(azimuth_rad=math.pi / 2, elevation_rad=0.0, north_rad=0.0)
    assert east == pytest.approx([1.0, 0.0, 0.0])
    # +y points 15° east of north: what lies at true azimuth 15° lies along +y
    along = direction_to(
        azimuth_rad=math.radians(15), elevation_rad=0.0, north_rad=math.radians(15)
    )
    assert along == pytest.approx([0.0, 1.0, 0.0])


def test_a_bed_lies_in_its_box_with_its_head_at_the_wall(house_scene: Scene):
    (bed,) = house_scene.receivers
    assert [piece.kind for piece in bed.furniture] == ["foot", "slab", "pillow"]
    foot, slab, pillow = bed.furniture
    assert pillow.centre_m[1] < bed.position_m[1]  # the south wall is nearer
    assert slab.size_m == pytest.approx([2.0, 0.9, 0.2])
    assert foot.centre_m[2] + foot.size_m[2] / 2 == pytest.approx(3.35)
    top = slab.centre_m[2] + slab.size_m[2] / 2
    assert top == pytest.approx(3.55)


def test_a_point_gets_a_bed_that_fits_its_room_or_none(house_job: Job):
    room = house_job.building.space("bedroom")
    pillow = bed_for(position_m=np.array([0.4, 3.2, 3.45]), size_m=None, space=room)
    assert pillow
    footprint = Polygon([(0, 0), (4.2, 0), (4.2, 2.6), (2.7, 2.6), (2.7, 3.6), (0, 3.6)])
    frame = next(piece for piece in pillow if piece.kind == "slab")
    reach = 0.5 * float(np.hypot(*frame.size_m[:2]))
    assert footprint.buffer(0.06).contains(Point(frame.centre_m[:2]))
    assert np.hypot(*(frame.centre_m[:2] - (0.4, 3.2))) < reach
    high = bed_for(position_m=np.array([0.4, 3.2, 4.6]), size_m=None, space=room)
    assert high == ()


# -- plans, leaks, scales -------------------------------------------------------------------------


def test_states_hold_treatments_and_leaks_of_every_plan(house_scene: Scene):
    panel = house_scene.panels[house_scene.panel_index["bedroom/W2"]]
    assert [state.treatments for state in panel.states] == [(), (), ("film",)]
    leaks = [state.leaks[0] for state in panel.states]
    assert [leak.is_gap for leak in leaks if leak is not None] == [True, True, False]
    living = house_scene.panels[house_scene.panel_index["living/1"]]
    assert all(state.leaks == (None,) for state in living.states)
    assert house_scene.plans[1].treated_area_m2 == {
        "coating": pytest.approx(2.4 * (4.2 + 2.6 + 1.5 + 1.0 + 2.7 + 3.6) - 1.6 - 1.68 - 1.2)
    }


def test_leaks_are_ranked(house_scene: Scene):
    ranked = house_scene.leaks(plan="walls-only", receiver="bed")
    assert [panel.id for panel, _ in ranked[:3]] == ["bedroom/W1", "bedroom/W2", "bedroom/D1"]


def test_what_panels_let_in_adds_up_to_the_reduction(
    house_scene: Scene, house_results: tuple[PlanResult, ...]
):
    result = house_results[1].receivers[0]
    powers = [10 ** (let_in_db(leak, result=result) / 10) for leak in result.panels]
    # 300 of 850 µW/m²
    assert -10 * math.log10(sum(powers)) == pytest.approx(-10 * math.log10(3.0 / 8.5))
    tight = replace(result.panels[0], share=0.0)
    assert let_in_db(tight, result=result) == -math.inf
    assert house_scene.let_in.position(-30.0) == pytest.approx(0.25)
    assert house_scene.let_in.position(-math.inf) == 0.0


def test_without_results_the_geometry_is_there_and_no_number(house_job: Job):
    scene = build_scene(job=house_job)
    assert [plan.id for plan in scene.plans] == ["as-built", "walls-only", "walls-and-film"]
    assert scene.beams == ()
    assert all(state.leaks == (None,) for panel in scene.panels for state in panel.states)
    assert to_json(scene)["plans"][0]["receivers"] == [None]


# -- words ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.8349, "83\u00a0%"),
        (0.0996, "10\u00a0%"),
        (0.0943, "9.4\u00a0%"),
        (0.09, "9\u00a0%"),
        (0.0042, "0.4\u00a0%"),
        (0.0003, "<\u00a00.1\u00a0%"),
        (0.0, "0\u00a0%"),
        (math.nan, "0\u00a0%"),
        (0.997, "99.7\u00a0%"),
        (1.0, "100\u00a0%"),
    ],
)
def test_shares_as_words(share: float, words: str):
    assert percent(share) == words


def test_other_words():
    assert decibels(16.24) == "16.2\u00a0dB"
    assert decibels(math.inf) == "nothing passes"
    assert steradians(0.294) == "0.294\u00a0sr"
    assert steradians(0.0123) == "0.0123\u00a0sr"
    assert steradians(1e-5) == "0.0000100\u00a0sr"
    label = source_label(name="mast", azimuth_rad=math.radians(231), elevation_rad=0.07)
    assert label == "mast, azimuth 231°, 4° up"


def test_hostile_names_become_one_short_line():
    assert shown("a\u202eb\nc\x00d") == "ab cd"
    assert len(shown("x" * 10_000)) == 48
    assert shown("chambre d’amis, œil") == "chambre d’amis, œil"


# -- JSON -----------------------------------------------------------------------------------------


def test_json_is_plain_finite_and_rounded(house_scene: Scene):
    data = to_json(house_scene)
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    panel = data["panels"][house_scene.panel_index["bedroom/W1"]]
    assert len(panel["vertices"]) == 12
    assert len(panel["triangles"]) == 6
    assert all(round(value, 4) == value for value in panel["vertices"])
    leak = panel["plans"][1]["leaks"][0]
    assert leak["label"] == "window W1, untreated: 66\u00a0%"
    assert leak["let_in_db"] == -6.32  # 10 lg(0.3 / 0.454 · 300 / 850)
    assert leak["is_gap"] is True
    assert data["plans"][1]["receivers"][0]["gaps"] == ["bedroom/W1", "bedroom/W2", "bedroom/D1"]
    assert data["scales"]["let_in_db"] == [-40.0, 0.0]
    assert data["bounds"] == [0, 0, 0, 6.4, 3.6, 5.15]


def test_json_geometry_can_be_put_together_again(house_scene: Scene):
    data = to_json(house_scene)
    for entry in data["panels"]:
        vertices = np.array(entry["vertices"]).reshape(-1, 3)
        triangles = np.array(entry["triangles"]).reshape(-1, 3)
        assert sum(entry["rings"]) == len(vertices)
        a, b, c = (vertices[triangles[:, k]] for k in range(3))
        area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
        assert area == pytest.approx(entry["area_m2"], abs=2e-3)


def test_infinite_numbers_stand_as_none(house_job: Job, house_results: tuple[PlanResult, ...]):
    receiver = house_results[0].receivers[0]
    tight: PanelLeak = replace(
        receiver.panels[-1],
        loss_db=math.inf,
        open_equivalent_solid_angle_sr=0.0,
        share=0.0,
        below_if_treated_db=math.inf,
    )
    changed = replace(
        house_results[0], receivers=(replace(receiver, panels=(*receiver.panels[:-1], tight)),)
    )
    scene = build_scene(job=house_job, results=(changed,))
    entry = to_json(scene)["panels"][scene.panel_index[tight.panel]]["plans"][0]["leaks"][0]
    assert entry["loss_db"] is None
    assert entry["let_in_db"] is None
    assert entry["label"].endswith(": 0\u00a0%")


def test_text_cannot_end_a_script_element(house_job: Job, house_results: tuple[PlanResult, ...]):
    hostile = replace(house_job, name="</script><!--\u2028&")
    text = inline_json(to_json(build_scene(job=hostile, results=house_results)))
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text)["name"] == "</script><!--\u2028&"


# -- speed ----------------------------------------------------------------------------------------


def test_five_hundred_panels_make_a_scene(room_of, building_from):
    spaces = [
        room_of(
            name=f"room-{k}",
            storey="ground",
            corners=[(5 * k, 0), (5 * k + 4.6, 0), (5 * k + 4.6, 4), (5 * k, 4)],
            low_m=0.0,
            high_m=2.5,
            openings=[
                (f"W{n}", "window", 1 + n // 2, 0.4 + 1.6 * (n % 2), 0.9, 1.0, 1.2)
                for n in range(4)
            ],
        )
        for k in range(50)
    ]
    building = building_from(spaces=spaces, storeys=[Storey(id="ground", floor_m=0.0)], site=Site())
    assert len(building.panels) == 500
    job = Job(
        name="many",
        building=building,
        assemblies={
            name: Assembly(id=name, layers=(Layer(material="wood", thickness_m=0.03),))
            for name in ("board", "brick")
        },
        treatments={},
        sources=(),
        receivers=(Receiver(id="bed", space="room-0", position_m=np.array([1.0, 1.0, 0.7])),),
        plans=(Plan(id="as-built", treatments={}),),
    )
    assert len(build_scene(job=job).panels) == 500


# -- what a plan moves ----------------------------------------------------------------------------

MOVING = """
format = 1
name = "Linden Row (invented)"
construction = { exterior-wall = "timber-wall", interior-wall = "stud-wall", slab = "ground-slab", \
roof = "ceiling-and-tiled-roof", window = "double-glazing", door = "hollow-wood-door" }
storey = [{ id = "ground", floor = "0 m" }]
space = [
    { id = "bedroom", storey = "ground", size = "4 m x 3 m", height = "2.4 m" },
    { id = "study", storey = "ground", size = "3 m x 3 m", height = "2.4 m", origin = "4.1, 0 m" },
]

[[source]]
id = "router"
space = "bedroom"
at = "0.5, 0.5, 1 m"
band = "2.4-2.48 GHz"
eirp = "20 dBm"
may = [{ do = "move", space = "study", to = "2.5, 2.5, 1 m" }]

[[receiver]]
id = "pillow"
space = "bedroom"
at = "3.4, 1.5, 0.6 m"
bed = { head = "east", may-move = true }

[[plan]]
id = "moves"
measures = [{ source = "router", do = "move", space = "study", to = "2.5, 2.5, 1 m" }]
beds = [{ receiver = "pillow", at = "0.6, 1.5, 0.6 m", head = "west" }]
"""


@pytest.fixture(scope="module")
def moving() -> Scene:
    return build_scene(job=load_text(MOVING, path="moving.toml"))


def test_a_plan_has_sources_and_beds_where_it_moves_them(moving: Scene) -> None:
    assert moving.under("as-built") is moving
    there = moving.under("moves")
    (source,), (bed,), (sight,) = there.sources, there.receivers, there.sights
    assert source.position_m == pytest.approx((6.6, 2.5, 1.0))
    assert source.label == "router in study, moved"
    assert bed.position_m == pytest.approx((0.6, 1.5, 0.6))
    assert bed.name == "pillow, moved"
    pillow = next(piece for piece in bed.furniture if piece.kind == "pillow")
    assert pillow.centre_m[0] == pytest.approx(0.6, abs=0.2)
    assert sight.pieces[0][0] == pytest.approx(bed.position_m)
    assert sight.pieces[-1][-1] == pytest.approx(source.position_m)
    # and as it stands nothing has moved
    assert moving.sources[0].position_m == pytest.approx((0.5, 0.5, 1.0))
    assert moving.receivers[0].position_m == pytest.approx((3.4, 1.5, 0.6))


def test_a_page_is_told_what_a_plan_moves(moving: Scene) -> None:
    found = to_json(moving)
    today, moves = found["plans"]
    assert today["moved"] is None
    assert moves["moved"].keys() == {"receivers", "sights", "scopes"}
    assert moves["moved"]["receivers"][0]["position"] == pytest.approx([0.6, 1.5, 0.6])
    room = next(each for each in moves["moved"]["scopes"] if each["mode"] == "room")
    (mark,) = room["marks"]
    assert "moved" in mark["label"]
    assert mark["at"] == pytest.approx([6.6, 2.5, 1.0])


def test_the_sky_of_a_page_is_seen_from_where_a_plan_puts_the_bed() -> None:
    job = load_text(MOVING, path="moving.toml")
    results = [PlanResult(plan=plan.id, receivers=()) for plan in job.plans]
    (sky,) = skies_json(job=job, results=results, side=24)
    stays, moved = sky["moved"]
    assert stays is None
    (source,), (before,) = moved["sources"], sky["sources"]
    # from the pillow the router stood to the south-west; now it is to the east and a little north
    assert before["at"][0] < 0.0
    assert source["at"][0] > 0.0 < source["at"][1]
    assert moved["losses"][0] == []
    assert len(moved["losses"][1]) > 0
