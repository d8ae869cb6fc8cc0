"""Words of a picture stand on what shows there: held against what the renderer draws."""

from __future__ import annotations

from dataclasses import replace
from math import radians

import numpy as np
import pytest

from viewer.pictures.captions import shown_labels
from viewer.pictures.cutaway import shot_of, staged_of
from viewer.pictures.visibility import DepthMap
from viewer.scene.meshes import quad
from viewer.scene.records import Scene
from viewer.scene.rooms import edges_of, seen
from viewer.scene.shapes import Body, dashed
from viewer.scene.view import Camera, Margins, View

NEAR_SOUTH_EAST = View(azimuth_rad=radians(143.0))
FROM_ABOVE = Camera(
    view=View(azimuth_rad=0.0, elevation_rad=radians(90.0)),
    target_m=np.zeros(3),
    metres_per_pixel=0.01,
    size=(400, 300),
)


def sheet(x0: float, x1: float, height_m: float) -> Body:
    """A level sheet, 2 m along y."""
    corners = ((x0, -1.0), (x1, -1.0), (x1, 1.0), (x0, 1.0))
    return Body(mesh=quad(*(np.array([x, y, height_m]) for x, y in corners)), colour="#000000")


def test_a_spot_is_the_middle_of_what_no_other_body_hides() -> None:
    low, high = sheet(-1.5, 1.5, 0.0), sheet(-1.5, 0.5, 1.0)
    # alone: its middle, which is the picture's
    spot = DepthMap([low], FROM_ABOVE).spot(low.mesh)
    assert spot == pytest.approx((200.0, 150.0), abs=4.0)
    # half hidden: the middle of x from 0.5 to 1.5 m, on whichever side of the picture +x lies
    spot = DepthMap([low, high], FROM_ABOVE).spot(low.mesh)
    expected = FROM_ABOVE.project(np.array([1.0, 0.0, 0.0]))[0]
    assert spot == pytest.approx(tuple(expected), abs=4.0)
    # all hidden, and hidden by what is translucent
    cover = sheet(-1.6, 1.6, 1.0)
    assert DepthMap([low, cover], FROM_ABOVE).spot(low.mesh) is None
    assert DepthMap([low, replace(cover, opacity=0.5)], FROM_ABOVE).spot(low.mesh) is not None


def test_in_a_whole_house_nothing_is_written_through_floors(house_scene: Scene) -> None:
    margins = Margins(left=10, right=90, top=40, bottom=30)
    of = shot_of(
        house_scene, plan="walls-only", size=(640, 440), margins=margins, whole=True,
        view=NEAR_SOUTH_EAST, quantity="treatment",
    )  # fmt: skip
    depths = DepthMap(staged_of(of).bodies, of.camera)
    towards_eye = of.camera.view.towards_eye
    panels = {panel.id: panel for panel in house_scene.panels}
    for panel in panels.values():
        spot = depths.spot(panel.mesh) if seen(panel, house_scene, of.camera.view) else None
        if spot is None:
            continue
        # a ray from the eye through the spot meets no panel that shows before this one
        x, y = (np.array(spot) - np.array(of.camera.size) / 2) * of.camera.metres_per_pixel
        eye = of.camera.target_m + of.camera.view.right * x - of.camera.view.up * y
        depth = {}
        for other in panels.values():
            if not seen(other, house_scene, of.camera.view):
                continue
            along = float(other.normal @ towards_eye)
            at = eye + towards_eye * float((other.centre_m - eye) @ other.normal) / along
            corners = other.mesh.vertices[other.mesh.triangles] - at
            turns = np.cross(corners, np.roll(corners, -1, axis=1)) @ other.normal
            if ((turns > 0.0).all(axis=1) | (turns < 0.0).all(axis=1)).any():
                depth[other.id] = float(at @ towards_eye)
        assert max(depth, key=lambda name: depth[name]) == panel.id


def test_the_line_to_a_face_that_is_cut_away_ends_on_its_own_outline(house_scene: Scene) -> None:
    margins = Margins(left=10, right=90, top=40, bottom=30)
    of = shot_of(
        house_scene, plan="walls-only", size=(640, 440), margins=margins, view=NEAR_SOUTH_EAST
    )
    drawn = staged_of(of).lines
    cut = [house_scene.panels[house_scene.panel_index[label.panel]] for label in shown_labels(of)]
    cut = [panel for panel in cut if not seen(panel, house_scene, of.camera.view)]
    assert cut
    for panel in cut:
        end = edges_of(panel, of.camera.view)[0]
        lines = [line.points for line in drawn if line.of in (panel.id, panel.host)]
        ends = np.concatenate([np.linspace(line[0], line[-1], 9) for line in lines])
        # within a dash or the gap beside it
        assert np.linalg.norm(ends - end, axis=1).min() < 0.3, panel.id


def test_dashes_begin_and_end_each_side() -> None:
    square = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [2.0, 1.0, 0.0], [0.0, 1.0, 0.0]])
    found = dashed(square, long_m=0.2)
    ends = np.concatenate(found)
    for corner in square:
        assert (np.linalg.norm(ends - corner, axis=1) < 1e-9).sum() == 2
    lengths = [float(np.linalg.norm(b - a)) for a, b in found]
    assert max(lengths) < 0.3
    # two thirds of it, and a sixth of a dash more on each side, which ends in a dash
    assert 4.0 < sum(lengths) < 4.4
