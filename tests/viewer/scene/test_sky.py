"""The map of all directions around a receiver: its projection, its losses, its lines."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image
from scipy.ndimage import binary_erosion

from envelope.building.job import Assembly, Job, LossCurve, Plan, Receiver, Source, Treatment
from envelope.building.model import Building, Site
from envelope.building.rooms.specs import OpeningSpec
from envelope.errors import EnvelopeError
from envelope.exposure.analysis import analyze
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.bands import bands_of
from envelope.exposure.casts import cast_job
from envelope.exposure.transmission import Bench
from envelope.rays import BINS, Sampling
from viewer.pictures.sky_labels import box_of, within
from viewer.pictures.skymap import cell_colours, draw_sky
from viewer.scene import sky_cache
from viewer.scene.colours import LIGHT, cividis
from viewer.scene.records import Scale
from viewer.scene.sky import (
    BLOCKED,
    NOTHING,
    OUTSIDE,
    Sky,
    cast_sky,
    cell_places,
    from_disc,
    look_around,
    losses_db,
    on_disc,
)
from viewer.scene.sky_cache import skies_json, sky_or_recall

NORTH = math.radians(30.0)
EYE = np.array([1.0, 1.2, 0.7])


def decibels(value: float) -> LossCurve:
    return LossCurve(frequencies_hz=(), losses_db=(value,))


@pytest.fixture(scope="module")
def job(box_room: Callable[..., Building]) -> Job:
    """A room of 4 × 3 × 2.4 m on the ground, a window deep in its south wall."""
    window = OpeningSpec(
        id="W1",
        on="room/south",
        kind="window",
        along_m=1.0,
        sill_m=0.9,
        width_m=1.5,
        height_m=1.2,
        reveal_m=0.12,
    )
    building = box_room(openings=[window], site=Site(north_rad=NORTH))
    return Job(
        name="box",
        building=building,
        assemblies={
            name: Assembly(id=name, loss=decibels(value))
            for name, value in building_losses(building).items()
        },
        treatments={"film": Treatment(id="film", kind="fixed", loss=decibels(30.0))},
        sources=(
            Source(
                id="mast",
                band_hz=(1.8e9, 1.8e9),
                azimuth_rad=math.radians(200.0),
                elevation_rad=math.radians(10.0),
                spread_rad=math.radians(6.0),
                level_w_m2={"": 1e-3},
            ),
            Source(
                id="meter",
                band_hz=(1.8e9, 1.8e9),
                position_m=np.array([1.0, -8.8, 0.7]),
                eirp_w=0.1,
            ),
        ),
        receivers=(Receiver(id="pillow", space="room", position_m=EYE),),
        plans=(
            Plan(id="as-built", treatments={}),
            Plan(id="filmed", treatments={"room/W1": ("film",)}),
        ),
    )


def building_losses(building: Building) -> dict[str, float]:
    """Walls and roof let a thousandth through, a window nine tenths and more."""
    named = {element.assembly for element in building.elements if element.assembly is not None}
    windows = {e.assembly for e in building.elements if e.kind == "window"}
    return {name: 0.4 if name in windows else 30.0 for name in named}


@pytest.fixture(scope="module")
def bench(job: Job) -> Bench:
    return Bench(job=job, bands_hz=bands_of(job), bins=BINS)


@pytest.fixture(scope="module")
def sky(job: Job) -> Sky:
    return cast_sky(job, job.receivers[0], side=96)


@pytest.fixture(scope="module")
def analysis(job: Job) -> Analysis:
    casts = cast_job(job, sampling=Sampling(points_per_panel=2**9, points=2**13))
    return analyze(job=job, casts=casts)


# -- projection ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("azimuth", "elevation", "place"),
    [
        (0.0, 0.0, (0.0, math.sqrt(0.5))),  # north on the horizon
        (90.0, 0.0, (math.sqrt(0.5), 0.0)),
        (180.0, 0.0, (0.0, -math.sqrt(0.5))),
        (123.0, 90.0, (0.0, 0.0)),
        (90.0, 30.0, (0.5, 0.0)),  # sin of half of 60° from the zenith
        (270.0, -89.9999, (-1.0, 0.0)),
    ],
)
def test_known_places(azimuth: float, elevation: float, place: tuple[float, float]) -> None:
    a, e = math.radians(azimuth) - NORTH, math.radians(elevation)
    way = np.array([math.cos(e) * math.sin(a), math.cos(e) * math.cos(a), math.sin(e)])
    assert on_disc(way, north_rad=NORTH) == pytest.approx(place, abs=1e-5)


def test_there_and_back() -> None:
    random = np.random.default_rng(5)
    ways = random.standard_normal((500, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    places = on_disc(ways, north_rad=0.7)
    assert np.hypot(*places.T).max() <= 1.0
    assert from_disc(places, north_rad=0.7) == pytest.approx(ways, abs=1e-9)


def test_equal_areas_are_equal_solid_angles() -> None:
    """Directions spread evenly over the sphere fill the disc evenly."""
    z = np.linspace(-1, 1, 200_001)[1::2]
    turns = np.arange(len(z)) * math.pi * (3.0 - math.sqrt(5.0))
    level = np.sqrt(1 - z**2)
    places = on_disc(
        np.column_stack((level * np.cos(turns), level * np.sin(turns), z)), north_rad=0.0
    )
    counts, _, _ = np.histogram2d(*places.T, bins=20, range=[[-1, 1], [-1, 1]])
    whole = counts[5:15, 5:15]  # cells that lie wholly inside
    assert whole == pytest.approx(len(z) / (math.pi / 0.01), rel=0.02)


def test_first_row_is_in_the_north_and_first_column_in_the_west() -> None:
    places = cell_places(4)
    assert places[0, 0] == pytest.approx((-0.75, 0.75))
    assert places[3, 3] == pytest.approx((0.75, -0.75))


# -- what is seen --------------------------------------------------------------------------------


def at(sky: Sky, azimuth_deg: float, elevation_deg: float) -> tuple[int, int]:
    """Cell of a true direction."""
    radius = math.sin(math.radians(90.0 - elevation_deg) / 2)
    x = radius * math.sin(math.radians(azimuth_deg))
    y = radius * math.cos(math.radians(azimuth_deg))
    side = len(sky.first)
    return int((1 - y) / 2 * side), int((x + 1) / 2 * side)


def test_every_direction_leaves_through_the_panel_that_is_there(sky: Sky, job: Job) -> None:
    panels = job.building.panels
    assert panels[sky.first[at(sky, 0.0, 90.0)]].id == "room/ceiling"
    # +y points to 30°: the north wall is there, the south wall with its window at 210°
    assert panels[sky.first[at(sky, 30.0, 5.0)]].id == "room/3"
    window = math.degrees(math.atan2(1.75 - EYE[0], EYE[1]))  # its middle, left of south
    up = math.degrees(math.atan2(1.5 - EYE[2], math.hypot(1.75 - EYE[0], EYE[1])))
    assert panels[sky.first[at(sky, 210.0 - window, up)]].id == "room/W1"
    assert panels[sky.first[at(sky, 0.0, -80.0)]].id == "room/floor"
    assert sky.sky[at(sky, 0.0, -80.0)] == 0
    assert sky.sky[at(sky, 0.0, 45.0)] == 2
    assert (sky.first[~sky.inside] == OUTSIDE).all()


def test_losses_agree_with_the_solid_angles(
    sky: Sky, job: Job, bench: Bench, analysis: Analysis
) -> None:
    for plan, result in zip(job.plans, analysis.plans, strict=True):
        loss = losses_db(sky, bench=bench, plan=plan)
        assert np.isnan(loss[~sky.inside]).all()
        passed = 10 ** (-loss[sky.inside] / 10)
        band = result.receivers[0].bands[0]
        open_equivalent = passed.mean() * 4 * math.pi
        assert open_equivalent == pytest.approx(band.open_equivalent_solid_angle_sr, rel=0.03)
        exposed = np.isfinite(loss[sky.inside]).mean() * 4 * math.pi
        assert exposed == pytest.approx(result.receivers[0].exposed_solid_angle_sr, rel=0.02)
        assert loss[at(sky, 0.0, 90.0)] == pytest.approx(30.0, abs=1e-6)
        assert math.isinf(loss[at(sky, 0.0, -80.0)])


def test_outline_of_a_window_goes_round_what_shows_of_it(sky: Sky, job: Job) -> None:
    """Its own far edges and, where the wall hides those, the near edges of its hole."""
    outline = next(each for each in sky.outlines if each.panel == "room/W1")
    index = job.building.panel_index["room/W1"]
    cells = cell_places(len(sky.first))[sky.first == index]
    points = np.concatenate(outline.runs)
    assert points[:, 0].min() == pytest.approx(cells[:, 0].min(), abs=0.03)
    assert points[:, 0].max() == pytest.approx(cells[:, 0].max(), abs=0.03)
    assert points[:, 1].min() == pytest.approx(cells[:, 1].min(), abs=0.03)
    assert points[:, 1].max() == pytest.approx(cells[:, 1].max(), abs=0.03)
    assert np.hypot(*(cells - outline.mark).T).min() < 1e-9
    # every cell at the rim of what shows has a line beside it
    own = sky.first == index
    rim = cell_places(len(own))[own & ~binary_erosion(own)]
    dense = np.concatenate([_between(run) for run in outline.runs])
    gaps = np.hypot(*(rim[:, np.newaxis] - dense).transpose(2, 0, 1)).min(axis=1)
    assert gaps.max() < 0.035


def _between(run: np.ndarray) -> np.ndarray:
    steps = np.linspace(0, 1, 20)[:, np.newaxis]
    return np.concatenate([a + steps * (b - a) for a, b in itertools.pairwise(run)])


def test_what_stands_before_an_outline_hides_it(sky: Sky) -> None:
    """Of the wall with the window all edges show; of the jambs only those turned to the eye."""
    seen = {outline.panel: outline for outline in sky.outlines}
    assert seen["room/1"].runs
    assert "room/W1/jamb-right" not in seen  # the eye stands on its side of the window
    assert "room/W1/jamb-left" in seen


def test_sources_stand_where_they_are(sky: Sky) -> None:
    mast, meter = sky.sources
    radius = math.sin(math.radians(40.0))
    turn = math.radians(200.0)
    assert mast.at == pytest.approx((radius * math.sin(turn), radius * math.cos(turn)))
    assert len(mast.rim) > 20
    # due −y and level: at 210° on the horizon
    turn = math.radians(210.0)
    assert meter.at == pytest.approx(
        (math.sqrt(0.5) * math.sin(turn), math.sqrt(0.5) * math.cos(turn))
    )
    assert len(meter.rim) == 0
    # a cone of 6° covers the same area wherever it stands
    x, y = mast.rim[:-1].T
    area = 0.5 * abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    assert area * 4 == pytest.approx(4 * math.pi * math.sin(math.radians(3.0)) ** 2, rel=0.01)


# -- JSON and pictures ---------------------------------------------------------------------------


def unpacked(code: list[int]) -> np.ndarray:
    return np.repeat(code[::2], code[1::2])


def test_grids_survive_their_code(job: Job, analysis: Analysis) -> None:
    (told,) = skies_json(job=job, results=analysis.plans, side=64)
    sky = cast_sky(job, job.receivers[0], side=64)
    first = unpacked(told["first"])
    names = [job.building.panels[k].id for k in sky.first[sky.inside]]
    assert [told["panels"][k] for k in first] == names
    assert told["side"] == 64
    assert len(told["losses"]) == 2
    for code in told["losses"]:
        losses = unpacked(code)
        assert len(losses) == int(sky.inside.sum())
        assert set(losses[(sky.sky == 0)[sky.inside]]) == {BLOCKED}
        assert NOTHING not in losses
    bare, filmed = (unpacked(code) for code in told["losses"])
    window = np.array(names) == "room/W1"
    open_to_sky = bare != BLOCKED
    assert set(bare[window & open_to_sky]) == {0}  # 0.4 dB
    assert set(filmed[window & open_to_sky]) == {30}
    assert (bare[~window] == filmed[~window]).all()


def same(one: Sky, other: Sky) -> bool:
    return (
        (one.first == other.first).all()
        and (one.sky == other.sky).all()
        and (one.rays.cosines == other.rays.cosines).all()
        and (one.rays.rows == other.rays.rows).all()
        and [each.panel for each in one.outlines] == [each.panel for each in other.outlines]
        and all(
            (mine.mark == theirs.mark).all()
            and all((a == b).all() for a, b in zip(mine.runs, theirs.runs, strict=True))
            for mine, theirs in zip(one.outlines, other.outlines, strict=True)
        )
    )


def test_what_was_seen_before_is_recalled_and_nothing_else_is(
    job: Job, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("GAPCAST_CACHE", str(tmp_path))
    cast = []
    monkeypatch.setattr(
        sky_cache,
        "look_around",
        lambda *place, **asked: (cast.append(1), look_around(*place, **asked))[1],
    )
    receiver = job.receivers[0]
    fresh = sky_or_recall(job, receiver, side=32)
    assert same(sky_or_recall(job, receiver, side=32), fresh)
    assert len(cast) == 1
    moved = replace(receiver, position_m=receiver.position_m + np.array([0.0, 0.0, 0.1]))
    site = replace(job.building.site, north_rad=1.0)
    turned = replace(job, building=replace(job.building, site=site))
    for other_job, other, side in ((job, moved, 32), (turned, receiver, 32), (job, receiver, 33)):
        again = sky_or_recall(other_job, other, side=side)
        assert same(again, cast_sky(other_job, other, side=side))
    assert len(cast) == 4
    for file in (tmp_path / "skies").iterdir():
        file.write_bytes(file.read_bytes()[:-9])  # damaged
    assert same(sky_or_recall(job, receiver, side=32), fresh)
    assert len(cast) == 5


def test_colours_of_cells(sky: Sky, bench: Bench, job: Job) -> None:
    loss = losses_db(sky, bench=bench, plan=job.plans[0])
    colours = cell_colours(sky, loss, scale=Scale(low_db=0.0, high_db=60.0), theme=LIGHT)
    assert colours[at(sky, 0.0, 90.0)][:3] == pytest.approx(cividis(np.array([0.5]))[0])
    assert colours[at(sky, 0.0, -80.0)][:3] == pytest.approx(np.array([216, 210, 198]) / 255)
    assert (colours[~sky.inside, 3] == 0).all()


def test_picture_for_print(job: Job, analysis: Analysis, tmp_path: Path) -> None:
    path = tmp_path / "sky.png"
    draw_sky(job=job, result=analysis.plans[0], receiver="pillow", path=path)
    image = np.asarray(Image.open(path).convert("RGB")).astype(int)
    assert image.shape == (1716, 1584, 3)
    amber = (np.abs(image - (255, 176, 0)).max(axis=2) < 6).sum()
    assert amber > 800  # the window is a gap
    draw_sky(job=job, result=analysis.plans[1], receiver="pillow", path=path, theme="dark")
    image = np.asarray(Image.open(path).convert("RGB")).astype(int)
    assert tuple(image[3, 3]) == (16, 20, 26)
    # without a gap, amber is left in the legend alone
    assert (np.abs(image[:1500] - (255, 176, 0)).max(axis=2) < 6).sum() == 0


def test_a_name_stands_in_what_it_names_where_it_fits() -> None:
    held = np.zeros((100, 100), dtype=bool)
    held[20:40, 10:60] = True  # x from −80 to 20, y from −60 to −20
    found = within(held, size=(30.0, 8.0), spot=(0.0, -40.0))
    assert found is not None
    left, top, right, bottom = box_of(found, (30.0, 8.0))
    assert left >= -80.0
    assert right <= 20.0
    assert top >= -60.0
    assert bottom <= -20.0
    assert found == pytest.approx((0.0, -40.0), abs=2.0)
    # what stands there already is kept clear of
    other = within(held, size=(30.0, 8.0), spot=(0.0, -40.0), taken=[(-20.0, -60.0, 20.0, -20.0)])
    assert other is not None
    assert other[0] <= -35.0 + 1e-9
    assert within(held, size=(101.0, 8.0), spot=(0.0, -40.0)) is None
    assert within(held, size=(250.0, 8.0), spot=(0.0, -40.0)) is None
    assert within(held, size=(90.0, 8.0), spot=(0.0, 0.0), taken=[(-31, -60, -29, -20)]) is None


def test_names_are_whole_and_none_lies_on_another(
    job: Job, analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[Figure] = []
    kept = Figure.savefig
    monkeypatch.setattr(
        Figure, "savefig", lambda self, *a, **k: (drawn.append(self), kept(self, *a, **k))[1]
    )
    receiver = analysis.plans[0].receivers[0].id
    draw_sky(job=job, result=analysis.plans[0], receiver=receiver, path=tmp_path / "sky.png")
    (figure,) = drawn
    texts = [text for text in figure.axes[0].texts if text.get_zorder() == 10]
    assert any(text.get_text().startswith("window W1") for text in texts)
    boxes = [text.get_window_extent() for text in texts]
    for box in boxes:
        assert 0 <= box.x0 < box.x1 <= figure.bbox.width
        assert 0 <= box.y0 < box.y1 <= figure.bbox.height
    assert not any(a.overlaps(b) for a, b in itertools.combinations(boxes, 2))


def test_unknown_receiver_is_named(job: Job, analysis: Analysis, tmp_path: Path) -> None:
    with pytest.raises(EnvelopeError, match="no receiver 'sofa' with a result; allowed: pillow"):
        draw_sky(job=job, result=analysis.plans[0], receiver="sofa", path=tmp_path / "x.png")
