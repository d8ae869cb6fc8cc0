"""The map of a room's level: round numbers, one scale, and pixels that mean what they show."""

from __future__ import annotations

import dataclasses
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from envelope.building.job import Job, Plan
from envelope.errors import EnvelopeError, MissingExtraError
from envelope.exposure.level_map import FloorLevels
from viewer.pictures import level_map as heatmap
from viewer.pictures.level_map import draw_heat_map
from viewer.pictures.level_scale import (
    contour_levels,
    fine_levels,
    heat_scale,
    level_at,
    round_level,
)
from viewer.scene.colours import cividis, rgb
from viewer.scene.floorplan import room_plan
from viewer.scene.records import Scale, Scene


def levels_over_bedroom(values_db, *, outside_w_m2: float = 8.5e-4) -> FloorLevels:
    """Levels over the L-shaped bedroom of the fixture, 0.3 m apart, from a function of x and y."""
    x, y = np.arange(0.15, 4.2, 0.3), np.arange(0.15, 3.6, 0.3)
    across, along = np.meshgrid(x, y)
    inside = ~((across > 2.7) & (along > 2.6))
    level = np.where(inside, 10.0 ** (values_db(across, along) / 10.0) * 1e-6, np.nan)
    return FloorLevels(
        plan="walls-only",
        receiver="bed",
        space="bedroom",
        height_m=3.4,
        x_m=x,
        y_m=y,
        points=np.column_stack((across[inside], along[inside], np.full(int(inside.sum()), 3.4))),
        inside=inside,
        by_source_w_m2={"mast": level},
        level_w_m2=level,
        outside_w_m2=np.where(inside, outside_w_m2, np.nan),
    )


@pytest.fixture(scope="module")
def split() -> FloorLevels:
    """20 dB over 1 µW/m² in the west, 5 dB in the east, one step between."""
    return levels_over_bedroom(lambda x, y: np.where(x < 2.1, 20.0, 5.0) + 0.0 * y)


# -- numbers and words -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("level_w_m2", "words"),
    [
        (1.2e-3, "1\u00a0200\u00a0µW/m²"),
        (850e-6, "850\u00a0µW/m²"),
        (123.456e-6, "123\u00a0µW/m²"),
        (99.96e-6, "100\u00a0µW/m²"),
        (4.0649e-6, "4.06\u00a0µW/m²"),
        (0.5e-6, "0.5\u00a0µW/m²"),
        (3.21e-10, "0.000321\u00a0µW/m²"),
        (0.0, "0\u00a0µW/m²"),
    ],
)
def test_levels_read_without_exponents(level_w_m2: float, words: str):
    assert round_level(level_w_m2) == words


def test_the_scale_spans_what_the_room_does(split: FloorLevels):
    # from 3.16 to 100 µW/m²: 5 to 20 dB over 1 µW/m²
    assert heat_scale(split) == Scale(low_db=5.0, high_db=20.0)
    narrow = levels_over_bedroom(lambda x, y: 24.0 + 0.25 * x + 0.0 * y)  # 24 to 25 dB
    # it has a contour at 24.1 dB and one at 25.0: on a scale of 4 dB the room would be one colour
    assert heat_scale(narrow) == Scale(low_db=24.0, high_db=25.5)
    flat = levels_over_bedroom(lambda x, y: 24.0 + 0.01 * x + 0.0 * y)
    assert heat_scale(flat) == Scale(low_db=23.5, high_db=24.5)
    wide = levels_over_bedroom(lambda x, y: -30.0 + 15.0 * x + 0.0 * y)
    assert heat_scale(wide).high_db - heat_scale(wide).low_db == 30.0


def test_every_contour_stands_on_the_scale(
    house_job: Job, split: FloorLevels, monkeypatch: pytest.MonkeyPatch
):
    words = {text for text, _ in drawn_words(house_job, split, monkeypatch)}
    assert {"5", "10", "20", "50"} <= words  # µW/m², beside the colours
    assert "outdoors: 850\u00a0µW/m²" in words


def test_contours_stand_at_round_levels(split: FloorLevels):
    # from 3.16 to 100 µW/m²
    found = [round(level * 1e6, 9) for level in contour_levels(split)]
    assert found == [5.0, 10.0, 20.0, 50.0]
    wide = levels_over_bedroom(lambda x, y: -30.0 + 15.0 * x + 0.0 * y)  # six decades
    decades = [float(np.log10(level * 1e6)) for level in contour_levels(wide)]
    assert decades == pytest.approx(np.round(decades), abs=1e-9)
    assert 4 <= len(decades) <= 9
    narrow = levels_over_bedroom(lambda x, y: 24.0 + 0.25 * x + 0.0 * y)  # 251 to 318 µW/m²
    found = [round(level * 1e6, 9) for level in contour_levels(narrow)]
    assert found == [260.0, 270.0, 280.0, 290.0, 300.0, 310.0]


def test_an_even_level_has_no_contour():
    assert contour_levels(levels_over_bedroom(lambda x, y: 12.0 + 0.0 * x)) == ()
    dark = levels_over_bedroom(lambda x, y: 12.0 + 0.0 * x)
    dark = replace(dark, level_w_m2=dark.level_w_m2 * 0.0)
    assert contour_levels(dark) == ()


def test_between_points_the_level_is_joined_straight_and_beyond_them_it_stays():
    tilted = levels_over_bedroom(lambda x, y: 10.0 + 2.0 * x - 1.0 * y)
    x, y, values = fine_levels(tilted)
    assert (x[0] - (x[1] - x[0]) / 2, x[-1] + (x[1] - x[0]) / 2) == pytest.approx((0.0, 4.2))
    assert (y[0] - (y[1] - y[0]) / 2, y[-1] + (y[1] - y[0]) / 2) == pytest.approx((0.0, 3.6))
    row, column = int(np.abs(y - 1.0).argmin()), int(np.abs(x - 1.3).argmin())
    assert values[row, column] == pytest.approx(10.0 + 2.0 * x[column] - y[row], abs=1e-9)
    assert values[row, 0] == pytest.approx(10.0 + 2.0 * 0.15 - y[row], abs=1e-9)
    middle = level_at(tilted, np.array([1.3, 1.0, 3.4]))
    assert 10.0 * np.log10(middle * 1e6) == pytest.approx(11.6, abs=0.05)


# -- the plan of the room --------------------------------------------------------------------------


def test_openings_take_out_a_piece_of_their_wall(house_scene: Scene):
    plan = room_plan(house_scene, space="bedroom")
    assert plan.floor.area == pytest.approx(4.2 * 2.6 + 2.7 * 1.0)
    assert {opening.panel for opening in plan.openings} == {
        "bedroom/W1",
        "bedroom/W2",
        "bedroom/D1",
    }
    for opening in plan.openings:
        piece = shapely.Polygon(opening.corners)
        assert piece.is_valid
        assert piece.intersection(plan.walls).area == pytest.approx(piece.area, rel=0.02)
        assert piece.intersection(plan.floor).area == pytest.approx(0.0, abs=1e-6)
    window = next(o for o in plan.openings if o.panel == "bedroom/W2")
    assert np.linalg.norm(window.inner[1] - window.inner[0]) == pytest.approx(1.0)
    assert window.inner[:, 0] == pytest.approx(0.0)  # in the west wall
    assert window.outward @ [1.0, 0.0] < -0.1
    assert plan.overhead == ()


# -- the picture -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pictures(house_job: Job, split: FloorLevels, tmp_path_factory: pytest.TempPathFactory):
    """The map on light and on dark paper."""
    folder = tmp_path_factory.mktemp("maps")
    found = {}
    for theme in ("light", "dark"):
        path = folder / f"{theme}.png"
        draw_heat_map(
            split,
            job=house_job,
            plan=house_job.plan("walls-only"),
            receiver=house_job.receivers[0],
            path=path,
            theme=theme,
        )
        with Image.open(path) as picture:
            found[theme] = np.asarray(picture.convert("RGB"))[::4, ::4] / 255.0
    return found


def share_of(picture: np.ndarray, colour) -> float:
    return float((np.abs(picture - np.asarray(colour)).max(axis=2) < 0.02).mean())


def test_the_floor_has_the_colours_of_its_levels(pictures):
    # on the scale from 5 to 20 dB: 20 dB in the west, 5 dB in the east
    west, east = cividis(np.array([1.0, 0.0]))
    for picture in pictures.values():
        assert share_of(picture, west) > 0.05
        assert share_of(picture, east) > 0.05
        columns = [
            np.nonzero((np.abs(picture - colour).max(axis=2) < 0.02).sum(axis=0) > 50)[0]
            for colour in (west, east)
        ]
        assert columns[0].max() < columns[1].min()  # west is left


def test_both_papers_carry_the_same_map(pictures):
    from viewer.scene.colours import DARK, LIGHT

    assert pictures["light"].shape == pictures["dark"].shape == (430, 520, 3)
    assert share_of(pictures["light"], rgb(LIGHT.paper)) > 0.4
    assert share_of(pictures["dark"], rgb(DARK.paper)) > 0.4
    # the wall's colour and the sources' arrows are there
    assert share_of(pictures["light"], rgb(LIGHT.muted)) > 0.02
    assert share_of(pictures["light"], rgb(LIGHT.source)) > 0.001


def drawn_words(job: Job, levels: FloorLevels, monkeypatch: pytest.MonkeyPatch, **asked) -> list:
    """Every visible word of the picture, with its box."""
    found = []

    def catch(path: Path, content: bytes) -> None:
        assert content[:8] == b"\x89PNG\r\n\x1a\n"
        assert path.name == "map.png"

    from matplotlib.figure import Figure

    def save(figure: Figure, target, **_):
        from matplotlib.text import Text

        figure.draw_without_rendering()
        found.extend(
            (text.get_text(), text.get_window_extent())
            for text in figure.findobj(Text)
            if text.get_visible() and text.get_text()
        )
        target.write(b"\x89PNG\r\n\x1a\n")

    monkeypatch.setattr(Figure, "savefig", save)
    monkeypatch.setattr(heatmap, "write_atomically", catch)
    draw_heat_map(
        levels,
        job=job,
        plan=asked.pop("plan", job.plan("walls-only")),
        receiver=job.receivers[0],
        path="map.png",
        **asked,
    )
    return found


def test_everything_is_named(house_job: Job, split: FloorLevels, monkeypatch: pytest.MonkeyPatch):
    words = [text for text, _ in drawn_words(house_job, split, monkeypatch)]
    assert "walls-only: level in bedroom" in words
    assert any(text.startswith("0.65\u00a0m above the floor, the height of bed") for text in words)
    assert any(
        "lowest 3.16\u00a0µW/m²" in text and "highest 100\u00a0µW/m²" in text for text in words
    )
    for text in ("W1", "W2", "D1", "bed", "N", "1 m", "mast\nazimuth 40°\n18° up"):
        assert text in words, text
    assert any(text.startswith("router\nin hall\n0.6 m higher") for text in words)
    assert {f"{level}\u00a0µW/m²" for level in (5, 10, 20, 50)} & set(words)
    assert any("Larch Cottage" in text and "a meter decides" in text for text in words)


def test_words_of_sources_do_not_cover_one_another(
    house_job: Job, split: FloorLevels, monkeypatch: pytest.MonkeyPatch
):
    mast = house_job.sources[0]
    crowd = tuple(
        dataclasses.replace(mast, id=f"mast-{k}", azimuth_rad=0.7 + 0.04 * k) for k in range(4)
    )
    words = drawn_words(replace(house_job, sources=crowd), split, monkeypatch)
    boxes = [box for text, box in words if text.startswith("mast-")]
    assert len(boxes) == 4
    for k, first in enumerate(boxes):
        for second in boxes[k + 1 :]:
            assert not first.overlaps(second)


def test_names_are_names_and_nothing_else(
    house_job: Job, split: FloorLevels, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    hostile = Plan(id="$\\frac$ <b>\u202ex</b> \U0001f6cf", treatments={})
    named = replace(house_job, name="$x^$ " + "long " * 2000, plans=(*house_job.plans, hostile))
    target = tmp_path / "map.png"
    draw_heat_map(split, job=named, plan=hostile, receiver=named.receivers[0], path=target)
    assert target.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    words = drawn_words(named, split, monkeypatch, plan=hostile)
    title = next(text for text, _ in words if text.endswith(": level in bedroom"))
    assert title.startswith("$\\frac$ <b>x</b>")
    assert max(len(text) for text, _ in words) < 200


def test_a_scale_may_be_given(house_job: Job, split: FloorLevels, monkeypatch: pytest.MonkeyPatch):
    words = drawn_words(house_job, split, monkeypatch, scale=Scale(low_db=-10.0, high_db=20.0))
    signs = [text for text, _ in words]
    assert {"−10", "20"} <= set(signs)


def test_without_the_library_it_names_the_extra(
    house_job: Job, split: FloorLevels, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(MissingExtraError, match=r"matplotlib.*gapcast\[viewer\]"):
        draw_heat_map(
            split,
            job=house_job,
            plan=house_job.plans[0],
            receiver=house_job.receivers[0],
            path=tmp_path / "map.png",
        )


def test_a_missing_folder_is_said(house_job: Job, split: FloorLevels, tmp_path: Path):
    with pytest.raises(EnvelopeError, match="cannot be written"):
        draw_heat_map(
            split,
            job=house_job,
            plan=house_job.plans[0],
            receiver=house_job.receivers[0],
            path=tmp_path / "nowhere" / "map.png",
        )


def test_a_short_stretch_of_a_contour_has_no_label_on_it():
    from matplotlib.path import Path as Stretches

    ring = Stretches([[0.0, 0.0], [0.1, 0.0], [0.1, 0.1], [0.0, 0.0]])
    long = Stretches([[2.0, 0.0], [2.0, 3.0]])
    assert len(heatmap._worth_naming(ring)) == 0
    assert len(heatmap._worth_naming(Stretches(np.empty((0, 2))))) == 0
    both = Stretches.make_compound_path(ring, long)
    assert heatmap._worth_naming(both).tolist() == [[2.0, 0.0]]
