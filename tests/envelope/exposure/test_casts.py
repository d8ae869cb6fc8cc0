"""What is cast for a job: how many rays, how wide, from where."""

from __future__ import annotations

import math

import numpy as np
import pytest

from envelope.exposure.casts import cast_job, direction_of


@pytest.fixture
def cast(room_plain, window_plain, mast_plain, read_job, few):
    """Casts and job of the test room with a window, its sources and receivers as given."""

    def made(**changes):
        job = read_job(room_plain(opening=[window_plain()], **changes))
        return cast_job(job, sampling=few), job

    made.mast = mast_plain
    return made


def half_angle_deg(beam, centre):
    return math.degrees(math.acos(min(float((beam.directions @ centre).min()), 1.0)))


@pytest.mark.parametrize(
    ("spread", "tolerance", "edge_deg"),
    [("3 deg", "5 deg", 12.0), ("3 deg", "0 deg", 3.0), ("0.5 deg", "10 deg", 18.5)],
)
def test_the_wide_cone_holds_what_is_tolerated_of_a_direction(cast, spread, tolerance, edge_deg):
    """The source's own half-angle and 1.8 half-widths of its direction's 10–90 % band.

    A normal deviate lies within 1.8 × 1.2816 = 2.3 standard deviations 98 times in 100.
    """
    source = cast.mast(
        azimuth="170 deg", elevation="9 deg", spread=spread, **{"direction-tolerance": tolerance}
    )
    casts, job = cast(source=[source])
    (point,) = casts.receivers[0].points
    centre = direction_of(job.sources[0], job.building)
    wide, own = point.wide["mast"], point.beams["mast"]
    assert wide.solid_angle_sr == pytest.approx(
        2 * math.pi * (1 - math.cos(math.radians(edge_deg))), rel=1e-9
    )
    assert half_angle_deg(wide, centre) == pytest.approx(edge_deg, rel=0.01)
    assert half_angle_deg(own, centre) == pytest.approx(float(spread.split()[0]), rel=0.01)
    middle = (wide.weights[:, np.newaxis] * wide.directions).sum(axis=0)
    assert middle / np.linalg.norm(middle) == pytest.approx(centre, abs=2e-3)
    assert len(wide.directions) == 4096


def test_points_of_a_box_share_the_rays_of_the_wide_cone(cast):
    """0.9 × 2 × 0.3 m: 2 × 3 × 1 points with 682 rays each."""
    casts, _ = cast(
        source=[cast.mast()],
        receiver=[
            {"id": "bed", "space": "room", "at": "1.3, 1.5, 0.7 m", "size": "0.9 m x 2 m x 0.3 m"}
        ],
    )
    points = casts.receivers[0].points
    assert [len(point.wide["mast"].directions) for point in points] == [682] * 6
    assert {len(point.beams["mast"].directions) for point in points} == {4096}


def test_a_transmitter_has_no_wider_cone(cast):
    casts, _ = cast(
        source=[{"id": "meter", "at": "2, -4, 1 m", "band": "868 MHz", "eirp": "14 dBm"}]
    )
    (point,) = casts.receivers[0].points
    assert point.wide["meter"] is point.beams["meter"]
