"""Strips along runs: their area in the take-off, and which islands they make."""

import pytest

from envelope.works.takeoff import face_quantities, take_off


def test_a_strip_enters_the_take_off(made, job_of):
    job = job_of(made())
    found = face_quantities(job, job.plan("walls-and-floor-strip"))
    (strip,) = (face for face in found if face.strip)
    assert strip.panel == "bedroom/floor"
    assert strip.area_m2 == pytest.approx(0.25 * 3.5, abs=1e-6)
    bill = take_off(job, job.plan("walls-and-floor-strip")).bill
    (line,) = (line for line in bill.lines if line.treatment == "coating")
    walls = 2 * (4.0 + 3.5) * 2.5 - 1.6 * 1.2 - 0.8 * 2.0
    assert line.quantity == pytest.approx(walls + 0.875, abs=1e-6)


def test_strips_on_every_run(made, job_of):
    job = job_of(made())
    areas = {
        face.panel: face.area_m2 for face in face_quantities(job, job.plan("strips")) if face.strip
    }
    # south: the run over its whole length, and the riser up to it
    assert areas["bedroom/1"] == pytest.approx(4.0 * 0.25 + 0.25 * 0.175, abs=1e-6)
    assert areas["bedroom/2"] == pytest.approx(3.5 * 0.25, abs=1e-6)
    # ceiling: 2 m along, 0.55 m across, the corner once, a square end
    assert areas["bedroom/ceiling"] == pytest.approx(
        (2.0 + 0.125) * 0.25 + (0.55 - 0.125 + 0.125) * 0.25, abs=1e-6
    )


def test_a_strip_on_a_wall_that_is_coated_anyway_is_not_bought_twice(made, job_of):
    both = """
[[plan]]
id = "both"
treat = [{ on = "bedroom/south", with = "coating" }]
strips = [{ on = "bedroom/walls", with = "coating", along = "sockets", width = "25 cm" }]
bond = ["earth-bar"]
"""
    job = job_of(made(plans=both))
    strips = [face.panel for face in face_quantities(job, job.plan("both")) if face.strip]
    assert strips == ["bedroom/2"]
