"""The window: what is picked, what keys change, and that it is drawn; keys are called directly."""

from __future__ import annotations

import math
import sys
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from envelope.errors import EnvelopeError, MissingExtraError
from viewer.pictures import gl, window
from viewer.pictures.picking import panel_under, words_of
from viewer.pictures.window import Window, open_window
from viewer.scene.colours import LIGHT, cividis, rgb
from viewer.scene.records import Scene
from viewer.scene.rooms import faces
from viewer.scene.view import Camera, View

SIZE = (660, 440)


@pytest.fixture(scope="module")
def opened(house_scene: Scene):
    """One pane with the plan walls-only."""
    made = Window(house_scene, plans=["walls-only"], off_screen=True, size=SIZE)
    yield made
    made.close()


def pixel_of(made: Window, panel: str) -> tuple[float, float]:
    found = made.scene.panels[made.scene.panel_index[panel]]
    x, y = made.camera.project(found.mark_m)[0].tolist()
    return x, y


# -- picking ---------------------------------------------------------------------------------------


def straight_down(scene: Scene) -> Camera:
    return Camera(
        view=View(azimuth_rad=0.0, elevation_rad=math.pi / 2 - 1e-6),
        target_m=np.array([2.0, 1.0, 4.0]),
        metres_per_pixel=0.01,
        size=(1000, 800),
    )


def test_from_above_the_ceiling_is_cut_away_and_the_floor_is_met(house_scene: Scene):
    camera = straight_down(house_scene)
    met = panel_under(house_scene, camera=camera, pixel=(500, 400), spaces=("bedroom",))
    assert met is not None
    assert met.id == "bedroom/floor"
    # seen from the north, 4.2 m to the east are 420 pixels to the left
    assert panel_under(house_scene, camera=camera, pixel=(270, 400), spaces=("bedroom",)) is None


def test_the_notch_of_the_room_is_no_floor(house_scene: Scene):
    # the bedroom lacks its corner beyond x = 2.7 m, y = 2.6 m; the eye in the north has +x left
    camera = straight_down(house_scene)
    inside, outside = (2.5, 3.0), (3.4, 3.0)
    for (x, y), expected in ((inside, "bedroom/floor"), (outside, None)):
        pixel = (500 - (x - 2.0) * 100, 400 + (y - 1.0) * 100)
        met = panel_under(house_scene, camera=camera, pixel=pixel, spaces=("bedroom",))
        assert (met and met.id) == expected


def test_a_wall_before_the_eye_is_looked_through(house_scene: Scene):
    # eye in the south-west, level: walls 1 (south) and 6 (west) are turned away, 3 and 5 are not
    camera = Camera(
        view=View(azimuth_rad=math.radians(200.0), elevation_rad=0.0),
        target_m=np.array([1.0, 3.6, 3.3]),
        metres_per_pixel=0.01,
        size=(600, 400),
    )
    met = panel_under(house_scene, camera=camera, pixel=(300, 200), spaces=("bedroom",))
    assert met is not None
    assert met.id == "bedroom/5"  # below its window, which begins at 3.65 m
    higher = panel_under(house_scene, camera=camera, pixel=(300, 130), spaces=("bedroom",))
    assert higher is not None
    assert higher.id == "bedroom/W1"
    hidden = house_scene.panels[house_scene.panel_index["bedroom/1"]]
    assert not faces(hidden, camera.view)


def test_every_panel_that_shows_is_picked_at_its_own_mark(house_scene: Scene, opened: Window):
    view = opened.camera.view
    found = 0
    for panel in house_scene.panels:
        if panel.space != "bedroom" or not faces(panel, view):
            continue
        met = panel_under(
            house_scene,
            camera=opened.camera,
            pixel=pixel_of(opened, panel.id),
            spaces=("bedroom",),
        )
        assert met is not None
        # what stands nearer to the eye may hide it, nothing that lies farther may
        ahead = (met.mark_m - panel.mark_m) @ met.normal / (view.towards_eye @ met.normal)
        assert met is panel or ahead > 0.0
        found += met is panel
    assert found >= 5


def test_what_is_said_of_a_face(house_scene: Scene):
    panel = house_scene.panels[house_scene.panel_index["bedroom/W2"]]
    # typed from the fixture: 0.10 of 0.4552 sr in all, T = 0.1 / 0.8
    assert words_of(house_scene, panel, plan="walls-only", receiver="bed") == (
        "window W2, 1.20\u00a0m²",
        "board; untreated",
        "loss 9.0\u00a0dB, a gap",
        "22\u00a0% of what reaches bed directly",
    )
    other = house_scene.panels[house_scene.panel_index["living/1"]]
    assert words_of(house_scene, other, plan="walls-only", receiver="bed")[-1] == (
        "nothing comes from there"
    )


# -- keys and clicks -------------------------------------------------------------------------------


def test_a_click_says_what_the_face_is(opened: Window):
    panel = opened.pick(*pixel_of(opened, "bedroom/W1"))
    assert panel is not None
    assert panel.id == "bedroom/W1"
    assert opened.words[0].startswith("window W1, 1.68\u00a0m²")
    assert opened.pick(5.0, 5.0) is None
    assert opened.words == ()


def test_plans_change_by_number(opened: Window):
    opened.choose_plan(3)
    assert opened.plans == ("walls-and-film",)
    opened.choose_plan(9)  # there is none
    assert opened.plans == ("walls-and-film",)
    opened.choose_plan(2)
    assert opened.plans == ("walls-only",)


def test_colours_are_those_of_the_scale(opened: Window):
    x, y = (round(value) for value in pixel_of(opened, "bedroom/W1"))
    height = round(0.35 / opened.camera.metres_per_pixel)  # above the label, still glass
    loss = opened.scene.panels[opened.scene.panel_index["bedroom/W1"]].states[1].leaks[0]
    assert loss is not None
    opened.toggle_beams()
    opened.next_quantity()
    assert opened.quantity == "loss"
    drawn = opened.picture()[y - height, x] / 255.0
    place = 1.0 - opened.scene.loss.position(loss.loss_db)
    assert drawn == pytest.approx(cividis(np.array([place]))[0], abs=0.02)
    opened.next_quantity()
    assert opened.quantity == "treatment"
    assert opened.picture()[y - height, x] / 255.0 == pytest.approx(rgb(LIGHT.neutral), abs=0.02)
    opened.next_quantity()
    opened.toggle_beams()
    assert (opened.quantity, opened.beams) == ("let-in", True)


def test_beams_come_and_go(opened: Window):
    with_beams = opened.picture().astype(int)
    opened.toggle_beams()
    without = opened.picture().astype(int)
    opened.toggle_beams()
    again = opened.picture().astype(int)
    assert (np.abs(with_beams - without).max(axis=2) > 12).mean() > 0.01
    assert np.array_equal(with_beams, again)


def test_storeys_come_one_after_the_other(opened: Window):
    assert opened.storey is None
    shown = []
    for _ in range(3):
        opened.next_storey()
        shown.append((opened.storey, opened._cast.full))
    assert shown == [
        ("ground", ("living",)),
        ("upper", ("bedroom", "hall")),
        (None, ("bedroom",)),
    ]


def test_walls_before_the_eye_are_cut_down_while_it_turns(opened: Window):
    start = opened.camera.view
    south = opened.scene.panels[opened.scene.panel_index["bedroom/1"]]
    spot = np.array([2.3, 0.0, 4.3])  # on the coated wall; seen through it, the bare floor
    opened.next_quantity()
    opened.next_quantity()
    coat = next(s.colour for s in opened.scene.treatments if s.treatment == "coating")
    for degrees, colour in ((0.0, coat), (180.0, LIGHT.neutral)):  # eye in the north, the south
        opened.turn(View(azimuth_rad=math.radians(degrees), elevation_rad=0.6))
        assert faces(south, opened.camera.view) is (colour == coat)
        x, y = (round(value) for value in opened.camera.project(spot)[0].tolist())
        assert opened.picture()[y, x] / 255.0 == pytest.approx(rgb(colour), abs=0.02)
    opened.next_quantity()
    opened.turn(start)
    assert opened.camera.view.azimuth_rad == pytest.approx(
        math.remainder(start.azimuth_rad, math.tau)
    )


def test_lines_keep_their_width_when_zoomed(opened: Window):
    own = opened._plotter.renderers[0].camera
    before = own.parallel_scale
    own.parallel_scale = before / 1.1
    opened.follow_eye()
    assert opened._drawn_for is not None
    assert opened._drawn_for[1] == pytest.approx(2 * before / SIZE[1])  # not yet
    own.parallel_scale = before / 1.5
    opened.follow_eye()
    assert opened._drawn_for[1] == pytest.approx(2 * before / 1.5 / SIZE[1])
    own.parallel_scale = before
    opened.follow_eye()


# -- side by side ----------------------------------------------------------------------------------


def test_two_plans_share_one_camera_and_one_light(house_scene: Scene):
    made = Window(
        house_scene, plans=["as-built", "as-built"], off_screen=True, size=(880, 400), theme="dark"
    )
    made.turn(View(azimuth_rad=2.4, elevation_rad=0.7))
    left, right = np.split(made.picture().astype(int), 2, axis=1)
    room = (slice(130, 330), slice(100, 250))  # clear of words, legend and border
    assert np.abs(left[room] - right[room]).max() <= 3
    x, y = pixel_of(made, "bedroom/floor")
    assert made.pick(x + 440, y) is not None
    assert made.active == 1
    made.choose_plan(2)
    assert made.plans == ("as-built", "walls-only")
    left, right = np.split(made.picture().astype(int), 2, axis=1)
    assert np.abs(left[room] - right[room]).max() > 60
    made.close()


def test_a_picture_of_the_window_is_a_png(
    monkeypatch: pytest.MonkeyPatch, house_scene: Scene, tmp_path: Path
):
    monkeypatch.setattr(window, "_SIZE", SIZE)
    made = open_window(house_scene, plans=["as-built"], off_screen=True)
    target = tmp_path / "window.png"
    made.picture(target)
    made.close()
    assert target.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


# -- what cannot be --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"plans": []}, "0 plans: a window shows 1 to 3"),
        ({"plans": ["as-built"] * 4}, "4 plans: a window shows 1 to 3"),
        ({"plans": ["nowhere"]}, 'no plan "nowhere"; there are: as-built'),
        ({"plans": ["as-built"], "receiver": "sofa"}, 'no receiver "sofa"'),
    ],
)
def test_what_cannot_be_shown_is_said(house_scene: Scene, asked: dict[str, object], message: str):
    with pytest.raises(EnvelopeError, match=message):
        open_window(house_scene, off_screen=True, **asked)  # type: ignore[arg-type]


def test_without_a_display_it_says_what_to_do_instead(
    monkeypatch: pytest.MonkeyPatch, house_scene: Scene
):
    monkeypatch.setattr(gl, "can_open", gl.can_open.__wrapped__)
    told = r"there is no display; `gapcast view` shows the same in a browser"
    with monkeypatch.context() as patch:
        patch.setattr(sys, "platform", "linux")
        patch.delenv("DISPLAY", raising=False)
        with pytest.raises(EnvelopeError, match=told):
            open_window(house_scene, plans=["as-built"])
    monkeypatch.setenv("DISPLAY", ":4711")
    if sys.platform.startswith("linux"):  # the renderer would take the process down
        with pytest.raises(EnvelopeError, match=told):
            open_window(house_scene, plans=["as-built"])
    # one that draws, but has no window to show it in
    monkeypatch.setattr(gl, "_WINDOW_TRIAL", "print('vtkEGLRenderWindow')")
    with pytest.raises(EnvelopeError, match=told):
        open_window(house_scene, plans=["as-built"])


def test_without_the_library_it_names_the_extra(
    monkeypatch: pytest.MonkeyPatch, house_scene: Scene
):
    monkeypatch.setattr(
        gl, "find_spec", lambda name: None if name == "pyvista" else find_spec(name)
    )
    with pytest.raises(MissingExtraError, match=r"PyVista.*gapcast\[viewer\]"):
        open_window(house_scene, plans=["as-built"])


def test_the_keys_are_named_on_screen():
    for key in ("1-9", "B beams", "U storeys", "C colours", "Esc"):
        assert key in window._HELP
