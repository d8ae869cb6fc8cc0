"""What a source brings along: its ground reflection, its polarization."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.beams import polarization_weights

Plain = Callable[..., dict[str, Any]]
Read = Callable[[dict[str, Any]], Job]


def test_a_partner_comes_from_below_by_what_the_ground_reflects(
    room_plain: Plain, mast_plain: Plain, read_job: Read
) -> None:
    """Fresnel's reflection of P.2040-3 medium dry ground, worked out here anew."""
    source = mast_plain(**{"elevation": "20 deg", "ground-reflection": True})
    job = read_job(room_plain(source=[source]))
    first, partner = job.sources
    assert partner.id == "mast-ground"
    assert partner.elevation_rad == -first.elevation_rad
    f_ghz = 2.45
    ground = 15.0 * f_ghz**-0.1 - 17.9751j * 0.035 * f_ghz**1.63 / f_ghz
    sine, root = math.sin(math.radians(20)), np.sqrt(ground - math.cos(math.radians(20)) ** 2)
    te = abs((sine - root) / (sine + root)) ** 2
    tm = abs((ground * sine - root) / (ground * sine + root)) ** 2
    assert partner.level_w_m2[""] == pytest.approx(1000e-6 * (te + tm) / 2, rel=1e-4)


def test_only_the_beam_is_mirrored_not_what_is_scattered(
    room_plain: Plain, mast_plain: Plain, read_job: Read
) -> None:
    levels = {}
    for scattered in (0.0, 0.5):
        mast = mast_plain(
            **{"elevation": "12 deg", "ground-reflection": True, "scattered": scattered}
        )
        first, partner = read_job(room_plain(source=[mast])).sources
        assert (first.scattered, partner.scattered) == (scattered, 0.0)
        levels[scattered] = partner.level_w_m2[""]
    assert levels[0.5] == pytest.approx(0.5 * levels[0.0], rel=1e-12)


def test_a_partner_comes_in_on_a_ground_floor(
    room_plain: Plain, mast_plain: Plain, read_job: Read, analyzed_job: Callable[..., Analysis]
) -> None:
    """At −25° the ground lies within reach of every wall: what is counted outside arrives."""
    job = read_job(
        room_plain(
            site={"grade": "-0.15 m", "reach": "3 m"},
            assembly=[{"id": "wall", "loss": "6 dB"}, {"id": "pane", "loss": "3 dB"}],
            receiver=[{"id": "bed", "space": "room", "at": "1.6, 0.5, 1.4 m"}],
            source=[mast_plain(**{"elevation": "25 deg", "ground-reflection": True})],
        )
    )
    found = analyzed_job(job)
    first, partner = found.plans[0].receivers[0].sources
    for source in (first, partner):
        assert source.direct_w_m2 == pytest.approx(source.outside_w_m2 * 10**-0.6, rel=1e-9)
    assert any("mast-ground comes from below the horizon" in note for note in found.notes)


def test_a_level_measured_on_the_spot_has_no_partner(
    room_plain: Plain, mast_plain: Plain, read_job: Read
) -> None:
    assert [s.id for s in read_job(room_plain(source=[mast_plain()])).sources] == ["mast"]


def test_vertical_polarization_is_te_at_a_wall_and_tm_at_a_ceiling() -> None:
    slanting = np.array([[0.6, -0.8, 0.0], [0.0, -0.6, 0.8]])
    normals = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, -1.0]])  # a south wall, a ceiling
    vertical = polarization_weights("vertical", directions=slanting, normals=normals)
    horizontal = polarization_weights("horizontal", directions=slanting, normals=normals)
    np.testing.assert_allclose(vertical, [[1.0, 0.0], [0.0, 1.0]], atol=1e-12)
    np.testing.assert_allclose(horizontal, [[0.0, 1.0], [1.0, 0.0]], atol=1e-12)


def test_head_on_both_polarizations_count_alike() -> None:
    shares = polarization_weights(
        "vertical", directions=np.array([[0.0, -1.0, 0.0]]), normals=np.array([[0.0, 1.0, 0.0]])
    )
    np.testing.assert_allclose(shares, [[0.5, 0.5]])


def test_a_polarized_source_meets_a_sheet_by_its_own_polarization(
    room_plain: Plain, mast_plain: Plain, read_job: Read, analyzed_job: Callable[..., Analysis]
) -> None:
    """A 10 Ω/sq sheet at 60°: TE 1 + Z0/(2R cos 60°), TM 1 + Z0 cos 60°/(2R); thin-sheet theory."""
    levels = {}
    for polarization in ("vertical", "horizontal", "unpolarized"):
        job = read_job(
            room_plain(
                construction={
                    "exterior-wall": "air", "slab": "opaque", "floor": "opaque", "roof": "opaque",
                },
                assembly=[
                    {"id": "air", "layers": [{"sheet-resistance": "10 ohm/sq"}]},
                    {"id": "opaque", "loss": "200 dB"},
                ],
                receiver=[{"id": "bed", "space": "room", "at": "2.0, 0.4, 1.2 m"}],
                source=[mast_plain(azimuth="120 deg", polarization=polarization)],
            )
        )  # fmt: skip
        # aimed at through the south wall alone: the receiver stands close behind it
        result = analyzed_job(job).plans[0].receivers[0].sources[0]
        levels[polarization] = result
    te = (1 + 376.7303134 / (2 * 10 * 0.5)) ** -2
    tm = (1 + 376.7303134 * 0.5 / (2 * 10)) ** -2
    assert {p.panel for p in levels["vertical"].paths if p.level_w_m2 > 0} == {"room/1"}
    assert levels["vertical"].direct_w_m2 == pytest.approx(1000e-6 * te, rel=0.02)
    assert levels["horizontal"].direct_w_m2 == pytest.approx(1000e-6 * tm, rel=0.02)
    assert levels["unpolarized"].direct_w_m2 == pytest.approx(1000e-6 * (te + tm) / 2, rel=0.02)
