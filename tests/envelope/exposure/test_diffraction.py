"""The edges of a beam, looked at from where a meter would stand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.exposure.diffraction import edge_openings, opening_ratio


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job):
    return SimpleNamespace(
        room=room_plain,
        window=window_plain,
        mast=mast_plain,
        read=read_job,
        analyzed=analyzed_job,
    )


def levels(make, at: str, *, wall_db: float = 60.0, pane_db: float = 2.0, **source):
    """Direct level over outside without and with edges. [-]"""
    plain = make.room(
        assembly=[
            {"id": "wall", "loss": f"{wall_db} dB", "reflects": 0.0},
            {"id": "pane", "loss": f"{pane_db} dB", "reflects": 0.0},
        ],
        opening=[make.window()],
        receiver=[{"id": "bed", "space": "room", "at": at}],
        source=[make.mast(**source)],
    )
    job = make.read(plain)
    found = []
    for edges in (False, True):
        (source_result,) = make.analyzed(job, edges=edges).plans[0].receivers[0].sources
        found.append(source_result.direct_w_m2 / source_result.outside_w_m2)
    return found


def test_beside_the_beam_it_is_not_dark(make):
    """0.3 m into the shadow of the window's edge, 1.5 m behind it."""
    without, with_edges = levels(make, "2.8, 1.5, 1.5 m")
    assert without == pytest.approx(10**-6, rel=1e-9)
    # an edge alone by Fresnel: ν = 0.3 √(2/(0.1224·1.5)) = 0.99, about 13.9 dB, and the pane
    loss = -10 * math.log10(with_edges)
    assert loss == pytest.approx(2.0 + 13.9, abs=3.0)


def test_the_worst_point_of_a_box_is_worked_out_with_edges_too(make):
    """A box beside the beam: geometrically dark, and its worst point is the one nearest to it."""
    plain = make.room(
        assembly=[
            {"id": "wall", "loss": "60 dB", "reflects": 0.0},
            {"id": "pane", "loss": "2 dB", "reflects": 0.0},
        ],
        opening=[make.window()],
        receiver=[
            {"id": "bed", "space": "room", "at": "3.2, 1.5, 1.5 m", "size": "0.8 m x 0.2 m x 0.2 m"}
        ],
        source=[make.mast()],
    )
    job = make.read(plain)
    dark, seen = (make.analyzed(job, edges=edges).plans[0].receivers[0] for edges in (False, True))
    assert seen.worst.level_w_m2 > 100 * dark.worst.level_w_m2
    assert seen.worst.level_w_m2 > 1.2 * seen.sources[0].level_w_m2  # the mean over the box
    assert seen.worst.position_m[0] == pytest.approx(3.0, abs=1e-9)  # of 3.0 and 3.4


def test_at_the_edge_itself_it_is_about_six_decibels_down(make):
    _, with_edges = levels(make, "2.5, 1.0, 1.5 m", spread="0.1 deg", band="10 GHz")
    assert -10 * math.log10(with_edges) == pytest.approx(2.0 + 6.02, abs=1.5)


def test_in_the_beam_short_waves_keep_its_level(make):
    without, with_edges = levels(make, "1.75, 0.6, 1.5 m", band="7-9 GHz", spread="6 deg")
    assert without == pytest.approx(10**-0.2, rel=1e-6)
    assert with_edges == pytest.approx(without, rel=0.2)


def test_it_falls_steadily_into_the_shadow(make):
    seen = [levels(make, f"{x}, 1.5, 1.5 m", spread="6 deg")[1] for x in (2.3, 2.7, 3.1, 3.6)]
    assert seen == sorted(seen, reverse=True)
    assert seen[-1] > 1e-5


def test_an_opening_no_more_open_than_its_wall_has_no_edges(make):
    without, with_edges = levels(make, "2.8, 1.5, 1.5 m", wall_db=11.0)
    assert without == with_edges
    without, with_edges = levels(make, "2.8, 1.5, 1.5 m", wall_db=13.0)
    assert with_edges > without


def test_round_a_corner_of_the_room_nothing_arrives(make):
    plain = make.room(
        space=[
            {
                "id": "room",
                "storey": "ground",
                "height": "2.4 m",
                "footprint": "0,0  4,0  4,1.6  3,1.6  3,5  0,5 m",
            }
        ],
        opening=[make.window(on="room/2", at="0.2 m", size="1.2 m x 1.2 m")],
        receiver=[{"id": "bed", "space": "room", "at": "2.6, 4.6, 1.5 m"}],
        source=[make.mast(azimuth="90 deg")],
    )
    job = make.read(plain)
    without, with_edges = (
        make.analyzed(job, edges=edges).plans[0].receivers[0].sources[0].direct_w_m2
        for edges in (False, True)
    )
    assert with_edges == without


def test_a_wide_band_and_a_cone_take_the_mean_of_the_fringes(make):
    plain = make.room(opening=[make.window()])
    panel = make.read(plain).building.panel("room/W1")
    south = np.array([[0.0, -1.0, 0.0]])
    point = np.array([1.75, 3.0, 1.5])
    single = [
        opening_ratio(panel=panel, point_m=point, towards=south, band_hz=(f, f))
        for f in np.linspace(2e9, 3e9, 5)
    ]
    wide = opening_ratio(panel=panel, point_m=point, towards=south, band_hz=(2e9, 3e9))
    assert wide == pytest.approx(np.mean(single), rel=1e-9)
    assert np.ptp(single) > 0.3


def tilted(azimuth_deg, elevation_deg):
    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    flat = math.cos(elevation)
    return [flat * math.sin(azimuth), flat * math.cos(azimuth), math.sin(elevation)]


@pytest.mark.parametrize("at", ["2.8, 1.5, 1.5 m", "1.75, 1.2, 0.75 m", "2.2, 0.8, 1.9 m"])
def test_a_cone_is_its_middle_and_a_ring_at_two_thirds_of_its_edge(make, at):
    """6° wide and level: south, 4° to either side, 4° up and 4° down, a fifth of the power each."""
    _, with_edges = levels(make, at, band="2.4-2.5 GHz", spread="6 deg")
    panel = make.read(make.room(opening=[make.window()])).building.panel("room/W1")
    ring = [tilted(176, 0), tilted(184, 0), tilted(180, 4), tilted(180, -4)]
    ratio = opening_ratio(
        panel=panel,
        point_m=np.array([float(part) for part in at.removesuffix(" m").split(",")]),
        towards=np.array([tilted(180, 0), *ring]),
        band_hz=(2.4e9, 2.5e9),
    )
    assert with_edges == pytest.approx(10**-0.2 * ratio, rel=1e-3, abs=2e-6)  # the wall's 60 dB


def test_the_ring_of_a_steep_cone_lies_around_its_middle(make):
    """Through a skylight from 78°: 4 directions, each 6° from the middle, opposite in pairs."""
    plain = make.room(
        assembly=[
            {"id": "wall", "loss": "80 dB", "reflects": 0.0},
            {"id": "pane", "loss": "0 dB", "reflects": 0.0},
        ],
        opening=[
            {"id": "S1", "on": "room/ceiling", "kind": "skylight", "at": "2.0 m, 1.5 m",
             "size": "0.6 m x 0.6 m"}
        ],
        receiver=[{"id": "bed", "space": "room", "at": "2.0, 1.95, 0.5 m"}],
        source=[make.mast(elevation="78 deg", spread="9 deg")],
    )  # fmt: skip
    job = make.read(plain)
    found = make.analyzed(job, edges=True).plans[0].receivers[0].sources[0]
    centre = np.array(tilted(180, 78))
    # helper x: across and upward are then square to the middle and to each other
    across = np.cross([1.0, 0.0, 0.0], centre)
    across /= np.linalg.norm(across)
    upward = np.cross(centre, across)
    six = math.radians(6.0)
    ring = [
        math.cos(six) * centre + math.sin(six) * way for way in (across, -across, upward, -upward)
    ]
    ratio = opening_ratio(
        panel=job.building.panel("room/S1"),
        point_m=np.array([2.0, 1.95, 0.5]),
        towards=np.array([centre, *ring]),
        band_hz=(2.45e9, 2.45e9),
    )
    assert ratio > 0.05
    assert found.direct_w_m2 / found.outside_w_m2 == pytest.approx(ratio, rel=1e-3)


def test_in_the_opening_all_arrives_and_from_behind_nothing(make):
    panel = make.read(make.room(opening=[make.window()])).building.panel("room/W1")
    point = np.array([1.75, 0.02, 1.5])
    south = np.array([[0.0, -1.0, 0.0]])
    assert opening_ratio(panel=panel, point_m=point, towards=south, band_hz=(1e9, 1e9)) == 1.0
    aside = np.array([2.6, 0.02, 1.5])
    assert opening_ratio(panel=panel, point_m=aside, towards=south, band_hz=(1e9, 1e9)) == 0.0
    north = np.array([[0.0, 1.0, 0.0]])
    point = np.array([1.75, 1.0, 1.5])
    assert opening_ratio(panel=panel, point_m=point, towards=north, band_hz=(1e9, 1e9)) == 0.0


def test_only_rectangles_that_lead_outdoors_have_edges(make):
    plain = make.room(
        space=[
            {"id": name, "storey": "ground", "height": "2.4 m", "size": "4 m x 3 m",
             "origin": f"0 m, {y} m"}
            for name, y in (("room", 0), ("next", 3.1))
        ],
        opening=[
            make.window(),
            {"id": "D1", "on": "room/3", "kind": "door", "at": "1 m", "size": "0.8 m x 2 m"},
            {"id": "D2", "on": "room/2", "kind": "door", "at": "1 m", "size": "0.8 m x 2 m",
             "undercut": "5 mm"},
        ],
    )  # fmt: skip
    building = make.read(plain).building
    assert [panel.id for panel in edge_openings(building, "room")] == ["room/W1", "room/D2"]
