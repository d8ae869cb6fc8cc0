"""Strips along runs: their area in the take-off, and which islands they make."""

import pytest

from envelope.building.islands import floating, islands_of
from envelope.wiring.spread import solve_wiring
from envelope.works.bonding import bonding_of
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


def test_strips_that_cross_are_bought_once(made, job_of):
    """Sockets along the floor and across it: what both cover counts once."""
    crossing = """
[[cable]]
id = "across"
circuit = "lights"
on = "bedroom/floor"
path = "0, 1  4, 1 m"

[[plan]]
id = "both"
strips = [
  { on = "bedroom/floor", with = "coating", along = "sockets", width = "20 cm" },
  { on = "bedroom/floor", with = "coating", along = "lights", width = "30 cm" },
]
bond = []
"""
    job = job_of(made(plans=crossing))
    found = [face.area_m2 for face in face_quantities(job, job.plan("both"))]
    assert found == pytest.approx([0.2 * 3.5, 0.3 * 4.0 - 0.2 * 0.3])
    (island,) = islands_of(job, job.plan("both"))
    assert island.area_m2 == pytest.approx(sum(found))


def test_a_strip_alone_is_bonded_and_measured_to_its_ends(made, job_of):
    """A strip of 25 cm x 4 m under a bond at its end: length over width times Ω/sq, roughly."""
    alone = """
[[plan]]
id = "alone"
strips = [{ on = "bedroom/south", with = "coating", along = "sockets", width = "25 cm" }]
bond = ["earth-bar"]
"""
    job = job_of(made(plans=alone, without=("riser",)))
    (bonded,) = bonding_of(job, job.plan("alone"))
    assert bonded.bond.id == "earth-bar"
    assert not bonded.faults
    # 3.7 m of a strip of 0.25 m at 5 Ω/sq, and what the small contacts add
    farthest = bonded.expected[0].resistance_ohm
    assert 5.0 * 3.7 / 0.25 < farthest < 5.0 * 3.7 / 0.25 + 15.0


def test_a_plan_that_makes_no_bond_has_none(made, job_of):
    job = job_of(made())
    assert {each.bond.stated for each in bonding_of(job, job.plan("walls-bonded"))} == {True}
    (floats,) = bonding_of(job, job.plan("walls-floating"))
    assert not floats.bond.stated  # the socket beside the bed is proposed


def test_a_bond_beside_a_strip_is_no_bond(made, job_of):
    """On the strip at 0.3 m it is one; 0.5 m above it, on the same wall, it connects nothing."""
    alone = """
[[plan]]
id = "alone"
strips = [{ on = "bedroom/south", with = "coating", along = "sockets", width = "25 cm" }]
bond = ["earth-bar"]
"""
    for height, bonded in (("0.3 m", True), ("0.8 m", False)):
        change = ('id = "earth-bar"\n', f'id = "earth-bar"\nheight = "{height}"\n')
        job = job_of(made(change, plans=alone))
        assert (floating(job, job.plan("alone")) == ()) == bonded
        found = solve_wiring(job, job.wiring)[1].plans[1]
        assert found.floats != bonded
        assert found.unbonded != bonded
