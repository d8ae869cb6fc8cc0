"""A slot of known direction: its closed forms, head-on and slanting, polarized and not."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.exposure.slots import slot_axis, slot_drive
from envelope.physics.apertures import (
    slot_cross_section_m2,
    slot_directed_cross_section_m2,
    slot_is_wide,
)

C_M_S = 299_792_458.0
SOUTH = np.array([0.0, 1.0, 0.0])  # normal of a south wall, into the room
LEVEL, UPRIGHT = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job, few):
    return SimpleNamespace(room=room_plain, mast=mast_plain, read=read_job, analyzed=analyzed_job)


def towards(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    azimuth, elevation = np.radians((azimuth_deg, elevation_deg))
    flat = math.cos(elevation)
    return np.array([[flat * math.sin(azimuth), flat * math.cos(azimuth), math.sin(elevation)]])


def across_and_along(width_m: float, frequency_hz: float) -> tuple[float, float]:
    """Cross-sections over area of an endless slot head-on, as their notes write them [-]."""
    size = 2.0 * math.pi * frequency_hz / C_M_S * width_m
    euler = 0.5772156649015329
    across = (
        2.0
        * math.pi**2
        / (size * (math.pi**2 + (2.0 * (math.log(8.0) - euler) - 2.0 * math.log(size)) ** 2))
    )
    return across, math.pi**2 * size**3 / 256.0


def passed_db(make, polarization: str, *, width: str = "8 mm", **source) -> float:
    """Loss of a door's undercut in a wall of foil, as its source lights it. [dB]"""
    door = {"id": "D1", "on": "room/1", "kind": "door", "at": "1 m", "size": "0.9 m x 2 m",
            "undercut": width}  # fmt: skip
    plain = make.room(
        opening=[door],
        assembly=[{"id": "wall", "loss": "200 dB"}, {"id": "pane", "loss": "200 dB"}],
        receiver=[{"id": "bed", "space": "room", "at": "1.45, 1.0, 0.003 m"}],
        source=[make.mast(band="1840 MHz", polarization=polarization, **source)],
    )
    found = make.analyzed(make.read(plain)).plans[0].receivers[0].sources[0]
    (path,) = (path for path in found.paths if path.panel == "room/D1/undercut")
    return path.loss_db


class TestDoorSeam:
    """8 mm at 1.84 GHz, kw = 0.309: −2.2 dB with the electric field across it, 29.5 along it."""

    @pytest.mark.parametrize(("polarization", "part"), [("vertical", 0), ("horizontal", 1)])
    def test_head_on_it_is_the_closed_form(self, make, polarization, part):
        expected = -10.0 * math.log10(across_and_along(0.008, 1.84e9)[part])
        assert expected == pytest.approx((-2.19, 29.46)[part], abs=0.01)
        assert passed_db(make, polarization) == pytest.approx(expected, abs=0.05)

    @pytest.mark.parametrize("direction", [{}, {"azimuth": "215 deg", "elevation": "30 deg"}])
    def test_unpolarized_is_the_mean_of_both_in_power(self, make, direction):
        one, two, both = (
            10.0 ** (-passed_db(make, each, **direction) / 10.0)
            for each in ("vertical", "horizontal", "unpolarized")
        )
        assert both == pytest.approx(0.5 * (one + two), rel=1e-6)

    def test_an_even_field_meets_the_mean_over_all_directions(self, make):
        """What a level from everywhere takes through it does not ask how a source is polarized."""
        shares = []
        for polarization in ("vertical", "horizontal"):
            door = {"id": "D1", "on": "room/1", "kind": "door", "at": "1 m",
                    "size": "0.9 m x 2 m", "undercut": "8 mm"}  # fmt: skip
            plain = make.room(opening=[door], source=[make.mast(polarization=polarization)])
            receiver = make.analyzed(make.read(plain)).plans[0].receivers[0]
            shares.append(receiver.bands[0].open_equivalent_solid_angle_sr)
        assert shares[0] == shares[1] > 0.0


class TestDrive:
    def test_head_on_the_field_across_drives_it(self):
        for axis, polarization, drives in (
            (LEVEL, "vertical", 1.0),
            (LEVEL, "horizontal", 0.0),
            (UPRIGHT, "vertical", 0.0),
            (UPRIGHT, "horizontal", 1.0),
        ):
            magnetic, across = slot_drive(
                polarization, directions=towards(180, 0), normal=SOUTH, axis=axis
            )
            assert magnetic == pytest.approx([drives], abs=1e-12)
            assert across == pytest.approx([drives], abs=1e-12)

    def test_slanting_along_it_a_te_wave_drives_it_by_the_cosine(self):
        """From 60° aside a level seam: horizontal lies in the plane of incidence (TM), its
        magnetic field stands upright; vertical is TE, its magnetic field along the seam cos 60°."""
        rays = towards(240, 0)
        vertical, _ = slot_drive("vertical", directions=rays, normal=SOUTH, axis=LEVEL)
        horizontal, _ = slot_drive("horizontal", directions=rays, normal=SOUTH, axis=LEVEL)
        assert vertical == pytest.approx([0.25], abs=1e-12)
        assert horizontal == pytest.approx([0.0], abs=1e-12)

    def test_the_mean_over_how_it_lies_is_the_mean_formula(self):
        """TE ½cos²θ, TM ½: every direction of the slot in turn, at azimuth 220°, level."""
        rays = towards(220, 0)
        cosine = abs(float(rays[0] @ SOUTH))
        turns = np.linspace(0.0, np.pi, 180, endpoint=False)
        for polarization, column in (("vertical", 0), ("horizontal", 1)):
            sections = []
            for turn in turns:
                magnetic, across = slot_drive(
                    polarization,
                    directions=rays,
                    normal=SOUTH,
                    axis=math.cos(turn) * LEVEL + math.sin(turn) * UPRIGHT,
                )
                found = slot_directed_cross_section_m2(
                    width_m=0.012, length_m=1.0, frequency_hz=2.45e9, cosine=cosine,
                    magnetic_along=magnetic, mode_across=across,
                )  # fmt: skip
                sections.append([found.low[0, 0], found.high[0, 0]])
            mean = slot_cross_section_m2(
                width_m=0.012, length_m=1.0, frequency_hz=2.45e9, cosine=cosine
            )
            expected = [mean.low[0, 0, column], mean.high[0, 0, column]]
            assert np.mean(sections, axis=0) == pytest.approx(expected, rel=1e-9)

    def test_two_fields_across_one_another_share_what_none_takes(self):
        random = np.random.default_rng(5)
        rays = random.standard_normal((50, 3)) * (1.0, 1.0, 0.5)
        rays /= np.linalg.norm(rays, axis=1, keepdims=True)
        both = slot_drive("unpolarized", directions=rays, normal=SOUTH, axis=LEVEL)
        each = [
            slot_drive(one, directions=rays, normal=SOUTH, axis=LEVEL)
            for one in ("vertical", "horizontal")
        ]
        np.testing.assert_allclose(both[0], 0.5 * (each[0][0] + each[1][0]), atol=1e-12)
        np.testing.assert_allclose(both[1], 0.5 * (each[0][1] + each[1][1]), atol=1e-12)
        assert both[0] == pytest.approx(0.5 * (1.0 - (rays @ LEVEL) ** 2))  # by hand


def test_only_a_long_rectangle_has_a_direction(make):
    plain = make.room(
        opening=[
            {"id": "D1", "on": "room/1", "kind": "door", "at": "1 m", "size": "0.8 m x 2 m",
             "undercut": "5 mm", "seams": "3 mm"},
            {"id": "B1", "on": "room/3", "kind": "box", "at": "1 m", "sill": "0.3 m",
             "size": "80 mm x 80 mm", "ring": "5 mm"},
        ]
    )  # fmt: skip
    building = make.read(plain).building
    axes = {panel.id: slot_axis(panel) for panel in building.panels if panel.kind == "seam"}
    assert axes.pop("room/B1/ring") is None
    assert np.abs(axes["room/D1/undercut"]) == pytest.approx([1.0, 0.0, 0.0])
    upright = [name for name, axis in axes.items() if axis is not None and abs(axis[2]) > 0.99]
    assert len(upright) == 2  # beside the door, left and right


def test_a_slot_is_wide_where_its_area_stands():
    edge = C_M_S / (2.0 * math.pi * 0.05)  # kw = 1
    flags = slot_is_wide(
        width_m=0.05, length_m=[2.0, 2.0, 0.3], frequency_hz=[0.99 * edge, 1.01 * edge, 1.01 * edge]
    )
    assert flags.tolist() == [False, True, False]
