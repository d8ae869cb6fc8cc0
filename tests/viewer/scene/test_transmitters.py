"""Transmitters at a place: where they are drawn, the line to them, and what it passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from viewer.pictures.cutaway import shot_of
from viewer.pictures.staging import stage
from viewer.scene.colours import LIGHT
from viewer.scene.records import Ring, Scene, SceneSource
from viewer.scene.rooms import Rooms
from viewer.scene.scopes import extent, scope_of
from viewer.scene.to_json import to_json
from viewer.scene.transmitters import _met, dashes, diamond, is_near, label_of, sights, way_to
from viewer.scene.view import Margins

RING = Ring(centre_m=np.array([2.0, 1.0, 0.0]), radius_m=3.0, north=np.array([0.0, 1.0, 0.0]))


def at(source: SceneSource, *position_m: float) -> SceneSource:
    return replace(source, position_m=np.array(position_m))


@pytest.fixture
def router(house_scene: Scene) -> SceneSource:
    return next(source for source in house_scene.sources if source.id == "router")


def moved(scene: Scene, *position_m: float) -> Scene:
    """The scene with its router elsewhere."""
    sources = tuple(
        at(source, *position_m) if source.id == "router" else source for source in scene.sources
    )
    return replace(
        scene,
        sources=sources,
        sights=sights(sources, scene.receivers, scene.panels),
    )


def test_a_line_is_open_where_it_passes_a_wall(house_scene: Scene) -> None:
    # typed from the fixture: from the bed at x = 0.5 to the hall at x = 5.6, through the wall
    # between x = 4.2 and the hall's own face
    (sight,) = house_scene.sights
    assert (sight.source, sight.receiver) == ("router", "bed")
    start, finish = np.array([0.5, 1.15, 3.4]), np.array([5.6, 2.2, 4.0])
    assert sight.pieces[0][0] == pytest.approx(start)
    assert sight.pieces[-1][1] == pytest.approx(finish)
    assert len(sight.pieces) == 2
    way = (finish - start) / np.linalg.norm(finish - start)
    for piece in sight.pieces:
        for point in piece:  # all of it on the one straight line
            assert np.linalg.norm(np.cross(point - start, way)) == pytest.approx(0.0, abs=1e-9)
    panels = {panel.id: panel for panel in house_scene.panels}
    near, far = sight.pieces[0][1], sight.pieces[1][0]
    own = [p for p in panels.values() if p.space == "bedroom" and p.kind == "wall"]
    met = max(own, key=lambda p: float(p.centre_m[0]))
    gap = float(np.linalg.norm(far - near))
    assert float((near - met.centre_m) @ met.normal) > 0.0  # still inside
    assert float((far - met.centre_m) @ met.normal) < 0.0
    assert 0.12 < gap < 0.6


def test_nothing_between_leaves_the_line_whole(house_scene: Scene) -> None:
    (sight,) = moved(house_scene, 2.5, 2.0, 4.0).sights
    assert len(sight.pieces) == 1
    assert dashes(sight)[0] == pytest.approx(np.array([[0.5, 1.15, 3.4], [2.5, 2.0, 4.0]]))
    assert moved(house_scene, 0.5, 1.15, 3.4).sights[0].pieces == ()


def test_beyond_the_first_panel_the_line_is_dashed(house_scene: Scene) -> None:
    (sight,) = house_scene.sights
    drawn = dashes(sight)
    assert len(drawn) > 2
    beyond = sum(float(np.linalg.norm(b - a)) for a, b in drawn[1:])
    long = float(np.linalg.norm(np.diff(sight.pieces[1], axis=0)))
    assert 0.4 * long < beyond < 0.8 * long


def test_a_far_one_comes_as_an_arrow_with_its_distance(
    house_scene: Scene, router: SceneSource
) -> None:
    (bed,) = house_scene.receivers
    near, far = at(router, 5.0, 1.0, -2.0), at(router, 0.5, 41.15, 3.4)
    assert is_near(near, RING)
    assert not is_near(far, RING)
    assert not is_near(at(router, 2.0, 1.0, -6.1), RING)
    own = Rooms(full=("bedroom",), low=("hall",), below=())

    def label(of: SceneSource, *, feet: bool = False, rooms: Rooms = own) -> str:
        scene = replace(house_scene, feet=feet)
        return label_of(of, bed, scene=scene, rooms=rooms, ring=RING)

    # its mark is drawn before the floor or the wall that hides it: the words say where it is
    assert label(near) == "router in hall, under this floor"
    assert label(router) == "router in hall, behind a wall"
    assert label(at(router, 2.0, 1.0, 5.9)) == "router in hall, over this ceiling"
    assert label(router, rooms=replace(own, full=("bedroom", "hall"))) == "router in hall"
    assert label(far) == "router in hall, 40\u00a0m away"
    assert label(far, feet=True) == "router in hall, 131\u00a0ft away"
    assert way_to(far, bed) == pytest.approx([0.0, 1.0, 0.0])
    mast = next(source for source in house_scene.sources if source.id == "mast")
    assert way_to(mast, bed) is mast.direction
    assert label(mast) == mast.label


@pytest.mark.parametrize("below_m", [0.0, 3.0])
def test_the_camera_holds_it_and_the_stage_shows_it(house_scene: Scene, below_m: float) -> None:
    scene = moved(house_scene, 3.0, 1.0, 3.6 - below_m)
    shot = shot_of(
        scene,
        plan="as-built",
        size=(640, 440),
        margins=Margins(left=10, right=90, top=40, bottom=30),
    )
    x, y = shot.camera.project(np.array([3.0, 1.0, 3.6 - below_m]))[0]
    assert 10 < x < 550
    assert 40 < y < 410
    staged = stage(
        scene=scene,
        plan="as-built",
        receiver="bed",
        scope=shot.scope,
        camera=shot.camera,
        theme=LIGHT,
    )
    (mark,) = [body for body in staged.bodies if body.of == "router"]
    assert mark.over
    assert mark.mesh.vertices.mean(axis=0) == pytest.approx([3.0, 1.0, 3.6 - below_m])
    assert any(line.over and line.of == "router" for line in staged.lines)


def test_a_far_one_does_not_shrink_the_picture(house_scene: Scene) -> None:
    def span(scene: Scene) -> float:
        points = extent(scene, scope_of(scene, receiver="bed"))
        return float(np.ptp(points[:, :2], axis=0).max())

    assert span(moved(house_scene, 300.0, 0.0, 10.0)) < 1.5 * span(house_scene)


def test_its_mark_is_a_closed_body_wound_outward() -> None:
    mesh = diamond(np.array([1.0, 2.0, 3.0]), 0.1)
    assert mesh.area_vector_m2 == pytest.approx(np.zeros(3), abs=1e-12)
    # two pyramids over a square of diagonals 0.2 m, 0.135 m high each
    assert mesh.volume_m3 == pytest.approx(2 * 0.02 * 0.135 / 3)


def test_the_lines_go_to_the_pages(house_scene: Scene) -> None:
    (sight,) = to_json(house_scene)["sights"]
    assert (sight["source"], sight["receiver"]) == ("router", "bed")
    assert [len(piece) for piece in sight["pieces"]] == [6, 6]
    assert sight["pieces"][0][:3] == [0.5, 1.15, 3.4]


def test_a_triangle_that_a_line_runs_along_is_passed_over_without_a_warning() -> None:
    """Both quotients are infinite there, of opposite sign: their sum is no number."""
    start, way = np.array([0.0, 0.0, 0.0]), np.array([1.0, 0.0, 0.0])
    above = np.array([[[0.0, 0.0, 1.0], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]]])
    across = np.array([[[2.0, -1.0, -1.0], [2.0, 3.0, -1.0], [2.0, -1.0, 3.0]]])
    assert _met(start, way, np.concatenate((above, across))) == [2.0]
