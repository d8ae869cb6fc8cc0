"""The figure: what it shows, that near walls follow the eye, and what it refuses."""

from __future__ import annotations

import math
import sys
from importlib.util import find_spec

import numpy as np
import pytest

from envelope.cli import main
from envelope.errors import EnvelopeError, MissingExtraError
from viewer.pictures import gl
from viewer.pictures.figure import _Drawing, figure
from viewer.scene.colours import LIGHT, cividis, rgb
from viewer.scene.records import Scene
from viewer.scene.rooms import faces
from viewer.scene.view import Camera, View

SIZE = (660, 440)


def camera_of(plotter) -> Camera:
    own = plotter.camera
    away = np.array(own.position) - own.focal_point
    away = away / np.linalg.norm(away)
    return Camera(
        view=View(
            azimuth_rad=math.atan2(away[0], away[1]), elevation_rad=math.asin(float(away[2]))
        ),
        target_m=np.array(own.focal_point),
        metres_per_pixel=2.0 * own.parallel_scale / SIZE[1],
        size=SIZE,
    )


def colour_at(plotter, point) -> np.ndarray:
    """The colour of a place in the figure, 0 to 1."""
    x, y = (round(value) for value in camera_of(plotter).project(np.array(point))[0].tolist())
    return plotter.screenshot(return_img=True)[y, x] / 255.0


def test_colours_are_those_of_the_scale(house_scene: Scene):
    made = figure(house_scene, plan="walls-only", quantity="loss", size=SIZE, off_screen=True)
    panel = house_scene.panels[house_scene.panel_index["bedroom/5"]]
    assert faces(panel, camera_of(made).view)
    leak = panel.states[1].leaks[0]
    assert leak is not None
    place = 1.0 - house_scene.loss.position(leak.loss_db)
    drawn = colour_at(made, [2.5, 3.6, 5.0])  # on the coated wall, clear of window and beams
    assert drawn == pytest.approx(cividis(np.array([place]))[0], abs=0.02)
    made.close()


def test_walls_before_the_eye_are_cut_down_while_it_turns(house_scene: Scene):
    made = figure(house_scene, plan="walls-only", quantity="treatment", size=SIZE, off_screen=True)
    spot = (2.3, 0.0, 4.3)  # on the coated south wall; seen through it, the bare floor
    coat = next(s.colour for s in house_scene.treatments if s.treatment == "coating")
    target = np.array(made.camera.focal_point)
    for degrees, colour in ((0.0, coat), (180.0, LIGHT.neutral)):  # eye in the north, the south
        towards = View(azimuth_rad=math.radians(degrees), elevation_rad=0.6).towards_eye
        made.camera.position = target + 60.0 * towards
        made.render()
        assert colour_at(made, spot) == pytest.approx(rgb(colour), abs=0.02)
    made.close()


def test_lines_keep_their_width_when_zoomed(monkeypatch: pytest.MonkeyPatch, house_scene: Scene):
    drawn = []
    add_words = _Drawing.add_words
    monkeypatch.setattr(_Drawing, "add_words", lambda self: (drawn.append(self), add_words(self)))
    made = figure(house_scene, size=SIZE, off_screen=True)
    scale = made.camera.parallel_scale
    made.camera.parallel_scale = scale / 1.1
    assert drawn[0]._drawn_for[1] == pytest.approx(2 * scale / SIZE[1])  # not yet
    made.camera.parallel_scale = scale / 1.5
    assert drawn[0]._drawn_for[1] == pytest.approx(2 * scale / 1.5 / SIZE[1])
    made.close()


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"plan": "nowhere"}, 'no plan "nowhere"; there are: as-built'),
        ({"receiver": "sofa"}, 'no receiver "sofa"'),
    ],
)
def test_what_cannot_be_shown_is_said(house_scene: Scene, asked: dict[str, str], message: str):
    with pytest.raises(EnvelopeError, match=message):
        figure(house_scene, off_screen=True, **asked)  # type: ignore[arg-type]


def test_a_window_shows_one_plan(capsys: pytest.CaptureFixture[str]):
    asked = ["view", "models/house.toml", "--window", "--plan", "as-built", "--plan", "walls-only"]
    assert main(asked) == 2
    assert "2 plans: a window shows one" in capsys.readouterr().err


def test_without_a_display_it_says_what_to_do_instead(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(gl, "can_open", gl.can_open.__wrapped__)
    told = r"there is no display; `gapcast view` shows the same in a browser"
    with monkeypatch.context() as patch:
        patch.setattr(sys, "platform", "linux")
        patch.delenv("DISPLAY", raising=False)
        with pytest.raises(EnvelopeError, match=told):
            gl.require_window()
    monkeypatch.setenv("DISPLAY", ":4711")
    if sys.platform.startswith("linux"):  # the renderer would take the process down
        with pytest.raises(EnvelopeError, match=told):
            gl.require_window()
    # one that draws, but has no window to show it in
    monkeypatch.setattr(gl, "_WINDOW_TRIAL", "print('vtkEGLRenderWindow')")
    with pytest.raises(EnvelopeError, match=told):
        gl.require_window()


def test_without_the_library_it_names_the_extra(
    monkeypatch: pytest.MonkeyPatch, house_scene: Scene
):
    monkeypatch.setattr(
        gl, "find_spec", lambda name: None if name == "pyvista" else find_spec(name)
    )
    with pytest.raises(MissingExtraError, match=r"PyVista.*gapcast\[viewer\]"):
        figure(house_scene)
