"""Pictures: what is staged, where labels go, and a few pixels that must mean what they show."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from envelope.errors import EnvelopeError, MissingExtraError
from envelope.exposure.results import PanelLeak
from envelope.text.names import panel_title
from envelope.text.sentences import leak_label
from viewer.pictures import cutaway as pictures
from viewer.pictures import gl
from viewer.pictures.captions import Shot, shown_labels
from viewer.pictures.labels import Wanted, grown, overlap, place
from viewer.pictures.painter import Painter, painter
from viewer.pictures.staging import Stage, stage
from viewer.scene import colours
from viewer.scene.records import Scene
from viewer.scene.rooms import rooms_of
from viewer.scene.scopes import extent
from viewer.scene.view import Margins, View, best_view, fit

SIZE = (640, 440)
MARGINS = Margins(left=10, right=90, top=40, bottom=30)
NEAR_SOUTH_EAST = View(azimuth_rad=math.radians(143.0))  # the south and the east wall are cut


def shot(scene: Scene, **asked: object) -> Shot:
    asked = {"plan": "walls-only", "size": SIZE, "margins": MARGINS, "scale": 1, **asked}
    return pictures.shot_of(scene, **asked)  # type: ignore[arg-type]


def staged(of: Shot) -> Stage:
    return stage(
        scene=of.scene,
        plan=of.plan,
        receiver=of.receiver,
        scope=of.scope,
        camera=of.camera,
        theme=of.theme,
        quantity=of.quantity,
    )


# -- colours --------------------------------------------------------------------------------------


def test_cividis_is_the_published_map():
    # matplotlib carries the full table of the same paper; the straight lines are within 2/255
    from matplotlib import colormaps

    table = np.array(colormaps["cividis"].colors)
    found = colours.cividis(np.linspace(0.0, 1.0, 256))
    assert np.abs(found - table).max() < 2 / 255
    luminance = found @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(luminance) > 0).all()
    assert colours.cividis(np.array([-5.0, 9.0])) == pytest.approx(table[[0, -1]], abs=2 / 255)


def relative_luminance(colour: str) -> float:
    """WCAG 2.1, definition of relative luminance (from memory)."""
    parts = np.array(colours.rgb(colour))
    linear = np.where(parts <= 0.03928, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(first: str, second: str) -> float:
    low, high = sorted((relative_luminance(first), relative_luminance(second)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [colours.LIGHT, colours.DARK], ids=lambda theme: theme.name)
def test_words_can_be_read_on_their_grounds(theme: colours.Theme):
    for ground in (theme.paper, theme.paper_top):
        for words in (theme.ink, theme.muted, theme.source):
            assert contrast(words, ground) >= 4.5, (words, ground)
    assert contrast(theme.ink, theme.label) >= 7.0


def test_treatments_are_told_apart_without_colour():
    styles = colours.treatment_styles([f"t{k}" for k in range(60)])
    assert len({style.letter for style in styles}) == 60
    assert [style.letter for style in styles[18:22]] == ["Y", "Z", "AA", "AB"]
    assert not {"N", "E", "S", "W"}.intersection(style.letter for style in styles)
    assert len({(style.colour, style.pattern) for style in styles}) == 60
    # CIE 1976 lightness (from memory): a grey print still tells the eight colours apart
    lightness = [116 * relative_luminance(style.colour) ** (1 / 3) - 16 for style in styles[:8]]
    assert min(np.diff(sorted(lightness))) > 7.0


def test_amber_is_kept_for_gaps():
    used = {style.colour for style in colours.treatment_styles([f"t{k}" for k in range(8)])}
    used |= set(colours.cividis_table(256))
    for theme in (colours.LIGHT, colours.DARK):
        used |= {getattr(theme, name) for name in theme.__dataclass_fields__}
    assert colours.AMBER not in used


# -- GL -------------------------------------------------------------------------------------------


def test_a_renderer_that_dies_is_only_a_no(monkeypatch: pytest.MonkeyPatch):
    # what the renderer does without a display, EGL and OSMesa: the process is gone
    dies = Painter("import os, signal; os.kill(os.getpid(), signal.SIGTERM)")
    assert not dies.works()
    dies.end()
    if sys.platform.startswith("linux"):  # and the renderer itself, allowed only a display
        monkeypatch.delenv("DISPLAY", raising=False)
        monkeypatch.setenv("VTK_DEFAULT_OPENGL_WINDOW", "vtkXOpenGLRenderWindow")
        blind = Painter()
        assert not blind.works()
        blind.end()


def test_a_renderer_that_dies_over_a_picture_is_one_line_and_the_next_is_drawn(house_scene: Scene):
    of = shot(house_scene)
    first = painter()
    lost = pictures.begin_rendering(of, replace(pictures.staged_of(of), bodies=()))  # no such job
    with pytest.raises(EnvelopeError, match=r"renderer ended while it drew .*\(ValueError: "):
        lost.result(timeout=60)
    first.end()
    drawn = pictures.begin_rendering(of, pictures.staged_of(of)).result(timeout=60)
    assert painter() is not first
    assert drawn.shape == (SIZE[1], SIZE[0], 3)


def test_without_gl_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, house_scene: Scene, tmp_path: Path
):
    monkeypatch.setattr(gl, "can_draw", lambda: False)
    target = tmp_path / "a.png"
    with pytest.raises(EnvelopeError, match=r"GPU driver or Mesa .*libegl1 libegl-mesa0"):
        pictures.cutaway(house_scene, plan="walls-only", path=target)
    assert not target.exists()


def test_without_the_library_it_names_the_extra(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(
        gl, "find_spec", lambda name: None if name == "vtkmodules" else find_spec(name)
    )
    with pytest.raises(MissingExtraError, match=r"VTK.*gapcast\[viewer\]"):
        gl.require_offscreen()


# -- what is asked for ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"plan": "nowhere"}, 'no plan "nowhere"; there are: as-built, walls-only'),
        ({"receiver": "sofa"}, 'no receiver "sofa"; there are: bed'),
        ({"storey": "attic"}, 'no storey "attic"; there are: ground, upper'),
        ({"size": (50, 50)}, "50 by 50 pixels: allowed are 200 to 8000"),
        ({"scale": 9}, "scale of 9: allowed are 1 to 4"),
    ],
)
def test_what_cannot_be_shown_is_said(house_scene: Scene, asked: dict[str, object], message: str):
    with pytest.raises(EnvelopeError, match=message):
        shot(house_scene, **asked)


# -- view and camera ------------------------------------------------------------------------------


def test_camera_fits_everything_into_the_margins(house_scene: Scene):
    of = shot(house_scene)
    pixels = of.camera.project(extent(house_scene, of.scope))
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    assert low[0] >= 10 - 1e-6
    assert low[1] >= 40 - 1e-6
    assert high[0] <= 640 - 90 + 1e-6
    assert high[1] <= 440 - 30 + 1e-6
    tight = min(550 - (high[0] - low[0]) - 10, 410 - (high[1] - low[1]) - 40)
    assert tight == pytest.approx(0.0, abs=1e-6)  # one of the two ways is filled


def test_axes_of_a_view_are_right_handed_and_right_is_level():
    view = View(azimuth_rad=1.1, elevation_rad=0.6)
    axes = np.array([view.right, view.up, view.towards_eye])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert view.right[2] == 0.0
    assert view.up[2] > 0.0


def test_across_the_picture_lengths_are_true():
    view = View(azimuth_rad=0.3)
    points = np.array([[0.0, 0, 0], [3.0, 1, 2]])
    camera = fit(points=points, view=view, size=(400, 300), margins=MARGINS)
    ends = camera.project(np.array([[0.0, 0, 0], 2.0 * view.right]))
    assert (ends[1, 0] - ends[0, 0]) * camera.metres_per_pixel == pytest.approx(2.0)
    assert ends[1, 1] == pytest.approx(ends[0, 1])


def test_best_view_shows_the_windows(house_scene: Scene):
    view = best_view(scene=house_scene, spaces=("bedroom",))
    window = house_scene.panels[house_scene.panel_index["bedroom/W1"]]
    assert window.normal @ view.towards_eye > 0.2


def test_arrows_are_not_hidden_behind_the_room(house_scene: Scene):
    of = shot(house_scene)
    ring = of.scope.ring
    mast, router = of.scope.marks
    assert (mast.source, router.source, router.arrow_m) == ("mast", "router", None)
    assert mast.arrow_m is not None
    tail, tip = mast.arrow_m
    room = house_scene.spaces[house_scene.space_index["bedroom"]]
    walls = of.camera.project(room.block.vertices)
    assert max(of.camera.project(np.array([tail, tip]))[:, 1]) < walls[:, 1].max()
    assert np.hypot(*(tip - ring.centre_m)[:2]) == pytest.approx(ring.radius_m)
    along = (tail - tip) / np.linalg.norm(tail - tip)
    assert along == pytest.approx(house_scene.sources[0].direction)
    # azimuth 40° with the site turned by 15° lies 25° from +y
    assert math.degrees(math.atan2(tip[0] - ring.centre_m[0], tip[1] - ring.centre_m[1])) == (
        pytest.approx(25.0)
    )


# -- staging --------------------------------------------------------------------------------------


def test_near_walls_are_cut_and_far_walls_stand(house_scene: Scene):
    of = shot(house_scene, view=NEAR_SOUTH_EAST)
    bodies = staged(of).bodies
    tops = {
        name: max(body.mesh.vertices[:, 2].max() for body in bodies if body.of == name and body.lit)
        for name in ("bedroom/1", "bedroom/6")
    }
    assert tops["bedroom/1"] == pytest.approx(2.75 + 0.10)  # south: before the eye
    assert tops["bedroom/6"] == pytest.approx(5.15)  # west: seen from inside
    filled = {body.of for body in bodies if not body.lit and body.opacity == 1.0}
    assert {"bedroom/5", "bedroom/6", "bedroom/W1", "bedroom/W2", "bedroom/floor"} <= filled
    assert not {"bedroom/1", "bedroom/2", "bedroom/D1", "bedroom/ceiling"} & filled


def test_only_gaps_are_amber(house_scene: Scene):
    for plan, gaps in (
        ("walls-only", {"bedroom/W1", "bedroom/W2", "bedroom/D1"}),
        ("walls-and-film", {"bedroom/W1", "bedroom/D1"}),
    ):
        lines = staged(shot(house_scene, plan=plan)).lines
        assert {line.of for line in lines if line.colour == colours.AMBER} == gaps


def test_other_storeys_are_left_out_and_rooms_around_are_cut_low(house_scene: Scene):
    of = shot(house_scene)
    assert of.scope.rooms.full == ("bedroom",)
    assert of.scope.rooms.low == ("hall",)
    assert of.scope.rooms.below == ("living",)
    bodies = staged(of).bodies
    hall = np.concatenate([body.mesh.vertices for body in bodies if body.of == "hall"])
    assert hall[:, 2].max() < 2.75 + 0.10
    assert hall[:, 0].max() < 4.2 + 0.18 + 1.0  # only so much of it as is near
    assert not any(body.of.startswith("living") for body in bodies)
    whole = rooms_of(scene=house_scene, receiver="bed", storey="upper")
    assert whole.full == ("bedroom", "hall")


def test_colours_follow_the_quantity(house_scene: Scene):
    def colour(quantity: str, name: str) -> object:
        bodies = staged(shot(house_scene, quantity=quantity, view=NEAR_SOUTH_EAST)).bodies
        return next(body.colour for body in bodies if body.of == name and not body.lit)

    # the window: 10 lg(0.3/0.454 · 300/850) = -6.3 dB on -40 … 0;
    # its loss is -10 lg(0.3/0.8) = 4.3 dB of 40
    assert colour("let-in", "bedroom/W1") == pytest.approx(
        tuple(colours.cividis(np.array([(40 - 6.322) / 40]))[0]), abs=1e-3
    )
    assert colour("loss", "bedroom/W1") == pytest.approx(
        tuple(colours.cividis(np.array([1 - 4.2597 / 40]))[0]), abs=1e-3
    )
    assert colour("treatment", "bedroom/6") == house_scene.treatments[0].colour
    assert colour("treatment", "bedroom/W1") == colours.LIGHT.neutral


def test_beams_are_drawn_where_they_reach_the_receiver(house_scene: Scene):
    beams = staged(shot(house_scene)).beams
    assert [beam.panel for beam in beams] == ["bedroom/W1", "bedroom/D1"]


# -- labels ---------------------------------------------------------------------------------------


def test_labels_stay_inside_and_never_cover_one_another():
    wanted = [
        Wanted(text=str(k), size=(120, 22), anchor=(200 + 6 * k, 150 + 3 * k)) for k in range(12)
    ]
    taken = [(180.0, 100.0, 260.0, 140.0)]
    placed = place(wanted=wanted, frame=(0, 0, 600, 400), taken=taken, gap=4)
    assert len(placed) == 12
    for index, one in enumerate(placed):
        left, top, right, bottom = one.box
        assert left >= 0
        assert top >= 0
        assert right <= 600
        assert bottom <= 400
        assert overlap(one.box, taken[0]) == 0.0
        assert all(overlap(grown(one.box, 4), other.box) == 0.0 for other in placed[:index])


def test_a_label_without_room_is_left_out_rather_than_laid_over_another():
    wanted = [Wanted(text=str(k), size=(90, 20), anchor=(50, 15)) for k in range(5)]
    placed = place(wanted=wanted, frame=(0, 0, 100, 60), gap=4)
    assert 1 <= len(placed) < 5
    assert placed[0].wanted.text == "0"  # the most important one stays


# -- rendered -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def rendered(house_scene: Scene) -> np.ndarray:
    """Pixels of the south-east view without words."""
    if not gl.can_draw():
        pytest.fail("pictures need EGL or OSMesa here")
    of = shot(house_scene, view=NEAR_SOUTH_EAST)
    return pictures.begin_rendering(of, pictures.staged_of(of)).result(timeout=60).astype(int)


def around(image: np.ndarray, at: np.ndarray, reach: int = 2) -> np.ndarray:
    x, y = (round(float(value)) for value in at)
    return image[y - reach : y + reach + 1, x - reach : x + reach + 1].reshape(-1, 3)


def test_a_gap_has_an_amber_edge_and_a_tight_wall_has_none(
    house_scene: Scene, rendered: np.ndarray
):
    of = shot(house_scene, view=NEAR_SOUTH_EAST)
    amber = np.array([255, 176, 0])

    def nearest(name: str) -> float:
        ring = house_scene.panels[house_scene.panel_index[name]].outlines[0]
        middle = of.camera.project(0.5 * (ring[1] + ring[2]))[0]  # of its upper edge
        return float(np.abs(around(rendered, middle) - amber).max(axis=1).min())

    assert nearest("bedroom/W1") < 25
    assert nearest("bedroom/W2") < 25
    assert nearest("bedroom/5") > 60


def test_a_panel_keeps_its_colour_of_the_scale(house_scene: Scene, rendered: np.ndarray):
    of = shot(house_scene, view=NEAR_SOUTH_EAST)
    # a spot of the west wall away from corners, window and beam: 10 lg(0.0004/0.454 · 300/850)
    # = -35.1 dB
    spot = of.camera.project(np.array([0.0, 2.9, 4.95]))[0]
    expected = 255 * colours.cividis(np.array([(40 - 35.07) / 40]))[0]
    assert np.abs(np.median(around(rendered, spot), axis=0) - expected).max() < 16


def test_the_near_wall_is_gone(house_scene: Scene, rendered: np.ndarray):
    of = shot(house_scene, view=NEAR_SOUTH_EAST)
    # the middle of the south wall: one looks through it to the floor or a wall behind, all dark
    spot = of.camera.project(np.array([3.0, 0.0, 3.7]))[0]
    seen = np.median(around(rendered, spot), axis=0)
    assert seen[2] > seen[0] + 20
    assert seen.max() < 150


def test_cutaway_is_written_whole(house_scene: Scene, tmp_path: Path):
    from PIL import Image

    target = tmp_path / "room.png"
    target.write_bytes(b"old")
    pictures.cutaway(
        house_scene, plan="walls-and-film", path=target, size=(480, 330), scale=1, theme="dark"
    )
    with Image.open(target) as picture:
        assert picture.size == (480, 330)
        assert picture.format == "PNG"
        corner = np.asarray(picture.convert("RGB"))[-3, -3].astype(int)
    assert np.abs(corner - 255 * np.array(colours.rgb(colours.DARK.paper))).max() < 8
    assert [path.name for path in tmp_path.iterdir()] == ["room.png"]


def test_before_and_after_share_view_and_scale(house_scene: Scene, tmp_path: Path):
    from PIL import Image

    target = tmp_path / "pair.png"
    pictures.before_after(
        house_scene, before="walls-only", after="walls-and-film", path=target,
        size=(900, 330), scale=1, view=NEAR_SOUTH_EAST,
    )  # fmt: skip
    with Image.open(target) as picture:
        assert picture.size == (900, 330)
        pixels = np.asarray(picture.convert("RGB")).astype(int)
    column = round(200 * math.sqrt(600 * 330 / (1600 * 1100)))
    half = (900 - column) // 2
    difference = np.abs(pixels[60:270, :half] - pixels[60:270, half : 2 * half]).max(axis=2)
    # the window with film differs and little else: same view, same scale
    assert 0.002 < (difference > 40).mean() < 0.10


def test_a_folder_that_is_missing_is_said(house_scene: Scene, tmp_path: Path):
    with pytest.raises(EnvelopeError, match="cannot be written"):
        pictures.cutaway(
            house_scene, plan="walls-only", path=tmp_path / "no" / "a.png", size=(300, 220), scale=1
        )


# -- what has a label, and which rooms show --------------------------------------------------------


def with_leaks(scene: Scene, leaks: dict[str, tuple[float, bool]]) -> Scene:
    """The scene with nothing let in but by these panels: share and whether it is a gap."""
    at = scene.plan_index["walls-only"]
    panels = []
    for panel in scene.panels:
        states = list(panel.states)
        share, gap = leaks.get(panel.id, (0.0, False))
        found = None
        if panel.id in leaks:
            found = PanelLeak(
                panel=panel.id,
                kind=panel.kind,
                treatments=(),
                area_m2=panel.area_m2,
                solid_angle_sr=0.1,
                open_equivalent_solid_angle_sr=0.1 * share,
                loss_db=10.0 if gap else 30.0,
                share=share,
                direct_share=share,
                is_gap=gap,
            )
        states[at] = replace(states[at], leaks=(found,))
        panels.append(replace(panel, states=tuple(states)))
    # the most important first, as an analysis has it
    found = sorted(
        (panel.states[at].leaks[0] for panel in panels if panel.states[at].leaks[0] is not None),
        key=lambda leak: -leak.share,
    )
    plan = scene.plans[at]
    assert plan.result is not None
    (receiver,) = plan.result.receivers
    result = replace(plan.result, receivers=(replace(receiver, panels=tuple(found)),))
    plans = (*scene.plans[:at], replace(plan, result=result), *scene.plans[at + 1 :])
    return replace(scene, panels=tuple(panels), plans=plans)


def test_gaps_are_named_before_what_lets_in_more(house_scene: Scene):
    kinds = {panel.kind for panel in house_scene.panels if panel.space == "bedroom"}
    assert {"wall", "window", "door"} <= kinds
    of = shot(
        with_leaks(
            house_scene,
            {
                "bedroom/1": (0.60, False),
                "bedroom/3": (0.30, False),
                "bedroom/D1": (0.016, True),
                "bedroom/W1": (0.001, False),
                "bedroom/W2": (0.0004, True),
            },
        )
    )
    assert [label.panel for label in shown_labels(of)] == [
        "bedroom/D1",
        "bedroom/W2",
        "bedroom/1",
        "bedroom/3",
    ]


def test_a_strip_is_not_called_untreated(house_scene: Scene):
    door = house_scene.panels[house_scene.panel_index["bedroom/D1"]]
    leak = door.states[1].leaks[0]
    assert leak is not None
    strip = replace(door, id="bedroom/D1/undercut", kind="seam", opening="bedroom/D1")
    words = leak_label(strip, replace(leak, share=0.016), home="bedroom", stands="")
    assert words == "gap under D1: 1.6\u00a0%"


def test_a_face_before_a_room_that_is_not_in_the_job_says_so(house_scene: Scene):
    floor = house_scene.panels[house_scene.panel_index["bedroom/floor"]]
    leak = next(each for state in floor.states for each in state.leaks if each is not None)
    leak = replace(leak, share=0.75, treatments=())
    words = leak_label(floor, leak, home="bedroom", stands="", behind=("unmodelled",))
    assert words == "floor, room below not in the job, untreated: 75\u00a0%"
    words = leak_label(floor, leak, home="bedroom", stands="", behind=("outdoors",))
    assert words == "floor, untreated: 75\u00a0%"


@pytest.mark.parametrize(
    ("kind", "panel", "aliases", "title"),
    [
        ("window", "A103/window-1", (), "window-1"),
        ("window", "A103/W1", (), "window W1"),
        ("window", "A103/windowless", (), "window windowless"),
        ("door", "A103/door", (), "door"),
        ("door", "A103/Door 2", (), "Door 2"),
        ("wall", "A103/wall-5", (), "wall-5"),
        ("wall", "A103/wall-5", ("A103/south",), "south wall-5"),
        ("wall", "A103/5", (), "wall 5"),
        ("box", "A103/box-2", (), "electrical box-2"),
        ("box", "A103/B2", (), "electrical box B2"),
        ("open", "A103/open-1", (), "bare opening open-1"),
    ],
)
def test_what_a_panel_is_is_said_once(kind: str, panel: str, aliases: tuple[str, ...], title: str):
    assert panel_title(panel=panel, space="A103", kind=kind, aliases=aliases) == title


def test_the_whole_house_stands_in_full_and_can_be_peeled(house_scene: Scene):
    storeys = [each.id for each in house_scene.storeys]
    assert len(storeys) >= 2
    every = {space.id for space in house_scene.spaces}
    for peeled in (0, 1, 9):
        kept = storeys[: max(1, len(storeys) - peeled)]
        rooms = rooms_of(scene=house_scene, receiver="bed", whole=True, peeled=peeled)
        assert set(rooms.full) == {s.id for s in house_scene.spaces if s.storey in kept}
        assert (rooms.low, rooms.below) == ((), ())
        bodies = {body.of for body in staged(shot(house_scene, whole=True, peeled=peeled)).bodies}
        assert every & bodies == set(rooms.full)


def test_beams_are_drawn_only_with_the_room_they_fall_into(house_scene: Scene):
    home = house_scene.receivers[0].space
    for storey in house_scene.storeys:
        found = staged(shot(house_scene, storey=storey.id)).beams
        assert bool(found) == (home in storey.spaces)


def test_two_treatments_show_in_bands_of_both_colours(house_scene: Scene):
    at = house_scene.plan_index["walls-only"]
    two = [style.treatment for style in house_scene.treatments[:2]]
    assert len(two) == 2
    name = "bedroom/W1"
    panels = tuple(
        replace(
            panel,
            states=tuple(
                replace(state, treatments=tuple(two)) if index == at else state
                for index, state in enumerate(panel.states)
            ),
        )
        if panel.id == name
        else panel
        for panel in house_scene.panels
    )
    scene = replace(house_scene, panels=panels)
    panel = scene.panels[scene.panel_index[name]]
    seen_from = View(azimuth_rad=math.atan2(float(panel.normal[0]), float(panel.normal[1])) + 0.6)
    bodies = [
        body
        for body in staged(shot(scene, quantity="treatment", view=seen_from)).bodies
        if body.of == name and body.opacity == 1.0 and body.fade is None
    ]
    assert [body.colour for body in bodies] == [
        style.colour for style in house_scene.treatments[:2]
    ]
    areas = [body.mesh.area_m2 for body in bodies]
    assert areas == pytest.approx([panel.area_m2 / 2] * 2)
    assert all(body.mesh.area_vector_m2 @ panel.normal > 0.0 for body in bodies)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_edges_stand_out_from_what_keeps_out(house_scene: Scene, theme: colours.ThemeName):
    tight = with_leaks(house_scene, {"bedroom/1": (1e-9, False), "bedroom/3": (0.9, False)})
    found = {}
    for name in ("bedroom/1", "bedroom/3"):
        panel = tight.panels[tight.panel_index[name]]
        azimuth = math.atan2(float(panel.normal[0]), float(panel.normal[1])) + 0.6
        drawn = staged(shot(tight, theme=theme, view=View(azimuth_rad=azimuth)))
        (body,) = [each for each in drawn.bodies if each.mesh is panel.mesh]
        edges = {line.colour for line in drawn.lines if line.of == name and line.closed}
        found[name] = body.colour, edges
    chosen = colours.THEMES[theme]
    assert found["bedroom/1"] == (
        (0.0, pytest.approx(0.135, abs=0.01), pytest.approx(0.305, abs=0.02)),
        {chosen.ring},
    )
    assert found["bedroom/3"][1] == {chosen.edge}


def test_a_strip_that_is_a_gap_is_outlined_in_a_wall_that_is_cut_away(house_scene: Scene):
    window = house_scene.panel_index["bedroom/W1"]
    normal = house_scene.panels[window].normal
    behind = View(azimuth_rad=math.atan2(-float(normal[0]), -float(normal[1])) + 0.6)
    for gap in (True, False):
        scene = with_leaks(house_scene, {"bedroom/W1": (0.3, gap)})
        panels = list(scene.panels)
        panels[window] = replace(panels[window], kind="seam")
        drawn = staged(shot(replace(scene, panels=tuple(panels)), view=behind))
        lines = [line for line in drawn.lines if line.of == "bedroom/W1"]
        assert [line.colour for line in lines] == ([colours.AMBER] if gap else [])
