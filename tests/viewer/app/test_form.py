"""From what someone types about a room to a job that loads, and to sentences beside the fields."""

from __future__ import annotations

import contextlib
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from envelope.building.library import ASSEMBLIES
from envelope.exposure.stack_loss import judge
from envelope.project import load, load_text
from viewer.app.form import (
    CEILING_KINDS,
    WALL_KINDS,
    FormError,
    Hole,
    Mast,
    RoomForm,
    from_typed,
    job_text,
)

WINDOW = Hole(
    wall="south", from_left="2 ft", width="5 ft", height="4 ft", sill="2 ft 11 1/2 in", depth="4 in"
)
DOOR = Hole(wall="north", from_left="0.3 m", width="0.82 m", height="2.04 m", gap="8 mm")
MAST = Mast(azimuth="231 deg", elevation="4 deg", band="1805-1880 MHz", level="850 uW/m2")
ROUTER = Mast(
    place="in this house or at a point",
    from_west="-4 ft",
    from_south="2 ft 6 in",
    over_floor="3 ft",
    band="2.4-2.48 GHz",
    power="20 dBm",
)
FORM = RoomForm(
    name="Upper bedroom",
    length="13 ft 9 in",
    width="3.6 m",
    height="8 ft",
    stands="upper floor",
    floor_over_ground="9 ft",
    north="15 deg",
    beyond={"north": "another room", "west": "earth"},
    windows=(WINDOW,),
    doors=(DOOR,),
    pillow_from_west="0.6 m",
    pillow_from_south="6 ft",
    masts=(MAST,),
)


def troubles(form: RoomForm) -> dict[str, str]:
    with pytest.raises(FormError) as caught:
        job_text(form)
    return {trouble.where: trouble.message for trouble in caught.value.troubles}


def test_the_room_is_the_one_that_was_typed(tmp_path: Path) -> None:
    path = tmp_path / "room.toml"
    path.write_text(job_text(FORM), encoding="utf-8")
    job = load(path)
    room = job.building.space("room")
    assert job.name == "Upper bedroom"
    # the niche of the window counts in the volume: 5 ft by 4 ft by 4 in
    assert room.volume_m3 == pytest.approx(4.191 * 3.6 * 2.4384 + 1.524 * 1.2192 * 0.1016)
    assert room.floor_m == pytest.approx(2.7432)
    assert np.degrees(job.building.site.north_rad) == pytest.approx(15.0)
    np.testing.assert_allclose(job.receivers[0].position_m, (0.6, 1.8288, 2.7432 + 0.6))
    assert [source.id for source in job.sources] == ["mast-1"]
    assert job.sources[0].level_w_m2[""] == pytest.approx(850e-6)
    assert [plan.id for plan in job.plans] == ["as-built", "plan-1"]


def test_a_transmitter_stands_where_it_was_typed() -> None:
    """In the next room, which is no part of the file, and in the room itself."""
    here = replace(ROUTER, from_west="1 m", from_south="0.4 m", over_floor="0.5 m", power="50 mW")
    job = load_text(job_text(replace(FORM, masts=(MAST, ROUTER, here))), path="job.toml")
    mast, beyond, inside = job.sources
    assert mast.position_m is None
    assert (beyond.id, beyond.space, inside.space) == ("transmitter-2", None, "room")
    assert beyond.eirp_w == pytest.approx(0.1)
    assert inside.eirp_w == pytest.approx(0.05)
    # 9 ft of floor height and 3 ft above it
    np.testing.assert_allclose(beyond.position_m, (-1.2192, 0.762, 3.6576))
    np.testing.assert_allclose(inside.position_m, (1.0, 0.4, 3.2432))
    assert 'at = "-4 ft, 2 ft 6 in, 12 ft"' in job_text(replace(FORM, masts=(ROUTER,)))


def test_a_transmitter_on_the_ground_floor_keeps_its_measure() -> None:
    near = replace(ROUTER, from_west="-1.2 m", from_south="76 cm", over_floor="0.9 m")
    typed = replace(FORM, stands="on the ground", masts=(near,))
    assert 'at = "-1.2 m, 76 cm, 0.9 m"' in job_text(typed)
    (source,) = load_text(job_text(typed), path="job.toml").sources
    np.testing.assert_allclose(source.position_m, (-1.2, 0.76, 0.9))


def test_openings_stand_where_the_tape_says(tmp_path: Path) -> None:
    path = tmp_path / "room.toml"
    path.write_text(job_text(FORM), encoding="utf-8")
    building = load(path).building
    window = building.panel("room/W1").outline
    # seen from inside, the left-hand corner of the south wall is its eastern end
    assert window[:, 0].max() == pytest.approx(4.191 - 2 * 0.3048)
    assert window[:, 0].min() == pytest.approx(4.191 - 7 * 0.3048)
    assert window[:, 2].min() == pytest.approx(2.7432 + 0.9017)
    door = building.panel("room/D1").outline
    # and that of the north wall its western end
    assert door[:, 0].min() == pytest.approx(0.3)
    assert "room/D1/undercut" in building.panel_index
    assert "room/W1/jamb-left" in building.panel_index


def test_what_lies_behind_walls_and_floor(tmp_path: Path) -> None:
    path = tmp_path / "room.toml"
    path.write_text(job_text(FORM), encoding="utf-8")
    building = load(path).building
    assert {patch.behind for patch in building.patches_of["room/floor"]} == {"outdoors"}
    west = building.panel("room/west")
    assert {patch.behind for patch in building.patches_of[west.id]} == {"earth"}
    north = building.panel("room/north")
    (patch,) = building.patches_of[north.id]
    assert building.elements[patch.element].assembly == "stud-wall"
    path.write_text(job_text(replace(FORM, stands="on the ground")), encoding="utf-8")
    building = load(path).building
    assert {patch.behind for patch in building.patches_of["room/floor"]} == {"earth"}
    path.write_text(job_text(replace(FORM, stands="over a crawl space")), encoding="utf-8")
    building = load(path).building
    assert {patch.behind for patch in building.patches_of["room/floor"]} == {"outdoors"}


def test_a_room_with_nothing_in_it_is_enough(tmp_path: Path) -> None:
    bare = RoomForm(
        name="Box",
        length="4 m",
        width="3 m",
        height="2.4 m",
        pillow_from_west="1 m",
        pillow_from_south="1 m",
    )
    path = tmp_path / "room.toml"
    path.write_text(job_text(bare), encoding="utf-8")
    assert load(path).assumed_source


@pytest.mark.parametrize(
    ("change", "where", "says"),
    [
        ({"name": "  "}, "name", "no name"),
        ({"name": "left\u202eright"}, "name", "control character"),
        ({"length": "4,2 m"}, "length", "comma"),
        ({"length": ""}, "length", "nothing is typed"),
        ({"height": "8"}, "height", "without a unit"),
        ({"width": "-3 m"}, "width", "above 0"),
        ({"north": "up"}, "north", "up"),
        ({"stands": "on stilts"}, "stands", "on the ground, over a crawl space, upper floor"),
        ({"wall_kind": "straw"}, "wall_kind", "timber-wall"),
        ({"ceiling_kind": "sky"}, "ceiling_kind", "joist-ceiling"),
        ({"beyond": {"south": "space"}}, "beyond.south", "outdoors, another room, earth"),
        ({"beyond": {"up": "earth"}}, "beyond", "south"),
        ({"floor_over_ground": ""}, "floor_over_ground", "nothing is typed"),
        ({"windows": (replace(WINDOW, wall="roof"),)}, "windows.0.wall", "south"),
        ({"windows": (replace(WINDOW, sill=""),)}, "windows.0.sill", "nothing is typed"),
        ({"windows": (replace(WINDOW, from_left="12 ft"),)}, "windows.0.from_left", "long"),
        ({"windows": (WINDOW, WINDOW)}, "windows.1.from_left", "W2"),
        ({"doors": (replace(DOOR, height="3 m"),)}, "doors.0.height", "D1"),
        ({"doors": (replace(DOOR, gap="wide"),)}, "doors.0.gap", "wide"),
        ({"pillow_from_west": "9 m"}, "pillow_from_west", "outside"),
        ({"masts": (replace(MAST, band="1.8"),)}, "masts.0.band", "1.8"),
        ({"masts": (MAST, replace(MAST, level="loud"))}, "masts.1.level", "loud"),
        ({"masts": (replace(MAST, elevation="95 deg"),)}, "masts.0.elevation", "90"),
        ({"masts": (replace(MAST, place="nowhere"),)}, "masts.0.place", "in a direction"),
        ({"masts": (replace(ROUTER, over_floor=""),)}, "masts.0.over_floor", "not a length"),
        ({"masts": (MAST, replace(ROUTER, from_south="3,5 m"))}, "masts.1.from_south", "comma"),
        ({"masts": (replace(ROUTER, from_west="1"),)}, "masts.0.from_west", "without a unit"),
        ({"masts": (replace(ROUTER, power="100"),)}, "masts.0.power", "unit"),
        ({"masts": (replace(ROUTER, over_floor="-40 ft"),)}, "masts.0.from_west", "ground"),
    ],
)
def test_each_trouble_stands_beside_its_field(
    change: dict[str, object], where: str, says: str
) -> None:
    found = troubles(replace(FORM, **change))  # type: ignore[arg-type]
    assert where in found
    assert says in found[where]


def test_all_troubles_come_at_once() -> None:
    found = troubles(replace(FORM, name="", length="x", masts=(replace(MAST, level=""),)))
    assert set(found) == {"name", "length", "masts.0.level"}


@settings(max_examples=40, deadline=None)
@given(name=st.text(min_size=1, max_size=60), note=st.sampled_from(["13 ft 9 in", "13' 9\""]))
def test_no_name_breaks_out_of_the_file(name: str, note: str) -> None:
    # what a file may not hold is refused by the form, and nothing is written
    text = ""
    with contextlib.suppress(FormError):
        text = job_text(replace(FORM, name=name, length=note))
    assert not text or tomllib.loads(text)["name"] == name.strip()


def test_marks_of_a_file_in_a_name_stay_in_the_name() -> None:
    name = 'A "room"\\ # <script>'
    assert tomllib.loads(job_text(replace(FORM, name=name)))["name"] == name


def test_what_a_page_sends_becomes_the_record() -> None:
    typed = {
        "name": "Box",
        "length": "4 m",
        "windows": [{"wall": "south", "from_left": "1 m", "width": "1 m", "height": "1 m"}],
        "beyond": {"east": "earth"},
        "masts": [{"azimuth": "10 deg"}],
    }
    form = from_typed(typed)
    assert (form.name, form.length, form.width) == ("Box", "4 m", "")
    assert form.windows[0].wall == "south"
    assert form.windows[0].sill == ""
    assert form.beyond == {"east": "earth"}
    assert (form.masts[0].azimuth, form.masts[0].place) == ("10 deg", "in a direction")


@pytest.mark.parametrize(
    "typed",
    [None, 3, [], {"name": 5, "windows": "W"}, {"windows": [None, 4, {"wall": {}}], "beyond": []}],
)
def test_nonsense_from_a_page_is_nothing_typed(typed: object) -> None:
    found = troubles(from_typed(typed))
    assert {"name", "length", "width", "height"} <= set(found)


def test_what_is_typed_in_feet_makes_a_job_in_feet() -> None:
    typed = replace(
        FORM,
        length="13 ft 9 in",
        width="12'",
        height="8 ft",
        pillow_from_west="2 ft 1/2 in",
        pillow_from_south="6 ft",
        pillow_over_floor="2 ft",
    )
    text = job_text(typed)
    assert 'size = "13 ft 9 in x 12\'"' in text
    assert 'at = "2 ft 1/2 in, 6 ft, 2 ft"' in text
    job = load_text(text, path="job.toml")
    assert job.feet
    assert job.receivers[0].position_m[0] == pytest.approx(24.5 * 0.0254)
    metric = replace(
        typed,
        length="4.2 m",
        width="360 cm",
        height="2.4 m",
        windows=(),
        doors=(),
        pillow_from_west="0.6 m",
        pillow_from_south="2 m",
        pillow_over_floor="0.6 m",
    )
    assert not load_text(job_text(metric), path="job.toml").feet


@pytest.mark.parametrize("wall", WALL_KINDS)
@pytest.mark.parametrize("ceiling", CEILING_KINDS[:2])
def test_the_form_writes_the_librarys_assemblies(wall: str, ceiling: str) -> None:
    job = load_text(job_text(replace(FORM, wall_kind=wall, ceiling_kind=ceiling)), path="room.toml")
    assert {wall, ceiling, "double-glazing"} <= job.assemblies.keys()
    for name, made in job.assemblies.items():
        assert made == ASSEMBLIES[name]


def test_a_timber_wall_of_the_form_loses_what_the_librarys_does() -> None:
    """6.5 dB at 1.84 GHz in a diffuse field, with its cavity and cladding; 5.9 without them."""
    job = load_text(job_text(FORM), path="room.toml")
    found = judge(job, assembly="timber-wall", treatments=[], frequency_hz=np.array([1.84e9]))
    assert found.diffuse_loss_db[0] == pytest.approx(6.5, abs=0.05)
